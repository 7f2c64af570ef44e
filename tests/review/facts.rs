//! What the review says rests on facts that the logbook keeps as such, and never on the wording of an alert.

use crate::aboard::{Folder, WATCHFUL};
use crate::records::{EVENING, at, open, record};
use crate::review::night::{event, own_at, told, with_casualty};
use lookout::casualty::StandDown;
use middlewatch::review::{self, Night, Span};
use record::{ComesFrom, Entry, Item, OwnRow};
use rules::{AlertState as S, EventKind as K, Orders, Priority};
use sentence::ais::AisReport;
use sentence::{Fix, SentTime, encode};
use std::sync::Arc;
use terms::{CasualtyId, FeedId, Mmsi, Moment, Utc};
use watch::{Begin, Effect, FeedSetting, Input, Watch};

#[test]
fn each_casualty_has_the_reason_of_its_own_stand_down() {
    let folder = Folder::new("reasons");
    let (logbook, _) = open(&folder.logbook(), "a", 0);
    logbook.own(at(0), OwnRow { position: Some(own_at(0)), ..OwnRow::default() });
    let casualty = |id: u32, s, seq, kind, state| {
        let r = record(id, seq, Priority::EmergencyAlarm, s);
        let mut r = with_casualty(told(r, kind, state, "person overboard", "overboard"), None, None);
        r.casualty.as_mut().unwrap().id = CasualtyId(id);
        event(&logbook, s, r);
    };
    casualty(1, 60, 1, K::Raised, S::ActiveUnacknowledged);
    casualty(2, 70, 1, K::Raised, S::ActiveUnacknowledged);
    // Both within a minute, and the second one first.
    for (s, id, reason) in [(600, 2, StandDown::FalseActivation), (630, 1, StandDown::Recovered)] {
        logbook.entry(at(s), Entry::StandDown { casualty: CasualtyId(id), reason, who: None });
        casualty(id, s, 2, K::Cleared, S::Normal);
    }
    logbook.close(at(900)).blocking_recv().unwrap().unwrap();
    let night = review::read(folder.logbook(), Span::default()).unwrap();
    let reasons: Vec<_> =
        night.casualties.iter().map(|c| (c.id, c.stood_down.as_ref().unwrap().1.as_str())).collect();
    assert_eq!(reasons, [(1, "recovered"), (2, "false activation")]);
}

/// What a watch gave out while it was driven, written down and reviewed.
fn driven(name: &str, orders: &str, drive: impl FnOnce(&mut Watch)) -> Night {
    let boat = boat::read(
        "boat.toml",
        "version = 1\n[vessel]\nmmsi = \"211000001\"\n[[feed]]\nname = \"nav: aft\"\ntcp = \"a:1\"\n",
    );
    let (boat, _) = boat.unwrap();
    let feeds: Vec<FeedSetting> = boat.feeds.iter().map(FeedSetting::of).collect();
    let orders = Arc::new(Orders::read("orders.toml", &[orders, WATCHFUL].concat()).unwrap());
    let mut watch = Watch::new(&boat);
    let begin = Begin { feeds, orders, ..Begin::default() };
    watch.take(Moment(0), Input::Begin(Box::new(begin))).unwrap();
    drive(&mut watch);
    let folder = Folder::new(name);
    let (logbook, _) = open(&folder.logbook(), "a", 0);
    for effect in watch.effects() {
        match effect {
            Effect::Event(at, record, _) => {
                logbook.event(at, &record, Vec::new()).blocking_recv().unwrap().unwrap();
            }
            other => logbook.take(other),
        }
    }
    logbook.close(at(END_S)).blocking_recv().unwrap().unwrap();
    review::read(folder.logbook(), Span::default()).unwrap()
}

const END_S: i64 = 1200;

/// A fix each ten seconds at 5 knots, and all that falls due.
fn sail(watch: &mut Watch, seconds: std::ops::Range<i64>) {
    for s in seconds.step_by(10) {
        let utc = Some(SentTime::Utc(Utc(EVENING + s * 1000)));
        let (position, sog_kn) = (Some(own_at(s)), Some(5.0));
        let fix = Fix { time: utc, position, sog_kn, cog_deg: Some(45.0), ..Fix::default() };
        let line = Input::Line(FeedId(0), encode::rmc("GP", &fix).parse().unwrap());
        watch.take(Moment(s * 1000), line).unwrap();
        watch.advance(Moment(s * 1000));
    }
}

/// A section of the review's text, its lines joined.
fn section(night: &Night, title: &str) -> String {
    let text = night.print();
    let from = text.split(&format!("\n{title}\n")).nth(1).unwrap();
    from.split("\n\n").next().unwrap().split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn a_silent_feed_is_called_by_its_whole_name() {
    let night = driven("colon", "version = 1", |watch| {
        sail(watch, 0..300);
        watch.advance(Moment(600_000));
        sail(watch, 600..END_S);
    });
    let blind: Vec<_> = night.blindness().into_iter().map(|b| (b.about, b.sense)).collect();
    let feed = (Item::Feed("nav: aft".to_owned()), "nav: aft".to_owned());
    assert_eq!(blind, [(Item::Fix, "position".to_owned()), feed]);
    assert!(section(&night, "Watch").contains("nav: aft"), "{}", night.print());
}

#[test]
fn a_wrong_identity_of_her_own_ais_is_a_failure() {
    let night = driven("identity", "version = 1", |watch| {
        for s in (0..END_S).step_by(10) {
            sail(watch, s..s + 10);
            let mut report = AisReport::new(1, 0, Mmsi::new(211_000_002).unwrap());
            (report.own_vessel, report.position) = (true, Some(own_at(s)));
            let line = encode::ais(&report, "AI", 'A', 0).concat();
            watch.take(Moment(s * 1000), Input::Line(FeedId(0), line.parse().unwrap())).unwrap();
        }
    });
    let failures = section(&night, "Failures");
    assert!(failures.contains("own transmitter wrong") && failures.contains("211000002"), "{failures}");
    assert_eq!(night.failures().map(|a| &a.about).collect::<Vec<_>>(), [&Item::Transmitter]);
}

#[test]
fn an_order_may_be_called_like_a_built_in_alert() {
    let orders = "version = 1\n[[order]]\nname = \"fix lost\"\npriority = \"warning\"\n\
                  when = \"SOG is over 3 kn\"\nheld = \"10 s\"\ntext = \"Too fast\"\n";
    let night = driven("namesake", orders, |watch| sail(watch, 0..END_S));
    assert_eq!(night.alerts.len(), 1);
    assert_eq!((night.alerts[0].origin, night.alerts[0].built_in()), (ComesFrom::Order, None));
    assert_eq!(night.blindness(), []);
    assert_eq!(section(&night, "Failures"), "none known");
    let danger = section(&night, "Danger");
    assert!(danger.contains("1 warning: ") && danger.contains("fix lost"), "{danger}");
}
