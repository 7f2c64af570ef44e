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
/// Of the far part a snapshot carries every second point of the last four hours and every tenth of the rest: one a minute,
/// and one in five.
const SNAPSHOT_NEAR: usize = 512;
const SNAPSHOT_STEPS: [usize; 2] = [2, 10];
/// Between two points no more than this apart she is assumed to have gone straight.
const STRAIGHT: Duration = Duration::from_secs(120);
/// Between two no more than this apart, no further aside than she can sail in that time.
const BRIDGED: Duration = Duration::from_secs(900);
/// As fast as she sails (own choice).
const MOST_KN: f64 = 10.0;

/// A fix no further than this from the track, and than it drifts, fits it (own choice: the error of a small receiver awash,
/// and the way she makes in half a minute).
const BESIDE_TRACK_NM: f64 = 0.15;

/// Where own vessel was. Bounded: 900 near points and 2,880 far ones.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Track {
    #[serde(with = "points")]
    near: VecDeque<Known<Position>>,
    #[serde(with = "points")]
    far: VecDeque<Known<Position>>,
}

/// Points as rows of numbers, milliseconds, latitude and longitude: a day of them is kept at each event.
mod points {
    use super::{Known, Moment, Position, VecDeque};
    use serde::{Deserialize, Deserializer, Serialize, Serializer, de};

    pub fn serialize<S: Serializer>(points: &VecDeque<Known<Position>>, s: S) -> Result<S::Ok, S::Error> {
        let row = |k: &Known<Position>| (k.at.0, k.value.latitude_deg(), k.value.longitude_deg());
        points.iter().map(row).collect::<Vec<_>>().serialize(s)
    }

    pub fn deserialize<'de, D: Deserializer<'de>>(d: D) -> Result<VecDeque<Known<Position>>, D::Error> {
        let rows = Vec::<(i64, f64, f64)>::deserialize(d)?;
        let known = |(at, latitude_deg, longitude_deg)| {
            Position::new(latitude_deg, longitude_deg).map(|p| Known::new(p, Moment(at)))
        };
        rows.into_iter().map(known).collect::<Result<_, _>>().map_err(de::Error::custom)
    }
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
        if let (Some(a), Some(b)) = (before, after)
            && b.at.since(a.at) <= BRIDGED
        {
            let (whole_s, short) = (b.at.seconds_from(a.at), b.at.since(a.at) <= STRAIGHT);
            let part = if whole_s > 0.0 { at.seconds_from(a.at) / whole_s } else { 0.0 };
            let plane = Plane::at(a.value);
            let (east, north) = plane.east_north(b.value);
            let straight_nm = east.hypot(north);
            let aside_nm = if short {
                // A turn between the points bends the way by less than a tenth of it.
                (0.1 * straight_nm).min(0.1)
            } else {
                // All ways of that length from one point to the other lie in an ellipse.
                let longest_nm = (MOST_KN * whole_s / 3600.0).max(straight_nm);
                (longest_nm * longest_nm - straight_nm * straight_nm).sqrt() * (part * (1.0 - part)).sqrt()
            };
            return Some(OnTrack {
                position: plane.position(east * part, north * part),
                radius95_nm: 0.01 + aside_nm,
            });
        }
        let gap = |k: &&Known<Position>| at.since(k.at).max(k.at.since(at));
        let nearest = [before, after].into_iter().flatten().min_by_key(gap)?;
        let gap = gap(&nearest);
        (gap <= Duration::from_secs(3600)).then(|| OnTrack {
            position: nearest.value,
            radius95_nm: 0.01 + MOST_KN * gap.as_secs_f64() / 3600.0,
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

    /// The far part thinned, a whole day of it: what is worth keeping through a reboot.
    pub fn thinned(&self) -> Self {
        let [near, far] = SNAPSHOT_STEPS;
        let kept = |n: &usize| n.is_multiple_of(if *n < SNAPSHOT_NEAR { near } else { far });
        let newest_first = self.far.iter().rev().enumerate().filter(|(n, _)| kept(n)).map(|(_, p)| *p);
        let mut far: VecDeque<_> = newest_first.collect();
        far.make_contiguous().reverse();
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
