//! A night at anchor through the built binary with the shipped orders, judged by the scenario's truth.

use crate::aboard::Daemon;
use crate::night::{BOAT, Event, Night, approach, replay, spans};
use boat::Boat;
use record::Act;
use rules::Orders;
use sentence::{Fix, encode};
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;
use terms::{FeedId, METRES_PER_NM, Mmsi, Moment, Position, normal_deg};
use watch::{Begin, Effect, FeedSetting, Input, Kept, Watch};

const ANCHORAGE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/at-anchor.toml");
const ORDERS: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/rules/orders/passage.toml");
/// When the crew declares that she lies at anchor.
const ANCHORED: Moment = Moment(120_000);
const ORRIN_FALDE: u32 = 636_990_158;
const TROIS_COMMERES: u32 = 227_990_336;

fn raised<'n>(night: &'n Night, order: &str) -> Vec<&'n Event> {
    // That an order cannot be judged is told as a caution of the same name, and is another matter.
    let judged = |e: &&Event| e.0["alert"]["priority"] != "caution";
    let others = |e: &&Event| e.target().is_none_or(|t| t == u64::from(ORRIN_FALDE));
    night
        .events
        .iter()
        .filter(|e| e.what() == "raised" && e.order() == order)
        .filter(others)
        .filter(judged)
        .collect()
}

/// Raised once: not before the truth is near the limit, and soon after it is surely over it.
fn once_between(
    night: &Night,
    order: &str,
    near: &[(Moment, Moment)],
    over: &[(Moment, Moment)],
    late_s: u64,
) {
    let raised = raised(night, order);
    assert_eq!(raised.len(), 1, "{order}: {raised:#?}");
    let at = raised[0].at();
    assert!(
        at >= near[0].0 && at <= over[0].0 + Duration::from_secs(late_s),
        "{order} at {at:?}: {near:?} {over:?}"
    );
}

#[test]
fn an_anchor_that_drags_a_ship_that_comes_and_shoaling_water_are_called() {
    let night = replay(Path::new(ANCHORAGE), &["--config", BOAT, "--orders", ORDERS]);
    let s = &night.scenario;

    // Surely 6 m outside her circle, which a drag of 12 to 15 m is; the fix wanders by 3 m, the circle is not fully known.
    let anchor = s.own(ANCHORED).position;
    let dragged = |m: f64| spans(s, |at| s.own(at).position.range_and_bearing(anchor).0 * METRES_PER_NM > m);
    once_between(&night, "anchor drags", &dragged(6.0), &dragged(30.0), 30);
    let said = raised(&night, "anchor drags")[0].text();
    assert!(said.starts_with("She has dragged by ") && said.contains(" m, at least "), "{said}");

    // 1 m below the keel: 1.8 m of draught less 0.5 m to the transducer. Sounded every 2 s, 0.05 m of noise and 0.5 %.
    let shoal = |m: f64| spans(s, |at| s.depth_below_transducer_m(at).unwrap() - 1.3 < m);
    once_between(&night, "water shoals at anchor", &shoal(1.3), &shoal(0.8), 30);

    // CPA under 0.1 nm within ten minutes by the prudent TCPA, two minutes sooner at most, held 10 s; she reports every ten seconds or oftener.
    let comes = |cpa_nm: f64, tcpa_s: f64| {
        let ship = Mmsi::new(ORRIN_FALDE).unwrap();
        spans(s, |at| {
            let (cpa, tcpa) = approach(&s.own(at), &s.ship(ship, at).unwrap());
            cpa < cpa_nm && (0.0..tcpa_s).contains(&tcpa)
        })
    };
    once_between(&night, "ship comes at us", &comes(0.13, 750.0), &comes(0.07, 560.0), 60);
    let hers = night.events.iter().filter(|e| e.target() == Some(u64::from(ORRIN_FALDE)));
    let over = hers.filter(|e| e.order() == "ship comes at us").find(|e| e.what() == "cleared").unwrap();
    // It ends above 0.2 nm: she has begun to turn, and by the truth too passes clear of the limit of 0.1 nm.
    let (cpa, _) = approach(&s.own(over.at()), &s.ship(Mmsi::new(ORRIN_FALDE).unwrap(), over.at()).unwrap());
    assert!(cpa > 0.15, "over while she still came, CPA {cpa}");

    assert_eq!(raised(&night, "gusts at anchor").len(), 1);
    assert!(raised(&night, "another vessel close").is_empty(), "she never came within a tenth of a mile");
    let small = |e: &&Event| {
        e.what() == "raised" && e.at() > ANCHORED && e.target() == Some(u64::from(TROIS_COMMERES))
    };
    let of_small: Vec<&str> = night.events.iter().filter(small).map(Event::order).collect();
    // Once past she is not called again for being near.
    assert_eq!(of_small, ["ship comes at us"]);
    // Nothing else of that weight.
    let heavy = |e: &&Event| e.what() == "raised" && e.at() > ANCHORED && e.0["alert"]["priority"] == "alarm";
    let heavy: Vec<&Event> = night.events.iter().filter(heavy).collect();
    assert_eq!(heavy.len(), 4, "{heavy:#?}");
}

/// A watch at anchor by the shipped orders, fed with a fix and a heading a second.
struct AtAnchor {
    watch: Watch,
    now_s: f64,
    anchor: Position,
    wind_deg: f64,
    scope_m: f64,
    /// Texts of what "anchor drags" called, and of all else that stood and was no notice.
    drags: Vec<String>,
}

impl AtAnchor {
    fn new() -> Self {
        Self::begun(0.0, Kept::default())
    }

    fn begun(now_s: f64, kept: Kept) -> Self {
        let feed = FeedSetting {
            name: "gps".to_owned(),
            checksum_optional: false,
            simulator: false,
            trusted: false,
            silent_after: watch::Silence::Never,
        };
        let orders = Arc::new(Orders::read("passage", rules::SHIPPED).unwrap());
        let mut watch = Watch::new(&Boat::default());
        let begin = Begin { feeds: vec![feed], orders, kept, ..Begin::default() };
        watch.take(Moment::from_s(now_s), Input::Begin(Box::new(begin))).unwrap();
        let anchor = Position::new(46.97, -4.69).unwrap();
        Self { watch, now_s, anchor, wind_deg: 290.0, scope_m: 35.0, drags: Vec::new() }
    }

    fn act(&mut self, act: Act) -> String {
        match self.watch.take(Moment::from_s(self.now_s), Input::Act(act)) {
            Ok(watch::Answer::Done(done)) => done,
            other => panic!("{other:?}"),
        }
    }

    fn declare(&mut self, metres: Option<f64>, bearing_deg: Option<f64>) -> String {
        self.act(Act::Declare { what: "at anchor".to_owned(), metres, bearing_deg })
    }

    /// So many minutes in which the wind turns, the anchor drags to leeward and chain is given, all steadily. She sheers;
    /// the receiver errs by up to 3 m, over minutes.
    fn pass(&mut self, minutes: f64, turns_deg: f64, drags_m: f64, veers_m: f64) {
        let seconds = minutes * 60.0;
        for _ in 0..seconds as usize {
            self.now_s += 1.0;
            self.wind_deg += turns_deg / seconds;
            self.scope_m += veers_m / seconds;
            self.anchor = self.anchor.at(self.wind_deg + 180.0, drags_m / seconds / METRES_PER_NM);
            let sheer = (self.now_s / 80.0 * std::f64::consts::TAU).sin_cos();
            let place = self.anchor.at(self.wind_deg + 180.0 + 15.0 * sheer.0, self.scope_m / METRES_PER_NM);
            let place = place.at(self.now_s / 3.0, 3.0 * (self.now_s / 400.0).sin() / METRES_PER_NM);
            let fix = Fix { position: Some(place), sog_kn: Some(0.2), cog_deg: None, ..Fix::default() };
            for line in
                [encode::rmc("GP", &fix), encode::hdt("HC", Some(normal_deg(self.wind_deg + 25.0 * sheer.1)))]
            {
                let input = Input::Line(FeedId(0), line.parse().unwrap());
                self.watch.take(Moment::from_s(self.now_s), input).unwrap();
            }
            for effect in self.watch.effects() {
                let Effect::Event(_, record, carry) = effect else { continue };
                if record.alert.order == "anchor drags" && carry.aloud {
                    self.drags.push(record.alert.text.clone());
                }
            }
        }
    }
}

#[test]
fn a_swing_of_180_degrees_on_35_metres_calls_nobody_and_a_drag_of_15_metres_says_by_how_much() {
    // Dropped, fallen back from and declared; said in metres; and not said at all.
    for how in ["dropped", "said", "not said"] {
        let mut boat = AtAnchor::new();
        if how == "dropped" {
            // From the antenna, six metres behind the bow, straight above it.
            boat.scope_m = 6.0;
            boat.pass(0.2, 0.0, 0.0, 0.0);
            let done = boat.act(Act::AnchorHere {});
            assert!(done.contains("declare at anchor when she lies to it"), "{done}");
            boat.pass(3.0, 0.0, 0.0, 29.0);
        }
        boat.pass(2.0, 0.0, 0.0, 0.0);
        let done =
            if how == "said" { boat.declare(Some(29.0), Some(290.0)) } else { boat.declare(None, None) };
        assert!(done.contains("the anchor is taken to lie at 46°58."), "{done}");
        boat.pass(60.0, 10.0, 0.0, 0.0);
        boat.pass(20.0, 180.0, 0.0, 0.0);
        boat.pass(40.0, 0.0, 0.0, 0.0);
        assert_eq!(boat.drags, [""; 0], "{how}");
        boat.pass(8.0, 0.0, 15.0, 0.0);
        boat.pass(10.0, 0.0, 0.0, 0.0);
        assert!(!boat.drags.is_empty(), "{how}: nobody was called");
        let words = boat.drags[0]
            .strip_prefix("She has dragged by ")
            .unwrap_or_else(|| panic!("{how}: {:?}", boat.drags));
        let metres: f64 = words.split_once(" m, at least ").unwrap().0.parse().unwrap();
        assert!((8.0..=18.0).contains(&metres), "{how}: {words}");
    }
}

#[test]
fn over_a_restart_the_anchor_lies_where_it_lay() {
    let mut boat = AtAnchor::new();
    boat.pass(2.0, 0.0, 0.0, 0.0);
    boat.declare(Some(29.0), Some(290.0));
    boat.pass(30.0, 0.0, 0.0, 0.0);
    let kept = serde_json::to_string(&boat.watch.kept(Moment::from_s(boat.now_s))).unwrap();
    let mut again = AtAnchor::begun(boat.now_s + 60.0, serde_json::from_str(&kept).unwrap());
    // She dragged while nobody watched.
    again.anchor = boat.anchor.at(110.0, 25.0 / METRES_PER_NM);
    again.pass(3.0, 0.0, 0.0, 0.0);
    assert!(!again.drags.is_empty());
    // Once weighed nothing is left of it.
    again.act(Act::Declare { what: "under power".to_owned(), metres: None, bearing_deg: None });
    again.drags.clear();
    again.anchor = boat.anchor.at(110.0, 0.5);
    again.pass(3.0, 0.0, 0.0, 0.0);
    assert_eq!(again.drags, [""; 0]);
}

#[test]
fn what_is_said_of_the_anchor_must_make_sense() {
    let mut boat = AtAnchor::new();
    let refused = |boat: &mut AtAnchor, what: &str, metres, bearing_deg| {
        let act = Act::Declare { what: what.to_owned(), metres, bearing_deg };
        boat.watch.take(Moment::from_s(boat.now_s), Input::Act(act)).unwrap_err().to_string()
    };
    assert!(refused(&mut boat, "under sail", Some(30.0), None).contains("go with at anchor only"));
    assert!(refused(&mut boat, "at anchor", None, Some(90.0)).contains("needs its distance"));
    assert!(refused(&mut boat, "at anchor", Some(2000.0), None).contains("from 1 to 200 m"));
    let none = boat.watch.take(Moment::ZERO, Input::Act(Act::AnchorHere {})).unwrap_err().to_string();
    assert!(none.contains("there is no fix"), "{none}");
}

#[test]
fn the_verbs_say_where_the_anchor_lies() {
    let daemon = Daemon::start("anchor", "");
    let none = daemon.tell(&["anchor", "here"]);
    assert!(!none.status.success() && String::from_utf8_lossy(&none.stderr).contains("there is no fix"));
    assert!(daemon.tell(&["declare", "at", "anchor", "--metres", "30", "--bearing", "290"]).status.success());
    assert!(!daemon.tell(&["declare", "at", "anchor", "--bearing", "290"]).status.success());
    assert!(!daemon.tell(&["declare", "coastal", "--metres", "30"]).status.success());
}
