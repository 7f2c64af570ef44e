//! Who is on watch when: rotating watches, ship's time, and what was said by hand.

use crate::table::Table;
use rules::{BoardSettings, DailyWatch, Roster, Rotation};
use std::time::Duration;
use terms::{Hours, Moment, Utc};

const HOUR_MS: i64 = 3_600_000;

/// Hour of the first of November 2026, and of the days after it.
fn at(hour: f64) -> Utc {
    Utc::from_date(2026, 11, 1, 0).unwrap().plus_ms((hour * HOUR_MS as f64) as i64)
}

/// Rotating watches from 20:00 on the first.
fn rotating(people: &[&str], hours: &[u64]) -> Roster {
    let rotation = Rotation {
        start: at(20.0),
        lengths: hours.iter().map(|h| Duration::from_secs(h * 3600)).collect(),
        people: people.iter().map(|p| (*p).to_owned()).collect(),
    };
    Roster::rotating(None, rotation).unwrap()
}

fn daily() -> Roster {
    let watch = |who: &str, hours: &str| DailyWatch { who: who.into(), hours: Hours::parse(hours).unwrap() };
    let watches =
        [watch("Ada", "20:00 to 00:00"), watch("Bo", "00:00 to 04:00"), watch("Cy", "04:00 to 08:00")];
    Roster::daily(None, &watches).unwrap()
}

/// From 20:00: first, middle, morning, forenoon and afternoon watch, and the two dogs.
const DOGS: [u64; 7] = [4, 4, 4, 4, 4, 2, 2];
/// Six watches of four hours.
const NO_DOGS: [u64; 6] = [4; 6];

fn on(t: &Table) -> &str {
    t.board.on_watch().map_or("", |(who, _)| who)
}

/// Lets time pass by the minute.
fn pass(t: &mut Table, minutes: i64) {
    for _ in 0..minutes {
        t.chart.utc = t.chart.utc.map(|u| u.plus_ms(60_000));
        t.pass(60.0);
    }
}

/// Who has each watch, written out by hand: a letter a watch, a word a day from 20:00.
#[test]
fn two_three_and_four_people_with_and_without_dog_watches() {
    let table: [(&[&str], &[u64], &[&str]); 6] = [
        (&["A", "B"], &NO_DOGS, &["ABABAB", "ABABAB", "ABABAB"]),
        (&["A", "B", "C"], &NO_DOGS, &["ABCABC", "ABCABC", "ABCABC"]),
        (&["A", "B", "C", "D"], &NO_DOGS, &["ABCDAB", "CDABCD", "ABCDAB"]),
        (&["A", "B"], &DOGS, &["ABABABA", "BABABAB", "ABABABA"]),
        (&["A", "B", "C"], &DOGS, &["ABCABCA", "BCABCAB", "CABCABC", "ABCABCA"]),
        (&["A", "B", "C", "D"], &DOGS, &["ABCDABC", "DABCDAB", "CDABCDA", "BCDABCD", "ABCDABC"]),
    ];
    for (people, hours, days) in table {
        let roster = rotating(people, hours);
        let mut hour = 20;
        for day in days {
            for (who, length) in day.chars().zip(hours) {
                for of in [0.0, *length as f64 - 1.0 / 3600.0] {
                    let present = roster.present(at(f64::from(hour) + of)).unwrap();
                    assert_eq!(present.who, who.to_string(), "{people:?} {hours:?} at {hour}");
                    let until = hour + i32::try_from(*length).unwrap();
                    assert_eq!((present.since, present.until), (at(hour.into()), at(until.into())));
                }
                hour += i32::try_from(*length).unwrap();
            }
        }
    }
}

#[test]
fn with_dog_watches_each_has_the_same_rest_over_the_turns_of_a_week() {
    // Each has every watch once in as many days as there are people, as the table shows.
    for (people, days, off_h) in
        [(&["A", "B"][..], 14, 84.0), (&["A", "B", "C"], 21, 112.0), (&["A", "B", "C", "D"], 28, 126.0)]
    {
        let mut t = Table::with("");
        t.chart.utc = Some(at(20.0));
        t.board.set_roster(t.at(), rotating(people, &DOGS), &t.chart);
        t.drain();
        for _ in 0..days * 24 * 6 {
            t.now_s += 600.0;
            t.chart.utc = t.chart.utc.map(|u| u.plus_ms(600_000));
            t.board.advance(t.at(), &t.chart);
            t.drain();
        }
        let rests = t.board.rests(&t.chart);
        assert_eq!(rests.len(), people.len());
        let off: f64 = rests.iter().map(|r| r.off_week.as_secs_f64() / 3600.0).sum();
        assert!((off / people.len() as f64 - off_h).abs() < 0.1, "{people:?}: {rests:?}");
        for r in &rests {
            assert!((r.off_week.as_secs_f64() / 3600.0 - off_h).abs() <= 3.0, "{people:?}: {r:?}");
            assert!(!r.short_week() && r.of_week == Duration::from_secs(7 * 86_400), "{r:?}");
        }
    }
}

#[test]
fn it_is_kept_from_the_first_second_on_which_the_time_is_known() {
    let mut t = Table::with("");
    t.chart.utc = Some(at(21.0));
    t.board.set_roster(t.at(), daily(), &t.chart);
    assert_eq!(on(&t), "Ada", "at once");

    let mut t = Table::with("");
    t.board.set_roster(t.at(), daily(), &t.chart);
    t.pass(200.0);
    assert_eq!(on(&t), "");
    t.chart.utc = Some(at(21.0));
    t.pass(1.0);
    assert_eq!(t.board.on_watch(), Some(("Ada", Moment::from_s(201.0 - 3600.0))));
    // A watch begins to the second, and the clock is followed within one when it is put right.
    t.chart.utc = Some(at(24.0).plus_ms(-500));
    t.board.advance(t.at(), &t.chart);
    t.pass(1.0);
    t.chart.utc = Some(at(24.0).plus_ms(500));
    t.pass(1.0);
    assert_eq!(on(&t), "Bo");
    t.chart.utc = Some(at(22.0));
    t.pass(1.0);
    assert_eq!(on(&t), "Ada", "satellites know better");
}

#[test]
fn what_a_person_said_by_hand_is_not_undone_but_by_a_watch_that_begins_later() {
    // Said while nobody knew the time.
    let mut t = Table::with("");
    t.board.set_roster(t.at(), daily(), &t.chart);
    t.board.take_watch(t.at(), "Dot", &t.chart);
    t.chart.utc = Some(at(21.0));
    pass(&mut t, 178);
    assert_eq!(on(&t), "Dot");
    pass(&mut t, 3);
    assert_eq!(on(&t), "Bo", "the middle watch has begun");

    // A clock that is put right, by hours and back.
    t.board.take_watch(t.at(), "Dot", &t.chart);
    for hour in [21.0, 29.0, 3.0, 24.2] {
        t.chart.utc = Some(at(hour));
        pass(&mut t, 2);
        assert_eq!(on(&t), "Dot", "at {hour}");
    }

    // Over a restart, with the snapshot as the disk holds it.
    let kept = serde_json::to_string(&t.board.snapshot()).unwrap();
    let mut t = Table::with("");
    t.chart.utc = Some(at(24.3));
    t.board.restore(t.at(), serde_json::from_str(&kept).unwrap(), None);
    t.board.set_roster(t.at(), daily(), &t.chart);
    pass(&mut t, 2);
    assert_eq!(on(&t), "Dot");
    // Early relief: whoever the roster names next has it already, and keeps it.
    t.board.take_watch(t.at(), "Cy", &t.chart);
    t.chart.utc = Some(at(28.0).plus_ms(-60_000));
    pass(&mut t, 2);
    assert_eq!(on(&t), "Cy");
    assert!(!t.told().iter().any(|s| s.contains("Cy takes the watch from Cy")));
}

#[test]
fn ships_time_is_changed_at_sea_and_the_roster_goes_by_it_at_once() {
    let night = "[[order]]\nname = \"night\"\npriority = \"caution\"\nwhen = \"time of day is between 22:00 and 06:00\"\n";
    let mut t = Table::with(night);
    t.chart.utc = Some(at(21.0));
    t.board.set_roster(t.at(), daily(), &t.chart);
    assert_eq!(on(&t), "Ada");
    t.told();
    t.board.set_ship_time(t.at(), 4 * 3600, &t.chart);
    assert_eq!((on(&t), t.board.ship_time_s()), ("Bo", 14_400), "01:00 by the ship's clock");
    assert!(t.told().iter().any(|s| s.starts_with("Raised night")), "orders by the hour follow too");
    t.board.set_ship_time(t.at(), 0, &t.chart);
    assert_eq!(on(&t), "Ada");
    // An hour more on watch when clocks go back: the middle watch begins an hour later.
    t.board.set_ship_time(t.at(), -3600, &t.chart);
    pass(&mut t, 3 * 60 + 1);
    assert_eq!(on(&t), "Ada");
    pass(&mut t, 60);
    assert_eq!(on(&t), "Bo");
    // By hand: not undone.
    t.board.take_watch(t.at(), "Dot", &t.chart);
    t.board.set_ship_time(t.at(), -7200, &t.chart);
    pass(&mut t, 2);
    assert_eq!(on(&t), "Dot", "23:01 again by the ship's clock");

    // It outlasts a restart, until somebody changes the boat's file.
    let kept = t.board.snapshot();
    let again = |configured: i64| {
        let mut t = Table::with("");
        t.board = rules::Board::new(BoardSettings { ship_time_s: configured, ..BoardSettings::default() });
        t.board.restore(t.at(), kept.clone(), Some(Duration::ZERO));
        t.board.ship_time_s()
    };
    assert_eq!((again(0), again(3600)), (-7200, 3600));
}

#[test]
fn over_the_date_line_the_watches_go_on_in_turn() {
    // Eastward from UTC+12 to UTC-12 the date comes twice, the hour does not change. Two people with dogs keep other hours
    // on the day before, so counting by the date would give one of them two watches in a row.
    let mut t = Table::with("");
    t.board = rules::Board::new(BoardSettings { ship_time_s: 12 * 3600, ..BoardSettings::default() });
    t.chart.utc = Some(at(20.0 + 24.0 - 12.0 + 1.0));
    t.board.set_roster(t.at(), rotating(&["A", "B"], &DOGS), &t.chart);
    let mut turns = String::from(on(&t));
    for hour in 0..24 {
        if hour == 6 {
            t.board.set_ship_time(t.at(), -12 * 3600, &t.chart);
        }
        pass(&mut t, 60);
        turns += on(&t);
    }
    // The second day from 21:00 on, by the table above: B A B A B A B, an hour a letter.
    assert_eq!(turns, "BBBAAAABBBBAAAABBBBAABBAA".to_owned());
    let h = t.board.handover(&t.chart);
    assert_eq!(h.next.map(|(who, _)| who).as_deref(), Some("B"));
}

#[test]
fn rest_is_counted_by_whoever_had_the_watch_also_by_hand_and_over_a_restart() {
    let mut t = Table::with("");
    t.chart.utc = Some(at(20.0));
    t.board.set_roster(t.at(), daily(), &t.chart);
    pass(&mut t, 121);
    t.board.take_watch(t.at(), "Dot", &t.chart);
    pass(&mut t, 119);
    let hours = |t: &Table| -> Vec<(String, i64)> {
        let rests = t.board.rests(&t.chart);
        rests.into_iter().map(|r| (r.who, (r.off_day.as_secs_f64() / 3600.0).round() as i64)).collect()
    };
    let named = |all: [(&str, i64); 4]| all.map(|(who, h)| (who.to_owned(), h)).to_vec();
    assert_eq!(hours(&t), named([("Ada", 2), ("Bo", 4), ("Cy", 4), ("Dot", 2)]));
    // The computer was restarted, and nobody knows by its clock how long that took: UTC does.
    let kept = t.board.snapshot();
    let mut t = Table::with("");
    t.now_s = 5.0;
    t.board.restore(t.at(), kept, None);
    t.chart.utc = Some(at(28.0));
    t.board.set_roster(t.at(), daily(), &t.chart);
    pass(&mut t, 1);
    assert_eq!(on(&t), "Cy");
    assert_eq!(hours(&t), named([("Ada", 6), ("Bo", 4), ("Cy", 8), ("Dot", 6)]));
}
