//! Falls that nobody saw, or that somebody remembers only roughly.

use super::*;
use crate::drift::OnLine;
use crate::search::{Facts, Pattern, Plan, Sweep, Vessel, Wish, brief};
use terms::turn_deg;

/// Own vessel going north at 6 kn in a current that is known; what the wind does is not.
fn in_current(t: f64, set_deg: f64, drift_kn: f64) -> OwnContext {
    OwnContext { current: Some(SetDrift { set_deg, drift_kn }), wind: None, ..own(s(t)) }
}

/// Nobody saw it: last seen 90 minutes before now, missed so long before now.
fn missing(set_deg: f64, drift_kn: f64, missed_s: f64) -> (Casualties, OwnContext, Moment) {
    let mut c = Casualties::new(crew());
    for t in (0..=10_800).step_by(2).map(f64::from) {
        c.advance(s(t), &in_current(t, set_deg, drift_kn));
    }
    let (now, own) = (s(10_800.0), in_current(10_800.0, set_deg, drift_kn));
    let (last_seen, missed) = (Duration::from_secs(5_400), Duration::from_secs_f64(missed_s));
    let id = c.overboard(now, Fell::Between { last_seen, missed }, Some("Ada".into()), &own);
    assert_eq!(id, CasualtyId(1));
    (c, own, now)
}

fn line(c: &Casualties, now: Moment) -> Vec<OnLine> {
    c.datum(now, CasualtyId(1)).unwrap().line
}

/// Length and direction of a line from its younger end to its older one, from end to end.
fn ends(line: &[OnLine]) -> (f64, f64) {
    let (old, young) = (line.first().unwrap(), line.last().unwrap());
    young.place.range_and_bearing(old.place)
}

#[test]
fn the_datum_line_is_own_track_carried_by_the_drift() {
    // 6 kn, last seen 90 min ago: 9.0 nm of track. A drift of 0.5 kn on the beam makes the line 9.03 nm, turned by 4.8°
    // from the track; against the course it is 9.75 nm, with it 8.25 (computed; the datum line of IAMSAR volume II 4, from
    // memory).
    for (set_deg, drift_kn, length_nm, turned_deg) in
        [(0.0, 0.0, 9.0, 0.0), (90.0, 0.5, 9.03, 4.8), (180.0, 0.5, 9.75, 0.0), (0.0, 0.5, 8.25, 0.0)]
    {
        let (c, own, now) = missing(set_deg, drift_kn, 0.0);
        let line = line(&c, now);
        let (nm, bearing) = ends(&line);
        assert!((nm - length_nm).abs() < 0.03, "{set_deg} {drift_kn}: {nm} nm");
        assert!((turn_deg(180.0, bearing).abs() - turned_deg).abs() < 0.3, "{set_deg} {drift_kn}: {bearing}");
        // Its youngest end is on the track: where she is now.
        let here = own.position_at(now).unwrap();
        assert!(line.last().unwrap().place.range_and_bearing(here).0 < 0.02);
        assert!((line.iter().map(|p| p.share).sum::<f64>() - 1.0).abs() < 1e-6);
        assert_eq!((line[0].fell, line[line.len() - 1].fell), (s(5_400.0), now));
        let datum = c.datum(now, CasualtyId(1)).unwrap();
        assert!(
            datum.radius95_nm > 0.4 * length_nm && datum.radius95_nm < 0.62 * length_nm,
            "{}",
            datum.radius95_nm
        );
        assert!(datum.area95_nm2 < 0.5 * datum.circle95_nm2, "a line, not a circle: {}", datum.area95_nm2);
    }
}

#[test]
fn a_third_of_the_interval_is_a_third_of_the_chance() {
    // An even law (IAMSAR, from memory), in a current that is given to a quarter of a knot.
    let (c, own, now) = missing(90.0, 0.5, 0.0);
    let datum = c.datum(now, CasualtyId(1)).unwrap();
    let line = line(&c, now);
    let (whole_nm, bearing) = ends(&line);
    let young = line.last().unwrap().place;
    let third = |p: Position| {
        let (nm, towards) = young.range_and_bearing(p);
        nm * turn_deg(bearing, towards).to_radians().cos() <= whole_nm / 3.0
    };
    assert!((datum.share(third) - 1.0 / 3.0).abs() < 0.03, "{}", datum.share(third));
    // A search along it: from the end nearest to her, back to where the fall was earliest.
    let wish = Wish {
        pattern: Pattern::TrackLine,
        second_pass: false,
        number: 1,
        spacing_nm: Some(0.4),
        sweep: Some(Sweep::ByHand(0.2)),
        radius_nm: None,
        speed_kn: 5.0,
        first_course_deg: None,
    };
    let plan = Plan::new(&datum, &own, &c.current(&own), &wish).unwrap();
    assert!((turn_deg(plan.legs[0].track_deg, 180.0)).abs() < 15.0, "{}", plan.legs[0].track_deg);
    let last = plan.legs.last().unwrap();
    let hours = last.begins.since(now).as_secs_f64() / 3600.0 + last.time.as_secs_f64() / 3600.0;
    let far = line[0].place.at(90.0, 0.5 * hours);
    assert!(last.to.range_and_bearing(far).0 < 0.1, "the far end, where it has drifted to by then");
    // Koopman, from memory: a coverage of 0.5 finds 39.3 % of what is there.
    assert!((plan.probability_of_detection.unwrap() - 0.393).abs() < 0.001);
    let within = plan.containment.unwrap();
    assert!(within > 0.3 && within < 0.95, "{within}");
    let text = plan.text(now, None);
    assert!(text.contains("Search 1: along the datum line, 0.20 nm to either side"), "{text}");
    assert!(text.contains(&format!("this search finds it {:.0} times in 100", 39.347 * within)), "{text}");
    // Searched in vain, less of it is left there.
    let mut c = c;
    c.searched(CasualtyId(1), plan.area.unwrap());
    let after = c.datum(now, CasualtyId(1)).unwrap();
    assert!((after.missed_so_far() - (1.0 - 0.393 * within)).abs() < 0.02, "{}", after.missed_so_far());
    // Back and forth beside it, a spacing off.
    let second = Plan::new(&datum, &own, &c.current(&own), &Wish { second_pass: true, ..wish }).unwrap();
    assert_eq!(second.legs.len(), 2 * plan.legs.len() + 2);
    let beside = second.containment.unwrap();
    assert!(
        beside > 0.1 && beside + within < 1.0,
        "beside the first pass, not over it again: {beside} and {within}"
    );
    // Where the moment is known there is none.
    let mut c = Casualties::new(vec![]);
    let id = c.overboard(now, Duration::ZERO, None, &own);
    let point = c.datum(now, id).unwrap();
    assert_eq!(Plan::new(&point, &own, &c.current(&own), &wish), Err(crate::search::NoPlan::Line));
}

#[test]
fn the_words_give_a_line_and_the_way_back() {
    let (c, own, now) = missing(90.0, 0.5, 600.0);
    let state = c.state(now, CasualtyId(1), &own).unwrap();
    let line = in_full(&state);
    assert!(
        line.contains("last seen 1 hour 30 minutes ago, missed 10 minutes ago, on a line of 8.0"),
        "{line}"
    );
    assert_eq!(
        aloud(&state, None),
        "Man overboard, Ada. Last seen one and a half hours ago, search back along own track."
    );
    let datum = c.datum(now, CasualtyId(1)).unwrap();
    let facts = Facts {
        vessel: &Vessel::default(),
        casualty: &state,
        ours: 1,
        datum: Some(&datum),
        current: &c.current(&own),
        searched: &[],
        own: &own,
    };
    let sheet = brief(now, &facts);
    // Own UTC began at 02:00.
    for part in [
        "Nobody saw the fall: last seen 03:30 UTC, missed 04:50 UTC.",
        "Datum line from ",
        " (fell 03:30 UTC) to ",
        " (fell 04:50 UTC), 8.0 nm, as likely on one mile as on the next.",
        "Way back along the line: steer ",
        "Its far end is passed at ",
    ] {
        assert!(sheet.contains(part), "{part} in:\n{sheet}");
    }
}

#[test]
fn the_memory_of_a_late_button_errs_the_more_the_older_it_is() {
    let mut radii = Vec::new();
    for late in [0, 60, 300, 1_200, 3_600] {
        let mut c = Casualties::new(vec![]);
        for t in (0..=10_800).step_by(2).map(f64::from) {
            c.advance(s(t), &own(s(t)));
        }
        let now = s(10_800.0);
        let id = c.overboard(now, Duration::from_secs(late), None, &own(now));
        let fell = here().at(0.0, 6.0 * (10_800.0 - late as f64) / 3600.0);
        let state = c.state(now, id, &own(now)).unwrap();
        assert!(
            state.place.unwrap().range_and_bearing(fell).0 < 0.03,
            "{late}: the middle is where she was then"
        );
        assert_eq!(state.unseen, None);
        assert!(c.datum(now, id).unwrap().holds(fell));
        // A fifth of the time, at 6 kn, twice: within the region.
        let forgot = here().at(0.0, 6.0 * (10_800.0 - 1.3 * late as f64) / 3600.0);
        assert!(c.datum(now, id).unwrap().holds(forgot), "{late}");
        radii.push(state.radius95_nm.unwrap());
    }
    assert!(radii.is_sorted(), "{radii:?}");
}

#[test]
fn a_day_is_remembered_through_a_reboot_and_a_hole_in_the_track_is_said() {
    let mut c = Casualties::new(vec![]);
    let day = 26 * 3600;
    // No fix for an hour and a half of the day.
    let known = |t: u32| !(40_000..45_400).contains(&t);
    for t in (0..=day).step_by(10).filter(|t| known(*t)) {
        c.advance(s(f64::from(t)), &own(s(f64::from(t))));
    }
    let now = s(f64::from(day));
    let json = serde_json::to_string(&c.snapshot(now, own(now).utc)).unwrap();
    assert!(json.len() < 100_000, "{} bytes", json.len());
    let mut c = Casualties::restore(vec![], serde_json::from_str(&json).unwrap(), now, Gap::SameClock);
    let last_seen = Duration::from_secs(23 * 3600);
    let id = c.overboard(now, Fell::Between { last_seen, missed: Duration::ZERO }, None, &own(now));
    let state = c.state(now, id, &own(now)).unwrap();
    let (nm, bearing) = ends(&state.line);
    assert!((nm - 138.0).abs() < 1.5 && turn_deg(bearing, 180.0).abs() < 1.0, "{nm} {bearing}");
    assert!(state.line.len() <= crate::drift::LINE_POINTS);
    // An hour to either side of a hole the nearest point still serves.
    assert_eq!(state.line_unknown, 0.0);
    let datum = c.datum(now, id).unwrap();
    for hours in [1.0, 9.0, 16.0, 22.0] {
        let fell = here().at(0.0, 6.0 * (f64::from(day) / 3600.0 - hours));
        assert!(datum.holds(fell), "{hours} h ago");
    }
    // Before her track begins nothing is made up.
    let mut c = Casualties::new(vec![]);
    for t in (0..=3_600).step_by(10).map(f64::from) {
        c.advance(s(80_000.0 + t), &own(s(80_000.0 + t)));
    }
    let now = s(83_600.0);
    let id = c.overboard(
        now,
        Fell::Between { last_seen: Duration::from_secs(5 * 3600), missed: Duration::ZERO },
        None,
        &own(now),
    );
    let state = c.state(now, id, &own(now)).unwrap();
    // The track is an hour long, and an hour before it the nearest point serves.
    assert!((state.line_unknown - 0.6).abs() < 0.03, "{}", state.line_unknown);
    assert!(in_full(&state).contains("own track not known for 58 % of that time"), "{}", in_full(&state));
}

#[test]
fn a_beacon_heard_later_on_the_line_says_where_and_one_off_it_does_not_end_it() {
    let (mut c, _, now) = missing(90.0, 0.5, 0.0);
    // It fell 50 minutes ago; heard now, and a minute later.
    let person = |t: f64| here().at(0.0, 6.0 * 7_800.0 / 3600.0).at(90.0, 0.5 * (t - 7_800.0) / 3600.0);
    let at = |n: f64| now + Duration::from_secs_f64(n);
    let own_at = |n: f64| in_current(10_800.0 + n, 90.0, 0.5);
    c.hear_ais(at(10.0), &beacon(ADA, Some(14), Some(person(10_810.0))), &own_at(10.0));
    let state = c.state(at(10.0), CasualtyId(1), &own_at(10.0)).unwrap();
    assert_eq!((state.position, state.line.len()), (Placed::Reported, 0), "{}", in_full(&state));
    assert!(state.place.unwrap().range_and_bearing(person(10_810.0)).0 < 0.01 && state.elsewhere.is_none());
    let (mut c, ..) = missing(90.0, 0.5, 0.0);
    let wrong = here().at(90.0, 12.0);
    c.hear_ais(at(10.0), &beacon(ADA, Some(14), Some(wrong)), &own_at(10.0));
    let state = c.state(at(10.0), CasualtyId(1), &own_at(10.0)).unwrap();
    assert!(state.line.len() >= 2 && state.elsewhere.is_some_and(|e| e.bursts == 1));
}
