//! The plotter's plan: what is said of it with own vessel where she is.

use lookout::{Finding, Lookout, Settings, Source};
use sentence::{Fix, Report, RoutePart, Waypoint, WaypointPlace};
use terms::{FeedId, Moment, Position, Quantity, Subject, Value};

struct Bridge {
    lookout: Lookout,
    ms: i64,
}

fn at(latitude_deg: f64, longitude_deg: f64) -> Position {
    Position::new(latitude_deg, longitude_deg).unwrap()
}

fn name(text: &str) -> Option<String> {
    Some(text.to_owned())
}

impl Bridge {
    fn new() -> Self {
        Self { lookout: Lookout::new(Settings::default()), ms: 0 }
    }

    fn hear_by(&mut self, feed: u16, report: Report) -> Vec<String> {
        self.ms += 1000;
        let at = Moment(self.ms);
        self.lookout.advance(at);
        self.lookout.hear_from(at, Source::of(FeedId(feed)), &report);
        let findings = self.lookout.take_findings();
        let reached = |f| if let Finding::Waypoint { name, .. } = f { Some(name) } else { None };
        findings.into_iter().filter_map(reached).collect()
    }

    fn hear(&mut self, report: Report) -> Vec<String> {
        self.hear_by(0, report)
    }

    fn fix(&mut self, position: Position, cog_deg: f64, sog_kn: f64) -> Vec<String> {
        let (position, cog_deg, sog_kn) = (Some(position), Some(cog_deg), Some(sog_kn));
        self.hear(Report::Fix(Fix { position, cog_deg, sog_kn, ..Fix::default() }))
    }

    fn place(&mut self, waypoint: &str, position: Position) {
        self.hear(Report::WaypointPlace(WaypointPlace {
            waypoint: name(waypoint),
            position: Some(position),
        }));
    }

    fn lead(&mut self, to: Waypoint) -> Vec<String> {
        self.hear(Report::Waypoint(to))
    }

    fn value(&self, q: Quantity) -> Option<Value> {
        self.lookout.reading(Moment(self.ms), Subject::OwnVessel, q).value
    }

    fn number(&self, q: Quantity) -> Option<f64> {
        self.value(q).and_then(|v| v.number())
    }
}

fn close(a: Option<f64>, b: f64, by: f64) -> bool {
    a.is_some_and(|a| (a - b).abs() <= by)
}

/// A sample log's leg: 1.29 nm to the waypoint in 052.1°, 0.67 nm right of the track (recomputed with GeographicLib).
#[test]
fn off_track_is_the_plotters_word_or_worked_out() {
    let minutes = |lat: f64, lon: f64| at(49.0 + lat / 60.0, -(123.0 + lon / 60.0));
    let mut b = Bridge::new();
    b.place("003", minutes(17.16, 10.64));
    let to = Waypoint {
        to: name("004"),
        from: name("003"),
        position: Some(minutes(17.24, 9.57)),
        ..Waypoint::default()
    };
    b.fix(minutes(16.45, 11.12), 52.1, 4.0);
    b.lead(to.clone());
    assert!(
        close(b.number(Quantity::CrossTrackError), -0.67, 0.01),
        "{:?}",
        b.number(Quantity::CrossTrackError)
    );
    assert!(close(b.number(Quantity::WaypointDistance), 1.29, 0.005));
    assert!(close(b.number(Quantity::WaypointBearing), 52.1, 0.05));
    assert!(close(b.number(Quantity::SpeedToWaypoint), 4.0, 0.01));
    assert!(close(b.number(Quantity::WaypointTime), 1.29 / 4.0 * 3600.0, 10.0));
    assert_eq!(b.value(Quantity::ActiveWaypoint), Some(Value::Word("004".to_owned())));
    assert_eq!(b.value(Quantity::Arrival), Some(Value::Word("ahead".to_owned())));
    b.lead(Waypoint { cross_track_error_nm: Some(-0.66), ..to });
    assert_eq!(b.number(Quantity::CrossTrackError), Some(-0.66));
    // A minute without a word, and there is no plan.
    for _ in 0..62 {
        b.fix(minutes(16.45, 11.12), 52.1, 4.0);
    }
    assert_eq!((b.value(Quantity::ActiveWaypoint), b.number(Quantity::WaypointDistance)), (None, None));
    assert_eq!(b.lookout.passage(Moment(b.ms)), None);
}

#[test]
fn the_way_to_go_is_along_the_route_and_only_where_all_of_it_is_known() {
    let mut b = Bridge::new();
    b.fix(at(50.0, -10.0), 90.0, 6.0);
    let to = Waypoint { to: name("A"), position: Some(at(50.0, -9.0)), ..Waypoint::default() };
    b.lead(to.clone());
    assert_eq!(b.number(Quantity::DistanceToGo), None, "no route is known");
    let part = |n: u16, names: &[&str]| RoutePart {
        parts: 2,
        part: n,
        whole: true,
        route: name("1"),
        waypoints: names.iter().map(|n| (*n).to_owned()).collect(),
    };
    b.hear(Report::RoutePart(part(1, &["0", "A"])));
    assert_eq!(b.number(Quantity::DistanceToGo), None, "its second part is still to come");
    b.hear(Report::RoutePart(part(2, &["B", "C"])));
    b.place("B", at(51.0, -9.0));
    assert_eq!(b.number(Quantity::DistanceToGo), None, "where C lies is not known");
    b.place("C", at(51.0, -8.0));
    let legs = [at(50.0, -10.0), at(50.0, -9.0), at(51.0, -9.0), at(51.0, -8.0)];
    let nm: f64 = legs.windows(2).map(|l| l[0].range_and_bearing(l[1]).0).sum();
    assert!(close(b.number(Quantity::DistanceToGo), nm, 1e-6));
    // Parts more than thirty seconds apart are of two routes.
    b.hear(Report::RoutePart(part(1, &["A", "Z"])));
    for _ in 0..31 {
        b.lead(to.clone());
    }
    b.hear(Report::RoutePart(part(2, &["C"])));
    assert!(close(b.number(Quantity::DistanceToGo), nm, 1e-6));
}

#[test]
fn a_waypoint_is_reached_once_by_own_fix_or_by_the_plotter() {
    let mut b = Bridge::new();
    let to = |name: &str, entered| Waypoint {
        to: Some(name.to_owned()),
        position: Some(at(50.0, -9.0)),
        circle_entered: Some(entered),
        ..Waypoint::default()
    };
    assert!(b.fix(at(50.0, -9.01), 90.0, 6.0).is_empty());
    assert!(b.lead(to("A", false)).is_empty(), "0.39 nm off");
    assert_eq!(b.fix(at(50.0, -9.004), 90.0, 6.0), ["A"], "0.15 nm off");
    assert_eq!(b.value(Quantity::Arrival), Some(Value::Word("reached".to_owned())));
    assert!(b.fix(at(50.0, -9.003), 90.0, 6.0).is_empty());
    assert!(b.lead(to("A", true)).is_empty());
    let passed = Waypoint { perpendicular_passed: Some(true), ..to("A", true) };
    assert!(b.lead(passed).is_empty());
    assert_eq!(b.value(Quantity::Arrival), Some(Value::Word("passed".to_owned())));
    let far = |entered| Waypoint { position: Some(at(55.0, -9.0)), ..to("B", entered) };
    assert!(b.lead(far(false)).is_empty());
    assert_eq!(b.lead(far(true)), ["B"], "the plotter's own circle may be wider");
}

/// The mean of ten minutes, so that a wave does not change the time of arrival; none while she hardly makes way.
#[test]
fn the_time_to_a_waypoint_is_by_the_mean_speed_toward_it() {
    let mut b = Bridge::new();
    let to = Waypoint { to: name("A"), position: Some(at(50.0, -9.0)), ..Waypoint::default() };
    for s in 0..600 {
        b.fix(at(50.0, -10.0), 90.0, if s % 20 < 10 { 4.0 } else { 6.0 });
        b.lead(to.clone());
    }
    let nm = b.number(Quantity::WaypointDistance).unwrap();
    assert!(close(b.number(Quantity::WaypointTime), nm / 5.0 * 3600.0, nm / 5.0 * 36.0 * 2.0));
    for _ in 0..700 {
        b.fix(at(50.0, -10.0), 270.0, 5.0);
        b.lead(to.clone());
    }
    assert!(close(b.number(Quantity::SpeedToWaypoint), -5.0, 0.01));
    assert_eq!(b.number(Quantity::WaypointTime), None);
}

#[test]
fn a_second_plotter_is_heard_when_the_first_falls_silent() {
    let mut b = Bridge::new();
    let to = |name: &str| Report::Waypoint(Waypoint { to: Some(name.to_owned()), ..Waypoint::default() });
    b.hear_by(0, to("A"));
    b.hear_by(1, to("B"));
    assert_eq!(b.value(Quantity::ActiveWaypoint), Some(Value::Word("A".to_owned())));
    for _ in 0..11 {
        b.fix(at(50.0, -10.0), 90.0, 5.0);
    }
    b.hear_by(1, to("B"));
    assert_eq!(b.value(Quantity::ActiveWaypoint), Some(Value::Word("B".to_owned())));
}

#[test]
fn waypoints_without_end_take_no_room() {
    let mut b = Bridge::new();
    for n in 0..3000 {
        b.place(&format!("W{n}"), at(50.0, -9.0));
        let waypoints = (0..9).map(|m| format!("R{}", n * 9 + m)).collect();
        b.hear(Report::RoutePart(RoutePart {
            parts: 1 + n % 1500,
            part: 1,
            whole: true,
            route: None,
            waypoints,
        }));
    }
    b.lead(Waypoint { to: name("W1"), ..Waypoint::default() });
    assert_eq!(b.value(Quantity::ActiveWaypoint), Some(Value::Word("W1".to_owned())));
}
