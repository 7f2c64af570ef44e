//! The quantities to watch, their units, and the subjects they belong to.

use crate::{Mmsi, Moment};
use serde::{Deserialize, Serialize};
use std::fmt;

/// A feed by its place in the configuration.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct FeedId(pub u16);

/// A signal by its place in the configuration.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct SignalId(pub u16);

/// A casualty; counted from 1 and never reused in one logbook.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct CasualtyId(pub u32);

/// A call or message received by radio; counted from 1.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct CallId(pub u32);

/// What a quantity, or an alert, is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Subject {
    /// The vessel whose lookout this is.
    OwnVessel,
    /// Another station heard by AIS.
    Target(Mmsi),
    /// A person overboard or a distress beacon.
    Casualty(CasualtyId),
    /// A call or message received by radio.
    Call(CallId),
    /// A wire or connection that brings sentences.
    Feed(FeedId),
    /// A buzzer, command or webhook.
    Signal(SignalId),
    /// The logbook on disk.
    Logbook,
    /// The daemon itself: its orders, its clock.
    Lookout,
}

/// Whose quantity: which subjects have it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Whose {
    /// Own vessel's.
    Own,
    /// Each target's.
    Target,
    /// Each feed's.
    Feed,
}

/// What is measured, which decides the units allowed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Dimension {
    /// In knots.
    Speed,
    /// Between positions; in nautical miles.
    Distance,
    /// Depth, height, length of a ship; in metres.
    Length,
    /// A direction on the circle; in degrees [0, 360).
    Direction,
    /// An angle to one side, port negative; in degrees.
    Side,
    /// In degrees a minute, to starboard positive.
    TurnRate,
    /// In hectopascals.
    Pressure,
    /// In degrees Celsius.
    Temperature,
    /// In volts.
    Voltage,
    /// In seconds.
    Time,
    /// A plain number without unit.
    Number,
    /// A word out of a list, or a name.
    Word,
    /// A place; it can be missing or have an age, but takes no limit.
    Place,
}

/// A unit that may follow a number.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Unit {
    /// As written.
    pub symbol: &'static str,
    /// One of these in the dimension's own unit.
    pub factor: f64,
    /// Added after the factor (for degrees Fahrenheit).
    pub offset: f64,
}

/// Table rows without an offset.
const fn unit(symbol: &'static str, factor: f64) -> Unit {
    Unit { symbol, factor, offset: 0.0 }
}

// The foot is 0.3048 m, the nautical mile 1852 m, the cable a tenth of it, the fathom six feet: exact by definition.
const DISTANCE: &[Unit] = &[
    unit("nm", 1.0),
    unit("cable", 0.1),
    unit("km", 1000.0 / 1852.0),
    unit("m", 1.0 / 1852.0),
    unit("ft", 0.3048 / 1852.0),
];
const LENGTH: &[Unit] =
    &[unit("m", 1.0), unit("ft", 0.3048), unit("fathom", 1.8288), unit("cable", 185.2), unit("nm", 1852.0)];
const SPEED: &[Unit] = &[
    unit("kn", 1.0),
    unit("m/s", 3600.0 / 1852.0),
    unit("km/h", 1000.0 / 1852.0),
    unit("mph", 1609.344 / 1852.0),
];
const ANGLE: &[Unit] = &[unit("deg", 1.0), unit("°", 1.0)];
const TURN_RATE: &[Unit] =
    &[unit("deg/min", 1.0), unit("°/min", 1.0), unit("deg/s", 60.0), unit("°/s", 60.0)];
const PRESSURE: &[Unit] = &[unit("hPa", 1.0), unit("mbar", 1.0), unit("kPa", 10.0), unit("inHg", 33.863_89)];
const TEMPERATURE: &[Unit] = &[
    unit("°C", 1.0),
    unit("C", 1.0),
    Unit { symbol: "°F", factor: 5.0 / 9.0, offset: -160.0 / 9.0 },
    Unit { symbol: "F", factor: 5.0 / 9.0, offset: -160.0 / 9.0 },
];
const VOLTAGE: &[Unit] = &[unit("V", 1.0), unit("mV", 0.001)];
const TIME: &[Unit] = &[unit("s", 1.0), unit("min", 60.0), unit("h", 3600.0), unit("d", 86_400.0)];

impl Dimension {
    /// Units that may be written, the dimension's own first; none for numbers, words and places.
    pub fn units(self) -> &'static [Unit] {
        match self {
            Self::Speed => SPEED,
            Self::Distance => DISTANCE,
            Self::Length => LENGTH,
            Self::Direction | Self::Side => ANGLE,
            Self::TurnRate => TURN_RATE,
            Self::Pressure => PRESSURE,
            Self::Temperature => TEMPERATURE,
            Self::Voltage => VOLTAGE,
            Self::Time => TIME,
            Self::Number | Self::Word | Self::Place => &[],
        }
    }

    /// Converts a number in a written unit to the dimension's own unit; `None` for a unit of something else.
    pub fn in_own_unit(self, number: f64, symbol: &str) -> Option<f64> {
        self.units().iter().find(|u| u.symbol == symbol).map(|u| number * u.factor + u.offset)
    }
}

macro_rules! quantities {
    ($(#[doc = $doc:literal] $variant:ident $name:literal $whose:ident $dimension:ident;)+) => {
        /// A quantity that orders can watch and the lookout reports.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
        #[repr(u8)]
        pub enum Quantity { $(#[doc = $doc] $variant,)+ }

        impl Quantity {
            /// All of them, in order of declaration.
            pub const ALL: &'static [Self] = &[$(Self::$variant,)+];

            /// Its name as an order writes it.
            pub const fn name(self) -> &'static str {
                match self { $(Self::$variant => $name,)+ }
            }

            /// What it is, in a sentence.
            pub fn meaning(self) -> &'static str {
                match self { $(Self::$variant => $doc.trim(),)+ }
            }

            /// Whose it is.
            pub const fn whose(self) -> Whose {
                match self { $(Self::$variant => Whose::$whose,)+ }
            }

            /// What it measures.
            pub const fn dimension(self) -> Dimension {
                match self { $(Self::$variant => Dimension::$dimension,)+ }
            }
        }
    };
}

quantities! {
    /// Own position by satellite.
    Fix "position" Own Place;
    /// Speed over ground.
    Sog "SOG" Own Speed;
    /// Course over ground, true.
    Cog "COG" Own Direction;
    /// Speed through water.
    SpeedThroughWater "speed through water" Own Speed;
    /// Heading, true.
    Heading "heading" Own Direction;
    /// Rate of turn.
    RateOfTurn "rate of turn" Own TurnRate;
    /// Rudder angle.
    Rudder "rudder" Own Side;
    /// Depth below the transducer.
    DepthBelowTransducer "depth below transducer" Own Length;
    /// Depth below the keel, by the boat's offset or the sentence's.
    DepthBelowKeel "depth below keel" Own Length;
    /// Depth below the surface, by the boat's offset or the sentence's.
    DepthBelowSurface "depth below surface" Own Length;
    /// Water temperature.
    WaterTemperature "water temperature" Own Temperature;
    /// Air temperature.
    AirTemperature "air temperature" Own Temperature;
    /// Air pressure.
    Pressure "pressure" Own Pressure;
    /// Air pressure less the wave that the sun raises in it twice a day.
    PressureCorrected "corrected pressure" Own Pressure;
    /// Apparent wind speed.
    ApparentWindSpeed "apparent wind speed" Own Speed;
    /// Apparent wind angle off the bow.
    ApparentWindAngle "apparent wind angle" Own Side;
    /// True wind speed, relative to the water.
    TrueWindSpeed "true wind speed" Own Speed;
    /// True wind angle off the bow, relative to the water.
    TrueWindAngle "true wind angle" Own Side;
    /// Direction the true wind comes from, true.
    TrueWindDirection "true wind direction" Own Direction;
    /// Wind speed over the ground.
    GroundWindSpeed "wind speed over ground" Own Speed;
    /// Direction the wind over the ground comes from, true.
    GroundWindDirection "wind direction over ground" Own Direction;
    /// Cross-track error, steer to starboard positive.
    CrossTrackError "cross-track error" Own Distance;
    /// The waypoint that the plotter leads to, by name.
    ActiveWaypoint "active waypoint" Own Word;
    /// Whether the active waypoint is ahead, reached or passed, as a word.
    Arrival "arrival" Own Word;
    /// Distance to the active waypoint.
    WaypointDistance "distance to waypoint" Own Distance;
    /// True bearing of the active waypoint.
    WaypointBearing "bearing to waypoint" Own Direction;
    /// Distance to the end of the route: to the active waypoint and along all later legs.
    DistanceToGo "distance to go" Own Distance;
    /// Speed over ground toward the active waypoint, negative going away.
    SpeedToWaypoint "speed toward waypoint" Own Speed;
    /// Time to the active waypoint at the mean speed toward it of ten minutes.
    WaypointTime "time to waypoint" Own Time;
    /// How far she lies outside the circle in which she swings at anchor; 0 within it.
    AnchorDrag "anchor drag" Own Length;
    /// Lower 95 % bound of the anchor drag.
    AnchorDragLeast "least anchor drag" Own Length;
    /// With 95 % the anchor lies within this of where it is believed to lie.
    AnchorError "anchor error" Own Length;
    /// Battery voltage.
    BatteryVoltage "battery voltage" Own Voltage;
    /// How far the battery voltage is above that at which a battery of its kind is low; negative below it.
    BatteryMargin "battery margin" Own Voltage;
    /// Named transducers (XDR); an order names the one it means.
    Transducers "transducers" Own Place;
    /// Sun up or down at own position, as a word.
    Sun "sun" Own Word;
    /// Targets held.
    TargetCount "number of targets" Own Number;
    /// Range of a target from own vessel.
    Range "range" Target Distance;
    /// True bearing of a target.
    Bearing "bearing" Target Direction;
    /// Bearing of a target off the bow, port negative; to heading, else to COG.
    RelativeBearing "relative bearing" Target Side;
    /// Distance at the closest point of approach.
    Cpa "CPA" Target Distance;
    /// Time to the closest point of approach; negative once it is past.
    Tcpa "TCPA" Target Time;
    /// Lower 95 % bound of the CPA.
    CpaLeast "least CPA" Target Distance;
    /// Upper 95 % bound of the CPA.
    CpaMost "greatest CPA" Target Distance;
    /// Lower 95 % bound of the TCPA.
    TcpaLeast "earliest TCPA" Target Time;
    /// Upper 95 % bound of the TCPA.
    TcpaMost "latest TCPA" Target Time;
    /// The TCPA less its error, two minutes at most: what has just come under a limit this way may truly be under it.
    TcpaPrudent "prudent TCPA" Target Time;
    /// How fast a target's true bearing changes, clockwise positive.
    BearingDrift "bearing drift" Target TurnRate;
    /// Distance at which a target crosses ahead of the bow.
    BowCrossingRange "bow crossing range" Target Distance;
    /// Time until it crosses ahead of the bow; negative once it is past.
    BowCrossingTime "bow crossing time" Target Time;
    /// How own vessel and a target meet, as a word.
    Situation "situation" Target Word;
    /// Whether a target passes ahead or astern, as a word.
    Passing "passing" Target Word;
    /// A target's speed over ground.
    TargetSog "target SOG" Target Speed;
    /// A target's course over ground.
    TargetCog "target COG" Target Direction;
    /// Kind of station, as a word.
    Kind "kind" Target Word;
    /// Type of ship, as a word.
    ShipType "ship type" Target Word;
    /// Navigational status, as a word.
    Status "status" Target Word;
    /// A target's length.
    TargetLength "length" Target Length;
    /// A target's name.
    Name "name" Target Word;
    /// A target's identity.
    Identity "MMSI" Target Number;
    /// A target's last position report; orders ask its age.
    Report "report" Target Place;
    /// Whether a target's reports go on, as a word.
    Contact "contact" Target Word;
    /// A feed's sentences; orders ask their age.
    Sentences "sentences" Feed Place;
    /// Health of a feed, as a word.
    Health "health" Feed Word;
}

impl Quantity {
    /// The words it can have; empty for a name, which is free, and for what is no word.
    pub const fn words(self) -> &'static [&'static str] {
        match self {
            Self::Sun => &["up", "down"],
            // The names of `Station`, by ITU-R M.585; own fleet by the settings; radar if no AIS is heard.
            Self::Kind => &[
                "vessel",
                "sart",
                "mob",
                "epirb",
                "base",
                "aton",
                "sar-aircraft",
                "associated-craft",
                "group",
                "handheld",
                "amrd",
                "own-fleet",
                "radar",
                "other",
            ],
            // Grouped from the ship types of ITU-R M.1371-5 table 53.
            Self::ShipType => &[
                "wing-in-ground",
                "fishing",
                "towing",
                "dredging",
                "diving",
                "military",
                "sailing",
                "pleasure",
                "high-speed",
                "pilot",
                "search-and-rescue",
                "tug",
                "port-tender",
                "anti-pollution",
                "law-enforcement",
                "medical",
                "passenger",
                "cargo",
                "tanker",
                "other",
            ],
            // Navigational status 0 to 8, 14 and 15 of ITU-R M.1371-5 table 45; 11 and 12 by its later use for towing.
            Self::Status => &[
                "under way using engine",
                "at anchor",
                "not under command",
                "restricted manoeuvrability",
                "constrained by draught",
                "moored",
                "aground",
                "engaged in fishing",
                "under way sailing",
                "towing astern",
                "pushing ahead",
                "beacon active",
                "not defined",
            ],
            Self::Situation => &[
                "opening",
                "stopped",
                "head-on",
                "she overtakes",
                "own vessel overtakes",
                "crossing from starboard",
                "crossing from port",
            ],
            Self::Passing => &["ahead", "astern"],
            Self::Arrival => &["ahead", "reached", "passed"],
            Self::Contact => &["held", "lost"],
            Self::Health => &["working", "silent", "garbled", "closed"],
            _ => &[],
        }
    }

    /// The quantity of that name, in either case.
    pub fn named(name: &str) -> Option<Self> {
        Self::ALL.iter().copied().find(|q| q.name().eq_ignore_ascii_case(name))
    }
}

impl fmt::Display for Quantity {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

/// A value of a quantity, in its dimension's own unit.
#[derive(Debug, Clone, PartialEq)]
pub enum Value {
    /// A number in the dimension's own unit.
    Number(f64),
    /// A word or name.
    Word(String),
    /// It is there, and there is no more to say (a place).
    There,
}

impl Value {
    /// The number, if it is one.
    pub fn number(&self) -> Option<f64> {
        if let Self::Number(n) = self { Some(*n) } else { None }
    }
}

/// What is known of a quantity: its last value and when it was measured.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Reading {
    /// `None` when never heard, or no longer trusted.
    pub value: Option<Value>,
    /// When it was last heard; `None` when never.
    pub heard: Option<Moment>,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn units_turn_into_the_dimensions_own() {
        let close = |a: Option<f64>, b: f64| (a.unwrap() - b).abs() < 1e-9;
        assert!(close(Dimension::Length.in_own_unit(10.0, "ft"), 3.048));
        assert!(close(Dimension::Distance.in_own_unit(1852.0, "m"), 1.0));
        assert!(close(Dimension::Temperature.in_own_unit(212.0, "°F"), 100.0));
        assert!(close(Dimension::Time.in_own_unit(3.0, "min"), 180.0));
        assert_eq!(Dimension::Pressure.in_own_unit(3.0, "kn"), None);
    }

    #[test]
    fn every_name_finds_its_quantity_and_no_two_are_alike() {
        for &q in Quantity::ALL {
            assert_eq!(Quantity::named(&q.name().to_uppercase()), Some(q));
        }
    }
}
