//! Calls and messages received by radio.

use crate::schema::OneOf;
use crate::words::capital;
use rules::BuiltIn;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use terms::{CallId, Mmsi, Position, one_line, speech};

/// Most letters of a text in a line for people; the logbook has all of it.
const MOST_LETTERS: usize = 500;

terms::closed_list! {
    /// What a received call or message is.
    #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
    pub enum CallKind {
        /// A distress alert by DSC.
        Distress = "distress alert",
        /// Somebody relays a distress alert.
        DistressRelay = "distress relay",
        /// Somebody acknowledges or cancels one.
        DistressAcknowledged = "distress acknowledgement",
        /// DSC of category urgency (ITU-R M.493: 110).
        Urgency = "urgency call",
        /// DSC of category safety (108).
        Safety = "safety call",
        /// DSC of category routine (100).
        Routine = "call for us",
        /// The answer to a call that is no distress.
        Acknowledged = "acknowledgement",
        /// DSC that asks for our position.
        PositionAsked = "position request",
        /// DSC that gives the caller's.
        PositionGiven = "position report",
        /// A DSC test call.
        Test = "test call",
        /// AIS message 12 to own vessel, or to somebody while own identity is not known.
        MessageForUs = "message for us",
        /// AIS message 12 to another station.
        MessageForOther = "message to another station",
        /// AIS message 14.
        SafetyMessage = "safety message",
        /// AIS message 8 that names a person overboard or a search area.
        AreaNotice = "area notice",
        /// NAVTEX of subject D, or with the number 00.
        NavtexUrgent = "NAVTEX urgent",
        /// NAVTEX of subject A, B or L.
        NavtexWarning = "NAVTEX warning",
        /// Any other NAVTEX message.
        Navtex = "NAVTEX message",
    }
}

impl CallKind {
    /// Digital selective calling, AIS or NAVTEX.
    pub const fn by(self) -> &'static str {
        match self {
            Self::MessageForUs | Self::MessageForOther | Self::SafetyMessage | Self::AreaNotice => "AIS",
            Self::NavtexUrgent | Self::NavtexWarning | Self::Navtex => "NAVTEX",
            _ => "DSC",
        }
    }

    /// The alert that it raises. A distress raises a casualty in place of one.
    pub const fn alert(self) -> Option<BuiltIn> {
        match self {
            Self::Urgency => Some(BuiltIn::UrgencyCall),
            Self::MessageForUs => Some(BuiltIn::MessageForUs),
            Self::NavtexUrgent => Some(BuiltIn::NavtexUrgent),
            Self::Safety => Some(BuiltIn::SafetyCall),
            Self::SafetyMessage | Self::AreaNotice => Some(BuiltIn::SafetyMessage),
            Self::NavtexWarning => Some(BuiltIn::NavtexWarning),
            Self::Routine => Some(BuiltIn::CallForUs),
            _ => None,
        }
    }

    /// Whether no setting and no want of room may reject it: distress, urgency, what is addressed to us, and the NAVTEX
    /// subjects of MSC.1/Circ.1403 5.3.4 and 5.3.6.
    pub const fn is_never_rejected(self) -> bool {
        matches!(
            self,
            Self::Distress
                | Self::DistressRelay
                | Self::DistressAcknowledged
                | Self::Urgency
                | Self::MessageForUs
                | Self::NavtexUrgent
                | Self::NavtexWarning
        )
    }
}

/// A received call or message. `None` means that it does not say.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Call {
    /// Its number; a better copy of a message has the number of the first.
    #[schemars(with = "u32")]
    pub number: CallId,
    /// What it is.
    #[schemars(with = "OneOf<CallKind>")]
    pub kind: CallKind,
    /// Who sent it.
    #[schemars(with = "Option<u32>")]
    pub caller: Option<Mmsi>,
    /// That station's name, if heard by AIS.
    pub name: Option<String>,
    /// To whom: us, all ships, an area, a group, or an MMSI.
    pub to: Option<String>,
    /// The vessel in distress, where another one speaks of her.
    #[schemars(with = "Option<u32>")]
    pub casualty_mmsi: Option<Mmsi>,
    /// The channel or frequency on which to answer.
    pub channel: Option<String>,
    /// Where the caller, the distress or the area is: degrees, north positive.
    pub latitude_deg: Option<f64>,
    /// Degrees, east positive.
    pub longitude_deg: Option<f64>,
    /// Radius of an area, metres.
    pub radius_m: Option<f64>,
    /// Transmitter, subject and number of a NAVTEX message.
    pub navtex: Option<String>,
    /// Its text.
    pub text: Option<String>,
    /// Characters received wrong, in per cent of all (NAVTEX).
    pub wrong_percent: Option<f64>,
    /// Whether parts of it never came (NAVTEX).
    pub incomplete: bool,
    /// Whether it stands in place of an earlier, worse copy (NAVTEX).
    pub better: bool,
}

impl Call {
    /// One of which only the kind is known.
    pub fn new(kind: CallKind) -> Self {
        Self {
            number: CallId(0),
            kind,
            caller: None,
            name: None,
            to: None,
            casualty_mmsi: None,
            channel: None,
            latitude_deg: None,
            longitude_deg: None,
            radius_m: None,
            navtex: None,
            text: None,
            wrong_percent: None,
            incomplete: false,
            better: false,
        }
    }

    /// The position that it gives.
    pub fn position(&self) -> Option<Position> {
        Position::new(self.latitude_deg?, self.longitude_deg?).ok()
    }

    /// Takes a position.
    pub fn set_position(&mut self, position: Option<Position>) {
        self.latitude_deg = position.map(Position::latitude_deg);
        self.longitude_deg = position.map(Position::longitude_deg);
    }

    /// All of it on one line, as written.
    pub fn words(&self) -> String {
        let mut words = capital(self.kind.word());
        if let Some(navtex) = &self.navtex {
            words += &format!(" {navtex}");
            words += &subject(navtex).map_or(String::new(), |subject| format!(" ({subject})"));
        }
        words += &match (&self.name, self.caller) {
            (Some(name), Some(mmsi)) => format!(" from {} ({mmsi})", one_line(name)),
            (_, Some(mmsi)) => format!(" from {mmsi}"),
            _ => String::new(),
        };
        // Those two have it in their name.
        if !matches!(self.kind, CallKind::MessageForUs | CallKind::Routine) {
            words += &self.to.as_ref().map_or(String::new(), |to| format!(" to {to}"));
        }
        words += &self.casualty_mmsi.map_or(String::new(), |mmsi| format!(", about {mmsi}"));
        words += &self.channel.as_ref().map_or(String::new(), |channel| format!(", {channel}"));
        words += &match (self.position(), self.radius_m) {
            (Some(place), Some(radius_m)) if radius_m > 0.0 => format!(", within {radius_m:.0} m of {place}"),
            (Some(place), _) => format!(", position {place}"),
            _ => String::new(),
        };
        if let Some(text) = &self.text {
            let text = one_line(text);
            let more = if text.chars().count() > MOST_LETTERS { " …" } else { "" };
            words += &format!(": “{}{more}”", text.chars().take(MOST_LETTERS).collect::<String>());
        }
        words += &self
            .wrong_percent
            .filter(|percent| *percent >= 0.05)
            .map_or(String::new(), |percent| format!("; {percent:.1} % of it received wrong"));
        for (so, more) in [(self.incomplete, "; parts are missing"), (self.better, "; a better copy")] {
            words += if so { more } else { "" };
        }
        words
    }

    /// What a voice says of it: what, from whom, on which channel, and the beginning of its text.
    pub fn aloud(&self) -> String {
        let from = match (&self.name, self.caller) {
            (Some(name), _) => format!(" from {}", speech::read_out(name)),
            // Nine digits leave room for little else: they are on the screen.
            (None, Some(_)) if self.text.is_none() => {
                format!(
                    " from {}",
                    self.caller.map_or(String::new(), |mmsi| speech::digits(&mmsi.to_string()))
                )
            }
            _ => String::new(),
        };
        let what = match self.kind {
            CallKind::NavtexUrgent => "urgent navtex message".to_owned(),
            CallKind::NavtexWarning => "navtex warning".to_owned(),
            kind => kind.word().to_owned(),
        };
        let channel = self.channel.as_deref().map(speech::read_out).unwrap_or_default();
        let head = speech::sentences([format!("{what}{from}").as_str(), &channel]);
        let room = speech::MOST_WORDS.saturating_sub(speech::words(&head));
        let text = self.text.as_deref().map(speech::read_out).unwrap_or_default();
        let text: Vec<&str> = text.split_whitespace().take(room).collect();
        let text = speech::sentences([text.join(" ").trim_end_matches(',')]);
        if text.is_empty() { head } else { format!("{head} {text}") }
    }
}

/// What a NAVTEX subject means, by its letter (IMO NAVTEX Manual).
fn subject(navtex: &str) -> Option<&'static str> {
    Some(match navtex.chars().nth(1)? {
        'A' => "navigational warning",
        'B' => "weather warning",
        'C' => "ice",
        'D' => "search and rescue, piracy, tsunami",
        'E' => "weather forecast",
        'F' => "pilot and traffic service",
        'G' => "AIS",
        'H' => "LORAN",
        'J' => "satellite navigation",
        'K' => "other navigation aids",
        'L' => "navigational warning",
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn a_call_is_put_into_words_and_spoken_briefly() {
        let mut call = Call {
            caller: Mmsi::new(211_000_001),
            to: Some("all ships".into()),
            ..Call::new(CallKind::Urgency)
        };
        call.channel = Some("channel 16".into());
        call.set_position(Position::new(46.5, -9.25).ok());
        assert_eq!(
            call.words(),
            "Urgency call from 211000001 to all ships, channel 16, position 46°30.00′N 009°15.00′W"
        );
        assert_eq!(
            call.aloud(),
            "Urgency call from two one one zero zero zero zero zero one. Channel one six."
        );
        let navtex = Call {
            navtex: Some("ND05".into()),
            text: Some("PERSON OVERBOARD\nIN 46-23.75N".into()),
            wrong_percent: Some(6.25),
            incomplete: true,
            ..Call::new(CallKind::NavtexUrgent)
        };
        assert_eq!(
            navtex.words(),
            "NAVTEX urgent ND05 (search and rescue, piracy, tsunami): “PERSON OVERBOARD IN 46-23.75N”; 6.2 % of it \
             received wrong; parts are missing"
        );
        assert!(
            navtex.aloud().starts_with("Urgent navtex message. Person overboard in four six"),
            "{}",
            navtex.aloud()
        );
        let json = serde_json::to_string(&navtex).unwrap();
        assert_eq!(serde_json::from_str::<Call>(&json).unwrap(), navtex);
    }
}
