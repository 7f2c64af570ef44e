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
use watch::{Begin, Effect, FeedSetting, Input, Kept, Silence, Watch};

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
        let feeds = [feed("bus", Silence::After(Duration::from_secs(60))), feed("gps", Silence::Never)];
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
        // Three sentences must agree, and this receiver sends one each ten seconds.
        if r.steady_s >= 271.0 {
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
    let mut aboard = Aboard::begun_at(Moment(-3000), Kept::default());
    let utc = |aboard: &Aboard| aboard.watch.stamp(aboard.now).utc.unwrap();
    let mut last = Utc(0);
    let seconds = ["55", "56", "57", "58", "59", "60"].map(|s| format!("2359{s}.00,31,12,2026"));
    for (s, time) in (-2..).zip(seconds.into_iter().chain(["000000.00,01,01,2027".to_owned()])) {
        // 2026-12-31T23:59:57Z.
        aboard.pass(s, 1_798_761_597_000 + s * 1000);
        aboard.hear(&format!("$GPZDA,{time},00,00"));
        let (now, source) = utc(&aboard);
        assert!(s < 0 || source == UtcSource::Satellite);
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
    // 1024 weeks (IS-GPS-200) before 2026-11-25 is 2007-04-11, from `date -d '2026-11-25 - 7168 days'`.
    for s in 0..3 {
        aboard.pass(s, 1000);
        aboard.hear(&format!("$GPZDA,12000{s}.00,11,04,2007,00,00"));
    }
    assert_eq!(aboard.watch.stamp(aboard.now).utc, Some((Utc(NOON + 2000), UtcSource::Satellite)));
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
    for s in 0..3 {
        before.pass(8 + s, NOON);
        before.hear(&format!("$GPZDA,11595{}.00,25,11,2026,00,00", 7 + s));
    }
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
    for s in 0..3 {
        after.pass(15 + s, 0);
        after.hear(&format!("$GPZDA,13000{s}.00,25,11,2026,00,00"));
    }
    after.pass(18, 0);
    after.hear("$SDDPT,12.5,0.0");
    after.pass(18, 0);
    let (s, is) = elapsed(&mut after);
    assert_eq!(is, "exact");
    assert!((s - 3603.0).abs() <= 1.0, "{s}");
}

/// A sentence with a date and time: of the bus with the talker GN, of the second receiver with GP.
fn dated(talker: &str, utc_ms: i64) -> String {
    let utc = Utc(utc_ms).civil().unwrap();
    utc.format(&format!("${talker}ZDA,%H%M%S.00,%d,%m,%Y,00,00")).to_string()
}

impl Aboard {
    /// Seconds aboard in which `lines` are heard, and the computer's clock shows `computer`; checks each second that UTC
    /// is as expected, if it is given.
    fn spend(
        &mut self,
        seconds: std::ops::Range<i64>,
        computer: impl Fn(i64) -> i64,
        lines: impl Fn(i64) -> Vec<String>,
        expected: impl Fn(i64) -> Option<(i64, UtcSource)>,
    ) {
        for s in seconds {
            self.pass(s, computer(s));
            lines(s).iter().for_each(|line| self.hear(line));
            if let Some((utc_ms, source)) = expected(s) {
                assert_eq!(self.watch.stamp(self.now).utc, Some((Utc(utc_ms), source)), "at {s} s");
            }
        }
    }

    /// The events of an alert with their words and seconds.
    fn of(&self, order: &str) -> Vec<String> {
        let of = self.told.iter().filter(|(_, r)| r.alert.order == order);
        of.map(|(_, r)| format!("{:.0} {:?} {}", r.steady_s, r.event, r.alert.text)).collect()
    }

    fn doubtful(&self) -> Vec<String> {
        self.of("time doubtful")
            .into_iter()
            .filter(|w| !w.contains("Repeated") && !w.contains("Escalated"))
            .collect()
    }
}

/// 2099-01-01T00:00:00Z, from `date -u -d 2099-01-01 +%s`.
const IN_2099: i64 = 4_070_908_800_000;

fn right(s: i64) -> i64 {
    NOON + s * 1000
}

fn by_satellite(s: i64) -> Option<(i64, UtcSource)> {
    (s > 2).then(|| (right(s), UtcSource::Satellite))
}

#[test]
fn a_feed_in_2099_moves_nothing_for_hours_and_is_named_beside_the_one_that_is_followed() {
    let mut aboard = Aboard::new();
    let lines = |s: i64| {
        let rmc = Utc(IN_2099 + s * 1000)
            .civil()
            .unwrap()
            .format("$GPRMC,%H%M%S.00,A,5000.0,N,00600.0,W,5.0,90.0,%d%m%y,,,A");
        vec![dated("GP", IN_2099 + s * 1000), rmc.to_string(), dated("GN", right(s))]
    };
    aboard.spend(0..7200, right, lines, by_satellite);
    let told = aboard.doubtful();
    let [raised] = &told[..] else { panic!("{told:?}") };
    assert!(raised.starts_with("31 Raised Times differ: gps gives 20"), "{raised}");
    assert!(raised.ends_with(", bus 2026-11-25 12:00:31 UTC. The watch goes by bus"), "{raised}");
    // Alone it is no better: the watch's own clock goes on, and so does the warning.
    aboard.spend(7200..9000, right, |s| vec![dated("GP", IN_2099 + s * 1000)], by_satellite);
    aboard.spend(9000..9060, right, |s| vec![dated("GN", right(s))], by_satellite);
    assert!(
        aboard.doubtful().last().unwrap().contains("Cleared")
            || aboard.doubtful().last().unwrap().contains("Rectified"),
        "{:?}",
        aboard.doubtful()
    );
}

#[test]
fn a_receiver_without_a_fix_or_without_a_week_gives_no_time() {
    for (date, void) in [("06,01,1980", true), ("06,01,1980", false), ("11,04,2007", true)] {
        let mut aboard = Aboard::new();
        let lines = |s: i64| {
            let time = Utc(s * 1000).civil().unwrap().format("%H%M%S").to_string();
            let rmc = format!("$GPRMC,{time},V,,,,,,,060180,,,N");
            [void.then_some(rmc), Some(format!("$GPZDA,{time}.00,{date},00,00"))]
                .into_iter()
                .flatten()
                .collect()
        };
        aboard.spend(0..900, |s| s * 1000, lines, |s| Some((s * 1000, UtcSource::System)));
        assert!(aboard.of("clock not known")[0].starts_with("120 Raised"), "{:?}", aboard.told);
        // Then it finds its satellites.
        let found = |s| vec![dated("GP", right(s))];
        aboard.spend(900..920, |s| s * 1000, found, |s| (s > 906).then(|| (right(s), UtcSource::Satellite)));
        assert!(aboard.of("clock not known").last().unwrap().contains("Cleared"));
    }
}

#[test]
fn a_computers_clock_in_2099_keeps_no_satellite_from_giving_the_time() {
    let mut aboard = Aboard::new();
    let wrong = |s: i64| IN_2099 + s * 1000;
    aboard.spend(0..130, wrong, |_| vec![], |_| None);
    assert!(aboard.of("clock not known")[0].starts_with("120 Raised"));
    aboard.spend(
        130..190,
        wrong,
        |s| vec![dated("GP", right(s))],
        |s| (s >= 132).then(|| (right(s), UtcSource::Satellite)),
    );
    assert_eq!(aboard.doubtful(), [""; 0]);
}

#[test]
fn a_computers_clock_that_stood_still_while_off_is_put_right_within_half_a_minute_without_a_warning() {
    let mut aboard = Aboard::new();
    let behind = |s: i64| right(s) - 12 * 24 * HOUR_MS;
    aboard.spend(
        0..60,
        behind,
        |s| vec![dated("GP", right(s))],
        |s| (s >= 20).then(|| (right(s), UtcSource::Satellite)),
    );
    assert_eq!(aboard.doubtful(), [""; 0]);
    let noted = aboard.of("lookout");
    let words =
        "UTC is now 2026-11-25 12:00:20 UTC by gps; it was 2026-11-13 12:00:20 UTC by the computer's clock";
    assert!(noted.iter().any(|n| n.contains(words)), "{noted:?}");
}

#[test]
fn of_two_feeds_that_disagree_the_computers_clock_decides_and_else_their_order() {
    // A day apart; the one further down in the order speaks first.
    let lines = |s: i64| {
        let bus = (s >= 10).then(|| dated("GN", right(s)));
        bus.into_iter().chain([dated("GP", right(s) + 24 * HOUR_MS)]).collect()
    };
    let mut aboard = Aboard::new();
    aboard.spend(0..900, |s| s * 1000, lines, |s| (s >= 12).then(|| (right(s), UtcSource::Satellite)));
    let told = aboard.doubtful();
    assert!(
        told[0].contains("gps gives 2026-11-26 12:0") && told[0].contains(", bus 2026-11-25 12:0"),
        "{told:?}"
    );
    assert_eq!(told.len(), 1, "{told:?}");

    let mut aboard = Aboard::new();
    let tomorrow = |s: i64| right(s) + 24 * HOUR_MS;
    aboard.spend(0..900, tomorrow, lines, |s| (s >= 3).then(|| (tomorrow(s), UtcSource::Satellite)));
    let told = aboard.doubtful();
    assert!(told[0].contains("bus gives 2026-11-25") && told[0].contains(", gps 2026-11-26"), "{told:?}");
}

#[test]
fn a_receiver_that_jumps_an_hour_is_not_followed_and_the_warning_stands_until_it_is_settled() {
    let jumps = |s: i64| vec![dated("GP", right(s) + if s < 100 { 0 } else { HOUR_MS })];
    let mut aboard = Aboard::new();
    aboard.spend(0..2000, right, jumps, by_satellite);
    let told = aboard.doubtful();
    let words = "Times differ: gps gives 2026-11-25 13:02:10 UTC, the watch's own clock 2026-11-25 12:02:10 UTC. \
                 The watch keeps its own";
    assert_eq!(told, [format!("130 Raised {words}")]);
    // It comes back.
    aboard.spend(2000..2060, right, |s| vec![dated("GP", right(s))], by_satellite);
    assert_eq!(aboard.doubtful().len(), 2, "{:?}", aboard.doubtful());

    // Somebody sets the computer's clock to what the receiver says: that settles it, and is noted.
    let mut aboard = Aboard::new();
    let set = |s: i64| right(s) + if s < 400 { 0 } else { HOUR_MS };
    let follows = |s: i64| (s > 2).then(|| (set(s), UtcSource::Satellite));
    aboard.spend(0..460, set, jumps, follows);
    assert_eq!(aboard.doubtful().len(), 2, "{:?}", aboard.doubtful());
    assert!(aboard.of("lookout").iter().any(|n| n.starts_with("400") && n.contains("UTC is now")));

    // Nothing bears out either: after ten minutes the receiver is believed.
    let mut aboard = Aboard::new();
    let follows =
        |s: i64| (s > 2).then(|| (right(s) + if s < 700 { 0 } else { HOUR_MS }, UtcSource::Satellite));
    aboard.spend(0..760, |s| s * 1000, jumps, follows);
    assert_eq!(aboard.doubtful().len(), 2, "{:?}", aboard.doubtful());
}

#[test]
fn a_receiver_whose_clock_creeps_leads_nowhere() {
    let mut aboard = Aboard::new();
    let creeps = |s: i64| vec![dated("GP", right(s) + (s - 60).max(0) * 1000)];
    aboard.spend(0..1200, |s| s * 1000, creeps, |_| None);
    let (utc, _) = aboard.watch.stamp(aboard.now).utc.unwrap();
    let off_s = (utc.0 - right(1199)) / 1000;
    assert!(off_s <= 300, "{off_s} s");
    assert_eq!(aboard.doubtful().len(), 1, "{:?}", aboard.doubtful());
}
