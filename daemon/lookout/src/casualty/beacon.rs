//! Which of a beacon's messages are tests, and how tests are handled.

use super::case::{Identity, Why};
use super::own::OwnContext;
use sentence::ais::AisReport;
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, VecDeque};
use std::time::Duration;
use terms::{Moment, Position, Utc, turn_deg};

/// Navigational status 15: "default", and a beacon under test (ITU-R M.1371-5 table 45, from memory).
const STATUS_DEFAULT: u8 = 15;
/// Navigational status 14: SART, MOB or EPIRB active (ITU-R M.1371-5 table 45, from memory).
pub(crate) const STATUS_ACTIVE: u8 = 14;
/// A test is one burst; a beacon still sending after this is not testing.
const LONGEST_TEST: Duration = Duration::from_secs(180);
/// Silence that ends a test: five bursts, so that a beacon with some bursts lost does not start a new test.
const TEST_OVER: Duration = Duration::from_secs(300);
/// Falling astern is judged only after this: longer than a burst of eight takes.
const ASTERN_AFTER: Duration = Duration::from_secs(20);
/// Growth of the range beyond any receiver error (about 55 m; own choice).
const ASTERN_GROWTH_NM: f64 = 0.03;
/// It began near enough to be aboard (about 185 m; own choice, for large boats and poor fixes).
const ABOARD_NM: f64 = 0.1;
/// Tests under way of beacons other than the crew's; the crew's have their own places.
const UNKNOWN_TESTS: usize = 64;
/// Past tests kept per beacon, and the number of beacons outside the crew's whose tests are kept.
const KEPT_TESTS: usize = 16;
const KEPT_BEACONS: usize = 64;

/// Whether a text contains a word.
fn has_word(text: &str, word: &str) -> bool {
    text.split(|c: char| !c.is_ascii_alphanumeric()).any(|w| w.eq_ignore_ascii_case(word))
}

/// Whether a text says that a beacon is active.
pub(crate) fn says_active(text: Option<&str>) -> bool {
    text.is_some_and(|t| has_word(t, "ACTIVE"))
}

/// Whether a beacon's message is quiet: status 15, or a text that says TEST, and nothing that says ACTIVE. Anything
/// else is not, including a message cut short.
pub(crate) fn is_test(report: &AisReport) -> bool {
    let text = report.text.as_deref();
    let tested = report.nav_status == Some(STATUS_DEFAULT) || text.is_some_and(|t| has_word(t, "TEST"));
    tested && !says_active(text) && report.nav_status.is_none_or(|s| s == STATUS_DEFAULT)
}

/// One test heard from a beacon.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct TestHeard {
    /// When, by steady time.
    pub at: Moment,
    /// When, by UTC, if it was known.
    pub utc: Option<Utc>,
    /// The furthest from own vessel at which it was heard; `None` if either position was not known.
    pub range_nm: Option<f64>,
}

/// A test under way.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct Session {
    first: Moment,
    last: Moment,
    /// The first range known.
    first_range_nm: Option<f64>,
}

/// What to do about a test message.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Verdict {
    /// A test began: report it once.
    Begins,
    /// It goes on.
    GoesOn,
    /// It is no test: raise it.
    Raise(Why),
}

/// Tests under way and past ones. Bounded for unknown beacons; those of the crew have their own places.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct Tests {
    under_way: BTreeMap<Identity, Session>,
    past: BTreeMap<Identity, VecDeque<TestHeard>>,
}

/// A test message to be judged.
pub(crate) struct TestMessage<'a> {
    pub at: Moment,
    pub identity: &'a Identity,
    /// Identities of the crew, which are never pushed out.
    pub reserved: &'a dyn Fn(&Identity) -> bool,
    pub position: Option<Position>,
    pub own: &'a OwnContext,
}

impl Tests {
    /// Judges a test message and keeps it in the beacon's record.
    pub fn hear(&mut self, m: &TestMessage<'_>) -> Verdict {
        let here = m.own.position_at(m.at);
        let range_and_bearing = here.zip(m.position).map(|(own, p)| own.range_and_bearing(p));
        let range_nm = range_and_bearing.map(|r| r.0);
        let begins = self.under_way.get(m.identity).is_none_or(|s| m.at.since(s.last) > TEST_OVER);
        self.record(m, begins, range_nm);
        if begins {
            self.begin(m, range_nm);
            return Verdict::Begins;
        }
        let Some(session) = self.under_way.get_mut(m.identity) else { return Verdict::Begins };
        session.last = m.at;
        let lasted = m.at.since(session.first);
        session.first_range_nm = session.first_range_nm.or(range_nm);
        let first_range_nm = session.first_range_nm;
        if lasted > LONGEST_TEST {
            return Verdict::Raise(Why::StillTesting);
        }
        let astern = range_and_bearing.is_some_and(|(range, bearing)| {
            let abaft = match m.own.velocity(m.at) {
                Some(v) if v.drift_kn > 1.0 => turn_deg(v.set_deg, bearing).abs() > 90.0,
                _ => true,
            };
            let near = first_range_nm.is_some_and(|f| f <= ABOARD_NM) || (m.reserved)(m.identity);
            let grown = first_range_nm.is_some_and(|f| range - f >= ASTERN_GROWTH_NM);
            lasted >= ASTERN_AFTER && near && abaft && grown
        });
        if astern { Verdict::Raise(Why::FallingAstern) } else { Verdict::GoesOn }
    }

    /// Begins a test; when the places for unknown beacons are full, the one silent longest gives way.
    fn begin(&mut self, m: &TestMessage<'_>, range_nm: Option<f64>) {
        let unknown = |(i, _): &(&Identity, &Session)| !(m.reserved)(i);
        if !(m.reserved)(m.identity) && self.under_way.iter().filter(unknown).count() >= UNKNOWN_TESTS {
            let oldest =
                self.under_way.iter().filter(unknown).min_by_key(|(_, s)| s.last).map(|(i, _)| i.clone());
            oldest.and_then(|i| self.under_way.remove(&i));
        }
        let session = Session { first: m.at, last: m.at, first_range_nm: range_nm };
        self.under_way.insert(m.identity.clone(), session);
    }

    /// Keeps the test in the beacon's record, with the furthest range of its messages.
    fn record(&mut self, m: &TestMessage<'_>, begins: bool, range_nm: Option<f64>) {
        if !self.past.contains_key(m.identity) && !(m.reserved)(m.identity) && self.past.len() >= KEPT_BEACONS
        {
            let oldest = self
                .past
                .iter()
                .filter(|(i, _)| !(m.reserved)(i))
                .min_by_key(|(_, t)| t.back().map(|t| t.at))
                .map(|(i, _)| i.clone());
            oldest.and_then(|i| self.past.remove(&i));
        }
        let tests = self.past.entry(m.identity.clone()).or_default();
        match tests.back_mut() {
            Some(last) if !begins => {
                last.range_nm = match (last.range_nm, range_nm) {
                    (Some(a), Some(b)) => Some(a.max(b)),
                    (a, b) => a.or(b),
                };
            }
            _ => tests.push_back(TestHeard { at: m.at, utc: m.own.utc.map(|u| u.0), range_nm }),
        }
        if tests.len() > KEPT_TESTS {
            tests.pop_front();
        }
    }

    /// Ends the test under way once the beacon has been raised.
    pub fn forget(&mut self, identity: &Identity) {
        self.under_way.remove(identity);
    }

    /// Past tests of a beacon, oldest first.
    pub fn past(&self, identity: &Identity) -> impl Iterator<Item = &TestHeard> {
        self.past.get(identity).into_iter().flatten()
    }

    /// All past tests, for a snapshot.
    pub fn all_past(&self) -> impl Iterator<Item = (&Identity, &VecDeque<TestHeard>)> {
        self.past.iter()
    }

    /// Past tests only, from a snapshot: a test under way when the lookout stopped starts over.
    pub fn with_past(past: Vec<(Identity, VecDeque<TestHeard>)>) -> Self {
        Self { under_way: BTreeMap::new(), past: past.into_iter().collect() }
    }

    /// Moves all of them in time, to a new origin of steady time.
    pub fn shift(&mut self, by_ms: i64) {
        for t in self.past.values_mut().flatten() {
            t.at.0 = t.at.0.saturating_add(by_ms);
        }
    }
}
