//! Kinds of stations, types of ships and navigational status, in the words orders use.

use crate::Settings;
use terms::{Mmsi, Station};

terms::closed_list! {
    /// Kind of a target.
    #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
    pub enum Kind {
        /// A ship or boat.
        Vessel = "vessel",
        /// Craft of a parent ship (98MID).
        AssociatedCraft = "associated-craft",
        /// Followed by radar only.
        Radar = "radar",
        /// An identity that is no ship's, and moves and sends a ship's reports: a set programmed wrong, or a net adrift.
        Other = "other",
        /// Identity of a group of ships.
        Group = "group",
        /// Listed in the settings as no danger.
        OwnFleet = "own-fleet",
        /// Coast station.
        Base = "base",
        /// Buoy, light, beacon; also a virtual one.
        Aton = "aton",
        /// Search and rescue aircraft.
        SarAircraft = "sar-aircraft",
        /// Marker of fishing gear and the like (979).
        Amrd = "amrd",
        /// Handheld radio.
        Handheld = "handheld",
    }
}

impl Kind {
    /// Whether it is somebody to meet at sea: only those have a closest point of approach. A buoy, a coast station, an
    /// aircraft and own tender have a range and a bearing.
    pub const fn is_ship(self) -> bool {
        matches!(self, Self::Vessel | Self::AssociatedCraft | Self::Radar | Self::Other | Self::Group)
    }

    /// The kind of a station, by its identity, the type of message it sends, and the settings. What moves and sends a
    /// ship's reports is a ship, whatever its identity.
    pub(crate) fn of(mmsi: Mmsi, message: u8, moves: bool, settings: &Settings) -> Self {
        if settings.fleet.contains(&mmsi) {
            return Self::OwnFleet;
        }
        match mmsi.station() {
            Station::Base | Station::Aton | Station::SarAircraft | Station::Amrd | Station::Handheld
                if moves =>
            {
                Self::Other
            }
            Station::Base => Self::Base,
            Station::Aton => Self::Aton,
            Station::SarAircraft => Self::SarAircraft,
            Station::AssociatedCraft => Self::AssociatedCraft,
            Station::Amrd => Self::Amrd,
            Station::Handheld => Self::Handheld,
            station => match message {
                // A message only such a station sends reveals it, whatever its identity (ITU-R M.1371-5 table 46).
                4 => Self::Base,
                9 => Self::SarAircraft,
                21 => Self::Aton,
                _ if station == Station::Vessel => Self::Vessel,
                _ if station == Station::Group => Self::Group,
                _ => Self::Other,
            },
        }
    }
}

/// The word for a type of ship and cargo (ITU-R M.1371-5 table 53).
pub(crate) fn ship_type_word(ship_type: u8) -> &'static str {
    match ship_type {
        20..=29 => "wing-in-ground",
        30 => "fishing",
        31 | 32 => "towing",
        33 => "dredging",
        34 => "diving",
        35 => "military",
        36 => "sailing",
        37 => "pleasure",
        40..=49 => "high-speed",
        50 => "pilot",
        51 => "search-and-rescue",
        52 => "tug",
        53 => "port-tender",
        54 => "anti-pollution",
        55 => "law-enforcement",
        58 => "medical",
        60..=69 => "passenger",
        70..=79 => "cargo",
        80..=89 => "tanker",
        _ => "other",
    }
}

/// The word for a navigational status (ITU-R M.1371-5 table 45); `None` for those reserved.
pub(crate) fn status_word(nav_status: u8) -> Option<&'static str> {
    Some(match nav_status {
        0 => "under way using engine",
        1 => "at anchor",
        2 => "not under command",
        3 => "restricted manoeuvrability",
        4 => "constrained by draught",
        5 => "moored",
        6 => "aground",
        7 => "engaged in fishing",
        8 => "under way sailing",
        11 => "towing astern",
        12 => "pushing ahead",
        14 => "beacon active",
        15 => "not defined",
        _ => return None,
    })
}
