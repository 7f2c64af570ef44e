//! Own back-track: where the boat was at a moment of the last day.

use super::fixes::BeaconFix;
use super::own::{FIX_BELIEVED, Known, OwnContext};
use crate::own::Returned;
use serde::{Deserialize, Serialize};
use std::collections::VecDeque;
use std::time::Duration;
use terms::{Moment, Plane, Position};

/// The near part keeps a point every two seconds for half an hour, the far part one every half minute for a day.
const NEAR_STEP: Duration = Duration::from_secs(2);
const NEAR_POINTS: usize = 900;
const FAR_STEP: Duration = Duration::from_secs(30);
const FAR_POINTS: usize = 2880;
/// Points of the far part that a snapshot carries, one a minute.
const SNAPSHOT_POINTS: usize = 256;
/// Between two points no more than this apart she is assumed to have gone straight.
const STRAIGHT: Duration = Duration::from_secs(120);

/// A fix no further than this from the track, and than it drifts, fits it (own choice: the error of a small receiver awash,
/// and the way she makes in half a minute).
const BESIDE_TRACK_NM: f64 = 0.15;

/// Where own vessel was. Bounded: 900 near points and 2,880 far ones.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Track {
    near: VecDeque<Known<Position>>,
    far: VecDeque<Known<Position>>,
}

/// A place on the track.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OnTrack {
    /// Where.
    pub position: Position,
    /// How far off it may be because of a hole in the track there; 95 %, own estimate.
    pub radius95_nm: f64,
}

impl Track {
    /// Takes own last fix if it is a step newer than the last point.
    pub fn follow(&mut self, own: &OwnContext) {
        let Some(fix) = own.position else { return };
        for (points, step, most) in
            [(&mut self.near, NEAR_STEP, NEAR_POINTS), (&mut self.far, FAR_STEP, FAR_POINTS)]
        {
            if points.back().is_none_or(|last| fix.at >= last.at + step) {
                points.push_back(fix);
                if points.len() > most {
                    points.pop_front();
                }
            }
        }
    }

    /// Where she was at a moment. Between points the straight line; beyond the ends, or in a hole, the nearest
    /// point with a radius that grows by 10 kn. `None` without any point within an hour.
    pub fn place(&self, at: Moment) -> Option<OnTrack> {
        let inside = self.near.front().is_some_and(|p| p.at <= at);
        let points = if inside { &self.near } else { &self.far };
        let after = points.iter().find(|p| p.at >= at).or(self.near.iter().find(|p| p.at >= at));
        let before = points.iter().rev().find(|p| p.at <= at);
        if let (Some(a), Some(b)) = (before, after) {
            let whole_s = b.at.seconds_from(a.at);
            if b.at.since(a.at) <= STRAIGHT {
                let part = if whole_s > 0.0 { at.seconds_from(a.at) / whole_s } else { 0.0 };
                let plane = Plane::at(a.value);
                let (east, north) = plane.east_north(b.value);
                // A turn between the points bends the way by less than a tenth of it.
                let slack = 0.1 * east.hypot(north);
                return Some(OnTrack {
                    position: plane.position(east * part, north * part),
                    radius95_nm: 0.01 + slack.min(0.1),
                });
            }
        }
        let gap = |k: &&Known<Position>| at.since(k.at).max(k.at.since(at));
        let nearest = [before, after].into_iter().flatten().min_by_key(gap)?;
        let gap = gap(&nearest);
        (gap <= Duration::from_secs(3600)).then(|| OnTrack {
            position: nearest.value,
            radius95_nm: 0.01 + 10.0 * gap.as_secs_f64() / 3600.0,
        })
    }

    /// Where she was at a moment, by carrying own fix on if the moment is now.
    pub fn place_or_now(&self, at: Moment, own: &OwnContext) -> Option<OnTrack> {
        let recent = own.position.filter(|p| p.at <= at && at.since(p.at) <= FIX_BELIEVED);
        match recent.and_then(|_| own.position_at(at)) {
            Some(position) => Some(OnTrack { position, radius95_nm: 0.01 }),
            None => self.place(at),
        }
    }

    /// Whether somebody who fell from her between two moments can have come to a fix, drifting no faster than this.
    pub(super) fn reaches(&self, fix: &BeaconFix, since: Moment, until: Moment, drift_kn: f64) -> bool {
        let plane = Plane::at(fix.position);
        let points = self.far.iter().chain(&self.near).filter(|p| p.at >= since && p.at <= until);
        points.into_iter().any(|p| {
            let (east, north) = plane.east_north(p.value);
            let hours = fix.at.since(p.at).as_secs_f64() / 3600.0;
            east.hypot(north) <= BESIDE_TRACK_NM + drift_kn * hours
        })
    }

    /// The far part thinned to a point a minute, the last 256: what is worth keeping through a reboot.
    pub fn thinned(&self) -> Self {
        let far: VecDeque<_> =
            self.far.iter().rev().step_by(2).take(SNAPSHOT_POINTS).rev().copied().collect();
        Self { near: VecDeque::new(), far }
    }

    /// Points that were reckoned without a fix, moved to where they lay by the one that came back.
    pub(super) fn join(&mut self, returned: &Returned) {
        for p in self.near.iter_mut().chain(self.far.iter_mut()) {
            p.value = returned.joined(p.at, p.value);
        }
    }

    /// All points moved in time, to a new origin of steady time.
    pub fn shift(&mut self, by_ms: i64) {
        self.shift_before(Moment(i64::MAX), by_ms);
    }

    /// Points before a moment moved in time.
    pub fn shift_before(&mut self, limit: Moment, by_ms: i64) {
        for p in self.near.iter_mut().chain(self.far.iter_mut()).filter(|p| p.at < limit) {
            p.at = Moment(p.at.0.saturating_add(by_ms));
        }
    }
}
