//! The crew's drills in the review: those of all nights as a curve, and what they say for tonight.

use crate::aboard::Folder;
use crate::records::{EVENING, at, open};
use middlewatch::logbook::Logbook;
use middlewatch::review::{self, Span};
use record::{Drill, DrillEnd, Entry, Measures, OwnRow};
use terms::{Position, Utc};

pub const DAY: i64 = 86_400;

/// A drill that went as these figures have it, with somebody whose name is hard to write.
pub fn drill(logbook: &Logbook, s: i64, turned_s: Option<f64>, drill: Drill) {
    let measures = Measures {
        acknowledged_s: Some(12.0),
        spotter_told_s: Some(20.0),
        speed_off_s: Some(40.0),
        turned_s,
        alongside_s: Some(600.0),
        greatest_nm: Some(0.31),
        closest_nm: Some(0.01),
        sog_kn: Some(6.0),
    };
    let (who, ended) = (Some("Ada <x>".to_owned()), DrillEnd::Alongside);
    logbook.entry(at(s), Entry::DrillEnded { drill, who, ended, measures });
}

fn own(logbook: &Logbook, s: i64, kn: f64) {
    let position = Position::new(50.0, -6.5).unwrap().at(90.0, kn * (s % DAY) as f64 / 3600.0);
    let row = OwnRow { position: Some(position), sog_kn: Some(kn), cog_deg: Some(90.0), heading_deg: None };
    logbook.own(at(s), row);
}

#[test]
fn drills_of_all_nights_are_told_and_what_they_say_for_tonight() {
    let folder = Folder::new("practice");
    let (logbook, _) = open(&folder.logbook(), "a", 0);
    drill(&logbook, 100, Some(310.0), Drill::Overboard);
    drill(&logbook, 2 * DAY, Some(250.0), Drill::Fender);
    for s in (3 * DAY..3 * DAY + 7200).step_by(10) {
        own(&logbook, s, 9.0);
    }
    drill(&logbook, 3 * DAY + 3600, Some(190.0), Drill::Overboard);
    drill(&logbook, 3 * DAY + 5000, None, Drill::Fix);
    logbook.close(at(3 * DAY + 7200)).blocking_recv().unwrap().unwrap();

    let since = Some(Utc(EVENING + 3 * DAY * 1000));
    let night = review::read(folder.logbook(), Span { since, until: None }).unwrap();
    assert_eq!(night.drills.len(), 4);
    let text = night.print();
    assert!(text.contains("\nPractice\n  4 drills, the last on "), "{text}");
    // 190 s at 9 knots are 0.475 nm.
    assert!(text.contains("from alarm to turned 3 min 10 s: at 9 knots you will be 0.5 nm off"), "{text}");

    let html = night.html(night.ship_time());
    assert!(html.contains("<section id=\"practice\"") || html.contains("id=\"practice\""), "no section");
    let svg = html.split("<svg id=\"drills\"").nth(1).unwrap().split("</svg>").next().unwrap();
    assert_eq!(svg.matches("turned after").count(), 3, "{svg}");
    assert_eq!(svg.matches("<circle").count(), 3 + 3 + 3, "{svg}");
    assert!(svg.contains("turned 3 min 10 s"), "{svg}");
    let heights: Vec<f64> = svg
        .split("turned after")
        .skip(1)
        .map(|part| part.split("cy=\"").nth(1).unwrap().split('"').next().unwrap().parse().unwrap())
        .collect();
    assert!(heights.is_sorted() && heights.len() == 3, "they get better: lower on the paper, {heights:?}");
    assert!(html.contains("Ada &lt;x&gt;") && !html.contains("Ada <x>"));
    let told: serde_json::Value = serde_json::from_str(&night.json()).unwrap();
    assert_eq!(told["drills"][2]["turned_s"], 190.0);

    // Earlier nights know nothing of later drills; where there was none, nothing is said.
    let until = Some(Utc(EVENING + DAY * 1000));
    let first = review::read(folder.logbook(), Span { since: None, until }).unwrap();
    assert_eq!(first.drills.len(), 1);
    let bare = Folder::new("practice-none");
    let (logbook, _) = open(&bare.logbook(), "a", 0);
    own(&logbook, 10, 5.0);
    logbook.close(at(100)).blocking_recv().unwrap().unwrap();
    let night = review::read(bare.logbook(), Span { since: None, until: None }).unwrap();
    assert!(!night.print().contains("Practice") && !night.html(night.ship_time()).contains("id=\"drills\""));
}
