//! Beacon sentences from the open test suites of libais and pyais, decoded there by two libraries.

use crate::support::{ais, near};
use sentence::ais::PositionSource;
use sentence::{FramerOptions, Sentence};
use terms::{Mmsi, Station};

#[test]
fn texts_of_beacons() {
    for (line, mmsi, station, text) in [
        ("!AIVDM,1,1,,A,>>M@rl1<59B1@E=@0000000,2*0D", 970_210_000, Station::Sart, "SART TEST"),
        ("!AIVDM,1,1,,B,>>M4fWA<59B1@E=@,0*17", 970_010_269, Station::Sart, "SART TEST"),
        ("!AIVDM,1,1,,A,>>QK2khE0U8:1@E=@0,4*52", 974_570_191, Station::Epirb, "EPIRB TEST"),
        ("!AIVDM,1,1,,A,>>O5`4tlt:1@E=@,2*15", 972_122_131, Station::Mob, "MOB TEST"),
    ] {
        let report = ais(line);
        assert_eq!(report.message, 14);
        assert_eq!(report.mmsi.number(), mmsi);
        assert_eq!(report.station, station);
        assert_eq!(report.text.as_deref(), Some(text));
    }
}

#[test]
fn a_safety_text_of_a_ship() {
    let report = ais("!AIVDM,1,1,,A,>5?Per18=HB1U:1@E=B0m<L,2*51");
    assert_eq!((report.mmsi.number(), report.text.as_deref()), (351_809_000, Some("RCVD YR TEST MSG")));
    assert!(!report.mmsi.is_beacon());
}

#[test]
fn positions_of_beacons() {
    let r = ais("!AIVDM,1,1,,B,1>O5`4wP01:F?39b6mD>4?w81P00,0*0D");
    assert_eq!((r.mmsi.number(), r.nav_status, r.sog_kn), (972_122_131, Some(15), Some(0.1)));
    assert!(near(r.position.map(|p| p.latitude_deg()), -38.2612, 1e-4));
    assert!(near(r.position.map(|p| p.longitude_deg()), 144.66747, 1e-5));

    let r = ais("!AIVDM,1,1,,A,1>MA2GOP000jHb@LBhAtsOwt1P00,0*72");
    assert_eq!((r.mmsi.number(), r.nav_status, r.cog_deg), (970_211_933, Some(15), Some(330.9)));
    assert_eq!((r.utc_second, r.position_source), (None, Some(PositionSource::DeadReckoning)));
    assert!(near(r.position.map(|p| p.latitude_deg()), 49.44567, 1e-5));
    assert!(near(r.position.map(|p| p.longitude_deg()), 11.00684, 1e-5));

    let r = ais("!AIVDM,1,1,,B,1>M46P>P00Os:IfM5ITf4?w60<00,0*37");
    assert_eq!((r.mmsi.number(), r.nav_status), (970_000_000, Some(14)));
    assert!(near(r.position.map(|p| p.latitude_deg()), 50.82862, 1e-5));
    assert!(near(r.position.map(|p| p.longitude_deg()), -1.05676, 1e-5));
}

#[test]
fn ships_of_the_open_test_suites() {
    let r = ais("!AIVDM,1,1,,B,177KQJ5000G?tO`K>RA1wUbN0TKH,0*5C");
    assert_eq!((r.mmsi.number(), r.nav_status, r.heading_deg), (477_553_000, Some(5), Some(181)));
    assert_eq!((r.cog_deg, r.channel, r.station), (Some(51.0), Some('B'), Station::Vessel));
    assert!(near(r.position.map(|p| p.latitude_deg()), 47.58283, 1e-5));
    assert!(near(r.position.map(|p| p.longitude_deg()), -122.34583, 1e-5));

    let r = ais("!AIVDM,1,1,,A,15N1u<PP1FJuvSRHOE6QIwwh0HQ6,0*30");
    assert_eq!((r.mmsi.number(), r.sog_kn, r.cog_deg), (367_033_650, Some(8.6), Some(35.9)));
    assert_eq!(r.heading_deg, None);
}

#[test]
fn beacons_crew_and_distress_calls_are_urgent() {
    let urgent = |line: &str, crew: &[u32]| {
        let crew: Vec<Mmsi> = crew.iter().filter_map(|&n| Mmsi::new(n)).collect();
        Sentence::check(line.as_bytes(), &FramerOptions::default()).unwrap().is_urgent(&crew)
    };
    assert!(urgent("!AIVDM,1,1,,A,>>O5`4tlt:1@E=@,2*15", &[]));
    assert!(urgent("!AIVDM,1,1,,B,1>M46P>P00Os:IfM5ITf4?w60<00,0*37", &[]));
    let ship = "!AIVDM,1,1,,B,177KQJ5000G?tO`K>RA1wUbN0TKH,0*5C";
    assert!(!urgent(ship, &[]) && !urgent(ship, &[123]) && urgent(ship, &[477_553_000]));
    assert!(urgent("$CVDSC,12,3601234560,12,05,00,1474712519,0817,,,S,E,*51", &[]));
    assert!(urgent("$CDDSE,1,1,A,3380400790,00,45894494*1B", &[]));
    assert!(!urgent("$HEHDT,119.9,T*2F", &[]));
}

#[test]
fn the_first_42_bits_are_enough_for_a_beacon() {
    // The seven first characters of the 970000000 above, by the same bit tables: type, identity and status are whole.
    let r = ais(&crate::support::sealed("!AIVDM,1,1,,B,1>M46P>,0"));
    assert_eq!((r.mmsi.number(), r.nav_status), (970_000_000, Some(14)));
    assert_eq!((r.position, r.sog_kn, r.cog_deg, r.utc_second), (None, None, None, None));
}
