//! Blindness is an alert: what the watch says when an ear, the clock or own AIS set fails, and when it no longer does.

use boat::Boat;
use rules::Orders;
use sentence::{Counts, FramerOptions, Sentence};
use std::sync::Arc;
use std::time::Duration;
use terms::{FeedId, Moment, Utc};
use watch::{Begin, Effect, FeedSetting, Input, Watch};

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
        let feed = FeedSetting {
            name: "bus".to_owned(),
            checksum_optional: true,
            simulator: false,
            trusted: false,
            silent_after: Some(Duration::from_secs(60)),
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
