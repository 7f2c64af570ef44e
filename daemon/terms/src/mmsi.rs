//! Maritime mobile service identities and what their first digits mean (ITU-R M.585).

use serde::{Deserialize, Serialize};
use std::fmt;

/// A maritime mobile service identity: nine digits, leading zeros count.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(try_from = "u32", into = "u32")]
pub struct Mmsi(u32);

impl TryFrom<u32> for Mmsi {
    type Error = &'static str;
    fn try_from(number: u32) -> Result<Self, Self::Error> {
        Self::new(number).ok_or("an MMSI has at most nine digits")
    }
}

impl From<Mmsi> for u32 {
    fn from(mmsi: Mmsi) -> Self {
        mmsi.0
    }
}

/// What kind of station an identity belongs to, by ITU-R M.585.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Station {
    /// A ship (MID and six digits).
    Vessel,
    /// 970: AIS search and rescue transmitter.
    Sart,
    /// 972: person overboard device.
    Mob,
    /// 974: emergency position-indicating radio beacon with AIS.
    Epirb,
    /// 00MID: coast or base station.
    Base,
    /// 99MID: aid to navigation.
    Aton,
    /// 111MID: search and rescue aircraft.
    SarAircraft,
    /// 98MID: craft associated with a parent ship.
    AssociatedCraft,
    /// 0MID: group of ships.
    Group,
    /// 8MID: handheld radio.
    Handheld,
    /// 979: autonomous marker of group B, such as a fishing-gear buoy; no person.
    Amrd,
    /// None of these.
    Other,
}

impl Mmsi {
    /// `None` above nine digits.
    pub const fn new(number: u32) -> Option<Self> {
        if number <= 999_999_999 { Some(Self(number)) } else { None }
    }

    /// The number without its leading zeros.
    pub const fn number(self) -> u32 {
        self.0
    }

    /// Reads nine digits, or fewer if leading zeros are left off.
    pub fn parse(text: &str) -> Option<Self> {
        let t = text.trim();
        let digits = (1..=9).contains(&t.len()) && t.bytes().all(|b| b.is_ascii_digit());
        digits.then(|| t.parse().ok().and_then(Self::new)).flatten()
    }

    /// The kind of station by the first digits (ITU-R M.585). A MID lies between 201 and 799.
    pub fn station(self) -> Station {
        let mid = |from: u32| (201..800).contains(&(self.0 / from % 1000));
        match self.0 / 1_000_000 {
            970 => Station::Sart,
            972 => Station::Mob,
            974 => Station::Epirb,
            979 => Station::Amrd,
            111 if mid(1_000) => Station::SarAircraft,
            201..800 => Station::Vessel,
            800..900 => Station::Handheld,
            980..990 if mid(10_000) => Station::AssociatedCraft,
            990..1000 if mid(10_000) => Station::Aton,
            0..10 if mid(10_000) => Station::Base,
            20..80 if mid(100_000) => Station::Group,
            _ => Station::Other,
        }
    }

    /// Whether the identity is reserved for distress beacons: 970, 972 or 974.
    pub fn is_beacon(self) -> bool {
        matches!(self.station(), Station::Sart | Station::Mob | Station::Epirb)
    }
}

impl fmt::Display for Mmsi {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:09}", self.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn classes_of_itu_r_m_585() {
        // Forms of identity from ITU-R M.585, as quoted by secondary pages; 979 from memory.
        for (n, station) in [
            (970_210_000, Station::Sart),
            (972_122_131, Station::Mob),
            (974_570_191, Station::Epirb),
            (979_123_456, Station::Amrd),
            (2_320_718, Station::Base),
            (111_232_506, Station::SarAircraft),
            (992_351_000, Station::Aton),
            (982_320_001, Station::AssociatedCraft),
            (23_200_001, Station::Group),
            (823_200_001, Station::Handheld),
            (477_553_000, Station::Vessel),
            (0, Station::Other),
            (123_456_789, Station::Other),
            (973_000_000, Station::Other),
        ] {
            assert_eq!(Mmsi::new(n).unwrap().station(), station, "{n}");
        }
        assert_eq!(Mmsi::new(1_000_000_000), None);
        assert_eq!(Mmsi::parse("002320718").unwrap().to_string(), "002320718");
        assert_eq!(Mmsi::parse("+12345678"), None);
    }
}
