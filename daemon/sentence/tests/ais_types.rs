//! Every AIS type that is read in content: sentences from the test suites of pyais (MIT) and libais (Apache-2.0), with
//! the values that both libraries give, and the special values of ITU-R M.1371-5.

use crate::support::{ais, last, near, sealed};
use sentence::ais::{AisReport, Eta, PositionSource};
use sentence::{Report, encode};
use terms::{Mmsi, Position, Station, Utc};

fn at(report: &AisReport, latitude_deg: f64, longitude_deg: f64) -> bool {
    near(report.position.map(Position::latitude_deg), latitude_deg, 1e-6)
        && near(report.position.map(Position::longitude_deg), longitude_deg, 1e-6)
}

#[test]
fn base_stations_4_and_11() {
    let r = ais("!AIVDM,1,1,,A,402=3g1uiposjOP71jSQ1sA026sd,0*03");
    assert_eq!((r.mmsi.number(), r.station, r.raim_flag), (2_311_100, Station::Base, Some(true)));
    assert_eq!(r.utc, Utc::parse("2012-07-17T23:59:50Z"));
    assert!(at(&r, 62.068875, -6.966518));
    // No date, and yet a position.
    let r = ais("!AIVDM,1,1,,A,402M3b@000Htt0K0Q0R3T<700t24,0*52");
    assert!(r.utc.is_none() && at(&r, 59.516667, 5.9));
    let r = ais("!AIVDM,1,1,,A,;3P<f6iuiq00aOUu8DOD@j100000,0*44");
    assert_eq!((r.message, r.mmsi.number(), r.utc), (11, 235_089_435, Utc::parse("2012-07-18T00:00:41Z")));
    assert!(at(&r, 54.72972, -5.689583));
}

#[test]
fn voyage_5() {
    let Ok(Report::Ais(r)) = last(&[
        "!AIVDM,2,1,1,A,55?MbV02;H;s<HtKR20EHE:0@T4@Dn2222222216L961O5Gf0NSQEp6ClRp8,0*1C",
        "!AIVDM,2,2,1,A,88888888880,2*25",
    ]) else {
        panic!()
    };
    assert_eq!((r.mmsi.number(), r.imo, r.ship_type), (351_759_000, Some(9_134_270), Some(70)));
    assert_eq!((r.name.as_deref(), r.call_sign.as_deref()), (Some("EVER DIADEM"), Some("3FOF8")));
    assert_eq!((r.destination.as_deref(), r.draught_m), (Some("NEW YORK"), Some(12.2)));
    assert_eq!(r.eta, Some(Eta { month: 5, day: 15, hour: Some(14), minute: Some(0) }));
    let size = [r.dimension_a_m, r.dimension_b_m, r.dimension_c_m, r.dimension_d_m];
    assert_eq!(size, [Some(225), Some(70), Some(1), Some(31)]);

    // Its checksum is wrong in the source.
    let r = ais(&sealed(
        "!AIVDM,1,1,,B,53ktrJ82>ia4=50<0020<5=@Dhv0t8T@u<0000001PV854Si0;mR@CPH13p0hDm1C3h0000,2",
    ));
    assert_eq!((r.name.as_deref(), r.ship_type, r.draught_m), (Some("CASTELO OBIDOS"), None, Some(4.7)));
    assert_eq!(r.eta, Some(Eta { month: 2, day: 7, hour: Some(17), minute: Some(0) }));
}

#[test]
fn search_aircraft_9() {
    let r = ais("!AIVDM,1,1,,A,91b55vRCQvOo4PLLww<3cGh20@Br,0*79");
    assert_eq!((r.mmsi.number(), r.station), (111_232_506, Station::SarAircraft));
    assert_eq!(
        (r.altitude_m, r.sog_kn, r.cog_deg, r.utc_second),
        (Some(590), Some(126.0), Some(94.1), Some(31))
    );
    assert_eq!((r.position_accurate, r.raim_flag), (Some(false), Some(false)));
    assert!(at(&r, 50.680827, -1.950697));
    let r = ais("!AIVDM,1,1,,B,9oVAuAI5;rRRv2OqTi?1uoP?=a@1,0*74");
    assert_eq!((r.repeat, r.altitude_m, r.sog_kn, r.raim_flag), (3, Some(2324), Some(762.0), Some(true)));
    assert!(at(&r, -11.22934, 35.601198));
}

#[test]
fn addressed_text_12() {
    let r = ais("!AIVDM,1,1,,A,<42Lati0W:Ov=C7P6B?=Pjoihhjhqq0,2*2B");
    assert_eq!((r.mmsi.number(), r.addressee), (271_002_099, Mmsi::new(271_002_111)));
    assert_eq!(r.text.as_deref(), Some("MSG FROM 271002099"));
    // The last character is cut short by the end of the message; libais leaves it out too.
    let r = ais("!AIVDM,1,1,,A,<so<bfHBtM:rkh,4*42");
    assert_eq!((r.addressee, r.text.as_deref()), (Mmsi::new(79_459_502), Some("3")));
}

#[test]
fn class_b_18_and_19() {
    let r = ais("!AIVDM,1,1,,A,B5NWV1P0<vSE=I3QdK4bGwoUoP06,0*4F");
    assert_eq!((r.mmsi.number(), r.class_b, r.raim_flag), (367_650_310, true, Some(true)));
    assert_eq!((r.sog_kn, r.cog_deg, r.heading_deg, r.utc_second), (Some(5.1), Some(67.7), None, Some(47)));
    assert!(at(&r, 24.651815, -80.975063));
    // Everything not available.
    let r = ais(&sealed("!AIVDM,1,1,,A,B69A5U@3wk?8mP=18D3Q3wSRPD00,0"));
    assert_eq!((r.sog_kn, r.cog_deg, r.heading_deg, r.position), (None, None, None, None));

    let r = ais("!AIVDM,1,1,,B,C5N3SRgPEnJGEBT>NhWAwwo862PaLELTBJ:V00000000S0D:R220,0*0B");
    assert_eq!((r.name.as_deref(), r.ship_type), (Some("CAPT.J.RIMES"), Some(70)));
    assert_eq!((r.sog_kn, r.cog_deg, r.heading_deg, r.utc_second), (Some(8.7), Some(335.9), None, Some(46)));
    let size = [r.dimension_a_m, r.dimension_b_m, r.dimension_c_m, r.dimension_d_m];
    assert_eq!(size, [Some(5), Some(21), Some(4), Some(4)]);
    assert!(at(&r, 29.543695, -88.810392));
}

#[test]
fn aids_21() {
    let r = ais("!AIVDM,1,1,,B,E>jHDL1W73nWaanah7S39T7a2h;wror=@5nL`A2AISd002CQ1PDS@0,4*39");
    assert_eq!((r.station, r.aid_type, r.virtual_aid), (Station::Aton, Some(3), Some(false)));
    assert_eq!(r.name.as_deref(), Some("NNG-OSS-S OFFSHORE WINDFARM"));
    assert_eq!((r.off_position, r.utc_second), (Some(false), Some(24)));
    assert!(at(&r, 56.243582, -2.239765));
    let r = ais("!AIVDM,1,1,,,ENjV2Bw0`bPQbV::a2hJ00000000L7kPBmfv@1088;v0@,2*20");
    assert_eq!((r.name.as_deref(), r.aid_type), (Some("AQUACULTURE 4"), Some(30)));
    assert_eq!((r.off_position, r.position_source), (None, Some(PositionSource::None)));
}

#[test]
fn static_parts_24() {
    let r = ais("!AIVDM,1,1,,A,H44cj<0DdvlHhuB222222222220,2*46");
    assert_eq!((r.part, r.name.as_deref(), r.mmsi.number()), (Some('A'), Some("EKO-FLOT"), 273_347_120));
    let r = ais("!AIVDM,1,1,,A,H3n6rc4TCBD5PRV<7@2000203330,0*18");
    assert_eq!((r.part, r.call_sign.as_deref(), r.ship_type), (Some('B'), Some("LGPB"), Some(36)));
    let size = [r.dimension_a_m, r.dimension_b_m, r.dimension_c_m, r.dimension_d_m];
    assert_eq!(size, [Some(16), Some(3), Some(3), Some(3)]);
}

#[test]
fn a_craft_of_a_parent_ship_has_a_parent_and_no_size() {
    // By the table of message 24 part B: an identity 98MID carries its parent's in place of dimensions.
    let mut craft = AisReport::new(24, 0, Mmsi::new(982_351_234).unwrap());
    (craft.part, craft.mother_ship) = (Some('B'), Mmsi::new(235_089_435));
    let lines = encode::ais(&craft, "AI", 'A', 0);
    let r = ais(&lines[0]);
    assert_eq!((r.station, r.mother_ship), (Station::AssociatedCraft, Mmsi::new(235_089_435)));
    assert_eq!(
        (r.dimension_a_m, r.dimension_b_m, r.dimension_c_m, r.dimension_d_m),
        (None, None, None, None)
    );
    // The same bits of an ordinary ship are dimensions, and no parent.
    let mut ship = craft.clone();
    (ship.mmsi, ship.station) = (Mmsi::new(235_089_435).unwrap(), Station::Vessel);
    (ship.dimension_a_m, ship.dimension_b_m) = (Some(10), Some(2));
    let r = ais(&encode::ais(&ship, "AI", 'A', 0)[0]);
    assert_eq!((r.mother_ship, r.dimension_a_m, r.dimension_c_m), (None, Some(10), None));
}

#[test]
fn long_range_27() {
    let r = ais("!ABVDM,1,1,,B,K5DfMB9FLsM?P00d,0*7B");
    assert_eq!((r.mmsi.number(), r.nav_status), (357_277_000, Some(5)));
    assert_eq!((r.sog_kn, r.cog_deg, r.position_accurate), (Some(0.0), Some(11.0), Some(true)));
    assert!(at(&r, -37.653333, 176.181667));
}

/// A message of the given fields, (length in bits, value), as one VDM sentence.
fn made(fields: &[(usize, u64)]) -> String {
    let mut bits = String::new();
    for &(length, value) in fields {
        bits.push_str(&format!("{value:0length$b}"));
    }
    let fill = (6 - bits.len() % 6) % 6;
    bits.push_str(&"0".repeat(fill));
    let payload: String = bits
        .as_bytes()
        .chunks(6)
        .map(|six| {
            let value = six.iter().fold(0, |v, b| v << 1 | (b - b'0'));
            (if value < 40 { value + 48 } else { value + 56 }) as char
        })
        .collect();
    sealed(&format!("!AIVDM,1,1,,A,{payload},{fill}"))
}

/// Special values of the fields of message 1, ITU-R M.1371-5 annex 8 table 48.
#[test]
fn special_values_of_a_position_report() {
    const LAT: u64 = 30_000_000;
    const LON: u64 = 6_000_000;
    let report =
        |rot: u64, sog: u64, lon: u64, lat: u64, cog: u64, heading: u64, second: u64, manoeuvre: u64| {
            ais(&made(&[
                (6, 1),
                (2, 0),
                (30, 366_053_209),
                (4, 0),
                (8, rot),
                (10, sog),
                (1, 1),
                (28, lon),
                (27, lat),
                (12, cog),
                (9, heading),
                (6, second),
                (2, manoeuvre),
                (3, 0),
                (1, 1),
                (19, 0),
            ]))
        };
    let good = report(0, 100, LON, LAT, 900, 90, 30, 2);
    assert!(at(&good, 50.0, 10.0));
    assert_eq!((good.rate_of_turn_deg_min, good.sog_kn, good.cog_deg), (Some(0.0), Some(10.0), Some(90.0)));
    assert_eq!((good.heading_deg, good.utc_second, good.raim_flag), (Some(90), Some(30), Some(true)));
    assert_eq!(good.special_manoeuvre, Some(true));

    let turn = |raw: i32| report(raw as u8 as u64, 0, LON, LAT, 0, 0, 0, 0).rate_of_turn_deg_min;
    // ROTais = 4.733·√ROT: raw −8 is −2.86° a minute.
    assert!(near(turn(-8), -2.857, 0.001) && near(turn(126), 708.7, 0.1));
    assert_eq!((turn(-128), turn(127), turn(-127)), (None, None, None));

    let speed = |raw| report(0, raw, LON, LAT, 0, 0, 0, 0).sog_kn;
    assert_eq!((speed(1021), speed(1022), speed(1023)), (Some(102.1), Some(102.2), None));
    let course = |raw| report(0, 0, LON, LAT, raw, 0, 0, 0).cog_deg;
    assert_eq!((course(3599), course(3600), course(3601), course(4095)), (Some(359.9), None, None, None));
    let heading = |raw| report(0, 0, LON, LAT, 0, raw, 0, 0).heading_deg;
    assert_eq!((heading(359), heading(360), heading(510), heading(511)), (Some(359), None, None, None));
    let place = |lon, lat| report(0, 0, lon, lat, 0, 0, 0, 0).position;
    assert_eq!((place(0x0679_1AC0, LAT), place(LON, 0x0341_2140)), (None, None));
    assert_eq!((place(LON, 54_000_001), place(108_000_001, LAT)), (None, None));
    assert!(place(108_000_000, 54_000_000).is_some());

    let second = |raw| {
        let r = report(0, 0, LON, LAT, 0, 0, raw, 0);
        (r.utc_second, r.position_source)
    };
    assert_eq!(second(59), (Some(59), Some(PositionSource::Fix)));
    assert_eq!(second(60), (None, Some(PositionSource::None)));
    assert_eq!(second(61), (None, Some(PositionSource::Manual)));
    assert_eq!(second(62), (None, Some(PositionSource::DeadReckoning)));
    assert_eq!(second(63), (None, Some(PositionSource::Inoperative)));
    let manoeuvre = |raw| report(0, 0, LON, LAT, 0, 0, 0, raw).special_manoeuvre;
    assert_eq!([0, 1, 2, 3].map(manoeuvre), [None, Some(false), Some(true), None]);
}

/// Each field is there from the bit on that ends it, and not before (the bit tables of M.1371-5).
#[test]
fn a_short_message_gives_the_fields_that_are_whole() {
    let whole = "177KQJ5000G?tO`K>RA1wUbN0TKH";
    let mut seen = Vec::new();
    for characters in 7..=whole.len() {
        let r = ais(&sealed(&format!("!AIVDM,1,1,,A,{},0", &whole[..characters])));
        seen.push([
            r.nav_status.is_some(),
            r.sog_kn.is_some(),
            r.position.is_some(),
            r.cog_deg.is_some(),
            r.heading_deg.is_some(),
            r.utc_second.is_some(),
            r.raim_flag.is_some(),
        ]);
    }
    let first = |field: usize| seen.iter().position(|s| s[field]).unwrap() + 7;
    let ends = [42, 60, 116, 128, 137, 143, 149usize];
    assert_eq!([0, 1, 2, 3, 4, 5, 6].map(first), ends.map(|bits| bits.div_ceil(6)));
    // Message 9 goes through the library, which takes missing bits for zeros.
    let whole = "91b55vRCQvOo4PLLww<3cGh20@Br";
    for characters in 7..=whole.len() {
        let r = ais(&sealed(&format!("!AIVDM,1,1,,A,{},0", &whole[..characters])));
        let there = [
            r.altitude_m.is_some(),
            r.sog_kn.is_some(),
            r.position.is_some(),
            r.cog_deg.is_some(),
            r.utc_second.is_some(),
            r.raim_flag.is_some(),
        ];
        assert_eq!(there, [50, 60, 116, 128, 134, 148usize].map(|end| characters * 6 >= end), "{characters}");
    }
    // Message 12 without a whole character of text.
    assert_eq!(ais(&sealed("!AIVDM,1,1,,A,<5?SIj1;GbD0,0")).text, None);
}

#[test]
fn types_that_are_not_read_are_told_by_their_head() {
    for message in [6, 7, 8, 10, 13, 15, 16, 17, 20, 22, 23, 25, 26, 28, 63u64] {
        let r = ais(&made(&[(6, message), (2, 1), (30, 972_123_456), (60, 0)]));
        assert_eq!((u64::from(r.message), r.repeat, r.station), (message, 1, Station::Mob));
    }
}

#[test]
fn dates_of_an_eta_and_dimensions() {
    let voyage = |dims: [u64; 4], eta: [u64; 4], draught: u64| {
        let [a, b, c, d] = dims;
        let [month, day, hour, minute] = eta;
        ais(&made(&[
            (6, 5),
            (2, 0),
            (30, 366_053_209),
            (2, 0),
            (30, 0),
            (42, 0),
            (60, 0),
            (60, 0),
            (8, 0),
            (9, a),
            (9, b),
            (6, c),
            (6, d),
            (4, 0),
            (4, month),
            (5, day),
            (5, hour),
            (6, minute),
            (8, draught),
            (60, 0),
            (60, 0),
            (2, 0),
        ]))
    };
    let r = voyage([0, 0, 0, 0], [0, 0, 24, 60], 0);
    assert_eq!((r.eta, r.draught_m, r.imo, r.name, r.dimension_a_m), (None, None, None, None, None));
    let r = voyage([0, 120, 0, 20], [2, 29, 24, 60], 255);
    assert_eq!((r.dimension_a_m, r.dimension_b_m, r.dimension_d_m), (Some(0), Some(120), Some(20)));
    assert_eq!(r.eta, Some(Eta { month: 2, day: 29, hour: None, minute: None }));
    assert_eq!(r.draught_m, Some(25.5));
    for eta in [[2, 30, 0, 0], [13, 1, 0, 0], [1, 0, 0, 0], [0, 1, 0, 0], [4, 31, 0, 0]] {
        assert_eq!(voyage([0; 4], eta, 0).eta, None, "{eta:?}");
    }
}

#[test]
fn written_as_json_what_is_not_available_is_null() {
    let r = crate::support::read(&sealed("!AIVDM,1,1,,A,B69A5U@3wk?8mP=18D3Q3wSRPD00,0")).unwrap();
    let json = serde_json::to_value(&r).unwrap();
    for key in ["latitude_deg", "longitude_deg", "sog_kn", "cog_deg", "heading_deg", "name"] {
        assert_eq!(json.get(key), Some(&serde_json::Value::Null), "{key}");
    }
    assert_eq!(json["mmsi"], 412_370_325);
    let json = serde_json::to_value(crate::support::said("$GPGLL,4916.45,N,12311.12,W,225444,A")).unwrap();
    assert!((json["longitude_deg"].as_f64().unwrap() + 123.185333).abs() < 1e-6);
}
