//! Ships, aids, base stations and beacons.

use super::table::Table;
use super::vessel::{legs, spans};
use crate::plan::{Aid, Base, Beacon, Class, Overboard, Place, Ship};
use crate::profile::east_north;
use std::collections::BTreeSet;
use std::time::Duration;
use terms::{Moment, Station};

/// The most ships: four times the busiest strait that is planned for.
pub const MOST_SHIPS: usize = 4_000;
/// The most aids, bases and beacons each.
const MOST_FIXED: usize = 500;
/// The most tests of one beacon.
const MOST_TESTS: usize = 100;

/// Ships and aircraft.
pub fn ships(root: &mut Table<'_>) -> Vec<Ship> {
    let mut ships = Vec::new();
    let mut known = BTreeSet::new();
    for t in root.tables("ship", MOST_SHIPS) {
        let span = t.span_of("mmsi");
        let Some(ship) = ship(t) else { continue };
        if !known.insert(ship.mmsi) {
            root.tell(span, format!("there is a ship {} already", ship.mmsi));
        }
        ships.push(ship);
    }
    ships
}

fn ship(mut t: Table<'_>) -> Option<Ship> {
    t.needs(&["mmsi", "class", "course_deg", "speed_kn"]);
    let (mmsi, class) = (t.mmsi("mmsi"), t.choice("class", &Class::ALL));
    let most_kn = if class == Some(Class::SearchAircraft) { 1_022.0 } else { 102.2 };
    let (course_deg, speed_kn) = (t.number("course_deg", 0.0..=360.0), t.number("speed_kn", 0.0..=most_kn));
    let place = place(&mut t);
    let (name, call_sign) = (t.ais_text("name", 20), t.ais_text("call_sign", 7));
    let destination = t.ais_text("destination", 20);
    let ship_type = t.whole("ship_type", 0..=255).map(|n| n as u8);
    let imo = t.whole("imo", 1..=999_999_999).map(|n| n as u32);
    let draught_m = t.number("draught_m", 0.0..=25.5);
    let dimensions_m = t.dimensions("dimensions_m");
    let nav_status = t.whole("nav_status", 0..=15).unwrap_or(0) as u8;
    let altitude_m = t.whole("altitude_m", 0..=4_095).map(|n| n as u16);
    let turn_deg_min = t.number("turn_deg_min", 1.0..=720.0).unwrap_or(30.0);
    let crab_deg = t.number("crab_deg", -360.0..=360.0).unwrap_or(0.0);
    let has_heading = t.flag("has_heading").unwrap_or(class == Some(Class::A));
    let legs = legs(&mut t, most_kn, None);
    let silent = spans(&mut t, "silent");
    t.finish();
    let (mmsi, class, course_deg, speed_kn, place) = (mmsi?, class?, course_deg?, speed_kn?, place?);
    Some(Ship {
        mmsi,
        class,
        name,
        call_sign,
        ship_type,
        imo,
        destination,
        draught_m,
        dimensions_m,
        nav_status,
        altitude_m,
        place,
        course_deg,
        speed_kn,
        turn_deg_min,
        crab_deg,
        has_heading,
        legs,
        silent,
    })
}

/// Where a ship is at one moment: a position, or bearing and range from own vessel.
fn place(ship: &mut Table<'_>) -> Option<Place> {
    ship.needs(&["place"]);
    let mut t = ship.table("place")?;
    let at = if t.has("at") { t.moment("at") } else { Some(Moment::ZERO) };
    let position = t.position("position");
    let (bearing, range) = (t.number("bearing_deg", 0.0..=360.0), t.number("range_nm", 0.0..=500.0));
    let from_own = t.has("bearing_deg") && t.has("range_nm");
    if t.has("position") == (t.has("bearing_deg") || t.has("range_nm")) || !(t.has("position") || from_own) {
        t.tell(t.span(), "place has either position, or bearing_deg and range_nm from own vessel");
    }
    let at_position = at.zip(position).map(|(at, position)| Place::At { at, position });
    let place = at_position.or_else(|| {
        let ((at, bearing_deg), range_nm) = at.zip(bearing).zip(range)?;
        Some(Place::FromOwn { at, bearing_deg, range_nm })
    });
    t.finish();
    place
}

/// Aids to navigation.
pub fn aids(root: &mut Table<'_>) -> Vec<Aid> {
    let mut aids = Vec::new();
    for mut t in root.tables("aid", MOST_FIXED) {
        t.needs(&["mmsi", "name", "position"]);
        let mmsi = t.mmsi("mmsi");
        if mmsi.is_some_and(|m| m.station() != Station::Aton) {
            t.tell(t.span_of("mmsi"), "an aid to navigation has an identity of the form 99MIDxxxx");
        }
        // Twenty letters, and fourteen more in the extension (ITU-R M.1371-5, annex 8, 3.19).
        let (name, position) = (t.ais_text("name", 34), t.position("position"));
        let aid_type = t.whole("aid_type", 0..=31).unwrap_or(0) as u8;
        let virtual_aid = t.flag("virtual_aid").unwrap_or(false);
        let off_position = t.flag("off_position").unwrap_or(false);
        let dimensions_m = t.dimensions("dimensions_m");
        t.finish();
        let (Some(mmsi), Some(name), Some(position)) = (mmsi, name, position) else { continue };
        aids.push(Aid { mmsi, name, aid_type, position, virtual_aid, off_position, dimensions_m });
    }
    aids
}

/// Base stations.
pub fn bases(root: &mut Table<'_>) -> Vec<Base> {
    let mut bases = Vec::new();
    for mut t in root.tables("base", MOST_FIXED) {
        t.needs(&["mmsi", "position"]);
        let (mmsi, position) = (t.mmsi("mmsi"), t.position("position"));
        if mmsi.is_some_and(|m| m.station() != Station::Base) {
            t.tell(t.span_of("mmsi"), "a base station has an identity of the form 00MIDxxxx");
        }
        t.finish();
        bases.extend(mmsi.zip(position).map(|(mmsi, position)| Base { mmsi, position }));
    }
    bases
}

/// Beacons worn aboard.
pub fn beacons(root: &mut Table<'_>) -> Vec<Beacon> {
    let mut beacons = Vec::new();
    for mut t in root.tables("beacon", MOST_FIXED) {
        t.needs(&["mmsi", "name"]);
        let (mmsi, name) = (t.mmsi("mmsi"), t.text("name", 60));
        if mmsi.is_some_and(|m| !m.is_beacon()) {
            t.tell(t.span_of("mmsi"), "a beacon has an identity that begins with 970, 972 or 974");
        }
        let mut tests = Vec::new();
        for mut test in t.tables("test", MOST_TESTS) {
            test.needs(&["at"]);
            tests.extend(test.moment("at"));
            test.finish();
        }
        let range_nm = t.number("range_nm", 0.1..=100.0).unwrap_or(4.0);
        let position_error_m = t.number("position_error_m", 0.0..=1_000.0).unwrap_or(10.0);
        let overboard = t.table("overboard").and_then(overboard);
        t.finish();
        let (Some(mmsi), Some(name)) = (mmsi, name) else { continue };
        beacons.push(Beacon { mmsi, name: name.to_owned(), tests, overboard, range_nm, position_error_m });
    }
    beacons
}

fn overboard(mut t: Table<'_>) -> Option<Overboard> {
    t.needs(&["at"]);
    let at = t.moment("at");
    let (set, drift) = (t.number("set_deg", 0.0..=360.0), t.number("drift_kn", 0.0..=15.0));
    if set.is_some() != drift.is_some() {
        t.tell(
            t.span(),
            "set_deg and drift_kn go together; without both the current and the wind carry the person",
        );
    }
    let activation = t.seconds("activation_s", 0.0..=86_400.0).unwrap_or(Duration::from_secs(5));
    let first_fix = t.seconds("first_fix_s", 0.0..=86_400.0).unwrap_or(Duration::from_secs(60));
    let until = if t.has("until") { t.moment("until") } else { None };
    let (silent, no_fix) = (spans(&mut t, "silent"), spans(&mut t, "no_fix"));
    t.finish();
    let drift = set.zip(drift).map(|(set, drift)| east_north(set, drift));
    Some(Overboard { at: at?, drift, activation, first_fix, until, silent, no_fix })
}
