//! Hours of rest for every kind of signal, on a simulated clock: they delay, but drop nothing.

use super::*;
use crate::logbook::{LogbookSettings, Pace};
use record::example;
use rules::{AlertId, AlertState as S, EventKind as E, Priority};
use std::net::UdpSocket;
use std::path::{Path, PathBuf};
use terms::{Moment, UtcSource};
use tokio::runtime::Runtime;

/// Long enough for a loaded machine; a passing test does not wait for it.
const PATIENCE: Duration = Duration::from_secs(60);
/// 2026-11-01T00:00:00Z (`date -u -d 2026-11-01 +%s` prints 1793491200).
const MIDNIGHT: i64 = 1_793_491_200_000;

/// A signal that rests from ten to six, and a night whose hours the test sets.
struct Night {
    signals: Signals,
    utc: Option<Utc>,
    seq: u32,
    _runtime: Runtime,
    folder: PathBuf,
}

impl Drop for Night {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.folder);
    }
}

impl Night {
    /// `signal` is its kind; `FILE` in it becomes its file.
    fn new(name: &str, signal: &str) -> (Self, PathBuf) {
        let folder = std::env::temp_dir().join(format!("middlewatch-{name}-{}", std::process::id()));
        let _ = std::fs::remove_dir_all(&folder);
        std::fs::create_dir_all(&folder).unwrap();
        let file = folder.join("out");
        let signal = signal.replace("FILE", &file.display().to_string());
        let text = format!(
            "version = 1\n[[signal]]\nname = \"cabin\"\n{signal}\nrest = \"22:00 to 06:00\"\nfrom = \"caution\"\n"
        );
        let boat = boat::read("boat.toml", &text).unwrap().0;
        let runtime =
            tokio::runtime::Builder::new_multi_thread().worker_threads(2).enable_all().build().unwrap();
        let opened = Stamp { steady: Moment(0), utc: None, feed: None };
        let settings = LogbookSettings { boot: None, opened, pace: Pace::Live, limit_bytes: None };
        let (logbook, _) = Logbook::open(folder.join("logbook.db"), settings).unwrap();
        let (news, _) = mpsc::channel(64);
        let signals =
            runtime.block_on(async { Signals::start(&boat, &WaysBack::new(), &logbook, Clock, &news) });
        let mut night = Self { signals, utc: None, seq: 0, _runtime: runtime, folder };
        night.is(1, 0);
        (night, file)
    }

    /// Sets ship's time, which is UTC. The signal has heard all earlier events first.
    fn is(&mut self, hour: i64, minute: i64) {
        self.settle();
        self.utc = Some(Utc(MIDNIGHT + (hour * 60 + minute) * 60_000));
        self.signals.beat(self.utc, terms::ShipTime::default());
    }

    fn settle(&self) {
        until("task that takes everything", || {
            let idle = |e: &End| matches!(&e.way, Way::Sounder(to) if to.capacity() == to.max_capacity());
            self.signals.ends.iter().all(idle).then_some(())
        });
        // The last one has been taken from the queue; allow time to handle it.
        std::thread::sleep(Duration::from_millis(50));
    }

    fn event(&mut self, id: u32, priority: Priority, event: E, state: S) {
        let at =
            Stamp { steady: Clock.now(), utc: self.utc.map(|utc| (utc, UtcSource::Satellite)), feed: None };
        self.seq = if event == E::Raised { 1 } else { self.seq + 1 };
        let mut record = example::record();
        (record.event, record.seq) = (event, self.seq);
        let alert = &mut record.alert;
        (alert.id, alert.order, alert.exercise) = (AlertId(id), "depth".to_owned(), false);
        (alert.priority, alert.state, alert.text) = (priority, Some(state), format!("alert {id}"));
        alert.spoken = alert.text.clone();
        self.signals.tell(at, record, &Carry { aloud: event.calls(), ..Carry::default() });
    }

    fn raise(&mut self, id: u32, priority: Priority) {
        self.event(id, priority, E::Raised, S::ActiveUnacknowledged);
    }

    fn acknowledge(&mut self, id: u32, priority: Priority) {
        self.event(id, priority, E::Acknowledged, S::ActiveAcknowledged);
    }

    fn clear(&mut self, id: u32, priority: Priority) {
        self.event(id, priority, E::Cleared, S::Normal);
    }
}

/// Waits for something to appear.
fn until<T>(what: &str, mut there: impl FnMut() -> Option<T>) -> T {
    let began = Clock.now();
    loop {
        if let Some(found) = there() {
            return found;
        }
        assert!(Clock.now().since(began) < PATIENCE, "no {what}");
        std::thread::sleep(Duration::from_millis(10));
    }
}

/// Changes of a recorded line: the time, and the level after it.
fn changes(path: &Path) -> Vec<(Moment, bool)> {
    let text = std::fs::read_to_string(path).unwrap_or_default();
    let change = |l: &str| Some((Moment(l.split_once(' ')?.0.parse().ok()?), l.ends_with('1')));
    text.lines().filter_map(change).collect()
}

/// Waits for the first new change to that level.
fn switched(path: &Path, looked_at: &mut usize, to: bool) -> Moment {
    until(if to { "light" } else { "darkness" }, || {
        let all = changes(path);
        let n = (*looked_at..all.len()).find(|n| all[*n].1 == to)?;
        *looked_at = n + 1;
        Some(all[n].0)
    })
}

#[test]
fn an_acknowledgement_in_hours_of_rest_does_not_light_the_cabin_lamp() {
    let (mut night, lamp) = Night::new("rest-lamp", "lamp = { recorded = \"FILE\" }");
    night.raise(1, Priority::Warning);
    night.is(1, 5);
    night.acknowledge(1, Priority::Warning);
    night.settle();
    let told = Clock.now();
    night.raise(2, Priority::Alarm);
    let mut looked_at = 0;
    let lit = switched(&lamp, &mut looked_at, true);
    assert!(lit >= told, "lit {} ms before the alarm", told.since(lit).as_millis());
    night.clear(2, Priority::Alarm);
    until("darkness", || (!changes(&lamp).last()?.1).then_some(()));
    looked_at = changes(&lamp).len();
    night.is(6, 0);
    switched(&lamp, &mut looked_at, true);
    night.clear(1, Priority::Warning);
    switched(&lamp, &mut looked_at, false);
}

#[test]
fn a_relay_closes_for_a_warning_when_rest_ends() {
    let (mut night, relay) = Night::new("rest-relay", "relay = { recorded = \"FILE\" }");
    let mut looked_at = 0;
    night.raise(1, Priority::Warning);
    night.raise(2, Priority::Alarm);
    switched(&relay, &mut looked_at, true);
    night.acknowledge(2, Priority::Alarm);
    switched(&relay, &mut looked_at, false);
    night.is(6, 0);
    switched(&relay, &mut looked_at, true);
    night.is(22, 0);
    switched(&relay, &mut looked_at, false);
}

#[test]
fn a_buzzer_starts_when_rest_ends_for_what_nobody_has_answered() {
    let (mut night, buzzer) = Night::new("rest-buzzer", "buzzer = { recorded = \"FILE\" }");
    night.raise(1, Priority::Warning);
    night.raise(2, Priority::Warning);
    night.raise(3, Priority::Warning);
    night.acknowledge(1, Priority::Warning);
    night.clear(2, Priority::Warning);
    let ended = Clock.now();
    night.is(6, 0);
    let sounds = until("two short", || Some(changes(&buzzer)).filter(|c| c.len() >= 4));
    assert!(sounds[0].0 >= ended);
    let tones: Vec<i64> = sounds.windows(2).map(|w| w[1].0.0 - w[0].0.0).collect();
    assert!(tones.iter().all(|t| (200..500).contains(t)), "{tones:?}");
}

#[test]
fn a_command_speaks_of_what_stands_unanswered_when_rest_ends() {
    let (mut night, file) = Night::new("rest-command", "command = [\"/bin/sh\", \"-c\", \"cat >>FILE\"]");
    let spoken = || std::fs::read_to_string(&file).unwrap_or_default();
    night.raise(1, Priority::Warning);
    night.raise(2, Priority::Warning);
    night.raise(3, Priority::Warning);
    night.raise(4, Priority::Warning);
    night.event(5, Priority::Caution, E::Raised, S::ActiveAcknowledged);
    night.acknowledge(2, Priority::Warning);
    night.clear(3, Priority::Warning);
    night.event(4, Priority::Alarm, E::Escalated, S::ActiveUnacknowledged);
    until("the alarm", || spoken().contains("alert 4").then_some(()));
    assert_eq!(spoken(), "alert 4\n");
    night.is(5, 59);
    night.raise(6, Priority::EmergencyAlarm);
    until("the emergency", || spoken().contains("alert 6").then_some(()));
    assert_eq!(spoken(), "alert 4\nalert 6\n");
    night.is(6, 0);
    until("the caution, which nobody has to answer", || spoken().contains("alert 5").then_some(()));
    assert_eq!(spoken(), "alert 4\nalert 6\nalert 1\nalert 5\n");
}

#[test]
fn a_plotter_is_given_what_stands_when_rest_ends() {
    let plotter = UdpSocket::bind("127.0.0.1:0").unwrap();
    plotter.set_read_timeout(Some(PATIENCE)).unwrap();
    let outlet = format!("nmea = \"udp:{}\"\nsentences = [\"ALF\"]", plotter.local_addr().unwrap());
    let (mut night, _) = Night::new("rest-nmea", &outlet);
    // Instance and state of the next ALF.
    let next = || {
        let mut buffer = [0; 200];
        loop {
            let n = plotter.recv(&mut buffer).unwrap();
            let text = String::from_utf8_lossy(&buffer[..n]).into_owned();
            let fields: Vec<&str> = text.split(',').collect();
            if fields[2] == "1" {
                return (fields[10].parse::<u32>().unwrap(), fields[7].to_owned());
            }
        }
    };
    night.raise(1, Priority::Warning);
    night.raise(2, Priority::Warning);
    night.raise(3, Priority::Warning);
    night.acknowledge(2, Priority::Warning);
    night.clear(3, Priority::Warning);
    night.raise(4, Priority::Alarm);
    assert_eq!(next(), (4, "V".to_owned()), "the alarm alone");
    night.is(6, 0);
    assert_eq!([next(), next()], [(1, "V".to_owned()), (2, "A".to_owned())], "as they are by then");
    night.is(22, 0);
    night.clear(1, Priority::Warning);
    assert_eq!(next(), (1, "N".to_owned()), "the end of what it was given does not rest");
}

#[test]
fn while_the_time_is_not_known_nothing_rests() {
    let (mut night, file) = Night::new("rest-unknown", "command = [\"/bin/sh\", \"-c\", \"cat >>FILE\"]");
    let spoken = || std::fs::read_to_string(&file).unwrap_or_default();
    night.raise(1, Priority::Warning);
    night.raise(2, Priority::Alarm);
    until("the alarm", || spoken().contains("alert 2").then_some(()));
    assert_eq!(spoken(), "alert 2\n");
    night.settle();
    night.utc = None;
    night.signals.beat(None, terms::ShipTime::default());
    until("what had waited", || spoken().contains("alert 1").then_some(()));
    night.raise(3, Priority::Warning);
    until("a new one", || spoken().contains("alert 3").then_some(()));
}

#[test]
fn a_test_of_the_signal_sounds_in_hours_of_rest() {
    let (night, buzzer) = Night::new("rest-test", "buzzer = { recorded = \"FILE\" }");
    assert_eq!(night.signals.test(None), ["cabin"]);
    until("its sound", || (changes(&buzzer).len() >= 6).then_some(()));
}

#[test]
fn the_answer_to_a_call_for_others_stays_with_those() {
    let (mut night, lamp) = Night::new("strange", "lamp = { recorded = \"FILE\" }\nreaches = \"skipper\"");
    night.is(12, 0);
    let carry = |to, aloud| Carry { to, aloud, ..Carry::default() };
    let event = |night: &mut Night, id, kind, state, carry: &Carry| {
        let mut record = example::record();
        (record.event, record.seq) = (kind, if kind == E::Raised { 1 } else { 2 });
        (record.alert.id, record.alert.priority, record.alert.state) =
            (AlertId(id), Priority::Warning, Some(state));
        record.alert.order = "depth".to_owned();
        let utc = night.utc.map(|utc| (utc, UtcSource::Satellite));
        night.signals.tell(Stamp { steady: Clock.now(), utc, feed: None }, record, carry);
    };
    use rules::Addressee::{Skipper, Watch};
    event(&mut night, 1, E::Raised, S::ActiveUnacknowledged, &carry(Watch(None), true));
    event(&mut night, 1, E::Acknowledged, S::ActiveAcknowledged, &carry(Skipper(None), false));
    night.settle();
    let told = Clock.now();
    event(&mut night, 2, E::Raised, S::ActiveUnacknowledged, &carry(Skipper(None), true));
    assert!(switched(&lamp, &mut 0, true) >= told, "the skipper was never called for the first");
}
