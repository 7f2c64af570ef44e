//! The boat's particulars the lookout needs before it starts.

use crate::casualty::{CrewMember, SetDrift};
use std::collections::BTreeMap;
use terms::{BatteryKind, FeedId, Mmsi, Quantity, Utc};

/// Where a vessel's reference point (the antenna a position refers to) lies in her, in metres.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Dimensions {
    /// To the bow (A of ITU-R M.1371).
    pub bow_m: f64,
    /// To the stern (B).
    pub stern_m: f64,
    /// To the port side (C).
    pub port_m: f64,
    /// To the starboard side (D).
    pub starboard_m: f64,
}

impl Dimensions {
    /// Length over all, if any of it is known.
    pub fn length_m(&self) -> Option<f64> {
        let length = self.bow_m + self.stern_m;
        (length > 0.0).then_some(length)
    }
}

/// The boat's particulars.
#[derive(Debug, Clone, PartialEq)]
pub struct Settings {
    /// Own identity; never a target. Learnt from own transmitter's reports if not given.
    pub own_mmsi: Option<Mmsi>,
    /// Who is aboard, and which beacons they wear.
    pub crew: Vec<CrewMember>,
    /// Own tender and other craft that are no danger: kept, and of kind `own fleet`.
    pub fleet: Vec<Mmsi>,
    /// From the transducer up to the waterline, in metres.
    pub transducer_to_waterline_m: Option<f64>,
    /// From the transducer down to the bottom of the keel, in metres.
    pub transducer_to_keel_m: Option<f64>,
    /// Magnetic variation in degrees, east positive: used if neither an instrument nor the model gives it.
    pub variation_deg: Option<f64>,
    /// Where the antenna of own positions lies in the boat.
    pub dimensions: Option<Dimensions>,
    /// Speed she makes under power, in knots.
    pub motoring_speed_kn: f64,
    /// Height of the wind sensor above the water, in metres.
    pub wind_height_m: Option<f64>,
    /// Height of the AIS antenna above the water, in metres.
    pub ais_antenna_m: Option<f64>,
    /// What the battery is made of.
    pub battery: BatteryKind,
    /// Set and drift of the water, if the skipper gives them.
    pub current: Option<SetDrift>,
    /// A waypoint this near is reached, in nautical miles.
    pub arrival_nm: f64,
    /// Feeds in order of trust, best first; those not named come after, in order of number.
    pub feed_order: Vec<FeedId>,
    /// What feeds are called.
    pub feed_names: BTreeMap<FeedId, String>,
    /// Which quantity a transducer of that name (XDR) measures, if its name does not reveal it.
    pub transducers: BTreeMap<String, Quantity>,
    /// Two positions of own vessel further apart than this for half a minute are reported.
    pub positions_differ_nm: f64,
    /// The most targets kept. Beyond that each feed has a fair share, in which the least dangerous gives way, and of those
    /// the one heard longest ago.
    pub targets_max: usize,
    /// UTC is never earlier: an earlier date means a receiver's week counter has rolled over. `None` in a replay, which
    /// may be of any time.
    pub earliest_utc: Option<Utc>,
}

/// 2025-01-01T00:00:00Z, before which this program did not exist.
const EARLIEST_UTC: Utc = Utc(1_735_689_600_000);

impl Default for Settings {
    fn default() -> Self {
        Self {
            own_mmsi: None,
            crew: Vec::new(),
            fleet: Vec::new(),
            transducer_to_waterline_m: None,
            transducer_to_keel_m: None,
            battery: BatteryKind::Lead,
            variation_deg: None,
            dimensions: None,
            motoring_speed_kn: 5.0,
            wind_height_m: None,
            ais_antenna_m: None,
            current: None,
            arrival_nm: 0.2,
            feed_order: Vec::new(),
            feed_names: BTreeMap::new(),
            transducers: BTreeMap::new(),
            positions_differ_nm: 0.1,
            targets_max: 4_096,
            earliest_utc: Some(EARLIEST_UTC),
        }
    }
}

impl Settings {
    /// What a feed is called.
    pub(crate) fn feed_name(&self, feed: FeedId) -> String {
        self.feed_names.get(&feed).cloned().unwrap_or_else(|| format!("feed {}", feed.0 + 1))
    }

    /// How far a feed is trusted: lower is better.
    pub(crate) fn rank(&self, feed: FeedId) -> usize {
        let named = self.feed_order.iter().position(|&f| f == feed);
        named.unwrap_or(self.feed_order.len() + usize::from(feed.0))
    }
}
