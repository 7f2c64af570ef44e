//! A beacon's positions: good ones separated from doubtful ones.

use sentence::ais::PositionSource;
use serde::{Deserialize, Serialize};
use std::collections::VecDeque;
use std::time::Duration;
use terms::{Moment, Position};

/// Good fixes kept: more than an hour of bursts at eight a minute (ITU-R M.1371-5 annex 9, from memory).
const KEPT: usize = 512;
/// A position further from the last than this, and than the speed below allows, is a jump (own choice: twice the error
/// of a small receiver awash).
const JUMP_NM: f64 = 0.1;
/// Faster than any person drifts, slower than a receiver errs.
const JUMP_KN: f64 = 12.0;
/// How many positions that agree with each other overrule what was believed before.
const AGREEING: usize = 3;
/// Beyond this from own vessel a beacon at the water's surface is not heard directly; horizon by 2.07·√m for an
/// antenna at 0.3 m and one at 40 m is 15 nm, doubled for unusual propagation.
const BEYOND_RADIO_NM: f64 = 30.0;
/// The same report through a second receiver comes within this.
const SAME_REPORT: Duration = Duration::from_secs(4);

/// Why a position is not taken for a fix.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Doubt {
    /// UTC second 61 to 63: by hand, dead reckoning, or not working.
    NotByFix,
    /// Latitude and longitude both in whole minutes: used only while there is nothing better.
    WholeMinutes,
    /// Further from the last than anything drifts.
    Jump,
    /// Further from own vessel than such a beacon is heard.
    BeyondRadio,
}

/// One position of a beacon.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct BeaconFix {
    /// When it was heard.
    pub at: Moment,
    /// Where.
    pub position: Position,
    /// Speed over ground, by the beacon itself.
    pub sog_kn: Option<f64>,
    /// Course over ground, by the beacon itself.
    pub cog_deg: Option<f64>,
}

/// Positions of one beacon. Bounded: 512 good ones, 3 waiting, one doubtful.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Fixes {
    good: VecDeque<BeaconFix>,
    waiting: VecDeque<BeaconFix>,
    doubtful: Option<(BeaconFix, Doubt)>,
}

/// Whether a position is in whole minutes both ways, as no receiver gives one by chance.
pub(crate) fn in_whole_minutes(p: Position) -> bool {
    // AIS resolves a ten-thousandth of a minute.
    let whole = |deg: f64| ((deg * 60.0) - (deg * 60.0).round()).abs() < 4e-5;
    whole(p.latitude_deg()) && whole(p.longitude_deg())
}

/// Whether a position counts as a satellite fix: not by hand (UTC second 61), by dead reckoning (62) or out of order
/// (63). A beacon that sends no second (60) may still have a fix.
pub(crate) fn is_by_fix(source: Option<PositionSource>) -> bool {
    !matches!(
        source,
        Some(PositionSource::Manual | PositionSource::DeadReckoning | PositionSource::Inoperative)
    )
}

/// Whether two fixes can be those of one drifting thing.
fn agree(a: &BeaconFix, b: &BeaconFix) -> bool {
    let hours = a.at.since(b.at).max(b.at.since(a.at)).as_secs_f64() / 3600.0;
    // A beacon that itself says it moves fast (as one in a helicopter does) is believed.
    let speed = JUMP_KN.max(a.sog_kn.unwrap_or(0.0) + 5.0).max(b.sog_kn.unwrap_or(0.0) + 5.0);
    a.position.range_and_bearing(b.position).0 <= JUMP_NM + speed * hours
}

impl Fixes {
    /// Takes a position. `own` is own vessel's at the time, if a first fix far from her is not to be believed. Returns
    /// whether it counts as a fix.
    pub fn take(&mut self, fix: BeaconFix, source: Option<PositionSource>, own: Option<Position>) -> bool {
        if !is_by_fix(source) {
            self.doubtful = Some((fix, Doubt::NotByFix));
            return false;
        }
        let precise = self.good.back().is_some_and(|l| !in_whole_minutes(l.position));
        if in_whole_minutes(fix.position) {
            self.doubtful = Some((fix, Doubt::WholeMinutes));
            if precise {
                return false;
            }
        } else if !precise {
            // Whole-minute positions give way to the first better one.
            self.good.clear();
        }
        let last = self.good.back();
        if last.is_some_and(|l| l.position == fix.position && fix.at.since(l.at) <= SAME_REPORT) {
            return false;
        }
        let doubt = match last {
            Some(l) => (!agree(l, &fix)).then_some(Doubt::Jump),
            None => own
                .is_some_and(|o| o.range_and_bearing(fix.position).0 > BEYOND_RADIO_NM)
                .then_some(Doubt::BeyondRadio),
        };
        let Some(doubt) = doubt else {
            self.waiting.clear();
            self.keep(fix);
            return true;
        };
        self.doubtful = Some((fix, doubt));
        let again = |w: &BeaconFix| w.position == fix.position && fix.at.since(w.at) <= SAME_REPORT;
        if self.waiting.back().is_some_and(again) {
            return false;
        }
        if self.waiting.iter().any(|w| !agree(w, &fix)) {
            self.waiting.clear();
        }
        self.waiting.push_back(fix);
        if self.waiting.len() < AGREEING {
            return false;
        }
        self.good.clear();
        let waiting = std::mem::take(&mut self.waiting);
        waiting.into_iter().for_each(|f| self.keep(f));
        self.doubtful = None;
        true
    }

    /// Keeps a good fix and drops the oldest.
    fn keep(&mut self, fix: BeaconFix) {
        self.good.push_back(fix);
        if self.good.len() > KEPT {
            self.good.pop_front();
        }
    }

    /// The last good fix.
    pub fn last(&self) -> Option<&BeaconFix> {
        self.good.back()
    }

    /// Good fixes, oldest first.
    pub fn good(&self) -> impl DoubleEndedIterator<Item = &BeaconFix> {
        self.good.iter()
    }

    /// The last position that was not taken for a fix, and why.
    pub fn doubtful(&self) -> Option<(BeaconFix, Doubt)> {
        self.doubtful
    }

    /// Those before a moment moved in time.
    pub fn shift_before(&mut self, limit: Moment, by_ms: i64) {
        let all = self
            .good
            .iter_mut()
            .chain(self.waiting.iter_mut())
            .chain(self.doubtful.iter_mut().map(|d| &mut d.0));
        for f in all.filter(|f| f.at < limit) {
            f.at = Moment(f.at.0.saturating_add(by_ms));
        }
    }
}
