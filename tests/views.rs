//! One moment of a busy night, as each view has it: no two may differ in a fact.

use crate::aboard::{Daemon, Folder, until};
use crate::browser::Browser;
use crate::records;
use middlewatch::status::screen;
use middlewatch::window::Window;
use record::{Act, EventRecord, Item, Status};
use rules::Orders;
use scenario::{Scenario, What};
use std::collections::{BTreeMap, BTreeSet};
use std::net::{TcpListener, TcpStream};
use std::sync::Arc;
use std::time::Duration;
use terms::{FeedId, Moment, span};
use watch::{Begin, Effect, FeedSetting, Input, Outside, Silence, Watch};

/// Wide enough that no line is broken.
const WIDE: Window = Window { columns: 1000, rows: None };

/// The demo's night with nobody acknowledging, at 1:05, when ships are near and Ada has just gone over the side.
fn busy() -> (Watch, Moment) {
    let text = include_str!("../fixtures/night-passage.toml");
    let scenario = Scenario::read("night-passage", text).unwrap();
    let boat = boat::read(
        "boat.toml",
        "version = 1\n[vessel]\nname = \"Windlestraw\"\n[[crew]]\nname = \"Ada\"\n[watch]\n",
    )
    .unwrap()
    .0;
    let mut watch = Watch::new(&boat);
    let orders = Arc::new(Orders::read("passage", rules::SHIPPED).unwrap());
    watch.take(Moment(0), Input::Begin(Box::new(Begin { orders, ..Begin::default() }))).unwrap();
    let mut feeds = BTreeMap::new();
    for name in scenario.feeds() {
        feeds.insert(name.to_owned(), FeedId(u16::try_from(feeds.len()).unwrap()));
        let setting = FeedSetting {
            name: name.to_owned(),
            checksum_optional: false,
            simulator: true,
            trusted: false,
            silent_after: Silence::After(Duration::from_secs(60)),
        };
        watch.take(Moment(0), Input::Named(setting)).unwrap();
    }
    let at = Moment(65 * 60_000);
    for t in scenario.play().take_while(|t| t.at <= at) {
        if let What::Line { feed, line } = t.what {
            watch.take(t.at, Input::Line(feeds[feed], line.parse().unwrap())).unwrap();
        }
        drop(watch.effects());
    }
    let fell = Act::Overboard { late_s: 20.0, who: Some("Ada".to_owned()) };
    watch.take(at, Input::Act(fell)).unwrap();
    watch.take(at, Input::Act(Act::Handover { who: "Bo".to_owned() })).unwrap();
    drop(watch.effects());
    (watch, at)
}

fn seconds(s: f64) -> String {
    span(Duration::from_secs_f64(s))
}

#[test]
fn status_handover_record_and_logbook_agree_in_every_fact_of_a_moment() {
    let (mut watch, at) = busy();
    let status = watch.status(at, &Outside::default());
    let handover = watch.handover(at);
    let screen = screen(&status, WIDE);
    assert!(
        status.alerts.len() >= 3 && status.targets.len() >= 2 && !status.casualties.is_empty(),
        "{screen}"
    );

    // Alerts: number, priority, state, age and words.
    assert_eq!(handover.standing.len(), status.alerts.len());
    assert!(!status.alerts[0].text.is_empty() && status.alerts[0].unheeded());
    for (n, a) in status.alerts.iter().enumerate() {
        let standing = format!("{}, {}", a.state_words, seconds(a.began_s));
        if n < 5 && !matches!(a.about, Item::Casualty(_)) {
            let priority = record::words::capital(&a.priority.to_string());
            let line = format!("{priority} {}, {standing}: {}", a.id.0, a.text);
            assert!(handover.lines.contains(&line), "{line}\n{:#?}", handover.lines);
        }
        let head = format!("{} {}: {standing}", a.priority.to_string().to_uppercase(), a.id.0);
        match &a.about {
            Item::Casualty(id) => {
                let c = status.casualties.iter().find(|c| c.part.id == *id).unwrap();
                assert_eq!(a.text, c.words);
                assert!(screen.contains(&format!("! alert {}: {}", a.id.0, a.state_words)), "{screen}");
                assert!(screen.contains(c.look.as_deref().unwrap()), "{screen}");
                let line = format!("CASUALTY {}, alert {} {}: {}", id.0, a.id.0, a.state_words, c.words);
                assert!(handover.lines.contains(&line), "{line}\n{:#?}", handover.lines);
            }
            // The screen shows six beside the casualty's own, and counts the rest.
            _ if n <= 6 => {
                let mark = if a.unheeded() { "! " } else { "" };
                assert!(screen.contains(&format!("{mark}{head}\n  {}", a.text)), "{head}\n{screen}");
            }
            _ => {}
        }
    }

    // Ships: the closest approach, the side, the age.
    for mmsi in handover.next_targets.iter().take(3) {
        let t = status.targets.iter().find(|t| t.part.mmsi == *mmsi).unwrap();
        let name = t.part.name.clone().unwrap_or_else(|| format!("MMSI {mmsi}"));
        let line = format!("{name}: {}, now {}", t.closest, t.look.as_deref().unwrap());
        assert!(handover.lines.contains(&line), "{line}\n{:#?}", handover.lines);
    }
    for t in status.targets.iter().take(3) {
        let age = format!("heard {} ago", seconds(t.part.age_s.unwrap()));
        assert!(screen.contains(&age) && screen.contains(t.side.as_deref().unwrap()), "{age}\n{screen}");
    }

    // Own vessel, what is heard and the watch.
    for row in &status.rows {
        assert!(screen.contains(&format!("{}: {}", row.name, row.whole())), "{row:?}\n{screen}");
    }
    let row = |name: &str| status.rows.iter().find(|r| r.name == name).unwrap().whole();
    for name in ["Declared", "Watching", "Ship's time", "On watch"] {
        let line = format!("{name}: {}", row(name));
        assert!(handover.lines.iter().any(|l| l.starts_with(&line)), "{line}\n{:#?}", handover.lines);
    }
    let weather = handover.lines.iter().find(|l| l.starts_with("Weather: ")).unwrap();
    assert!(weather.contains(&row("Pressure")) && weather.contains(&row("Wind")), "{weather}");
    assert_eq!(handover.pressure_hpa, status.own.pressure_hpa);

    // The record of the same moment, and what the logbook keeps of it.
    watch.take(at, Input::Act(Act::Acknowledge { alert: None, order: None })).unwrap();
    let folder = Folder::new("views");
    let (logbook, _) = records::open(&folder.logbook(), "a", 0);
    let mut records = Vec::new();
    for effect in watch.effects().collect::<Vec<_>>() {
        match effect {
            Effect::Event(stamp, record, _) => {
                drop(logbook.event(stamp, &record, Vec::new()));
                records.push(*record);
            }
            other => logbook.take(other),
        }
    }
    logbook.close(watch.stamp(at)).blocking_recv().unwrap().unwrap();
    // What is over is acknowledged and cleared in one.
    let answered: BTreeSet<u32> = records.iter().map(|r| r.alert.id.0).collect();
    let unheeded = status.alerts.iter().filter(|a| a.unheeded()).map(|a| a.id.0);
    assert_eq!(answered, unheeded.collect());
    let db = rusqlite::Connection::open(folder.logbook()).unwrap();
    for r in records {
        let a = status.alerts.iter().find(|a| a.id == r.alert.id).unwrap();
        let about = (&a.order, a.origin, &a.about, a.priority, &a.text, &a.spoken);
        let kept = (
            &r.alert.order,
            r.alert.origin,
            &r.alert.about,
            r.alert.priority,
            &r.alert.text,
            &r.alert.spoken,
        );
        assert_eq!(about, kept);
        assert_eq!(r.own, status.own.part);
        if let Some(target) = &r.target {
            let now = status.targets.iter().find(|t| t.part.mmsi == target.mmsi).unwrap();
            assert_eq!(*target, now.part);
        }
        if let Some(casualty) = &r.casualty {
            let now = status.casualties.iter().find(|c| c.part.id == casualty.id).unwrap();
            assert_eq!(*casualty, now.part);
        }
        let row = "SELECT text, priority, order_name, range_nm, cpa_nm, record FROM event_rows WHERE alert = ?1 AND seq = ?2";
        type Row = (String, Option<f64>, Option<f64>, String);
        let (text, range, cpa, json): Row = db
            .query_row(row, [r.alert.id.0, r.seq], |row| {
                Ok((row.get(0)?, row.get(3)?, row.get(4)?, row.get(5)?))
            })
            .unwrap();
        assert_eq!(text, a.text);
        // The columns are a target's; a casualty's figures stand in the record.
        let range_nm = r.target.as_ref().and_then(|t| t.range_nm);
        assert_eq!((range, cpa), (range_nm, r.target.as_ref().and_then(|t| t.cpa_nm)));
        let again: EventRecord = serde_json::from_str(&json).unwrap();
        assert_eq!(again.alert, r.alert);
    }
}

/// Lets a page show a picture instead of what the daemon sends.
fn shown(browser: &Browser, status: &Status) {
    let json = serde_json::to_string(status).unwrap();
    browser.run(&format!(
        "window.real = window.real || show; show = () => {{}}; heard = performance.now(); real({json})"
    ));
}

#[test]
#[ignore = "needs chromium and chromedriver, which are no part of the build"]
fn the_card_has_the_facts_of_status() {
    let folder = Folder::new("same-card");
    let address = TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap();
    let daemon = Daemon::start_with(folder, "", &format!("listen = \"{address}\"\n"));
    until("TCP", || TcpStream::connect(address).ok().map(drop));
    let browser = Browser::start(&daemon.folder.0.join("profile"));
    browser.screen(360, 640);
    browser.open(&format!("http://{address}/"));
    browser.until("the picture", |b| (!b.text("#own").is_empty()).then_some(()));
    let (watch, at) = busy();
    let status = watch.status(at, &Outside::default());
    shown(&browser, &status);
    browser.picture("busy");
    let screen = screen(&status, WIDE);
    let card = browser.run("return document.getElementById('picture').textContent");
    let card = card.as_str().unwrap();
    for c in &status.casualties {
        assert!(card.contains(&c.who) && card.contains(c.look.as_deref().unwrap()), "{card}");
    }
    for a in &status.alerts {
        let standing = format!("{}, {}", a.state_words, seconds(a.began_s));
        let capital = record::words::capital(&standing);
        if matches!(a.about, Item::Casualty(_)) {
            continue;
        }
        assert!(card.contains(&standing) || card.contains(&capital), "{standing}\n{card}");
        assert!(card.contains(&a.text), "{}\n{card}", a.text);
    }
    for row in &status.rows {
        assert!(card.contains(&format!("{}{}", row.name, row.whole())), "{row:?}\n{card}");
    }
    // What either shows of ships it shows in the same words.
    let items = browser.run("return [...document.querySelectorAll('#target-list li')].map((li) => li.firstChild.textContent + ': ' + li.childNodes[1].textContent.trim() + '\\n  ' + li.lastChild.textContent)");
    let items = items.as_array().unwrap();
    assert!(!items.is_empty());
    for item in items {
        assert!(screen.contains(item.as_str().unwrap()), "{item}\n{screen}");
    }
}
