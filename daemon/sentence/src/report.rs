//! What a sentence says, typed. A field is `None` if the sentence omits it or says it is not available, reserved or out
//! of range: absent, never a number that stands for absence.
//!
//! Serialised, the field names with their units are the "named quantities" of `listen --json`.

use crate::ais::AisReport;
use crate::plan::{RoutePart, Waypoint, WaypointPlace};
use serde::ser::SerializeMap;
use serde::{Serialize, Serializer};
use terms::{Mmsi, Position, Utc};

/// Writes a position as its two numbers, and a missing one as two nulls rather than nothing at all.
pub(crate) fn place<S: Serializer>(position: &Option<Position>, serializer: S) -> Result<S::Ok, S::Error> {
    let mut map = serializer.serialize_map(Some(2))?;
    map.serialize_entry("latitude_deg", &position.map(Position::latitude_deg))?;
    map.serialize_entry("longitude_deg", &position.map(Position::longitude_deg))?;
    map.end()
}

/// A time as a sentence gives it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum SentTime {
    /// Date and time of day: a whole moment of UTC.
    Utc(Utc),
    /// Time of day only, in milliseconds since midnight UTC; the stream supplies the date. A leap second reads
    /// 86,400,000 to 86,400,999.
    OfDayMs(u32),
}

/// Position, course and speed by satellite (RMC, GGA, GLL, GNS, VTG), whichever the sentence has.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize)]
pub struct Fix {
    /// When it was measured.
    pub time: Option<SentTime>,
    /// Where.
    #[serde(flatten, serialize_with = "place")]
    pub position: Option<Position>,
    /// Speed over ground in knots.
    pub sog_kn: Option<f64>,
    /// Course over ground, true, in [0, 360).
    pub cog_deg: Option<f64>,
    /// Course over ground, magnetic (VTG).
    pub cog_magnetic_deg: Option<f64>,
    /// Magnetic variation in degrees, east positive (RMC).
    pub variation_deg: Option<f64>,
    /// Horizontal dilution of precision (GGA, GNS).
    pub hdop: Option<f64>,
    /// Satellites in use (GGA, GNS).
    pub satellites: Option<u8>,
    /// How it was found.
    pub quality: Option<FixQuality>,
}

/// How a fix was found (IEC 61162-1 mode indicators and GGA quality).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum FixQuality {
    /// By satellites only.
    Autonomous,
    /// With differential corrections.
    Differential,
    /// Precise, real-time kinematic or float.
    Precise,
    /// Dead reckoning.
    Estimated,
    /// Put in by hand.
    Manual,
    /// A simulator's: refused unless the feed is declared to be one.
    Simulator,
}

/// Heading or course of the bow (HDT, HDG, HDM, THS, VHW).
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize)]
pub struct Heading {
    /// True, in [0, 360).
    pub true_deg: Option<f64>,
    /// Magnetic or compass (HDG before its deviation), in [0, 360).
    pub magnetic_deg: Option<f64>,
    /// Deviation in degrees, east positive (HDG).
    pub deviation_deg: Option<f64>,
    /// Variation in degrees, east positive (HDG).
    pub variation_deg: Option<f64>,
}

/// What a wind is measured against.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum WindReference {
    /// As felt aboard (MWV R, VWR).
    Apparent,
    /// Relative to the water (MWV T).
    True,
    /// Over the ground, from a direction (MWD).
    Ground,
}

/// Wind (MWV, MWD, VWR).
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Wind {
    /// What it is measured against.
    pub reference: WindReference,
    /// Angle off the bow, port negative, (−180, 180]; apparent and true wind.
    pub angle_deg: Option<f64>,
    /// Direction the wind comes from, true, [0, 360); wind over the ground.
    pub direction_deg: Option<f64>,
    /// The same, magnetic.
    pub direction_magnetic_deg: Option<f64>,
    /// Speed in knots.
    pub speed_kn: Option<f64>,
}

/// Depth of water (DPT, DBT, DBS).
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize)]
pub struct Depth {
    /// Below the transducer in metres.
    pub below_transducer_m: Option<f64>,
    /// The sentence's own offset in metres: positive from transducer up to waterline, negative down to keel (DPT).
    pub offset_m: Option<f64>,
    /// Below the surface in metres (DBS).
    pub below_surface_m: Option<f64>,
}

/// One transducer measurement (XDR).
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Transducer {
    /// Type letter of IEC 61162-1 (C temperature, P pressure, U voltage …).
    pub kind: char,
    /// Value in `unit`.
    pub value: f64,
    /// Unit letter of IEC 61162-1 (C, B bar, P pascal, V …).
    pub unit: Option<char>,
    /// The transducer's name.
    pub name: String,
}

/// Meteorological composite and single weather sentences (MDA, MTW).
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize)]
pub struct Weather {
    /// Air pressure.
    pub pressure_hpa: Option<f64>,
    /// Air temperature.
    pub air_temperature_c: Option<f64>,
    /// Water temperature.
    pub water_temperature_c: Option<f64>,
    /// Direction the wind comes from, true.
    pub wind_direction_deg: Option<f64>,
    /// Wind speed.
    pub wind_speed_kn: Option<f64>,
}

/// State of an overboard emitter (MOB, IEC 61162-1 8.3.64).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum MobStatus {
    /// A: the emitter is active.
    Active,
    /// T: under test.
    Test,
    /// M: a button was pressed.
    Manual,
    /// V: not in use.
    NotInUse,
}

/// A person overboard by sentence (MOB).
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Overboard {
    /// The emitter, as written (hexadecimal).
    pub emitter: Option<String>,
    /// Its state.
    pub status: MobStatus,
    /// Time of day of activation, milliseconds since midnight UTC.
    pub activated_of_day_ms: Option<u32>,
    /// Whether the position is the emitter's own (1) or the vessel's estimate (0).
    pub position_from_emitter: Option<bool>,
    /// When the position was measured.
    pub time: Option<SentTime>,
    /// Where.
    #[serde(flatten, serialize_with = "place")]
    pub position: Option<Position>,
    /// Speed over ground.
    pub sog_kn: Option<f64>,
    /// Course over ground.
    pub cog_deg: Option<f64>,
    /// Identity of the emitter.
    pub mmsi: Option<Mmsi>,
    /// Battery low.
    pub battery_low: Option<bool>,
}

/// Nature of distress (ITU-R M.493; the sentence carries the code less 100, so man overboard is 110 or field 10).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Distress {
    /// 100.
    Fire,
    /// 101.
    Flooding,
    /// 102.
    Collision,
    /// 103.
    Grounding,
    /// 104.
    Listing,
    /// 105.
    Sinking,
    /// 106.
    Adrift,
    /// 107.
    Undesignated,
    /// 108.
    Abandoning,
    /// 109.
    Piracy,
    /// 110.
    ManOverboard,
    /// 112.
    EpirbEmission,
}

/// A digital selective call (DSC).
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SelectiveCall {
    /// Format specifier (12 distress, 16 all ships …).
    pub format: Option<u8>,
    /// Who called.
    pub caller: Option<Mmsi>,
    /// Category (00 routine … 12 distress).
    pub category: Option<u8>,
    /// Nature of the distress, for distress calls and their relays.
    pub nature: Option<Distress>,
    /// First telecommand if it is no distress.
    pub telecommand: Option<u8>,
    /// The channel or frequency on which to answer, as people write it: `channel 16`, `2182 kHz`. Not of distress calls.
    pub channel: Option<String>,
    /// Position to the whole minute: ±0.5′, never a fix.
    #[serde(flatten, serialize_with = "place")]
    pub position: Option<Position>,
    /// Time of that position, minutes since midnight UTC.
    pub position_of_day_min: Option<u16>,
    /// The vessel in distress, if another relays.
    pub casualty: Option<Mmsi>,
    /// Acknowledgement: R request, B is one, S end of sequence.
    pub acknowledgement: Option<char>,
    /// A DSE sentence follows.
    pub expansion_follows: bool,
}

/// The position refinement that follows a DSC (DSE, data code 00), in ten-thousandths of a minute.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CallExpansion {
    /// Whose call it expands.
    pub caller: Option<Mmsi>,
    /// To be added to the minutes of latitude, away from the equator.
    pub latitude_extra_min: Option<f64>,
    /// To be added to the minutes of longitude, away from Greenwich.
    pub longitude_extra_min: Option<f64>,
}

/// What a NAVTEX receiver puts before a message, and what that says of it (NRX). Fields beyond the first sentence of a
/// message are empty in one of the two forms.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct NavtexPart {
    /// Sentences of the whole message.
    pub parts: u16,
    /// Which of them this is, from 1.
    pub part: u16,
    /// The receiver's number for the message, 0 to 99, in the form that has one.
    pub sequence: Option<u8>,
    /// Who sent it, on what, and its number.
    #[serde(flatten)]
    pub identity: Option<NavtexIdentity>,
    /// The frequency it was heard on, kHz; `None` if it did not come over the air.
    pub frequency_khz: Option<f64>,
    /// When it was received.
    #[serde(rename = "received_utc")]
    pub received: Option<Utc>,
    /// Characters received wrong, in per cent of all.
    pub wrong_percent: Option<f64>,
    /// This part of the text, as received: blanks at its ends count, line ends are blanks.
    pub text: String,
}

/// The four characters that name a NAVTEX message, B1 to B4 (ITU-R M.540).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct NavtexIdentity {
    /// The transmitter, A to Z.
    #[serde(rename = "navtex_station")]
    pub station: char,
    /// The subject, A to Z: A navigational warning, B gale, D search and rescue, …
    #[serde(rename = "navtex_subject")]
    pub subject: char,
    /// The number, 0 to 99; 0 is kept for urgent messages.
    #[serde(rename = "navtex_number")]
    pub number: u8,
}

impl std::fmt::Display for NavtexIdentity {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}{}{:02}", self.station, self.subject, self.number)
    }
}

impl CallExpansion {
    /// The position of the call it expands, refined; `None` if it does not say.
    pub fn refined(&self, whole_minutes: Position) -> Option<Position> {
        let away = |deg: f64, extra_min: f64| {
            deg + extra_min.clamp(0.0, 1.0) / 60.0 * if deg < 0.0 { -1.0 } else { 1.0 }
        };
        let latitude_deg = away(whole_minutes.latitude_deg(), self.latitude_extra_min?);
        let longitude_deg = away(whole_minutes.longitude_deg(), self.longitude_extra_min?);
        Position::new(latitude_deg, longitude_deg).ok()
    }
}

/// A radar plot (TTM relative, TLL as a position).
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct RadarPlot {
    /// The radar's number for it.
    pub number: Option<u16>,
    /// Range in nautical miles.
    pub range_nm: Option<f64>,
    /// Bearing in degrees.
    pub bearing_deg: Option<f64>,
    /// Whether the bearing is relative to the bow.
    pub bearing_relative: bool,
    /// Speed in knots.
    pub speed_kn: Option<f64>,
    /// Course in degrees, true unless `course_relative`.
    pub course_deg: Option<f64>,
    /// Whether course and speed are relative.
    pub course_relative: bool,
    /// Position (TLL).
    #[serde(flatten, serialize_with = "place")]
    pub position: Option<Position>,
    /// Name given by the operator.
    pub name: Option<String>,
    /// L lost, Q query, T tracked.
    pub status: Option<char>,
    /// When it was measured.
    pub time: Option<SentTime>,
}

/// An alert of another device, or words about one (ALR, ALF, ACK, ACN).
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct DeviceAlert {
    /// Manufacturer's mnemonic, if there is one.
    pub source: Option<String>,
    /// Identifier of the alert.
    pub identifier: Option<u32>,
    /// Instance.
    pub instance: Option<u32>,
    /// Priority letter E A W C (ALF).
    pub priority: Option<char>,
    /// State letter (ALF: V S A O U N; ALR: A exceeded or V not).
    pub state: Option<char>,
    /// Command letter (ACN: A Q O S).
    pub command: Option<char>,
    /// Whether it has been acknowledged (ALR).
    pub acknowledged: Option<bool>,
    /// Time of the last change.
    pub time: Option<SentTime>,
    /// Its words.
    pub text: Option<String>,
}

/// What a sentence says.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(untagged)]
pub enum Report {
    /// RMC, GGA, GLL, GNS, VTG.
    Fix(Fix),
    /// ZDA.
    Time {
        /// Date and time.
        utc: Option<Utc>,
    },
    /// HDT, HDG, HDM, THS.
    Heading(Heading),
    /// VHW, VBW: speed through water in knots, with the heading if it has one; VBW over ground too.
    WaterSpeed {
        /// Along the bow.
        speed_through_water_kn: Option<f64>,
        /// Speed over ground along the bow (VBW).
        ground_speed_kn: Option<f64>,
        /// Heading of the same sentence.
        #[serde(flatten)]
        heading: Heading,
    },
    /// DPT, DBT, DBS.
    Depth(Depth),
    /// MWV, MWD, VWR.
    Wind(Wind),
    /// MTW, MDA.
    Weather(Weather),
    /// XDR.
    Transducers {
        /// In the order of the sentence.
        transducers: Vec<Transducer>,
    },
    /// XTE: cross-track error, steer to starboard positive.
    CrossTrack {
        /// Nautical miles.
        cross_track_error_nm: Option<f64>,
    },
    /// RMB, APB, BWC, BWR, BOD, AAM.
    Waypoint(Waypoint),
    /// WPL.
    WaypointPlace(WaypointPlace),
    /// RTE.
    RoutePart(RoutePart),
    /// ROT.
    RateOfTurn {
        /// To starboard positive.
        rate_of_turn_deg_min: Option<f64>,
    },
    /// RSA: rudder angle, starboard positive (single or starboard rudder).
    Rudder {
        /// Degrees.
        rudder_deg: Option<f64>,
    },
    /// RPM: an engine's or shaft's revolutions a minute.
    Revolutions {
        /// S shaft, E engine.
        source: char,
        /// Its number.
        number: u8,
        /// Revolutions a minute.
        revolutions_per_min: Option<f64>,
    },
    /// MOB.
    Overboard(Overboard),
    /// DSC.
    SelectiveCall(SelectiveCall),
    /// DSE.
    CallExpansion(CallExpansion),
    /// NRX: a part of a NAVTEX message, in either form.
    Navtex(NavtexPart),
    /// TTM, TLL.
    RadarPlot(RadarPlot),
    /// ALR, ALF, ACK, ACN.
    DeviceAlert(DeviceAlert),
    /// HBT: the device's own supervision sentence.
    Heartbeat {
        /// Seconds between them, if given.
        interval_s: Option<f64>,
        /// Whether the device is in normal operation.
        normal: bool,
    },
    /// VDM, VDO: a whole AIS message.
    Ais(Box<AisReport>),
    /// A part of an AIS message whose other parts are still to come.
    Fragment,
    /// Understood in form, not read in content: a formatter or an AIS type that is only counted.
    Unread,
}
