//! What the departure check judges, and each fault that makes an item fail.

use super::*;
use crate::{Effect, FeedSetting, Numbers};
use sentence::Report;
use sentence::ais::PositionSource;
use sentence::encode;
use sentence::{Fix, SentTime};
use std::collections::BTreeMap;
use std::sync::Arc;
use terms::{FeedId, Position, Utc};

const BOAT: &str = "version = 1\n[vessel]\nname = \"Wendelin\"\nmmsi = \"211000001\"\ndimensions_m = [9, 3, 2, 2]\n\
    [[crew]]\nname = \"Ada\"\nbeacon = \"972000001\"\n[[crew]]\nname = \"Bo\"\n\
    [[gear]]\nname = \"raft\"\ndue = \"2028-01\"\n\
    [[feed]]\nname = \"bus\"\ntcp = \"a:1\"\n[[feed]]\nname = \"ais\"\ntcp = \"a:2\"\n\
    [[signal]]\nname = \"horn\"\ncommand = [\"x\"]\n[[signal]]\nname = \"shore\"\nwebhook = \"http://a:1/\"\n\
    [[button]]\nname = \"rail\"\nline = { chip = \"/dev/gpiochip0\", line = 5 }\ndoes = \"overboard\"\n";
const ORDERS: &str = "version = 1\n[[order]]\nname = \"fast\"\npriority = \"notice\"\nwhen = \"SOG is over 20 kn\"\n\
    [[order]]\nname = \"near\"\neach = \"target\"\npriority = \"notice\"\nwhen = \"range is under 0.1 nm\"\n\
    [[order]]\nname = \"deep\"\npriority = \"notice\"\nwhen = \"depth below transducer is over 9 m\"\n";
const DAY: &str = "2026-11-01T02:00:00Z";

/// What goes wrong at the quay.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Fault {
    Nothing,
    BusSilent,
    BusHalf,
    NoFix,
    NoClock,
    Identity,
    Dimensions,
    TransmitterSilent,
    NoTraffic,
    HeadingOff,
    NoHeading,
    NoDepth,
    RaftOver,
    BeaconSilent,
}

/// A boat that has lain at the quay, then under way, for 13 minutes; the fault comes for the last two.
fn quay(fault: Fault) -> Watch {
    let feeds = |b: &Boat| b.feeds.iter().map(FeedSetting::of).collect::<Vec<_>>();
    let boat = BOAT.replace("2028-01", if fault == Fault::RaftOver { "2026-01" } else { "2028-01" });
    let boat = boat::read("boat.toml", &boat).unwrap().0;
    let least = Utc::parse("2026-01-01T00:00:00Z");
    let mut w = Watch::begun(Moment(0), &boat, &feeds(&boat), Numbers::default(), least);
    w.set_orders(Moment(0), Arc::new(rules::Orders::read("orders.toml", ORDERS).unwrap()), false);
    let begin = Utc::parse(DAY).unwrap();
    let place = |s: i64| Position::new(48.0 + s as f64 * 2e-5, -5.0).unwrap();
    for s in 0..780i64 {
        let at = Moment(s * 1000);
        let late = s >= 640;
        let has = |f: Fault| fault == f && late;
        let mut bus = Vec::new();
        let utc = begin.plus_ms(s * 1000);
        if !has(Fault::NoFix) {
            let time = Some(SentTime::Utc(utc)).filter(|_| fault != Fault::NoClock);
            let position = Some(place(s));
            let fix = Fix { time, position, sog_kn: Some(4.3), cog_deg: Some(0.0), ..Fix::default() };
            bus.push(encode::rmc("GP", &fix));
        }
        if !has(Fault::NoHeading) && fault != Fault::NoHeading {
            bus.push(encode::hdt("HE", Some(if fault == Fault::HeadingOff { 40.0 } else { 4.0 })));
        }
        if fault != Fault::NoDepth {
            let depth = sentence::Depth { below_surface_m: Some(5.0), ..Default::default() };
            bus.push(encode::dbt("SD", &sentence::Depth { below_transducer_m: Some(5.0), ..depth }));
        }
        let bus_speaks = !has(Fault::BusSilent) && (!has(Fault::BusHalf) || s % 3 == 0);
        for line in bus.iter().filter(|_| bus_speaks) {
            w.hear(at, FeedId(0), &line.parse().unwrap());
        }
        let mut ais = Vec::new();
        let report = |message: u8, mmsi: u32, own: bool| {
            let mut r = AisReport::new(message, 0, Mmsi::new(mmsi).unwrap());
            (r.own_vessel, r.position, r.sog_kn, r.cog_deg) = (own, Some(place(s)), Some(4.3), Some(0.0));
            r.position_source = Some(PositionSource::Fix);
            r
        };
        if s % 30 == 0 && fault != Fault::TransmitterSilent {
            let mmsi = if fault == Fault::Identity { 211_000_002 } else { 211_000_001 };
            ais.extend(encode::ais(&report(18, mmsi, true), "AI", 'A', 0));
            let mut still = report(24, mmsi, true);
            still.part = Some('B');
            let bow = if fault == Fault::Dimensions { 5 } else { 9 };
            (still.dimension_a_m, still.dimension_b_m) = (Some(bow), Some(3));
            (still.dimension_c_m, still.dimension_d_m) = (Some(2), Some(2));
            ais.extend(encode::ais(&still, "AI", 'A', 0));
        }
        if s % 10 == 0 && fault != Fault::NoTraffic {
            let mut ship = report(1, 230_000_001, false);
            ship.position = Position::new(48.1, -5.0).ok();
            ais.extend(encode::ais(&ship, "AI", 'A', 0));
        }
        if s == 700 && fault != Fault::BeaconSilent {
            let mut test = report(1, 972_000_001, false);
            test.nav_status = Some(15);
            ais.extend(encode::ais(&test, "AI", 'A', 0));
        }
        for line in &ais {
            w.hear(at, FeedId(1), &line.parse().unwrap());
        }
        w.advance(at);
        if s == 650 {
            w.departure(at, DepartureAct::Begin, Vec::new()).unwrap();
        }
    }
    drop(w.effects());
    w
}

const END: Moment = Moment(780_000);

fn lines(w: &mut Watch) -> BTreeMap<String, (Verdict, String)> {
    w.sheet(END, Vec::new()).into_iter().map(|l| (l.what, (l.verdict, l.words))).collect()
}

#[test]
fn at_a_sound_boat_everything_that_the_lookout_can_judge_passes() {
    let mut w = quay(Fault::Nothing);
    let all = lines(&mut w);
    let open = ["sounder horn", "webhook shore", "button rail", "beacon of Bo"];
    for (what, (outcome, words)) in &all {
        let wanted = if open.contains(&what.as_str()) { Verdict::NotTried } else { Verdict::Passed };
        assert_eq!(*outcome, wanted, "{what}: {words}");
    }
    for what in ["feed bus", "feed ais", "own AIS transmitter", "heading and COG", "raft", "beacon of Ada"] {
        assert!(all.contains_key(what), "{what} is not in {all:?}");
    }
    let beacon = &all["beacon of Ada"].1;
    assert!(beacon.contains("2026-11-01T02:11:40.000Z, 0.00 nm off"), "{beacon}");
    assert!(all["feed bus"].1.contains("180 sentences in the last minute, 180 as a rule"), "{all:?}");
}

#[test]
fn each_line_fails_when_what_it_tells_of_fails() {
    use Fault as F;
    use Verdict::{Failed, NotTried};
    for (fault, what, outcome, part) in [
        (F::BusSilent, "feed bus", Failed, "silent for 2 min"),
        (F::BusHalf, "feed bus", Failed, "60 sentences in the last minute, 180 as a rule"),
        (F::NoFix, "fix", Failed, "30 s old"),
        (F::NoClock, "clock", Failed, "not known"),
        (F::Identity, "own AIS transmitter", Failed, "sends as 211000002; boat.toml says 211000001"),
        (F::Dimensions, "own AIS dimensions", Failed, "it sends bow 5"),
        (F::TransmitterSilent, "own AIS transmitter", Failed, "not heard"),
        (F::TransmitterSilent, "own AIS dimensions", NotTried, "has not sent them"),
        (F::NoTraffic, "AIS traffic", Failed, "nobody heard"),
        (F::NoTraffic, "order near", NotTried, "no target is heard"),
        (F::HeadingOff, "heading and COG", Failed, "40° apart"),
        (F::NoHeading, "heading and COG", Failed, "no heading"),
        (F::NoDepth, "order deep", Failed, "depth below transducer not known"),
        (F::RaftOver, "raft", Failed, "ran out on 2026-01-31"),
        (F::NoClock, "raft", NotTried, "good until"),
        (F::BeaconSilent, "beacon of Ada", NotTried, "never heard"),
    ] {
        let all = lines(&mut quay(fault));
        let (stands, words) = all.get(what).unwrap_or_else(|| panic!("{fault:?}: no {what}: {all:?}"));
        assert_eq!(*stands, outcome, "{fault:?} {what}: {words}");
        assert!(words.contains(part), "{fault:?} {what}: {words}");
    }
}

#[test]
fn orders_that_were_not_loaded_fail() {
    let mut w = quay(Fault::Nothing);
    let why = Some("orders.toml:3:1: what is this".to_owned());
    w.fault(END, crate::Fault::Orders, why);
    let (outcome, words) = lines(&mut w)["orders loaded"].clone();
    assert_eq!((outcome, words.as_str()), (Verdict::Failed, "orders.toml:3:1: what is this"));
}

#[test]
fn what_people_tell_is_kept_until_the_next_departure_and_goes_into_the_logbook_with_what_is_missing_first() {
    let mut w = quay(Fault::Nothing);
    let tell = |w: &mut Watch, what: &str, outcome| {
        let (what, words) = (what.to_owned(), "said so".to_owned());
        let by = "Ada\n".to_owned();
        w.departure(END, DepartureAct::Item { what, verdict: outcome, words, by }, Vec::new())
    };
    tell(&mut w, "sounder horn", Verdict::Failed).unwrap();
    tell(&mut w, "webhook shore", Verdict::Passed).unwrap();
    assert!(tell(&mut w, "sounder bell", Verdict::Passed).is_err(), "there is none");
    let told = w.departure(END, DepartureAct::Close { by: "Ada".into() }, Vec::new()).unwrap();
    assert_eq!(told.items[0].what, "sounder horn");
    assert_eq!(told.items[0].by, "Ada");
    let entry = w.effects().find_map(|o| match o {
        Effect::Entry(_, e) => Some(e),
        _ => None,
    });
    let entry = entry.unwrap();
    assert_eq!((entry.kind(), entry.who()), ("departure check", Some("Ada")));
    let begins = "Departure check: 1 failed, 2 not tried, 13 passed. Failed: sounder horn. Not tried: button rail, beacon of Bo";
    assert_eq!(entry.text(), begins);
    w.departure(END, DepartureAct::Begin, Vec::new()).unwrap();
    assert_eq!(lines(&mut w)["sounder horn"].0, Verdict::NotTried);
}

#[test]
fn a_button_is_tried_once_and_only_while_somebody_waits_for_it() {
    let mut w = quay(Fault::Nothing);
    assert!(!w.is_tried(END, "rail"), "nobody asked");
    let ask = |w: &mut Watch, at| {
        w.departure(at, DepartureAct::Button { name: "rail".into() }, Vec::new()).map(drop)
    };
    ask(&mut w, END).unwrap();
    assert!(!w.is_tried(END, "other"));
    assert!(!w.is_tried(END + Duration::from_secs(4), "rail"), "nobody waits any more");
    ask(&mut w, END).unwrap();
    assert!(w.is_tried(END + Duration::from_secs(2), "rail"));
    assert_eq!(lines(&mut w)["button rail"].0, Verdict::Passed);
    ask(&mut w, END).unwrap();
    assert!(!w.is_tried(END, "rail"), "the second press is a real one");
    assert!(w.departure(END, DepartureAct::Button { name: "mast".into() }, Vec::new()).is_err());
}

#[test]
fn the_usual_rate_outlasts_a_restart() {
    let w = quay(Fault::Nothing);
    let kept = w.usual_rates();
    assert_eq!(kept, [("bus".to_owned(), 180.0)].into(), "AIS has none: it follows the traffic");
    let mut pace = Pace { kept: Some(180.0), ..Pace::default() };
    for s in 0..130 {
        let fix = Report::Fix(Fix::default());
        pace.hear(Moment(s * 1000), &fix);
    }
    assert_eq!((pace.minutes.back(), pace.usual()), (Some(&60), Some(180.0)));
}
