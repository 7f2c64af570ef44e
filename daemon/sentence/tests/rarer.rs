//! The rarer sentences: an example each, from a library's tests where it has one, else made by the field orders of
//! pynmeagps and pynmea2, and what makes its values void.

use crate::support::{last, near, read, said, sealed};
use sentence::{DeviceAlert, FixQuality, Refusal, Report, SentTime, WindReference};
use terms::{Position, Utc};

fn json(body: &str) -> serde_json::Value {
    serde_json::to_value(said(body)).unwrap()
}

/// One value of one sentence: where the example is from, the sentence, the field as JSON names it, its value.
#[test]
fn values() {
    let table: &[(&str, &str, &str, Option<f64>)] = &[
        ("nmea-parser", "$INMTW,17.9,C", "water_temperature_c", Some(17.9)),
        ("made", "$INMTW,64.2,F", "water_temperature_c", None),
        ("made", "$INMTW,nan,C", "water_temperature_c", None),
        ("made", "$INMTW,1e1,C", "water_temperature_c", None),
        ("made", "$INMTW,,C", "water_temperature_c", None),
        ("nmea-parser", "$SDDBS,16.9,f,5.2,M,2.8,F", "below_surface_m", Some(5.2)),
        ("made", "$SDDBS,16.9,f,,M,2.8,F", "below_surface_m", Some(5.15112)),
        ("made", "$SDDBS,,f,,M,2.8,F", "below_surface_m", Some(5.12064)),
        ("made", "$HCHDM,93.8,M", "magnetic_deg", Some(93.8)),
        ("made", "$HETHS,77.52,A", "true_deg", Some(77.52)),
        ("made", "$HETHS,77.52,E", "true_deg", Some(77.52)),
        ("made", "$HETHS,77.52,M", "true_deg", None),
        ("made", "$HETHS,77.52,V", "true_deg", None),
        ("made", "$HETHS,77.52", "true_deg", None),
        ("pynmea2", "$XXVBW,1.2,3.4,A,5.6,7.8,A", "speed_through_water_kn", Some(1.2)),
        ("pynmea2", "$XXVBW,1.2,3.4,A,5.6,7.8,A", "ground_speed_kn", Some(5.6)),
        ("made", "$XXVBW,-1.2,3.4,A,5.6,7.8,V", "speed_through_water_kn", Some(-1.2)),
        ("made", "$XXVBW,-1.2,3.4,A,5.6,7.8,V", "ground_speed_kn", None),
        ("made", "$WIMWD,270.0,T,274.0,M,12.5,N,6.4,M", "direction_deg", Some(270.0)),
        ("made", "$WIMWD,270.0,T,274.0,M,12.5,N,6.4,M", "direction_magnetic_deg", Some(274.0)),
        ("made", "$WIMWD,270.0,T,274.0,M,,N,6.4,M", "speed_kn", Some(12.440_605)),
        ("made", "$IIVWR,75.0,R,1.0,N,0.51,M,1.85,K", "angle_deg", Some(75.0)),
        ("made", "$IIVWR,75.0,L,1.0,N,0.51,M,1.85,K", "angle_deg", Some(-75.0)),
        ("made", "$IIVWR,75.0,,1.0,N,0.51,M,1.85,K", "angle_deg", None),
        ("made", "$IIVWR,75.0,L,,N,,M,18.52,K", "speed_kn", Some(10.0)),
        (
            "pynmea2",
            "$WIMDA,30.2269,I,1.0236,B,17.7,C,,,43.3,,5.0,C,131.5,T,128.6,M,0.8,N,0.4,M",
            "pressure_hpa",
            Some(1023.6),
        ),
        (
            "pynmea2",
            "$WIMDA,30.2269,I,1.0236,B,17.7,C,,,43.3,,5.0,C,131.5,T,128.6,M,0.8,N,0.4,M",
            "wind_direction_deg",
            Some(131.5),
        ),
        (
            "libais",
            "$WIMDA,29.1166,I,,B,19.6,C,,,,,,,175.8,T,191.2,M,2.0,N,1.0,M",
            "pressure_hpa",
            Some(986.0013),
        ),
        (
            "libais",
            "$WIMDA,29.1166,I,0.9860,B,19.6,C,,,,,,,175.8,T,191.2,M,2.0,N,1.0,M",
            "wind_speed_kn",
            Some(2.0),
        ),
        ("made", "$WIMDA,2.9,I,1.5,B,119.6,C", "pressure_hpa", None),
        ("made", "$WIMDA,2.9,I,1.5,B,119.6,C", "air_temperature_c", None),
        ("made", "$GPXTE,A,A,0.67,L,N", "cross_track_error_nm", Some(-0.67)),
        ("made", "$GPXTE,A,A,0.67,R,N,D", "cross_track_error_nm", Some(0.67)),
        ("made", "$GPXTE,V,A,0.67,R,N", "cross_track_error_nm", None),
        ("made", "$GPXTE,A,V,0.67,R,N", "cross_track_error_nm", None),
        ("made", "$GPXTE,A,A,0.67,R,N,N", "cross_track_error_nm", None),
        ("made", "$GPXTE,A,A,0.67,R,", "cross_track_error_nm", None),
        ("libais", "$INROT,-1,A", "rate_of_turn_deg_min", Some(-1.0)),
        ("made", "$TIROT,-12.3,A", "rate_of_turn_deg_min", Some(-12.3)),
        ("made", "$TIROT,-12.3,V", "rate_of_turn_deg_min", None),
        ("made", "$IIRSA,10.5,A,,V", "rudder_deg", Some(10.5)),
        ("made", "$IIRSA,10.5,V,-3,A", "rudder_deg", Some(-3.0)),
        ("made", "$IIRSA,10.5,V,,V", "rudder_deg", None),
        ("made", "$IIRPM,E,1,2418.2,10.5,A", "revolutions_per_min", Some(2418.2)),
        ("made", "$IIRPM,E,1,2418.2,10.5,V", "revolutions_per_min", None),
        ("made", "$IIHBT,30.0,A,5", "interval_s", Some(30.0)),
        ("made", "$RATTM,11,11.4,13.6,T,7.0,20.0,T,0.0,0.0,N,,Q,,154125.82,A", "range_nm", Some(11.4)),
        ("made", "$RATTM,11,18.52,13.6,R,18.52,20.0,T,0.0,0.0,K,,Q,,154125.82,A", "range_nm", Some(10.0)),
        ("made", "$RATTM,11,18.52,13.6,R,18.52,20.0,T,0.0,0.0,K,,Q,,154125.82,A", "speed_kn", Some(10.0)),
        ("made", "$RATTM,11,18.52,13.6,,18.52,20.0,T,0.0,0.0,,,Q", "bearing_deg", None),
        ("made", "$RATTM,11,18.52,13.6,,18.52,20.0,T,0.0,0.0,,,Q", "range_nm", None),
    ];
    for (source, body, field, value) in table {
        let json = json(body);
        let read = json.get(field).unwrap_or_else(|| panic!("{source} {body}: no {field} in {json}"));
        match value {
            Some(value) => assert!(near(read.as_f64(), *value, 1e-4), "{source} {body} {field}: {read}"),
            None => assert!(read.is_null(), "{source} {body} {field}: {read}"),
        }
    }
}

/// From nmea-parser's tests; the time with its fraction.
#[test]
fn fixes_of_several_systems() {
    let gns = |body: &str| match said(body) {
        Report::Fix(fix) => fix,
        other => panic!("{body}: {other:?}"),
    };
    let fix = gns("$GNGNS,090310.25,4806.891632,N,01134.134167,E,AAN,09,1.1,510.8,47.0,,,V");
    assert_eq!(fix.time, Some(SentTime::OfDayMs(32_590_250)));
    assert!(near(fix.position.map(Position::latitude_deg), 48.114_860_533, 1e-8));
    assert!(near(fix.position.map(Position::longitude_deg), 11.568_902_783, 1e-8));
    assert_eq!((fix.satellites, fix.hdop, fix.quality), (Some(9), Some(1.1), Some(FixQuality::Autonomous)));
    assert_eq!(
        gns("$GNGNS,090310.25,4806.89,N,01134.13,E,NND,09,1.1,510.8,47.0,,,V").quality,
        Some(FixQuality::Differential)
    );
    for void in [
        "$GNGNS,090310.25,4806.89,N,01134.13,E,NNN,09,1.1,510.8,47.0,,,V",
        "$GNGNS,090310.25,4806.89,N,01134.13,E,,09,1.1",
        "$GNGNS",
    ] {
        assert_eq!(gns(void), sentence::Fix::default(), "{void}");
    }
    assert_eq!(gns("$GNGNS,090310,4806.89,,01134.13,E,AN,09,1.1,510.8,47.0,,,V").position, None);
    assert_eq!(gns("$GNGNS,090310,4860.00,N,01134.13,E,AN,09,1.1,510.8,47.0,,,V").position, None);
    assert_eq!(gns("$GNGNS,090310,4806.89,N,01134.13,E,AN,09,nan,510.8,47.0,,,V").hdop, None);
    let simulated = sealed("$GNGNS,090310,4806.89,N,01134.13,E,SN,09,1.1,510.8,47.0,,,V");
    assert_eq!(read(&simulated), Err(Refusal::Simulator));
    assert_eq!(read(&sealed("$HETHS,77.52,S")), Err(Refusal::Simulator));
    assert_eq!(read(&sealed("$GPXTE,V,V,0.67,R,N,S")), Err(Refusal::Simulator));
}

#[test]
fn dates() {
    let zda = |body: &str| match said(body) {
        Report::Time { utc } => utc,
        other => panic!("{body}: {other:?}"),
    };
    assert_eq!(zda("$GPZDA,021407.50,01,11,2026,00,00"), Utc::parse("2026-11-01T02:14:07.5Z"));
    for void in ["$GPZDA,,,,,,", "$GPZDA,021407,31,02,2026,00,00", "$GPZDA,021407,01,11,26,00,00", "$GPZDA"] {
        assert_eq!(zda(void), None, "{void}");
    }
}

#[test]
fn transducers() {
    // From pynmea2's tests.
    let Report::Transducers { transducers } = said("$YXXDR,A,-64.437,M,N,A,054.454,D,E,C,17.09,C,T-N1052")
    else {
        panic!()
    };
    let read: Vec<_> = transducers.iter().map(|t| (t.kind, t.value, t.unit, t.name.as_str())).collect();
    assert_eq!(
        read,
        [('A', -64.437, Some('M'), "N"), ('A', 54.454, Some('D'), "E"), ('C', 17.09, Some('C'), "T-N1052")]
    );
    let Report::Transducers { transducers } = said("$IIXDR,U,,V,BAT1,U,12.6,V,BAT2,,1,V,X,C") else {
        panic!()
    };
    assert_eq!(transducers.len(), 1);
    assert_eq!((transducers[0].name.as_str(), transducers[0].value), ("BAT2", 12.6));
}

#[test]
fn alerts_of_devices() {
    let alert = |line: &str| match read(line) {
        Ok(Report::DeviceAlert(alert)) => alert,
        other => panic!("{line}: {other:?}"),
    };
    // Quoted as an example of IEC 61162-1 (8.3.14).
    let alf = alert("$IIALF,1,1,0,124304.50,A,W,A,,192,1,1,0,LOST TARGET*14");
    assert_eq!(
        alf,
        DeviceAlert {
            identifier: Some(192),
            instance: Some(1),
            priority: Some('W'),
            state: Some('A'),
            time: Some(SentTime::OfDayMs(45_784_500)),
            text: Some("LOST TARGET".to_owned()),
            ..DeviceAlert::default()
        }
    );
    // Made: a second sentence is joined to the first of its sequence, and to no other.
    let both = |lines: [&str; 2]| match last(&lines.map(sealed).each_ref().map(String::as_str)) {
        Ok(Report::DeviceAlert(alert)) => alert,
        other => panic!("{lines:?}: {other:?}"),
    };
    let first = "$IIALF,2,1,3,124304.50,B,A,V,,192,1,1,0,LOST TARGET";
    let whole = both([first, "$IIALF,2,2,3,,,,,,,,,,last seen 2 nm ahead"]);
    assert_eq!((whole.identifier, whole.priority), (Some(192), Some('A')));
    assert_eq!(whole.text.as_deref(), Some("LOST TARGET: last seen 2 nm ahead"));
    let other = both([first, "$IIALF,2,2,5,,,,,,,,,,of something else"]);
    assert_eq!((other.identifier, other.text.as_deref()), (None, Some("of something else")));
    // Made.
    let alr = alert(&sealed("$AIALR,103607.00,006,A,V,AIS: general failure"));
    assert_eq!((alr.identifier, alr.state, alr.acknowledged), (Some(6), Some('A'), Some(false)));
    assert_eq!(alr.text.as_deref(), Some("AIS: general failure"));
    assert_eq!(alert(&sealed("$IIACK,006")).identifier, Some(6));
    let acn = alert(&sealed("$IIACN,103607.00,ABC,3016,1,S,C"));
    assert_eq!((acn.source.as_deref(), acn.identifier, acn.command), (Some("ABC"), Some(3016), Some('S')));
    // ^2C is a comma (IEC 61162-1).
    let words = alert(&sealed("$AIALR,103607.00,006,A,V, FIX LOST^2C CHECK ANTENNA^0A "));
    assert_eq!(words.text.as_deref(), Some("FIX LOST, CHECK ANTENNA"));
}

#[test]
fn plots_and_winds() {
    let Report::RadarPlot(ttm) = said("$RATTM,11,11.4,13.6,R,7.0,20.0,T,0.0,0.0,N,BOB,T,,154125.82,A") else {
        panic!()
    };
    assert_eq!((ttm.number, ttm.bearing_relative, ttm.course_relative), (Some(11), true, false));
    assert_eq!(
        (ttm.name.as_deref(), ttm.status, ttm.time),
        (Some("BOB"), Some('T'), Some(SentTime::OfDayMs(56_485_820)))
    );
    let Report::RadarPlot(tll) = said("$RATLL,01,3731.51,N,02436.00,E,ANDROS,163700.86,T,") else { panic!() };
    assert!(near(tll.position.map(Position::latitude_deg), 37.525_166_667, 1e-8));
    assert_eq!((tll.name.as_deref(), tll.bearing_deg), (Some("ANDROS"), None));
    let Report::Wind(mwd) = said("$WIMWD,270.0,T,274.0,M,12.5,N,6.4,M") else { panic!() };
    assert_eq!(mwd.reference, WindReference::Ground);
}
