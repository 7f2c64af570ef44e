//! Blindness is an alert: what the watch says when an ear, the clock or own AIS set fails, and when it no longer does.

use boat::Boat;
use record::Act;
use rules::Orders;
use sentence::ais::AisReport;
use sentence::{Counts, FramerOptions, Sentence};
use std::sync::Arc;
use std::time::Duration;
use terms::{FeedId, Mmsi, Moment, Position, Utc};
use watch::{Begin, Effect, FeedSetting, Input, Silence, Watch};

const BUS: FeedId = FeedId(0);
/// 2026-01-01, before which no live sentence was sent.
const NOT_BEFORE: Utc = Utc(1_767_225_600_000);

/// A watch of one feed whose clock the test drives.
struct Aboard {
    watch: Watch,
    now: i64,
    said: Vec<String>,
}

impl Aboard {
    fn new(orders: &str) -> Self {
        Self::judged_by(Silence::After(Duration::from_secs(60)), orders)
    }

    /// The same, whose feed is judged by what it usually brings.
    fn usual() -> Self {
        Self::judged_by(Silence::Unusual, NO_ORDERS)
    }

    fn judged_by(silent_after: Silence, orders: &str) -> Self {
        let feed = FeedSetting {
            name: "bus".to_owned(),
            checksum_optional: true,
            simulator: false,
            trusted: false,
            silent_after,
        };
        let begin = Begin {
            not_before: Some(NOT_BEFORE),
            feeds: vec![feed],
            orders: Arc::new(Orders::read("orders.toml", orders).unwrap()),
            ..Begin::default()
        };
        let mut watch = Watch::new(&Boat::default());
        watch.take(Moment(0), Input::Begin(Box::new(begin))).unwrap();
        Self { watch, now: 0, said: Vec::new() }
    }

    fn until(&mut self, s: i64) {
        self.now = s * 1000;
        self.watch.advance(Moment(self.now));
        self.gather();
    }

    fn hear(&mut self, line: &str) {
        let checked =
            Sentence::check(line.as_bytes(), &FramerOptions { checksum_optional: true }).unwrap().into();
        self.watch.take(Moment(self.now), Input::Line(BUS, checked)).unwrap();
        self.gather();
    }

    fn counted(&mut self, open: bool, counts: &Counts) {
        let wire = Input::Wire { feed: BUS, open, counts: counts.clone() };
        self.watch.take(Moment(self.now), wire).unwrap();
        self.gather();
    }

    /// Hears a line at each of these seconds.
    fn each(&mut self, seconds: impl IntoIterator<Item = i64>, line: &str) {
        for s in seconds {
            self.until(s);
            self.hear(line);
        }
    }

    /// Moments and events of an order.
    fn events(&self, order: &str) -> Vec<&str> {
        self.of(order).into_iter().map(|s| s.split(&format!(" {order}")).next().unwrap()).collect()
    }

    fn gather(&mut self) {
        for output in self.watch.effects() {
            if let Effect::Event(at, record, _) = output {
                let (s, alert) = (at.steady.0 / 1000, &record.alert);
                self.said.push(format!("{s} {:?} {}: {}", record.event, alert.order, alert.text));
            }
        }
    }

    /// What was said of an order.
    fn of(&self, order: &str) -> Vec<&str> {
        self.said.iter().map(String::as_str).filter(|s| s.contains(&format!(" {order}: "))).collect()
    }
}

const NO_ORDERS: &str = "version = 1";

#[test]
fn a_clock_that_nothing_sets_is_told_after_two_minutes_and_ends_with_a_satellites_time() {
    let mut aboard = Aboard::new(NO_ORDERS);
    // A computer without a battery for its clock: 1970.
    aboard.watch.take(Moment(0), Input::Clock { utc: Utc(30_000) }).unwrap();
    aboard.until(0);
    aboard.until(119);
    assert_eq!(aboard.of("clock not known"), [""; 0]);
    aboard.until(121);
    let [told] = aboard.of("clock not known")[..] else { panic!("{:?}", aboard.said) };
    assert!(told.starts_with("120 Raised"), "{told}");
    for s in 121..124 {
        aboard.until(s);
        aboard.hear(&format!("$GPZDA,12000{}.00,25,11,2026,00,00", s - 121));
    }
    assert!(aboard.of("clock not known")[1].starts_with("123 Cleared"), "{:?}", aboard.said);
}

#[test]
fn a_silent_feed_says_why_as_far_as_anybody_can_tell() {
    let counts = |bytes: u64| {
        let mut c = Counts::default();
        c.bytes = bytes;
        c
    };
    for (open, bytes, why) in [
        (true, [0, 0], "bus: no sentence since the watch began"),
        (true, [900, 1800], "bus: no sentence since the watch began. Bytes come, but no whole sentence"),
        (false, [0, 0], "bus: no sentence since the watch began. It cannot be opened"),
    ] {
        let mut aboard = Aboard::new(NO_ORDERS);
        for (s, bytes) in [30, 50].into_iter().zip(bytes) {
            aboard.until(s);
            aboard.counted(open, &counts(bytes));
        }
        aboard.until(61);
        let [told] = aboard.of("feed silent")[..] else { panic!("{:?}", aboard.said) };
        assert!(told.starts_with("60 Raised") && told.contains(why), "{told}");
    }
}

#[test]
fn an_order_can_watch_the_health_of_a_feed() {
    let mut aboard = Aboard::new(
        r#"
        version = 1
        [[order]]
        name = "bus ails"
        each = "feed"
        when = "health is garbled"
        priority = "warning"
        text = "{name} is {health}"
        "#,
    );
    let mut counts = Counts::default();
    aboard.until(10);
    aboard.hear("$HEHDT,90.0,T");
    counts.sentences = 100;
    aboard.counted(true, &counts);
    assert_eq!(aboard.of("bus ails"), [""; 0]);
    aboard.until(20);
    counts.sentences += 10;
    (0..90).for_each(|_| counts.refuse(sentence::Refusal::NotASentence));
    aboard.counted(true, &counts);
    assert_eq!(aboard.of("bus ails"), ["20 Raised bus ails: bus is garbled"]);
}

#[test]
fn two_failings_of_own_set_keep_one_alert_until_the_last_has_ended() {
    let mut aboard = Aboard::new(NO_ORDERS);
    // Own report, from the tests of pyais; then it is heard no more for 400 s.
    let own = "!AIVDO,1,1,,,B>qc:003wk?8mP=18D3Q3wgTiT;T,0*13";
    // IEC 61993-2, from memory: alarm 1 is the transmitter. A set sends an alarm again and again while it holds.
    let alarm = |state: char| format!("$AIALR,000001.00,001,{state},V,AIS: Tx malfunction");
    aboard.until(1);
    aboard.hear(own);
    aboard.until(390);
    aboard.hear(&alarm('A'));
    aboard.until(391);
    aboard.until(420);
    aboard.hear(&alarm('A'));
    aboard.hear(own);
    aboard.until(430);
    let told = aboard.of("own transmitter not heard");
    assert!(told[0].starts_with("391 Raised") && told[0].ends_with("transmitter fails"), "{told:?}");
    assert!(told.iter().all(|t| !t.contains("Rectified")), "{told:?}");
    aboard.hear(&alarm('V'));
    aboard.until(431);
    let told = aboard.of("own transmitter not heard");
    assert!(told.last().unwrap().starts_with("431 Rectified"), "{told:?}");
}

const HEADING: &str = "$HEHDT,90.0,T";

/// A report of class A, so far off and under way; without a range, none of her place.
fn ship(number: u32, place: Option<Position>, course_deg: f64) -> String {
    let report = AisReport {
        position: place,
        sog_kn: Some(12.0),
        cog_deg: Some(course_deg),
        ..AisReport::new(1, 0, Mmsi::new(number).unwrap())
    };
    sentence::encode::ais(&report, "AI", 'A', 0).remove(0)
}

#[test]
fn a_far_ship_heard_every_90_s_calls_nobody_also_after_a_restart() {
    let mut aboard = Aboard::usual();
    let far = ship(235_000_001, None, 0.0);
    aboard.each((30..7200).step_by(90), &far);
    aboard.until(14_400);
    assert_eq!(aboard.of("feed silent"), [""; 0]);
    let begin = aboard.watch.go_on(Moment(aboard.now));
    let text = serde_json::to_string(&begin).unwrap();
    aboard.watch = Watch::new(&Boat::default());
    let begin: Begin = serde_json::from_str(&text).unwrap();
    aboard.watch.take(Moment(aboard.now), Input::Begin(Box::new(begin))).unwrap();
    aboard.until(20_000);
    assert_eq!(aboard.of("feed silent"), [""; 0]);
    // Nothing shows that the sea is not empty; that the wire fails does.
    aboard.counted(false, &Counts::default());
    aboard.until(20_061);
    let [told] = aboard.of("feed silent")[..] else { panic!("{:?}", aboard.said) };
    assert!(told.starts_with("20060 Raised") && told.ends_with("It cannot be opened"), "{told}");
    aboard.until(20_100);
    aboard.counted(true, &Counts::default());
    assert_eq!(aboard.events("feed silent"), ["20060 Raised", "20100 Rectified"]);
}

#[test]
fn a_wire_that_always_talks_and_stops_is_called_within_the_minute() {
    for (every, lines) in [(1, vec![HEADING]), (10, vec![HEADING]), (20, vec![HEADING])] {
        let mut aboard = Aboard::usual();
        aboard.each((1..7201).step_by(every), lines[0]);
        let last = aboard.now / 1000;
        aboard.until(last + 61);
        assert_eq!(aboard.events("feed silent"), [format!("{} Raised", last + 60)], "each {every} s");
    }
    // Own transmitter's reports are the wire's own, and ships beside them do not hide that the whole wire is dead.
    let mut aboard = Aboard::usual();
    let own = AisReport { own_vessel: true, ..AisReport::new(18, 0, Mmsi::new(232_990_417).unwrap()) };
    let own = &sentence::encode::ais(&own, "AI", 'A', 0)[0];
    for s in (1..3601).step_by(10) {
        aboard.each([s], own);
        aboard.each([s + 5], &ship(235_000_001, None, 0.0));
    }
    let last = aboard.now / 1000;
    aboard.until(last + 61);
    assert_eq!(aboard.events("feed silent"), [format!("{} Raised", last + 60)]);
}

#[test]
fn an_instrument_that_speaks_each_five_minutes_is_learnt_and_missed_when_it_stops() {
    let mut aboard = Aboard::usual();
    aboard.each((1..36_000).step_by(300), "$WIMDA,30.0,I,1.016,B,,,,,,,,,,,,,,,,");
    let calls = aboard.events("feed silent").iter().filter(|e| e.ends_with("Raised")).count();
    assert!(calls <= 2, "{:?}", aboard.of("feed silent"));
    aboard.said.clear();
    let last = aboard.now / 1000;
    aboard.until(last + 961);
    let [told] = aboard.of("feed silent")[..] else { panic!("{:?}", aboard.said) };
    assert!(
        told.starts_with(&format!("{} ", last + 960)) && told.ends_with("no sentence for 16 min"),
        "{told}"
    );
}

#[test]
fn a_receiver_that_comes_and_goes_keeps_one_alert_until_it_is_steady() {
    let mut aboard = Aboard::usual();
    for round in 0..18 {
        aboard.each(round * 600 + 1..round * 600 + 510, HEADING);
        let all = Input::Act(Act::Acknowledge { alert: None, order: None });
        aboard.until((round + 1) * 600);
        // Once it stays, there is nothing to acknowledge.
        let _ = aboard.watch.take(Moment(aboard.now), all);
        aboard.gather();
    }
    let told = aboard.events("feed silent");
    assert_eq!(told.iter().filter(|e| e.ends_with("Raised")).count(), 2, "{told:?}");
    assert!(aboard.of("feed silent").iter().filter(|t| t.contains("Cleared")).count() <= 1, "{told:?}");
    aboard.each(10_801..12_800, HEADING);
    let told = aboard.of("feed silent");
    let last = told.last().unwrap();
    assert!(last.starts_with("12601 Cleared"), "{told:?}");
    // Dead for good while it comes and goes: announced again.
    aboard.said.clear();
    for from in [12_900, 13_100, 13_300] {
        aboard.each(from..from + 100, HEADING);
    }
    aboard.until(17_000);
    let told = aboard.of("feed silent");
    let dead = "no sentence for 31 min, silent 4 times by now";
    assert!(told.iter().any(|t| t.starts_with("15259 Repeated") && t.ends_with(dead)), "{told:?}");
}

#[test]
fn a_near_ship_that_comes_and_is_heard_no_more_shows_that_the_receiver_is_deaf() {
    let own = Position::new(50.0, -6.0).unwrap();
    // Range and course of the only ship, and whether the receiver is called deaf.
    for (range_nm, course_deg, deaf) in
        [(5.0, 180.0, true), (7.0, 180.0, true), (5.0, 0.0, false), (15.0, 180.0, false)]
    {
        let mut aboard = Aboard::usual();
        let fix = "$GPRMC,120000.00,A,5000.000,N,00600.000,W,0.1,000.0,251126,,,A";
        for s in 1..1800 {
            aboard.until(s);
            aboard.hear(fix);
            if s < 600 && s % 10 == 0 {
                let sailed = 12.0 * s as f64 / 3600.0;
                let came = if course_deg == 0.0 { range_nm + sailed } else { range_nm - sailed };
                aboard.hear(&ship(235_000_001, Some(own.at(0.0, came)), course_deg));
            }
        }
        let told = aboard.of("AIS silent");
        assert_eq!(!told.is_empty(), deaf, "{range_nm} {course_deg}: {told:?}");
        if range_nm == 5.0 && deaf {
            let told = told[0];
            assert!(told.starts_with("950 Raised") && told.contains("no ship heard for 6 min"), "{told}");
            assert!(told.contains("should be 1.8 nm off by now"), "{told}");
        }
    }
}

#[test]
fn a_declaration_that_the_picture_contradicts_is_asked_about_once() {
    let mut aboard = Aboard::usual();
    let declare = |aboard: &mut Aboard, what: &str| {
        let act = Input::Act(Act::Declare { what: what.to_owned(), metres: None, bearing_deg: None });
        aboard.watch.take(Moment(aboard.now), act).unwrap();
        aboard.gather();
    };
    let fix = |sog: f64| format!("$GPRMC,120000.00,A,5000.000,N,00600.000,W,{sog:.1},000.0,251126,,,A");
    aboard.until(1);
    declare(&mut aboard, "at anchor");
    // A fix that wanders is no contradiction, nor is a minute of way.
    aboard.each(2..100, &fix(6.1));
    aboard.each(100..1000, &fix(0.4));
    assert_eq!(aboard.of("declaration doubtful"), [""; 0]);
    aboard.each(1000..9000, &fix(6.1));
    let asked = "1601 Raised declaration doubtful: Declared at anchor, but making 6.1 knots for 10 min: still at anchor?";
    assert_eq!(aboard.of("declaration doubtful"), [asked]);
    // Asked before a restart, it is not asked again.
    let mut after = Aboard::usual();
    after.watch = Watch::new(&Boat::default());
    let begin = aboard.watch.go_on(Moment(aboard.now));
    after.watch.take(Moment(aboard.now), Input::Begin(Box::new(begin))).unwrap();
    after.each(9000..12_000, &fix(6.1));
    assert!(after.events("declaration doubtful").iter().all(|e| !e.ends_with("Raised")), "{:?}", after.said);
    declare(&mut aboard, "under sail");
    assert!(aboard.events("declaration doubtful").last().unwrap().ends_with("Cleared"), "{:?}", aboard.said);
    declare(&mut aboard, "ocean");
    aboard.said.clear();
    aboard.each(12_000..14_000, "$SDDPT,4.0,0.0");
    let told = aboard.of("declaration doubtful");
    let asked = "12601 Raised declaration doubtful: Declared ocean, but the sounder shows 4.0 m for 10 min: still in the ocean?";
    assert_eq!(told, [asked]);
    declare(&mut aboard, "ocean");
    aboard.each(14_000..14_700, "$SDDPT,4.0,0.0");
    assert_eq!(
        aboard.of("declaration doubtful").len(),
        3,
        "declared anew, it is asked anew: {:?}",
        aboard.said
    );
}
