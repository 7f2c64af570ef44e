//! What brings each quantity, for those who ask why a value is missing.

use crate::Quantity;

impl Quantity {
    /// The sentences and messages that bring it, or what it is worked out from; then what counts as not available.
    /// Sentences are those of IEC 61162-1, messages those of ITU-R M.1371-5.
    pub const fn brought_by(self) -> &'static str {
        match self {
            Self::Fix => "RMC, GGA, GNS, GLL; own AIS reports. None without a valid status",
            Self::Sog | Self::Cog => "RMC, VTG; own AIS reports",
            Self::SpeedThroughWater => "VHW, VBW",
            Self::Heading => {
                "HDT, THS; HDG, HDM and VHW with the variation; own AIS reports. None by a THS put in by hand"
            }
            Self::RateOfTurn => "ROT",
            Self::Rudder => "RSA: the starboard or single rudder, else the port one",
            Self::DepthBelowTransducer => "DPT, DBT, DBS (with transducer_depth_m)",
            Self::DepthBelowKeel | Self::DepthBelowSurface => {
                "DPT, DBT, DBS, with draught_m and transducer_depth_m in boat.toml, else with the offset of DPT"
            }
            Self::WaterTemperature => "MTW, MDA; XDR whose name says so",
            Self::AirTemperature => "MDA; XDR whose name says so",
            Self::Pressure => "MDA; XDR whose name says so",
            Self::PressureCorrected => "worked out from the pressure, the position and the time",
            Self::ApparentWindSpeed | Self::ApparentWindAngle => "MWV (R), VWR",
            Self::TrueWindSpeed | Self::TrueWindAngle => {
                "MWV (T); else from the apparent wind and the speed through water, without a log the SOG"
            }
            Self::TrueWindDirection => "the true wind angle and the heading",
            Self::GroundWindSpeed | Self::GroundWindDirection => {
                "MWD, MDA; else from the apparent wind, heading and own motion"
            }
            Self::CrossTrackError => {
                "XTE, APB, RMB; else from own fix and the leg. None by an RMB of 9.99, which says that or more"
            }
            Self::ActiveWaypoint => "RMB, APB, BWC, BWR, BOD, AAM. None without a valid status",
            Self::Arrival => "RMB, APB, AAM; own fix and the arrival circle of boat.toml",
            Self::WaypointDistance | Self::WaypointBearing => {
                "own fix and the place of the active waypoint by RMB, BWC, BWR or WPL"
            }
            Self::DistanceToGo => "own fix and the route by RTE with the places of all its waypoints by WPL",
            Self::SpeedToWaypoint | Self::WaypointTime => {
                "the distance and bearing to the waypoint, SOG and COG; no time at 0.2 knots and less"
            }
            Self::AnchorDrag | Self::AnchorDragLeast | Self::AnchorError => {
                "worked out from the track since at anchor was declared"
            }
            Self::BatteryVoltage => "XDR in volts whose name says so",
            Self::BatteryMargin => "the battery voltage and the battery's kind in boat.toml, else lead",
            Self::Transducers => "XDR, each by its own name",
            Self::Sun => "worked out from position and time",
            Self::TargetCount => "AIS and radar targets that are held",
            Self::Range | Self::Bearing | Self::RelativeBearing => {
                "the target's position report and own fix, both carried to now"
            }
            Self::Cpa
            | Self::Tcpa
            | Self::CpaLeast
            | Self::CpaMost
            | Self::TcpaLeast
            | Self::TcpaMost
            | Self::TcpaPrudent
            | Self::BearingDrift
            | Self::Situation
            | Self::Passing => "the motion of both; none while a course or a speed is missing",
            Self::BowCrossingRange | Self::BowCrossingTime => {
                "the motion of both; none for a target that crosses no line ahead of the bow"
            }
            Self::TargetSog => {
                "messages 1, 2, 3, 9, 18, 19 and 27, TTM. None at 102.3 knots, which says not available"
            }
            Self::TargetCog => {
                "messages 1, 2, 3, 9, 18, 19 and 27, TTM. None at 360 degrees, which says not available"
            }
            Self::Kind => "the identity (ITU-R M.585) and the type of message",
            Self::ShipType => "messages 5, 19 and 24",
            Self::Status => "messages 1, 2, 3 and 27. None for a reserved number; 15 is \"not defined\"",
            Self::TargetLength => "messages 5, 19, 21 and 24",
            Self::Name => "messages 5, 19, 21 and 24, TLL, TTM",
            Self::Identity => "every message",
            Self::Report => "messages with a position, TTM, TLL",
            Self::Contact => "the times of reports: lost when too many due ones in a row did not come",
            Self::Sentences => "every good sentence of the feed",
            Self::Health => "whether the feed is open, brings sentences, and good ones",
        }
    }
}
