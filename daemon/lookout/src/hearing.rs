//! Proof of hearing: how far off a low beacon can be expected to be heard with this antenna.
//!
//! The measurements are pairs of a range and whether a message that was due came: from class B vessels, which send
//! every 30 seconds (ITU-R M.1371-5 table 2, from memory), and from beacons tested at a distance, which send eight
//! messages in a burst. Each station reaches some part of its radio horizon, 4.12·(√h₁ + √h₂) km for heights in metres
//! (the common formula for an effective earth's radius of 4/3; Recommendation ITU-R P.310, from memory). That part is
//! estimated from all of them together and carried over to an antenna awash.

mod estimate;

use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, VecDeque};
use std::time::Duration;
use terms::{Mmsi, Moment, Position, Wakes};

/// Stations whose pairs are kept; the one unheard longest goes.
const STATIONS: usize = 64;
/// Class B vessels followed at one time.
const FOLLOWED: usize = 64;
/// Pairs are grouped by range in steps of this, up to a range beyond which nothing is heard directly.
const STEP_NM: f64 = 0.25;
const FURTHEST_NM: f64 = 40.0;
/// How often class B under way sends; between these speeds both kinds alike (ITU-R M.1371-5 table 2, from memory).
const DUE_EVERY: Duration = Duration::from_secs(30);
const SLOWEST_KN: f64 = 2.0;
const FASTEST_KN: f64 = 14.0;
/// A message this late is not the one that was due.
const LATE: Duration = Duration::from_secs(15);
/// How often to look for overdue messages.
const LOOKED_EVERY: Duration = Duration::from_secs(1);
/// Messages missed in a row after which she is no longer followed: she may have switched off.
const MISSED_MOST: usize = 10;
/// A message counts as missed only if the receiver heard somebody else within this: it was listening.
const LISTENED: Duration = Duration::from_secs(20);
/// Steps of time for keeping whether anybody was heard, and how many.
const HEARD_STEP: Duration = Duration::from_secs(10);
const HEARD_STEPS: usize = 90;
/// Messages of a beacon's test, all within this (IEC 61097-14, from memory).
const TEST_MESSAGES: u32 = 8;
const TEST_LASTS: Duration = Duration::from_secs(30);
/// A test nearer than this was made aboard and proves nothing.
pub(crate) const TELLING_NM: f64 = 0.2;

/// Height of the antenna of a beacon on a vest, awash (own choice).
const BEACON_M: f64 = 0.3;
/// Height of a class B antenna; yachts carry it from 3 m to 16 m (own choice).
const CLASS_B_M: f64 = 8.0;
/// How stations of one kind differ, in the logarithm of their range: height, cable, power (own choice: a fifth).
const STATIONS_DIFFER: f64 = 0.2;
/// What part of the range of class B at 2 W a beacon of 1 W reaches, if power falls with the fourth power of range over
/// water (two-ray propagation), and how far that may be off (own choice: a quarter).
const BEACON_PART: f64 = 0.84;
const BEACON_PART_OFF: f64 = 0.25;
/// Share of messages heard near at hand, and share heard beyond all range (collisions; an odd reflection; own choice).
const HEARD_NEAR: f64 = 0.97;
const HEARD_FAR: f64 = 0.005;

/// Fewer than these are too few to say anything.
const LEAST_PAIRS: u32 = 60;
const LEAST_STATIONS: usize = 3;
const LEAST_MISSED: u32 = 10;
/// An interval whose upper end is more than this many times the lower says nothing.
const WIDEST: f64 = 4.0;
/// How often the estimate is renewed while pairs come in.
const ESTIMATED_EVERY: Duration = Duration::from_secs(600);

/// The radio horizon of two antennas at these heights in metres, in nautical miles.
pub fn horizon_nm(a_m: f64, b_m: f64) -> f64 {
    4.12 * (a_m.max(0.0).sqrt() + b_m.max(0.0).sqrt()) / 1.852
}

/// How far off a low beacon can be expected to be heard: the range where every second message comes through.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Expected {
    /// As likely to be more as less.
    pub range_nm: f64,
    /// With 95 % it is no less than this …
    pub least_nm: f64,
    /// … and with 95 % no more than this.
    pub most_nm: f64,
    /// What it is based on.
    pub basis: Basis,
}

/// The data the estimate rests on.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub struct Basis {
    /// Pairs of a range and whether a message came.
    pub pairs: u32,
    /// Of these, messages that were due and did not come.
    pub missed: u32,
    /// Stations they come from.
    pub stations: usize,
    /// Height of own antenna.
    pub antenna_m: Option<f64>,
}

/// Why there is no estimate.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum TooThin {
    /// The height of the antenna is not known.
    #[error("the height of the AIS antenna is not known: `antenna_m` in boat.toml")]
    Antenna,
    /// Too little was measured.
    #[error(
        "too little to go by: {} pairs of range and heard, {} of them missed, of {} stations; at least {LEAST_PAIRS}, {LEAST_MISSED} and {LEAST_STATIONS} are needed",
        .0.pairs, .0.missed, .0.stations
    )]
    Few(Basis),
    /// What was measured does not agree well enough.
    #[error("{} pairs of range and heard allow anything from {least_nm:.1} to {most_nm:.1} nm", basis.pairs)]
    Wide {
        /// What it was based on.
        basis: Basis,
        /// The lower end.
        least_nm: f64,
        /// The upper end.
        most_nm: f64,
    },
}

/// Pairs of one station: messages heard and missed by step of range.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct Station {
    mmsi: Mmsi,
    beacon: bool,
    steps: BTreeMap<u16, (u32, u32)>,
}

/// A class B vessel that is followed.
#[derive(Debug, Clone)]
struct Chain {
    last: Moment,
    position: Position,
    sog_kn: f64,
    cog_deg: f64,
    range_nm: f64,
    /// When the next message is due.
    due: Moment,
    /// Ranges at which messages since the last were due and did not come.
    missed: Vec<f64>,
}

/// A beacon's test under way.
#[derive(Debug, Clone)]
struct Test {
    messages: u32,
    range_nm: Option<f64>,
}

/// What survives a restart: the pairs.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Kept(Vec<Station>);

/// What falls due of one station.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
enum Due {
    /// Her test is over.
    Test(Mmsi),
    /// Her next message is overdue.
    Message(Mmsi),
}

/// What was heard and what was not.
#[derive(Debug, Clone, Default)]
pub struct Hearing {
    antenna_m: Option<f64>,
    /// The one heard longest ago comes first.
    stations: Vec<Station>,
    chains: BTreeMap<Mmsi, Chain>,
    tests: BTreeMap<Mmsi, Test>,
    due: Wakes<Due>,
    /// Steps of time when anybody was heard, and who, the newest last.
    listened: VecDeque<(i64, Mmsi, bool)>,
    estimate: Option<(Moment, Result<Expected, TooThin>)>,
    /// Pairs have come in since then.
    more: bool,
    /// When overdue messages were last looked for.
    looked: Option<Moment>,
}

impl Hearing {
    /// With the AIS antenna at this height.
    pub fn new(antenna_m: Option<f64>) -> Self {
        Self { antenna_m, ..Self::default() }
    }

    /// Somebody's message was heard: the receiver listens.
    pub fn listens(&mut self, at: Moment, mmsi: Mmsi) {
        let step = at.0.div_euclid(HEARD_STEP.as_millis() as i64);
        match self.listened.back_mut() {
            Some((last, first, others)) if *last == step => *others |= *first != mmsi,
            _ => self.listened.push_back((step, mmsi, false)),
        }
        if self.listened.len() > HEARD_STEPS {
            self.listened.pop_front();
        }
    }

    /// Whether anybody but this one was heard around that time.
    fn listened(&self, at: Moment, but: Mmsi) -> bool {
        let width = HEARD_STEP.as_millis() as i64;
        let (from, to) = ((at - LISTENED).0.div_euclid(width), (at + LISTENED).0.div_euclid(width));
        self.listened.iter().rev().any(|(s, m, others)| (from..=to).contains(s) && (*m != but || *others))
    }

    /// A class B vessel's position report.
    pub fn class_b(
        &mut self,
        at: Moment,
        here: Option<Position>,
        mmsi: Mmsi,
        position: Position,
        speed: Option<(f64, f64)>,
    ) {
        let before = self.chains.remove(&mmsi);
        self.due.set(Due::Message(mmsi), None);
        let Some(here) = here else { return };
        let range_nm = here.range_and_bearing(position).0;
        if let Some(before) = before {
            // The messages in between were sent: she is heard again.
            for range in before.missed {
                self.pair(mmsi, false, range, false);
            }
        }
        self.pair(mmsi, false, range_nm, true);
        let Some((sog_kn, cog_deg)) = speed.filter(|(s, _)| (SLOWEST_KN..=FASTEST_KN).contains(s)) else {
            return;
        };
        if self.chains.len() < FOLLOWED {
            let chain = Chain {
                last: at,
                position,
                sog_kn,
                cog_deg,
                range_nm,
                due: at + DUE_EVERY,
                missed: Vec::new(),
            };
            self.follow(mmsi, chain);
        }
    }

    fn follow(&mut self, mmsi: Mmsi, chain: Chain) {
        self.due.set(Due::Message(mmsi), Some(chain.due + LATE));
        self.chains.insert(mmsi, chain);
    }

    /// A message of a beacon's test, with its position if it has one.
    pub fn beacon_test(
        &mut self,
        at: Moment,
        here: Option<Position>,
        mmsi: Mmsi,
        position: Option<Position>,
    ) {
        if !self.tests.contains_key(&mmsi) && self.tests.len() >= FOLLOWED {
            return;
        }
        let test = self.tests.entry(mmsi).or_insert_with(|| {
            self.due.set(Due::Test(mmsi), Some(at + TEST_LASTS));
            Test { messages: 0, range_nm: None }
        });
        test.messages += 1;
        test.range_nm = here.zip(position).map(|(h, p)| h.range_and_bearing(p).0).or(test.range_nm);
    }

    /// Passes on to a moment, with own vessel where she is.
    pub fn advance(&mut self, at: Moment, here: Option<Position>) {
        // Whether a report is late need not be known to the second.
        if self.looked.is_some_and(|looked| at.since(looked) < LOOKED_EVERY) {
            return;
        }
        self.looked = Some(at);
        let mut due: Vec<Due> = std::iter::from_fn(|| self.due.pop(at)).collect();
        due.sort_unstable();
        for due in due {
            match due {
                Due::Test(mmsi) => self.end_test(mmsi),
                Due::Message(mmsi) => self.overdue(at, here, mmsi),
            }
        }
    }

    /// A vessel's message is overdue: it is missed, or she is gone.
    fn overdue(&mut self, at: Moment, here: Option<Position>, mmsi: Mmsi) {
        let Some(mut chain) = self.chains.remove(&mmsi) else { return };
        // Without own position nobody knows how far off she was.
        let Some(here) = here else { return };
        while chain.due + LATE <= at && chain.missed.len() < MISSED_MOST {
            if self.listened(chain.due, mmsi) {
                let run_nm = chain.sog_kn * chain.due.since(chain.last).as_secs_f64() / 3600.0;
                let place = chain.position.at(chain.cog_deg, run_nm);
                chain.missed.push(here.range_and_bearing(place).0);
            } else if at.since(chain.last) > DUE_EVERY * (MISSED_MOST as u32 + 2) {
                chain.missed.clear();
                break;
            }
            chain.due = chain.due + DUE_EVERY;
        }
        if at.since(chain.last) <= DUE_EVERY * (MISSED_MOST as u32 + 2) && chain.missed.len() < MISSED_MOST {
            self.follow(mmsi, chain);
            return;
        }
        // Gone. If she was drawing away she is out of hearing; if she was coming nearer she has switched off.
        if chain.missed.last().is_some_and(|r| *r > chain.range_nm) {
            for range in chain.missed {
                self.pair(mmsi, false, range, false);
            }
        }
    }

    /// Renews the estimate when due: ten minutes after the last, and only if pairs came in since.
    pub fn refresh(&mut self, at: Moment) {
        let due = self.estimate.is_none_or(|(then, _)| self.more && at.since(then) >= ESTIMATED_EVERY);
        if due {
            self.estimate_now(at);
        }
    }

    fn end_test(&mut self, mmsi: Mmsi) {
        let Some(Test { messages, range_nm: Some(range) }) = self.tests.remove(&mmsi) else { return };
        if range >= TELLING_NM {
            // Each of two receivers delivers them; more than eight count as all.
            let heard = messages.min(TEST_MESSAGES);
            (0..heard).for_each(|_| self.pair(mmsi, true, range, true));
            (heard..TEST_MESSAGES).for_each(|_| self.pair(mmsi, true, range, false));
        }
    }

    /// When it wants to be advanced next: never before it will look again, or a wake-up would change nothing and come
    /// back at once.
    pub fn next_wake(&self) -> Option<Moment> {
        let due = self.due.next()?;
        Some(self.looked.map_or(due, |looked| due.max(looked + LOOKED_EVERY)))
    }

    fn pair(&mut self, mmsi: Mmsi, beacon: bool, range_nm: f64, heard: bool) {
        if !(0.0..FURTHEST_NM).contains(&range_nm) {
            return;
        }
        self.more = true;
        let mut station = match self.stations.iter().position(|s| s.mmsi == mmsi) {
            Some(i) => self.stations.remove(i),
            None => Station { mmsi, beacon, steps: BTreeMap::new() },
        };
        let (yes, no) = station.steps.entry((range_nm / STEP_NM) as u16).or_default();
        let count = if heard { yes } else { no };
        *count = count.saturating_add(1);
        if self.stations.len() >= STATIONS {
            self.stations.remove(0);
        }
        self.stations.push(station);
    }

    fn basis(&self) -> Basis {
        let counts = || self.stations.iter().flat_map(|s| s.steps.values());
        let sum = |a: u32, b: u32| a.saturating_add(b);
        Basis {
            pairs: counts().map(|(yes, no)| yes.saturating_add(*no)).fold(0, sum),
            missed: counts().map(|(_, no)| *no).fold(0, sum),
            stations: self.stations.len(),
            antenna_m: self.antenna_m,
        }
    }

    /// How far a low beacon can be expected to be heard, as of the last estimate.
    ///
    /// # Errors
    /// Why nothing can be said.
    pub fn expected(&self) -> Result<Expected, TooThin> {
        if self.antenna_m.is_none() {
            return Err(TooThin::Antenna);
        }
        self.estimate.map_or_else(|| Err(TooThin::Few(self.basis())), |(_, e)| e)
    }

    /// Makes a new estimate.
    pub fn estimate_now(&mut self, at: Moment) {
        let basis = self.basis();
        self.estimate = Some((at, self.estimated(basis)));
        self.more = false;
    }

    fn estimated(&self, basis: Basis) -> Result<Expected, TooThin> {
        let antenna_m = self.antenna_m.ok_or(TooThin::Antenna)?;
        if basis.pairs < LEAST_PAIRS || basis.stations < LEAST_STATIONS || basis.missed < LEAST_MISSED {
            return Err(TooThin::Few(basis));
        }
        let parts = estimate::posterior(&self.stations, antenna_m);
        let horizon = horizon_nm(antenna_m, BEACON_M);
        let at = |quantile: f64| estimate::quantile_of(&parts, quantile) * horizon;
        let (range_nm, least_nm, most_nm) = (at(0.5), at(0.05), at(0.95));
        if most_nm > least_nm * WIDEST {
            return Err(TooThin::Wide { basis, least_nm, most_nm });
        }
        Ok(Expected { range_nm, least_nm, most_nm, basis })
    }

    /// What survives a restart.
    pub fn keep(&self) -> Kept {
        Kept(self.stations.clone())
    }

    /// Takes up the pairs an earlier run left.
    pub fn take_up(&mut self, at: Moment, kept: Kept) {
        let step_most = (FURTHEST_NM / STEP_NM) as u16;
        let mut stations = kept.0;
        stations.truncate(STATIONS);
        stations.iter_mut().for_each(|s| s.steps.retain(|step, _| *step < step_most));
        self.stations = stations;
        self.estimate_now(at);
    }
}
