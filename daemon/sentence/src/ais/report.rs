//! What an AIS message says, with the field names of ITU-R M.1371.

use serde::Serialize;
use terms::{Mmsi, Position, Station, Utc};

/// Where a station's position comes from, by the UTC-second field of its reports (ITU-R M.1371: 60 to 63).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum PositionSource {
    /// Second 0 to 59: by satellite, at that second.
    Fix,
    /// 61: put in by hand.
    Manual,
    /// 62: dead reckoning.
    DeadReckoning,
    /// 63: the positioning system does not work.
    Inoperative,
    /// 60: not available.
    None,
}

/// Estimated time of arrival of message 5: month, day, hour, minute, as sent; there is no year.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Eta {
    /// 1 to 12.
    pub month: u8,
    /// 1 to 31.
    pub day: u8,
    /// 0 to 23.
    pub hour: Option<u8>,
    /// 0 to 59.
    pub minute: Option<u8>,
}

/// An area notice by broadcast (message 8, DAC 1, FI 22; IMO SN.1/Circ.289, read by libraries and from memory).
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct AreaNotice {
    /// Its number among those of the sender, 1 to 1023; `None` if it has none.
    pub link: Option<u16>,
    /// What it is about, 0 to 127; 74 a person overboard, 75 an area of search and rescue, 126 cancelled.
    pub kind: u8,
    /// How long it is in force, minutes.
    pub duration_min: Option<u32>,
    /// The middle of its first circle, or its first point.
    #[serde(flatten, serialize_with = "crate::report::place")]
    pub position: Option<Position>,
    /// That circle's radius, metres; 0 for a point.
    pub radius_m: Option<f64>,
    /// Its text.
    pub text: Option<String>,
}

/// An AIS message. Any field its type does not have, or that says "not available", is `None`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct AisReport {
    /// Message type, 1 to 63.
    pub message: u8,
    /// Repeat indicator, 0 to 3.
    pub repeat: u8,
    /// Who sent it.
    pub mmsi: Mmsi,
    /// The kind of station, by its identity (ITU-R M.585).
    pub station: Station,
    /// Own vessel's own report (VDO).
    pub own_vessel: bool,
    /// Radio channel, A or B.
    pub channel: Option<char>,
    /// Navigational status, 0 to 15 (15 is "default", and a beacon under test).
    pub nav_status: Option<u8>,
    /// To starboard positive; `None` if the message only says "turning".
    pub rate_of_turn_deg_min: Option<f64>,
    /// Knots; 102.2 stands for that or more.
    pub sog_kn: Option<f64>,
    /// Better than 10 m.
    pub position_accurate: Option<bool>,
    /// Where; serialised as latitude_deg and longitude_deg.
    #[serde(flatten, serialize_with = "crate::report::place")]
    pub position: Option<Position>,
    /// Course over ground, true.
    pub cog_deg: Option<f64>,
    /// True.
    pub heading_deg: Option<u16>,
    /// 0 to 59.
    pub utc_second: Option<u8>,
    /// What seconds 60 to 63 mean.
    pub position_source: Option<PositionSource>,
    /// Engaged in a special manoeuvre; `None` where not available.
    pub special_manoeuvre: Option<bool>,
    /// Receiver autonomous integrity monitoring in use.
    pub raim_flag: Option<bool>,
    /// Class B that carries a display, and so on, is not kept; this says class B at all (18, 19, 24).
    pub class_b: bool,
    /// Ship's name, trimmed.
    pub name: Option<String>,
    /// Call sign, trimmed.
    pub call_sign: Option<String>,
    /// Type of ship and cargo, 0 to 255; 0 is `None`.
    pub ship_type: Option<u8>,
    /// Reference point to bow, metres.
    pub dimension_a_m: Option<u16>,
    /// To stern.
    pub dimension_b_m: Option<u16>,
    /// To port.
    pub dimension_c_m: Option<u16>,
    /// To starboard.
    pub dimension_d_m: Option<u16>,
    /// Present static draught.
    pub draught_m: Option<f64>,
    /// Trimmed.
    pub destination: Option<String>,
    /// Estimated time of arrival.
    pub eta: Option<Eta>,
    /// IMO number.
    pub imo: Option<u32>,
    /// Safety-related text (12, 14), trimmed.
    pub text: Option<String>,
    /// To whom (12).
    pub addressee: Option<Mmsi>,
    /// An area notice (8).
    pub area_notice: Option<Box<AreaNotice>>,
    /// Date and time of a base station (4, 11).
    pub utc: Option<Utc>,
    /// Aid to navigation off its position.
    pub off_position: Option<bool>,
    /// Type of aid to navigation (21), 1 to 31.
    pub aid_type: Option<u8>,
    /// Virtual aid to navigation.
    pub virtual_aid: Option<bool>,
    /// Altitude of a search aircraft in metres.
    pub altitude_m: Option<u16>,
    /// Mother ship of an auxiliary craft (24B).
    pub mother_ship: Option<Mmsi>,
    /// Part of a static data report (24): 'A' or 'B'.
    pub part: Option<char>,
}

impl AisReport {
    /// A message of which only the head is known.
    pub fn new(message: u8, repeat: u8, mmsi: Mmsi) -> Self {
        Self {
            message,
            repeat,
            mmsi,
            station: mmsi.station(),
            own_vessel: false,
            channel: None,
            nav_status: None,
            rate_of_turn_deg_min: None,
            sog_kn: None,
            position_accurate: None,
            position: None,
            cog_deg: None,
            heading_deg: None,
            utc_second: None,
            position_source: None,
            special_manoeuvre: None,
            raim_flag: None,
            class_b: false,
            name: None,
            call_sign: None,
            ship_type: None,
            dimension_a_m: None,
            dimension_b_m: None,
            dimension_c_m: None,
            dimension_d_m: None,
            draught_m: None,
            destination: None,
            eta: None,
            imo: None,
            text: None,
            addressee: None,
            area_notice: None,
            utc: None,
            off_position: None,
            aid_type: None,
            virtual_aid: None,
            altitude_m: None,
            mother_ship: None,
            part: None,
        }
    }
}
