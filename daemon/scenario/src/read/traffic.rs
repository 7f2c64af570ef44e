//! Many ships at once, for a busy strait: drawn from the scenario's seed, each on a lane's course.

use super::table::Table;
use crate::plan::{Class, Place, Ship};
use crate::random::Stream;
use std::collections::BTreeSet;
use terms::{Mmsi, Moment, Station, normal_deg};

/// The most crowds in one scenario.
const MOST_CROWDS: usize = 20;
/// The most lanes of one crowd.
const MOST_LANES: usize = 16;
/// A ship keeps to her lane's course within so much.
const OFF_LANE_DEG: f64 = 8.0;

/// Adds the ships of every `[[traffic]]`, up to `most` ships in all.
pub fn crowds(root: &mut Table<'_>, ships: &mut Vec<Ship>, seed: u64, most: usize) {
    for (n, mut t) in root.tables("traffic", MOST_CROWDS).into_iter().enumerate() {
        t.needs(&["count", "first_mmsi", "within_nm", "lanes_deg"]);
        let (count, first) = (t.whole("count", 1..=most as u64), t.mmsi("first_mmsi"));
        let within_nm = t.number("within_nm", 0.1..=200.0);
        let lanes = t.numbers("lanes_deg", 0.0..=360.0, MOST_LANES);
        let from_kn = t.number("slowest_kn", 0.0..=60.0).unwrap_or(6.0);
        let to_kn = t.number("fastest_kn", 0.0..=60.0).unwrap_or(20.0);
        let class_b = t.number("class_b", 0.0..=1.0).unwrap_or(0.0);
        if to_kn < from_kn {
            t.tell(t.span(), "fastest_kn is less than slowest_kn");
        }
        let identities = first.zip(count).map(|(first, count)| first.number()..first.number() + count as u32);
        let used: BTreeSet<u32> = ships.iter().map(|s| s.mmsi.number()).collect();
        for number in identities.iter().flat_map(|range| [range.start, range.end.saturating_sub(1)]) {
            if Mmsi::new(number).is_none_or(|m| m.station() != Station::Vessel) {
                t.tell(t.span_of("first_mmsi"), format!("{number} would be no ship's identity"));
            }
        }
        if identities.iter().any(|range| used.range(range.clone()).next().is_some()) {
            t.tell(t.span_of("first_mmsi"), "one of these identities is a ship's already");
        }
        if count.is_some_and(|count| ships.len() + count as usize > most) {
            t.tell(t.span_of("count"), format!("a scenario has at most {most} ships"));
        }
        t.finish();
        let (Some(identities), Some(within_nm), Some(lanes)) = (identities, within_nm, lanes) else {
            continue;
        };
        let mut draw = Stream::named(seed, &format!("traffic {n}"));
        let room = most.saturating_sub(ships.len());
        for mmsi in identities.filter_map(Mmsi::new).take(room) {
            ships.push(ship(mmsi, &mut draw, within_nm, &lanes, [from_kn, to_kn.max(from_kn)], class_b));
        }
    }
}

/// One of them, somewhere on the disc around own vessel at the start.
fn ship(
    mmsi: Mmsi,
    draw: &mut Stream,
    within_nm: f64,
    lanes: &[f64],
    [from_kn, to_kn]: [f64; 2],
    class_b: f64,
) -> Ship {
    let class = if draw.even() < class_b { Class::BCarrierSense } else { Class::A };
    // The root spreads them evenly over the area, not along the radius.
    let (bearing_deg, range_nm) = (360.0 * draw.even(), within_nm * draw.even().sqrt());
    let lane = lanes.get((draw.even() * lanes.len() as f64) as usize).copied().unwrap_or(0.0);
    let length = 20 + (draw.even() * 250.0) as u16;
    let beam = length / 8;
    Ship {
        mmsi,
        class,
        name: Some(format!("TRAFFIC {}", mmsi.number())),
        call_sign: None,
        ship_type: Some(if class == Class::A { 70 } else { 37 }),
        imo: None,
        destination: None,
        draught_m: None,
        dimensions_m: Some([length * 4 / 5, length / 5, beam / 2, beam / 2]),
        nav_status: 0,
        altitude_m: None,
        place: Place::FromOwn { at: Moment::ZERO, bearing_deg, range_nm },
        course_deg: normal_deg(lane + OFF_LANE_DEG * (2.0 * draw.even() - 1.0)),
        speed_kn: from_kn + (to_kn - from_kn) * draw.even(),
        turn_deg_min: 20.0,
        crab_deg: 0.0,
        has_heading: class == Class::A,
        legs: Vec::new(),
        silent: Vec::new(),
    }
}
