//! Own vessel's instruments: what each measures, with its noise, and the sentence that carries it.

use super::stations::position_report;
use super::wire::Wires;
use crate::Scenario;
use crate::plan::{Class, Formatter};
use crate::profile::direction_speed;
use crate::random::{Stream, Wander};
use crate::track::Motion;
use sentence::ais::{AisReport, PositionSource};
use sentence::encode;
use std::time::Duration;
use terms::{METRES_PER_NM, Moment, Plane, Position, Utc, normal_deg};

/// Deviation of a satellite receiver's speed over ground on each axis.
const SOG_NOISE_KN: f64 = 0.05;
/// Deviation of a compass, in addition to the yaw.
const HEADING_NOISE_DEG: f64 = 0.4;
/// Deviation of the log.
const LOG_NOISE_KN: f64 = 0.1;
/// Deviation of the sounder: this much, plus this share of the depth.
const DEPTH_NOISE_M: f64 = 0.05;
const DEPTH_NOISE: f64 = 0.005;

/// One kind of sentence on one feed.
pub struct Instrument {
    feed: usize,
    formatter: Formatter,
    every: Duration,
    /// Phase of the yaw, in turns.
    phase: f64,
    /// Shared by name with the other sentences of the feed, so that all show the same error.
    east: Wander,
    north: Wander,
    east_speed: Wander,
    north_speed: Wander,
    gust: [Wander; 2],
    own: Wander,
}

/// What the satellite receiver reports for a moment.
struct Fixed {
    position: Position,
    cog_deg: f64,
    sog_kn: f64,
}

impl Instrument {
    pub fn new(scenario: &Scenario, feed: usize, formatter: Formatter, every: Duration) -> (Moment, Self) {
        let plan = &scenario.plan;
        let wire = plan.feeds.get(feed);
        let (name, error_m) = wire.map_or(("", 0.0), |w| (w.name.as_str(), w.gps_error_m));
        let wander = |what: &str, deviation: f64, memory_s: f64| {
            Wander::new(plan.seed, &format!("{name} {what}"), deviation, memory_s)
        };
        let axis_m = error_m / 2f64.sqrt();
        let sender = Self {
            feed,
            formatter,
            every,
            phase: Stream::named(plan.seed, "yaw").even(),
            east: wander("east", axis_m, 120.0),
            north: wander("north", axis_m, 120.0),
            east_speed: wander("east speed", SOG_NOISE_KN, 5.0),
            north_speed: wander("north speed", SOG_NOISE_KN, 5.0),
            gust: ["gust east", "gust north"].map(|what| wander(what, plan.waters.gust_kn, 20.0)),
            own: wander(formatter.letters(), 1.0, 2.0),
        };
        // Satellite receivers measure on whole seconds; the other instruments from whenever they were switched on.
        let first = if formatter.is_satellite() {
            0.0
        } else {
            every.as_secs_f64()
                * Stream::named(plan.seed, &format!("{name} first {}", formatter.letters())).even()
        };
        (Moment::from_s(first), sender)
    }

    pub fn fire(&mut self, scenario: &Scenario, at: Moment, wires: &mut Wires<'_>) -> Option<Moment> {
        let plan = &scenario.plan;
        let wire = plan.feeds.get(self.feed)?;
        let truth = scenario.world.own.at(at);
        let has_fix = !wire.no_fix.iter().any(|span| span.holds(at));
        let fix = has_fix.then(|| self.fix(&truth, at));
        let utc = scenario.utc(at);
        if self.formatter == Formatter::Vdo {
            let report = self.own_report(scenario, &truth, fix.as_ref(), at);
            wires.write_ais(self.feed, at, &report);
        } else if let Some(fields) = match self.formatter {
            Formatter::Rmc | Formatter::Gga | Formatter::Gll | Formatter::Vtg | Formatter::Zda => {
                Some(self.satellite(plan.own.variation_deg, utc, fix.as_ref()))
            }
            _ => self.sensor(scenario, &truth, at),
        } {
            let fields: Vec<&str> = fields.iter().map(String::as_str).collect();
            wires.write(self.feed, at, &encode::sentence(&wire.talker, self.formatter.letters(), &fields));
        }
        Some(at + self.every)
    }

    /// Where the receiver thinks it is.
    fn fix(&mut self, truth: &Motion, at: Moment) -> Fixed {
        let (east, north) = (self.east.at(at) / METRES_PER_NM, self.north.at(at) / METRES_PER_NM);
        let (sin, cos) = truth.cog_deg.to_radians().sin_cos();
        let east_kn = truth.sog_kn * sin + self.east_speed.at(at);
        let north_kn = truth.sog_kn * cos + self.north_speed.at(at);
        Fixed {
            position: Plane::at(truth.position).position(east, north),
            cog_deg: normal_deg(east_kn.atan2(north_kn).to_degrees()),
            sog_kn: east_kn.hypot(north_kn),
        }
    }

    /// Heading with yaw and the compass's own noise.
    fn heading_deg(&mut self, scenario: &Scenario, truth: &Motion, at: Moment) -> f64 {
        let own = &scenario.plan.own;
        let turns = at.as_s() / own.yaw_period_s + self.phase;
        let yaw = own.yaw_deg * (turns * std::f64::consts::TAU).sin();
        normal_deg(truth.course_deg + yaw + HEADING_NOISE_DEG * self.own.at(at))
    }

    fn own_report(
        &mut self,
        scenario: &Scenario,
        truth: &Motion,
        fix: Option<&Fixed>,
        at: Moment,
    ) -> AisReport {
        let own = &scenario.plan.own;
        let message = if own.class == Class::A { 1 } else { 18 };
        let mut report = position_report(message, own.mmsi, truth, scenario.utc(at));
        report.own_vessel = true;
        report.position = fix.map(|f| f.position);
        report.sog_kn = fix.map(|f| f.sog_kn);
        report.cog_deg = fix.map(|f| f.cog_deg);
        report.nav_status = (message == 1).then_some(own.nav_status);
        report.heading_deg = Some(self.heading_deg(scenario, truth, at).round() as u16 % 360);
        if fix.is_none() {
            report.utc_second = None;
            report.position_source = Some(PositionSource::None);
        }
        report
    }

    /// Fields of a satellite receiver's sentence (IEC 61162-1).
    fn satellite(&self, variation_deg: f64, utc: Utc, fix: Option<&Fixed>) -> Vec<String> {
        let (time, status) = (time(utc), if fix.is_some() { "A" } else { "V" });
        let mode = if fix.is_some() { "A" } else { "N" };
        let place = fix.map_or_else(|| vec![String::new(); 4], |f| place(f.position));
        let number =
            |value: Option<f64>, places: usize| value.map_or(String::new(), |v| format!("{v:.places$}"));
        let (cog, sog) = (fix.map(|f| f.cog_deg), fix.map(|f| f.sog_kn));
        let mut fields = Vec::new();
        match self.formatter {
            Formatter::Rmc => {
                fields.extend([time, status.into()]);
                fields.extend(place);
                fields.extend([number(sog, 1), direction(cog), date(utc)]);
                fields.extend(sided(variation_deg));
                fields.extend([mode.into(), "S".into()]);
            }
            Formatter::Gga => {
                fields.push(time);
                fields.extend(place);
                fields.extend(if fix.is_some() {
                    ["1", "09", "0.9", "2.0", "M", "47.0", "M", "", ""].map(String::from)
                } else {
                    ["0", "00", "", "", "M", "", "M", "", ""].map(String::from)
                });
            }
            Formatter::Gll => {
                fields.extend(place);
                fields.extend([time, status.into(), mode.into()]);
            }
            Formatter::Vtg => {
                let magnetic = cog.map(|c| normal_deg(c - variation_deg));
                fields.extend([direction(cog), "T".into(), direction(magnetic), "M".into()]);
                fields.extend([number(sog, 1), "N".into(), number(sog.map(|s| s * 1.852), 1), "K".into()]);
                fields.push(mode.into());
            }
            _ => {
                let [day, month, year] = ["%d", "%m", "%Y"]
                    .map(|part| utc.civil().map_or(String::new(), |t| t.format(part).to_string()));
                fields.extend([time, day, month, year, "00".into(), "00".into()]);
            }
        }
        fields
    }

    /// Fields of another instrument's sentence; `None` if there is nothing to measure.
    fn sensor(&mut self, scenario: &Scenario, truth: &Motion, at: Moment) -> Option<Vec<String>> {
        let plan = &scenario.plan;
        let waters = &plan.waters;
        let variation = plan.own.variation_deg;
        Some(match self.formatter {
            Formatter::Hdt => vec![direction(Some(self.heading_deg(scenario, truth, at))), "T".into()],
            Formatter::Hdg => {
                let magnetic = normal_deg(self.heading_deg(scenario, truth, at) - variation);
                let mut fields = vec![direction(Some(magnetic)), String::new(), String::new()];
                fields.extend(sided(variation));
                fields
            }
            Formatter::Rot => vec![format!("{:.1}", truth.turn_deg_min + self.own.at(at)), "A".into()],
            Formatter::Vhw => {
                let heading = self.heading_deg(scenario, truth, at);
                let speed = (truth.speed_kn + LOG_NOISE_KN * self.own.at(at)).max(0.0);
                let magnetic = normal_deg(heading - variation);
                let mut fields =
                    vec![direction(Some(heading)), "T".into(), direction(Some(magnetic)), "M".into()];
                fields.extend([
                    format!("{speed:.1}"),
                    "N".into(),
                    format!("{:.1}", speed * 1.852),
                    "K".into(),
                ]);
                fields
            }
            Formatter::Dpt => {
                let [depth] = waters.depth_below_transducer_m.at(at)?;
                let noise = (DEPTH_NOISE_M + DEPTH_NOISE * depth) * self.own.at(at);
                let shown =
                    (depth <= waters.sounder_range_m).then(|| format!("{:.1}", (depth + noise).max(0.0)));
                vec![shown.unwrap_or_default(), format!("{:.1}", waters.depth_offset_m), String::new()]
            }
            Formatter::Mtw => {
                let [celsius] = waters.water_temperature_c.at(at)?;
                vec![format!("{:.1}", celsius + 0.05 * self.own.at(at)), "C".into()]
            }
            Formatter::Mwv => {
                let [east, north] = self.wind(scenario, at)?;
                let (sin, cos) = truth.cog_deg.to_radians().sin_cos();
                let felt = [east - truth.sog_kn * sin, north - truth.sog_kn * cos];
                let (toward_deg, speed) = direction_speed(felt);
                let angle = normal_deg(toward_deg + 180.0 - self.heading_deg(scenario, truth, at));
                vec![direction(Some(angle)), "R".into(), format!("{speed:.1}"), "N".into(), "A".into()]
            }
            Formatter::Mwd => {
                let (toward_deg, speed) = direction_speed(self.wind(scenario, at)?);
                let from = normal_deg(toward_deg + 180.0);
                let mut fields = vec![direction(Some(from)), "T".into()];
                fields.extend([direction(Some(normal_deg(from - variation))), "M".into()]);
                fields.extend([
                    format!("{speed:.1}"),
                    "N".into(),
                    format!("{:.1}", speed / 1.943_844),
                    "M".into(),
                ]);
                fields
            }
            Formatter::Mda => {
                let [hpa] = waters.pressure_hpa.at(at)?;
                let hpa = hpa + 0.05 * self.own.at(at);
                let mut fields = vec![format!("{:.2}", hpa / 33.863_89), "I".into()];
                fields.extend([format!("{:.4}", hpa / 1000.0), "B".into()]);
                fields.extend(std::iter::repeat_n(String::new(), 16));
                fields
            }
            Formatter::Xdr => {
                let [volts] = waters.battery_v.at(at)?;
                let volts = volts + 0.01 * self.own.at(at);
                vec!["U".into(), format!("{volts:.2}"), "V".into(), "HOUSE".into()]
            }
            _ => return None,
        })
    }

    /// Where the wind blows to over the ground with its gusts, east and north.
    fn wind(&mut self, scenario: &Scenario, at: Moment) -> Option<[f64; 2]> {
        let [east, north] = scenario.plan.waters.wind.at(at)?;
        let [gust_east, gust_north] = &mut self.gust;
        Some([east + gust_east.at(at), north + gust_north.at(at)])
    }
}

/// `hhmmss.ss`.
fn time(utc: Utc) -> String {
    utc.civil().map_or(String::new(), |t| t.format("%H%M%S%.3f").to_string())
}

/// `ddmmyy`.
fn date(utc: Utc) -> String {
    utc.civil().map_or(String::new(), |t| t.format("%d%m%y").to_string())
}

/// A direction with a tenth of a degree; 360.0 is never written.
fn direction(deg: Option<f64>) -> String {
    deg.map_or(String::new(), |deg| {
        let tenths = (deg * 10.0).round() as i64 % 3600;
        format!("{}.{}", tenths / 10, tenths % 10)
    })
}

/// An angle and the letter of its side.
fn sided(deg: f64) -> [String; 2] {
    [format!("{:.1}", deg.abs()), if deg < 0.0 { "W" } else { "E" }.into()]
}

/// Latitude and longitude with their letters, to a ten-thousandth of a minute.
fn place(position: Position) -> Vec<String> {
    let part = |deg: f64, width: usize, sides: [&str; 2]| {
        let ten_thousandths = (deg.abs() * 600_000.0).round() as u64;
        let (d, m) = (ten_thousandths / 600_000, ten_thousandths % 600_000);
        let side = if deg < 0.0 { sides[1] } else { sides[0] };
        [format!("{d:0width$}{:02}.{:04}", m / 10_000, m % 10_000), side.to_owned()]
    };
    let mut fields = part(position.latitude_deg(), 2, ["N", "S"]).to_vec();
    fields.extend(part(position.longitude_deg(), 3, ["E", "W"]));
    fields
}
