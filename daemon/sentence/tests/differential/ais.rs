//! Three AIS crates, their answers under this crate's names. What they hand out raw is turned into null where
//! ITU-R M.1371 says "not available"; what they turn into null or not themselves is left as they have it.

use super::{Library, Said, number, words};
use serde_json::{Value, json};

pub const LIBRARIES: &[Library] =
    &[("aivdm", aivdm), ("ais", ais), ("nmea-0183-rs", nmea_0183_rs), ("nmea-parser", nmea_parser)];

/// A raw number with its value for "not available".
fn raw(value: impl Into<u32>, none: u32) -> Value {
    let value = value.into();
    if value == none { Value::Null } else { json!(value) }
}

/// Four dimensions; all zero is "not available", and so is a pair of zeros.
fn dimensions(said: &mut Said, [a, b, c, d]: [u16; 4]) {
    let pair =
        |x: u16, y: u16| if (x, y) == (0, 0) { (Value::Null, Value::Null) } else { (json!(x), json!(y)) };
    let ((a, b), (c, d)) = (pair(a, b), pair(c, d));
    said.extend([("dimension_a_m", a), ("dimension_b_m", b), ("dimension_c_m", c), ("dimension_d_m", d)]);
}

/// A position has both its numbers, or is absent.
fn place(said: &mut Said, latitude: Option<f64>, longitude: Option<f64>) {
    let both = latitude.zip(longitude);
    said.push(("latitude_deg", number(both.map(|p| p.0))));
    said.push(("longitude_deg", number(both.map(|p| p.1))));
}

fn aivdm(lines: &[String]) -> Option<Said> {
    use aivdm::{AisMessage as M, Timestamp};
    let mut decoder = aivdm::LineDecoder::<512>::new();
    let mut message = None;
    for line in lines {
        message = decoder.feed(line).ok()?;
    }
    let message = message?;
    let mut s: Said = vec![("mmsi", json!(message.mmsi().raw()))];
    let second = |t: Timestamp| number(if let Timestamp::Second(s) = t { Some(s) } else { None });
    macro_rules! moving {
        ($m:expr) => {
            place(&mut s, $m.latitude.as_degrees(), $m.longitude.as_degrees());
            s.push(("position_accurate", json!($m.position_accuracy)));
        };
    }
    macro_rules! size {
        ($m:expr) => {
            let m = $m;
            let size = [
                m.dimension_to_bow,
                m.dimension_to_stern,
                m.dimension_to_port.into(),
                m.dimension_to_starboard.into(),
            ];
            dimensions(&mut s, size);
        };
    }
    match message {
        M::PositionReportClassA(m) => {
            moving!(m);
            s.push(("nav_status", json!(m.navigation_status.to_raw())));
            s.push(("rate_of_turn_deg_min", number(m.rate_of_turn.degrees_per_minute())));
            s.push(("sog_kn", number(m.sog.knots())));
            s.push(("cog_deg", number(m.cog.degrees())));
            s.push(("heading_deg", number(message.heading_degrees())));
            s.push(("utc_second", second(m.timestamp)));
            s.push(("raim_flag", json!(m.raim)));
        }
        M::PositionReportClassB(m) => {
            moving!(m);
            s.push(("sog_kn", number(m.sog.knots())));
            s.push(("cog_deg", number(m.cog.degrees())));
            s.push(("heading_deg", number(message.heading_degrees())));
            s.push(("utc_second", second(m.timestamp)));
            s.push(("raim_flag", json!(m.raim)));
        }
        M::PositionReportClassBExtended(m) => {
            moving!(m);
            s.push(("sog_kn", number(m.sog.knots())));
            s.push(("cog_deg", number(m.cog.degrees())));
            s.push(("heading_deg", number(message.heading_degrees())));
            s.push(("utc_second", second(m.timestamp)));
            s.push(("name", words(m.name.as_str())));
            s.push(("ship_type", raw(m.ship_type, 0)));
            size!(m);
        }
        M::StaticVoyageData(m) => {
            s.push(("imo", raw(m.imo_number, 0)));
            s.push(("call_sign", words(m.call_sign.as_str())));
            s.push(("name", words(m.name.as_str())));
            s.push(("destination", words(m.destination.as_str())));
            s.push(("ship_type", raw(m.ship_type, 0)));
            let draught = Some(m.draught_decimeters).filter(|&d| d != 0);
            s.push(("draught_m", number(draught.map(|d| f64::from(d) / 10.0))));
            size!(m);
        }
        M::StaticDataReport(aivdm::message::StaticDataReport::A(m)) => {
            s.push(("name", words(m.name.as_str())))
        }
        M::StaticDataReport(aivdm::message::StaticDataReport::B(m)) => {
            s.push(("call_sign", words(m.call_sign.as_str())));
            s.push(("ship_type", raw(m.ship_type, 0)));
            size!(m);
        }
        M::AidToNavigationReport(m) => {
            moving!(m);
            s.push(("name", words(m.name.as_str())));
            s.push(("aid_type", raw(m.aid_type, 0)));
            s.push(("utc_second", second(m.timestamp)));
            s.push(("off_position", json!(m.off_position)));
            s.push(("virtual_aid", json!(m.virtual_aid)));
            size!(m);
        }
        M::BaseStationReport(m) => {
            moving!(m);
            s.push(("raim_flag", json!(m.raim)));
        }
        M::SarAircraftPositionReport(m) => {
            moving!(m);
            s.push(("altitude_m", raw(m.altitude_meters, 4095)));
            s.push(("sog_kn", raw(m.sog_knots, 1023)));
            s.push(("cog_deg", number(m.cog.degrees())));
            s.push(("utc_second", second(m.timestamp)));
            s.push(("raim_flag", json!(m.raim)));
        }
        M::LongRangeBroadcast(m) => {
            place(&mut s, m.latitude_degrees(), m.longitude_degrees());
            s.push(("nav_status", json!(m.navigation_status.to_raw())));
            s.push(("sog_kn", raw(m.sog_knots, 63)));
            s.push(("cog_deg", raw(m.cog_degrees, 511)));
        }
        M::SafetyRelatedBroadcast(m) => s.push(("text", words(m.text.as_str()))),
        M::SafetyRelatedAddressed(m) => {
            s.push(("text", words(m.text.as_str())));
            s.push(("addressee", json!(m.destination_mmsi.raw())));
        }
        _ => {}
    }
    Some(s)
}

fn ais(lines: &[String]) -> Option<Said> {
    use ais::messages::AisMessage as M;
    use ais::messages::navigation::Accuracy;
    use ais::messages::static_data_report::MessagePart;
    let mut parser = ais::AisParser::new();
    let mut message = None;
    for line in lines {
        if let ais::AisFragments::Complete(sentence) = parser.parse(line.as_bytes(), true).ok()? {
            message = sentence.message;
        }
    }
    let mut s = Said::new();
    let second = |t: u8| number(Some(t).filter(|&t| t < 60));
    macro_rules! moving {
        ($m:expr) => {
            s.push(("mmsi", json!($m.mmsi)));
            place(&mut s, $m.latitude.map(f64::from), $m.longitude.map(f64::from));
        };
    }
    macro_rules! moved {
        ($m:expr) => {
            moving!($m);
            s.push(("position_accurate", json!($m.position_accuracy == Accuracy::Dgps)));
            s.push(("sog_kn", number($m.speed_over_ground)));
            s.push(("cog_deg", number($m.course_over_ground)));
        };
    }
    macro_rules! size {
        ($m:expr) => {
            let m = $m;
            let size =
                [*m.dimension_to_bow, *m.dimension_to_stern, *m.dimension_to_port, *m.dimension_to_starboard];
            dimensions(&mut s, size);
        };
    }
    struct Size<'a> {
        dimension_to_bow: &'a u16,
        dimension_to_stern: &'a u16,
        dimension_to_port: &'a u16,
        dimension_to_starboard: &'a u16,
    }
    macro_rules! of {
        ($m:expr) => {
            Size {
                dimension_to_bow: &$m.dimension_to_bow,
                dimension_to_stern: &$m.dimension_to_stern,
                dimension_to_port: &$m.dimension_to_port,
                dimension_to_starboard: &$m.dimension_to_starboard,
            }
        };
    }
    match message? {
        M::PositionReport(m) => {
            moved!(m);
            s.push(("heading_deg", number(m.true_heading)));
            s.push(("utc_second", second(m.timestamp)));
            s.push(("rate_of_turn_deg_min", number(m.rate_of_turn.and_then(|r| r.rate()))));
            s.push(("raim_flag", json!(m.raim)));
        }
        M::StandardClassBPositionReport(m) => {
            moved!(m);
            s.push(("heading_deg", number(m.true_heading)));
            s.push(("utc_second", second(m.timestamp)));
            s.push(("raim_flag", json!(m.raim)));
        }
        M::ExtendedClassBPositionReport(m) => {
            moved!(m);
            s.push(("heading_deg", number(m.true_heading)));
            s.push(("utc_second", second(m.timestamp)));
            s.push(("name", words(&m.name)));
            size!(of!(m));
        }
        M::StandardAircraftPositionReport(m) => {
            moved!(m);
            s.push(("altitude_m", number(m.altitude)));
            s.push(("utc_second", second(m.timestamp)));
        }
        M::BaseStationReport(m) => {
            moving!(m);
            s.push(("raim_flag", json!(m.raim)));
        }
        M::UtcDateResponse(m) => {
            moving!(m);
            s.push(("raim_flag", json!(m.raim)));
        }
        M::AidToNavigationReport(m) => {
            moving!(m);
            s.push(("name", words(&m.name)));
            s.push(("utc_second", second(m.utc_second)));
            s.push(("off_position", json!(m.off_position)));
            s.push(("virtual_aid", json!(m.virtual_aid)));
            size!(of!(m));
        }
        M::LongRangeAisBroadcastMessage(m) => {
            moved!(m);
        }
        M::StaticAndVoyageRelatedData(m) => {
            s.push(("mmsi", json!(m.mmsi)));
            s.push(("imo", raw(m.imo_number, 0)));
            s.push(("call_sign", words(&m.callsign)));
            s.push(("name", words(&m.vessel_name)));
            s.push(("destination", words(&m.destination)));
            s.push(("draught_m", number(Some(m.draught).filter(|&d| d != 0.0))));
            size!(of!(m));
        }
        M::StaticDataReport(m) => {
            s.push(("mmsi", json!(m.mmsi)));
            match m.message_part {
                MessagePart::PartA { vessel_name } => s.push(("name", words(&vessel_name))),
                MessagePart::PartB {
                    callsign,
                    dimension_to_bow,
                    dimension_to_stern,
                    dimension_to_port,
                    dimension_to_starboard,
                    ..
                } => {
                    s.push(("call_sign", words(&callsign)));
                    let size =
                        [dimension_to_bow, dimension_to_stern, dimension_to_port, dimension_to_starboard];
                    dimensions(&mut s, size);
                }
                MessagePart::Unknown(_) => {}
            }
        }
        M::SafetyRelatedBroadcastMessage(m) => {
            s.push(("mmsi", json!(m.mmsi)));
            s.push(("text", words(&m.text)));
        }
        M::AddressedSafetyRelatedMessage(m) => {
            s.push(("mmsi", json!(m.mmsi)));
            s.push(("addressee", json!(m.dest_mmsi)));
            s.push(("text", words(&m.text)));
        }
        _ => {}
    }
    Some(s)
}

fn nmea_0183_rs(lines: &[String]) -> Option<Said> {
    use nmea_0183_rs::ais::messages::{NavigationStatus as Status, PositionTimestamp, StaticDataReport};
    use nmea_0183_rs::ais::{AisDecodeOutcome, AisMessage as M, AisParser};
    let mut parser = AisParser::new();
    let mut message = None;
    for line in lines {
        let frame = nmea_0183_rs::parse_frame(line).ok()?;
        if let AisDecodeOutcome::Message(m) = parser.decode(&frame).ok()? {
            message = Some(m);
        }
    }
    let mut s = Said::new();
    let second =
        |t: PositionTimestamp| number(if let PositionTimestamp::Exact(s) = t { Some(s) } else { None });
    let status = |status: Option<Status>| {
        number(status.map(|status| (0..16).find(|&n| Status::from(n) == status).unwrap_or(u8::MAX)))
    };
    macro_rules! size {
        ($m:expr) => {
            let m = $m;
            let size = [
                m.dimension_to_bow,
                m.dimension_to_stern,
                m.dimension_to_port.into(),
                m.dimension_to_starboard.into(),
            ];
            dimensions(&mut s, size);
        };
    }
    match message? {
        M::Position(m) => {
            s.push(("mmsi", json!(m.mmsi)));
            place(&mut s, m.latitude, m.longitude);
            s.push(("position_accurate", json!(m.position_accuracy)));
            s.push(("nav_status", status(m.nav_status)));
            s.push(("rate_of_turn_deg_min", number(m.rate_of_turn)));
            s.push(("sog_kn", number(m.sog)));
            s.push(("cog_deg", number(m.cog)));
            s.push(("heading_deg", number(m.heading)));
            s.push(("utc_second", second(m.timestamp)));
            s.push(("raim_flag", json!(m.raim)));
            if let Some(more) = m.class_b_extended {
                s.push(("name", words(&more.vessel_name)));
                s.push(("ship_type", raw(more.ship_type, 0)));
                size!(more);
            }
        }
        M::BaseStation(m) => {
            s.push(("mmsi", json!(m.mmsi)));
            place(&mut s, m.latitude, m.longitude);
            s.push(("raim_flag", json!(m.raim)));
        }
        M::UtcDateResponse(m) => {
            s.push(("mmsi", json!(m.mmsi)));
            place(&mut s, m.latitude, m.longitude);
            s.push(("raim_flag", json!(m.raim)));
        }
        M::StaticVoyage(m) => {
            s.push(("mmsi", json!(m.mmsi)));
            s.push(("imo", raw(m.imo, 0)));
            s.push(("call_sign", words(&m.callsign)));
            s.push(("name", words(&m.vessel_name)));
            s.push(("destination", words(&m.destination)));
            s.push(("ship_type", raw(m.ship_type, 0)));
            s.push(("draught_m", number(m.draught_meters)));
            size!(m);
        }
        M::SarAircraft(m) => {
            s.push(("mmsi", json!(m.mmsi)));
            place(&mut s, m.latitude, m.longitude);
            s.push(("altitude_m", number(m.altitude)));
            s.push(("sog_kn", number(m.sog)));
            s.push(("cog_deg", number(m.cog)));
            s.push(("utc_second", second(m.timestamp)));
            s.push(("raim_flag", json!(m.raim)));
        }
        M::SafetyAddressed(m) => {
            s.push(("mmsi", json!(m.mmsi)));
            s.push(("addressee", json!(m.dest_mmsi)));
            s.push(("text", words(&m.text)));
        }
        M::Safety(m) => {
            s.push(("mmsi", json!(m.mmsi)));
            s.push(("text", words(&m.text)));
        }
        M::AidToNavigation(m) => {
            s.push(("mmsi", json!(m.mmsi)));
            place(&mut s, m.lat, m.lon);
            let name = format!("{}{}", m.name, m.name_extension.as_deref().unwrap_or_default());
            s.push(("name", words(&name)));
            s.push(("aid_type", raw(m.aid_type, 0)));
            s.push(("utc_second", second(m.timestamp)));
            s.push(("off_position", json!(m.off_position)));
            s.push(("virtual_aid", json!(m.virtual_aid)));
            size!(m);
        }
        M::StaticReport(StaticDataReport::PartA { mmsi, vessel_name, .. }) => {
            s.push(("mmsi", json!(mmsi)));
            s.push(("name", words(&vessel_name)));
        }
        M::StaticReport(StaticDataReport::PartB {
            mmsi,
            callsign,
            ship_type,
            dimension_to_bow,
            dimension_to_stern,
            dimension_to_port,
            dimension_to_starboard,
            ..
        }) => {
            s.push(("mmsi", json!(mmsi)));
            s.push(("call_sign", words(&callsign)));
            s.push(("ship_type", raw(ship_type, 0)));
            let size = [
                dimension_to_bow,
                dimension_to_stern,
                dimension_to_port.into(),
                dimension_to_starboard.into(),
            ];
            dimensions(&mut s, size);
        }
        M::LongRangePosition(m) => {
            s.push(("mmsi", json!(m.mmsi)));
            place(&mut s, m.latitude, m.longitude);
            s.push(("nav_status", status(m.nav_status)));
            s.push(("sog_kn", number(m.sog)));
            s.push(("cog_deg", number(m.cog)));
        }
        _ => {}
    }
    Some(s)
}

/// Only what the audit of the library finds right, and the two types that are read with it.
fn nmea_parser(lines: &[String]) -> Option<Said> {
    use nmea_parser::ParsedMessage as M;
    let mut parser = nmea_parser::NmeaParser::new();
    let mut message = None;
    for line in lines {
        message = parser.parse_sentence(line).ok();
    }
    let mut s = Said::new();
    match message? {
        M::VesselDynamicData(m) if m.current_gnss_position.is_none() => {
            s.push(("mmsi", json!(m.mmsi)));
            place(&mut s, m.latitude, m.longitude);
            s.push(("sog_kn", number(m.sog_knots)));
            s.push(("cog_deg", number(m.cog)));
            s.push(("heading_deg", number(m.heading_true)));
        }
        M::StandardSarAircraftPositionReport(m) => {
            s.push(("mmsi", json!(m.mmsi)));
            place(&mut s, m.latitude, m.longitude);
            s.push(("altitude_m", number(m.altitude)));
            s.push(("sog_kn", number(m.sog_knots)));
            s.push(("cog_deg", number(m.cog)));
        }
        M::AddressedSafetyRelatedMessage(m) => {
            s.push(("mmsi", json!(m.source_mmsi)));
            s.push(("addressee", json!(m.destination_mmsi)));
            s.push(("text", words(&m.text)));
        }
        M::SafetyRelatedBroadcastMessage(m) => {
            s.push(("mmsi", json!(m.mmsi)));
            s.push(("text", words(&m.text)));
        }
        _ => {}
    }
    Some(s)
}
