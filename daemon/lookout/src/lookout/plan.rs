//! The plotter's plan, with own vessel as she is now.

use super::Lookout;
use crate::plotter::{Arrived, Own, PassageState, QUANTITIES};
use crate::{Finding, Source};
use sentence::Report;
use terms::{Moment, Quantity, Reading, Subject, Value};

impl Lookout {
    /// What can be said of the passage; `None` while no plotter leads to a waypoint.
    pub fn passage(&self, at: Moment) -> Option<PassageState> {
        let said_nm = self.own.value(at, Quantity::CrossTrackError);
        self.plotter.state(at, self.own_for_plan(at), said_nm)
    }

    fn own_for_plan(&self, at: Moment) -> Own {
        Own {
            position: self.own.fix(at).map(|(position, _)| position),
            sog_kn: self.own.value(at, Quantity::Sog),
            cog_deg: self.own.value(at, Quantity::Cog),
        }
    }

    /// Takes what a sentence says of the plan, or a fix.
    pub(super) fn hear_plan(&mut self, at: Moment, source: Source, report: &Report) {
        let arrived = match report {
            Report::Waypoint(said) => self.plotter.hear_waypoint(at, source, said, &self.settings),
            Report::WaypointPlace(said) => return self.plotter.hear_place(source, said),
            Report::RoutePart(part) => return self.plotter.hear_route(at, source, part),
            Report::Fix(_) => None,
            _ => return,
        };
        self.arrived(arrived);
        self.follow_plan(at);
    }

    /// Goes on with the plan.
    pub(super) fn follow_plan(&mut self, at: Moment) {
        let (changed, arrived) = self.plotter.follow(at, self.own_for_plan(at), self.settings.arrival_nm);
        self.arrived(arrived);
        if changed {
            self.findings.extend(QUANTITIES.map(|q| Finding::Changed(Subject::OwnVessel, q)));
        }
    }

    fn arrived(&mut self, arrived: Option<Arrived>) {
        if let Some(Arrived { name, place }) = arrived {
            self.findings.push(Finding::Waypoint { name, position: place });
        }
    }

    /// What is known of a quantity of the plan.
    pub(crate) fn plan_reading(&self, at: Moment, quantity: Quantity) -> Reading {
        use Quantity as Q;
        let own = self.own.reading(at, quantity);
        let Some(state) = self.passage(at) else { return own };
        let number = |n: Option<f64>| n.map(Value::Number);
        let word = |w: &str| Some(Value::Word(w.to_owned()));
        let value = match quantity {
            // The plotter's own word, with its age.
            Q::CrossTrackError if own.value.is_some() => return own,
            Q::CrossTrackError => number(state.cross_track_error_nm),
            Q::ActiveWaypoint => word(&state.waypoint),
            Q::Arrival => word(state.arrival),
            Q::WaypointDistance => number(state.distance_nm),
            Q::WaypointBearing => number(state.bearing_deg),
            Q::DistanceToGo => number(state.to_go_nm),
            Q::SpeedToWaypoint => number(state.toward_kn),
            Q::WaypointTime => number(state.time_s),
            _ => None,
        };
        Reading { value, heard: Some(state.heard) }
    }
}
