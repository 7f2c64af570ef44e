//! A receiver that is good for a third of each minute, over real HTTP, with a real outbox, on a driven clock.

use super::*;
use crate::logbook::{LogbookSettings, Pace as LogbookPace};
use record::{EventRecord, example};
use rules::{AlertId, EventKind, Priority};
use std::collections::BTreeMap;
use std::path::PathBuf;
use std::sync::Mutex;
use std::sync::atomic::{AtomicU32, Ordering};
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpListener;
use tokio::runtime::Runtime;

/// What a receiver does that is not good.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Bad {
    /// It closes each connection at once.
    Closes,
    /// It takes connections and never answers.
    Hangs,
    /// It answers with this status.
    Says(&'static str),
}

/// What the receiver is like now.
#[derive(Default)]
struct Shore {
    bad: Mutex<Option<Bad>>,
    /// It answers 500 to every record of this alert, however good it is.
    chokes_on: Mutex<Option<u64>>,
}

async fn receive(listener: TcpListener, shore: Arc<Shore>) {
    let mut held = Vec::new();
    while let Ok((mut stream, _)) = listener.accept().await {
        let bad = *shore.bad.lock().unwrap();
        let status = match bad {
            Some(Bad::Closes) => continue,
            Some(Bad::Hangs) => {
                held.push(stream);
                continue;
            }
            Some(Bad::Says(status)) => status,
            None => "204 x",
        };
        let (mut said, mut chunk) = (Vec::new(), [0; 4096]);
        let record = loop {
            let n = stream.read(&mut chunk).await.unwrap_or(0);
            said.extend_from_slice(&chunk[..n]);
            let text = String::from_utf8_lossy(&said);
            let body = text.split_once("\r\n\r\n").and_then(|(_, body)| serde_json::from_str(body).ok());
            if n == 0 || body.is_some() {
                break body.unwrap_or(serde_json::Value::Null);
            }
        };
        let chokes = record["alert"]["id"].as_u64() == *shore.chokes_on.lock().unwrap();
        let status = if chokes { "500 x" } else { status };
        let _ = stream.write_all(format!("HTTP/1.1 {status}\r\ncontent-length: 0\r\n\r\n").as_bytes()).await;
    }
}

/// How long a post takes that is answered: a slow link.
const ANSWERED_AFTER: Duration = Duration::from_millis(200);

/// One webhook, its outbox and its receiver, all on a clock that only this moves.
struct Trial {
    now: Moment,
    pace: Pace,
    logbook: Logbook,
    webhook: Webhook,
    shore: Arc<Shore>,
    /// Announcements to come, soonest last.
    to_come: Vec<(Moment, u32, Priority)>,
    /// When each alert was announced, and taken.
    told: BTreeMap<u32, Moment>,
    taken: BTreeMap<u32, Moment>,
    /// When each post began.
    posts: Vec<Moment>,
    runtime: Runtime,
    folder: PathBuf,
}

impl Drop for Trial {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.folder);
    }
}

fn stamp(steady: Moment) -> Stamp {
    Stamp { steady, utc: None, feed: None }
}

impl Trial {
    fn new(name: &str) -> Self {
        // A logbook whose folder another trial took away would set that trial's aside.
        static MADE: AtomicU32 = AtomicU32::new(0);
        let n = MADE.fetch_add(1, Ordering::Relaxed);
        let folder = std::env::temp_dir().join(format!("middlewatch-{name}-{}-{n}", std::process::id()));
        std::fs::create_dir_all(&folder).unwrap();
        let settings = LogbookSettings {
            boot: None,
            opened: stamp(Moment::ZERO),
            pace: LogbookPace::Live,
            limit_bytes: None,
        };
        let (logbook, _) = Logbook::open(folder.join("logbook.db"), settings).unwrap();
        let runtime =
            tokio::runtime::Builder::new_multi_thread().worker_threads(1).enable_all().build().unwrap();
        let shore = Arc::new(Shore::default());
        let listener = runtime.block_on(TcpListener::bind("127.0.0.1:0")).unwrap();
        let address = boat::address(&format!("http://{}/", listener.local_addr().unwrap())).unwrap();
        runtime.spawn(receive(listener, shore.clone()));
        Self {
            now: Moment::ZERO,
            pace: Pace::default(),
            logbook,
            webhook: Webhook { address, headers: Vec::new(), body: None, key: None },
            shore,
            to_come: Vec::new(),
            told: BTreeMap::new(),
            taken: BTreeMap::new(),
            posts: Vec::new(),
            runtime,
            folder,
        }
    }

    fn announce(&mut self, at_s: f64, alert: u32, priority: Priority) {
        self.to_come.push((Moment::from_s(at_s), alert, priority));
        self.to_come.sort_by_key(|e| std::cmp::Reverse(e.0));
    }

    /// Moves the clock, and announces what comes until then. Returns when the first alarm of these came.
    fn pass(&mut self, to: Moment) -> Option<Moment> {
        let mut alarm = None;
        while let Some((at, alert, priority)) = self.to_come.pop_if(|e| e.0 <= to) {
            let mut record: EventRecord = example::record();
            record.event = EventKind::Raised;
            (record.alert.id, record.alert.priority) = (AlertId(alert), priority);
            drop(self.logbook.event(stamp(at), &record, vec!["shore".to_owned()]));
            self.told.insert(alert, at);
            if is_urgent(priority) {
                alarm = alarm.or(Some(at));
            }
        }
        self.now = self.now.max(to);
        alarm
    }

    /// Lets the sender work until then, as [`Sender::run`] does. `bad` says how the receiver is at a second.
    fn run(&mut self, until_s: f64, bad: impl Fn(f64) -> Option<Bad>) {
        let until = Moment::from_s(until_s);
        while self.now < until {
            let now = stamp(self.now);
            let Some(due) = self.logbook.due("shore", &now, None, 1).pop() else {
                let next = [self.logbook.next_due("shore", &now, None), self.to_come.last().map(|e| e.0)];
                let next = next.into_iter().flatten().min().unwrap_or(until).max(self.now + FINE);
                self.pass(next.min(until));
                continue;
            };
            let (began, is) = (self.now, bad(self.now.as_s()));
            *self.shore.bad.lock().unwrap() = is;
            self.posts.push(began);
            // Nothing is waited for that comes: what never answers may time out soon.
            let (patience, took) = match is {
                Some(Bad::Hangs) => (Duration::from_millis(20), boat::LONGEST_POST),
                _ => (Duration::from_secs(60), ANSWERED_AFTER),
            };
            let posted = post(&self.webhook, &due.body, &due.key, Clock, patience);
            let outcome = self.runtime.block_on(posted);
            self.pass(began + took);
            if outcome.is_ok() {
                let record: serde_json::Value = serde_json::from_str(&due.body).unwrap();
                self.taken.insert(record["alert"]["id"].as_u64().unwrap() as u32, self.now);
            }
            let ended = self.now;
            let next = self.pace.settle(&self.logbook, "shore", &due, [began, ended], &outcome);
            let mut next = next.unwrap_or(ended);
            while self.now < next {
                let to = self.to_come.last().map_or(next, |e| e.0.min(next)).max(self.now + FINE);
                if let Some(alarm) = self.pass(to) {
                    next = pace::brought_forward(ended, next, alarm);
                }
            }
        }
    }

    /// How long the slowest of these alerts waited, in seconds.
    fn slowest(&self, alerts: impl IntoIterator<Item = u32>) -> f64 {
        let waited = |alert| {
            let taken = self.taken.get(&alert).unwrap_or_else(|| panic!("alert {alert} never came"));
            taken.seconds_from(self.told[&alert])
        };
        alerts.into_iter().map(waited).reduce(f64::max).unwrap()
    }
}

const FINE: Duration = Duration::from_millis(1);

#[test]
fn a_receiver_that_is_good_for_a_third_of_each_minute_gets_every_alarm_within_two_minutes() {
    let bad = [Bad::Closes, Bad::Hangs, Bad::Says("503 x\r\nretry-after: 120"), Bad::Says("404 x")];
    for bad in bad {
        let mut trial = Trial::new("flaps");
        // Notices have waited since long before the receiver was ever good, and more come all the time.
        (0..100).for_each(|n| trial.announce(0.5 + f64::from(n) / 100.0, 1000 + n, Priority::Notice));
        (0..200).for_each(|n| trial.announce(f64::from(n) * 6.0, 2000 + n, Priority::Notice));
        // Alarms come in every phase of the minute, alone and many together.
        (0..16).for_each(|n| trial.announce(620.0 + f64::from(n) * 37.0, 1 + n, Priority::Alarm));
        (0..30).for_each(|n| trial.announce(905.0 + f64::from(n) / 10.0, 100 + n, Priority::Alarm));
        let flaps = |s: f64| (s < 590.0 || (s - 600.0).rem_euclid(60.0) >= 20.0).then_some(bad);
        trial.run(1500.0, flaps);
        let slowest = trial.slowest((1..17).chain(100..130));
        assert!(slowest <= 120.0, "{bad:?}: an alarm waited for {slowest} s");
        let notices = trial.taken.range(1000..).count();
        assert!(notices > 250, "{bad:?}: {notices} notices came, in the good whiles that alarms left");
    }
}

#[test]
fn a_fresh_alarm_is_tried_at_once_however_long_the_receiver_has_been_away() {
    for bad in [Bad::Closes, Bad::Says("503 x"), Bad::Says("404 x")] {
        let mut trial = Trial::new("fresh");
        trial.announce(1.0, 1, Priority::Warning);
        // The receiver is back just before the alarm comes, in the middle of a long wait.
        trial.announce(3000.0, 2, Priority::Alarm);
        trial.run(3600.0, |s| (s < 2999.0).then_some(bad));
        let slowest = trial.slowest([2]);
        assert!(slowest < 3.0, "{bad:?}: the alarm waited for {slowest} s");
        let before = trial.posts.iter().filter(|at| **at < Moment::from_s(2999.0)).count();
        assert!(before < 60, "{before} posts to a receiver that was away, with no alarm waiting");
    }
}

#[test]
fn one_on_which_a_receiver_chokes_keeps_no_fresh_alarm_from_it() {
    let mut trial = Trial::new("chokes");
    *trial.shore.chokes_on.lock().unwrap() = Some(1);
    trial.announce(1.0, 1, Priority::EmergencyAlarm);
    (2..12).for_each(|n| trial.announce(1.0 + f64::from(n) * 60.0, n, Priority::Alarm));
    (20..30).for_each(|n| trial.announce(1.0 + f64::from(n), n, Priority::Warning));
    trial.run(900.0, |_| None);
    assert!(trial.slowest(2..12) < 15.0, "{} s", trial.slowest(2..12));
    assert!(trial.slowest(20..30) < 60.0, "{} s", trial.slowest(20..30));
}

#[test]
fn a_flood_of_alarms_tries_a_receiver_that_is_away_once_in_two_seconds() {
    let mut trial = Trial::new("storm");
    (0..600).for_each(|n| trial.announce(10.0 + f64::from(n) / 10.0, 1 + n, Priority::Alarm));
    trial.run(80.0, |_| Some(Bad::Closes));
    let gaps = trial.posts.windows(2).map(|p| p[1].seconds_from(p[0])).skip(1);
    assert!(gaps.fold(f64::MAX, f64::min) >= 2.0, "{:?}", trial.posts);
}
