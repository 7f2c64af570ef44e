//! Magnetic variation at the boat, in one stated order of precedence.

use crate::Settings;
use std::time::Duration;
use terms::{Moment, Position, Utc};
use world_magnetic_model::GeomagneticField;
use world_magnetic_model::time::Date;
use world_magnetic_model::uom::si::angle::degree;
use world_magnetic_model::uom::si::f32::{Angle, Length};
use world_magnetic_model::uom::si::length::meter;

/// How long an instrument's variation is used.
const TOLD_FOR: Duration = Duration::from_secs(3600);
/// The model is asked again when she has moved this far in latitude or longitude.
const MOVED_DEG: f64 = 0.1;
/// Years for which the model has coefficients (WMM2020 and WMM2025). A clock outside them is wrong, or the model is
/// old: the nearest year is then still right to a degree or two in most waters.
const MODEL_YEARS: (i32, i32) = (2020, 2029);

/// Magnetic variation, east positive: the compass sentence's own, else the compass's of the last hour, else the
/// satellite receiver's of the last hour, else the World Magnetic Model at own position and date, else the settings.
#[derive(Debug, Clone, Default)]
pub(crate) struct Variation {
    compass: Option<(f64, Moment)>,
    receiver: Option<(f64, Moment)>,
    model: Option<(Position, i32, Option<f64>)>,
}

impl Variation {
    /// HDG's own.
    pub fn hear_compass(&mut self, at: Moment, deg: Option<f64>) {
        self.compass = deg.filter(is_possible).map(|d| (d, at)).or(self.compass);
    }

    /// RMC's.
    pub fn hear_receiver(&mut self, at: Moment, deg: Option<f64>) {
        self.receiver = deg.filter(is_possible).map(|d| (d, at)).or(self.receiver);
    }

    /// Asks the model for a place and date, unless it was asked already.
    pub fn follow(&mut self, position: Position, utc: Option<Utc>) {
        let year = year_of_model(utc);
        let near = |p: &Position| {
            (p.latitude_deg() - position.latitude_deg()).abs() < MOVED_DEG
                && (p.longitude_deg() - position.longitude_deg()).abs() < MOVED_DEG
        };
        if !self.model.is_some_and(|(p, y, _)| near(&p) && y == year) {
            self.model = Some((position, year, by_model(position, year)));
        }
    }

    /// The variation now.
    pub fn deg(&self, at: Moment, settings: &Settings) -> Option<f64> {
        let fresh = |told: Option<(f64, Moment)>| told.filter(|t| at.since(t.1) <= TOLD_FOR).map(|t| t.0);
        fresh(self.compass)
            .or_else(|| fresh(self.receiver))
            .or_else(|| self.model.and_then(|m| m.2))
            .or(settings.variation_deg)
    }
}

fn is_possible(deg: &f64) -> bool {
    deg.abs() <= 180.0
}

/// The year of the date, within those of the model; if the date is unknown, the year of the newest coefficients.
fn year_of_model(utc: Option<Utc>) -> i32 {
    utc.and_then(Utc::year).map_or(2025, |y| y.clamp(MODEL_YEARS.0, MODEL_YEARS.1))
}

/// By the World Magnetic Model at sea level in the middle of a year; `None` near the magnetic poles, where compass
/// and model are of no use.
pub(crate) fn by_model(position: Position, year: i32) -> Option<f64> {
    let date = Date::from_ordinal_date(year, 182).ok()?;
    let field = GeomagneticField::new(
        Length::new::<meter>(0.0),
        Angle::new::<degree>(position.latitude_deg() as f32),
        Angle::new::<degree>(position.longitude_deg() as f32),
        date,
    )
    .ok()?;
    if field.declination_warning().is_some() {
        return None;
    }
    let deg = f64::from(field.declination().get::<degree>());
    deg.is_finite().then_some(deg)
}
