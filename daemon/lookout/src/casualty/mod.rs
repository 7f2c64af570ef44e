//! Casualties: not yet judged here; beacons are told from ships, and that is all.

use sentence::{Report, ais::AisReport};
use serde::{Deserialize, Serialize};
use terms::{Mmsi, Moment, Position, Utc, UtcSource};

/// A member of the crew, and the identity of the beacon that he or she wears.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct CrewMember {
    /// As the crew calls them.
    pub name: String,
    /// The beacon's identity, whatever its prefix.
    pub mmsi: Option<Mmsi>,
}

/// What a relative bearing is measured from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum RelativeTo {
    /// The bow.
    Heading,
    /// The course over ground.
    Cog,
}

/// A value and when it was measured.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Known<T> {
    /// What was measured.
    pub value: T,
    /// When.
    pub at: Moment,
}

/// A wind: where it comes from and how fast it blows.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct WindFrom {
    /// Direction it comes from, true.
    pub from_deg: f64,
    /// Speed in knots at the height of the sensor.
    pub speed_kn: f64,
}

/// Own vessel at a moment. `None` is not available; the caller leaves out what it no longer believes.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct OwnContext {
    /// Own identity.
    pub mmsi: Option<Mmsi>,
    /// Last fix.
    pub position: Option<Known<Position>>,
    /// Course over ground, true.
    pub cog_deg: Option<Known<f64>>,
    /// Speed over ground.
    pub sog_kn: Option<Known<f64>>,
    /// Heading, true.
    pub heading_deg: Option<Known<f64>>,
    /// Speed through the water.
    pub speed_through_water_kn: Option<Known<f64>>,
    /// Magnetic variation in degrees, east positive.
    pub variation_deg: Option<f64>,
    /// True wind.
    pub wind: Option<Known<WindFrom>>,
    /// Height of the wind sensor above the water in metres.
    pub wind_height_m: Option<f64>,
    /// Water temperature in degrees Celsius.
    pub water_temperature_c: Option<Known<f64>>,
    /// UTC at this moment, and who told it.
    pub utc: Option<(Utc, UtcSource)>,
    /// The boat's speed under engine, by the configuration.
    pub motoring_speed_kn: Option<f64>,
}

/// What happened to a casualty.
#[derive(Debug, Clone, PartialEq)]
pub enum CasualtyNews {}

/// The casualties.
#[derive(Debug, Clone)]
pub struct Casualties {
    crew: Vec<CrewMember>,
}

impl Casualties {
    /// None yet.
    pub fn new(crew: Vec<CrewMember>) -> Self {
        Self { crew }
    }

    /// Whether a message is a beacon's, and so no target's.
    pub fn hear_ais(&mut self, _at: Moment, report: &AisReport, _own: &OwnContext) -> bool {
        report.mmsi.is_beacon() || self.crew.iter().any(|c| c.mmsi == Some(report.mmsi))
    }

    /// Takes any other sentence.
    pub fn hear(&mut self, _at: Moment, _report: &Report, _own: &OwnContext) {}
}

impl OwnContext {
    /// What a relative bearing is measured from: the heading, else the course while she moves.
    pub fn ahead(&self, _at: Moment) -> Option<(f64, RelativeTo)> {
        let moving = self.sog_kn.is_none_or(|s| s.value >= 0.5);
        let course = self.cog_deg.filter(|_| moving).map(|c| (c.value, RelativeTo::Cog));
        self.heading_deg.map(|h| (h.value, RelativeTo::Heading)).or(course)
    }
}
