//! Own vessel: what her instruments say, one source of each quantity in use.

use crate::motion::Motion;
use crate::source::{Channel, Source, Verdict};
use crate::{Finding, Settings};
use sentence::{Depth, Fix, FixQuality, Heading, Report, Wind, WindReference};
use std::collections::BTreeMap;
use std::time::Duration;
use terms::{Moment, Position, Quantity, Reading, Subject, Value, normal_deg};

/// Another source takes over after so long a silence of the one in use.
const SILENCE: Duration = Duration::from_secs(10);
/// The same for weather and batteries, which are told rarely.
const SLOW_SILENCE: Duration = Duration::from_secs(60);
/// A value this old is no longer believed.
const BELIEVED: Duration = Duration::from_secs(60);
/// The same for weather and batteries.
const SLOW_BELIEVED: Duration = Duration::from_secs(15 * 60);
/// After its last fix own vessel is carried on so long by course and speed; then her place is not known.
const CARRIED_ON: Duration = Duration::from_secs(180);
/// Below this speed a missing course does not matter: she lies still.
pub(crate) const STILL_KN: f64 = 0.3;

/// Whether a quantity changes slowly and is told rarely.
fn is_slow(q: Quantity) -> bool {
    use Quantity as Q;
    matches!(q, Q::WaterTemperature | Q::AirTemperature | Q::Pressure | Q::BatteryVoltage)
}

/// How long a value of it is believed.
pub(crate) fn believed(q: Quantity) -> Duration {
    if is_slow(q) { SLOW_BELIEVED } else { BELIEVED }
}

/// Lower is better.
fn fix_quality(source: Source, quality: Option<FixQuality>) -> u8 {
    let by_transmitter = if source.transmitter { 10 } else { 0 };
    by_transmitter
        + match quality {
            Some(FixQuality::Precise | FixQuality::Differential | FixQuality::Autonomous) | None => 0,
            Some(FixQuality::Simulator) => 1,
            Some(FixQuality::Estimated) => 2,
            Some(FixQuality::Manual) => 3,
        }
}

/// Where things heard of own vessel go.
pub(crate) struct Hearing<'a> {
    pub at: Moment,
    pub source: Source,
    pub settings: &'a Settings,
    pub findings: &'a mut Vec<Finding>,
}

impl Hearing<'_> {
    fn changed(&mut self, q: Quantity) {
        self.findings.push(Finding::Changed(Subject::OwnVessel, q));
    }
}

/// Own vessel's instruments.
#[derive(Debug, Clone)]
pub(crate) struct OwnVessel {
    position: Channel<Position>,
    numbers: BTreeMap<Quantity, Channel<f64>>,
    /// Magnetic variation as the satellite receiver tells it.
    told_variation_deg: Option<f64>,
}

impl OwnVessel {
    pub fn new() -> Self {
        Self { position: Channel::new(SILENCE), numbers: BTreeMap::new(), told_variation_deg: None }
    }

    /// Takes what a sentence says of own vessel; reports that say nothing of her are passed over.
    pub fn hear(&mut self, h: &mut Hearing<'_>, report: &Report) {
        use Quantity as Q;
        match report {
            Report::Fix(fix) => self.hear_fix(h, fix),
            Report::Heading(heading) => self.hear_heading(h, heading),
            Report::WaterSpeed { speed_through_water_kn, heading, .. } => {
                self.number(h, Q::SpeedThroughWater, *speed_through_water_kn, 0);
                self.hear_heading(h, heading);
            }
            Report::Depth(depth) => self.hear_depth(h, depth),
            Report::Wind(wind) => self.hear_wind(h, wind),
            Report::Weather(w) => {
                self.number(h, Q::Pressure, w.pressure_hpa, 0);
                self.number(h, Q::AirTemperature, w.air_temperature_c, 0);
                self.number(h, Q::WaterTemperature, w.water_temperature_c, 0);
            }
            Report::CrossTrack { cross_track_error_nm } => {
                self.number(h, Q::CrossTrackError, *cross_track_error_nm, 0);
            }
            Report::RateOfTurn { rate_of_turn_deg_min } => {
                self.number(h, Q::RateOfTurn, *rate_of_turn_deg_min, 0);
            }
            Report::Rudder { rudder_deg } => self.number(h, Q::Rudder, *rudder_deg, 0),
            _ => {}
        }
    }

    /// Takes a fix, own transmitter's included.
    pub fn hear_fix(&mut self, h: &mut Hearing<'_>, fix: &Fix) {
        let quality = fix_quality(h.source, fix.quality);
        if fix.variation_deg.is_some() {
            self.told_variation_deg = fix.variation_deg;
        }
        if let Some(position) = fix.position {
            match self.position.hear(h.at, h.source, position, quality, h.settings) {
                Verdict::Aside => {}
                Verdict::Used | Verdict::TakenOver { .. } => h.changed(Quantity::Fix),
            }
        }
        self.number(h, Quantity::Sog, fix.sog_kn, quality);
        self.number(h, Quantity::Cog, fix.cog_deg, quality);
    }

    /// Takes a heading: true as told, else magnetic by deviation and variation.
    pub fn hear_heading(&mut self, h: &mut Hearing<'_>, heading: &Heading) {
        let variation = heading.variation_deg.or(self.told_variation_deg).or(h.settings.variation_deg);
        let corrected = heading
            .magnetic_deg
            .zip(variation)
            .map(|(deg, v)| normal_deg(deg + heading.deviation_deg.unwrap_or(0.0) + v));
        let quality = u8::from(heading.true_deg.is_none());
        self.number(h, Quantity::Heading, heading.true_deg.or(corrected), quality);
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
        let (speed, angle) = match wind.reference {
            WindReference::Apparent => (Q::ApparentWindSpeed, Some(Q::ApparentWindAngle)),
            WindReference::True => (Q::TrueWindSpeed, Some(Q::TrueWindAngle)),
            WindReference::Ground => (Q::GroundWindSpeed, None),
        };
        self.number(h, speed, wind.speed_kn, 0);
        if let Some(q) = angle {
            self.number(h, q, wind.angle_deg, 0);
        } else {
            let variation = self.told_variation_deg.or(h.settings.variation_deg);
            let corrected = wind.direction_magnetic_deg.zip(variation).map(|(d, v)| normal_deg(d + v));
            self.number(h, Q::GroundWindDirection, wind.direction_deg.or(corrected), 0);
        }
    }

    fn number(&mut self, h: &mut Hearing<'_>, q: Quantity, value: Option<f64>, quality: u8) {
        let Some(value) = value.filter(|v| v.is_finite()) else { return };
        let silence = if is_slow(q) { SLOW_SILENCE } else { SILENCE };
        let channel = self.numbers.entry(q).or_insert_with(|| Channel::new(silence));
        match channel.hear(h.at, h.source, value, quality, h.settings) {
            Verdict::Aside => {}
            Verdict::Used | Verdict::TakenOver { .. } => h.changed(q),
        }
    }

    /// A number that is still believed.
    pub fn value(&self, at: Moment, q: Quantity) -> Option<f64> {
        let heard = self.numbers.get(&q)?.current()?;
        (at.since(heard.at) <= believed(q)).then_some(heard.value)
    }

    /// The last position and its moment, while it is believed.
    pub fn fix(&self, at: Moment) -> Option<(Position, Moment)> {
        let heard = self.position.current()?;
        (at.since(heard.at) <= believed(Quantity::Fix)).then_some((heard.value, heard.at))
    }

    /// What is known of a quantity.
    pub fn reading(&self, at: Moment, q: Quantity) -> Reading {
        if q == Quantity::Fix {
            let heard = self.position.current().map(|h| h.at);
            return Reading { value: self.fix(at).map(|_| Value::There), heard };
        }
        let heard = self.numbers.get(&q).and_then(Channel::current).map(|h| h.at);
        Reading { value: self.value(at, q).map(Value::Number), heard }
    }

    /// How she moves: from the last fix, carried on for a while when fixes stop.
    pub fn motion(&self, at: Moment) -> Option<Motion> {
        let fix = self.position.current().filter(|h| at.since(h.at) <= CARRIED_ON)?;
        let last = |q| {
            let heard = self.numbers.get(&q)?.current()?;
            (at.since(heard.at) <= CARRIED_ON).then_some(heard.value)
        };
        let sog_kn = last(Quantity::Sog)?;
        let cog_deg = last(Quantity::Cog).or((sog_kn < STILL_KN).then_some(0.0))?;
        Some(Motion::steady(fix.at, fix.value, sog_kn, cog_deg))
    }

    /// When the next value stops being believed.
    pub fn next_wake(&self, after: Moment) -> Option<Moment> {
        let ends = self.numbers.iter().filter_map(|(&q, c)| Some(c.current()?.at + believed(q)));
        let fix = self.position.current().map(|h| h.at + believed(Quantity::Fix));
        // A millisecond later, so that it is past.
        ends.chain(fix).map(|end| end + Duration::from_millis(1)).filter(|&end| end > after).min()
    }

    /// Values that stopped being believed between two moments.
    pub fn expired(&self, after: Moment, until: Moment) -> Vec<Quantity> {
        let ended = |q: Quantity, heard: Moment| {
            let end = heard + believed(q) + Duration::from_millis(1);
            end > after && end <= until
        };
        let numbers = self.numbers.iter().filter(|(q, c)| c.current().is_some_and(|h| ended(**q, h.at)));
        let fix = self.position.current().filter(|h| ended(Quantity::Fix, h.at)).map(|_| Quantity::Fix);
        numbers.map(|(&q, _)| q).chain(fix).collect()
    }
}
