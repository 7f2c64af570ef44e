//! Own vessel: what her instruments say, with one source in use for each quantity.

mod ais_set;
mod doubt;
mod ends;
mod reckoning;
mod review;
mod transducer;
mod variation;
mod wind;

pub use doubt::Trouble;
pub use reckoning::{DeadReckoning, ReckonedBy};

use crate::finding::changed;
use crate::motion::Motion;
use crate::source::{Channel, Heard, Origin, Source, Verdict};
use crate::track::{Doubtful, MPS_PER_KN, Noise, Observation, Track, velocity_mps};
use crate::{Finding, Settings};
use ais_set::SetAlarms;
pub(crate) use ais_set::ShipsHeard;
use doubt::Doubts;
use ends::Ends;
use reckoning::Reckoning;
pub(crate) use reckoning::Returned;
use review::Watched;
use sentence::ais::{AisReport, PositionSource};
use sentence::{Depth, Fix, FixQuality, Heading, Report, Transducer, Wind, WindReference};
use std::time::Duration;
use terms::{Dimension, Mmsi, Moment, Position, Quantity, Reading, Subject, Utc, Value, normal_deg};
use transducer::{Transducers, quantity_of};
use variation::Variation;
use wind::{WindVector, over_ground, over_water};

/// Silence of the source in use after which another takes over.
const SILENCE: Duration = Duration::from_secs(10);
/// The same for weather and batteries, which are reported rarely.
const SLOW_SILENCE: Duration = Duration::from_secs(60);
/// A value this old is no longer believed.
const BELIEVED: Duration = Duration::from_secs(60);
/// The same for weather and batteries.
const SLOW_BELIEVED: Duration = Duration::from_secs(15 * 60);
/// Instruments a wind is worked out from must have been heard within this.
const TOGETHER: Duration = Duration::from_secs(5);
/// How long own vessel is carried on by course and speed after her last fix; then her place is not known.
const CARRIED_ON: Duration = Duration::from_secs(180);
/// Below this speed a missing course does not matter: she lies still.
pub(crate) const STILL_KN: f64 = 0.3;

/// What to expect of a small boat: fixes good to 5 m, whose errors stay alike for some ten seconds; a course that yaws
/// with the waves, which is learnt; a tack in a quarter of a minute (own choice, proven by the encounters' bench).
const OWN_NOISE: Noise = Noise {
    position_m: 5.0,
    velocity_mps: 0.2 * MPS_PER_KN,
    yaw_mps: 0.6 * MPS_PER_KN,
    yaw_most_mps: 2.5 * MPS_PER_KN,
    alike_s: (10.0, 4.0),
    steady: 2e-4,
    turning: 0.5,
    steady_s: 300.0,
    turning_s: 15.0,
};

/// Whether a quantity changes slowly and is reported rarely.
fn is_slow(q: Quantity) -> bool {
    use Quantity as Q;
    matches!(q, Q::WaterTemperature | Q::AirTemperature | Q::Pressure | Q::BatteryVoltage)
}

/// Whether a boat can have such a value: anything outside is a fault of the wire or the instrument, not a measurement.
fn is_possible(q: Quantity, value: f64) -> bool {
    let most = match q.dimension() {
        Dimension::Speed => 300.0,
        Dimension::Length => 12_000.0,
        Dimension::Direction | Dimension::Side => 360.0,
        Dimension::Pressure => 2_000.0,
        Dimension::Temperature | Dimension::Voltage => 1_000.0,
        _ => 100_000.0,
    };
    let negative = !matches!(q, Quantity::Sog | Quantity::Cog | Quantity::Heading);
    value.abs() <= most && (negative || value >= 0.0)
}

/// How long one of its values is believed.
pub(crate) fn believed(q: Quantity) -> Duration {
    if is_slow(q) { SLOW_BELIEVED } else { BELIEVED }
}

/// Lower is better.
fn fix_quality(quality: Option<FixQuality>) -> u8 {
    match quality {
        Some(FixQuality::Precise | FixQuality::Differential | FixQuality::Autonomous) | None => 0,
        Some(FixQuality::Simulator) => 1,
        Some(FixQuality::Estimated) => 2,
        Some(FixQuality::Manual) => 3,
    }
}

/// Where anything heard about own vessel goes.
pub(crate) struct Hearing<'a> {
    pub at: Moment,
    pub source: Source,
    pub utc: Option<Utc>,
    pub settings: &'a Settings,
    pub findings: &'a mut Vec<Finding>,
    /// Quantities whose source this sentence changed.
    taken_over: Vec<(Quantity, Source, bool)>,
}

impl<'a> Hearing<'a> {
    pub fn new(
        at: Moment,
        source: Source,
        utc: Option<Utc>,
        settings: &'a Settings,
        findings: &'a mut Vec<Finding>,
    ) -> Self {
        Self { at, source, utc, settings, findings, taken_over: Vec::new() }
    }

    fn judged(&mut self, q: Quantity, verdict: Verdict) {
        match verdict {
            Verdict::Aside => return,
            Verdict::Used => {}
            Verdict::TakenOver { from, silent } => self.taken_over.push((q, from, silent)),
        }
        self.findings.extend(changed(q));
    }
}

/// Own vessel's instruments.
#[derive(Debug, Clone)]
pub(crate) struct OwnVessel {
    position: Channel<Position>,
    track: Option<Track>,
    /// Indexed by the place of their quantity among all.
    numbers: Vec<Option<Channel<f64>>>,
    variation: Variation,
    transducers: Transducers,
    watched: Watched,
    set_alarms: SetAlarms,
    doubts: Doubts,
    ends: Ends,
    reckoning: Reckoning,
}

impl OwnVessel {
    pub fn new() -> Self {
        Self {
            position: Channel::new(SILENCE),
            track: None,
            numbers: vec![None; Quantity::ALL.len()],
            variation: Variation::default(),
            transducers: Transducers::default(),
            watched: Watched::default(),
            set_alarms: SetAlarms::default(),
            doubts: Doubts::default(),
            ends: Ends::default(),
            reckoning: Reckoning::default(),
        }
    }

    /// Takes what a sentence says about own vessel; reports that say nothing about her are passed over.
    pub fn hear(&mut self, mut hearing: Hearing<'_>, report: &Report) {
        use Quantity as Q;
        let h = &mut hearing;
        match report {
            Report::Fix(fix) => self.hear_fix(h, fix),
            Report::Heading(heading) => {
                self.hear_heading(h, heading, 0);
                self.go_on(h.at);
            }
            Report::WaterSpeed { speed_through_water_kn, heading, .. } => {
                self.number(h, Q::SpeedThroughWater, *speed_through_water_kn, 0);
                self.hear_heading(h, heading, 2);
                self.go_on(h.at);
            }
            Report::Depth(depth) => self.hear_depth(h, depth),
            Report::Wind(wind) => self.hear_wind(h, wind),
            Report::Weather(w) => {
                self.number(h, Q::Pressure, w.pressure_hpa, 0);
                self.number(h, Q::AirTemperature, w.air_temperature_c, 0);
                self.number(h, Q::WaterTemperature, w.water_temperature_c, 0);
                self.number(h, Q::GroundWindSpeed, w.wind_speed_kn, 1);
                self.number(h, Q::GroundWindDirection, w.wind_direction_deg, 1);
            }
            Report::Transducers { transducers } => self.hear_transducers(h, transducers),
            Report::CrossTrack { cross_track_error_nm } => {
                self.number(h, Q::CrossTrackError, *cross_track_error_nm, 0);
            }
            Report::Waypoint(w) => {
                self.number(h, Q::CrossTrackError, w.cross_track_error_nm, 0);
            }
            Report::RateOfTurn { rate_of_turn_deg_min } => {
                self.number(h, Q::RateOfTurn, *rate_of_turn_deg_min, 0);
            }
            Report::DeviceAlert(a) => {
                self.set_alarms.hear(
                    h.at,
                    h.source.talker,
                    a.identifier,
                    a.state.filter(|_| a.acknowledged.is_some()),
                );
                self.ends.set_alarms(h.at, &self.set_alarms);
            }
            Report::Rudder { rudder_deg } => {
                self.number(h, Q::Rudder, *rudder_deg, 0);
            }
            _ => return,
        }
        self.close(hearing);
    }

    /// Takes own transmitter's report. One with another identity is not ours: it is reported and not used.
    pub fn hear_transmitter(&mut self, mut hearing: Hearing<'_>, report: &AisReport, own: Option<Mmsi>) {
        let h = &mut hearing;
        h.source = h.source.as_origin(Origin::Transmitter);
        let foreign = own.filter(|&o| o != report.mmsi);
        self.watched.hear_transmitter(h.at, report.position.filter(|_| foreign.is_none()));
        self.ends.transmitter(h.at);
        let text = foreign.map(|o| format!("own AIS transmitter sends as {}, not as {o}", report.mmsi));
        let told = text.is_some();
        self.doubts.weigh(h.at, Trouble::TransmitterIdentity, text, h.findings);
        if !told {
            let quality = match report.position_source {
                Some(PositionSource::DeadReckoning) => FixQuality::Estimated,
                Some(PositionSource::Manual) => FixQuality::Manual,
                _ => FixQuality::Autonomous,
            };
            let fix = Fix {
                position: report.position,
                sog_kn: report.sog_kn,
                cog_deg: report.cog_deg,
                quality: Some(quality),
                ..Fix::default()
            };
            self.hear_fix(h, &fix);
            let heading = Heading { true_deg: report.heading_deg.map(f64::from), ..Heading::default() };
            self.hear_heading(h, &heading, 0);
        }
        self.close(hearing);
    }

    /// Notes a change of sources, and checks whether the instruments can be right.
    fn close(&mut self, h: Hearing<'_>) {
        if let Some(&(_, from, silent)) = h.taken_over.first() {
            let names: Vec<&str> = h.taken_over.iter().map(|(q, _, _)| q.name()).collect();
            let why = if silent { "is silent" } else { "is the worse source" };
            let to =
                if names.iter().all(|n| n.contains("wind")) { "heard or computed from" } else { "now from" };
            let text = format!(
                "{} {to} {}: {} {why}",
                names.join(", "),
                h.source.describe(h.settings),
                from.describe(h.settings)
            );
            h.findings.push(Finding::Noted { subject: Subject::OwnVessel, text });
        }
        self.review(h.at, h.settings, h.findings);
    }

    fn hear_fix(&mut self, h: &mut Hearing<'_>, fix: &Fix) {
        let quality = fix_quality(fix.quality);
        self.variation.hear_receiver(h.at, fix.variation_deg);
        let mut seen = Observation { position: None, velocity_mps: None, turns: false };
        if let Some(position) = fix.position {
            if h.source.origin == Origin::Instrument {
                let before = self.position.all().iter().find(|p| p.source == h.source);
                let sog_kn = fix.sog_kn.or_else(|| self.value(h.at, Quantity::Sog));
                self.watched.hear_position(h.at, before, position, sog_kn);
            }
            let verdict = self.position.hear(h.at, h.source, position, quality, h.settings);
            h.judged(Quantity::Fix, verdict);
            if verdict != Verdict::Aside {
                self.ends.value(h.at, Quantity::Fix);
                self.watched.hear_used(h.at, position);
                self.reckon(h.at, position, h.settings.current);
            }
            seen.position = fix.position.filter(|_| verdict != Verdict::Aside);
            self.variation.follow(position, h.utc);
        }
        let sog_used = self.number(h, Quantity::Sog, fix.sog_kn, quality);
        let by_compass = || {
            let (magnetic, variation) = fix.cog_magnetic_deg.zip(self.variation.deg(h.at, h.settings))?;
            Some(normal_deg(magnetic + variation))
        };
        let cog_deg = fix.cog_deg.or_else(by_compass);
        let cog_used = self.number(h, Quantity::Cog, cog_deg, quality);
        if let Some(sog_kn) = fix.sog_kn.filter(|_| sog_used) {
            let cog_deg = cog_deg.filter(|_| cog_used).or((sog_kn < STILL_KN).then_some(0.0));
            seen.velocity_mps = cog_deg.map(|deg| velocity_mps(sog_kn, deg));
        }
        self.follow(h.at, seen);
        let under_way = self.value(h.at, Quantity::Sog).zip(self.value(h.at, Quantity::Cog));
        self.watched.hear_course(h.at, under_way);
    }

    /// Carries the track on with what the source in use says.
    fn follow(&mut self, at: Moment, seen: Observation) {
        match (&mut self.track, seen.position) {
            (Some(track), _) => track.hear(at, seen),
            (None, Some(position)) => {
                self.track = Some(Track::new(at, position, seen.velocity_mps, OWN_NOISE));
            }
            (None, None) => {}
        }
    }

    /// True if given as such, otherwise magnetic by deviation and variation.
    fn hear_heading(&mut self, h: &mut Hearing<'_>, heading: &Heading, quality: u8) {
        self.variation.hear_compass(h.at, heading.variation_deg);
        let corrected = || {
            let variation = heading.variation_deg.or_else(|| self.variation.deg(h.at, h.settings))?;
            Some(normal_deg(heading.magnetic_deg? + heading.deviation_deg.unwrap_or(0.0) + variation))
        };
        let quality = quality + u8::from(heading.true_deg.is_none());
        if let Some(deg) = heading.true_deg.or_else(corrected) {
            self.number(h, Quantity::Heading, Some(deg), quality);
            let used = self.last(Quantity::Heading);
            if let Some(used) = used.filter(|u| u.at == h.at) {
                self.watched.hear_heading(h.at, used.value);
            }
        }
    }

    fn hear_depth(&mut self, h: &mut Hearing<'_>, depth: &Depth) {
        let up_m = h.settings.transducer_to_waterline_m.or(depth.offset_m.filter(|&o| o > 0.0));
        let down_m = h.settings.transducer_to_keel_m.or(depth.offset_m.filter(|&o| o < 0.0).map(f64::abs));
        let below_m = depth.below_transducer_m.or(depth.below_surface_m.zip(up_m).map(|(s, up)| s - up));
        let surface_m = depth.below_surface_m.or(below_m.zip(up_m).map(|(d, up)| d + up));
        self.number(h, Quantity::DepthBelowTransducer, below_m, 0);
        self.number(h, Quantity::DepthBelowKeel, below_m.zip(down_m).map(|(d, down)| d - down), 0);
        self.number(h, Quantity::DepthBelowSurface, surface_m, 0);
    }

    fn hear_wind(&mut self, h: &mut Hearing<'_>, wind: &Wind) {
        use Quantity as Q;
        match wind.reference {
            WindReference::Apparent => {
                self.number(h, Q::ApparentWindSpeed, wind.speed_kn, 0);
                self.number(h, Q::ApparentWindAngle, wind.angle_deg, 0);
                if let Some((speed_kn, angle_deg)) = wind.speed_kn.zip(wind.angle_deg) {
                    self.work_out_wind(h, WindVector { speed_kn, angle_deg });
                }
            }
            WindReference::True => {
                self.number(h, Q::TrueWindSpeed, wind.speed_kn, 0);
                self.number(h, Q::TrueWindAngle, wind.angle_deg, 0);
                let heading = self.recent(h.at, Q::Heading);
                let from = wind.angle_deg.zip(heading).map(|(a, deg)| normal_deg(deg + a));
                self.number(h, Q::TrueWindDirection, from, 0);
            }
            WindReference::Ground => {
                self.number(h, Q::GroundWindSpeed, wind.speed_kn, 0);
                let corrected = || {
                    let (d, v) = wind.direction_magnetic_deg.zip(self.variation.deg(h.at, h.settings))?;
                    Some(normal_deg(d + v))
                };
                self.number(h, Q::GroundWindDirection, wind.direction_deg.or_else(corrected), 0);
            }
        }
    }

    /// Winds no instrument gives, worked out from the apparent wind: over the water by the log, or by speed over ground
    /// if there is no log; over the ground by course and speed.
    fn work_out_wind(&mut self, h: &mut Hearing<'_>, apparent: WindVector) {
        use Quantity as Q;
        let measured = h.source;
        h.source = measured.as_origin(Origin::Computed);
        let heading = self.recent(h.at, Q::Heading);
        let sog = self.recent(h.at, Q::Sog);
        if let Some(ahead_kn) = self.recent(h.at, Q::SpeedThroughWater).or(sog) {
            let w = over_water(apparent, ahead_kn);
            self.number(h, Q::TrueWindSpeed, Some(w.speed_kn), 0);
            self.number(h, Q::TrueWindAngle, Some(w.angle_deg), 0);
            let from = heading.map(|deg| normal_deg(deg + w.angle_deg));
            self.number(h, Q::TrueWindDirection, from, 0);
        }
        if let (Some(heading), Some(sog), Some(cog)) = (heading, sog, self.recent(h.at, Q::Cog)) {
            let w = over_ground(apparent, heading, sog, cog);
            self.number(h, Q::GroundWindSpeed, Some(w.speed_kn), 0);
            self.number(h, Q::GroundWindDirection, Some(w.angle_deg), 0);
        }
        h.source = measured;
    }

    fn hear_transducers(&mut self, h: &mut Hearing<'_>, transducers: &[Transducer]) {
        for t in transducers {
            let Some((dimension, value)) = self.transducers.hear(h.at, t) else { continue };
            h.findings.push(Finding::Changed(Subject::OwnVessel, Quantity::Transducers));
            let named = h.settings.transducers.get(&t.name).copied();
            let suits = |q: &Quantity| q.dimension() == dimension;
            let meant = named.filter(suits).or_else(|| quantity_of(&t.name, dimension, value));
            if let Some(q) = meant {
                self.number(h, q, Some(value), 1);
            }
        }
    }

    /// Takes a number; returns whether its source is the one in use.
    fn number(&mut self, h: &mut Hearing<'_>, q: Quantity, value: Option<f64>, quality: u8) -> bool {
        let Some(value) = value.filter(|&v| is_possible(q, v)) else { return false };
        let silence = if is_slow(q) { SLOW_SILENCE } else { SILENCE };
        let Some(channel) = self.numbers.get_mut(q as usize) else { return false };
        let channel = channel.get_or_insert_with(|| Channel::new(silence));
        let verdict = channel.hear(h.at, h.source, value, quality, h.settings);
        h.judged(q, verdict);
        let used = verdict != Verdict::Aside;
        if used {
            self.ends.value(h.at, q);
        }
        used
    }

    /// What the source in use last said, whatever its age.
    fn last(&self, q: Quantity) -> Option<&Heard<f64>> {
        self.numbers.get(q as usize)?.as_ref()?.current()
    }

    /// A number that is still believed, as it was heard.
    pub fn believed(&self, at: Moment, q: Quantity) -> Option<&Heard<f64>> {
        self.last(q).filter(|h| at.since(h.at) <= believed(q))
    }

    /// A number that is still believed.
    pub fn value(&self, at: Moment, q: Quantity) -> Option<f64> {
        self.believed(at, q).map(|h| h.value)
    }

    /// A number heard recently enough to combine with others.
    fn recent(&self, at: Moment, q: Quantity) -> Option<f64> {
        self.last(q).filter(|h| at.since(h.at) <= TOGETHER).map(|h| h.value)
    }

    /// Which source of a quantity is in use.
    pub fn source_of(&self, q: Quantity) -> Option<Source> {
        if q == Quantity::Fix {
            return self.position.current().map(|h| h.source);
        }
        self.last(q).map(|h| h.source)
    }

    /// Magnetic variation, east positive.
    pub fn variation_deg(&self, at: Moment, settings: &Settings) -> Option<f64> {
        self.variation.deg(at, settings)
    }

    /// A named transducer.
    pub fn transducer(&self, name: &str) -> Option<(Dimension, Reading)> {
        self.transducers.reading(name)
    }

    /// The last position and its moment, while it is believed.
    pub fn fix(&self, at: Moment) -> Option<(Position, Moment)> {
        let heard = self.position.current()?;
        (at.since(heard.at) <= believed(Quantity::Fix)).then_some((heard.value, heard.at))
    }

    /// When the last position was heard.
    pub fn fix_heard(&self) -> Option<Moment> {
        self.position.current().map(|h| h.at)
    }

    /// What is known of a quantity.
    pub fn reading(&self, at: Moment, q: Quantity) -> Reading {
        if q == Quantity::Fix {
            let heard = self.position.current().map(|h| h.at);
            return Reading { value: self.fix(at).map(|_| Value::There), heard };
        }
        Reading { value: self.value(at, q).map(Value::Number), heard: self.last(q).map(|h| h.at) }
    }

    /// How she moves and how well that is known, carried on for a while when fixes stop.
    pub fn motion(&self, at: Moment) -> Option<(Motion, Doubtful)> {
        let track = self.track_at(at)?;
        Some((track.motion()?, track.doubt(at)))
    }

    /// Whether that is known.
    pub fn has_motion(&self, at: Moment) -> bool {
        self.track_at(at).is_some_and(|track| track.motion().is_some())
    }

    fn track_at(&self, at: Moment) -> Option<&Track> {
        self.position.current().filter(|h| at.since(h.at) <= CARRIED_ON)?;
        self.track.as_ref()
    }

    /// When own AIS transmitter was last heard.
    pub fn transmitted(&self) -> Option<Moment> {
        self.watched.transmitted()
    }

    /// Takes whether a trouble holds that shows elsewhere than in her instruments.
    pub fn weigh(&mut self, at: Moment, t: Trouble, holds: Option<String>, findings: &mut Vec<Finding>) {
        self.doubts.weigh(at, t, holds, findings);
    }
}
