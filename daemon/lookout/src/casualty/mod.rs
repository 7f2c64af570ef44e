//! Casualties: people overboard, distress beacons and distress calls. Pure; time is an input.
//!
//! A casualty is raised by the first message that is no test, waits for nothing, and ends only by
//! [`Casualties::stand_down`]. All tables are bounded; the crew's beacons have places of their own.

mod beacon;
mod call;
mod case;
mod fixes;
mod nature;
mod news;
mod own;
mod snapshot;
mod state;
mod track;

#[cfg(test)]
mod tests;

pub use beacon::TestHeard;
pub use case::{CrewMember, ElapsedIs, Identity, Kind, Mark, Source, StandDown, Why};
pub use fixes::{BeaconFix, Doubt};
pub use news::{CasualtyNews, News};
pub use own::{Known, OwnContext, RelativeTo, SetDrift, WindFrom};
pub use snapshot::{Gap, Snapshot};
pub use state::{CasualtyState, Placed};
pub use track::{OnTrack, Track};

use beacon::{TestMessage, Tests, Verdict};
use case::Case;
use fixes::Fixes;
use sentence::ais::{AisReport, PositionSource};
use state::SILENT_AFTER;
use std::collections::{BTreeSet, VecDeque};
use std::time::Duration;
use terms::{CasualtyId, Mmsi, Moment, Position};
use thiserror::Error;

/// Open casualties that are not the crew's and kept one by one; more are told as one.
const UNKNOWN_CASES: usize = 32;
/// Open casualties of buttons; a further push counts for the last of them.
const BUTTON_CASES: usize = 32;
/// Casualties kept after they were stood down.
const CLOSED_CASES: usize = 64;
/// Ordinary stations of which a false claim of distress was noted.
const FALSE_CLAIMS: usize = 256;
/// Beacons beyond those kept one by one whose identities are remembered, to count them.
const COUNTED_BEACONS: usize = 256;
/// News that wait to be taken; notices beyond are dropped, casualties never (their number is bounded above).
const WAITING_NOTICES: usize = 512;
/// A beacon first heard within this of a button's mark, in time and in distance, takes the mark over.
const TAKEN_OVER_WITHIN: Duration = Duration::from_secs(300);
const TAKEN_OVER_NM: f64 = 0.5;
/// Pushes of the button no further apart than this are one (a hand that trembles).
const ONE_PUSH: Duration = Duration::from_secs(10);
/// From the fall to the first burst, about: the beacon must inflate its vest and start (from memory; own choice).
const FALL_TO_BURST: Duration = Duration::from_secs(30);
/// Silence after which an active beacon that was stood down counts anew.
const SILENCE_ENDS_STAND_DOWN: Duration = Duration::from_secs(600);
/// The same where others have taken the casualty over: own vessel sails out of its range and in again.
const SILENCE_ENDS_HANDOVER: Duration = Duration::from_secs(6 * 3600);
/// A beacon whose wearer was recovered is aboard; further off than this it is not.
const RECOVERED_WITHIN_NM: f64 = 0.25;

/// A casualty that is not there.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
pub enum NoSuchCasualty {
    /// Never heard of, or forgotten.
    #[error("there is no casualty {}", .0.0)]
    Unknown(CasualtyId),
    /// Already over.
    #[error("casualty {} has been stood down already", .0.0)]
    StoodDown(CasualtyId),
}

/// All casualties of one lookout.
#[derive(Debug, Clone, PartialEq)]
pub struct Casualties {
    crew: Vec<CrewMember>,
    open: Vec<Case>,
    closed: VecDeque<Case>,
    next_id: u32,
    tests: Tests,
    track: Track,
    false_claims: BTreeSet<Mmsi>,
    /// Beacons beyond those kept one by one.
    crowd: BTreeSet<Mmsi>,
    waiting_calls: Vec<call::WaitingCall>,
    unknown_gap: Option<snapshot::UnknownGap>,
    news: Vec<News>,
}

/// One message of a beacon, an emitter or a caller, whatever it came by.
#[derive(Debug, Clone, PartialEq)]
struct Message {
    identity: Identity,
    kind: Kind,
    source: Source,
    test: bool,
    fix: Option<(BeaconFix, Option<PositionSource>)>,
    /// A place that is no fix.
    mark: Option<Mark>,
    /// When the emitter says that it was set off.
    began: Option<Moment>,
    battery_low: Option<bool>,
}

impl Casualties {
    /// None yet, with this crew.
    pub fn new(crew: Vec<CrewMember>) -> Self {
        Self {
            crew,
            open: Vec::new(),
            closed: VecDeque::new(),
            next_id: 1,
            tests: Tests::default(),
            track: Track::default(),
            false_claims: BTreeSet::new(),
            crowd: BTreeSet::new(),
            waiting_calls: Vec::new(),
            unknown_gap: None,
            news: Vec::new(),
        }
    }

    /// The first number to be given; those below were used before in this logbook.
    pub fn number_from(&mut self, next_id: u32) {
        self.next_id = self.next_id.max(next_id);
    }

    /// Takes an AIS message. True: it was a beacon's or a crew member's, and is no ordinary target.
    pub fn hear_ais(&mut self, at: Moment, report: &AisReport, own: &OwnContext) -> bool {
        let crew = self.crew_of(report.mmsi).is_some();
        let ours = report.own_vessel || own.mmsi == Some(report.mmsi);
        if !report.mmsi.is_beacon() && (!crew || ours) {
            self.note_false_claim(report);
            self.follow_distressed(at, report);
            return false;
        }
        let fix = report.position.map(|position| {
            (
                BeaconFix { at, position, sog_kn: report.sog_kn, cog_deg: report.cog_deg },
                report.position_source,
            )
        });
        let message = Message {
            identity: Identity::Mmsi(report.mmsi),
            kind: Kind::of_beacon(report.mmsi, crew),
            source: Source::Ais,
            test: beacon::is_test(report),
            fix,
            mark: None,
            began: None,
            battery_low: None,
        };
        self.take(at, message, own);
        true
    }

    /// A button was pushed. `late`: how long ago the fall was, as far as its pusher knows; the mark is own place
    /// then. Counts for an open casualty where it is the same crew member's, where it trembles, or where a
    /// beacon was raised within five minutes and half a mile and no button has been pushed for it yet.
    pub fn overboard(
        &mut self,
        at: Moment,
        late: Duration,
        crew: Option<String>,
        own: &OwnContext,
    ) -> CasualtyId {
        self.follow(at, own);
        let crew = crew.map(|c| c.trim().to_owned()).filter(|c| !c.is_empty());
        let began = at - late;
        let mark = self.track.place_or_now(began, own).map(|p| Mark {
            at: began,
            position: p.position,
            radius95_nm: p.radius95_nm.max(0.02),
        });
        if let Some(index) = self.pushed_already(at, late, crew.as_deref(), mark, own) {
            let case = &mut self.open[index];
            case.pushed = case.pushed.saturating_add(1);
            case.crew = case.crew.take().or(crew);
            case.began = case.began.min(began);
            case.mark = case.mark.or(mark);
            let id = case.id;
            self.tell(id, CasualtyNews::Joined);
            return id;
        }
        let id = self.number();
        self.open.push(Case {
            id,
            kind: Kind::PersonOverboard,
            source: Source::Button,
            why: Why::Button,
            identity: None,
            crew,
            raised: at,
            began,
            elapsed_is: ElapsedIs::Exact,
            mark,
            fixes: Fixes::default(),
            heard: None,
            burst: None,
            also: None,
            silence_told: false,
            under_test_told: false,
            pushed: 1,
            battery_low: None,
            heard_to_nm: None,
            stood_down: None,
            gap_ended: None,
        });
        self.tell(id, CasualtyNews::Raised);
        id
    }

    /// The open casualty that a push of the button counts for.
    fn pushed_already(
        &self,
        at: Moment,
        late: Duration,
        crew: Option<&str>,
        mark: Option<Mark>,
        own: &OwnContext,
    ) -> Option<usize> {
        let same_name = |c: &Case| match (c.crew.as_deref(), crew) {
            (Some(a), Some(b)) => a.eq_ignore_ascii_case(b),
            _ => false,
        };
        if let Some(i) = self.open.iter().position(same_name) {
            return Some(i);
        }
        let other_name = |c: &Case| c.crew.is_some() && crew.is_some();
        let buttons = self.open.iter().filter(|c| c.source == Source::Button).count();
        self.open.iter().rposition(|c| {
            let trembles = c.source == Source::Button && at.since(c.raised) <= ONE_PUSH;
            let beacon = c.pushed == 0
                && c.kind == Kind::PersonOverboard
                && late <= TAKEN_OVER_WITHIN
                && at.since(c.raised) <= TAKEN_OVER_WITHIN
                && near(c.fixes.last().map(|f| f.position).or(own.position_at(at)), mark);
            let full = buttons >= BUTTON_CASES && c.source == Source::Button;
            full || (!other_name(c) && (trembles || beacon))
        })
    }

    /// Ends a casualty: the only way that one ends.
    ///
    /// # Errors
    /// When there is none of this number, or it is over already.
    pub fn stand_down(
        &mut self,
        at: Moment,
        id: CasualtyId,
        reason: StandDown,
    ) -> Result<(), NoSuchCasualty> {
        let Some(index) = self.open.iter().position(|c| c.id == id) else {
            let over = self.closed.iter().any(|c| c.id == id);
            return Err(if over { NoSuchCasualty::StoodDown(id) } else { NoSuchCasualty::Unknown(id) });
        };
        let mut case = self.open.remove(index);
        case.stood_down = Some((at, reason));
        if let Some(identity) = &case.identity {
            self.tests.forget(identity);
        }
        self.closed.push_back(case);
        if self.closed.len() > CLOSED_CASES {
            self.closed.pop_front();
        }
        self.tell(id, CasualtyNews::StoodDown(reason));
        Ok(())
    }

    /// Time has come to this moment, or own vessel has moved.
    pub fn advance(&mut self, at: Moment, own: &OwnContext) {
        self.follow(at, own);
        let mut silent = Vec::new();
        for case in &mut self.open {
            let Some(burst) = case.burst.filter(|_| !case.silence_told) else { continue };
            if at.since(burst) > SILENT_AFTER {
                case.silence_told = true;
                silent.push(case.id);
            }
        }
        silent.into_iter().for_each(|id| self.tell(id, CasualtyNews::Silent));
    }

    /// When [`Self::advance`] has something to do at the latest.
    pub fn next_wake(&self) -> Option<Moment> {
        let bursts = self.open.iter().filter(|c| !c.silence_told).filter_map(|c| c.burst);
        bursts.map(|b| b + SILENT_AFTER + Duration::from_millis(1)).min()
    }

    /// Everything to be told since the last time.
    pub fn take_news(&mut self) -> Vec<News> {
        std::mem::take(&mut self.news)
    }

    /// One casualty, open or lately stood down.
    pub fn state(&self, at: Moment, id: CasualtyId, own: &OwnContext) -> Option<CasualtyState> {
        let case = self.open.iter().chain(self.closed.iter()).find(|c| c.id == id)?;
        Some(self.state_of(case, at, own))
    }

    /// All open casualties in the order in which they were raised.
    pub fn states(&self, at: Moment, own: &OwnContext) -> Vec<CasualtyState> {
        self.open.iter().map(|c| self.state_of(c, at, own)).collect()
    }

    /// Tests heard of a beacon, oldest first.
    pub fn tests_of(&self, mmsi: Mmsi) -> Vec<TestHeard> {
        self.tests.past(&Identity::Mmsi(mmsi)).copied().collect()
    }

    /// The state of a case with the ranges of its beacon's tests.
    fn state_of(&self, case: &Case, at: Moment, own: &OwnContext) -> CasualtyState {
        let tests = case.identity.iter().flat_map(|i| self.tests.past(i));
        let tested_to_nm = tests.filter_map(|t| t.range_nm).reduce(f64::max);
        state::of(case, at, own, tested_to_nm)
    }

    /// The crew member of an identity.
    fn crew_of(&self, mmsi: Mmsi) -> Option<&CrewMember> {
        self.crew.iter().find(|c| c.mmsi == Some(mmsi))
    }

    /// The crew member of an identity, whatever it is.
    fn crew_name(&self, identity: &Identity) -> Option<String> {
        match identity {
            Identity::Mmsi(m) => self.crew_of(*m).map(|c| c.name.clone()),
            Identity::Emitter(_) => None,
        }
    }

    /// A station that is no beacon but says so: noted once, never raised.
    fn note_false_claim(&mut self, report: &AisReport) {
        let claims =
            report.nav_status == Some(beacon::STATUS_ACTIVE) || beacon::says_active(report.text.as_deref());
        if claims
            && !report.own_vessel
            && self.false_claims.len() < FALSE_CLAIMS
            && self.false_claims.insert(report.mmsi)
        {
            let text = format!(
                "{} reports itself as an active distress beacon, but its identity is none",
                report.mmsi
            );
            self.note(Some(report.mmsi), text);
        }
    }

    /// A vessel whose distress call was heard: her own AIS tells where she is better than the call does.
    fn follow_distressed(&mut self, at: Moment, report: &AisReport) {
        let distressed =
            |c: &&mut Case| matches!(c.kind, Kind::VesselInDistress(_)) && c.mmsi() == Some(report.mmsi);
        if let (Some(case), Some(position)) = (self.open.iter_mut().find(distressed), report.position) {
            let fix = BeaconFix { at, position, sog_kn: report.sog_kn, cog_deg: report.cog_deg };
            let first = case.fixes.last().is_none();
            if case.fixes.take(fix, report.position_source, None) && first {
                let id = case.id;
                self.tell(id, CasualtyNews::Located);
            }
        }
    }

    /// One message, whatever it came by.
    fn take(&mut self, at: Moment, message: Message, own: &OwnContext) {
        self.follow(at, own);
        if let Some(index) = self.open.iter().position(|c| c.is(&message.identity)) {
            self.update(at, index, &message, own);
            return;
        }
        let why = if message.test {
            match self.hear_test(at, &message, own) {
                Some(why) => why,
                None => return,
            }
        } else {
            Why::Active
        };
        if self.is_quiet_after_stand_down(at, &message, own) {
            return;
        }
        self.raise(at, &message, why, own);
    }

    /// A test: told once, unless it turns out to be none.
    fn hear_test(&mut self, at: Moment, message: &Message, own: &OwnContext) -> Option<Why> {
        let position = match message.fix {
            Some((f, Some(PositionSource::Fix) | None)) => Some(f.position),
            _ => None,
        };
        let crew = &self.crew;
        let reserved =
            |i: &Identity| matches!(i, Identity::Mmsi(m) if crew.iter().any(|c| c.mmsi == Some(*m)));
        let test = TestMessage { at, identity: &message.identity, reserved: &reserved, position, own };
        match self.tests.hear(&test) {
            Verdict::GoesOn => None,
            Verdict::Raise(why) => Some(why),
            Verdict::Begins => {
                let crew = self.crew_name(&message.identity);
                let range_nm = own.position_at(at).zip(position).map(|(o, p)| o.range_and_bearing(p).0);
                let mmsi = if let Identity::Mmsi(m) = message.identity { Some(m) } else { None };
                let whose = match (&crew, &message.identity) {
                    (Some(name), _) => format!("beacon of {name}"),
                    (None, Identity::Mmsi(m)) => format!("beacon {m}"),
                    (None, Identity::Emitter(e)) => format!("beacon with emitter {e}"),
                };
                let range = range_nm.map_or(String::new(), |r| format!(", {r:.2} nm off"));
                let text = format!("test of the {whose} heard{range}");
                self.push_notice(News::BeaconTest { mmsi, crew, range_nm, text });
                None
            }
        }
    }

    /// Whether a beacon that was stood down may go on sending unheeded: it has not been silent since, and where
    /// its wearer was recovered it is not far off.
    fn is_quiet_after_stand_down(&mut self, at: Moment, message: &Message, own: &OwnContext) -> bool {
        let Some(case) = self.closed.iter_mut().rev().find(|c| c.is(&message.identity)) else {
            return false;
        };
        let Some((ended, reason)) = case.stood_down else { return false };
        let heard = case.heard.map_or(ended, |h| h.max(ended));
        let silence = at.since(heard);
        let range_nm = message.fix.zip(own.position_at(at)).and_then(|((fix, source), own)| {
            matches!(source, Some(PositionSource::Fix) | None).then(|| own.range_and_bearing(fix.position).0)
        });
        let quiet = match reason {
            StandDown::HandedOver => silence <= SILENCE_ENDS_HANDOVER,
            StandDown::FalseActivation | StandDown::Test => silence <= SILENCE_ENDS_STAND_DOWN,
            StandDown::Recovered => {
                silence <= SILENCE_ENDS_STAND_DOWN && range_nm.is_none_or(|r| r <= RECOVERED_WITHIN_NM)
            }
        };
        if !quiet {
            return false;
        }
        case.heard = Some(at);
        let told = std::mem::replace(&mut case.under_test_told, true);
        let id = case.id.0;
        if !told {
            let mmsi = case.mmsi();
            self.note(mmsi, format!("the beacon of casualty {id}, which was stood down, is still sending"));
        }
        true
    }

    /// Raises a casualty, or lets a beacon take over a mark.
    fn raise(&mut self, at: Moment, message: &Message, why: Why, own: &OwnContext) {
        self.tests.forget(&message.identity);
        let crew = self.crew_name(&message.identity);
        if let Some(index) = self.mark_to_take_over(at, message, crew.as_deref(), own) {
            let case = &mut self.open[index];
            case.join(&message.identity, message.source);
            case.crew = crew.or(case.crew.take());
            let id = case.id;
            self.tell(id, CasualtyNews::Joined);
            self.update(at, index, message, own);
            return;
        }
        let mut kind = message.kind;
        let mut identity = Some(message.identity.clone());
        let mut why = why;
        let unknown = |c: &&Case| c.identity.as_ref().is_some_and(|i| self.crew_name(i).is_none());
        if crew.is_none() && self.open.iter().filter(unknown).count() >= UNKNOWN_CASES {
            if self.count_in_crowd(at, message) {
                return;
            }
            (kind, identity, why) = (Kind::ManyBeacons { count: 1 }, None, Why::TooMany);
        }
        let id = self.number();
        let many = identity.is_none();
        self.open.push(Case {
            id,
            kind,
            source: message.source,
            why,
            identity,
            crew,
            raised: at,
            began: message.began.unwrap_or(at).min(at),
            elapsed_is: ElapsedIs::Exact,
            mark: None,
            fixes: Fixes::default(),
            heard: None,
            burst: None,
            also: None,
            silence_told: many,
            under_test_told: false,
            pushed: 0,
            battery_low: None,
            heard_to_nm: None,
            stood_down: None,
            gap_ended: None,
        });
        self.tell(id, CasualtyNews::Raised);
        if !many {
            let index = self.open.len() - 1;
            self.place_by_track(at, index, message, own);
            self.update(at, index, message, own);
        }
    }

    /// Where a beacon has no fix yet, its wearer is where own vessel was shortly before the first burst.
    fn place_by_track(&mut self, at: Moment, index: usize, message: &Message, own: &OwnContext) {
        let case = &mut self.open[index];
        if case.kind != Kind::PersonOverboard || message.source == Source::Dsc {
            return;
        }
        let fell = message.began.unwrap_or(at - FALL_TO_BURST);
        case.mark = self.track.place_or_now(fell, own).map(|p| {
            // Half a minute either way at own speed: when the fall was is a guess.
            let slack_nm =
                own.velocity(at).map_or(0.05, |v| v.drift_kn * FALL_TO_BURST.as_secs_f64() / 3600.0);
            Mark { at: fell, position: p.position, radius95_nm: p.radius95_nm + slack_nm.max(0.02) }
        });
    }

    /// The open casualty without a beacon that this one takes over: no more than five minutes old and half a mile off.
    fn mark_to_take_over(
        &self,
        at: Moment,
        message: &Message,
        crew: Option<&str>,
        own: &OwnContext,
    ) -> Option<usize> {
        if !matches!(message.kind, Kind::PersonOverboard | Kind::Sart) || message.source == Source::Dsc {
            return None;
        }
        let place = message.fix.map(|(f, _)| f.position).or_else(|| own.position_at(at));
        let fits = |c: &Case| {
            c.takes(&message.identity)
                && c.kind == Kind::PersonOverboard
                && at.since(c.raised) <= TAKEN_OVER_WITHIN
                && near(place, c.mark)
        };
        let same = |c: &Case| match (c.crew.as_deref(), crew) {
            (Some(a), Some(b)) => a.eq_ignore_ascii_case(b),
            _ => false,
        };
        let free = |c: &Case| c.crew.is_none() || crew.is_none();
        let named = self.open.iter().position(|c| fits(c) && same(c));
        named.or_else(|| self.open.iter().rposition(|c| fits(c) && free(c)))
    }

    /// One more of too many beacons; false where no alarm for them is open yet.
    fn count_in_crowd(&mut self, at: Moment, message: &Message) -> bool {
        if let Identity::Mmsi(m) = message.identity
            && self.crowd.len() < COUNTED_BEACONS
        {
            self.crowd.insert(m);
        }
        let counted = u32::try_from(self.crowd.len()).unwrap_or(u32::MAX).max(1);
        let many = |k: Kind| matches!(k, Kind::ManyBeacons { .. });
        if let Some(case) = self.open.iter_mut().find(|c| many(c.kind)) {
            case.kind = Kind::ManyBeacons { count: counted };
            case.heard = Some(at);
            return true;
        }
        let lately = self.closed.iter().rev().find(|c| many(c.kind)).and_then(|c| c.stood_down);
        lately.is_some_and(|(ended, _)| at.since(ended) <= SILENCE_ENDS_STAND_DOWN)
    }

    /// A message of a casualty that is open.
    fn update(&mut self, at: Moment, index: usize, message: &Message, own: &OwnContext) {
        let here = own.position_at(at);
        let case = &mut self.open[index];
        let id = case.id;
        let mut told = Vec::new();
        let heard_before = message.source == Source::Ais && case.burst.replace(at).is_some();
        if heard_before && std::mem::replace(&mut case.silence_told, false) {
            told.push(CasualtyNews::HeardAgain);
        }
        case.heard = Some(at);
        if let Some((fix, source)) = message.fix {
            let first = case.fixes.last().is_none();
            // A call by medium wave comes from far beyond a beacon's range.
            let near = here.filter(|_| message.source != Source::Dsc);
            if case.fixes.take(fix, source, near) {
                let range_nm = here.map(|h| h.range_and_bearing(fix.position).0);
                case.heard_to_nm = [case.heard_to_nm, range_nm].into_iter().flatten().reduce(f64::max);
                if first {
                    told.push(CasualtyNews::Located);
                }
            }
        }
        if message.mark.is_some() {
            case.mark = message.mark;
        }
        let battery_low = message.battery_low.or(case.battery_low);
        // A person stays a person, whatever else the beacon or the call is named for.
        let kind = if message.test || case.kind == Kind::PersonOverboard { case.kind } else { message.kind };
        if battery_low != case.battery_low || kind != case.kind {
            told.push(CasualtyNews::Changed);
            case.battery_low = battery_low;
            case.kind = kind;
        }
        let test_note =
            message.test && case.why == Why::Active && !std::mem::replace(&mut case.under_test_told, true);
        let mmsi = case.mmsi();
        told.into_iter().for_each(|n| self.tell(id, n));
        if test_note {
            self.note(
                mmsi,
                format!(
                    "the beacon of casualty {} now says that it is under test; the casualty stands",
                    id.0
                ),
            );
        }
    }

    /// Own vessel's place goes into the back-track, and her UTC may close a gap.
    fn follow(&mut self, at: Moment, own: &OwnContext) {
        self.track.follow(own);
        self.resolve_gap(at, own);
    }

    /// The next number.
    fn number(&mut self) -> CasualtyId {
        let id = CasualtyId(self.next_id);
        self.next_id = self.next_id.saturating_add(1);
        id
    }

    /// News of a casualty.
    fn tell(&mut self, id: CasualtyId, news: CasualtyNews) {
        self.news.push(News::Casualty { id, news });
    }

    /// A notice.
    fn note(&mut self, mmsi: Option<Mmsi>, text: String) {
        self.push_notice(News::Noted { mmsi, text });
    }

    /// Adds a notice while there is room.
    fn push_notice(&mut self, news: News) {
        if self.news.len() < WAITING_NOTICES {
            self.news.push(news);
        }
    }
}

/// Whether a place is near a mark; without one of the two nothing speaks against it.
fn near(place: Option<Position>, mark: Option<Mark>) -> bool {
    match (place, mark) {
        (Some(p), Some(m)) => p.range_and_bearing(m.position).0 <= TAKEN_OVER_NM,
        _ => true,
    }
}
