//! Casualties by MOB sentence and by digital selective call.

use super::case::{Identity, Kind, Mark, Source};
use super::fixes::BeaconFix;
use super::own::OwnContext;
use super::{Casualties, Message, nature};
use sentence::ais::PositionSource;
use sentence::{CallExpansion, Distress, MobStatus, Overboard, Report, SelectiveCall, SentTime};
use std::time::Duration;
use terms::{Mmsi, Moment, Position};

/// Format specifier and category of a distress (ITU-R M.493: 112, written as 12).
const DISTRESS: u8 = 12;
/// First telecommand of an acknowledgement of a distress (ITU-R M.493: 110, written as 10; from memory).
const DISTRESS_ACKNOWLEDGEMENT: u8 = 10;
/// First telecommand of a relay of another's distress (ITU-R M.493: 112, written as 12; from memory).
const DISTRESS_RELAY: u8 = 12;
/// Calls whose refinement (DSE) may still come.
const WAITING_CALLS: usize = 16;
/// The refinement comes at once; any later than this and it belongs to another call.
const REFINED_WITHIN: Duration = Duration::from_secs(60);
/// A position in whole minutes is off by up to half a minute each way if it was rounded, by up to a whole one if it was
/// cut off; this holds 95 % of both (computed for a square from −0.5′ to +1′, at the equator).
const WHOLE_MINUTE_RADIUS95_NM: f64 = 1.15;
/// The vessel's own estimate in a MOB sentence (own choice).
const SENTENCE_ESTIMATE_RADIUS95_NM: f64 = 0.05;
/// Times of day further back than this come from a clock that runs ahead.
const LONGEST_AGO_MS: i64 = 12 * 3_600_000;
/// Letters kept of an emitter's name.
const EMITTER_LETTERS: usize = 16;
const DAY_MS: i64 = 86_400_000;

/// A call whose position may still be refined.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct WaitingCall {
    at: Moment,
    caller: Option<Mmsi>,
    message: Message,
    position: Position,
    /// When the position was measured.
    measured: Moment,
}

/// The moment of a time of day, by own UTC; `at` if that is unknown or the time lies ahead.
fn moment_of_day(at: Moment, of_day_ms: i64, own: &OwnContext) -> Moment {
    let Some((utc, _)) = own.utc else { return at };
    let ago_ms = (utc.ms_of_day() - of_day_ms).rem_euclid(DAY_MS);
    if ago_ms <= LONGEST_AGO_MS { Moment(at.0.saturating_sub(ago_ms)) } else { at }
}

/// The moment of a time in a sentence.
fn moment_of(at: Moment, time: Option<SentTime>, own: &OwnContext) -> Moment {
    match (time, own.utc) {
        (Some(SentTime::OfDayMs(ms)), _) => moment_of_day(at, i64::from(ms), own),
        (Some(SentTime::Utc(t)), Some((utc, _))) => {
            let ago_ms = utc.0.saturating_sub(t.0);
            if (0..=DAY_MS).contains(&ago_ms) { Moment(at.0.saturating_sub(ago_ms)) } else { at }
        }
        _ => at,
    }
}

impl Casualties {
    /// Takes any sentence. True: it was about a casualty or a beacon, and is no ordinary target.
    pub fn hear(&mut self, at: Moment, report: &Report, own: &OwnContext) -> bool {
        match report {
            Report::Ais(ais) => return self.hear_ais(at, ais, own),
            Report::Overboard(o) => self.hear_overboard(at, o, own),
            Report::SelectiveCall(c) => return self.hear_call(at, c, own),
            Report::CallExpansion(e) => self.hear_expansion(at, e, own),
            _ => return false,
        }
        true
    }

    /// A MOB sentence: active or by hand raises, a test is a test, not in use is nothing.
    fn hear_overboard(&mut self, at: Moment, o: &Overboard, own: &OwnContext) {
        if o.status == MobStatus::NotInUse {
            return;
        }
        let emitter = o.emitter.as_deref().unwrap_or("").trim().to_ascii_uppercase();
        let mmsi = o.mmsi.filter(|m| own.mmsi != Some(*m));
        let identity = match mmsi {
            Some(m) => Identity::Mmsi(m),
            None => Identity::Emitter(emitter.chars().take(EMITTER_LETTERS).collect()),
        };
        let crew = mmsi.is_some_and(|m| self.crew_of(m).is_some());
        let measured = moment_of(at, o.time, own);
        let by_emitter = o.position_from_emitter == Some(true);
        let fix = o.position.filter(|_| by_emitter).map(|position| {
            let fix = BeaconFix { at: measured, position, sog_kn: o.sog_kn, cog_deg: o.cog_deg };
            (fix, Some(PositionSource::Fix))
        });
        let mark = o.position.filter(|_| !by_emitter).map(|position| Mark {
            at: measured,
            position,
            radius95_nm: SENTENCE_ESTIMATE_RADIUS95_NM,
        });
        let message = Message {
            identity,
            kind: mmsi.map_or(Kind::PersonOverboard, |m| Kind::of_beacon(m, crew)),
            source: Source::MobSentence,
            test: o.status == MobStatus::Test,
            fix,
            mark,
            began: o.activated_of_day_ms.map(|ms| moment_of_day(at, i64::from(ms), own)),
            battery_low: o.battery_low,
            relayed_by: None,
        };
        self.take(at, message, own);
    }

    /// A digital selective call: a distress raises, an acknowledgement is noted and ends nothing, everything else is
    /// ignored.
    fn hear_call(&mut self, at: Moment, call: &SelectiveCall, own: &OwnContext) -> bool {
        if call.format != Some(DISTRESS) && call.category != Some(DISTRESS) {
            return false;
        }
        let relay = call.telecommand == Some(DISTRESS_RELAY);
        let relayed_by = call.caller.filter(|by| relay || call.casualty.is_some_and(|whose| whose != *by));
        // A relay may not know whose distress it is; it is not that of the station which relays.
        let whose = call.casualty.or(call.caller.filter(|_| !relay));
        let nature = call.nature.unwrap_or(Distress::Undesignated);
        if call.telecommand == Some(DISTRESS_ACKNOWLEDGEMENT) || call.acknowledgement == Some('B') {
            self.note_acknowledgement(call, whose);
            return true;
        }
        if whose.is_some() && whose == own.mmsi && nature != Distress::ManOverboard {
            self.note(whose, format!("distress call of own vessel: {}", nature::words(nature)));
            return true;
        }
        let crew = whose.is_some_and(|m| self.crew_of(m).is_some());
        let ours = whose.is_some() && whose == own.mmsi;
        let kind = match whose {
            _ if ours => Kind::PersonOverboard,
            Some(m) if crew || m.is_beacon() => Kind::of_beacon(m, crew),
            _ => Kind::VesselInDistress(nature),
        };
        // Own radio's call is a button pushed aboard, not a second person. Vessels without an identity are told apart by
        // who relays them.
        let identity = match (whose, relayed_by) {
            _ if ours => Identity::Emitter("own DSC".to_owned()),
            (Some(m), _) => Identity::Mmsi(m),
            (None, Some(by)) => Identity::Emitter(format!("DSC by {by}")),
            (None, None) => Identity::Emitter("DSC".to_owned()),
        };
        let measured =
            call.position_of_day_min.map_or(at, |min| moment_of_day(at, i64::from(min) * 60_000, own));
        let message = Message {
            identity,
            kind,
            source: Source::Dsc,
            test: false,
            fix: None,
            mark: call.position.map(|position| Mark {
                at: measured,
                position,
                radius95_nm: WHOLE_MINUTE_RADIUS95_NM,
            }),
            began: None,
            battery_low: None,
            relayed_by: relayed_by.filter(|_| !ours),
        };
        if let Some(position) = call.position {
            self.waiting_calls.retain(|w| w.caller != call.caller && at.since(w.at) <= REFINED_WITHIN);
            if self.waiting_calls.len() >= WAITING_CALLS {
                self.waiting_calls.remove(0);
            }
            let message = Message { mark: None, ..message.clone() };
            self.waiting_calls.push(WaitingCall { at, caller: call.caller, message, position, measured });
        }
        self.take(at, message, own);
        true
    }

    /// Somebody acknowledges or cancels a distress: it ends nothing here.
    fn note_acknowledgement(&mut self, call: &SelectiveCall, whose: Option<Mmsi>) {
        let by = call.caller.map_or(String::new(), |m| format!(" by {m}"));
        let of = whose.filter(|m| call.caller != Some(*m)).map_or(String::new(), |m| format!(" of {m}"));
        let case = self.open.iter().find(|c| whose.is_some() && c.mmsi() == whose);
        let stands = case
            .map_or(String::new(), |c| format!("; casualty {} stands until it is stood down here", c.id.0));
        self.note(whose, format!("distress{of} acknowledged or cancelled{by}{stands}"));
    }

    /// The refinement of a call's position: now it is a fix.
    fn hear_expansion(&mut self, at: Moment, e: &CallExpansion, own: &OwnContext) {
        let Some(index) =
            self.waiting_calls.iter().position(|w| w.caller == e.caller && at.since(w.at) <= REFINED_WITHIN)
        else {
            return;
        };
        let Some(position) = e.refined(self.waiting_calls[index].position) else { return };
        let call = self.waiting_calls.remove(index);
        let fix = BeaconFix { at: call.measured, position, sog_kn: None, cog_deg: None };
        let message = Message { fix: Some((fix, Some(PositionSource::Fix))), ..call.message };
        self.take(at, message, own);
    }
}
