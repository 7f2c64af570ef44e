//! A beacon's positions, one of each burst: what they are evidence of is weighed in [`super::evidence`].

use sentence::ais::PositionSource;
use serde::{Deserialize, Serialize};
use std::collections::VecDeque;
use std::time::Duration;
use terms::{Moment, Position, Utc};

/// Fixes kept, one of each burst: more than an hour (a burst a minute: ITU-R M.1371-5 annex 9, from memory).
const KEPT: usize = 72;
/// Messages within this of the first are one burst, and one piece of evidence: whatever is wrong with one is wrong with
/// all (a burst of eight takes 14 s, the same annex).
const BURST: Duration = Duration::from_secs(30);
/// A position further from the last than this, and than the speed below allows, is of another place (own choice: twice
/// the error of a small receiver awash).
const APART_NM: f64 = 0.1;
/// Faster than any person drifts.
const DRIFTS_KN: f64 = 6.0;
/// How many bursts must agree on a place from which the beacon could hardly be heard.
const AGREEING: usize = 3;
/// Beyond this from own vessel a beacon at the water's surface is not heard directly; horizon by 2.07·√m for an
/// antenna at 0.3 m and one at 40 m is 15 nm, doubled for unusual propagation.
const BEYOND_RADIO_NM: f64 = 30.0;
/// A second of UTC this far ahead of own time is of a clock that runs a little ahead, not of the last minute.
const CLOCK_AHEAD_MS: i64 = 5_000;
const MINUTE_MS: i64 = 60_000;

/// Why a position is not taken for a fix.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Doubt {
    /// UTC second 61 to 63: by hand, dead reckoning, or not working.
    NotByFix,
    /// Latitude and longitude both in whole minutes: used only while there is nothing better.
    WholeMinutes,
    /// It fits neither the other reports nor the drift.
    DoesNotFit,
    /// The very position of an earlier burst: nothing afloat stays in one place to the last digit.
    Repeated,
    /// Further from own vessel than such a beacon is heard.
    BeyondRadio,
}

/// One position of a beacon.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct BeaconFix {
    /// When it was measured, by the second that the message gives; else when it was heard.
    pub at: Moment,
    /// Where.
    pub position: Position,
    /// Speed over ground, by the beacon itself.
    pub sog_kn: Option<f64>,
    /// Course over ground, by the beacon itself.
    pub cog_deg: Option<f64>,
}

/// The fix of one burst.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub(crate) struct Report {
    pub fix: BeaconFix,
    /// The number of its burst.
    pub burst: u32,
    /// Whether it lies where somebody who fell from own vessel can be.
    pub by_own_track: bool,
}

/// Positions of one beacon. Bounded: those of 72 bursts, 3 waiting, one doubtful.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Fixes {
    reports: VecDeque<Report>,
    waiting: VecDeque<Report>,
    doubtful: Option<(BeaconFix, Doubt)>,
    /// The number of the running burst, and when it began.
    burst: u32,
    began: Option<Moment>,
}

/// What own vessel knows that bears on a beacon's position.
#[derive(Clone, Copy)]
pub(crate) struct Bearing<'a> {
    /// Where she is, if a position far from her is not to be believed at once.
    pub own: Option<Position>,
    /// Whether somebody who fell from her can be there.
    pub by_own_track: &'a dyn Fn(&BeaconFix) -> bool,
    /// Whether it drifts, so that a position repeated to the last digit is an old one. A ship may lie aground.
    pub adrift: bool,
}

/// When a position was measured: the last time that UTC showed the second its message gives.
pub(crate) fn measured_at(heard: Moment, second: Option<u8>, utc: Option<Utc>) -> Moment {
    let Some((second, utc)) = second.filter(|s| *s < 60).zip(utc) else { return heard };
    let age_ms = (utc.0 - i64::from(second) * 1000).rem_euclid(MINUTE_MS);
    if age_ms > MINUTE_MS - CLOCK_AHEAD_MS { heard } else { Moment(heard.0.saturating_sub(age_ms)) }
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
pub(crate) fn agree(a: &BeaconFix, b: &BeaconFix) -> bool {
    let hours = a.at.since(b.at).max(b.at.since(a.at)).as_secs_f64() / 3600.0;
    // A beacon that itself says it moves fast (as one in a helicopter does) is believed.
    let speed = DRIFTS_KN.max(a.sog_kn.unwrap_or(0.0) + 5.0).max(b.sog_kn.unwrap_or(0.0) + 5.0);
    a.position.range_and_bearing(b.position).0 <= APART_NM + speed * hours
}

impl Fixes {
    /// Takes a position heard at a moment. Returns whether it counts as a fix.
    pub(crate) fn take(
        &mut self,
        heard: Moment,
        fix: BeaconFix,
        source: Option<PositionSource>,
        bearing: &Bearing<'_>,
    ) -> bool {
        if self.began.is_none_or(|b| heard >= b + BURST) {
            self.burst = self.burst.saturating_add(1);
            self.began = Some(heard);
        }
        if !is_by_fix(source) {
            self.doubtful = Some((fix, Doubt::NotByFix));
            return false;
        }
        let precise = self.reports.back().is_some_and(|l| !in_whole_minutes(l.fix.position));
        if in_whole_minutes(fix.position) {
            self.doubtful = Some((fix, Doubt::WholeMinutes));
            if precise {
                return false;
            }
        } else if !precise {
            // Whole-minute positions give way to the first better one.
            self.reports.clear();
        }
        let newest = self.reports.iter().chain(&self.waiting).map(|r| r.fix.at).max();
        let same = |r: &&Report| r.fix.position == fix.position;
        if !bearing.adrift && self.reports.back().is_some_and(|r| r.fix.position == fix.position) {
            self.reports.pop_back();
        } else if let Some(known) = self.reports.iter().chain(&self.waiting).rev().find(same) {
            // By a second receiver, by a relay, or measured only once: it is as old as it was when it was first heard.
            if known.burst != self.burst {
                self.doubtful = Some((fix, Doubt::Repeated));
            }
            return false;
        }
        if newest.is_some_and(|n| fix.at < n) {
            // Overtaken by a later one.
            return false;
        }
        let report = Report { fix, burst: self.burst, by_own_track: (bearing.by_own_track)(&fix) };
        let beyond = bearing.own.is_some_and(|o| o.range_and_bearing(fix.position).0 > BEYOND_RADIO_NM);
        if beyond && !self.reports.iter().any(|r| agree(&r.fix, &fix)) {
            self.doubtful = Some((fix, Doubt::BeyondRadio));
            if self.waiting.iter().any(|w| !agree(&w.fix, &fix)) {
                self.waiting.clear();
            }
            self.waiting.retain(|w| w.burst != report.burst);
            self.waiting.push_back(report);
            if self.waiting.len() < AGREEING {
                return false;
            }
            for waited in std::mem::take(&mut self.waiting) {
                self.keep(waited);
            }
            return true;
        }
        if !in_whole_minutes(fix.position) {
            self.doubtful = None;
        }
        self.keep(report);
        true
    }

    /// Keeps a report, in place of the one of the same burst that it agrees with, and drops the oldest.
    fn keep(&mut self, report: Report) {
        let running =
            self.reports.iter().rposition(|r| r.burst == report.burst && agree(&r.fix, &report.fix));
        if let Some(index) = running {
            self.reports.remove(index);
        }
        self.reports.push_back(report);
        if self.reports.len() > KEPT {
            self.reports.pop_front();
        }
    }

    /// The last fix.
    pub fn last(&self) -> Option<&BeaconFix> {
        self.reports.back().map(|r| &r.fix)
    }

    /// Whether something bears out the last fix: another burst, or own track; with `alone` also that there is no other.
    pub fn borne_out(&self, alone: bool) -> bool {
        let Some(last) = self.reports.back() else { return false };
        let agrees = |r: &Report| r.burst != last.burst && agree(&r.fix, &last.fix);
        last.by_own_track || self.reports.iter().any(agrees) || (alone && self.reports.len() == 1)
    }

    /// The fix of each burst, oldest first, with any other of that burst that does not agree.
    pub(crate) fn reports(&self) -> impl Iterator<Item = &Report> {
        self.reports.iter()
    }

    /// The last position that was not taken for a fix, and why.
    pub fn doubtful(&self) -> Option<(BeaconFix, Doubt)> {
        self.doubtful
    }

    /// Those before a moment moved in time.
    pub fn shift_before(&mut self, limit: Moment, by_ms: i64) {
        let fixes = self.reports.iter_mut().chain(self.waiting.iter_mut()).map(|r| &mut r.fix.at);
        let others = self.doubtful.iter_mut().map(|d| &mut d.0.at).chain(self.began.iter_mut());
        for at in fixes.chain(others).filter(|at| **at < limit) {
            *at = Moment(at.0.saturating_add(by_ms));
        }
    }
}
