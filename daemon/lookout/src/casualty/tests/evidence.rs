//! Positions that do not agree, and what lies between two of them.

use super::*;
use sentence::ais::AisReport;

/// A burst of eight messages, two seconds apart, with one position, which was measured as it began.
fn burst(c: &mut Casualties, t: f64, number: u32, place: Position) {
    for n in 0..8 {
        let at = t + 2.0 * f64::from(n);
        c.advance(s(at), &own(s(at)));
        c.hear_ais(s(at), &beacon(number, Some(14), Some(place)), &own(s(at)));
    }
}

/// The casualty's place less the true one, in miles, and the other place's.
fn off(c: &Casualties, t: f64, truth: Position) -> (f64, Option<f64>) {
    let state = c.state(s(t), CasualtyId(1), &own(s(t))).unwrap();
    let nm = |p: Position| p.range_and_bearing(truth).0;
    (nm(state.place.unwrap()), state.elsewhere.map(|e| nm(e.place)))
}

fn holds(c: &Casualties, t: f64, truth: Position) -> bool {
    c.datum(s(t), CasualtyId(1)).unwrap().holds(truth)
}

/// Somebody of the crew, or a stranger of whom own track says nothing, drifts east at half a knot.
fn fallen(t: f64) -> Position {
    here().at(90.0, 0.5 * t / 3600.0 + 0.002)
}

fn start() -> Casualties {
    let mut c = Casualties::new(crew());
    for t in -600..30 {
        c.advance(s(f64::from(t)), &own(s(f64::from(t))));
    }
    c
}

#[test]
fn one_wrong_position_sent_eight_times_in_a_burst_is_one_report() {
    let mut c = start();
    let wrong = here().at(200.0, 1.7);
    for minute in 0..20 {
        let t = 30.0 + 60.0 * f64::from(minute);
        let place = if minute == 9 { wrong } else { fallen(t) };
        burst(&mut c, t, ADA, place);
        let (nm, other) = off(&c, t + 16.0, fallen(t + 16.0));
        assert!(nm < 0.03, "minute {minute}: {nm} nm off");
        assert_eq!(other.is_some(), minute == 9, "minute {minute}");
        if minute == 9 {
            // Both places are reported, and the region holds both.
            let state = c.state(s(t + 16.0), CasualtyId(1), &own(s(t + 16.0))).unwrap();
            let other = state.elsewhere.unwrap();
            assert!((other.off_nm - 1.7).abs() < 0.1 && other.bursts == 1 && other.share < 0.05, "{other:?}");
            assert!(holds(&c, t + 16.0, wrong) && holds(&c, t + 16.0, fallen(t + 16.0)));
            let line = in_full(&state);
            assert!(line.contains("one report 1.6") || line.contains("one report 1.7"), "{line}");
            assert!(line.contains("nautical miles off does not fit, range "), "{line}");
            assert!(aloud(&state, None).ends_with("One report does not fit."), "{}", aloud(&state, None));
        }
    }
}

#[test]
fn a_first_burst_that_own_track_contradicts_is_followed_only_once_a_second_agrees() {
    let (mut right, mut wrong) = (start(), start());
    let offset = |t: f64| fallen(t).at(200.0, 1.7);
    burst(&mut wrong, 30.0, ADA, offset(30.0));
    let state = wrong.state(s(46.0), CasualtyId(1), &own(s(46.0))).unwrap();
    assert_eq!((state.position, state.fix_age), (Placed::Estimated, None));
    assert!(in_full(&state).contains("by own track estimated range"), "{}", in_full(&state));
    assert!(holds(&wrong, 46.0, offset(46.0)) && holds(&wrong, 46.0, fallen(46.0)));
    // A beacon that is wrong all the time, by as much: both places stand to the end.
    for minute in 1..30 {
        burst(&mut wrong, 30.0 + 60.0 * f64::from(minute), ADA, offset(30.0 + 60.0 * f64::from(minute)));
    }
    let t = 30.0 + 29.0 * 60.0 + 16.0;
    let state = wrong.state(s(t), CasualtyId(1), &own(s(t))).unwrap();
    assert!(state.place.unwrap().range_and_bearing(offset(t)).0 < 0.02);
    assert_eq!(state.elsewhere.map(|e| e.bursts), Some(0));
    assert!(aloud(&state, None).ends_with("Own track does not fit."), "{}", aloud(&state, None));
    assert!(holds(&wrong, t, fallen(t)) && holds(&wrong, t, offset(t)));
    // One that fits own track needs no second.
    burst(&mut right, 30.0, ADA, fallen(30.0));
    assert!(off(&right, 46.0, fallen(46.0)).0 < 0.01 && off(&right, 46.0, fallen(46.0)).1.is_none());
}

#[test]
fn a_beacon_set_off_by_hand_minutes_after_the_fall_is_believed_where_she_was() {
    let mut c = start();
    // Own track eight minutes before the first burst, where nobody could fall half a minute before it.
    let fell = here().at(0.0, -6.0 * 480.0 / 3600.0);
    burst(&mut c, 30.0, ADA, fell);
    let state = c.state(s(46.0), CasualtyId(1), &own(s(46.0))).unwrap();
    assert_eq!((state.position, state.elsewhere), (Placed::Reported, None), "{}", in_full(&state));
    assert!(state.place.unwrap().range_and_bearing(fell).0 < 0.01);
    assert!(holds(&c, 46.0, fell) && holds(&c, 46.0, here()), "it may err all the same");
}

#[test]
fn a_beacon_that_takes_ten_minutes_to_find_itself_is_followed_from_its_second_true_burst() {
    // The position it was switched off at last year, to the digit, or one that wanders by metres; of the crew's or not.
    for (number, wanders) in [(ADA, 0.0), (ADA, 0.004), (972_123_456, 0.0), (972_123_456, 0.004)] {
        let mut c = start();
        for minute in 0..10 {
            let stale = here().at(120.0, 6.0).at(0.0, wanders * f64::from(minute));
            burst(&mut c, 30.0 + 60.0 * f64::from(minute), number, stale);
        }
        for minute in 10..12 {
            let t = 30.0 + 60.0 * f64::from(minute);
            burst(&mut c, t, number, fallen(t));
            assert!(holds(&c, t + 16.0, fallen(t + 16.0)), "{number} {wanders} minute {minute}");
        }
        let t = 30.0 + 11.0 * 60.0 + 16.0;
        assert!(off(&c, t, fallen(t)).0 < 0.02, "{number} {wanders}: {:?}", off(&c, t, fallen(t)));
    }
    // One that sends no position all that time is placed by own track and the drift.
    let mut c = start();
    for minute in 0..10 {
        let t = 30.0 + 60.0 * f64::from(minute);
        c.hear_ais(s(t), &beacon(ADA, Some(14), None), &own(s(t)));
        assert!(holds(&c, t, fallen(t)), "minute {minute}");
    }
}

#[test]
fn a_position_repeated_to_the_last_digit_is_an_old_one() {
    let mut c = start();
    for minute in 0..5 {
        let t = 30.0 + 60.0 * f64::from(minute);
        burst(&mut c, t, ADA, fallen(t));
    }
    let frozen = fallen(270.0);
    for minute in 5..65 {
        burst(&mut c, 30.0 + 60.0 * f64::from(minute), ADA, frozen);
    }
    let t = 30.0 + 64.0 * 60.0 + 16.0;
    let state = c.state(s(t), CasualtyId(1), &own(s(t))).unwrap();
    assert_eq!((state.position, state.doubtful), (Placed::Estimated, Some((frozen, Doubt::Repeated))));
    assert!(in_full(&state).contains("the beacon repeats a position of 1 hour ago"), "{}", in_full(&state));
    assert!(holds(&c, t, fallen(t)));
    assert!(off(&c, t, fallen(t)).0 < frozen.range_and_bearing(fallen(t)).0);
}

/// A report that was measured at a second of UTC: a burst's, or one that a relay sends on.
fn measured(place: Position, measured_s: f64) -> AisReport {
    let mut report = beacon(ADA, Some(14), Some(place));
    // UTC at the origin of time is a whole minute.
    report.utc_second = Some((measured_s.rem_euclid(60.0)) as u8);
    report
}

#[test]
fn a_fix_counts_from_its_own_second_and_a_relayed_one_does_not_come_again() {
    let mut c = start();
    // Measured at 30 s, heard at 50 s, in a tide that is known to set north at 3 kn.
    let tide = |t: f64| OwnContext { current: Some(SetDrift { set_deg: 0.0, drift_kn: 3.0 }), ..own(s(t)) };
    let person = |t: f64| here().at(0.0, 3.0 * t / 3600.0);
    for t in (30..=150).step_by(60).map(f64::from) {
        c.hear_ais(s(t + 20.0), &measured(person(t), t), &tide(t + 20.0));
    }
    let place = |c: &Casualties, t: f64| c.state(s(t), CasualtyId(1), &tide(t)).unwrap();
    let state = place(&c, 170.0);
    assert_eq!(state.fix_age, Some(Duration::from_secs(20)));
    let nm = state.place.unwrap().range_and_bearing(person(170.0)).0;
    assert!(
        nm < 0.004,
        "{nm} nm off where the fix itself is {} off",
        person(150.0).range_and_bearing(person(170.0)).0
    );
    // Seconds old already, by a relay: the place stays.
    for (relayed, first_heard) in [(150.0, 171.0), (90.0, 172.0), (30.0, 173.0)] {
        c.hear_ais(s(first_heard), &measured(person(relayed), relayed), &tide(first_heard));
        let state = place(&c, first_heard);
        assert!(state.place.unwrap().range_and_bearing(person(first_heard)).0 < 0.005, "{relayed}");
        assert!(state.elsewhere.is_none(), "{relayed}");
    }
    // A clock of the beacon's that runs two seconds ahead makes no fix a minute old.
    c.hear_ais(s(210.0), &measured(person(212.0), 212.0), &tide(210.0));
    assert_eq!(place(&c, 210.0).fix_age, Some(Duration::ZERO));
}

#[test]
fn between_bursts_in_a_tide_of_three_knots_the_side_is_right() {
    // She lies to the fix, head north; the person is set past her from west to east by 3 kn, some 60 m off her bow. The
    // tide is not known beforehand: the beacon itself shows it.
    let still = |t: f64| OwnContext {
        position: Some(Known::new(here(), s(t))),
        sog_kn: Some(Known::new(0.0, s(t))),
        heading_deg: Some(Known::new(0.0, s(t))),
        ..OwnContext::default()
    };
    let person = |t: f64| here().at(0.0, 0.03).at(90.0, 3.0 * (t - 390.0) / 3600.0);
    let mut c = Casualties::new(crew());
    let (mut wrong, mut said) = (Vec::new(), 0);
    for t in (0..780).map(f64::from) {
        c.advance(s(t), &still(t));
        if t % 60.0 < 16.0 && t % 2.0 == 0.0 {
            let measured = t - t % 60.0;
            c.hear_ais(s(t), &beacon(972_123_456, Some(14), Some(person(measured))), &still(t));
        }
        if t < 240.0 {
            continue;
        }
        let state = c.state(s(t), CasualtyId(1), &still(t)).unwrap();
        let line = aloud(&state, None);
        let east = if t < 390.0 { "port" } else { "starboard" };
        let west = if t < 390.0 { "starboard" } else { "port" };
        said += usize::from(line.contains(east));
        if line.contains(west) {
            wrong.push((t, line));
        }
    }
    // Within ten metres either way of dead ahead either side is right.
    wrong.retain(|(t, _)| (t - 390.0).abs() > 7.0);
    assert!(wrong.is_empty(), "{wrong:#?}");
    assert!(said > 400, "{said} of 540 lines name the side");
}
