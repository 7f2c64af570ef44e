//! Ships, aids and base stations on the air (ITU-R M.1371).

use super::wire::Wires;
use crate::Scenario;
use crate::interval::{AID_S, BASE_S, STATIC_S, position_s};
use crate::plan::{self, Class};
use crate::random::Stream;
use crate::track::{Motion, Track};
use sentence::ais::{AisReport, PositionSource};
use std::time::Duration;
use terms::{Mmsi, Moment, Position, Utc, normal_deg};

/// A report interval is kept within a tenth either way: the selection interval of ITU-R M.1371-5 annex 2, 3.3.4.2.
const SPREAD: f64 = 0.2;
/// Between the two parts of a class B station's static data (a minute at most by ITU-R M.1371-5 annex 8, 3.22).
const PARTS_APART: Duration = Duration::from_secs(15);

/// A moment later by these seconds.
fn later(at: Moment, s: f64) -> Moment {
    Moment(at.0.saturating_add((s * 1000.0).round().max(1.0) as i64))
}

/// The second of UTC as a position report gives it.
pub fn utc_second(utc: Utc) -> u8 {
    (utc.ms_of_day() / 1000 % 60) as u8
}

/// The two radio channels by turns.
pub struct Channels(bool);

impl Channels {
    pub fn new(stream: &mut Stream) -> Self {
        Self(stream.even() < 0.5)
    }

    pub fn next(&mut self) -> char {
        self.0 = !self.0;
        if self.0 { 'A' } else { 'B' }
    }
}

/// A ship's position reports.
pub struct Ship<'a> {
    ship: &'a plan::Ship,
    track: &'a Track,
    stream: Stream,
    channels: Channels,
}

impl<'a> Ship<'a> {
    pub fn new(seed: u64, ship: &'a plan::Ship, track: &'a Track) -> (Moment, Self) {
        let mut stream = Stream::named(seed, &format!("ship {}", ship.mmsi));
        let channels = Channels::new(&mut stream);
        let mut sender = Self { ship, track, stream, channels };
        let first = later(Moment::ZERO, sender.interval_s(Moment::ZERO) * sender.stream.even());
        (first, sender)
    }

    fn nav_status(&self, at: Moment) -> u8 {
        let changes = self.ship.legs.iter().take_while(|leg| leg.at <= at);
        changes.filter_map(|leg| leg.nav_status).last().unwrap_or(self.ship.nav_status)
    }

    fn interval_s(&self, at: Moment) -> f64 {
        let motion = self.track.at(at);
        position_s(self.ship.class, self.nav_status(at), motion.sog_kn, motion.turn_deg_min)
    }

    pub fn fire(&mut self, scenario: &Scenario, at: Moment, wires: &mut Wires<'_>) -> Option<Moment> {
        if !self.ship.silent.iter().any(|span| span.holds(at)) {
            let motion = self.track.at(at);
            let mut report = self.report(scenario, &motion, at);
            report.nav_status = (self.ship.class == Class::A).then(|| self.nav_status(at));
            wires.transmit(at, motion.position, f64::INFINITY, &report, self.channels.next());
        }
        let spread = 1.0 + SPREAD * (self.stream.even() - 0.5);
        let usual = later(at, self.interval_s(at) * spread);
        // A station that begins to move or turn does not wait out its old interval.
        let change = self.ship.legs.iter().map(|leg| leg.at + Duration::from_secs(10)).find(|t| *t > at);
        let changed = change.filter(|t| *t < usual).map(|t| later(t, self.interval_s(t) * spread));
        Some(changed.map_or(usual, |t| t.min(usual)))
    }

    fn report(&self, scenario: &Scenario, motion: &Motion, at: Moment) -> AisReport {
        let ship = self.ship;
        let message = match ship.class {
            Class::A => 1,
            Class::BCarrierSense | Class::BSelfOrganised => 18,
            Class::SearchAircraft => 9,
        };
        let mut report = position_report(message, ship.mmsi, motion, scenario.utc(at));
        if ship.has_heading && message != 9 {
            report.heading_deg = Some(normal_deg(motion.course_deg + ship.crab_deg).round() as u16 % 360);
        }
        report.rate_of_turn_deg_min = (message == 1).then_some(motion.turn_deg_min);
        report.altitude_m = ship.altitude_m.filter(|_| message == 9);
        report
    }
}

/// The fields all position reports share.
pub fn position_report(message: u8, mmsi: Mmsi, motion: &Motion, utc: Utc) -> AisReport {
    let mut report = AisReport::new(message, 0, mmsi);
    report.class_b = message == 18;
    report.position = Some(motion.position);
    report.position_accurate = Some(false);
    report.raim_flag = Some(false);
    report.sog_kn = Some(motion.sog_kn);
    report.cog_deg = Some(motion.cog_deg);
    report.utc_second = Some(utc_second(utc));
    report.position_source = Some(PositionSource::Fix);
    report
}

/// A ship's static data: message 5, or the parts of message 24 by turns.
pub struct Static<'a> {
    ship: &'a plan::Ship,
    track: &'a Track,
    channels: Channels,
    second_part: bool,
}

impl<'a> Static<'a> {
    /// Nothing for an aircraft: it has no static message of its own.
    pub fn new(seed: u64, ship: &'a plan::Ship, track: &'a Track) -> Option<(Moment, Self)> {
        let mut stream = Stream::named(seed, &format!("static {}", ship.mmsi));
        let channels = Channels::new(&mut stream);
        let first = later(Moment::ZERO, STATIC_S * stream.even());
        let sends = ship.class != Class::SearchAircraft;
        sends.then_some((first, Self { ship, track, channels, second_part: false }))
    }

    pub fn fire(&mut self, at: Moment, wires: &mut Wires<'_>) -> Option<Moment> {
        let class_a = self.ship.class == Class::A;
        if !self.ship.silent.iter().any(|span| span.holds(at)) {
            let report = if class_a { self.voyage() } else { self.part() };
            wires.transmit(at, self.track.at(at).position, f64::INFINITY, &report, self.channels.next());
        }
        if class_a {
            return Some(later(at, STATIC_S));
        }
        self.second_part = !self.second_part;
        let rest = Duration::from_secs_f64(STATIC_S) - PARTS_APART;
        Some(at + if self.second_part { PARTS_APART } else { rest })
    }

    fn voyage(&self) -> AisReport {
        let ship = self.ship;
        let mut report = AisReport::new(5, 0, ship.mmsi);
        report.name = ship.name.clone();
        report.call_sign = ship.call_sign.clone();
        report.ship_type = ship.ship_type;
        report.imo = ship.imo;
        report.destination = ship.destination.clone();
        report.draught_m = ship.draught_m;
        dimensions(&mut report, ship.dimensions_m);
        report
    }

    fn part(&self) -> AisReport {
        let ship = self.ship;
        let mut report = AisReport::new(24, 0, ship.mmsi);
        report.class_b = true;
        if self.second_part {
            report.part = Some('B');
            report.call_sign = ship.call_sign.clone();
            report.ship_type = ship.ship_type;
            dimensions(&mut report, ship.dimensions_m);
        } else {
            report.part = Some('A');
            report.name = ship.name.clone();
        }
        report
    }
}

fn dimensions(report: &mut AisReport, metres: Option<[u16; 4]>) {
    if let Some([a, b, c, d]) = metres {
        report.dimension_a_m = Some(a);
        report.dimension_b_m = Some(b);
        report.dimension_c_m = Some(c);
        report.dimension_d_m = Some(d);
    }
}

/// An aid to navigation's reports.
pub struct Aid<'a> {
    aid: &'a plan::Aid,
    channels: Channels,
}

impl<'a> Aid<'a> {
    pub fn new(seed: u64, aid: &'a plan::Aid) -> (Moment, Self) {
        let mut stream = Stream::named(seed, &format!("aid {}", aid.mmsi));
        let channels = Channels::new(&mut stream);
        (later(Moment::ZERO, AID_S * stream.even()), Self { aid, channels })
    }

    pub fn fire(&mut self, scenario: &Scenario, at: Moment, wires: &mut Wires<'_>) -> Option<Moment> {
        let aid = self.aid;
        let mut report = AisReport::new(21, 0, aid.mmsi);
        report.name = Some(aid.name.clone());
        report.aid_type = (aid.aid_type > 0).then_some(aid.aid_type);
        fixed(&mut report, aid.position, scenario.utc(at));
        report.virtual_aid = Some(aid.virtual_aid);
        report.off_position = Some(aid.off_position);
        dimensions(&mut report, aid.dimensions_m);
        wires.transmit(at, aid.position, f64::INFINITY, &report, self.channels.next());
        Some(later(at, AID_S))
    }
}

fn fixed(report: &mut AisReport, position: Position, utc: Utc) {
    report.position = Some(position);
    report.position_accurate = Some(true);
    report.raim_flag = Some(false);
    report.utc_second = Some(utc_second(utc));
    report.position_source = Some(PositionSource::Fix);
}

/// A base station's reports.
pub struct Base<'a> {
    base: &'a plan::Base,
    channels: Channels,
}

impl<'a> Base<'a> {
    pub fn new(seed: u64, base: &'a plan::Base) -> (Moment, Self) {
        let mut stream = Stream::named(seed, &format!("base {}", base.mmsi));
        let channels = Channels::new(&mut stream);
        (later(Moment::ZERO, BASE_S * stream.even()), Self { base, channels })
    }

    pub fn fire(&mut self, scenario: &Scenario, at: Moment, wires: &mut Wires<'_>) -> Option<Moment> {
        let utc = scenario.utc(at);
        let mut report = AisReport::new(4, 0, self.base.mmsi);
        report.position = Some(self.base.position);
        report.position_accurate = Some(true);
        report.raim_flag = Some(false);
        // The message has whole seconds.
        report.utc = Some(Utc(utc.0 - utc.0.rem_euclid(1000)));
        wires.transmit(at, self.base.position, f64::INFINITY, &report, self.channels.next());
        Some(later(at, BASE_S))
    }
}
