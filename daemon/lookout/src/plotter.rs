//! The plan as the plotter says it: where it leads, and what is left of the way.

use crate::Settings;
use crate::source::{Channel, Source, Verdict};
use sentence::{RoutePart, Waypoint, WaypointPlace};
use std::collections::{BTreeMap, VecDeque};
use std::time::Duration;
use terms::{Moment, Position, Quantity};

/// What orders can ask of the plan; all of own vessel.
pub(crate) const QUANTITIES: [Quantity; 8] = [
    Quantity::CrossTrackError,
    Quantity::ActiveWaypoint,
    Quantity::Arrival,
    Quantity::WaypointDistance,
    Quantity::WaypointBearing,
    Quantity::DistanceToGo,
    Quantity::SpeedToWaypoint,
    Quantity::WaypointTime,
];
/// Waypoints kept, by name, and in the route.
const MOST_WAYPOINTS: usize = 1000;
/// Another plotter takes over when this one has said nothing for so long.
const SILENCE: Duration = Duration::from_secs(10);
/// What the plotter said last is no longer believed after this.
const BELIEVED: Duration = Duration::from_secs(60);
/// All parts of a route come within this.
const ROUTE_WITHIN: Duration = Duration::from_secs(30);
/// The speed toward the waypoint is the mean of this long, noted this often.
const SPEED_OVER: Duration = Duration::from_secs(600);
const NOTED_EVERY: Duration = Duration::from_secs(10);
/// At this speed toward the waypoint and less nobody can say when she is there.
const HARDLY_KN: f64 = 0.2;

/// The plotter's plan.
#[derive(Debug, Clone)]
pub(crate) struct Plotter {
    source: Channel<()>,
    active: Option<Active>,
    places: BTreeMap<String, Position>,
    route: Vec<String>,
    parts: Option<Parts>,
    /// Speeds toward the active waypoint, oldest first.
    speeds: VecDeque<(Moment, f64)>,
    /// Distance along the legs behind the active waypoint.
    later_nm: Option<f64>,
    /// When changes were last told.
    told: Option<Moment>,
}

/// The waypoint it leads to.
#[derive(Debug, Clone, PartialEq)]
struct Active {
    name: String,
    heard: Moment,
    place: Option<Position>,
    from: Option<String>,
    arrival: Arrival,
}

/// How near she is to the active waypoint.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Arrival {
    Ahead,
    Reached,
    Passed,
}

impl Arrival {
    pub const fn word(self) -> &'static str {
        match self {
            Self::Ahead => "ahead",
            Self::Reached => "reached",
            Self::Passed => "passed",
        }
    }
}

/// A route of which parts are still to come.
#[derive(Debug, Clone)]
struct Parts {
    since: Moment,
    route: Option<String>,
    waypoints: Vec<Option<Vec<String>>>,
}

/// A waypoint that was reached or passed just now.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Arrived {
    pub name: String,
    pub place: Option<Position>,
}

/// What can be said of the plan with own vessel where she is now. `None` is not known.
#[derive(Debug, Clone, PartialEq)]
pub struct PassageState {
    /// The active waypoint.
    pub waypoint: String,
    /// Ahead, reached or passed.
    pub arrival: &'static str,
    /// Off track, steer to starboard positive.
    pub cross_track_error_nm: Option<f64>,
    /// To the active waypoint.
    pub distance_nm: Option<f64>,
    /// Its true bearing.
    pub bearing_deg: Option<f64>,
    /// To the end of the route.
    pub to_go_nm: Option<f64>,
    /// Speed toward the waypoint now.
    pub toward_kn: Option<f64>,
    /// Until she is there.
    pub time_s: Option<f64>,
    /// When the plotter last spoke of it.
    pub(crate) heard: Moment,
}

/// Own vessel as the plan needs her.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Own {
    pub position: Option<Position>,
    pub sog_kn: Option<f64>,
    pub cog_deg: Option<f64>,
}

impl Plotter {
    pub fn new() -> Self {
        Self {
            source: Channel::new(SILENCE),
            active: None,
            places: BTreeMap::new(),
            route: Vec::new(),
            parts: None,
            speeds: VecDeque::new(),
            later_nm: None,
            told: None,
        }
    }

    /// Takes where the plotter leads. Returns a waypoint that it says is reached or passed now.
    pub fn hear_waypoint(
        &mut self,
        at: Moment,
        source: Source,
        said: &Waypoint,
        settings: &Settings,
    ) -> Option<Arrived> {
        let to = said.to.as_ref()?;
        if self.source.hear(at, Source::of(source.feed), (), 0, settings) == Verdict::Aside {
            return None;
        }
        if self.active.as_ref().is_none_or(|a| a.name != *to) {
            self.speeds.clear();
            let (place, from) = (self.places.get(to).copied(), None);
            self.active = Some(Active { name: to.clone(), heard: at, place, from, arrival: Arrival::Ahead });
            self.add_up();
        }
        let active = self.active.as_mut()?;
        active.heard = at;
        active.from = said.from.clone().or(active.from.take());
        if let Some(place) = said.position.filter(|_| said.position != active.place) {
            active.place = Some(place);
            self.remember(to.clone(), place);
            self.add_up();
        }
        match (said.perpendicular_passed, said.circle_entered) {
            (Some(true), _) => self.arrive(Arrival::Passed),
            (_, Some(true)) => self.arrive(Arrival::Reached),
            _ => None,
        }
    }

    /// Sets how near she is; a waypoint that was ahead until now is news.
    fn arrive(&mut self, arrival: Arrival) -> Option<Arrived> {
        let active = self.active.as_mut()?;
        let news = active.arrival == Arrival::Ahead;
        active.arrival = active.arrival.max(arrival);
        news.then(|| Arrived { name: active.name.clone(), place: active.place })
    }

    /// Takes a waypoint's place.
    pub fn hear_place(&mut self, source: Source, said: &WaypointPlace) {
        let (Some(name), Some(place)) = (&said.waypoint, said.position) else { return };
        if !self.is_other(source) {
            self.remember(name.clone(), place);
            if let Some(active) = self.active.as_mut().filter(|a| a.name == *name) {
                active.place = Some(place);
            }
            self.add_up();
        }
    }

    fn remember(&mut self, name: String, place: Position) {
        if self.places.len() < MOST_WAYPOINTS || self.places.contains_key(&name) {
            self.places.insert(name, place);
        }
    }

    /// Whether another plotter leads.
    fn is_other(&self, source: Source) -> bool {
        self.source.current().is_some_and(|leads| leads.source.feed != source.feed)
    }

    /// Takes a part of a route, which counts once all its parts came.
    pub fn hear_route(&mut self, at: Moment, source: Source, part: &RoutePart) {
        let (n, all) = (usize::from(part.part) - 1, usize::from(part.parts));
        if self.is_other(source) || all > MOST_WAYPOINTS {
            return;
        }
        let same = |p: &Parts| {
            p.route == part.route && p.waypoints.len() == all && at.since(p.since) <= ROUTE_WITHIN
        };
        let mut parts = self.parts.take().filter(same).unwrap_or_else(|| Parts {
            since: at,
            route: part.route.clone(),
            waypoints: vec![None; all],
        });
        if let Some(place) = parts.waypoints.get_mut(n) {
            *place = Some(part.waypoints.clone());
        }
        if parts.waypoints.iter().all(Option::is_some) {
            self.route = parts.waypoints.into_iter().flatten().flatten().take(MOST_WAYPOINTS).collect();
            self.add_up();
        } else {
            self.parts = Some(parts);
        }
    }

    /// Adds up the legs behind the active waypoint; unknown where one of their ends is.
    fn add_up(&mut self) {
        self.later_nm = None;
        let Some(active) = &self.active else { return };
        let Some(n) = self.route.iter().position(|name| *name == active.name) else { return };
        let Some(mut here) = active.place else { return };
        let mut nm = 0.0;
        for name in &self.route[n + 1..] {
            let Some(next) = self.places.get(name) else { return };
            nm += here.range_and_bearing(*next).0;
            here = *next;
        }
        self.later_nm = Some(nm);
    }

    /// Goes on with own vessel where she is. Returns whether what can be said has changed, and a waypoint that she has
    /// reached now.
    pub fn follow(&mut self, at: Moment, own: Own, arrival_nm: f64) -> (bool, Option<Arrived>) {
        let Some(active) = self.active.as_ref() else { return (false, None) };
        if at.since(active.heard) > BELIEVED {
            self.active = None;
            self.speeds.clear();
            return (true, None);
        }
        let near = own.position.zip(active.place).map(|(here, place)| here.range_and_bearing(place));
        let reached = near.filter(|(nm, _)| *nm <= arrival_nm);
        let arrived = reached.and_then(|_| self.arrive(Arrival::Reached));
        if let (Some((_, bearing)), Some(sog), Some(cog)) = (near, own.sog_kn, own.cog_deg)
            && self.speeds.back().is_none_or(|(then, _)| at.since(*then) >= NOTED_EVERY)
        {
            self.speeds.push_back((at, sog * (cog - bearing).to_radians().cos()));
            while self.speeds.front().is_some_and(|(then, _)| at.since(*then) > SPEED_OVER) {
                self.speeds.pop_front();
            }
        }
        let due = self.told.is_none_or(|then| at.since(then) >= Duration::from_secs(1));
        if due {
            self.told = Some(at);
        }
        (due || arrived.is_some(), arrived)
    }

    /// When what was said is no longer believed.
    pub fn ends(&self) -> Option<Moment> {
        // A millisecond later it is older than that.
        self.active.as_ref().map(|a| a.heard + BELIEVED + Duration::from_millis(1))
    }

    /// What can be said now; `said_nm` is the cross-track error in the plotter's own words.
    pub fn state(&self, at: Moment, own: Own, said_nm: Option<f64>) -> Option<PassageState> {
        let active = self.active.as_ref().filter(|a| at.since(a.heard) <= BELIEVED)?;
        let here = own.position;
        let near = here.zip(active.place).map(|(here, place)| here.range_and_bearing(place));
        let beside = || {
            let from = self.places.get(active.from.as_ref()?)?;
            // Right of the track one steers to port.
            Some(-here?.beside(*from, active.place?)?.off_nm)
        };
        let toward = near.zip(own.sog_kn.zip(own.cog_deg));
        let toward = toward.map(|((_, bearing), (sog, cog))| sog * (cog - bearing).to_radians().cos());
        let mean = (!self.speeds.is_empty())
            .then(|| self.speeds.iter().map(|(_, kn)| kn).sum::<f64>() / self.speeds.len() as f64);
        let time_s = near.zip(mean).filter(|(_, kn)| *kn > HARDLY_KN).map(|((nm, _), kn)| nm / kn * 3600.0);
        Some(PassageState {
            waypoint: active.name.clone(),
            arrival: active.arrival.word(),
            cross_track_error_nm: said_nm.or_else(beside),
            distance_nm: near.map(|n| n.0),
            bearing_deg: near.map(|n| n.1),
            to_go_nm: near.zip(self.later_nm).map(|((nm, _), later)| nm + later),
            toward_kn: toward,
            time_s,
            heard: active.heard,
        })
    }
}
