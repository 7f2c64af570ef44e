//! Webhooks against receivers as they are met: every event once, under one key, in the order of its alert.

use crate::aboard::{Folder, until};
use crate::records::{record, to};
use crate::rough::{Does, Post, Rough};
use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use hmac::{Hmac, KeyInit, Mac};
use middlewatch::clock::{Clock, boot_id};
use middlewatch::logbook::{Logbook, LogbookSettings, Pace};
use middlewatch::signals::{News, Signals, WaysBack};
use record::{EventRecord, Stamp};
use rules::{Carry, Priority};
use serde_json::{Value, json};
use sha2::{Digest, Sha256};
use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use std::time::Duration;
use terms::UtcSource;
use tokio::runtime::Runtime;
use tokio::sync::mpsc;

/// Long enough for a loaded machine; a test that passes does not wait for it.
pub const PATIENCE: Duration = Duration::from_secs(120);

fn now() -> Stamp {
    Stamp { steady: Clock.now(), utc: Some((Clock.utc(), UtcSource::System)), feed: None }
}

/// The signals of a boat and their logbook, as the daemon runs them.
pub struct Aboard {
    runtime: Runtime,
    pub signals: Signals,
    logbook: Logbook,
    news: mpsc::Receiver<News>,
}

impl Aboard {
    pub fn start(boat: &Path, signal: &str, logbook: &Path) -> Self {
        let runtime =
            tokio::runtime::Builder::new_multi_thread().worker_threads(2).enable_all().build().unwrap();
        let text = format!("version = 1\n{signal}");
        let boat = boat::read(boat.to_str().unwrap(), &text).unwrap().0;
        let settings =
            LogbookSettings { boot: boot_id(), opened: now(), pace: Pace::Live, limit_bytes: None };
        let (logbook, _, _) = Logbook::open_or_wait(logbook, settings);
        let (to, news) = mpsc::channel(64);
        let signals =
            runtime.block_on(async { Signals::start(&boat, &WaysBack::new(), &logbook, Clock, &to) });
        Self { runtime, signals, logbook, news }
    }

    pub fn tell(&mut self, alert: u32, seq: u32, priority: Priority) {
        self.tell_record(record(alert, seq, priority, 0), seq == 1);
    }

    pub fn tell_record(&mut self, mut record: EventRecord, aloud: bool) {
        let at = now();
        record.steady_s = at.steady.as_s();
        self.signals.tell(at, record, &Carry { aloud, ..Carry::default() });
    }

    /// Waits until only so many deliveries are left: the sender knows that the others were taken. A daemon that stops
    /// earlier posts them again.
    pub fn wait_until_left(&self, deliveries: usize) {
        until("the answers", || (self.logbook.deliveries_waiting() == deliveries).then_some(()));
    }

    /// Ends as a daemon that is told to stop.
    pub fn stop(self) {
        self.logbook.close(now()).blocking_recv().unwrap().unwrap();
        self.runtime.shutdown_timeout(Duration::from_millis(200));
    }
}

pub fn webhook(address: impl std::fmt::Display, more: &str) -> String {
    format!(
        "[[signal]]\nname = \"shore\"\nwebhook = \"http://{address}/alerts?boat=1\"\ntimeout = \"0.5 s\"\n{more}"
    )
}

/// Each event has one key and one body in all its posts, each key belongs to one event, and the events of an alert are
/// first taken in their order.
pub fn check_keys(posts: &[Post]) {
    let mut by_key: BTreeMap<String, (u64, u64, String)> = BTreeMap::new();
    let mut by_event: BTreeMap<(u64, u64), String> = BTreeMap::new();
    let mut last: BTreeMap<u64, u64> = BTreeMap::new();
    let mut taken = BTreeSet::new();
    for p in posts {
        let (alert, seq) = p.event();
        let known = by_key.entry(p.key().to_owned()).or_insert((alert, seq, p.body.clone()));
        assert_eq!(*known, (alert, seq, p.body.clone()), "key {}", p.key());
        let key = by_event.entry((alert, seq)).or_insert(p.key().to_owned());
        assert_eq!(key, p.key(), "event {alert}.{seq} under two keys");
        if p.taken() && taken.insert((alert, seq)) {
            let before = last.insert(alert, seq).unwrap_or(0);
            assert!(before < seq, "alert {alert}: {seq} after {before}");
        }
    }
}

pub fn taken(posts: &[Post]) -> BTreeSet<(u64, u64)> {
    posts.iter().filter(|p| p.taken()).map(Post::event).collect()
}

#[test]
fn a_receiver_that_stalls_resets_errs_redirects_and_drips_gets_every_event_once() {
    let folder = Folder::new("rough");
    let elsewhere = Rough::start(|_| Does::Good);
    let location = format!("location: http://{}/", elsewhere.address);
    let mut does = vec![
        Does::Stall,
        Does::Good,
        Does::Reset,
        Does::Good,
        Does::Status(500, "x: y".into()),
        Does::Good,
        Does::Status(302, location),
        Does::Good,
        Does::Drip,
        Does::Good,
        Does::Lose,
        Does::Good,
        Does::Status(503, "retry-after: 2".into()),
    ]
    .into_iter();
    let receiver = Rough::start(move |_| does.next().unwrap_or(Does::Good));
    let mut aboard = Aboard::start(Path::new("boat.toml"), &webhook(receiver.address, ""), &folder.logbook());
    for alert in 1..=4 {
        for seq in 1..=3 {
            aboard.tell(alert, seq, if seq == 3 { Priority::Alarm } else { Priority::Warning });
            // A new telling takes the place of one that still waits, so that comes when this one has arrived, or was taken
            // and its answer lost.
            receiver.wait("the one before", PATIENCE, |p| {
                let arrived = |p: &Post| p.event() == (alert.into(), seq.into());
                p.iter().any(|p| arrived(p) && p.did == Does::Good)
            });
        }
    }
    let posts = receiver.wait("all twelve", PATIENCE, |p| taken(p).len() == 12);
    check_keys(&posts);
    let answers = posts.iter().filter(|p| p.did == Does::Good).map(Post::event);
    assert_eq!(answers.collect::<Vec<_>>().len(), 12, "each was acknowledged once");
    assert!(elsewhere.posts().is_empty(), "a redirection is not followed");
    let (asked, next) =
        (posts.iter().position(|p| matches!(p.did, Does::Status(503, _))).unwrap(), Duration::from_secs(2));
    assert!(posts[asked + 1].at - posts[asked].at >= next, "it waits as long as it is asked to");
    assert!(posts[0].header("content-type") == Some("application/json"));
    let on_disk = |p: &Post| p.json()["log_id"].as_i64().map(|id| format!("-{id}-{}", p.event().1));
    assert!(posts.iter().any(|p| on_disk(p).is_some()), "a disk is not always too slow");
    assert!(posts.iter().all(|p| on_disk(p).is_none_or(|end| p.key().ends_with(&end))));
    aboard.stop();
}

#[test]
fn a_thousand_alerts_through_a_flapping_receiver_and_restarts_are_all_there_under_one_key_each() {
    let folder = Folder::new("flap");
    // Up and down in turns of some posts: down it breaks off before or after it has taken the post.
    let mut n = 0u32;
    let receiver = Rough::start(move |_| {
        n += 1;
        match n % 400 {
            60 => Does::Reset,
            200 => Does::Lose,
            330 => Does::Status(502, "x: y".into()),
            _ => Does::Good,
        }
    });
    let signal = webhook(receiver.address, "");
    let boat = Path::new("boat.toml");
    let mut told = 0;
    for run in 0..3 {
        let mut aboard = Aboard::start(boat, &signal, &folder.logbook());
        for _ in 0..[400, 400, 200][run] {
            told += 1;
            aboard.tell(told, 1, if told % 3 == 0 { Priority::Alarm } else { Priority::Warning });
            if told % 2 == 0 {
                aboard.tell(told, 2, Priority::Alarm);
            }
        }
        if run < 2 {
            let so_far = told as usize / 2;
            receiver.wait("some of them", PATIENCE, |p| taken(p).len() > so_far);
            aboard.stop();
        } else {
            let posts = receiver.wait("all of them", PATIENCE, |p| taken(p).len() == 1500);
            check_keys(&posts);
            assert!(posts.len() > 1500, "some were posted more than once: the receiver saw to that");
            assert_eq!(aboard.logbook.health().borrow().dropped, 0);
            aboard.stop();
        }
    }
}

#[test]
fn what_went_out_before_it_was_on_disk_keeps_its_key_and_its_words_after_a_restart() {
    let folder = Folder::new("early");
    let missing = folder.0.join("not-yet");
    let file = missing.join("logbook.db");
    let receiver = Rough::start(|_| Does::Status(500, "x: y".into()));
    let mut aboard = Aboard::start(Path::new("boat.toml"), &webhook(receiver.address, ""), &file);
    aboard.tell(1, 1, Priority::EmergencyAlarm);
    let posts = receiver.wait("the first attempt", PATIENCE, |p| !p.is_empty());
    assert_eq!(posts[0].json()["log_id"], Value::Null, "it did not wait for the disk");
    std::fs::create_dir(&missing).unwrap();
    while !aboard.logbook.health().borrow().is_good() {
        std::thread::sleep(Duration::from_millis(20));
    }
    aboard.stop();

    let receiver2 = Rough::start(|_| Does::Good);
    let mut aboard = Aboard::start(Path::new("boat.toml"), &webhook(receiver2.address, ""), &file);
    aboard.tell(2, 1, Priority::Alarm);
    let later = receiver2.wait("both", PATIENCE, |p| taken(p).len() == 2);
    assert_eq!((later[0].event(), later[0].key()), ((1, 1), posts[0].key()));
    assert_eq!(later[0].body, posts[0].body, "the same key, the same words");
    assert_eq!(later[1].json()["log_id"], 2);
    aboard.stop();
}

#[test]
fn one_that_is_refused_does_not_keep_the_others() {
    let folder = Folder::new("poison");
    let receiver =
        Rough::start(|p| if p.event().0 == 1 { Does::Status(422, "x: y".into()) } else { Does::Good });
    let mut aboard = Aboard::start(Path::new("boat.toml"), &webhook(receiver.address, ""), &folder.logbook());
    aboard.tell(1, 1, Priority::EmergencyAlarm);
    aboard.tell(1, 2, Priority::EmergencyAlarm);
    for alert in 2..=6 {
        aboard.tell(alert, 1, Priority::Warning);
    }
    let posts = receiver.wait("the others", PATIENCE, |p| taken(p).len() == 5);
    check_keys(&posts);
    assert!(posts.iter().all(|p| p.event() != (1, 2)), "its alert keeps its order");
    aboard.stop();
}

#[test]
fn a_receiver_that_is_away_is_told_of_and_so_is_its_return() {
    let folder = Folder::new("away");
    let address = std::net::TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap();
    let mut aboard = Aboard::start(Path::new("boat.toml"), &webhook(address, ""), &folder.logbook());
    aboard.tell(1, 1, Priority::Alarm);
    let news = aboard.news.blocking_recv().unwrap();
    assert!(news.outcome.unwrap_err().contains(&address.to_string()));
    let listener = std::net::TcpListener::bind(address).unwrap();
    std::thread::spawn(move || {
        use std::io::{Read, Write};
        for stream in listener.incoming() {
            let mut stream = stream.unwrap();
            let _ = stream.read(&mut [0; 4096]);
            let _ = stream.write_all(b"HTTP/1.1 200 x\r\ncontent-length: 0\r\n\r\n");
        }
    });
    // A new alarm does not wait for the end of the back-off, and lets the old one through.
    aboard.tell(2, 1, Priority::Alarm);
    while aboard.news.blocking_recv().unwrap().outcome.is_err() {}
    aboard.stop();
}

#[test]
fn headers_a_body_of_ones_own_and_a_signature_that_a_receiver_can_check() {
    let folder = Folder::new("signed");
    std::fs::write(folder.0.join("shore.key"), "not the sea's own secret\n").unwrap();
    let receiver = Rough::start(|_| Does::Good);
    let more = "headers = { Authorization = \"Bearer quay\", \"Content-Type\" = \"application/vnd.x+json\" }\n\
                body = '{\"title\": \"${alert.order}\", \"seq\": ${seq}, \"at\": \"${at}\", \"who\": ${casualty.crew}}'\n\
                signature = { key_id = \"wendelin\", secret_file = \"shore.key\" }\n";
    let mut aboard =
        Aboard::start(&folder.0.join("boat.toml"), &webhook(receiver.address, more), &folder.logbook());
    aboard.tell(7, 1, Priority::Alarm);
    let post = receiver.wait("the post", PATIENCE, |p| !p.is_empty()).remove(0);
    assert_eq!(post.header("authorization"), Some("Bearer quay"));
    assert_eq!(
        post.json(),
        json!({"title": "close approach", "seq": 1, "at": "2026-11-01T00:00:00.000Z", "who": null})
    );
    // As a receiver checks it (RFC 9421 section 3.2), from what came over the wire. The library http-message-signatures
    // 3.0.0 (PyPI) takes such a post too.
    let digest = format!("sha-256=:{}:", STANDARD.encode(Sha256::digest(post.body.as_bytes())));
    assert_eq!(post.header("content-digest"), Some(digest.as_str()));
    let input = post.header("signature-input").unwrap().strip_prefix("middlewatch=").unwrap();
    let (names, parameters) = input.strip_prefix('(').unwrap().split_once(')').unwrap();
    assert!(parameters.contains(";keyid=\"wendelin\""));
    let created: i64 =
        parameters.split(';').find_map(|p| p.strip_prefix("created=")).unwrap().parse().unwrap();
    assert!((Clock.utc().0 / 1000 - created).abs() < 300);
    let mut base = String::new();
    for name in names.split(' ') {
        let bare = name.trim_matches('"');
        let value = match bare {
            "@method" => "POST",
            "@authority" => post.header("host").unwrap(),
            "@path" => "/alerts",
            "@query" => "?boat=1",
            header => post.header(header).unwrap(),
        };
        base += &format!("{name}: {value}\n");
    }
    for covered in ["@method", "@authority", "@path", "@query", "content-digest", "idempotency-key"] {
        assert!(names.contains(&format!("\"{covered}\"")), "{covered} is not covered");
    }
    base += &format!("\"@signature-params\": {input}");
    let mac = Hmac::<Sha256>::new_from_slice(b"not the sea's own secret").unwrap();
    let want = STANDARD.encode(mac.chain_update(base.as_bytes()).finalize().into_bytes());
    assert_eq!(post.header("signature").unwrap(), format!("middlewatch=:{want}:"));
    aboard.stop();
}

#[test]
fn an_hour_s_repeats_are_told_once_and_alarms_push_out_notices_never_the_other_way_round() {
    let folder = Folder::new("outbox-order");
    let settings = |opened| LogbookSettings { boot: boot_id(), opened, pace: Pace::Live, limit_bytes: None };
    let (logbook, _) = Logbook::open(folder.logbook(), settings(now())).unwrap();
    let put =
        |alert, seq, priority| drop(logbook.event(now(), &record(alert, seq, priority, 0), to("shore")));
    // An alert that is told again and again, and in the end more urgently; and another in between.
    put(1, 1, Priority::Warning);
    put(2, 1, Priority::Warning);
    (2..=60).for_each(|seq| put(1, seq, Priority::Warning));
    put(1, 61, Priority::Alarm);
    logbook.flush().blocking_recv().unwrap().unwrap();
    let take = || {
        let due = logbook.due("shore", &now(), None, 1).pop()?;
        logbook.delivered(due.id);
        let v: Value = serde_json::from_str(&due.body).unwrap();
        Some((v["alert"]["id"].as_u64().unwrap(), v["seq"].as_u64().unwrap()))
    };
    let order: Vec<_> = std::iter::from_fn(take).collect();
    assert_eq!(order, [(1, 1), (1, 61), (2, 1)], "as urgent as what follows it, in its own order");

    // More than may wait: the oldest notices go, no alarm does.
    (0..1000).for_each(|n| put(10_000 + n, 1, Priority::Alarm));
    (0..3500).for_each(|n| put(20_000 + n, 1, Priority::Notice));
    (0..100).for_each(|n| put(30_000 + n, 1, Priority::Alarm));
    assert_eq!(logbook.deliveries_waiting(), 4000);
    let due = logbook.due("shore", &now(), None, 4000);
    let alarms = due.iter().filter(|d| d.priority == Priority::Alarm).count();
    assert!(alarms <= 1100 && logbook.deliveries_waiting() == 4000);
    logbook.flush().blocking_recv().unwrap().unwrap();
    let due = logbook.due("shore", &now(), None, 4000);
    assert_eq!(due.iter().filter(|d| d.priority == Priority::Alarm).count(), 1100);
    // A signal that is no longer in the boat's file is waited for by nobody.
    logbook.keep_signals(&["elsewhere"]);
    assert_eq!(logbook.deliveries_waiting(), 0);
}

#[test]
fn in_a_full_outbox_notices_give_way_first_then_cautions_then_warnings() {
    let folder = Folder::new("outbox-full");
    let settings = LogbookSettings { boot: boot_id(), opened: now(), pace: Pace::Live, limit_bytes: None };
    let (logbook, _) = Logbook::open(folder.logbook(), settings).unwrap();
    let mut alert = 0;
    let mut put = |count, priority| {
        for _ in 0..count {
            alert += 1;
            drop(logbook.event(now(), &record(alert, 1, priority, 0), to("shore")));
        }
    };
    let waiting = || {
        let due = logbook.due("shore", &Stamp { steady: now().steady + PATIENCE, ..now() }, None, 4000);
        let count = |p| due.iter().filter(|d| d.priority == p).count();
        [Priority::Notice, Priority::Caution, Priority::Warning, Priority::Alarm].map(count)
    };
    for priority in [Priority::Alarm, Priority::Caution, Priority::Warning, Priority::Notice] {
        put(1000, priority);
    }
    assert_eq!(waiting(), [1000; 4]);
    put(600, Priority::Alarm);
    assert_eq!(waiting(), [400, 1000, 1000, 1600]);
    put(900, Priority::Warning);
    assert_eq!(waiting(), [0, 500, 1900, 1600]);
    put(700, Priority::Alarm);
    assert_eq!(waiting(), [0, 0, 1700, 2300]);
    put(100, Priority::Notice);
    assert_eq!(waiting(), [0, 0, 1700, 2300], "one that would be the first to go does not come in");
}

#[test]
fn a_notice_that_hangs_gives_way_to_a_fresh_alarm() {
    let folder = Folder::new("gives-way");
    let receiver = Rough::start(|p| if p.event().0 == 1 { Does::Stall } else { Does::Good });
    let signal = format!("[[signal]]\nname = \"shore\"\nwebhook = \"http://{}/\"\n", receiver.address);
    let mut aboard = Aboard::start(Path::new("boat.toml"), &signal, &folder.logbook());
    aboard.tell(1, 1, Priority::Notice);
    receiver.wait("the notice", PATIENCE, |p| p.len() == 1);
    aboard.tell(2, 1, Priority::Alarm);
    let posts = receiver.wait("the alarm", PATIENCE, |p| taken(p).contains(&(2, 1)));
    let first = posts.iter().find(|p| p.event().0 == 2).unwrap();
    // Two seconds for the notice; left alone it would have had ten.
    assert!(first.at - posts[0].at < Duration::from_secs(8), "{:?}", first.at - posts[0].at);
    aboard.stop();
}

#[test]
#[ignore = "takes four minutes of real time"]
fn for_four_minutes_a_receiver_that_is_good_for_a_third_of_each_gets_every_alarm_within_two() {
    for bad in [Does::Stall, Does::Reset] {
        let folder = Folder::new("third");
        let began = std::time::Instant::now();
        let bad = move |_: &Post| {
            if began.elapsed().as_secs() % 60 >= 40 { Does::Good } else { bad.clone() }
        };
        let receiver = Rough::start(bad);
        let signal = format!("[[signal]]\nname = \"shore\"\nwebhook = \"http://{}/\"\n", receiver.address);
        let mut aboard = Aboard::start(Path::new("boat.toml"), &signal, &folder.logbook());
        let mut told = BTreeMap::new();
        (1000..1200).for_each(|alert| aboard.tell(alert, 1, Priority::Notice));
        for alert in 1..=11 {
            aboard.tell(alert, 1, Priority::Alarm);
            told.insert((u64::from(alert), 1), std::time::Instant::now());
            std::thread::sleep(Duration::from_secs(11));
        }
        let posts = receiver.wait("every alarm", PATIENCE, |p| told.keys().all(|e| taken(p).contains(e)));
        for post in posts.iter().filter(|p| p.taken()) {
            let waited = told.get(&post.event()).map(|told| post.at - *told);
            assert!(waited.is_none_or(|w| w < Duration::from_secs(120)), "{:?}: {waited:?}", post.event());
        }
        aboard.stop();
    }
}
