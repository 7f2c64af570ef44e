//! One encounter: who meets whom, what is reported about it and what of that is received.

use super::chance::Chance;
use super::world::{Receiver, Second, Turn, Vessel};
use sentence::ais::AisReport;
use sentence::{Fix, Report};
use terms::{FeedId, Mmsi, Moment, Position};

/// Limits of a close approach order, and when it is over.
#[derive(Clone, Copy)]
pub struct Order {
    pub cpa_nm: f64,
    pub tcpa_s: f64,
    pub over_nm: f64,
    pub held_s: f64,
    pub over_for_s: f64,
}

/// The shipped orders for coastal and for ocean waters.
pub const ORDERS: [Order; 2] = [
    Order { cpa_nm: 0.5, tcpa_s: 12.0 * 60.0, over_nm: 0.7, held_s: 5.0, over_for_s: 15.0 },
    Order { cpa_nm: 2.0, tcpa_s: 25.0 * 60.0, over_nm: 2.5, held_s: 5.0, over_for_s: 30.0 },
];

/// A sentence that comes aboard.
pub struct Heard {
    pub at: Moment,
    pub feed: FeedId,
    pub report: Report,
    /// For a target's report: the second at which it was measured.
    pub measured: Option<usize>,
}

/// An encounter with its truth and everything heard of it, in order of time.
pub struct Scene {
    pub order: Order,
    pub class_b: bool,
    pub own: Vec<Second>,
    pub target: Vec<Second>,
    pub heard: Vec<Heard>,
    pub target_turns: bool,
    pub own_turns: bool,
}

pub fn target_mmsi() -> Mmsi {
    Mmsi::new(211_000_001).unwrap()
}

fn turns(chance: &mut Chance, meet_s: f64, quick: bool) -> Vec<Turn> {
    let number = if chance.happens(0.3) { 2 } else { 1 };
    let mut from_s = meet_s * chance.between(0.15, 0.6);
    (0..number)
        .map(|_| {
            let by_deg = chance.between(15.0, 100.0) * if chance.happens(0.5) { 1.0 } else { -1.0 };
            let deg_s = if quick { chance.between(2.0, 6.0) } else { chance.between(0.15, 0.7) };
            let turn = Turn { from_s, deg_s: deg_s.copysign(by_deg), for_s: (by_deg / deg_s).abs() };
            from_s += turn.for_s + chance.between(60.0, meet_s * 0.5);
            turn
        })
        .collect()
}

impl Scene {
    /// The encounter of a seed; with a warning time other than the order's, if one is given.
    pub fn new(seed: u64, warning_s: Option<f64>) -> Self {
        let mut chance = Chance::new(seed);
        let c = &mut chance;
        let order = ORDERS[usize::from(c.happens(0.5))];
        let order = Order { tcpa_s: warning_s.unwrap_or(order.tcpa_s), ..order };
        let class_b = c.happens(0.4);
        let meet_s = (order.tcpa_s + c.between(120.0, 900.0)).round();
        let start = Position::new(c.between(-65.0, 65.0), c.between(-180.0, 180.0)).unwrap();
        let own_turns = c.happens(0.3);
        let own = Vessel {
            start,
            course_deg: c.between(0.0, 360.0),
            speed_kn: if c.happens(0.1) { c.between(0.3, 1.5) } else { c.between(4.0, 8.0) },
            yaw_deg: c.between(2.0, 10.0),
            yaw_s: c.between(4.0, 9.0),
            turns: if own_turns { turns(c, meet_s, true) } else { Vec::new() },
        };
        let target_turns = c.happens(0.3);
        let target = Self::meeting(c, &own, order, class_b, meet_s, target_turns);
        let seconds = meet_s as usize + 420;
        let (own, target) = (own.sail(seconds, c), target.sail(seconds, c));
        let mut heard = hear_own(c, &own);
        heard.extend(hear_target(c, &own, &target, class_b));
        heard.sort_by_key(|h| h.at);
        Self { order, class_b, own, target, heard, target_turns, own_turns }
    }

    /// A target that, if nobody turns, passes at up to three times the limit.
    fn meeting(
        c: &mut Chance,
        own: &Vessel,
        order: Order,
        class_b: bool,
        meet_s: f64,
        turning: bool,
    ) -> Vessel {
        let hours = meet_s / 3600.0;
        loop {
            let speed_kn = match class_b {
                _ if c.happens(0.05) => 0.1,
                true => c.between(2.0, 12.0),
                false => c.between(6.0, 26.0),
            };
            let course_deg = c.between(0.0, 360.0);
            let xy = |deg: f64, kn: f64| (kn * deg.to_radians().sin(), kn * deg.to_radians().cos());
            let (oe, on) = xy(own.course_deg, own.speed_kn);
            let (te, tn) = xy(course_deg, speed_kn);
            let (e, n) = (te - oe, tn - on);
            if e.hypot(n) < 2.5 {
                continue;
            }
            let off_nm = c.between(-3.0, 3.0) * order.cpa_nm;
            let abeam_deg = e.atan2(n).to_degrees() + 90.0;
            let there = own.start.at(own.course_deg, own.speed_kn * hours).at(abeam_deg, off_nm);
            return Vessel {
                start: there.at(course_deg + 180.0, speed_kn * hours),
                course_deg,
                speed_kn,
                yaw_deg: if class_b { c.between(1.0, 10.0) } else { c.between(0.2, 1.5) },
                yaw_s: if class_b { c.between(3.0, 8.0) } else { c.between(10.0, 25.0) },
                turns: if turning { turns(c, meet_s, class_b) } else { Vec::new() },
            };
        }
    }
}

/// Own receiver, each second.
fn hear_own(c: &mut Chance, own: &[Second]) -> Vec<Heard> {
    let mut receiver = Receiver::new(c);
    own.iter()
        .enumerate()
        .map(|(t, second)| {
            let told = receiver.tell(second, c);
            let fix = Fix {
                position: Some(told.position),
                sog_kn: Some(told.sog_kn),
                cog_deg: (told.sog_kn > 0.0).then_some(told.cog_deg),
                ..Fix::default()
            };
            Heard { at: Moment::from_s(t as f64), feed: FeedId(0), report: Report::Fix(fix), measured: None }
        })
        .collect()
}

/// Reporting interval in seconds (ITU-R M.1371-5 tables 1 and 2).
fn interval_s(s: &Second, class_b: bool) -> f64 {
    match (class_b, s.turn_deg_s != 0.0) {
        (true, _) if s.speed_kn <= 2.0 => 180.0,
        (true, _) => 30.0,
        (false, true) if s.speed_kn > 14.0 => 2.0,
        (false, true) => 10.0 / 3.0,
        (false, false) if s.speed_kn > 23.0 => 2.0,
        (false, false) if s.speed_kn > 14.0 => 6.0,
        (false, false) => 10.0,
    }
}

/// What two receivers hear of the target's reports: each loses a tenth to a half of them, single ones and whole
/// minutes, and beyond a range of its own all.
fn hear_target(c: &mut Chance, own: &[Second], target: &[Second], class_b: bool) -> Vec<Heard> {
    let mut gps = Receiver::new(c);
    let radios = if c.happens(0.5) { 1 } else { 2 };
    let loss: Vec<f64> = (0..radios).map(|_| c.between(0.1, 0.5)).collect();
    let reach_nm = if class_b { c.between(5.0, 12.0) } else { c.between(12.0, 30.0) };
    let turn_indicator = !class_b && c.happens(0.5);
    let (mut due_s, mut deaf_until) = (c.between(0.0, 30.0), vec![0.0; radios]);
    let mut heard = Vec::new();
    for (t, second) in target.iter().enumerate() {
        let told = gps.tell(second, c);
        let s = t as f64;
        if s < due_s {
            continue;
        }
        due_s = s + interval_s(second, class_b) + c.between(-0.4, 0.4);
        if own[t].position.range_and_bearing(second.position).0 > reach_nm {
            continue;
        }
        let turning = (second.turn_deg_s * 60.0 * 10.0).round() / 10.0;
        let report = AisReport {
            position: Some(told.position),
            sog_kn: Some(told.sog_kn),
            cog_deg: Some(told.cog_deg),
            heading_deg: None,
            rate_of_turn_deg_min: turn_indicator.then_some(turning),
            nav_status: (!class_b).then_some(0),
            utc_second: u8::try_from(t % 60).ok(),
            class_b,
            ..AisReport::new(if class_b { 18 } else { 1 }, 0, target_mmsi())
        };
        let sent_s = s + c.between(0.05, 1.0);
        for radio in 0..radios {
            if c.happens(0.01) {
                deaf_until[radio] = s + c.between(20.0, 90.0);
            }
            if s < deaf_until[radio] || c.happens(loss[radio]) {
                continue;
            }
            let late_s = if radio == 0 { 0.0 } else { c.between(0.0, 2.5) };
            heard.push(Heard {
                at: Moment::from_s(sent_s + late_s),
                feed: FeedId(1 + radio as u16),
                report: Report::Ais(Box::new(report.clone())),
                measured: Some(t),
            });
        }
    }
    heard
}
