//! Who passes whom how, by triangles worked out by hand; where to look; how big ships are; what radar adds.

use lookout::casualty::RelativeTo;
use lookout::{Dimensions, Kind, Lookout, Propulsion, Settings, TargetState, Visibility};
use sentence::ais::AisReport;
use sentence::{Fix, Heading, RadarPlot, Report};
use terms::{FeedId, Mmsi, Moment, Position};

const BUS: FeedId = FeedId(0);
const RADIO: FeedId = FeedId(1);
const RADAR: FeedId = FeedId(2);

fn at(s: f64) -> Moment {
    Moment::from_s(s)
}

fn start() -> Position {
    Position::new(0.0, 0.0).unwrap()
}

/// Own vessel at 0° N 0° E, course and heading north at 6 kn.
fn own(settings: Settings) -> Lookout {
    let mut lookout = Lookout::new(settings);
    let heading = Heading { true_deg: Some(0.0), ..Heading::default() };
    lookout.hear(at(0.0), BUS, &Report::Heading(heading));
    let position = Some(start());
    let fix = Fix { position, sog_kn: Some(6.0), cog_deg: Some(0.0), ..Fix::default() };
    lookout.hear(at(0.0), BUS, &Report::Fix(fix));
    lookout
}

/// A ship so far east and north of own vessel.
fn ship(east_nm: f64, north_nm: f64, cog: f64, sog: f64) -> AisReport {
    let bearing = east_nm.atan2(north_nm).to_degrees();
    AisReport {
        position: Some(start().at(bearing, east_nm.hypot(north_nm))),
        sog_kn: Some(sog),
        cog_deg: Some(cog),
        heading_deg: Some(cog as u16),
        nav_status: Some(0),
        ..AisReport::new(1, 0, Mmsi::new(211_000_001).unwrap())
    }
}

fn seen(lookout: &mut Lookout, report: AisReport) -> TargetState {
    let mmsi = report.mmsi;
    lookout.hear(at(0.0), RADIO, &Report::Ais(Box::new(report)));
    lookout.target(at(0.0), mmsi).unwrap()
}

#[test]
fn a_ship_crosses_ahead_from_starboard() {
    // 2 nm east, 2 nm north, west at 12 kn: on own line after 10 min, when own vessel has gone 1 nm: 1 nm ahead.
    let t = seen(&mut own(Settings::default()), ship(2.0, 2.0, 270.0, 12.0));
    assert_eq!((t.situation, t.passing), (Some("crossing from starboard"), Some("ahead")));
    assert!((t.crosses_bow_nm.unwrap() - 1.0).abs() < 0.01, "{t:?}");
    assert!((t.crosses_bow_s.unwrap() - 600.0).abs() < 2.0, "{t:?}");
    let (relative, to) = (t.relative_bearing_deg.unwrap(), t.relative_to.unwrap());
    assert!((relative - 45.0).abs() < 0.1 && to == RelativeTo::Heading, "{relative} {to:?}");
}

#[test]
fn a_ship_crosses_astern_from_port_and_own_vessel_crosses_her_bow() {
    // 2 nm west, 0.5 nm north, east at 12 kn: on own line after 10 min, own vessel then 0.5 nm past her.
    let t = seen(&mut own(Settings::default()), ship(-2.0, 0.5, 90.0, 12.0));
    assert_eq!((t.situation, t.passing), (Some("crossing from port"), Some("astern")));
    assert!((t.crosses_bow_nm.unwrap() + 0.5).abs() < 0.01, "{t:?}");
    // Own vessel is on her line after 0.5 nm, 5 min; she has then come 1 nm: own crosses 1 nm ahead of her.
    assert!((t.crossed_bow_nm.unwrap() - 1.0).abs() < 0.01, "{t:?}");
    assert!((t.crossed_bow_s.unwrap() - 300.0).abs() < 2.0, "{t:?}");
}

#[test]
fn a_steady_bearing_does_not_drift_and_courses_name_the_meeting() {
    // Own 6 kn north; a ship 3 nm east going west meets her at 3 nm north if she makes 6 kn from 3 nm north.
    let t = seen(&mut own(Settings::default()), ship(3.0, 3.0, 270.0, 6.0));
    assert!(t.bearing_drift_deg_min.unwrap().abs() < 0.01 && t.cpa_nm.unwrap() < 0.01, "{t:?}");
    // 1 nm abeam going the other way at 6 kn: 12 kn of relative speed at 1 nm is 12 rad/h, aft, 11.46°/min.
    let t = seen(&mut own(Settings::default()), ship(1.0, 0.0, 180.0, 6.0));
    assert!((t.bearing_drift_deg_min.unwrap() - 11.459).abs() < 0.05, "{t:?}");
    for (report, word) in [
        (ship(0.1, 4.0, 180.0, 10.0), "head-on"),
        (ship(0.0, -1.0, 0.0, 12.0), "she overtakes"),
        (ship(0.1, 2.0, 0.0, 3.0), "own vessel overtakes"),
        (ship(0.1, 2.0, 0.0, 0.1), "stopped"),
        (ship(0.0, -2.0, 180.0, 10.0), "opening"),
    ] {
        assert_eq!(seen(&mut own(Settings::default()), report).situation, Some(word));
    }
}

#[test]
fn hulls_count_where_their_length_is_known() {
    // A ship of 300 m whose antenna is at her stern, athwart own way, her stern 0.2 nm (370.4 m) east of own line and
    // her bow to the west: her bow is 70.4 m from own line. Own antenna is 5 m behind the bow.
    let dimensions = Dimensions { bow_m: 5.0, stern_m: 7.0, port_m: 2.0, starboard_m: 2.0 };
    let report = AisReport {
        dimension_a_m: Some(300),
        dimension_b_m: Some(0),
        dimension_c_m: Some(20),
        dimension_d_m: Some(20),
        ..ship(0.2, 2.0, 270.0, 0.0)
    };
    let t = seen(&mut own(Settings { dimensions: Some(dimensions), ..Settings::default() }), report);
    assert!((t.cpa_nm.unwrap() - 0.2).abs() < 0.001, "{t:?}");
    // Less half the beams, 22 m.
    assert!((t.clearance_nm.unwrap() * 1852.0 - 48.4).abs() < 10.0, "{} m", t.clearance_nm.unwrap() * 1852.0);
    assert!(t.least_cpa_nm.unwrap() <= t.clearance_nm.unwrap());
}

#[test]
fn without_heading_the_course_serves_and_without_both_nothing_is_said() {
    let fix =
        |cog_deg| Report::Fix(Fix { position: Some(start()), sog_kn: Some(6.0), cog_deg, ..Fix::default() });
    let mut lookout = Lookout::new(Settings::default());
    lookout.hear(at(0.0), BUS, &fix(Some(0.0)));
    let t = seen(&mut lookout, ship(-1.0, 1.0, 90.0, 5.0));
    let (relative, to) = (t.relative_bearing_deg.unwrap(), t.relative_to.unwrap());
    assert!((relative + 45.0).abs() < 0.1 && to == RelativeTo::Cog, "{relative} {to:?}");
    let mut lookout = Lookout::new(Settings::default());
    lookout.hear(at(0.0), BUS, &fix(None));
    let t = seen(&mut lookout, ship(-1.0, 1.0, 90.0, 5.0));
    assert_eq!((t.relative_to, t.cpa_nm, t.rule), (None, None, None));
}

#[test]
fn a_rule_is_named_only_where_the_watch_has_declared_what_it_asks_for() {
    let rule = |propulsion, visibility, report: AisReport| {
        let mut lookout = own(Settings::default());
        lookout.declare(propulsion, visibility);
        seen(&mut lookout, report).rule.map(|r| r.split(',').next().unwrap().to_owned())
    };
    let crossing = || ship(3.0, 3.0, 270.0, 6.0);
    let (power, sail) = (Some(Propulsion::Power), Some(Propulsion::Sail));
    let (sight, fog) = (Some(Visibility::InSight), Some(Visibility::Restricted));
    assert_eq!(rule(None, sight, crossing()), None);
    assert_eq!(rule(power, None, crossing()), None);
    assert_eq!(rule(power, sight, crossing()).as_deref(), Some("rule 15"));
    assert_eq!(rule(sail, sight, crossing()).as_deref(), Some("rule 18"));
    assert_eq!(rule(power, fog, crossing()).as_deref(), Some("rule 19"));
    assert_eq!(rule(power, sight, ship(0.05, 4.0, 180.0, 10.0)).as_deref(), Some("rule 14"));
    assert_eq!(rule(sail, sight, ship(0.0, -1.0, 0.0, 12.0)).as_deref(), Some("rule 13"));
    assert_eq!(rule(power, sight, ship(5.0, 0.0, 90.0, 6.0)), None, "no risk of collision");
    let sailing = AisReport { nav_status: Some(8), ..crossing() };
    assert_eq!(rule(sail, sight, sailing).as_deref(), Some("rule 12"));
}

#[test]
fn a_radar_target_is_one_of_its_own_until_it_agrees_with_a_ship() {
    let mut lookout = own(Settings::default());
    let plot = |bearing: f64, range: f64| {
        Report::RadarPlot(RadarPlot {
            number: Some(7),
            range_nm: Some(range),
            bearing_deg: Some(bearing),
            speed_kn: Some(10.0),
            course_deg: Some(180.0),
            status: Some('T'),
            ..RadarPlot::default()
        })
    };
    lookout.hear(at(0.0), RADAR, &plot(20.0, 4.0));
    let all = lookout.targets(at(0.0));
    assert_eq!((all.len(), all[0].kind, all[0].by_radar), (1, Kind::Radar, true));
    assert!(all[0].cpa_nm.is_some());
    let (e, n) = (4.0 * 20_f64.to_radians().sin(), 4.0 * 20_f64.to_radians().cos());
    seen(&mut lookout, ship(e, n, 180.0, 10.0));
    assert_eq!(lookout.targets(at(0.0)).len(), 2);
    for s in 1..4 {
        lookout.hear(at(f64::from(s)), RADAR, &plot(20.0, 4.0));
    }
    let all = lookout.targets(at(3.0));
    assert_eq!((all.len(), all[0].kind, all[0].by_radar), (1, Kind::Vessel, true), "{all:?}");
}

#[test]
fn a_meeting_is_told_by_its_geometry_and_never_as_advice() {
    let mut lookout = own(Settings::default());
    // Own vessel north at 6 knots from the middle; she comes from starboard at the same speed, a little late.
    let t = seen(&mut lookout, ship(3.0, 3.0, 270.0, 6.0));
    let told = t.meeting().unwrap();
    assert!(told.starts_with("crossing from starboard; passes neither"), "{told}");
    assert!(told.ends_with("; bearing steady"), "{told}");
    // Past and clear there is nothing to say.
    let t = seen(&mut own(Settings::default()), ship(-1.0, -1.0, 270.0, 6.0));
    assert_eq!(t.meeting(), None);
}
