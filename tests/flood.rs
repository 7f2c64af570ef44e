//! Forged ships by the hundred on one feed, a real one on another: she is called by name and in time.

use boat::Boat;
use record::{Act, Item};
use rules::Orders;
use sentence::ais::AisReport;
use sentence::{Fix, encode};
use std::sync::Arc;
use std::time::Duration;
use terms::{FeedId, Mmsi, Moment, Position};
use watch::{Begin, Effect, FeedSetting, Input, Silence, Watch};

const GPS: FeedId = FeedId(0);
const WIRE: FeedId = FeedId(1);
const GUEST: FeedId = FeedId(2);

const TANKER: u32 = 538_000_001;
/// When she and own vessel meet: 12 min before, at 4 min, the shipped orders for coastal waters call.
const MEET_S: f64 = 16.0 * 60.0;
const FORGED_A_SECOND: u32 = 300;

/// Own vessel runs north at 6 kn.
fn own(s: f64) -> Position {
    Position::new(50.0, -6.0).unwrap().at(0.0, 6.0 * s / 3600.0)
}

struct Aboard {
    watch: Watch,
    /// When the tanker's close approach was announced aloud.
    called: Vec<f64>,
}

impl Aboard {
    fn new() -> Self {
        let setting = |name: &str| FeedSetting {
            name: name.to_owned(),
            checksum_optional: false,
            simulator: false,
            trusted: false,
            silent_after: Silence::After(Duration::from_secs(60)),
        };
        let feeds = ["gps", "wire", "guest"].map(setting).to_vec();
        let orders = Arc::new(Orders::read("passage", rules::SHIPPED).unwrap());
        let mut watch = Watch::new(&Boat::default());
        let begin = Begin { feeds, orders, ..Begin::default() };
        watch.take(Moment::ZERO, Input::Begin(Box::new(begin))).unwrap();
        watch
            .take(
                Moment::ZERO,
                Input::Act(Act::Declare { what: "coastal".to_owned(), metres: None, bearing_deg: None }),
            )
            .unwrap();
        Self { watch, called: Vec::new() }
    }

    fn line(&mut self, s: f64, feed: FeedId, line: &str) {
        self.watch.take(Moment::from_s(s), Input::Line(feed, line.parse().unwrap())).unwrap();
        let tanker = Item::Target(Mmsi::new(TANKER).unwrap());
        for effect in self.watch.effects() {
            let Effect::Event(_, record, carry) = effect else { continue };
            let alert = &record.alert;
            if alert.order == "close approach inshore" && alert.about == tanker && carry.aloud {
                assert!(alert.text.starts_with("ROTTERDAM: CPA 0.0"), "{}", alert.text);
                self.called.push(s);
            }
        }
    }

    fn ais(&mut self, s: f64, feed: FeedId, report: &AisReport) {
        for line in encode::ais(report, "AI", 'A', 0) {
            self.line(s, feed, &line);
        }
    }

    fn ship(&mut self, s: f64, feed: FeedId, number: u32, place: Position, sog_kn: f64, cog_deg: f64) {
        let report = AisReport {
            position: Some(place),
            sog_kn: Some(sog_kn),
            cog_deg: Some(cog_deg.rem_euclid(360.0)),
            nav_status: Some(0),
            utc_second: Some((s as u32 % 60) as u8),
            ..AisReport::new(1, 0, Mmsi::new(number).unwrap())
        };
        self.ais(s, feed, &report);
    }

    /// So many seconds with a forgery of another identity each time, near own vessel, with this velocity relative to her
    /// along the bearing.
    fn flooded(lasts_s: u32, away_kn: f64) -> Self {
        let mut aboard = Self::new();
        let mut forged = 0;
        for second in 0..lasts_s {
            let s = f64::from(second);
            let fix = Fix { position: Some(own(s)), sog_kn: Some(6.0), cog_deg: Some(0.0), ..Fix::default() };
            aboard.line(s, GPS, &encode::rmc("GP", &fix));
            for n in 0..FORGED_A_SECOND {
                let bearing = f64::from(forged) * 137.5;
                let range = 1.5 + f64::from(forged % 1_000) / 1_000.0;
                let (sin, cos) = bearing.to_radians().sin_cos();
                let (east, north) = (away_kn * sin, away_kn * cos + 6.0);
                let (sog, cog) = (east.hypot(north), east.atan2(north).to_degrees());
                let at = s + f64::from(n) / f64::from(FORGED_A_SECOND);
                aboard.ship(at, GUEST, 211_000_000 + forged, own(s).at(bearing, range), sog, cog);
                forged += 1;
            }
            if second % 10 == 0 {
                let place = own(MEET_S).at(0.0, 12.0 * (MEET_S - s) / 3600.0);
                aboard.ship(s + 0.999, WIRE, TANKER, place, 12.0, 180.0);
            }
            // Her name comes once, as each six minutes (ITU-R M.1371-5 table 1).
            if second == 60 {
                let name = Some("ROTTERDAM".to_owned());
                let named = AisReport { name, ..AisReport::new(5, 0, Mmsi::new(TANKER).unwrap()) };
                aboard.ais(s + 0.999, WIRE, &named);
            }
        }
        aboard
    }
}

/// She is called no later than the order says, but for two of her reports and the five seconds it waits.
fn assert_called(aboard: &Aboard) {
    let due = MEET_S - 12.0 * 60.0;
    let first = aboard.called.first();
    assert!(first.is_some_and(|s| *s <= due + 25.0), "due at {due} s, called at {:?}", aboard.called);
}

#[test]
fn a_tanker_on_a_collision_course_is_called_while_another_feed_forges_ships_that_keep_their_distance() {
    assert_called(&Aboard::flooded(6 * 60, 0.0));
}

#[test]
fn a_tanker_on_a_collision_course_is_called_while_another_feed_forges_ships_that_collide_sooner() {
    assert_called(&Aboard::flooded(10 * 60, -10.0));
}
