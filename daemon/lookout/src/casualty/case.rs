//! One casualty as it is kept.

use super::fall::Line;
use super::fixes::Fixes;
use super::sighting::Sighting;
use sentence::Distress;
use serde::{Deserialize, Serialize};
use std::collections::VecDeque;
use terms::{CasualtyId, FeedId, Mmsi, Moment, Position, Station};

/// A crew member, and the identity of the beacon he or she wears.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct CrewMember {
    /// The name the crew uses.
    pub name: String,
    /// The beacon's identity, whatever its prefix.
    pub mmsi: Option<Mmsi>,
}

/// What a casualty is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Kind {
    /// A person in the water.
    PersonOverboard,
    /// An AIS search and rescue transmitter (970): a raft, a boat, a person.
    Sart,
    /// An emergency position-indicating radio beacon (974).
    Epirb,
    /// Another vessel in distress, or a person lost from one, by digital selective call.
    VesselInDistress(#[serde(with = "super::nature")] Distress),
    /// More unknown beacons than are kept one by one.
    ManyBeacons {
        /// How many besides those kept one by one, as far as they were counted.
        count: u32,
    },
}

impl Kind {
    /// What a beacon's identity says it is; a crew member's is a person whatever its prefix.
    pub(crate) fn of_beacon(mmsi: Mmsi, crew: bool) -> Self {
        match mmsi.station() {
            _ if crew => Self::PersonOverboard,
            Station::Sart => Self::Sart,
            Station::Epirb => Self::Epirb,
            _ => Self::PersonOverboard,
        }
    }
}

terms::closed_list! {
    /// Whose casualty it is. It decides the words, the sheet, and whether own track says where it began.
    #[derive(Debug, Clone, Copy, PartialEq, Eq)]
    pub enum Whose {
        /// One of ours: a crew member's beacon, a button pushed aboard, own gear or own radio.
        Ours = "ours",
        /// A person whose beacon none of our crew is listed with.
        Stranger = "stranger",
        /// An AIS search and rescue transmitter.
        Sart = "sart",
        /// An emergency position-indicating radio beacon.
        Epirb = "epirb",
        /// Another ship, by her own distress call.
        Ship = "ship",
        /// Another ship, by a call that a third station relayed.
        Relayed = "relayed",
        /// More unknown beacons than are kept one by one.
        Many = "many",
    }
}

terms::closed_list! {
    /// What reported a casualty.
    #[derive(Debug, Clone, Copy, PartialEq, Eq)]
    pub enum Source {
        /// A beacon's own AIS message.
        Ais = "ais",
        /// A MOB sentence.
        MobSentence = "mob-sentence",
        /// A digital selective call.
        Dsc = "dsc",
        /// A button pushed aboard.
        Button = "button",
    }
}

/// Why it was raised.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Why {
    /// The beacon, sentence or call says so.
    Active,
    /// A beacon still testing three minutes after it began.
    StillTesting,
    /// A beacon that tests and falls astern.
    FallingAstern,
    /// A button was pushed.
    Button,
    /// More unknown beacons than are kept one by one.
    TooMany,
}

terms::closed_list! {
    /// Why a casualty is stood down: the only way one ends.
    #[derive(Debug, Clone, Copy, PartialEq, Eq)]
    pub enum StandDown {
        /// Back aboard, here or elsewhere.
        Recovered = "recovered",
        /// The beacon or button was set off by mistake.
        FalseActivation = "false-activation",
        /// It was a test or a drill.
        Test = "test",
        /// Others have taken it over.
        HandedOver = "handed-over",
    }
}

impl StandDown {
    /// Parses the reason a person writes; a blank serves for the hyphen.
    pub fn parse(text: &str) -> Option<Self> {
        Self::named(&text.trim().to_ascii_lowercase().replace(' ', "-"))
    }
}

terms::closed_list! {
    /// How exactly the beginning is known.
    #[derive(Debug, Clone, Copy, PartialEq, Eq)]
    pub enum ElapsedIs {
        /// Counted without a gap.
        Exact = "exact",
        /// There is a gap of unknown length in between.
        AtLeast = "at-least",
    }
}

/// What identifies a beacon, an emitter or a caller when it is heard again.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Identity {
    /// A maritime mobile service identity.
    Mmsi(Mmsi),
    /// The emitter of a MOB sentence that names no MMSI; empty if it names none at all.
    Emitter(String),
}

/// A place that is no beacon's fix: own track at the likely time, a call's whole minutes.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Mark {
    /// When the casualty was there.
    pub at: Moment,
    /// Where.
    pub position: Position,
    /// Radius that holds it with 95 %.
    pub radius95_nm: f64,
}

/// One casualty.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(crate) struct Case {
    pub id: CasualtyId,
    pub kind: Kind,
    pub source: Source,
    /// The feed that brought it; `None` for a button.
    #[serde(default)]
    pub feed: Option<FeedId>,
    pub why: Why,
    /// `None` for a button that no beacon has taken over.
    pub identity: Option<Identity>,
    /// A second name for the same casualty: the emitter of a MOB sentence next to the beacon's MMSI.
    pub also: Option<Identity>,
    pub crew: Option<String>,
    /// Who relayed the distress call; `None` once it was heard from the vessel herself.
    #[serde(default)]
    pub relayed_by: Option<Mmsi>,
    /// When it was raised here.
    pub raised: Moment,
    /// When the casualty itself began: the first burst, or as long before the button as whoever pushed it said.
    pub began: Moment,
    pub elapsed_is: ElapsedIs,
    /// Own place at the likely time of the fall, or a call's position in whole minutes.
    pub mark: Option<Mark>,
    /// The stretch of own track on which the fall lies, if its moment is not known.
    #[serde(default)]
    pub line: Option<Line>,
    pub fixes: Fixes,
    /// What somebody aboard saw of it, oldest first.
    #[serde(default)]
    pub sightings: VecDeque<Sighting>,
    /// When its beacon was last heard; never for a button.
    pub heard: Option<Moment>,
    /// When its beacon's own AIS message was last heard; only those come every minute.
    pub burst: Option<Moment>,
    pub silence_told: bool,
    /// A notice was given: its beacon now says test, or still sends after it was stood down.
    pub noted: bool,
    /// How often the button was pushed for it.
    pub pushed: u32,
    pub battery_low: Option<bool>,
    /// The furthest its beacon was heard.
    pub heard_to_nm: Option<f64>,
    pub stood_down: Option<(Moment, StandDown)>,
    /// A gap of unknown length ended here: what was measured before is older than it seems.
    pub gap_ended: Option<Moment>,
}

impl Case {
    /// A new casualty: nothing heard of it yet.
    pub fn new(id: CasualtyId, kind: Kind, source: Source, why: Why, raised: Moment, began: Moment) -> Self {
        Self {
            id,
            kind,
            source,
            feed: None,
            why,
            identity: None,
            also: None,
            crew: None,
            relayed_by: None,
            raised,
            began: began.min(raised),
            elapsed_is: ElapsedIs::Exact,
            mark: None,
            line: None,
            fixes: Fixes::default(),
            sightings: VecDeque::new(),
            heard: None,
            burst: None,
            silence_told: false,
            noted: false,
            pushed: 0,
            battery_low: None,
            heard_to_nm: None,
            stood_down: None,
            gap_ended: None,
        }
    }

    /// The identity as an MMSI.
    pub fn mmsi(&self) -> Option<Mmsi> {
        match self.identity {
            Some(Identity::Mmsi(m)) => Some(m),
            _ => None,
        }
    }

    /// Whose it is, by all that is known of it now: a button pushed for an unknown beacon makes it ours.
    pub fn whose(&self) -> Whose {
        match self.kind {
            Kind::Sart => Whose::Sart,
            Kind::Epirb => Whose::Epirb,
            Kind::ManyBeacons { .. } => Whose::Many,
            Kind::VesselInDistress(_) if self.relayed_by.is_some() => Whose::Relayed,
            Kind::VesselInDistress(_) => Whose::Ship,
            Kind::PersonOverboard if self.crew.is_none() && self.pushed == 0 && self.mmsi().is_some() => {
                Whose::Stranger
            }
            Kind::PersonOverboard => Whose::Ours,
        }
    }

    /// Whether a person is in the water, not a vessel or a raft.
    pub fn is_person(&self) -> bool {
        matches!(self.kind, Kind::PersonOverboard | Kind::VesselInDistress(Distress::ManOverboard))
    }

    /// Whether it is a vessel that lies aground: she stays where she is.
    pub fn is_aground(&self) -> bool {
        self.kind == Kind::VesselInDistress(Distress::Grounding)
    }

    /// Whether this is its identity or its second one.
    pub fn is(&self, identity: &Identity) -> bool {
        self.identity.as_ref() == Some(identity) || self.also.as_ref() == Some(identity)
    }

    /// Whether it has room for another identity: one MMSI and one emitter at most.
    pub fn takes(&self, identity: &Identity) -> bool {
        let emitter = |i: &Identity| matches!(i, Identity::Emitter(_));
        self.also.is_none() && self.identity.as_ref().is_none_or(|i| emitter(i) != emitter(identity))
    }

    /// Joins an identity it has room for: an MMSI goes first.
    pub fn join(&mut self, identity: &Identity, source: Source) {
        match (&self.identity, identity) {
            (Some(Identity::Mmsi(_)), _) => self.also = Some(identity.clone()),
            _ => {
                self.also = self.identity.replace(identity.clone());
                self.source = source;
            }
        }
    }

    /// All moments moved to a new origin of steady time.
    pub fn shift(&mut self, by_ms: i64) {
        self.shift_before(Moment(i64::MAX), by_ms);
    }

    /// Moves what lies before a moment by so much (a negative number moves it back in time).
    pub fn shift_before(&mut self, limit: Moment, by_ms: i64) {
        let marks = self.mark.iter_mut().map(|m| &mut m.at);
        let ends = self.stood_down.iter_mut().map(|s| &mut s.0);
        let seen = self.sightings.iter_mut().map(|s| &mut s.at);
        let own = [&mut self.raised, &mut self.began].into_iter();
        for m in own
            .chain(marks)
            .chain(seen)
            .chain(ends)
            .chain(self.heard.iter_mut())
            .chain(self.burst.iter_mut())
            .filter(|m| **m < limit)
        {
            m.0 = m.0.saturating_add(by_ms);
        }
        self.fixes.shift_before(limit, by_ms);
        if let Some(line) = &mut self.line {
            line.shift_before(limit, by_ms);
        }
    }
}
