//! Many ships at once, for a busy strait: drawn from the scenario's seed, each on a lane's course.

use super::stations::MOST_SHIPS;
use crate::plan::{Class, Place, Ship};
use crate::random::Stream;
use form::{Key, Nested, Table, key};
use std::collections::BTreeSet;
use terms::{Mmsi, Moment, Station, normal_deg};

/// A ship keeps to her lane's course within this much.
const OFF_LANE_DEG: f64 = 8.0;

const TRAFFIC: Key<Nested> = key("traffic", "many ships at once").most(20);
const COUNT: Key<u32> = key("count", "how many").needed().within("1", "4000");
const FIRST: Key<Mmsi> =
    key("first_mmsi", "the identity of the first; the others count on").needed().example("538000001");
const WITHIN: Key<f64> = key("within_nm", "how far from own vessel at most").needed().within("0.1", "200");
const LANES: Key<f64> = key("lanes_deg", "courses of the lanes").needed().within("0", "360").most(16);
const SLOWEST: Key<f64> = key("slowest_kn", "the speed of the slowest").or("6").within("0", "60");
const FASTEST: Key<f64> = key("fastest_kn", "the speed of the fastest").or("20").within("0", "60");
const CLASS_B: Key<f64> = key("class_b", "share of ships of class B").or("0").within("0", "1");

/// Adds the ships of every `[[traffic]]`, up to the most of a scenario.
pub fn crowds(root: &mut Table<'_>, ships: &mut Vec<Ship>, seed: u64) {
    for (n, t) in root.tables(&TRAFFIC).into_iter().enumerate() {
        crowd(t, ships, Stream::named(seed, &format!("traffic {n}")));
    }
}

fn crowd(mut t: Table<'_>, ships: &mut Vec<Ship>, mut draw: Stream) -> Option<()> {
    let (count, first, within_nm) = (t.take(&COUNT), t.take(&FIRST), t.take(&WITHIN));
    let (lanes, class_b) = (t.list(&LANES), t.take(&CLASS_B));
    let (slowest, fastest) = (t.take(&SLOWEST), t.take(&FASTEST));
    if slowest.zip(fastest).is_some_and(|(slowest, fastest)| fastest < slowest) {
        t.wrong_at(t.span(), "`fastest_kn` is less than `slowest_kn`");
    }
    let identities = first.zip(count).map(|(first, count)| first.number()..first.number() + count);
    let used: BTreeSet<u32> = ships.iter().map(|s| s.mmsi.number()).collect();
    for number in identities.iter().flat_map(|range| [range.start, range.end.saturating_sub(1)]) {
        if Mmsi::new(number).is_none_or(|m| m.station() != Station::Vessel) {
            t.wrong(&FIRST, format!("{number} would be no ship's identity"));
        }
    }
    if identities.iter().any(|range| used.range(range.clone()).next().is_some()) {
        t.wrong(&FIRST, "one of these identities is a ship's already");
    }
    let room = MOST_SHIPS.saturating_sub(ships.len());
    if count.is_some_and(|count| count as usize > room) {
        t.wrong(&COUNT, format!("a scenario has at most {MOST_SHIPS} ships"));
    }
    let (within_nm, lanes, class_b, speeds) = (within_nm?, lanes?, class_b?, [slowest?, fastest?]);
    for mmsi in identities?.filter_map(Mmsi::new).take(room) {
        ships.push(ship(mmsi, &mut draw, within_nm, &lanes, speeds, class_b));
    }
    Some(())
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
