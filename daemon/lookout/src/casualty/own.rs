//! What own vessel knows about herself at a moment, as far as a casualty needs it.

use crate::hearing::Expected;
use crate::{DeadReckoning, Visibility};
use serde::{Deserialize, Serialize};
use std::time::Duration;
use terms::{Mmsi, Moment, Position, Utc, UtcSource, normal_deg};

/// A value and when it was measured.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Known<T> {
    /// What was measured.
    pub value: T,
    /// When.
    pub at: Moment,
}

impl<T> Known<T> {
    /// A value and when it was measured.
    pub fn new(value: T, at: Moment) -> Self {
        Self { value, at }
    }
}

/// A wind: where it comes from and how fast it blows.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct WindFrom {
    /// Direction it comes from, true.
    pub from_deg: f64,
    /// Speed in knots at the height of the sensor.
    pub speed_kn: f64,
}

/// A movement over the ground or of the water: direction toward, and speed.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct SetDrift {
    /// Direction toward, true, [0, 360).
    pub set_deg: f64,
    /// Knots.
    pub drift_kn: f64,
}

impl SetDrift {
    /// From components to the east and north in knots.
    pub fn from_components(east_kn: f64, north_kn: f64) -> Self {
        Self { set_deg: normal_deg(east_kn.atan2(north_kn).to_degrees()), drift_kn: east_kn.hypot(north_kn) }
    }

    /// Components to the east and north in knots.
    pub fn components(self) -> (f64, f64) {
        let (sin, cos) = self.set_deg.to_radians().sin_cos();
        (self.drift_kn * sin, self.drift_kn * cos)
    }
}

/// Own vessel at a moment. `None` is not available; the caller leaves out anything it no longer believes.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct OwnContext {
    /// Own identity.
    pub mmsi: Option<Mmsi>,
    /// Last fix, or where dead reckoning puts her.
    pub position: Option<Known<Position>>,
    /// Dead reckoning, if the position is by it.
    pub reckoned: Option<DeadReckoning>,
    /// Course over ground, true.
    pub cog_deg: Option<Known<f64>>,
    /// Speed over ground.
    pub sog_kn: Option<Known<f64>>,
    /// Heading, true.
    pub heading_deg: Option<Known<f64>>,
    /// Speed through the water.
    pub speed_through_water_kn: Option<Known<f64>>,
    /// Magnetic variation in degrees, east positive.
    pub variation_deg: Option<f64>,
    /// True wind, over the water or the ground (the two differ by the current, which is small in comparison).
    pub wind: Option<Known<WindFrom>>,
    /// Height of the wind sensor above the water in metres.
    pub wind_height_m: Option<f64>,
    /// Water temperature in degrees Celsius.
    pub water_temperature_c: Option<Known<f64>>,
    /// UTC at this moment, and its source.
    pub utc: Option<(Utc, UtcSource)>,
    /// The boat's speed under engine, by the configuration.
    pub motoring_speed_kn: Option<f64>,
    /// Set and drift of the water, by the configuration or the skipper; takes precedence over the estimate.
    pub current: Option<SetDrift>,
    /// The visibility, as the watch declares it.
    pub visibility: Option<Visibility>,
    /// How far off a low beacon can be expected to be heard, if enough was measured.
    pub low_beacon: Option<Expected>,
}

/// How long a fix is carried on along course and speed; after that it is not used.
pub(crate) const FIX_BELIEVED: Duration = Duration::from_secs(300);
/// How long heading and course are used for relative bearings.
const DIRECTION_BELIEVED: Duration = Duration::from_secs(60);
/// Below this speed over ground the course is noise of the receiver (own choice).
const LEAST_SOG_FOR_COURSE_KN: f64 = 0.5;

impl OwnContext {
    /// Own position now: the last fix carried on along course and speed, for five minutes at most.
    pub fn position_at(&self, at: Moment) -> Option<Position> {
        let fix = self.position.filter(|p| at.since(p.at) <= FIX_BELIEVED)?;
        Some(match self.velocity(at) {
            Some(v) => fix.value.at(v.set_deg, v.drift_kn * at.since(fix.at).as_secs_f64() / 3600.0),
            None => fix.value,
        })
    }

    /// Course and speed over ground, where both are known and the fix behind them is believed; else by dead reckoning.
    pub fn velocity(&self, at: Moment) -> Option<SetDrift> {
        if let Some(reckoned) = self.reckoned {
            return Some(reckoned.velocity);
        }
        let fresh = |k: &Known<f64>| at.since(k.at) <= FIX_BELIEVED && k.value.is_finite();
        let sog = self.sog_kn.filter(fresh)?.value;
        let cog = self.cog_deg.filter(fresh)?.value;
        Some(SetDrift { set_deg: normal_deg(cog), drift_kn: sog })
    }

    /// What a relative bearing is measured from.
    pub fn ahead(&self, at: Moment) -> Option<(f64, RelativeTo)> {
        ahead(at, self.heading_deg, self.sog_kn, self.cog_deg)
    }
}

/// What a relative bearing is measured from: the heading, else the course while she moves.
pub(crate) fn ahead(
    at: Moment,
    heading_deg: Option<Known<f64>>,
    sog_kn: Option<Known<f64>>,
    cog_deg: Option<Known<f64>>,
) -> Option<(f64, RelativeTo)> {
    let fresh = |k: &Known<f64>| at.since(k.at) <= DIRECTION_BELIEVED && k.value.is_finite();
    if let Some(h) = heading_deg.filter(fresh) {
        return Some((h.value, RelativeTo::Heading));
    }
    let moving = sog_kn.is_none_or(|s| s.value >= LEAST_SOG_FOR_COURSE_KN);
    cog_deg.filter(fresh).filter(|_| moving).map(|c| (c.value, RelativeTo::Cog))
}

terms::closed_list! {
    /// What a relative bearing is measured from.
    #[derive(Debug, Clone, Copy, PartialEq, Eq)]
    pub enum RelativeTo {
        /// The bow.
        Heading = "heading",
        /// The course over ground.
        Cog = "cog",
    }
}
