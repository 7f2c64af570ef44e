//! Ships, aids, base stations and beacons.

use super::keys::*;
use super::vessel::legs;
use crate::plan::{Aid, Base, Beacon, Class, Overboard, Place, Ship};
use crate::profile::east_north;
use form::{Key, Nested, Table, key};
use std::time::Duration;
use terms::{Mmsi, Moment, Position, Station};

/// The most ships: four times the busiest strait planned for.
pub const MOST_SHIPS: usize = 4_000;

const SHIP: Key<Nested> = key("ship", "a ship or aircraft that sends AIS").most(MOST_SHIPS);
const SHIP_CLASS: Key<Class> = CLASS.needed();
const SHIP_COURSE: Key<f64> = COURSE.needed();
const SHIP_SPEED: Key<f64> = SPEED.needed();
/// Of search and rescue aircraft (ITU-R M.1371-5, message 9).
const AIRCRAFT_SPEED: Key<f64> = SHIP_SPEED.within("0", "1022");
const AIRCRAFT_LEG_SPEED: Key<f64> = SPEED.within("0", "1022");
const CALL_SIGN: Key<SixBit> = key("call_sign", "her call sign").example("MWTCH").most(7);
const DESTINATION: Key<SixBit> = key("destination", "where she says that she goes").most(20);
const SHIP_TYPE: Key<u8> = key("ship_type", "type of ship as AIS numbers it");
const IMO: Key<u32> = key("imo", "her IMO number").within("1", "999999999");
const DRAUGHT: Key<f64> = key("draught_m", "her draught in metres").within("0", "25.5");
const ALTITUDE: Key<u16> = key("altitude_m", "an aircraft's altitude in metres").within("0", "4095");
const SHIP_TURN: Key<f64> = TURN.or("30").within("1", "720");
const CRAB: Key<f64> = key("crab_deg", "bow less course, in degrees").or("0").within("-360", "360");
const HAS_HEADING: Key<bool> = key("has_heading", "she sends her heading; class A does by default");
const PLACE: Key<Nested> =
    key("place", "where she is at one moment: `position`, or `bearing_deg` and `range_nm`").needed();
const PLACE_AT: Key<Moment> = key("at", "when she is there").or("0:00");
const PLACE_POSITION: Key<Position> = key("position", "where");
const BEARING: Key<f64> = key("bearing_deg", "from own vessel then, in degrees").within("0", "360");
const PLACE_RANGE: Key<f64> = key("range_nm", "from own vessel then, in miles").within("0", "500");
const AID: Key<Nested> = key("aid", "an aid to navigation").most(500);
// Twenty letters, and fourteen more in the extension (ITU-R M.1371-5, annex 8, 3.19).
const AID_NAME: Key<SixBit> = SENT_NAME.needed().most(34);
const AID_MMSI: Key<Mmsi> = MMSI.example("992320001");
const AID_TYPE: Key<u8> = key("aid_type", "its type as AIS numbers it").or("0").within("0", "31");
const VIRTUAL: Key<bool> = key("virtual_aid", "it is not really there").or("false");
const OFF_POSITION: Key<bool> = key("off_position", "it has dragged").or("false");
const BASE: Key<Nested> = key("base", "a base station").most(500);
const BASE_MMSI: Key<Mmsi> = MMSI.example("002320001");
const BEACON: Key<Nested> = key("beacon", "a beacon worn aboard").most(500);
const TEST: Key<Nested> = key("test", "a test aboard: one burst").most(100);
const BEACON_MMSI: Key<Mmsi> = MMSI.example("972000001");
const BEACON_RANGE: Key<f64> = RANGE.or("4").within("0.1", "100");
const ERROR: Key<f64> = key("position_error_m", "error of its positions, root mean square, in metres")
    .or("10")
    .within("0", "1000");
const OVERBOARD: Key<Nested> = key("overboard", "its wearer goes over the side");
const ACTIVATION: Key<Duration> = time("activation", "from the fall to the first burst", "5 s");
const FIRST_FIX: Key<Duration> = time("first_fix", "from the first burst to the first position", "60 s");
const SWITCHED_OFF: Key<Moment> = key("until", "when it is switched off");

/// Ships and aircraft.
pub fn ships(root: &mut Table<'_>) -> Vec<Ship> {
    root.tables(&SHIP).into_iter().filter_map(ship).collect()
}

fn ship(mut t: Table<'_>) -> Option<Ship> {
    let (mmsi, class) = (t.take(&MMSI), t.take(&SHIP_CLASS));
    if let Some(mmsi) = mmsi {
        t.once(&MMSI, "ship", &mmsi.to_string());
    }
    let aircraft = class == Some(Class::SearchAircraft);
    let course_deg = t.take(&SHIP_COURSE);
    let speed_kn = if aircraft { t.take(&AIRCRAFT_SPEED) } else { t.take(&SHIP_SPEED) };
    let place = t.table(&PLACE).and_then(place);
    let (name, call_sign, destination) = (t.take(&SENT_NAME), t.take(&CALL_SIGN), t.take(&DESTINATION));
    let (ship_type, imo, draught_m) = (t.take(&SHIP_TYPE), t.take(&IMO), t.take(&DRAUGHT));
    let (dimensions, nav_status, altitude_m) = (t.take(&DIMENSIONS), t.take(&NAV_STATUS), t.take(&ALTITUDE));
    let (turn_deg_min, crab_deg) = (t.take(&SHIP_TURN), t.take(&CRAB));
    let has_heading = t.take(&HAS_HEADING).unwrap_or(class == Some(Class::A));
    let legs = legs(&mut t, if aircraft { &AIRCRAFT_LEG_SPEED } else { &SPEED }, None);
    let silent = spans(&mut t, &SILENT);
    Some(Ship {
        mmsi: mmsi?,
        class: class?,
        name: name.map(|n| n.0),
        call_sign: call_sign.map(|c| c.0),
        ship_type,
        imo,
        destination: destination.map(|d| d.0),
        draught_m,
        dimensions_m: dimensions.map(|d| d.0),
        nav_status: nav_status?,
        altitude_m,
        place: place?,
        course_deg: course_deg?,
        speed_kn: speed_kn?,
        turn_deg_min: turn_deg_min?,
        crab_deg: crab_deg?,
        has_heading,
        legs,
        silent,
    })
}

/// Where a ship is at one moment: a position, or bearing and range from own vessel.
fn place(mut t: Table<'_>) -> Option<Place> {
    let (at, position) = (t.take(&PLACE_AT), t.take(&PLACE_POSITION));
    let (bearing, range) = (t.take(&BEARING), t.take(&PLACE_RANGE));
    let (bears, ranges) = (t.has(&BEARING), t.has(&PLACE_RANGE));
    if t.has(&PLACE_POSITION) == (bears || ranges) || bears != ranges {
        t.wrong_at(
            t.span(),
            "`place` has either `position`, or `bearing_deg` and `range_nm` from own vessel",
        );
    }
    match (position, bearing, range) {
        (Some(position), ..) => Some(Place::At { at: at?, position }),
        (None, bearing, range) => Some(Place::FromOwn { at: at?, bearing_deg: bearing?, range_nm: range? }),
    }
}

/// Aids to navigation.
pub fn aids(root: &mut Table<'_>) -> Vec<Aid> {
    let aid = |mut t: Table<'_>| {
        let mmsi = t.take(&AID_MMSI);
        if mmsi.is_some_and(|m| m.station() != Station::Aton) {
            t.wrong(&AID_MMSI, "an aid to navigation has an identity of the form 99MIDxxxx");
        }
        let (name, position, aid_type) = (t.take(&AID_NAME), t.take(&POSITION), t.take(&AID_TYPE));
        let (virtual_aid, off_position) = (t.take(&VIRTUAL), t.take(&OFF_POSITION));
        let dimensions_m = t.take(&DIMENSIONS).map(|d| d.0);
        let (mmsi, name, position, aid_type) = (mmsi?, name?.0, position?, aid_type?);
        let (virtual_aid, off_position) = (virtual_aid?, off_position?);
        Some(Aid { mmsi, name, aid_type, position, virtual_aid, off_position, dimensions_m })
    };
    root.tables(&AID).into_iter().filter_map(aid).collect()
}

/// Base stations.
pub fn bases(root: &mut Table<'_>) -> Vec<Base> {
    let base = |mut t: Table<'_>| {
        let (mmsi, position) = (t.take(&BASE_MMSI), t.take(&POSITION));
        if mmsi.is_some_and(|m| m.station() != Station::Base) {
            t.wrong(&BASE_MMSI, "a base station has an identity of the form 00MIDxxxx");
        }
        Some(Base { mmsi: mmsi?, position: position? })
    };
    root.tables(&BASE).into_iter().filter_map(base).collect()
}

/// Beacons worn aboard.
pub fn beacons(root: &mut Table<'_>) -> Vec<Beacon> {
    let beacon = |mut t: Table<'_>| {
        let (mmsi, name) = (t.take(&BEACON_MMSI), t.take(&NAME));
        if mmsi.is_some_and(|m| !m.is_beacon()) {
            t.wrong(&BEACON_MMSI, "a beacon has an identity that begins with 970, 972 or 974");
        }
        let tests = t.tables(&TEST).into_iter().filter_map(|mut test| test.take(&AT)).collect();
        let (range_nm, position_error_m) = (t.take(&BEACON_RANGE), t.take(&ERROR));
        let overboard = t.table(&OVERBOARD).and_then(overboard);
        let (mmsi, name, range_nm, position_error_m) = (mmsi?, name?.0, range_nm?, position_error_m?);
        Some(Beacon { mmsi, name, tests, overboard, range_nm, position_error_m })
    };
    root.tables(&BEACON).into_iter().filter_map(beacon).collect()
}

fn overboard(mut t: Table<'_>) -> Option<Overboard> {
    let (at, set, drift) = (t.take(&AT), t.take(&SET), t.take(&DRIFT));
    if set.is_some() != drift.is_some() {
        t.wrong_at(
            t.span(),
            "`set_deg` and `drift_kn` go together; without both the current and the wind carry the person",
        );
    }
    t.was("activation_s", "activation = \"5 s\"");
    t.was("first_fix_s", "first_fix = \"60 s\"");
    let (activation, first_fix, until) = (t.take(&ACTIVATION), t.take(&FIRST_FIX), t.take(&SWITCHED_OFF));
    let (silent, no_fix) = (spans(&mut t, &SILENT), spans(&mut t, &NO_FIX));
    let drift = set.zip(drift).map(|(set, drift)| east_north(set, drift));
    Some(Overboard { at: at?, drift, activation: activation?, first_fix: first_fix?, until, silent, no_fix })
}
