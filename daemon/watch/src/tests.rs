//! Words are made when an event happens or somebody looks; looking changes nothing.

use super::*;
use lookout::casualty::Gap;
use record::{Act, Carried, CasualtyQuestion};
use scenario::{Scenario, What};
use sentence::{Depth, Fix, SentTime, encode};
use serde_json::Value;
use terms::{Mmsi, Position};

const FEED: &str = "version = 1\n[[feed]]\nname = \"bus\"\ntcp = \"a:1\"\n";

fn watch_of(boat: &str, at: Moment, not_before: Option<Utc>) -> Watch {
    let boat = boat::read("boat.toml", boat).unwrap().0;
    let feeds: Vec<FeedSetting> = boat.feeds.iter().map(FeedSetting::of).collect();
    Watch::begun(at, &boat, &feeds, Numbers::default(), not_before)
}

/// Orders that leave neither ships nor shoal water unwatched.
fn watchful() -> Arc<Orders> {
    Arc::new(Orders::read("orders.toml", &format!("version = 1\n{SHIPS}{SHOAL}")).unwrap())
}

/// Kind and text of the events since the last call.
fn told(w: &mut Watch) -> Vec<String> {
    let event = |o| match o {
        Effect::Event(_, record, _) => Some(format!("{:?} {}", record.event, record.alert.text)),
        _ => None,
    };
    w.effects().filter_map(event).collect()
}

fn texts(status: &Value) -> Vec<String> {
    let alerts = status["alerts"].as_array().unwrap();
    alerts.iter().map(|a| a["text"].as_str().unwrap().to_owned()).collect()
}

fn lines(handover: &Value) -> String {
    handover["lines"].to_string()
}

/// A fixture's night under the shipped orders, with a crew that acts; returns all effects. Calls `look` every second
/// between the lines.
fn night(scenario: &Scenario, until: Moment, mut look: impl FnMut(&mut Watch, Moment)) -> Vec<String> {
    let boat = "version = 1\n[[crew]]\nname = \"Ada\"\nbeacon = \"972000001\"\n[[crew]]\nname = \"Bo\"\n\
        [watch]\n[[gear]]\nname = \"raft\"\ndue = \"2026-01\"\n";
    let mut w = watch_of(boat, Moment::ZERO, Some(Utc(0)));
    w.set_orders(Moment::ZERO, Arc::new(Orders::read("passage", rules::SHIPPED).unwrap()), false);
    let feeds: Vec<(String, FeedId)> = scenario
        .feeds()
        .map(|name| {
            let setting = FeedSetting {
                name: name.to_owned(),
                checksum_optional: false,
                simulator: true,
                trusted: false,
                silent_after: Silence::After(Duration::from_secs(60)),
            };
            let id = FeedId(u16::try_from(w.ears.len()).unwrap());
            w.add_feed(Moment::ZERO, setting);
            (name.to_owned(), id)
        })
        .collect();
    w.advance(Moment::ZERO);
    let mut out: Vec<String> = Vec::new();
    let mut second = 0;
    for t in scenario.play().take_while(|t| t.at <= until) {
        while Moment((second + 1) * 1000) < t.at {
            second += 1;
            let at = Moment(second * 1000);
            if second % 600 == 0 {
                w.advance(at);
                let act = match second / 600 % 3 {
                    0 => Act::Acknowledge { alert: None, order: None },
                    1 => Act::Declare { what: "under sail".to_owned(), metres: None, bearing_deg: None },
                    _ => Act::Handover { who: "Bo".to_owned() },
                };
                // There may be nothing to acknowledge.
                let _ = w.act(at, act);
            }
            look(&mut w, at);
        }
        w.advance(t.at);
        if let What::Line { feed, line } = t.what {
            let (_, id) = feeds.iter().find(|(name, _)| name == feed).unwrap();
            w.hear(t.at, *id, &line.parse().unwrap());
        }
        let said = w.effects().filter(|e| !matches!(e, Effect::Keep(..)));
        out.extend(said.map(|o| format!("{o:?}")));
    }
    out
}

#[test]
fn a_night_that_is_looked_at_each_second_is_to_the_letter_one_where_nobody_looked() {
    let text = include_str!("../../../fixtures/night-passage.toml");
    let scenario = Scenario::read("night-passage", text).unwrap();
    let until = Moment(3_600_000);
    let quiet = night(&scenario, until, |_, _| {});
    let looked_at = night(&scenario, until, |w, at| {
        w.advance(at);
        let looks = [
            json(&w.status(at, &Outside::default())),
            json(&w.handover(at)),
            json(&w.departure_look(at, Vec::new())),
        ];
        assert!(looks.iter().all(Value::is_object));
        let asked = CasualtyQuestion { brief: true, ..CasualtyQuestion::default() };
        let _ = w.casualty_look(at, &asked);
    });
    assert!(quiet.iter().filter(|o| o.starts_with("Event")).count() > 20, "{} came out", quiet.len());
    for (n, (a, b)) in quiet.iter().zip(&looked_at).enumerate() {
        assert_eq!(a, b, "output {n}");
    }
    assert_eq!(quiet.len(), looked_at.len());
}

fn depth(m: f64) -> String {
    encode::dbt("SD", &Depth { below_transducer_m: Some(m), below_surface_m: Some(m), ..Depth::default() })
}

const SHOAL: &str = "[[order]]\nname = \"shoal\"\npriority = \"alarm\"\nwhen = \"depth below transducer is under 3 m\"\n\
    until = \"depth below transducer is over 5 m\"\ntext = \"Depth {depth below transducer}\"\n";

const SHIPS: &str = "[[order]]\nname = \"close\"\neach = \"target\"\npriority = \"alarm\"\nwhen = \"CPA is under 2 nm\"\n\
    text = \"CPA {CPA} in {TCPA}\"\n";

#[test]
fn handover_status_and_logbook_say_the_same_depth_whoever_asked_before() {
    let mut w = watch_of(FEED, Moment(0), None);
    let hear = |w: &mut Watch, s: i64, m: f64| {
        w.hear(Moment(s * 1000), FeedId(0), &depth(m).parse().unwrap());
        w.advance(Moment(s * 1000));
    };
    hear(&mut w, 1, 2.4);
    assert_eq!(told(&mut w), ["Raised Depth 2.4 m"]);
    hear(&mut w, 2, 4.1);
    let at = Moment(2000);
    assert!(lines(&json(&w.handover(at))).contains("Depth 4.1 m"), "{}", lines(&json(&w.handover(at))));
    assert_eq!(texts(&json(&w.status(at, &Outside::default()))), ["Depth 4.1 m"]);
    assert_eq!(told(&mut w), [""; 0], "a look is no event");
    let id = w.board.alerts().next().unwrap().id;
    w.act(at, Act::Acknowledge { alert: Some(id), order: None }).unwrap();
    assert_eq!(told(&mut w), ["Acknowledged Depth 4.1 m"]);
    hear(&mut w, 3, 6.0);
    assert_eq!(told(&mut w), ["Cleared Depth 6.0 m"], "the end is announced with its own value");
}

#[test]
fn what_stands_from_before_a_restart_says_how_old_it_is_until_it_is_met_again() {
    let mut w = watch_of(FEED, Moment(0), None);
    let own = Position::new(48.0, -6.0).unwrap();
    let sail = |w: &mut Watch, at: Moment| {
        let fix = Fix {
            time: Some(SentTime::Utc(Utc(1_793_491_200_000 + at.0))),
            position: Some(own),
            sog_kn: Some(5.0),
            cog_deg: Some(0.0),
            ..Fix::default()
        };
        w.hear(at, FeedId(0), &encode::rmc("GP", &fix).parse().unwrap());
        let mut ship = sentence::ais::AisReport::new(1, 0, Mmsi::new(230_000_001).unwrap());
        (ship.position, ship.sog_kn, ship.cog_deg) = (Some(own.at(0.0, 3.0)), Some(5.0), Some(180.0));
        for line in encode::ais(&ship, "AI", 'A', 0) {
            w.hear(at, FeedId(0), &line.parse().unwrap());
        }
    };
    for s in 1..=10 {
        sail(&mut w, Moment(s * 1000));
    }
    w.hear(Moment(10_000), FeedId(0), &depth(2.4).parse().unwrap());
    let before = told(&mut w);
    assert!(before.iter().any(|t| t.starts_with("Raised CPA 0.00 nm in 18 min")), "{before:?}");
    let kept = w.kept(Moment(10_000));

    let again = |gap: Gap| {
        let boat = boat::read("boat.toml", FEED).unwrap().0;
        let feeds = boat.feeds.iter().map(FeedSetting::of).collect();
        let mut w = Watch::new(&boat);
        let begin = Begin { feeds, kept: kept.clone(), gap, orders: watchful(), ..Begin::default() };
        w.take(Moment(5000), Input::Begin(Box::new(begin))).unwrap();
        w.advance(Moment(5000));
        w
    };
    let mut w = again(Gap::Of(Duration::from_secs(2400)));
    let (close, shoal) = ("CPA 0.00 nm in 18 min", "Depth 2.4 m");
    let old = |text: &str| format!("{text}; last known 40 min ago, before the restart");
    let both = [old(close), old(shoal)];
    assert_eq!(texts(&json(&w.status(Moment(5000), &Outside::default()))), both);
    let said = lines(&json(&w.handover(Moment(5000))));
    assert!(said.contains(&both[0]) && said.contains("No ship comes closest within the hour"), "{said}");
    let news = told(&mut w);
    assert!(
        news.contains(&format!("Escalated {}", both[0])),
        "what nobody acknowledged is announced at once: {news:?}"
    );
    // Once retold, its words do not keep aging.
    w.advance(Moment(65_000));
    let later = told(&mut w);
    assert!(
        later.iter().any(|t| t.ends_with("18 min; last known 41 min ago, before the restart")),
        "{later:?}"
    );
    let at = Moment(66_000);
    sail(&mut w, at);
    w.hear(at, FeedId(0), &depth(2.2).parse().unwrap());
    assert_eq!(
        texts(&json(&w.status(at, &Outside::default())))[..2],
        ["CPA 0.00 nm in 18 min", "Depth 2.2 m"],
        "met again, it is of now"
    );

    let w = again(Gap::Unknown);
    let least = "CPA 0.00 nm in 18 min; last known at least 9 s ago, before the restart";
    assert_eq!(texts(&json(&w.status(Moment(5000), &Outside::default())))[0], least);
}

#[test]
fn a_fault_from_outside_keeps_its_reason_while_it_lasts_and_over_a_restart() {
    let mut w = watch_of(FEED, Moment(0), None);
    let signal = Fault::Signal(terms::SignalId(0));
    w.fault(Moment(0), signal, Some("The horn fails: no wire".to_owned()));
    assert_eq!(told(&mut w), ["Raised The horn fails: no wire"]);
    assert_eq!(texts(&json(&w.status(Moment(0), &Outside::default()))), ["The horn fails: no wire"]);
    let kept = w.kept(Moment(0));
    let mut after = watch_of(FEED, Moment(60_000), None);
    after.restore(Moment(60_000), kept.clone(), Gap::SameClock);
    let old = "The horn fails: no wire; last known 60 s ago, before the restart";
    assert_eq!(texts(&json(&after.status(Moment(60_000), &Outside::default()))), [old]);
    w.fault(Moment(1000), signal, None);
    assert_eq!(told(&mut w), ["Rectified The horn fails: no wire"]);
}

#[test]
fn a_logbook_that_lost_its_records_gets_the_open_alerts_again_and_nobody_hears_of_that() {
    let mut w = watch_of(FEED, Moment(0), None);
    w.take(Moment(0), Input::Act(Act::Overboard { late_s: 0.0, who: None })).unwrap();
    let raised = told(&mut w);
    let mut set_aside = |ms: i64, whole: bool| {
        let carried = Carried { whole, ..Carried::default() };
        let aside =
            SetAside { to: Some(format!("book-\u{200b}{ms}")), why: "it is gone".to_owned(), carried };
        w.take(Moment(ms), Input::SetAside(aside)).unwrap();
        let (mut again, mut heard, mut entries) = (Vec::new(), Vec::new(), 0);
        for effect in w.effects() {
            match effect {
                Effect::Again(_, record) => again.push((record.seq, record.casualty.map(|c| c.id.0))),
                Effect::Event(_, record, _) => heard.push(record.alert.text),
                Effect::Entry(_, Entry::SetAside(_)) => entries += 1,
                _ => {}
            }
        }
        assert_eq!(entries, 1);
        (again, heard)
    };
    let words = |ms: i64, rest: &str| {
        vec![format!("It is gone. What was there was set aside as book-{ms}. The new logbook {rest}")]
    };
    assert_eq!(set_aside(1000, true), (Vec::new(), words(1000, "has all of the old one")));
    let (again, heard) = set_aside(2000, false);
    assert_eq!(heard, words(2000, "could take over none of its records"), "told again while it stands");
    assert!(again.contains(&(2, Some(1))), "{again:?}");
    assert_eq!(raised.len(), 1);
}

/// As the control socket sends it.
fn json(answer: &impl serde::Serialize) -> Value {
    serde_json::to_value(answer).unwrap()
}

#[test]
fn a_feed_that_stays_silent_says_for_how_long_by_now() {
    let mut w = watch_of(FEED, Moment(0), None);
    w.hear(Moment(0), FeedId(0), &depth(9.0).parse().unwrap());
    w.advance(Moment(361_000));
    let told = told(&mut w);
    let silent: Vec<&String> = told.iter().filter(|t| t.contains("no sentence")).collect();
    assert_eq!(silent, ["Raised bus: no sentence for 60 s", "Repeated bus: no sentence for 6 min"]);
    assert!(
        texts(&json(&w.status(Moment(500_000), &Outside::default())))
            .contains(&"bus: no sentence for 8 min".to_owned())
    );
    // An alert that ended keeps the words it had last.
    w.hear(Moment(510_000), FeedId(0), &depth(9.0).parse().unwrap());
    assert_eq!(self::told(&mut w), ["Rectified bus: no sentence for 6 min"]);
}

impl Watch {
    /// A watch that has begun.
    pub(crate) fn begun(
        at: Moment,
        boat: &Boat,
        feeds: &[FeedSetting],
        last: Numbers,
        not_before: Option<Utc>,
    ) -> Self {
        let mut watch = Self::new(boat);
        let begin = Begin { feeds: feeds.to_vec(), last, not_before, orders: watchful(), ..Begin::default() };
        watch.take(at, Input::Begin(Box::new(begin))).unwrap();
        watch
    }
}

/// Plays a scenario from wake to wake, with everything that can want one: a roster, a watch alarm, dated gear, silent feeds, an
/// exercise. Returns how many lines there were and how many wakes.
fn from_wake_to_wake(text: &str) -> (usize, usize) {
    let scenario = Scenario::read("scenario", text).unwrap();
    let boat = "version = 1\n[vessel]\nantenna_m = 12\n[[crew]]\nname = \"Ada\"\nbeacon = \"972000001\"\n\
        [[crew]]\nname = \"Bo\"\n[watch]\n\
        [[watch.roster]]\nwho = \"Ada\"\nhours = \"20:00 to 03:05\"\n\
        [[watch.roster]]\nwho = \"Bo\"\nhours = \"03:05 to 20:00\"\n\
        [watch.alarm]\ndormant_period = \"3 min\"\nreset_from = [\"helm\"]\nhours = [\"00:00 to 12:00\"]\n\
        [[gear]]\nname = \"raft\"\ndue = \"2026-01\"\n";
    let mut w = watch_of(boat, Moment::ZERO, Some(Utc(0)));
    w.set_orders(Moment::ZERO, Arc::new(Orders::read("passage", rules::SHIPPED).unwrap()), false);
    let names: Vec<&str> = scenario.feeds().collect();
    for name in names.iter().chain(&["one that says nothing"]) {
        let setting = FeedSetting {
            name: (*name).to_owned(),
            checksum_optional: false,
            simulator: true,
            trusted: false,
            silent_after: Silence::After(Duration::from_secs(60)),
        };
        w.add_feed(Moment::ZERO, setting);
    }
    let (mut lines, mut wakes, mut drilled) = (0, 0, false);
    for t in scenario.play() {
        while let Some(due) = w.next_wake().filter(|due| *due <= t.at) {
            assert!(due >= w.now, "woken at {due:?}, and it is {:?}", w.now);
            w.advance(due);
            wakes += 1;
            for (source, next) in w.wakes() {
                assert!(
                    next.is_none_or(|next| next > due),
                    "{source}: {next:?} after it was woken at {due:?}"
                );
            }
        }
        if !drilled && t.at > Moment(120_000) {
            // It needs own position.
            drilled = w.take(t.at, Input::Act(Act::Drill { what: "overboard".to_owned() })).is_ok();
        }
        if let What::Line { feed, line } = t.what
            && let Ok(line) = line.parse()
        {
            let n = names.iter().position(|name| *name == feed).unwrap();
            w.take(t.at, Input::Line(FeedId(u16::try_from(n).unwrap()), line)).unwrap();
            lines += 1;
        }
        w.effects();
    }
    (lines, wakes)
}

#[test]
fn no_wake_of_any_source_lies_in_the_past() {
    for night in [
        include_str!("../../../fixtures/every-kind.toml"),
        include_str!("../../../fixtures/coast-traffic.toml"),
    ] {
        from_wake_to_wake(night);
    }
    // Class B vessels whose reports are lost, as what proves that the antenna hears.
    let crowd = "version = 1\ntitle = \"A crowd\"\nstart = \"2026-05-01T03:00:00Z\"\nduration = \"15 min\"\nseed = 1\n\
        [own]\nname = \"WINDLESTRAW\"\nmmsi = \"232990417\"\nposition = \"50°30.00′N 000°30.00′W\"\ncourse_deg = 60\n\
        speed_kn = 6\n[[feed]]\nname = \"gps\"\ntalker = \"GP\"\nsentences = { RMC = \"1 s\" }\n\
        [[feed]]\nname = \"ais\"\ntalker = \"AI\"\nhears = { probability = 0.6, range_nm = 40 }\n\
        [[traffic]]\ncount = 60\nfirst_mmsi = \"232100000\"\nwithin_nm = 15\nlanes_deg = [0, 90, 180, 270]\n\
        slowest_kn = 3\nfastest_kn = 12\nclass_b = 1\n";
    let (lines, wakes) = from_wake_to_wake(crowd);
    assert!(
        lines > 1_500 && wakes < 15 * 60 * 20,
        "{wakes} wakes beside {lines} lines in a quarter of an hour"
    );
}

#[test]
fn without_a_fix_alert_status_and_own_track_go_on_by_dead_reckoning() {
    let mut w = watch_of(FEED, Moment::ZERO, None);
    let start = Position::new(50.0, -5.0).unwrap();
    let (mut reckoned, mut alerts) = (Vec::new(), Vec::new());
    for s in 0..1800 {
        let at = Moment(s * 1000);
        let heading = sentence::Heading { true_deg: Some(90.0), ..Default::default() };
        let mut lines = vec![encode::vhw("VW", Some(6.0), &heading)];
        if s < 1200 {
            let position = Some(start.at(90.0, s as f64 * 6.0 / 3600.0));
            lines.push(encode::rmc("GP", &Fix { position, ..Fix::default() }));
        }
        for line in lines {
            w.take(at, Input::Line(FeedId(0), line.trim().parse().unwrap())).unwrap();
        }
        for effect in w.effects() {
            match effect {
                Effect::Row(stamp, Row::Own(own)) if stamp.feed.is_none() => {
                    reckoned.push(own.position.unwrap());
                }
                Effect::Event(_, record, _) if record.alert.order == "fix lost" => {
                    alerts.push(record.alert.text);
                }
                _ => {}
            }
        }
    }
    let at = Moment(1799 * 1000);
    let own = w.status(at, &Outside::default()).own;
    let r = own.reckoned.unwrap();
    assert_eq!((own.position, r.by.as_str()), (None, "log and compass"));
    assert!((r.run_nm - 1.0).abs() < 0.01 && (r.error_nm - 0.127).abs() < 0.005, "{r:?}");
    let truth = start.at(90.0, 1799.0 * 6.0 / 3600.0);
    let off_nm = Position::new(r.latitude_deg, r.longitude_deg).unwrap().range_and_bearing(truth).0;
    assert!(off_nm < 0.02, "{r:?}");
    let said = "Position lost: no fix by satellite for 30 s. By dead reckoning 50°";
    assert!(alerts[0].starts_with(said), "{alerts:?}");
    // From a minute after the last fix, twice a minute.
    assert!((17..=19).contains(&reckoned.len()), "{}", reckoned.len());
    assert!(reckoned.last().unwrap().range_and_bearing(truth).0 < 0.1);
}

#[test]
fn a_search_that_is_sailed_calls_its_turns_and_counts_own_track() {
    let mut w = watch_of(FEED, Moment::ZERO, None);
    let here = Position::new(50.0, -5.0).unwrap();
    let fix = |w: &mut Watch, s: i64, position: Position| {
        let fix = Fix { position: Some(position), sog_kn: Some(5.0), cog_deg: Some(0.0), ..Fix::default() };
        w.take(Moment(s * 1000), Input::Line(FeedId(0), encode::rmc("GP", &fix).trim().parse().unwrap()))
            .unwrap();
    };
    let act = |w: &mut Watch, s: i64, act: Act| w.take(Moment(s * 1000), Input::Act(act));
    let begin = || Act::SearchBegin {
        plan: CasualtyQuestion {
            pattern: Some("sector".to_owned()),
            spacing_nm: Some(0.2),
            sweep_width_nm: Some(0.1),
            radius_nm: Some(0.25),
            speed_kn: Some(5.0),
            first_course_deg: Some(0.0),
            ..CasualtyQuestion::default()
        },
    };
    fix(&mut w, 0, here);
    assert!(act(&mut w, 1, begin()).is_err(), "nobody is overboard");
    act(&mut w, 1, Act::Overboard { late_s: 0.0, who: Some("Ada".to_owned()) }).unwrap();
    let Answer::Done(began) = act(&mut w, 2, begin()).unwrap() else { panic!() };
    assert!(began.starts_with("Search 1: sector search, 0.25 nm round the datum"), "{began}");
    assert!(act(&mut w, 3, begin()).unwrap_err().to_string().contains("end it first"));
    told(&mut w);
    // Her track over ground is that of the plan: 0.25 nm at 5 kn are three minutes a leg.
    let plan = w.search.as_ref().unwrap().plan.clone();
    let mut said = Vec::new();
    for s in 3..=1700 {
        let at = Moment(s * 1000);
        let leg = plan.legs.iter().rev().find(|l| l.begins <= at).unwrap_or(&plan.legs[0]);
        let part = at.since(leg.begins).as_secs_f64() / leg.time.as_secs_f64();
        fix(&mut w, s, leg.from.at(leg.track_deg, leg.over_ground_nm * part.min(1.0)));
        said.extend(told(&mut w).into_iter().filter(|t| t.contains("Search 1")).map(|t| (s, t)));
        if s == 900 {
            // Another watch takes it up where this one leaves it.
            let begin = w.go_on(at);
            w.take(at, Input::Begin(Box::new(begin))).unwrap();
            told(&mut w);
        }
    }
    let turns: Vec<i64> = said.iter().filter(|(_, t)| t.starts_with("Repeated")).map(|(s, _)| *s).collect();
    assert_eq!(turns.len(), 9, "{said:?}");
    assert!(said.iter().any(|(_, t)| t.contains("leg 2 of 9: turn to starboard, steer 1")), "{said:?}");
    let Answer::Done(ended) = act(&mut w, 1701, Act::SearchEnd { sweep_width_nm: None }).unwrap() else {
        panic!()
    };
    assert!(ended.starts_with("Search 1 is over: 2."), "{ended}");
    assert!(
        ended.contains(" nm in 28 min 19 s; the searches so far would have found the casualty"),
        "{ended}"
    );
    assert!(
        ended.ends_with("Next: search begin --pattern sector --second-pass --radius 0.25 --spacing 0.20"),
        "{ended}"
    );
    let at = Moment(1_702_000);
    assert_eq!(w.lookout.searches(terms::CasualtyId(1)), 1);
    assert!((0.1..0.95).contains(&w.lookout.found_so_far(at, terms::CasualtyId(1)).unwrap()));
    assert!(act(&mut w, 1703, Act::SearchEnd { sweep_width_nm: None }).is_err());
    let q = CasualtyQuestion { brief: true, ..CasualtyQuestion::default() };
    let brief = w.casualty_look(at, &q).unwrap().brief.unwrap();
    assert!(brief.contains("Searched along 2."), "{brief}");
    // Whoever is found is searched for no longer.
    act(&mut w, 1704, begin()).unwrap();
    act(&mut w, 1705, Act::StandDown { casualty: None, reason: "recovered".to_owned() }).unwrap();
    let leg = w.board.built_in(BuiltIn::SearchLeg, Subject::OwnVessel);
    assert!(w.search.is_none() && leg.is_none_or(|a| !a.is_active()));
}
