//! Passages told apart: by what was declared, by long stops, and by command.

use crate::aboard::{Daemon, Folder, text, until, verb};
use crate::records::{at, settings};
use middlewatch::logbook::{Logbook, LogbookSettings, Pace};
use middlewatch::review::{self, Leg};
use record::{Entry, OwnRow};
use rules::Declared;
use terms::Position;

/// A vessel that sails and lies as it is told, a row each ten seconds.
struct Log {
    logbook: Logbook,
    s: i64,
    here: Position,
}

impl Log {
    fn begin(folder: &Folder) -> Self {
        let fast = LogbookSettings { pace: Pace::Replay, ..settings("a", 0) };
        let (logbook, _) = Logbook::open(folder.logbook(), fast).unwrap();
        Self { logbook, s: 0, here: Position::new(50.0, -6.5).unwrap() }
    }

    fn go(&mut self, hours: f64, sog_kn: f64) {
        let end = self.s + (hours * 3600.0) as i64;
        while self.s < end {
            self.here = self.here.at(225.0, sog_kn * 10.0 / 3600.0);
            self.s += 10;
            // At rest the receiver is uneasy: some ten metres to and fro.
            let unrest = if sog_kn == 0.0 { (self.s % 70) as f64 * 1e-4 } else { 0.0 };
            let position = Some(self.here.at((self.s % 360) as f64, unrest));
            self.logbook.own(at(self.s), OwnRow { position, ..OwnRow::default() });
        }
    }

    fn enter(&self, entry: Entry) {
        self.logbook.entry(at(self.s), entry);
    }

    fn declare(&self, what: &str) {
        self.enter(Entry::Declared { what: Declared::named(what).unwrap() });
    }

    fn end(self, folder: &Folder) -> Vec<Leg> {
        self.logbook.close(at(self.s)).blocking_recv().unwrap().unwrap();
        review::passages(folder.logbook()).unwrap()
    }
}

/// Hours from the beginning to a leg's ends, and its miles.
fn told(legs: &[Leg]) -> Vec<(f64, f64, f64)> {
    let hours = |w: &review::When| w.steady.as_s() / 3600.0;
    legs.iter().map(|l| (hours(&l.from.0), hours(&l.to.0), l.distance_nm)).collect()
}

fn assert_told(legs: &[Leg], truth: &[(f64, f64, f64)]) {
    let told = told(legs);
    assert_eq!(told.len(), truth.len(), "{told:?}");
    for (t, truth) in told.iter().zip(truth) {
        // A position a minute is looked at, and a departure is seen when she is a quarter of a mile off.
        assert!((t.0 - truth.0).abs() < 0.1 && (t.1 - truth.1).abs() < 0.1, "{t:?} {truth:?}");
        assert!((t.2 - truth.2).abs() < 0.02 * truth.2 + 0.1, "{t:?} {truth:?}");
    }
}

#[test]
fn passages_are_told_apart_by_what_was_declared() {
    let folder = Folder::new("declared");
    let mut log = Log::begin(&folder);
    log.declare("moored");
    log.go(3.0, 0.0);
    log.declare("under power");
    log.go(1.0, 5.0);
    log.declare("under sail");
    log.go(9.0, 6.0);
    // Hove to is under way.
    log.declare("hove to");
    log.go(5.0, 0.8);
    log.declare("under sail");
    log.go(2.0, 6.0);
    log.declare("at anchor");
    log.go(4.0, 0.0);
    // The waters are no matter of stopping.
    log.declare("coastal");
    log.go(1.0, 0.0);
    log.declare("under sail");
    log.go(2.0, 5.0);
    log.declare("moored");
    log.go(1.0, 0.0);
    let legs = log.end(&folder);
    assert_told(&legs, &[(3.0, 20.0, 5.0 + 54.0 + 4.0 + 12.0), (25.0, 27.0, 10.0)]);
    assert!(!legs[1].goes_on);

    // One of them is reviewed alone.
    let file = folder.logbook();
    let listed = verb(&["review", "--passages", "--logbook", file.to_str().unwrap()]);
    assert!(
        text(&listed.stdout).contains("  2  2 Nov 00:59 to 2 Nov 03:00 UTC, 2 h"),
        "{}",
        text(&listed.stdout)
    );
    for which in ["2", "last"] {
        let one = verb(&["review", "--passage", which, "--logbook", file.to_str().unwrap()]);
        let page = text(&one.stdout);
        assert!(page.starts_with("From 2 Nov 2026 00:59 to 2 Nov 2026 03:00 UTC"), "{page}");
        assert!(page.contains("10.0 nm over the ground"), "{page}");
    }
    let none = verb(&["review", "--passage", "3", "--logbook", file.to_str().unwrap()]);
    assert!(
        !none.status.success() && text(&none.stderr).contains("the logbook has 2 passages"),
        "{}",
        text(&none.stderr)
    );
    let json = verb(&["review", "--passages", "--json", "--logbook", file.to_str().unwrap()]);
    let first: serde_json::Value = serde_json::from_str(text(&json.stdout).lines().next().unwrap()).unwrap();
    assert_eq!((first["passage"].as_u64(), first["goes_on"].as_bool()), (Some(1), Some(false)));
}

#[test]
fn passages_are_told_apart_by_long_stops_where_nobody_declared_anything() {
    let folder = Folder::new("stops");
    let mut log = Log::begin(&folder);
    log.go(7.0, 0.0);
    log.go(10.0, 5.0);
    // Becalmed for some hours is no stop; a night in harbour is.
    log.go(4.0, 0.0);
    log.go(3.0, 5.0);
    log.go(9.0, 0.0);
    log.go(2.0, 5.0);
    let legs = log.end(&folder);
    assert_told(&legs, &[(7.0, 24.0, 65.0), (33.0, 35.0, 10.0)]);
    assert!(legs[1].goes_on && !legs[0].goes_on);
}

#[test]
fn a_declaration_that_was_forgotten_does_not_hide_a_passage() {
    let folder = Folder::new("forgotten");
    let mut log = Log::begin(&folder);
    log.declare("moored");
    log.go(2.0, 0.0);
    log.go(4.0, 5.0);
    // And under sail that nobody took back does not make a passage of a week in harbour.
    log.declare("under sail");
    log.go(100.0, 0.0);
    let legs = log.end(&folder);
    let told = told(&legs);
    assert_eq!(told.len(), 1, "{told:?}");
    // She was a mile off before it was seen.
    assert!((told[0].0 - 2.2).abs() < 0.05 && (told[0].1 - 6.0).abs() < 0.1, "{told:?}");
}

#[test]
fn a_passage_is_begun_and_ended_by_command() {
    let folder = Folder::new("command");
    let mut log = Log::begin(&folder);
    log.go(5.0, 5.0);
    log.enter(Entry::PassageBegan { name: Some("to Horta".to_owned()) });
    log.go(3.0, 6.0);
    log.enter(Entry::PassageEnded);
    log.go(1.0, 0.0);
    log.enter(Entry::PassageBegan { name: None });
    log.go(1.0, 4.0);
    let legs = log.end(&folder);
    assert_told(&legs, &[(0.0, 5.0, 25.0), (5.0, 8.0, 18.0), (9.0, 10.0, 4.0)]);
    assert_eq!(legs[1].name.as_deref(), Some("to Horta"));
    assert!(review::passages(folder.0.join("none")).is_err());
}

#[test]
fn the_verb_passage_writes_into_the_logbook() {
    let daemon = Daemon::start("passage", "");
    assert!(daemon.tell(&["passage", "to", "the", "islands"]).status.success());
    assert!(daemon.tell(&["passage", "--end"]).status.success());
    let too_long = "x".repeat(101);
    assert!(!daemon.tell(&["passage", &too_long]).status.success());
    let words = until("the entries", || {
        let c = rusqlite::Connection::open(daemon.logbook()).unwrap();
        let mut s = c.prepare("SELECT text FROM entries WHERE kind = 'passage'").unwrap();
        let words: Vec<String> = s.query_map([], |r| r.get(0)).unwrap().map(Result::unwrap).collect();
        (words.len() == 2).then_some(words)
    });
    assert_eq!(words, ["begins: to the islands", "ends"]);
}
