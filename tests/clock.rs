//! Clocks that are wrong, jump, stand still or come late: a driven clock shows that alerts keep their order and that every
//! timer runs on steady time, whatever UTC does.

use boat::Boat;
use lookout::casualty::Gap;
use record::Act;
use record::EventRecord;
use rules::Orders;
use sentence::{FramerOptions, Sentence};
use serde_json::Value;
use std::sync::Arc;
use std::time::Duration;
use terms::{FeedId, Moment, Utc, UtcSource};
use watch::{Begin, Effect, FeedSetting, Input, Kept, Watch};

const BUS: FeedId = FeedId(0);
const GPS: FeedId = FeedId(1);
/// 2026-01-01, before which no live sentence was sent.
const NOT_BEFORE: Utc = Utc(1_767_225_600_000);
/// 2026-11-25T12:00:00Z.
const NOON: i64 = 1_795_608_000_000;
const HOUR_MS: i64 = 3_600_000;

const ORDERS: &str = r#"
version = 1
[[order]]
name = "shoal water"
priority = "alarm"
when = "depth below transducer is under 3 m"
held = "10 s"
text = "Shoal"
[[order]]
name = "wind"
priority = "warning"
when = "highest apparent wind speed in 1 min is over 30 kn"
text = "Wind"
"#;

/// A watch of two feeds whose clocks the test drives: the bus, which is called silent after a minute, and a satellite
/// receiver, which is not.
struct Aboard {
    watch: Watch,
    now: Moment,
    told: Vec<(Option<Utc>, Box<EventRecord>)>,
    entries: Vec<String>,
}

impl Aboard {
    fn new() -> Self {
        Self::begun_at(Moment(0), Kept::default())
    }

    fn begun_at(now: Moment, kept: Kept) -> Self {
        let feed = |name: &str, silent_after| FeedSetting {
            name: name.to_owned(),
            checksum_optional: true,
            simulator: false,
            trusted: false,
            silent_after,
        };
        let feeds = [feed("bus", Some(Duration::from_secs(60))), feed("gps", None)];
        let begin = Begin {
            not_before: Some(NOT_BEFORE),
            feeds: feeds.to_vec(),
            kept,
            gap: Gap::Unknown,
            orders: Arc::new(Orders::read("orders.toml", ORDERS).unwrap()),
            ..Begin::default()
        };
        let mut watch = Watch::new(&Boat::default());
        watch.take(now, Input::Begin(Box::new(begin))).unwrap();
        Self { watch, now, told: Vec::new(), entries: Vec::new() }
    }

    /// A pass of the watch at a moment, with what the computer's clock says then.
    fn pass(&mut self, s: i64, utc_ms: i64) {
        self.now = Moment(s * 1000);
        self.watch.take(self.now, Input::Clock { utc: Utc(utc_ms) }).unwrap();
        self.watch.advance(self.now);
        for output in self.watch.effects() {
            match output {
                Effect::Event(at, record, _) => self.told.push((at.utc.map(|(utc, _)| utc), record)),
                Effect::Entry(_, entry) => self.entries.push(entry.text()),
                _ => {}
            }
        }
    }

    fn hear(&mut self, line: &str) {
        let checked =
            Sentence::check(line.as_bytes(), &FramerOptions { checksum_optional: true }).unwrap().into();
        let feed = if line.starts_with("$GP") { GPS } else { BUS };
        self.watch.take(self.now, Input::Line(feed, checked)).unwrap();
    }

    /// What was told but of the clock itself, without UTC: steady time, event, order, and which event of its alert.
    fn story(&self) -> Vec<String> {
        self.told
            .iter()
            .filter(|(_, r)| r.alert.order != "clock not known")
            .map(|(_, r)| {
                let s = (r.steady_s * 10.0).round() / 10.0;
                format!("{s} {:?} {} {}", r.event, r.alert.order, r.seq)
            })
            .collect()
    }
}

/// Seven minutes aboard: water shoals and deepens, somebody falls overboard, the bus falls silent. `utc` says what the
/// computer's clock shows at each second; `line` what else is heard then.
fn seven_minutes(utc: impl Fn(i64) -> i64, line: impl Fn(i64) -> Option<String>) -> Aboard {
    let mut aboard = Aboard::new();
    for s in 0..420 {
        aboard.pass(s, utc(s));
        if let Some(line) = line(s) {
            aboard.hear(&line);
        }
        match s {
            0..300 if s % 2 == 0 => {
                let depth = if (100..150).contains(&s) { 2.0 } else { 12.5 };
                aboard.hear(&format!("$SDDPT,{depth},0.0"));
            }
            0..300 => aboard.hear(&format!("$WIMWV,45.0,R,{}.0,N,A", if s < 220 { 12 } else { 34 })),
            _ => {}
        }
        let act = match s {
            130 => Some(Act::Acknowledge { alert: None, order: None }),
            200 => Some(Act::Overboard { late_s: 20.0, who: Some("Ada".to_owned()) }),
            _ => None,
        };
        if let Some(act) = act {
            aboard.watch.take(aboard.now, Input::Act(act)).unwrap();
        }
    }
    aboard
}

/// The time by satellite as a receiver sends it, once a second from a second on.
fn zda(from: i64) -> impl Fn(i64) -> Option<String> {
    move |s| {
        let utc = Utc(NOON + s * 1000).civil().unwrap();
        (s >= from && s % 10 == 1).then(|| utc.format("$GPZDA,%H%M%S.00,%d,%m,%Y,00,00").to_string())
    }
}

fn none(_: i64) -> Option<String> {
    None
}

#[test]
fn whatever_the_computers_clock_does_the_same_is_told_at_the_same_steady_times_in_the_same_order() {
    let right = |s: i64| NOON + s * 1000;
    let plain = seven_minutes(right, none);
    let story = plain.story();
    // What must be in it, by the orders and the standards: held for 10 s; repeated after 30 s without an
    // acknowledgement (IMO MSC.302(87) has alarms go on); silent after 60 s.
    for wanted in ["110 Raised shoal water", "200 Raised person overboard", "359 Raised feed silent"] {
        assert!(story.iter().any(|s| s.starts_with(wanted)), "{wanted}: {story:#?}");
    }
    let steady: Vec<f64> = plain.told.iter().map(|(_, r)| r.steady_s).collect();
    assert!(steady.is_sorted(), "{steady:?}");

    type Reads = Box<dyn Fn(i64) -> i64>;
    let clocks: [(&str, Reads); 7] = [
        ("boot in 1970", Box::new(|s| s * 1000)),
        (
            "boot in 1970, set after three minutes",
            Box::new(move |s| if s < 180 { s * 1000 } else { right(s) }),
        ),
        ("boot in 2061", Box::new(move |s| right(s) + 35 * 365 * 24 * HOUR_MS)),
        ("five hours forward", Box::new(move |s| right(s) + if s < 115 { 0 } else { 5 * HOUR_MS })),
        ("five hours back", Box::new(move |s| right(s) - if s < 115 { 0 } else { 5 * HOUR_MS })),
        ("a day back and forth each second", Box::new(move |s| right(s) + (s % 2) * 24 * HOUR_MS)),
        ("before 1970", Box::new(|s| -86_400_000 + s * 1000)),
    ];
    for (what, clock) in clocks {
        assert_eq!(seven_minutes(&clock, none).story(), story, "{what}");
    }
}

#[test]
fn satellite_time_that_comes_late_changes_no_timer_and_is_the_time_of_all_that_follows() {
    let (wrong, late) = (|s: i64| s * 1000, zda(250));
    let told = seven_minutes(wrong, &late);
    assert_eq!(told.story(), seven_minutes(wrong, none).story());
    for (utc, r) in &told.told {
        let steady_ms = (r.steady_s * 1000.0).round() as i64;
        if r.steady_s >= 252.0 {
            assert_eq!(utc.unwrap(), Utc(NOON + steady_ms), "{}", r.alert.text);
        }
    }
    // It was told that the clock is wrong, and then that it is no longer.
    let clock: Vec<String> = (told.told.iter().map(|(_, r)| r))
        .filter(|r| r.alert.order == "clock not known")
        .map(|r| format!("{:?}", r.event))
        .collect();
    assert_eq!(clock.first().map(String::as_str), Some("Raised"));
    assert_eq!(clock.last().map(String::as_str), Some("Cleared"));
}

#[test]
fn satellite_time_is_not_moved_by_jumps_of_the_computers_clock() {
    let jumping = |s: i64| NOON + s * 1000 + (s % 3 - 1) * 7 * HOUR_MS;
    let told = seven_minutes(jumping, zda(0));
    for (utc, r) in told.told.iter().filter(|(_, r)| r.steady_s > 2.0) {
        assert_eq!(utc.unwrap(), Utc(NOON + (r.steady_s * 1000.0).round() as i64), "{}", r.alert.text);
    }
}

#[test]
fn a_leap_second_is_no_step() {
    // As at the end of 2016 (IERS Bulletin C 52): 23:59:59, 23:59:60, 00:00:00. The date is invented.
    let mut aboard = Aboard::new();
    let utc = |aboard: &Aboard| aboard.watch.stamp(aboard.now).utc.unwrap();
    let mut last = Utc(0);
    for (s, time) in [
        (1, "235958.00,31,12,2026"),
        (2, "235959.00,31,12,2026"),
        (3, "235960.00,31,12,2026"),
        (4, "000000.00,01,01,2027"),
    ] {
        aboard.pass(s, NOON);
        aboard.hear(&format!("$GPZDA,{time},00,00"));
        let (now, source) = utc(&aboard);
        assert_eq!(source, UtcSource::Satellite);
        assert!(now >= last, "UTC never runs back: {last:?} {now:?}");
        last = now;
    }
    // 2027-01-01T00:00:00Z, from `date -u -d 2027-01-01 +%s`.
    assert_eq!(last, Utc(1_798_761_600_000));
    aboard.pass(5, NOON);
    assert!(!aboard.entries.iter().any(|e| e.contains("stepped")), "{:?}", aboard.entries);
}

#[test]
fn a_receiver_whose_week_counter_rolled_over_tells_todays_date() {
    let mut aboard = Aboard::new();
    aboard.pass(1, 1000);
    // 1024 weeks (IS-GPS-200) before 2026-11-25 is 2007-04-11, from `date -d '2026-11-25 - 7168 days'`.
    aboard.hear("$GPZDA,120000.00,11,04,2007,00,00");
    assert_eq!(aboard.watch.stamp(aboard.now).utc, Some((Utc(NOON), UtcSource::Satellite)));
}

#[test]
fn after_an_hour_of_suspend_the_time_is_counted_and_every_ear_is_called_silent_once() {
    let mut aboard = Aboard::new();
    for s in 0..60 {
        aboard.pass(s, NOON + s * 1000);
        aboard.hear("$SDDPT,12.5,0.0");
        if s == 50 {
            let fell = Act::Overboard { late_s: 0.0, who: Some("Ada".to_owned()) };
            aboard.watch.take(aboard.now, Input::Act(fell)).unwrap();
        }
    }
    // Steady time is the kernel's boot time, which counts a suspend (clock_gettime(2)); the next pass is an hour later.
    aboard.pass(59 + 3600, NOON + 3_659_000);
    let story = aboard.story();
    let silent: Vec<_> = story.iter().filter(|s| s.contains("Raised feed silent")).collect();
    assert_eq!(silent.len(), 1, "{story:#?}");
    let steady: Vec<f64> = aboard.told.iter().map(|(_, r)| r.steady_s).collect();
    assert!(steady.is_sorted(), "{steady:?}");
    let status = serde_json::to_value(aboard.watch.status(aboard.now, &watch::Outside::default())).unwrap();
    let casualty = &status["casualties"][0];
    assert_eq!(casualty["elapsed_s"].as_f64().unwrap().round(), 3609.0, "{casualty}");
    assert_eq!(casualty["elapsed_is"], "exact");
    let own = &status["own"];
    assert!(own["depth_m"].is_null(), "an hour old: {own}");
}

#[test]
fn over_a_restart_of_unknown_length_a_duration_is_at_least_until_satellites_tell_it() {
    let mut before = Aboard::new();
    before.pass(10, NOON);
    before.hear("$GPZDA,120000.00,25,11,2026,00,00");
    let fell = Act::Overboard { late_s: 0.0, who: Some("Ada".to_owned()) };
    before.watch.take(before.now, Input::Act(fell)).unwrap();
    before.pass(70, 0);
    let kept = before.watch.kept(before.now);

    // Another boot: steady time begins anew, and the computer's clock shows 1970.
    let mut after = Aboard::begun_at(Moment(5_000), kept);
    after.pass(15, 0);
    let elapsed = |aboard: &mut Aboard| -> (f64, Value) {
        let c = serde_json::to_value(aboard.watch.status(aboard.now, &watch::Outside::default())).unwrap()["casualties"][0].clone();
        (c["elapsed_s"].as_f64().unwrap(), c["elapsed_is"].clone())
    };
    let (s, is) = elapsed(&mut after);
    assert_eq!(is, "at-least");
    assert!((70.0..=71.0).contains(&s), "60 s before and 10 s since: {s}");
    // By satellite it is 13:00 now: an hour after the fall. The next sentence closes the gap.
    after.hear("$GPZDA,130000.00,25,11,2026,00,00");
    after.pass(16, 0);
    after.hear("$SDDPT,12.5,0.0");
    after.pass(16, 0);
    let (s, is) = elapsed(&mut after);
    assert_eq!(is, "exact");
    assert!((s - 3601.0).abs() <= 1.0, "{s}");
}
