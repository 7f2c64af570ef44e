//! What survives a restart: every case, its fixes, the tests heard and the thinned back-track.

use super::beacon::TestHeard;
use super::case::{Case, CrewMember, ElapsedIs, Identity};
use super::own::OwnContext;
use super::track::Track;
use super::{Casualties, Tests};
use crate::drift::{Spell, Surroundings};
use crate::search::Searched;
use serde::{Deserialize, Serialize};
use std::collections::{BTreeSet, VecDeque};
use std::time::Duration;
use terms::{CasualtyId, Mmsi, Moment, Utc, UtcSource};

/// Everything about the casualties worth keeping on disk.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Snapshot {
    taken: Moment,
    /// UTC then, by satellite.
    utc: Option<Utc>,
    next_id: u32,
    open: Vec<Case>,
    closed: VecDeque<Case>,
    past_tests: Vec<(Identity, VecDeque<TestHeard>)>,
    track: Track,
    spells: VecDeque<Spell>,
    searched: Vec<(CasualtyId, Searched)>,
    crowd: BTreeSet<Mmsi>,
    unknown_gap: Option<UnknownGap>,
}

/// What is known about the time between the snapshot and the restart.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Gap {
    /// Steady time ran on: the same boot.
    SameClock,
    /// This long, by a UTC believed at both ends.
    Of(Duration),
    /// Not known; resolved as soon as satellites give UTC, if they did when the snapshot was taken.
    Unknown,
}

/// A gap whose length is not known yet.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub(crate) struct UnknownGap {
    /// When the lookout went on.
    resumed: Moment,
    /// UTC when the snapshot was taken.
    utc: Utc,
}

impl Casualties {
    /// A copy of what survives a restart, taken at a moment with its UTC, if known.
    pub fn snapshot(&self, at: Moment, utc: Option<(Utc, UtcSource)>) -> Snapshot {
        Snapshot {
            taken: at,
            utc: utc.filter(|u| u.1 == UtcSource::Satellite).map(|u| u.0),
            next_id: self.next_id,
            open: self.open.clone(),
            closed: self.closed.clone(),
            past_tests: self.tests.all_past().map(|(i, t)| (i.clone(), t.clone())).collect(),
            track: self.track.thinned(),
            spells: self.surroundings.spells(),
            searched: self.searched.clone(),
            crowd: self.crowd.clone(),
            unknown_gap: self.unknown_gap,
        }
    }

    /// Resumes after a restart: every open casualty is still open, and nothing is reported again. If the gap is not
    /// known, elapsed times are "at least" from here on.
    pub fn restore(crew: Vec<CrewMember>, snapshot: Snapshot, at: Moment, gap: Gap) -> Self {
        let gap_ms = match gap {
            Gap::SameClock => at.0.saturating_sub(snapshot.taken.0),
            Gap::Of(d) => i64::try_from(d.as_millis()).unwrap_or(i64::MAX),
            Gap::Unknown => 0,
        };
        let mut c = Self::new(crew);
        c.next_id = snapshot.next_id;
        c.open = snapshot.open;
        c.closed = snapshot.closed;
        c.tests = Tests::with_past(snapshot.past_tests);
        c.track = snapshot.track;
        c.surroundings = Surroundings::with(snapshot.spells);
        c.searched = snapshot.searched;
        c.crowd = snapshot.crowd;
        c.unknown_gap = snapshot.unknown_gap;
        c.shift(at.0.saturating_sub(snapshot.taken.0).saturating_sub(gap_ms));
        if gap == Gap::Unknown {
            for case in &mut c.open {
                case.elapsed_is = ElapsedIs::AtLeast;
                case.gap_ended = Some(at);
            }
            c.unknown_gap =
                snapshot.utc.filter(|_| c.unknown_gap.is_none()).map(|utc| UnknownGap { resumed: at, utc });
        }
        c
    }

    /// Moves everything remembered to a new origin of steady time.
    fn shift(&mut self, by_ms: i64) {
        self.open.iter_mut().chain(self.closed.iter_mut()).for_each(|c| c.shift(by_ms));
        self.track.shift(by_ms);
        self.surroundings.shift_before(Moment(i64::MAX), by_ms);
        self.searched.iter_mut().for_each(|s| s.1.at.0 = s.1.at.0.saturating_add(by_ms));
        self.tests.shift(by_ms);
        if let Some(g) = &mut self.unknown_gap {
            g.resumed.0 = g.resumed.0.saturating_add(by_ms);
        }
    }

    /// Once satellites give UTC, the length of an unknown gap is known: everything before it moves back by that much.
    pub(super) fn resolve_gap(&mut self, at: Moment, own: &OwnContext) {
        let Some((gap, utc)) = self.unknown_gap.zip(own.utc.filter(|u| u.1 == UtcSource::Satellite)) else {
            return;
        };
        self.unknown_gap = None;
        let whole_ms = utc.0.0.saturating_sub(gap.utc.0);
        let gap_ms = whole_ms.saturating_sub(at.0.saturating_sub(gap.resumed.0));
        if gap_ms < 0 {
            return;
        }
        for case in self.open.iter_mut().chain(self.closed.iter_mut()) {
            if case.elapsed_is == ElapsedIs::AtLeast && case.raised < gap.resumed {
                case.shift_before(gap.resumed, -gap_ms);
                case.elapsed_is = ElapsedIs::Exact;
                case.gap_ended = None;
            }
        }
        self.track.shift_before(gap.resumed, -gap_ms);
        self.surroundings.shift_before(gap.resumed, -gap_ms);
        for s in self.searched.iter_mut().filter(|s| s.1.at < gap.resumed) {
            s.1.at.0 = s.1.at.0.saturating_sub(gap_ms);
        }
    }
}
