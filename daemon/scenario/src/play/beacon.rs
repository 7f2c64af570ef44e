//! Beacons: bursts of eight, once a minute, and the one burst of a test (ITU-R M.1371-5 annex 9 and IEC 61097-14,
//! both from memory).

use super::stations::utc_second;
use super::wire::Wires;
use crate::Scenario;
use crate::plan::{Beacon, Overboard};
use crate::random::{Stream, Wander};
use crate::track::{Motion, Track};
use sentence::ais::{AisReport, PositionSource};
use std::time::Duration;
use terms::{Moment, Plane, Position, Station, normal_deg};

/// Messages in a burst.
const BURST: u8 = 8;
/// Between two messages of a burst: 75 slots of 2250 a minute.
const APART: Duration = Duration::from_secs(2);
/// Between two bursts.
const MINUTE: Duration = Duration::from_secs(60);
/// Every fourth burst carries message 14 in its fifth and sixth place, one on each channel.
const TEXT_EVERY: u64 = 4;
/// Status of an active beacon, and of one under test.
const ACTIVE: u8 = 14;
const UNDER_TEST: u8 = 15;

/// A beacon that sends bursts.
pub struct Burst<'a> {
    beacon: &'a Beacon,
    track: &'a Track,
    /// `None` in a test.
    overboard: Option<&'a Overboard>,
    began: Moment,
    burst: u64,
    message: u8,
    error: Option<[Wander; 2]>,
    /// Position, course and speed as measured for this burst.
    measured: Option<(Position, f64, f64)>,
    has_fix: bool,
}

impl<'a> Burst<'a> {
    /// A test aboard: one burst.
    pub fn test(beacon: &'a Beacon, own: &'a Track) -> Self {
        Self {
            beacon,
            track: own,
            overboard: None,
            began: Moment::ZERO,
            burst: 0,
            message: 0,
            error: None,
            measured: None,
            has_fix: false,
        }
    }

    /// Somebody overboard: bursts until it is switched off.
    pub fn overboard(
        seed: u64,
        beacon: &'a Beacon,
        overboard: &'a Overboard,
        track: &'a Track,
    ) -> (Moment, Self) {
        let began = overboard.at + overboard.activation;
        let wander = |axis: &str| {
            let name = format!("beacon {} {axis}", beacon.mmsi);
            // Twice the mean of each axis adds up to the error's root mean square.
            Wander::new(seed, &name, beacon.position_error_m / 2f64.sqrt(), 120.0)
        };
        let burst = Self {
            beacon,
            track,
            overboard: Some(overboard),
            began,
            burst: 0,
            message: 0,
            error: Some([wander("east"), wander("north")]),
            measured: None,
            has_fix: false,
        };
        (began, burst)
    }

    pub fn fire(&mut self, scenario: &Scenario, at: Moment, wires: &mut Wires<'_>) -> Option<Moment> {
        if self.overboard.is_some_and(|o| o.until.is_some_and(|until| at >= until)) {
            return None;
        }
        if self.message == 0 {
            self.measure(scenario, at);
        }
        if !self.overboard.is_some_and(|o| o.silent.iter().any(|span| span.holds(at))) {
            let report = self.report(scenario, at);
            let channel = if self.message.is_multiple_of(2) { 'A' } else { 'B' };
            wires.transmit(at, self.track.at(at).position, self.beacon.range_nm, &report, channel);
        }
        self.message += 1;
        if self.message < BURST {
            return Some(at + APART);
        }
        self.message = 0;
        self.burst += 1;
        self.overboard?;
        Some(at + (MINUTE - APART * u32::from(BURST - 1)))
    }

    /// Takes a fix for the coming burst; without one the last is kept.
    fn measure(&mut self, scenario: &Scenario, at: Moment) {
        let (Some(overboard), Some([east, north])) = (self.overboard, &mut self.error) else { return };
        self.has_fix =
            at >= self.began + overboard.first_fix && !overboard.no_fix.iter().any(|s| s.holds(at));
        if !self.has_fix {
            return;
        }
        let truth = self.track.at(at);
        let nm = |metres: f64| metres / terms::METRES_PER_NM;
        let position = Plane::at(truth.position).position(nm(east.at(at)), nm(north.at(at)));
        let mut noise = Stream::named(scenario.plan.seed, &format!("fix {} {}", self.beacon.mmsi, at.0));
        let (cog, sog) = waved(&truth, &mut noise);
        self.measured = Some((position, cog, sog));
    }

    fn report(&self, scenario: &Scenario, at: Moment) -> AisReport {
        let active = self.overboard.is_some();
        let text = if active {
            self.burst.is_multiple_of(TEXT_EVERY) && matches!(self.message, 4 | 5)
        } else {
            // A test begins and ends with its text.
            matches!(self.message, 0 | 7)
        };
        let mmsi = self.beacon.mmsi;
        if text {
            let mut report = AisReport::new(14, 0, mmsi);
            let kind = match mmsi.station() {
                Station::Sart => "SART",
                Station::Epirb => "EPIRB",
                _ => "MOB",
            };
            report.text = Some(format!("{kind} {}", if active { "ACTIVE" } else { "TEST" }));
            return report;
        }
        let mut report = AisReport::new(1, 0, mmsi);
        report.nav_status = Some(if active { ACTIVE } else { UNDER_TEST });
        report.position_accurate = Some(false);
        report.raim_flag = Some(false);
        if let Some((position, cog, sog)) = self.measured {
            report.position = Some(position);
            report.cog_deg = Some(cog);
            report.sog_kn = Some(sog);
        }
        report.position_source =
            Some(if self.has_fix { PositionSource::Fix } else { PositionSource::Inoperative });
        report.utc_second = self.has_fix.then(|| utc_second(scenario.utc(at)));
        report
    }
}

/// Course and speed over ground of a device thrown about by the waves: 0.3 kn on each axis.
fn waved(truth: &Motion, noise: &mut Stream) -> (f64, f64) {
    let (sin, cos) = truth.cog_deg.to_radians().sin_cos();
    let east = truth.sog_kn * sin + 0.3 * noise.normal();
    let north = truth.sog_kn * cos + 0.3 * noise.normal();
    (normal_deg(east.atan2(north).to_degrees()), east.hypot(north))
}
