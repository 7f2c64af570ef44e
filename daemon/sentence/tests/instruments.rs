//! Sentences of instruments: published examples, and what counts as "no value".

use crate::support::{near, read, said, sealed};
use sentence::{FixQuality, Refusal, Report, SentTime, WindReference};
use terms::Utc;

fn fix(body: &str) -> sentence::Fix {
    match said(body) {
        Report::Fix(fix) => fix,
        other => panic!("{body}: {other:?}"),
    }
}

/// Sentences of the test suite of pynmea2 with the values its tests state.
#[test]
fn satellites() {
    let gga = fix("$GPGGA,184353.07,1929.045,S,02410.506,E,1,04,2.6,100.00,M,-33.9,M,,0000");
    assert_eq!(gga.time, Some(SentTime::OfDayMs(67_433_070)));
    assert!(near(gga.position.map(|p| p.latitude_deg()), -19.484_083_333, 1e-9));
    assert!(near(gga.position.map(|p| p.longitude_deg()), 24.1751, 1e-9));
    assert_eq!((gga.satellites, gga.hdop, gga.quality), (Some(4), Some(2.6), Some(FixQuality::Autonomous)));

    let rmc = fix("$GPRMC,225446,A,4916.45,N,12311.12,W,000.5,054.7,191194,020.3,E");
    assert_eq!(rmc.time, Some(SentTime::Utc(Utc::parse("1994-11-19T22:54:46Z").unwrap())));
    assert!(near(rmc.position.map(|p| p.latitude_deg()), 49.274_166_667, 1e-9));
    assert!(near(rmc.position.map(|p| p.longitude_deg()), -123.185_333_333, 1e-9));
    assert_eq!((rmc.sog_kn, rmc.cog_deg, rmc.variation_deg), (Some(0.5), Some(54.7), Some(20.3)));

    let gll = fix("$GPGLL,4916.45,N,12311.12,W,225444,A");
    assert!(near(gll.position.map(|p| p.longitude_deg()), -123.185_333_333, 1e-9));

    let vtg = fix("$GPVTG,360.0,T,348.7,M,000.0,N,000.0,K");
    assert_eq!((vtg.cog_deg, vtg.cog_magnetic_deg, vtg.sog_kn), (Some(0.0), Some(348.7), Some(0.0)));
}

#[test]
fn no_fix_is_no_value() {
    for body in [
        "$GPRMC,225446,V,4916.45,N,12311.12,W,000.5,054.7,191194,020.3,E",
        "$GPRMC,225446,A,4916.45,N,12311.12,W,000.5,054.7,191194,020.3,E,N",
        "$GPRMC,225446,,4916.45,N,12311.12,W,000.5,054.7,191194,020.3,E",
        "$GPGLL,4916.45,N,12311.12,W,225444,V",
        "$GPGLL,4916.45,N,12311.12,W,225444,A,N",
        "$GPGGA,184353.07,1929.045,S,02410.506,E,0,04,2.6,100.00,M,-33.9,M,,0000",
        "$GPGGA,184353.07,1929.045,S,02410.506,E,,04,2.6,100.00,M,-33.9,M,,0000",
        "$GPVTG,360.0,T,348.7,M,000.0,N,000.0,K,N",
        "$GPRMC",
    ] {
        assert_eq!(fix(body), sentence::Fix::default(), "{body}");
    }
}

#[test]
fn a_simulator_is_refused_unless_declared() {
    for body in [
        "$GPRMC,225446,V,4916.45,N,12311.12,W,000.5,054.7,191194,020.3,E,S",
        "$GPGGA,184353.07,1929.045,S,02410.506,E,8,04,2.6,100.00,M,-33.9,M,,0000",
        "$GPGLL,4916.45,N,12311.12,W,225444,V,S",
    ] {
        let line = sealed(body);
        assert_eq!(read(&line), Err(Refusal::Simulator), "{body}");
        let sentence = sentence::Sentence::check(line.as_bytes(), &Default::default()).unwrap();
        let options = sentence::DecoderOptions { simulator: true };
        let Ok(Report::Fix(fix)) = sentence::Decoder::new(options).read(terms::Moment::ZERO, &sentence)
        else {
            panic!("{body}");
        };
        assert!(fix.position.is_some() && fix.quality == Some(FixQuality::Simulator));
    }
}

#[test]
fn numbers_that_are_none() {
    for odd in
        ["nan", "inf", "-inf", "1e2", "0x10", "5.5.", "--5", "+", ".", "5 5", "99999999999999999999", "", "٣"]
    {
        let rmc = fix(&format!("$GPRMC,225446,A,4916.45,N,12311.12,W,{odd},054.7,191194,020.3,E"));
        assert_eq!(rmc.sog_kn, None, "{odd}");
    }
    for (field, sog_kn) in [(" 5.5 ", 5.5), ("+5.5", 5.5), ("005.", 5.0), (".5", 0.5), ("-0", 0.0)] {
        let rmc = fix(&format!("$GPRMC,225446,A,4916.45,N,12311.12,W,{field},054.7,191194,020.3,E"));
        assert_eq!(rmc.sog_kn, Some(sog_kn), "{field}");
    }
    let no_place = |lat: &str, lon: &str| {
        let rmc = fix(&format!("$GPRMC,225446,A,{lat},{lon},000.5,054.7,191194,020.3,E"));
        assert_eq!(rmc.position, None, "{lat} {lon}");
    };
    no_place("9000.01,N", "12311.12,W");
    no_place("4916.45,N", "18000.01,W");
    no_place("4960.00,N", "12311.12,W");
    no_place("-4916.45,N", "12311.12,W");
    no_place("4916.45,", "12311.12,W");
    no_place("4916.45,X", "12311.12,W");
    no_place("4916.45,E", "12311.12,W");
    // Decimal degrees, from the tests of a library: too few digits to be degrees and minutes.
    no_place("37.352387,N", "121.953086,W");
    no_place("4916.45,N", "2311.12,W");
    no_place("04916.45,N", "12311.12,W");
    let rmc = fix("$GPRMC,225446,A,4916.45,N,12311.12,W,-0.5,360.1,191194,020.3,");
    assert_eq!((rmc.sog_kn, rmc.cog_deg, rmc.variation_deg), (None, None, None));
}

#[test]
fn times() {
    let time = |time: &str, date: &str| {
        fix(&format!("$GPRMC,{time},A,4916.45,N,12311.12,W,000.5,054.7,{date},020.3,E")).time
    };
    let utc = |text: &str| Some(SentTime::Utc(Utc::parse(text).unwrap()));
    assert_eq!(time("225446.5", "191126"), utc("2026-11-19T22:54:46.5Z"));
    assert_eq!(time("225446.1239", "191126"), utc("2026-11-19T22:54:46.123Z"));
    // Two-digit years: satellite time begins in 1980.
    assert_eq!(time("000000", "060180"), utc("1980-01-06T00:00:00Z"));
    assert_eq!(time("000000", "311279"), utc("2079-12-31T00:00:00Z"));
    // The leap second at the end of 2016 (IERS bulletin C 52).
    assert_eq!(time("235960.25", "311216"), utc("2017-01-01T00:00:00.25Z"));
    assert_eq!(time("225446", "310226"), Some(SentTime::OfDayMs(82_486_000)));
    for bad in ["2254", "245446", "226046", "225461", "22:54:46", "225446.x", ""] {
        assert_eq!(time(bad, "191126"), None, "{bad}");
    }
}

/// Examples of pynmea2's tests and of nmea-parser's; the values are what the fields say.
#[test]
fn headings_depths_and_winds() {
    let Report::Heading(hdt) = said("$HEHDT,119.9,T") else { panic!() };
    assert_eq!(hdt.true_deg, Some(119.9));
    let Report::Heading(hdg) = said("$HCHDG,123.4,1.5,E,10.1,W") else { panic!() };
    assert_eq!(
        (hdg.magnetic_deg, hdg.deviation_deg, hdg.variation_deg),
        (Some(123.4), Some(1.5), Some(-10.1))
    );
    let Report::WaterSpeed { speed_through_water_kn, heading, .. } =
        said("$IIVHW,245.1,T,245.1,M,000.01,N,000.01,K")
    else {
        panic!()
    };
    assert_eq!((speed_through_water_kn, heading.true_deg), (Some(0.01), Some(245.1)));
    let Report::Depth(dpt) = said("$SDDPT,17.5,0.3") else { panic!() };
    assert_eq!((dpt.below_transducer_m, dpt.offset_m), (Some(17.5), Some(0.3)));
    let Report::Depth(dbt) = said("$IIDBT,32.93,f,10.04,M,5.42,F") else { panic!() };
    assert_eq!(dbt.below_transducer_m, Some(10.04));
    let Report::Depth(dbt) = said("$IIDBT,32.93,f,,M,5.42,F") else { panic!() };
    assert!(near(dbt.below_transducer_m, 10.037, 0.001));
    let Report::Depth(dpt) = said("$SDDPT,,0.3") else { panic!() };
    assert_eq!(dpt.below_transducer_m, None);
}

#[test]
fn winds() {
    let wind = |body: &str| match said(body) {
        Report::Wind(wind) => wind,
        other => panic!("{body}: {other:?}"),
    };
    // From nmea-parser's tests.
    let mwv = wind("$WIMWV,295.4,T,33.3,N,A");
    assert!(near(mwv.angle_deg, -64.6, 1e-9));
    assert_eq!((mwv.speed_kn, mwv.reference), (Some(33.3), WindReference::True));
    assert!(near(wind("$WIMWV,10,R,10,M,A").speed_kn, 19.438_444_924, 1e-6));
    assert!(near(wind("$WIMWV,10,R,10,K,A").speed_kn, 5.399_568_035, 1e-6));
    for void in ["$WIMWV,295.4,T,33.3,N,V", "$WIMWV,295.4,T,33.3,N,", "$WIMWV,295.4,,33.3,N,A", "$WIMWV"] {
        let wind = wind(void);
        assert_eq!((wind.angle_deg, wind.speed_kn), (None, None), "{void}");
    }
    assert_eq!(wind("$WIMWV,361,R,10,N,A").angle_deg, None);
    assert_eq!(wind("$WIMWV,10,R,10,X,A").speed_kn, None);
}

#[test]
fn makers_own_and_unknown_sentences_are_counted_only() {
    for body in ["$PGRME,15.0,M,45.0,M,25.0,M", "$GPGSV,4294967295,1", "$GPXYZ,1", "$GPGGQ,RMC"] {
        assert_eq!(said(body), Report::Unread, "{body}");
    }
}

/// What the encoders write is what the decoder reads, within the places written.
#[test]
fn what_is_written_is_read_again() {
    use sentence::{Depth, Fix, Heading, Transducer, Weather, Wind, encode};
    let utc = Utc::parse("2026-11-01T02:14:07.25Z").unwrap();
    let whole = Fix {
        time: Some(SentTime::Utc(utc)),
        position: terms::Position::new(-0.5, 179.25).ok(),
        sog_kn: Some(6.25),
        cog_deg: Some(359.9),
        variation_deg: Some(-3.5),
        quality: Some(FixQuality::Differential),
        ..Fix::default()
    };
    assert_eq!(read(&encode::rmc("GP", &whole)), Ok(Report::Fix(whole)));
    assert_eq!(read(&encode::rmc("GP", &Fix::default())), Ok(Report::Fix(Fix::default())));
    let time_only = Some(SentTime::OfDayMs(8_047_250));
    let gga = Fix {
        time: time_only,
        position: whole.position,
        hdop: Some(1.5),
        satellites: Some(9),
        quality: whole.quality,
        ..Fix::default()
    };
    assert_eq!(read(&encode::gga("GP", &gga)), Ok(Report::Fix(gga)));
    let gll = Fix { time: time_only, position: whole.position, quality: whole.quality, ..Fix::default() };
    assert_eq!(read(&encode::gll("GP", &gll)), Ok(Report::Fix(gll)));
    let vtg = Fix { sog_kn: Some(6.25), cog_deg: Some(359.9), quality: whole.quality, ..Fix::default() };
    assert_eq!(read(&encode::vtg("GP", &vtg)), Ok(Report::Fix(vtg)));
    assert_eq!(read(&encode::zda("GP", utc)), Ok(Report::Time { utc: Some(utc) }));

    let hdg = Heading {
        true_deg: None,
        magnetic_deg: Some(12.5),
        deviation_deg: Some(-1.0),
        variation_deg: Some(3.5),
    };
    assert_eq!(read(&encode::hdg("HC", &hdg)), Ok(Report::Heading(hdg)));
    let hdt = Heading { true_deg: Some(12.5), ..Heading::default() };
    assert_eq!(read(&encode::hdt("HE", Some(12.5))), Ok(Report::Heading(hdt)));
    let hdm = Heading { magnetic_deg: Some(12.5), ..Heading::default() };
    assert_eq!(read(&encode::hdm("HE", Some(12.5))), Ok(Report::Heading(hdm)));
    let vhw = Report::WaterSpeed { speed_through_water_kn: Some(5.75), ground_speed_kn: None, heading: hdt };
    assert_eq!(read(&encode::vhw("VW", Some(5.75), &hdt)), Ok(vhw));

    let dpt = Depth { below_transducer_m: Some(4.5), offset_m: Some(-0.5), below_surface_m: None };
    assert_eq!(read(&encode::dpt("SD", &dpt)), Ok(Report::Depth(dpt)));
    let dbt = Depth { offset_m: None, ..dpt };
    assert_eq!(read(&encode::dbt("SD", &dbt)), Ok(Report::Depth(dbt)));

    for reference in [WindReference::Apparent, WindReference::True] {
        let mwv = Wind {
            reference,
            angle_deg: Some(-45.5),
            direction_deg: None,
            direction_magnetic_deg: None,
            speed_kn: Some(12.5),
        };
        assert_eq!(read(&encode::mwv("WI", &mwv)), Ok(Report::Wind(mwv)));
    }
    let mwd = Wind {
        reference: WindReference::Ground,
        angle_deg: None,
        direction_deg: Some(270.5),
        direction_magnetic_deg: Some(274.0),
        speed_kn: Some(12.5),
    };
    assert_eq!(read(&encode::mwd("WI", &mwd)), Ok(Report::Wind(mwd)));
    let mda = Weather {
        pressure_hpa: Some(1013.2),
        air_temperature_c: Some(-1.5),
        water_temperature_c: Some(8.5),
        wind_direction_deg: Some(270.0),
        wind_speed_kn: Some(12.5),
    };
    assert_eq!(read(&encode::mda("WI", &mda)), Ok(Report::Weather(mda)));
    let mtw = Weather { water_temperature_c: Some(8.5), ..Weather::default() };
    assert_eq!(read(&encode::mtw("YX", Some(8.5))), Ok(Report::Weather(mtw)));
    let transducers = vec![
        Transducer { kind: 'U', value: 12.61, unit: Some('V'), name: "HOUSE".to_owned() },
        Transducer { kind: 'C', value: -3.5, unit: Some('C'), name: "OUTSIDE".to_owned() },
    ];
    assert_eq!(read(&encode::xdr("YX", &transducers)), Ok(Report::Transducers { transducers }));
    assert_eq!(
        read(&encode::rot("TI", Some(-12.5))),
        Ok(Report::RateOfTurn { rate_of_turn_deg_min: Some(-12.5) })
    );
    assert_eq!(read(&encode::rot("TI", None)), Ok(Report::RateOfTurn { rate_of_turn_deg_min: None }));
    assert_eq!(
        read(&encode::xte("GP", Some(-0.125))),
        Ok(Report::CrossTrack { cross_track_error_nm: Some(-0.125) })
    );
    let plot = sentence::RadarPlot {
        number: Some(7),
        range_nm: Some(2.25),
        bearing_deg: Some(30.5),
        bearing_relative: true,
        speed_kn: Some(12.5),
        course_deg: Some(190.0),
        status: Some('T'),
        time: time_only,
        ..sentence::RadarPlot::default()
    };
    assert_eq!(read(&encode::ttm("RA", &plot)), Ok(Report::RadarPlot(plot)));
    let alert = sentence::DeviceAlert {
        source: Some("XYZ".to_owned()),
        identifier: Some(192),
        instance: Some(1),
        priority: Some('W'),
        state: Some('A'),
        time: time_only,
        text: Some("LOST TARGET".to_owned()),
        ..sentence::DeviceAlert::default()
    };
    let untold = sentence::DeviceAlert { text: None, ..alert.clone() };
    let counters = encode::Counters { sequence: 0, revision: 1, escalation: 0 };
    let lines = encode::alf("II", &untold, "LOST TARGET", counters);
    // The standard's example of the form, with our category and a maker; the checksum by another program.
    assert_eq!(lines, ["$IIALF,1,1,0,021407.25,B,W,A,XYZ,192,1,1,0,LOST TARGET*4E"]);
    assert_eq!(read(&lines[0]), Ok(Report::DeviceAlert(alert)));
    let tag = sentence::TagBlock {
        source: Some("GP0001"),
        time: Some(utc),
        relative_ms: Some(12),
        group: Some(sentence::TagGroup { line: 1, lines: 2, id: 34 }),
        destination: Some("VD0001"),
        line_count: Some(7),
    };
    let line = format!("{}{}", encode::tag_block(&tag), encode::hdt("HE", Some(12.5)));
    let sentence = sentence::Sentence::check(line.as_bytes(), &Default::default()).unwrap();
    assert_eq!(sentence.tag(), Some(&tag));
}
