//! The way back, on a watch that sails.

use super::*;
use crate::{Effect, FeedSetting, Input, Numbers};
use record::Act;
use sentence::ais::{AisReport, PositionSource};
use sentence::{Fix, SentTime, encode};
use terms::{FeedId, Mmsi, Position, Utc};

const ADA: u32 = 972_000_001;

/// What was said: second, kind, words, and whether the logbook keeps it.
type Said = (i64, EventKind, String, bool);

/// A boat of which the truth is known, and who lies in the water with a beacon that sends every ten seconds.
struct Sea {
    watch: Watch,
    s: i64,
    place: Position,
    overboard: Vec<(u32, Position)>,
    said: Vec<Said>,
}

impl Sea {
    fn new() -> Self {
        let boat = boat::read(
            "boat.toml",
            "version = 1\n[[crew]]\nname = \"Ada\"\nbeacon = \"972000001\"\n[[crew]]\nname = \"Bo\"\n\
             beacon = \"972000002\"\n[[feed]]\nname = \"bus\"\ntcp = \"a:1\"\n",
        );
        let boat = boat.unwrap().0;
        let feeds: Vec<FeedSetting> = boat.feeds.iter().map(FeedSetting::of).collect();
        let watch = Watch::begun(Moment(0), &boat, &feeds, Numbers::default(), None);
        let place = Position::new(48.0, -6.0).unwrap();
        let mut sea = Self { watch, s: 0, place, overboard: Vec::new(), said: Vec::new() };
        sea.sail(60, 0.0, 6.0);
        sea.said.clear();
        sea
    }

    fn at(&self) -> Moment {
        Moment(self.s * 1000)
    }

    fn sail(&mut self, seconds: i64, cog_deg: f64, sog_kn: f64) {
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
            if self.s % 10 == 0 {
                self.overboard.clone().into_iter().for_each(|(mmsi, place)| self.beacon(mmsi, place));
            }
        }
    }

    fn falls(&mut self, mmsi: u32) {
        self.overboard.push((mmsi, self.place));
        self.beacon(mmsi, self.place);
    }

    /// It drifts to the east, so that each fix is a new one.
    fn beacon(&mut self, mmsi: u32, place: Position) {
        let place = place.at(90.0, self.s as f64 * 0.1 / 3600.0);
        let mut report = AisReport::new(1, 0, Mmsi::new(mmsi).unwrap());
        report.nav_status = Some(14);
        (report.position, report.position_source) = (Some(place), Some(PositionSource::Fix));
        report.utc_second = u8::try_from(self.s % 60).ok();
        self.hear(&encode::ais(&report, "AI", 'A', 0).concat());
    }

    fn hear(&mut self, line: &str) {
        let at = self.at();
        self.watch.take(at, Input::Line(FeedId(0), line.parse().unwrap())).unwrap();
        self.watch.advance(at);
        self.collect();
    }

    fn collect(&mut self) {
        for o in self.watch.effects() {
            if let Effect::Event(_, record, carry) = o
                && record.alert.priority == Priority::EmergencyAlarm
            {
                self.said.push((self.s, record.event, record.alert.spoken, !carry.passing));
            }
        }
    }

    fn act(&mut self, act: Act) -> String {
        let done = self.watch.take(self.at(), Input::Act(act)).unwrap().words();
        self.collect();
        done
    }

    fn acknowledge(&mut self) {
        self.act(Act::Acknowledge { alert: None, order: None });
    }

    /// The lines of guidance since a second.
    fn guided(&self, from_s: i64) -> Vec<(i64, String)> {
        let guided = self.said.iter().filter(|(s, kind, ..)| *kind == EventKind::Guidance && *s >= from_s);
        guided.map(|(s, _, words, _)| (*s, words.clone())).collect()
    }
}

#[test]
fn from_the_first_call_to_alongside_she_is_guided_through_the_acknowledgement() {
    let mut sea = Sea::new();
    let began = sea.s;
    sea.falls(ADA);
    sea.sail(20, 0.0, 6.0);
    sea.acknowledge();
    sea.sail(70, 0.0, 6.0);
    sea.sail(20, 270.0, 6.0);
    sea.sail(100, 180.0, 6.0);
    let near = sea.s;
    sea.sail(60, 120.0, 0.4);
    let spoken: Vec<&Said> = sea.said.iter().filter(|(_, kind, ..)| kind.calls()).collect();
    let until_near: Vec<i64> = spoken.iter().map(|s| s.0).filter(|s| *s <= near).collect();
    assert!(until_near.windows(2).all(|w| (1..=15).contains(&(w[1] - w[0]))), "{spoken:?}");
    let guided = sea.guided(began);
    assert!(guided.len() > 12, "{guided:?}");
    let first = &guided[0];
    assert_eq!((first.0 - began, first.1.as_str()), (12, "Ada, astern, forty metres, opening."));
    let passes = guided.iter().filter(|g| g.1.starts_with("Ada, passing abeam to port, ")).count();
    assert_eq!(passes, 1, "{guided:?}");
    assert!(guided.iter().any(|g| g.1.ends_with("closing.")), "{guided:?}");
    // One line a minute is kept.
    let kept: Vec<i64> = sea.said.iter().filter(|s| s.1 == EventKind::Guidance && s.3).map(|s| s.0).collect();
    assert!(kept.windows(2).all(|w| w[1] - w[0] >= 60) && kept.len() >= 3, "{kept:?}");
}

#[test]
fn within_thirty_metres_it_ends_and_it_begins_again_when_she_is_lost() {
    let mut sea = Sea::new();
    sea.falls(ADA);
    sea.acknowledge();
    sea.sail(60, 0.0, 6.0);
    sea.sail(57, 180.0, 6.0);
    let near = sea.s;
    sea.sail(100, 180.0, 0.1);
    let guided = sea.guided(near);
    assert_eq!(guided.last().unwrap().1, "Ada within thirty metres.", "{guided:?}");
    assert!(guided.last().unwrap().0 <= near + 15, "{guided:?}");
    let later = sea.s;
    sea.sail(60, 90.0, 4.0);
    assert!(sea.guided(later).len() >= 2, "she was lost again: {:?}", sea.said);
}

#[test]
fn silence_quiets_it_for_its_thirty_seconds_and_a_stand_down_for_good() {
    let mut sea = Sea::new();
    sea.falls(ADA);
    sea.acknowledge();
    sea.sail(30, 0.0, 6.0);
    let silenced = sea.s;
    assert_eq!(sea.act(Act::Silence { alert: None, order: None }), "1 silenced for 30 s");
    assert_eq!(sea.said.last().unwrap().1, EventKind::Silenced);
    sea.sail(60, 0.0, 6.0);
    let guided = sea.guided(silenced);
    assert_eq!(guided[0].0, silenced + 30, "{guided:?}");
    sea.act(Act::StandDown { casualty: None, reason: "recovered".into() });
    let over = sea.s;
    sea.overboard.clear();
    sea.sail(60, 0.0, 6.0);
    assert_eq!(sea.guided(over + 1), []);
}

#[test]
fn of_two_each_has_a_name_and_its_own_line_and_a_stranger_none() {
    let mut sea = Sea::new();
    sea.falls(ADA);
    sea.sail(25, 0.0, 6.0);
    sea.act(Act::Overboard { late_s: 0.0, who: Some("Bo".into()) });
    sea.acknowledge();
    let from = sea.s;
    sea.sail(40, 0.0, 6.0);
    let guided = sea.guided(from);
    let of = |name: &str| guided.iter().filter(|g| g.1.starts_with(name)).count();
    assert!(of("Ada, ") >= 2 && of("Bo, ") >= 2, "{guided:?}");

    let mut sea = Sea::new();
    sea.falls(972_111_222);
    sea.sail(40, 0.0, 6.0);
    assert_eq!(sea.guided(0), [], "nobody of ours");
}

#[test]
fn a_button_names_no_side_at_first_and_yawing_changes_none() {
    let mut sea = Sea::new();
    sea.act(Act::Overboard { late_s: 0.0, who: None });
    assert_eq!(sea.said[0].2, "Man overboard. Close by.");
    let mut sea = Sea::new();
    sea.falls(ADA);
    sea.acknowledge();
    sea.sail(60, 0.0, 6.0);
    let from = sea.s;
    for _ in 0..5 {
        sea.sail(12, 340.0, 6.0);
        sea.sail(12, 355.0, 6.0);
    }
    let sides: Vec<String> =
        sea.guided(from).iter().map(|g| g.1.split(", ").nth(1).unwrap().to_owned()).collect();
    assert!(sides.windows(2).filter(|w| w[0] != w[1]).count() <= 1, "{sides:?}");
}

#[test]
fn an_exercise_is_guided_as_one_and_teaches_how_she_turns() {
    let mut sea = Sea::new();
    let began = sea.s;
    sea.act(Act::Drill { what: "overboard".into() });
    sea.sail(60, 0.0, 6.0);
    sea.sail(90, 180.0, 6.0);
    let guided = sea.guided(began);
    assert!(guided.len() > 4 && guided.iter().all(|g| g.1.starts_with("Exercise. ")), "{guided:?}");
    sea.act(Act::Drill { what: "alongside".into() });
    let over = sea.s;
    sea.sail(30, 0.0, 6.0);
    assert_eq!(sea.guided(over + 1), []);
    let fell = sea.s;
    sea.falls(ADA);
    sea.sail(90, 0.0, 6.0);
    let turns: Vec<(i64, String)> = sea
        .guided(fell)
        .into_iter()
        .filter(|g| g.1.contains("Turn as drilled, one minute, two hundred metres."))
        .collect();
    assert_eq!(turns.len(), 2, "once a minute: {:?}", sea.guided(fell));
}

#[test]
fn a_watch_that_goes_on_elsewhere_says_the_same() {
    let mut sea = Sea::new();
    sea.falls(ADA);
    sea.acknowledge();
    sea.sail(65, 0.0, 6.0);
    let begin = sea.watch.go_on(sea.at());
    let mut other = Sea { overboard: sea.overboard.clone(), said: Vec::new(), ..Sea::new() };
    (other.s, other.place) = (sea.s, sea.place);
    other.watch.take(sea.at(), Input::Begin(Box::new(begin))).unwrap();
    other.collect();
    other.said.clear();
    let from = sea.s + 1;
    sea.sail(60, 200.0, 6.0);
    other.sail(60, 200.0, 6.0);
    assert!(sea.guided(from).len() >= 4);
    assert_eq!(sea.guided(from), other.guided(from));
}
