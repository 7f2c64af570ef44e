//! One target: what she has sent about herself, and how she moves.

use crate::claim::{Claim, Reporters};
use crate::duplicate::Recent;
use crate::encounter::Encounter;
use crate::kind::{Kind, ship_type_word, status_word};
use crate::motion::{Motion, Sight};
use crate::own::STILL_KN;
use crate::track::{Doubtful, MPS_PER_KN, Noise, Observation, Track, velocity_mps};
use crate::{Dimensions, Settings};
use sentence::ais::AisReport;
use std::time::Duration;
use terms::{FeedId, Mmsi, Moment, Position, Quantity};

/// Whatever makes this way through the water or drifts at this speed moves, in knots: more than the noise of a receiver at
/// rest (common practice).
const MOVES_KN: f64 = 0.5;

/// Who says that she is moored, at anchor or aground, and is slower than this, swings and does not go anywhere (own choice).
const SWINGS_KN: f64 = 0.5;

/// How long a target may go unheard before it is forgotten.
pub(crate) const FORGOTTEN: Duration = Duration::from_secs(30 * 60);
/// How long a target is carried on by course and speed after its last report; then there is no closest approach.
const CARRIED_ON: Duration = Duration::from_secs(10 * 60);

/// From here on a reported speed over ground means this or more (ITU-R M.1371-5 table 45): no speed to reckon with.
const FASTEST_KN: f64 = 102.2;
/// A ship reporting a greater rate of turn is turning; anything less is steering.
const TURNS_DEG_MIN: f64 = 10.0;

/// What to expect of class A: a ship that keeps her course for ten minutes and turns for some forty seconds on average;
/// positions good to 10 m, velocities to 0.3 kn (own choice, proven by the encounters' bench).
const CLASS_A: Noise = Noise {
    position_m: 10.0,
    velocity_mps: 0.3 * MPS_PER_KN,
    yaw_mps: 0.1 * MPS_PER_KN,
    yaw_most_mps: 1.5 * MPS_PER_KN,
    alike_s: (10.0, 5.0),
    steady: 4e-5,
    turning: 0.1,
    steady_s: 600.0,
    turning_s: 40.0,
};
/// The same for class B: small craft, which yaw more and turn faster.
const CLASS_B: Noise = Noise {
    yaw_mps: 0.5 * MPS_PER_KN,
    yaw_most_mps: 2.0 * MPS_PER_KN,
    steady: 1e-4,
    turning: 0.3,
    steady_s: 400.0,
    turning_s: 20.0,
    ..CLASS_A
};

/// The same for targets only a radar follows (own choice).
const BY_RADAR: Noise = Noise { position_m: 40.0, velocity_mps: 1.0 * MPS_PER_KN, ..CLASS_B };

/// A position report.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct PositionReport {
    pub at: Moment,
    pub position: Position,
    pub sog_kn: Option<f64>,
    pub cog_deg: Option<f64>,
    pub heading_deg: Option<f64>,
    pub rate_of_turn_deg_min: Option<f64>,
}

/// How a target lay and moved when it was last judged.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Judgement {
    pub at: Moment,
    pub sight: Option<Sight>,
    /// Range in nautical miles and true bearing.
    pub seen: Option<(f64, f64)>,
    pub met: Option<Encounter>,
    pub lost: bool,
}

/// One target.
#[derive(Debug, Clone)]
pub(crate) struct Target {
    pub mmsi: Mmsi,
    pub kind: Kind,
    pub class_b: bool,
    pub heard: Moment,
    pub report: Option<PositionReport>,
    /// A report of her place was heard, be it without the place.
    pub reports: bool,
    track: Option<Track>,
    pub nav_status: Option<u8>,
    pub name: Option<String>,
    pub call_sign: Option<String>,
    pub ship_type: Option<u8>,
    pub dimensions: Option<Dimensions>,
    pub destination: Option<String>,
    /// The last judgement and its moment.
    pub judged: Option<Judgement>,
    /// When it is next to be judged.
    pub due: Moment,
    /// How dangerous it was at the last judgement; more is worse.
    pub danger: u16,
    /// Who reports it.
    pub reporters: Reporters,
    /// Two feeds or more did so at the last judgement.
    several: bool,
    /// When a radar plot last agreed with her.
    pub by_radar: Option<Moment>,
    recent: Recent,
}

impl Target {
    pub fn new(at: Moment, feed: FeedId, mmsi: Mmsi, kind: Kind) -> Self {
        Self {
            mmsi,
            kind,
            class_b: false,
            heard: at,
            report: None,
            reports: false,
            track: None,
            nav_status: None,
            name: None,
            call_sign: None,
            ship_type: None,
            dimensions: None,
            destination: None,
            judged: None,
            due: at,
            danger: 0,
            reporters: Reporters::new(at, feed),
            several: false,
            by_radar: None,
            recent: Recent::default(),
        }
    }

    /// Her claim to a place in the table, as of the last judgement and report.
    pub fn claim(&self) -> Claim {
        let live = !self.judged.is_some_and(|j| j.lost);
        Claim { danger: self.danger, several: self.several, live, heard: self.heard }
    }

    /// Takes a judgement, and when to judge her again.
    pub fn judge(&mut self, judgement: Judgement, danger: u16, due: Moment) {
        self.several = self.reporters.are_several(judgement.at);
        (self.judged, self.danger, self.due) = (Some(judgement), danger, due);
    }

    /// Takes one of her messages; returns what it changed, or `None` if another receiver already heard it.
    pub fn hear(
        &mut self,
        at: Moment,
        feed: FeedId,
        report: &AisReport,
        settings: &Settings,
    ) -> Option<Vec<Quantity>> {
        use Quantity as Q;
        if self.recent.is_repetition(at, feed, report) {
            return None;
        }
        let mut changes = Vec::new();
        let mut set = |differs: bool, q: Q| {
            if differs {
                changes.push(q);
            }
        };
        self.heard = at;
        self.reports |= report.position.is_some() || matches!(report.message, 1..=3 | 18 | 19 | 27);
        // A base station or buoy reveals itself by one type of message; the others it sends must not undo that.
        let ships_report = matches!(report.message, 1..=3 | 18 | 19);
        // Once it has moved it may stop: a ship hove to is a ship.
        let moves = report.sog_kn.is_some_and(|s| s >= MOVES_KN) || self.kind == Kind::Other;
        let kind = Kind::of(self.mmsi, report.message, ships_report && moves, settings);
        if matches!(report.message, 1..=4 | 9 | 18 | 19 | 21) {
            set(replace(&mut self.kind, Some(kind)), Q::Kind);
        }
        if matches!(report.message, 18 | 19 | 24) {
            self.class_b = true;
        } else if matches!(report.message, 1..=3 | 5) {
            self.class_b = false;
        }
        if matches!(report.message, 1..=3 | 27) {
            set(self.nav_status != report.nav_status, Q::Status);
            self.nav_status = report.nav_status;
        }
        set(replace_some(&mut self.name, report.name.clone().filter(|n| !n.is_empty())), Q::Name);
        replace_some(&mut self.call_sign, report.call_sign.clone());
        replace_some(&mut self.destination, report.destination.clone());
        set(replace_some(&mut self.ship_type, report.ship_type), Q::ShipType);
        set(replace_some(&mut self.dimensions, dimensions(report)), Q::TargetLength);
        if let Some(position) = report.position {
            let new = PositionReport {
                at,
                position,
                // Search aircraft report up to 1,022 kn (ITU-R M.1371-5 table 76).
                sog_kn: report.sog_kn.filter(|s| (0.0..=1_022.0).contains(s)),
                cog_deg: report.cog_deg.filter(|c| (0.0..360.0).contains(c)),
                heading_deg: report.heading_deg.filter(|&h| h < 360).map(f64::from),
                rate_of_turn_deg_min: report.rate_of_turn_deg_min.filter(|r| r.is_finite()),
            };
            let old = self.report.replace(new);
            self.follow(&new);
            set(true, Q::Report);
            set(old.is_none_or(|o| o.sog_kn != new.sog_kn), Q::TargetSog);
            set(old.is_none_or(|o| o.cog_deg != new.cog_deg), Q::TargetCog);
        }
        Some(changes)
    }

    /// Carries the track on with a report.
    fn follow(&mut self, r: &PositionReport) {
        let sog_kn = r.sog_kn.filter(|&s| s < FASTEST_KN);
        let cog_deg = r.cog_deg.or(sog_kn.filter(|&s| s < STILL_KN).map(|_| 0.0));
        let velocity_mps = sog_kn.zip(cog_deg).map(|(s, c)| velocity_mps(s, c));
        let turns = r.rate_of_turn_deg_min.is_some_and(|d| d.abs() >= TURNS_DEG_MIN);
        match &mut self.track {
            Some(track) => track.hear(r.at, Observation { position: Some(r.position), velocity_mps, turns }),
            None => {
                let noise = match self.kind {
                    Kind::Radar => BY_RADAR,
                    _ if self.class_b => CLASS_B,
                    _ => CLASS_A,
                };
                self.track = Some(Track::new(r.at, r.position, velocity_mps, noise));
            }
        }
    }

    /// How she moves and how well that is known, while her last report can be carried on. Anything moored to the ground
    /// does not move.
    pub fn motion(&self, at: Moment) -> Option<(Motion, Doubtful)> {
        let r = self.report.filter(|r| at.since(r.at) <= CARRIED_ON)?;
        if matches!(self.kind, Kind::Base | Kind::Aton) {
            return Some((Motion::steady(r.at, r.position, 0.0, 0.0), Doubtful::default()));
        }
        let track = self.track.as_ref()?;
        let motion = track.motion()?;
        let motion = if self.lies_still() { motion.at_rest() } else { motion };
        Some((motion, track.doubt(at)))
    }

    /// Whether she lies still by her last report: at rest, or moored or at anchor and no faster than she swings. What a
    /// receiver makes of a berth is no course to meet anybody on.
    pub fn lies_still(&self) -> bool {
        let moored = matches!(self.nav_status, Some(1 | 5 | 6));
        let limit_kn = if moored { SWINGS_KN } else { STILL_KN };
        self.report.and_then(|r| r.sog_kn).is_some_and(|kn| kn < limit_kn)
    }

    /// Where her bow points: her heading as reported, else her course while she moves.
    pub fn bow_deg(&self, motion: &Motion) -> Option<f64> {
        let reported = self.report.and_then(|r| r.heading_deg);
        reported.or_else(|| (motion.sog_kn() >= STILL_KN).then(|| motion.cog_deg()))
    }

    /// Silence after which she is lost: several of the reports due in that time are missing. Makers' manuals give 18
    /// min for what reports each 3 min, and for class A under way 60 s, from 14 kn 36 s, from 23 kn 30 s; for class B
    /// 180 s. The intervals are those of ITU-R M.1371-5 tables 1 and 2.
    pub fn lost_after(&self) -> Duration {
        let sog_kn = self.report.and_then(|r| r.sog_kn).unwrap_or(0.0);
        let lies = matches!(self.nav_status, Some(1 | 5 | 6));
        let seconds = match self.kind {
            Kind::Radar => 30,
            Kind::Base | Kind::Aton | Kind::Amrd => 18 * 60,
            _ if self.class_b && sog_kn <= 2.0 => 18 * 60,
            _ if self.class_b => 180,
            _ if lies && sog_kn <= 3.0 => 18 * 60,
            _ if sog_kn > 23.0 => 30,
            _ if sog_kn > 14.0 => 36,
            _ => 60,
        };
        Duration::from_secs(seconds)
    }

    /// Whether her reports have stopped.
    pub fn is_lost(&self, at: Moment) -> bool {
        self.report.is_some_and(|r| at.since(r.at) > self.lost_after())
    }

    pub fn status(&self) -> Option<&'static str> {
        self.nav_status.and_then(status_word)
    }

    pub fn ship_type_word(&self) -> Option<&'static str> {
        self.ship_type.map(ship_type_word)
    }

    pub fn length_m(&self) -> Option<f64> {
        self.dimensions.and_then(|d| d.length_m())
    }
}

fn dimensions(r: &AisReport) -> Option<Dimensions> {
    let known = [r.dimension_a_m, r.dimension_b_m, r.dimension_c_m, r.dimension_d_m];
    known.iter().any(Option::is_some).then(|| {
        let m = |d: Option<u16>| d.map_or(0.0, f64::from);
        Dimensions {
            bow_m: m(r.dimension_a_m),
            stern_m: m(r.dimension_b_m),
            port_m: m(r.dimension_c_m),
            starboard_m: m(r.dimension_d_m),
        }
    })
}

/// Puts a value in its place; returns whether it changed.
fn replace<T: PartialEq>(place: &mut T, value: Option<T>) -> bool {
    match value {
        Some(v) if *place != v => {
            *place = v;
            true
        }
        _ => false,
    }
}

/// The same for a place that can be empty: a missing value leaves it as it is.
fn replace_some<T: PartialEq>(place: &mut Option<T>, value: Option<T>) -> bool {
    value.is_some() && {
        let differs = *place != value;
        *place = value;
        differs
    }
}
