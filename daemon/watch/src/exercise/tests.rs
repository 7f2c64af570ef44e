//! Exercises on a watch that sails.

use super::*;
use crate::{Effect, FeedSetting, Numbers};
use record::Act;
use sentence::encode;
use sentence::{Fix, SentTime};
use terms::{FeedId, METRES_PER_NM, Utc};

const START: (f64, f64) = (48.0, -6.0);

/// A boat of which the truth is known: a position and a course for each second.
struct Sea {
    watch: Watch,
    s: i64,
    place: Position,
    cog_deg: f64,
    sog_kn: f64,
    told: Vec<(i64, bool, EventKind, String)>,
    entries: Vec<Entry>,
}

impl Sea {
    fn new() -> Self {
        let boat = boat::read(
            "boat.toml",
            "version = 1\n[[crew]]\nname = \"Ada\"\nbeacon = \"972000001\"\n[[feed]]\nname = \"bus\"\ntcp = \"a:1\"\n",
        );
        let boat = boat.unwrap().0;
        let feeds: Vec<FeedSetting> = boat.feeds.iter().map(FeedSetting::of).collect();
        let watch = Watch::begun(Moment(0), &boat, &feeds, Numbers::default(), None);
        let place = Position::new(START.0, START.1).unwrap();
        let (told, entries) = (Vec::new(), Vec::new());
        let mut sea = Self { watch, s: 0, place, cog_deg: 0.0, sog_kn: 6.0, told, entries };
        sea.sail(120, 0.0, 6.0);
        sea
    }

    fn at(&self) -> Moment {
        Moment(self.s * 1000)
    }

    fn sail(&mut self, seconds: i64, cog_deg: f64, sog_kn: f64) {
        (self.cog_deg, self.sog_kn) = (cog_deg, sog_kn);
        for _ in 0..seconds {
            self.s += 1;
            self.place = self.place.at(cog_deg, sog_kn / 3600.0);
            let utc = Utc::parse("2026-11-01T02:00:00Z").unwrap().plus_ms(self.s * 1000);
            let fix = Fix {
                time: Some(SentTime::Utc(utc)),
                position: Some(self.place),
                sog_kn: Some(sog_kn),
                cog_deg: Some(cog_deg),
                ..Fix::default()
            };
            self.hear(&encode::rmc("GP", &fix));
        }
    }

    fn hear(&mut self, line: &str) {
        let at = self.at();
        self.watch.hear(at, FeedId(0), &line.parse().unwrap());
        self.watch.advance(at);
        self.collect();
    }

    fn collect(&mut self) {
        for o in self.watch.effects().collect::<Vec<_>>() {
            match o {
                Effect::Event(_, record, _) => {
                    let a = record.alert;
                    self.told.push((self.s, a.exercise, record.event, a.text));
                }
                Effect::Entry(_, e) => self.entries.push(e),
                _ => {}
            }
        }
    }

    fn act(&mut self, act: Act) -> Result<String, ActError> {
        let done = self.watch.act(self.at(), act);
        self.collect();
        done
    }

    fn drill(&mut self, what: &str) -> Result<String, ActError> {
        self.act(Act::Drill { what: what.to_owned() })
    }

    fn acknowledge(&mut self) {
        self.act(Act::Acknowledge { alert: None, order: None }).unwrap();
    }

    fn figures(&self) -> serde_json::Value {
        let measures = self.entries.iter().rev().find_map(|e| match e {
            Entry::DrillEnded { measures, .. } => Some(measures),
            _ => None,
        });
        serde_json::to_value(measures.unwrap()).unwrap()
    }

    fn beacon(&mut self, mmsi: u32) {
        let mut report = AisReport::new(1, 0, Mmsi::new(mmsi).unwrap());
        report.nav_status = Some(14);
        let line = encode::ais(&report, "AI", 'A', 0).concat();
        self.hear(&line);
    }
}

#[test]
fn a_drill_is_measured_as_it_was_in_truth() {
    let mut sea = Sea::new();
    let fell = sea.place;
    let began = sea.s;
    assert!(sea.drill("overboard").unwrap().starts_with("EXERCISE: "));
    sea.sail(12, 0.0, 6.0);
    sea.acknowledge();
    sea.sail(8, 0.0, 6.0);
    assert_eq!(sea.drill("spotter").unwrap(), "EXERCISE: spotter told");
    sea.sail(25, 0.0, 6.0);
    let slowed = sea.s;
    sea.sail(15, 0.0, 2.5);
    let truth_greatest_m = fell.range_and_bearing(sea.place).0 * METRES_PER_NM;
    let turned = sea.s;
    sea.sail(80, 180.0, 2.5);
    let truth_closest_m = fell.range_and_bearing(sea.place).0 * METRES_PER_NM;
    assert!(sea.drill("alongside").unwrap().starts_with("EXERCISE over, alongside"));
    let alarm = sea.told.iter().find(|t| t.1).map(|t| t.0).unwrap();
    assert!((0..=3).contains(&(alarm - began)), "the first burst comes in a second: {:?}", sea.told);
    let f = sea.figures();
    let near = |key: &str, truth: f64, off: f64| {
        let is = f[key].as_f64().unwrap_or_else(|| panic!("no {key} in {f}"));
        assert!((is - truth).abs() <= off, "{key} is {is}, in truth {truth}: {f}");
    };
    near("acknowledged_s", (began + 12 - alarm) as f64, 0.1);
    near("spotter_told_s", (began + 20 - alarm) as f64, 0.1);
    near("speed_off_s", (slowed + 1 - alarm) as f64, 1.1);
    near("turned_s", (turned + 1 - alarm) as f64, 1.1);
    near("alongside_s", (sea.s - alarm) as f64, 0.1);
    near("sog_kn", 6.0, 0.1);
    // The invented beacon errs as a small receiver does (20 m).
    near("greatest_nm", truth_greatest_m / METRES_PER_NM, 25.0 / METRES_PER_NM);
    near("closest_nm", truth_closest_m / METRES_PER_NM, 25.0 / METRES_PER_NM);
}

#[test]
fn ten_knots_for_six_minutes_are_a_mile() {
    // Common practice.
    let mut sea = Sea::new();
    sea.drill("fender").unwrap();
    sea.sail(5, 0.0, 10.0);
    let pushed = sea.act(Act::Overboard { late_s: 0.0, who: None }).unwrap();
    assert_eq!(pushed, "EXERCISE: casualty 1 marked");
    sea.sail(360, 0.0, 10.0);
    sea.drill("end").unwrap();
    let greatest = sea.figures()["greatest_nm"].as_f64().unwrap();
    assert!((greatest - 1.0).abs() < 0.02, "{greatest}");
    assert!(sea.figures()["turned_s"].is_null(), "she never did");
}

#[test]
fn everything_of_a_drill_says_exercise_and_nothing_real_does() {
    let mut sea = Sea::new();
    sea.drill("overboard").unwrap();
    sea.sail(40, 0.0, 6.0);
    sea.drill("end").unwrap();
    let told: Vec<_> = sea.told.iter().filter(|t| t.1).collect();
    assert!(told.len() >= 3, "{told:?}");
    assert!(told.iter().all(|t| t.3.starts_with("EXERCISE")), "{told:?}");
    sea.drill("fender").unwrap();
    sea.drill("end").unwrap();
    assert!(sea.told.iter().all(|t| t.1 == t.3.contains("EXERCISE")), "{:?}", sea.told);
    assert!(sea.watch.open_casualties(sea.at()).is_empty());
    let entries: Vec<_> = sea.entries.iter().filter(|e| e.kind() == "drill").collect();
    assert!(entries.len() == 4 && entries.iter().all(|e| e.text().starts_with("EXERCISE")), "{entries:?}");
    // Its number is not used again.
    let id = sea.act(Act::Overboard { late_s: 0.0, who: None }).unwrap();
    assert_eq!(id, "casualty 2 marked");
    assert!(sea.told.iter().rev().take(1).all(|t| !t.1 && !t.3.contains("EXERCISE")));
    assert!(sea.drill("overboard").is_err(), "a real casualty is open");
}

#[test]
fn a_real_beacon_ends_the_drill_at_once_and_is_told_as_ever() {
    let mut sea = Sea::new();
    sea.drill("overboard").unwrap();
    sea.sail(20, 0.0, 6.0);
    sea.acknowledge();
    let before = sea.told.len();
    sea.beacon(972_000_001);
    let news: Vec<_> = sea.told[before..].to_vec();
    let real = news.iter().find(|t| t.2 == EventKind::Raised).unwrap();
    assert!(!real.1 && real.3.starts_with("Ada overboard"), "{news:?}");
    assert!(
        news.iter().any(|t| t.1 && t.2 == EventKind::Cleared && t.3.contains("THIS IS REAL")),
        "{news:?}"
    );
    assert!(news.iter().any(|t| t.3 == "EXERCISE over. This is real"), "{news:?}");
    assert!(news.iter().all(|t| t.0 == sea.s), "at once");
    sea.sail(90, 0.0, 6.0);
    assert!(sea.told[before + news.len()..].iter().all(|t| !t.1), "nothing of the drill any more");
    assert_eq!(sea.watch.open_casualties(sea.at()).len(), 1);
    assert!(sea.watch.exercise.is_none());
}

#[test]
fn a_button_pressed_during_a_drill_is_real_unless_a_fender_is_waited_for() {
    let mut sea = Sea::new();
    sea.drill("overboard").unwrap();
    sea.sail(20, 0.0, 6.0);
    sea.act(Act::Overboard { late_s: 0.0, who: None }).unwrap();
    assert_eq!(sea.watch.open_casualties(sea.at()).len(), 1);
    assert!(sea.watch.exercise.is_none());

    let mut sea = Sea::new();
    sea.drill("fender").unwrap();
    sea.act(Act::Overboard { late_s: 0.0, who: Some("Ada".into()) }).unwrap();
    assert_eq!(sea.watch.open_casualties(sea.at()).len(), 1, "a name is no fender's");

    let mut sea = Sea::new();
    sea.drill("fender").unwrap();
    sea.sail(601, 0.0, 6.0);
    sea.act(Act::Overboard { late_s: 0.0, who: None }).unwrap();
    assert_eq!(sea.watch.open_casualties(sea.at()).len(), 1, "nobody waits for a fender any more");

    let mut sea = Sea::new();
    sea.drill("fender").unwrap();
    sea.act(Act::Overboard { late_s: 0.0, who: None }).unwrap();
    assert!(sea.watch.open_casualties(sea.at()).is_empty());
    sea.sail(20, 0.0, 6.0);
    sea.act(Act::Overboard { late_s: 0.0, who: None }).unwrap();
    assert_eq!(sea.watch.open_casualties(sea.at()).len(), 1, "the second press is real");
}

#[test]
fn exercises_of_the_other_kinds_end_with_their_acknowledgement_and_leave_the_real_ones_alone() {
    for (what, order, words) in [
        ("feed", "feed silent", "EXERCISE: bus: no sentence for 60 s"),
        ("fix", "fix lost", "EXERCISE: Position lost"),
        ("ship", "close approach", "EXERCISE: an invented ship"),
        ("watch-alarm", "watch alarm", "EXERCISE: The watch has not reset"),
    ] {
        let mut sea = Sea::new();
        sea.drill(what).unwrap();
        let alert = sea.watch.board.alerts().find(|a| a.exercise).cloned().unwrap();
        assert_eq!(alert.order, order);
        let said = sea.watch.board.words(&alert, &sea.watch.view(sea.at())).written;
        assert!(said.starts_with(words), "{said}");
        assert!(sea.drill("alongside").is_err(), "nobody is overboard");
        sea.sail(9, 0.0, 6.0);
        sea.acknowledge();
        assert!(sea.watch.exercise.is_none() && sea.watch.board.alerts().all(|a| !a.exercise), "{what}");
        assert_eq!(sea.figures()["acknowledged_s"].as_f64(), Some(9.0), "{what}");
        // The real thing during the exercise stands beside it.
        let mut sea = Sea::new();
        sea.drill("fix").unwrap();
        sea.watch.advance(sea.at() + Duration::from_secs(40));
        let both: Vec<bool> =
            sea.watch.board.alerts().filter(|a| a.order == "fix lost").map(|a| a.exercise).collect();
        assert_eq!(both, [true, false]);
    }
    let mut sea = Sea::new();
    assert!(sea.drill("fire").unwrap_err().to_string().contains("one of overboard, fender"));
    assert!(sea.drill("end").is_err());
}

#[test]
fn a_drill_does_not_outlast_a_restart() {
    let mut sea = Sea::new();
    sea.drill("overboard").unwrap();
    sea.sail(20, 0.0, 6.0);
    let kept = sea.watch.kept(sea.at());
    let mut after = Sea::new();
    let gap = lookout::casualty::Gap::SameClock;
    after.watch.restore(sea.at(), kept.clone(), gap);
    assert!(after.watch.board.alerts().all(|a| !a.exercise));
    assert!(after.watch.open_casualties(sea.at()).is_empty());
}

#[test]
fn an_exercise_that_everybody_forgets_ends_after_an_hour() {
    let mut sea = Sea::new();
    sea.drill("overboard").unwrap();
    let ended = |sea: &Sea| {
        let of = |e: &Entry| match e {
            Entry::DrillEnded { ended, .. } => Some(*ended),
            _ => None,
        };
        sea.entries.iter().filter_map(of).collect::<Vec<_>>()
    };
    sea.sail(3590, 0.0, 6.0);
    assert_eq!(ended(&sea), []);
    sea.sail(30, 0.0, 6.0);
    assert_eq!(ended(&sea), [DrillEnd::Forgotten]);
}
