//! What a scenario file says, read and checked, before anything moves.

use crate::profile::Profile;
use std::time::Duration;
use terms::{Mmsi, Moment, Position, Utc};

/// A whole scenario.
#[derive(Debug, Clone)]
pub struct Plan {
    pub title: String,
    pub start: Utc,
    pub end: Moment,
    pub seed: u64,
    pub own: Own,
    pub waters: Waters,
    pub feeds: Vec<Feed>,
    pub ships: Vec<Ship>,
    pub aids: Vec<Aid>,
    pub bases: Vec<Base>,
    pub beacons: Vec<Beacon>,
    pub acts: Vec<(Moment, Act)>,
}

/// Own vessel.
#[derive(Debug, Clone)]
pub struct Own {
    pub mmsi: Mmsi,
    pub name: String,
    pub class: Class,
    pub nav_status: u8,
    /// Her own transmitter is on: receivers that do not write her reports as VDO hear her like any other vessel.
    pub transmits: bool,
    pub position: Position,
    /// Through the water.
    pub course_deg: f64,
    pub speed_kn: f64,
    pub turn_deg_min: f64,
    pub yaw_deg: f64,
    pub yaw_period_s: f64,
    /// East positive.
    pub variation_deg: f64,
    pub legs: Vec<Leg>,
}

impl Own {
    /// Own vessel as other receivers hear her, if she transmits.
    pub fn as_ship(&self) -> Option<Ship> {
        self.transmits.then(|| Ship {
            mmsi: self.mmsi,
            class: self.class,
            name: Some(self.name.clone()),
            call_sign: None,
            ship_type: None,
            imo: None,
            destination: None,
            draught_m: None,
            dimensions_m: None,
            nav_status: self.nav_status,
            altitude_m: None,
            place: Place::At { at: Moment::ZERO, position: self.position },
            course_deg: self.course_deg,
            speed_kn: self.speed_kn,
            turn_deg_min: self.turn_deg_min,
            crab_deg: 0.0,
            has_heading: false,
            legs: self.legs.clone(),
            silent: Vec::new(),
        })
    }
}

/// A change of course or speed.
#[derive(Debug, Clone)]
pub struct Leg {
    pub at: Moment,
    pub steer: Option<Steer>,
    pub speed_kn: Option<f64>,
    pub nav_status: Option<u8>,
}

/// Where to.
#[derive(Debug, Clone)]
pub enum Steer {
    Course(f64),
    /// Toward the person with this beacon, to stop alongside.
    Beacon(Mmsi),
}

/// What the sea and the air do, and what the instruments would measure of it.
#[derive(Debug, Clone, Default)]
pub struct Waters {
    /// Set and drift as east and north, in knots.
    pub current: Profile<2>,
    /// Where the wind blows to over the ground, east and north, in knots.
    pub wind: Profile<2>,
    pub gust_kn: f64,
    pub depth_below_transducer_m: Profile<1>,
    /// The sounder's offset: to the waterline positive, to the keel negative.
    pub depth_offset_m: f64,
    /// Beyond this the sounder finds no bottom.
    pub sounder_range_m: f64,
    pub pressure_hpa: Profile<1>,
    pub water_temperature_c: Profile<1>,
    pub battery_v: Profile<1>,
}

/// A stretch of time, the end not included.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Span {
    pub from: Moment,
    pub until: Moment,
}

impl Span {
    pub fn holds(&self, at: Moment) -> bool {
        self.from <= at && at < self.until
    }
}

/// A wire that brings sentences.
#[derive(Debug, Clone)]
pub struct Feed {
    pub name: String,
    pub talker: String,
    /// Source of the TAG block, if the feed writes one.
    pub tag_source: Option<String>,
    /// Formatter and interval.
    pub sentences: Vec<(Formatter, Duration)>,
    /// Set if it has an AIS receiver.
    pub hears: Option<Hearing>,
    pub gps_error_m: f64,
    pub delay: Duration,
    /// Share of lines with one character damaged.
    pub damaged: f64,
    /// Nothing comes at all.
    pub outages: Vec<Span>,
    /// Sentences come, but the receiver has no fix.
    pub no_fix: Vec<Span>,
}

/// How well a receiver hears.
#[derive(Debug, Clone, Copy)]
pub struct Hearing {
    /// Share of the transmissions within range that arrive.
    pub probability: f64,
    pub range_nm: f64,
}

/// Sentences a feed can be asked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Formatter {
    Rmc,
    Gga,
    Gll,
    Vtg,
    Zda,
    Hdt,
    Hdg,
    Rot,
    Vhw,
    Dpt,
    Mtw,
    Mwv,
    Mwd,
    Mda,
    Xdr,
    Vdo,
}

impl Formatter {
    /// Each with the letters of IEC 61162-1.
    pub const ALL: [(&'static str, Self); 16] = [
        ("RMC", Self::Rmc),
        ("GGA", Self::Gga),
        ("GLL", Self::Gll),
        ("VTG", Self::Vtg),
        ("ZDA", Self::Zda),
        ("HDT", Self::Hdt),
        ("HDG", Self::Hdg),
        ("ROT", Self::Rot),
        ("VHW", Self::Vhw),
        ("DPT", Self::Dpt),
        ("MTW", Self::Mtw),
        ("MWV", Self::Mwv),
        ("MWD", Self::Mwd),
        ("MDA", Self::Mda),
        ("XDR", Self::Xdr),
        ("VDO", Self::Vdo),
    ];

    /// Its three letters.
    pub fn letters(self) -> &'static str {
        Self::ALL.iter().find(|(_, f)| *f == self).map_or("", |(letters, _)| letters)
    }

    /// Whether it is a satellite receiver's, measured on the whole interval of UTC.
    pub fn is_satellite(self) -> bool {
        matches!(self, Self::Rmc | Self::Gga | Self::Gll | Self::Vtg | Self::Zda | Self::Vdo)
    }
}

/// Classes of AIS stations on vessels and aircraft.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Class {
    /// Class A.
    A,
    /// Class B that sends when it hears nobody.
    BCarrierSense,
    /// Class B that reserves its slots.
    BSelfOrganised,
    /// Search and rescue aircraft.
    SearchAircraft,
}

impl Class {
    /// Each as the file writes it.
    pub const ALL: [(&'static str, Self); 4] = [
        ("A", Self::A),
        ("B", Self::BCarrierSense),
        ("B SO", Self::BSelfOrganised),
        ("SAR aircraft", Self::SearchAircraft),
    ];
}

/// A vessel, or an aircraft, heard by AIS. Its courses and speeds are over the ground.
#[derive(Debug, Clone)]
pub struct Ship {
    pub mmsi: Mmsi,
    pub class: Class,
    pub name: Option<String>,
    pub call_sign: Option<String>,
    pub ship_type: Option<u8>,
    pub imo: Option<u32>,
    pub destination: Option<String>,
    pub draught_m: Option<f64>,
    pub dimensions_m: Option<[u16; 4]>,
    pub nav_status: u8,
    pub altitude_m: Option<u16>,
    pub place: Place,
    pub course_deg: f64,
    pub speed_kn: f64,
    pub turn_deg_min: f64,
    /// Bow less course: its leeway, or the heading of a ship at anchor.
    pub crab_deg: f64,
    pub has_heading: bool,
    pub legs: Vec<Leg>,
    /// Its transmitter is off.
    pub silent: Vec<Span>,
}

/// Where something is at a moment.
#[derive(Debug, Clone, Copy)]
pub enum Place {
    At { at: Moment, position: Position },
    FromOwn { at: Moment, bearing_deg: f64, range_nm: f64 },
}

/// An aid to navigation.
#[derive(Debug, Clone)]
pub struct Aid {
    pub mmsi: Mmsi,
    pub name: String,
    pub aid_type: u8,
    pub position: Position,
    pub virtual_aid: bool,
    pub off_position: bool,
    pub dimensions_m: Option<[u16; 4]>,
}

/// A base station.
#[derive(Debug, Clone)]
pub struct Base {
    pub mmsi: Mmsi,
    pub position: Position,
}

/// A beacon worn by somebody aboard.
#[derive(Debug, Clone)]
pub struct Beacon {
    pub mmsi: Mmsi,
    pub name: String,
    pub tests: Vec<Moment>,
    pub overboard: Option<Overboard>,
    /// How far it is heard at most: it floats, and so does its aerial.
    pub range_nm: f64,
    pub position_error_m: f64,
}

/// Somebody goes over the side.
#[derive(Debug, Clone)]
pub struct Overboard {
    pub at: Moment,
    /// East and north in knots over the ground; `None`: current and leeway.
    pub drift: Option<[f64; 2]>,
    /// From the fall to the first burst.
    pub activation: Duration,
    /// From the first burst to the first position.
    pub first_fix: Duration,
    /// When it is switched off.
    pub until: Option<Moment>,
    pub silent: Vec<Span>,
    /// It sends, but has lost its fix.
    pub no_fix: Vec<Span>,
}

/// Something the crew does, with the words of the command line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Act {
    /// Which command.
    pub verb: Verb,
    /// The words that follow it: an order, a reason, a note; may be empty.
    pub words: String,
}

/// The commands a scenario can give.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verb {
    /// Acknowledge alerts: of the order named, or all.
    Acknowledge,
    /// Silence alerts: of the order named, or all.
    Silence,
    /// Press the overboard button; the words name who.
    Overboard,
    /// End a casualty; the words are the reason.
    StandDown,
    /// Declare what the vessel is doing, or the waters.
    Declare,
    /// Hand over the watch to somebody.
    Handover,
    /// Write a note in the logbook.
    Note,
}

impl Verb {
    /// Each as the command line writes it.
    pub const ALL: [(&'static str, Self); 7] = [
        ("acknowledge", Self::Acknowledge),
        ("silence", Self::Silence),
        ("overboard", Self::Overboard),
        ("stand-down", Self::StandDown),
        ("declare", Self::Declare),
        ("handover", Self::Handover),
        ("note", Self::Note),
    ];
}
