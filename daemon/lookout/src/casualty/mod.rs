//! Casualties: people overboard, distress beacons and distress calls. Pure; time is an input.
//!
//! The first message that is not a test raises a casualty without waiting for anything; only [`Casualties::stand_down`]
//! ends it. All tables are bounded; the crew's beacons have places of their own.

mod beacon;
mod button;
mod call;
mod case;
mod evidence;
mod fall;
mod fixes;
mod guidance;
mod intake;
mod join;
mod nature;
mod news;
mod own;
mod sighting;
mod snapshot;
mod spoken;
mod stand_down;
mod state;
mod track;
mod whereabouts;

#[cfg(test)]
mod tests;

pub use beacon::TestHeard;
pub(crate) use beacon::is_test;
pub use case::{CrewMember, ElapsedIs, Identity, Kind, Mark, Source, StandDown, Whose, Why};
pub use fall::{FALL_WITHIN, Fell};
pub use fixes::{BeaconFix, Doubt};
pub use guidance::{Guide, Turn, alongside, guidance};
pub use news::{CasualtyNews, News};
pub(crate) use own::ahead;
pub use own::{Known, OwnContext, RelativeTo, SetDrift, WindFrom};
pub use sighting::{NotPlaced, Seen};
pub use snapshot::{Gap, Snapshot};
pub(crate) use spoken::station;
pub use spoken::{aloud, elsewhere_words, in_full, out_of_hearing, who};
pub use stand_down::NoSuchCasualty;
pub use state::{Audible, CasualtyState, Elsewhere, Placed, Reach, Reckoned};
pub use track::{OnTrack, Track};

use crate::drift::{Current, Datum, Surroundings};
use crate::search::Searched;
use beacon::Tests;
use case::Case;
use fixes::{Bearing, measured_at};
use intake::Message;
use sentence::ais::AisReport;
use state::SILENT_AFTER;
use std::collections::{BTreeSet, VecDeque};
use std::time::Duration;
use terms::{CasualtyId, FeedId, Mmsi, Moment, UtcSource};

/// Ordinary stations whose false claim of distress was noted.
const FALSE_CLAIMS: usize = 256;
/// Searched areas kept for all casualties together; the oldest goes first. A search has a strip for each straight piece of
/// own track.
const SEARCHED_AREAS: usize = 512;
/// News waiting to be taken; notices beyond this are dropped, casualties never (their number is bounded above).
const WAITING_NOTICES: usize = 512;
/// A beacon first heard within this of a button's mark, in time and in distance, takes the mark over.
const TAKEN_OVER_WITHIN: Duration = Duration::from_secs(300);
const TAKEN_OVER_NM: f64 = 0.5;

/// All casualties of one lookout.
#[derive(Debug, Clone, PartialEq)]
pub struct Casualties {
    crew: Vec<CrewMember>,
    /// The feed whose message is being taken.
    feed: Option<FeedId>,
    open: Vec<Case>,
    closed: VecDeque<Case>,
    next_id: u32,
    tests: Tests,
    track: Track,
    surroundings: Surroundings,
    searched: Vec<(CasualtyId, Searched)>,
    false_claims: BTreeSet<Mmsi>,
    /// Beacons beyond those kept one by one.
    crowd: BTreeSet<Mmsi>,
    waiting_calls: Vec<call::WaitingCall>,
    unknown_gap: Option<snapshot::UnknownGap>,
    news: Vec<News>,
}

impl Casualties {
    /// None yet, with this crew.
    pub fn new(crew: Vec<CrewMember>) -> Self {
        Self {
            crew,
            feed: None,
            open: Vec::new(),
            closed: VecDeque::new(),
            next_id: 1,
            tests: Tests::default(),
            track: Track::default(),
            surroundings: Surroundings::default(),
            searched: Vec::new(),
            false_claims: BTreeSet::new(),
            crowd: BTreeSet::new(),
            waiting_calls: Vec::new(),
            unknown_gap: None,
            news: Vec::new(),
        }
    }

    /// Sets the first number to give; lower ones were used before in this logbook.
    pub fn number_from(&mut self, next_id: u32) {
        self.next_id = self.next_id.max(next_id);
    }

    /// The number the next one gets.
    pub fn next_number(&self) -> u32 {
        self.next_id
    }

    /// Names the feed that the messages to come are from.
    pub(crate) fn listen_to(&mut self, feed: FeedId) {
        self.feed = Some(feed);
    }

    /// Takes an AIS message. True: it was a beacon's or a crew member's, and is no ordinary target.
    pub fn hear_ais(&mut self, at: Moment, report: &AisReport, own: &OwnContext) -> bool {
        let crew = self.crew_of(report.mmsi).is_some();
        let ours = report.own_vessel || own.mmsi == Some(report.mmsi);
        if !report.mmsi.is_beacon() && (!crew || ours) {
            self.note_false_claim(report);
            self.follow_distressed(at, report, own);
            return false;
        }
        let fix = beacon_fix(at, report, own).map(|fix| (fix, report.position_source));
        let message = Message {
            identity: Identity::Mmsi(report.mmsi),
            kind: Kind::of_beacon(report.mmsi, crew),
            source: Source::Ais,
            test: beacon::is_test(report),
            fix,
            mark: None,
            began: None,
            battery_low: None,
            relayed_by: None,
        };
        self.take(at, message, own);
        true
    }

    /// Runs on to this moment, with own vessel where she now is.
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

    /// All news since the last call.
    pub fn take_news(&mut self) -> Vec<News> {
        std::mem::take(&mut self.news)
    }

    /// One casualty, open or lately stood down.
    pub fn state(&self, at: Moment, id: CasualtyId, own: &OwnContext) -> Option<CasualtyState> {
        let case = self.open.iter().chain(self.closed.iter()).find(|c| c.id == id)?;
        Some(self.state_of(case, at, own))
    }

    /// Whether any casualty has not been stood down.
    pub fn any_open(&self) -> bool {
        !self.open.is_empty()
    }

    /// What a casualty is, open or lately stood down.
    pub(crate) fn kind_of(&self, id: CasualtyId) -> Option<Kind> {
        self.open.iter().chain(self.closed.iter()).find(|c| c.id == id).map(|c| c.kind)
    }

    /// All open casualties in the order they were raised.
    pub fn states(&self, at: Moment, own: &OwnContext) -> Vec<CasualtyState> {
        self.open.iter().map(|c| self.state_of(c, at, own)).collect()
    }

    /// The numbers of the open casualties in the order they were raised.
    pub(crate) fn open_ids(&self) -> impl Iterator<Item = CasualtyId> {
        self.open.iter().map(|c| c.id)
    }

    /// The datum of a casualty with its region, less the areas searched for it in vain.
    pub fn datum(&self, at: Moment, id: CasualtyId) -> Option<Datum> {
        let case = self.open.iter().chain(self.closed.iter()).find(|c| c.id == id)?;
        whereabouts::datum(case, at, &self.surroundings, &self.searched_for(id))
    }

    /// Counts an area searched in vain for a casualty.
    pub fn searched(&mut self, id: CasualtyId, searched: Searched) {
        if self.searched.len() >= SEARCHED_AREAS {
            self.searched.remove(0);
        }
        self.searched.push((id, searched));
    }

    /// Areas searched for a casualty so far, in the order they were counted.
    pub fn searched_for(&self, id: CasualtyId) -> Vec<Searched> {
        self.searched.iter().filter(|s| s.0 == id).map(|s| s.1).collect()
    }

    /// The current as own vessel knows it.
    pub fn current(&self, own: &OwnContext) -> Current {
        self.surroundings.current(own)
    }

    /// Tests heard of a beacon, oldest first.
    pub fn tests_of(&self, mmsi: Mmsi) -> Vec<TestHeard> {
        self.tests.past(&Identity::Mmsi(mmsi)).copied().collect()
    }

    /// The state of a case with the ranges of its beacon's tests.
    fn state_of(&self, case: &Case, at: Moment, own: &OwnContext) -> CasualtyState {
        let tests = case.identity.iter().flat_map(|i| self.tests.past(i));
        let tested_to_nm = tests.filter_map(|t| t.range_nm).reduce(f64::max);
        state::of(case, at, own, &self.surroundings, tested_to_nm)
    }

    /// The crew member of an identity.
    fn crew_of(&self, mmsi: Mmsi) -> Option<&CrewMember> {
        self.crew.iter().find(|c| c.mmsi == Some(mmsi))
    }

    /// The crew member of an identity of any kind.
    fn crew_name(&self, identity: &Identity) -> Option<String> {
        match identity {
            Identity::Mmsi(m) => self.crew_of(*m).map(|c| c.name.clone()),
            Identity::Emitter(_) => None,
        }
    }

    /// A station that is no beacon but claims to be: noted once, never raised.
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

    /// A vessel whose distress call was heard: her own AIS gives her position better than the call does; but not that of
    /// somebody whom she has lost.
    fn follow_distressed(&mut self, at: Moment, report: &AisReport, own: &OwnContext) {
        let distressed = |c: &&mut Case| {
            matches!(c.kind, Kind::VesselInDistress(_)) && !c.is_person() && c.mmsi() == Some(report.mmsi)
        };
        if let (Some(case), Some(fix)) = (self.open.iter_mut().find(distressed), beacon_fix(at, report, own))
        {
            let first = case.fixes.last().is_none();
            let bearing = Bearing { own: None, by_own_track: &|_| false, adrift: false };
            if case.fixes.take(at, fix, report.position_source, &bearing) && first {
                let id = case.id;
                self.tell(id, CasualtyNews::Located);
            }
        }
    }

    /// Own vessel's place goes into the back-track, her wind and water into the drift, and her UTC may close a gap.
    pub(crate) fn follow(&mut self, at: Moment, own: &OwnContext) {
        self.track.follow(own);
        self.surroundings.follow(at, own);
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

/// The position of a message, with the moment at which it was measured.
fn beacon_fix(at: Moment, report: &AisReport, own: &OwnContext) -> Option<BeaconFix> {
    // The computer's clock may be off by more than a burst is old.
    let utc = own.utc.filter(|u| u.1 == UtcSource::Satellite).map(|u| u.0);
    let measured = measured_at(at, report.utc_second, utc);
    let (sog_kn, cog_deg) = (report.sog_kn, report.cog_deg);
    report.position.map(|position| BeaconFix { at: measured, position, sog_kn, cog_deg })
}
