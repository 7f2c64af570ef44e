//! `status`: one screen that a watchkeeper reads in five seconds at night. Plain text without colours, what is wrong first,
//! clipped to the window, and what is left out counted.

use crate::window::Window;
use record::words::plural;
use record::{AlertNow, CallNow, CasualtyNow, Item, RestNow, RowNow, Status, TargetNow};
use rules::Stage;
use std::time::Duration;
use terms::UtcSource;
use terms::span as in_words;

/// Number of targets shown.
const WORST: usize = 5;
/// Number of alerts shown; the rest are only counted.
const ALERTS: usize = 6;

/// Number of received calls shown, and letters of each.
const CALLS: usize = 3;
const LETTERS: usize = 100;
/// Number of people whose time off watch is shown.
const RESTS: usize = 6;
/// Below this the age of a value is not worth its place, seconds.
const WORTH_AN_AGE_S: f64 = 4.0;

/// Printed once a screen.
const CAUTION: &str = "An aid only: keep a proper lookout.";

/// What a piece of the screen shows; pieces left out are counted by it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Kind {
    Casualty,
    Alert,
    Ship,
    Other,
}

/// The screen under construction: pieces that are shown whole or not at all, the most important first.
struct Screen {
    window: Window,
    pieces: Vec<(Kind, Vec<String>)>,
}

impl Screen {
    /// Begins a piece with a line.
    fn piece(&mut self, kind: Kind, text: &str) {
        self.pieces.push((kind, self.window.wrap(0, text)));
    }

    /// Adds a line to the last piece.
    fn more(&mut self, text: &str) {
        if let Some((_, lines)) = self.pieces.last_mut() {
            lines.extend(self.window.wrap(2, text));
        }
    }

    /// The pieces that there is room for, and a line that counts the others.
    fn clipped(self, beside: usize, uncounted: [usize; 2]) -> Vec<String> {
        let [alerts, ships] = uncounted;
        let mut room = self.window.rows.map_or(usize::MAX, |rows| rows.saturating_sub(beside));
        let whole: usize = self.pieces.iter().map(|(_, lines)| lines.len()).sum();
        // The line that counts takes a place, too.
        room -= usize::from(room > 0 && (whole > room || alerts + ships > 0));
        let mut lines = Vec::new();
        let mut left_out = vec![(Kind::Alert, alerts), (Kind::Ship, ships)];
        let mut full = false;
        for (kind, piece) in self.pieces {
            full |= lines.len() + piece.len() > room;
            if full { left_out.push((kind, 1)) } else { lines.extend(piece) }
        }
        let count = |wanted: Kind, noun: &str| {
            let n: usize = left_out.iter().filter(|(kind, _)| *kind == wanted).map(|(_, n)| n).sum();
            (n > 0).then(|| plural(n, noun))
        };
        let counted: Vec<String> = [
            count(Kind::Casualty, "emergency piece"),
            count(Kind::Alert, "alert"),
            count(Kind::Ship, "ship"),
            count(Kind::Other, "other line"),
        ]
        .into_iter()
        .flatten()
        .collect();
        if !counted.is_empty() {
            lines.push(format!("Not shown: {}", counted.join(", ")));
        }
        lines
    }
}

/// The screen for a picture, in a window.
pub fn screen(p: &Status, window: Window) -> String {
    let time = p.at.map_or("UTC not known".to_owned(), |t| {
        let doubt = if p.utc_from == Some(UtcSource::System) { " by the computer" } else { "" };
        format!("{} UTC{doubt}", &t.to_string()[11..19])
    });
    let head = window.wrap(0, &format!("{}  {time}", p.vessel.as_deref().unwrap_or("")));
    let mut s = Screen { window, pieces: Vec::new() };
    if let Some(e) = &p.exercise {
        s.piece(Kind::Casualty, &format!("EXERCISE is on: {}", e.title));
    }
    let drilled = p.exercise.as_ref().and_then(|e| e.casualty.as_deref());
    let cases: Vec<&CasualtyNow> = p.casualties.iter().chain(drilled).collect();
    let about = |a: &AlertNow, c: &CasualtyNow| a.about == Item::Casualty(c.part.id);
    for c in &cases {
        casualty(&mut s, c, p.alerts.iter().find(|a| about(a, c)));
    }
    let others: Vec<&AlertNow> = p.alerts.iter().filter(|a| !cases.iter().any(|c| about(a, c))).collect();
    if p.alerts.is_empty() {
        s.piece(Kind::Alert, "No open alerts.");
    }
    let ship = |a: &AlertNow| p.targets.iter().find(|t| a.about == Item::Target(t.part.mmsi));
    for a in others.iter().take(ALERTS) {
        alert(&mut s, a, ship(a));
    }
    let asks = matches!(p.watch.alarm, Some(Stage::Visual | Stage::First | Stage::Second | Stage::Third));
    let is_alarm = |r: &&RowNow| r.name == "Watch alarm";
    let reset = "reset: middlewatch watch-alarm reset";
    if let Some(r) = p.rows.iter().find(is_alarm).filter(|_| asks) {
        row(&mut s, r);
        s.more(reset);
    }
    for failing in p.signals.iter().filter(|f| f.failing) {
        s.piece(Kind::Alert, &format!("FAILS: {}", failing.name));
    }
    if p.logbook.failing.is_some() {
        s.piece(Kind::Alert, "FAILS: the logbook cannot be written");
    }
    calls(&mut s, &p.calls);
    if let Some(passage) = &p.passage {
        s.piece(Kind::Other, &passage.words());
    }
    let named: Vec<_> = p.alerts.iter().filter_map(ship).map(|t| t.part.mmsi).collect();
    let ships: Vec<&TargetNow> = p.targets.iter().filter(|t| !named.contains(&t.part.mmsi)).collect();
    for t in ships.iter().take(WORST) {
        target(&mut s, t);
    }
    for r in p.rows.iter().filter(|r| !(asks && is_alarm(r))) {
        row(&mut s, r);
        if is_alarm(&r) && !matches!(p.watch.alarm, Some(Stage::Off | Stage::Suspended)) {
            s.more(reset);
        }
    }
    if !p.watch.rest.is_empty() {
        let off = |r: &RestNow| format!("{} {} of {}", r.who, span(r.off_day_s), span(r.of_day_s));
        let all: Vec<String> = p.watch.rest.iter().take(RESTS).map(off).collect();
        s.piece(Kind::Other, &format!("Off watch: {}", all.join(", ")));
    }
    for f in &p.feeds {
        let heard = f.silent_s.map_or("never heard".into(), |s| format!("heard {} ago", span(s)));
        s.piece(Kind::Other, &format!("Feed {}: {}, {heard}", f.name, f.state.as_deref().unwrap_or("-")));
    }
    let caution = window.wrap(0, CAUTION);
    // A last line stays empty, where the cursor is.
    let beside = head.len() + caution.len() + 1;
    let held = p.targets_held.max(p.targets.len());
    let uncounted =
        [others.len().saturating_sub(ALERTS), held.saturating_sub(named.len() + ships.len().min(WORST))];
    let all = [head, s.clipped(beside, uncounted), caution].concat();
    all.into_iter().map(|line| line + "\n").collect()
}

/// A casualty and the state of the alert about it.
fn casualty(s: &mut Screen, c: &CasualtyNow, alert: Option<&AlertNow>) {
    s.piece(Kind::Casualty, &format!("** {} **", c.who.to_uppercase()));
    let estimated = if c.part.position == "estimated" { "estimated " } else { "" };
    s.more(&format!("{estimated}{}", c.look.as_deref().unwrap_or("position not known")));
    let bearing = c.part.bearing_deg.map_or(String::new(), |b| format!("bearing {} true, ", three(b)));
    let at_least = if c.part.elapsed_is == "at-least" { "at least " } else { "" };
    let ago = span(c.part.elapsed_s);
    s.more(&format!("{bearing}{at_least}{ago} ago, casualty {}", c.part.id.0));
    if let Some(a) = alert {
        s.more(&format!("{}alert {}: {}", mark(a), a.id.0, a.state_words));
    }
}

fn mark(a: &AlertNow) -> &'static str {
    if a.unheeded() { "! " } else { "" }
}

/// An alert, and where the ship lies that it is about.
fn alert(s: &mut Screen, a: &AlertNow, ship: Option<&TargetNow>) {
    let exercise = if a.exercise { " EXERCISE" } else { "" };
    let priority = a.priority.to_string().to_uppercase();
    let state = format!("{}, {}", a.state_words, span(a.began_s));
    s.piece(Kind::Alert, &format!("{}{priority}{exercise} {}: {state}", mark(a), a.id.0));
    s.more(&a.text);
    let Some(ship) = ship else { return };
    let heard = ship.part.age_s.map(|age| format!("heard {} ago", span(age)));
    let parts: Vec<String> = [ship.side.clone(), ship.meeting.clone(), heard].into_iter().flatten().collect();
    if !parts.is_empty() {
        s.more(&parts.join("; "));
    }
}

/// What came by radio and is no longer among the alerts.
fn calls(s: &mut Screen, calls: &[CallNow]) {
    for c in calls.iter().filter(|c| !c.stands).take(CALLS) {
        let words: String = c.words.chars().take(LETTERS).collect();
        let more = if words.len() < c.words.len() { " …" } else { "" };
        s.piece(Kind::Other, &format!("Received {} ago: {words}{more}", span(c.ago_s)));
    }
}

fn target(s: &mut Screen, t: &TargetNow) {
    let name = t.part.name.clone().unwrap_or_else(|| format!("MMSI {}", t.part.mmsi));
    s.piece(Kind::Ship, &format!("{name}: {}", t.look.as_deref().unwrap_or("position not known")));
    let age = t.part.age_s.map_or(String::new(), |a| format!(", heard {} ago", span(a)));
    s.more(&format!("{}{age}", t.closest));
    for more in [&t.meeting, &t.described].into_iter().flatten() {
        s.more(more);
    }
}

/// A line of the picture in words, with its age.
fn row(s: &mut Screen, r: &RowNow) {
    let age = r.age_s.filter(|age| *age >= WORTH_AN_AGE_S);
    let age = age.map_or(String::new(), |age| format!(" ({} ago)", span(age)));
    s.piece(Kind::Other, &format!("{}: {}{age}", r.name, r.whole()));
}

fn three(deg: f64) -> String {
    format!("{}°", terms::three_digits(deg))
}

fn span(s: f64) -> String {
    in_words(Duration::try_from_secs_f64(s.max(0.0)).unwrap_or_default())
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    const PIPE: Window = Window { columns: 40, rows: None };

    fn night() -> Status {
        let mut v = serde_json::to_value(Status::default()).unwrap();
        let alert = |n: u32, about: &str, text: &str| {
            json!({"id": n, "priority": "alarm", "state": "active-unacknowledged", "state_words": "not acknowledged",
                "about": about, "text": text, "spoken": "", "exercise": false, "order": "near", "origin": "order",
                "began_s": 301.0})
        };
        let mut alerts: Vec<_> = (0..9)
            .map(|n| alert(n, "own vessel", "a close approach with a rather long name and more"))
            .collect();
        alerts.insert(0, alert(9, "casualty 1", "Ada overboard, range 250 metres"));
        alerts.insert(
            1,
            alert(10, "target 000000003", "MMSI 000000003: CPA 0.21 nm in 9 min, now 1.20 nm off"),
        );
        let some = json!({
            "vessel": "Wendelin", "at": "2026-11-01T02:14:07.000Z", "utc_from": "satellite",
            "casualties": [{"id": 1, "who": "Ada overboard", "look": "250 m, 40° on the port bow, closing",
                "position": "reported", "bearing_deg": 44.7, "elapsed_s": 185.0, "elapsed_is": "exact",
                "source": "ais", "whose": "ours", "words": "", "spoken": ""}],
            "alerts": alerts,
            "targets": (0..9).map(|n| json!({"mmsi": n, "name": null, "look": "1.2 nm, on the starboard beam",
                "cpa_nm": 0.21, "tcpa_s": 540.0, "closest": "CPA 0.21 nm in 9 min", "lost": false,
                "side": "on the starboard beam", "age_s": 4.0})).collect::<Vec<_>>(),
            "targets_held": 11,
            "feeds": [{"name": "ais", "state": "up", "silent_s": 1.0, "bytes": 0, "sentences": 0, "refused": 0,
                "refusals": {}, "dropped": 0}],
            "rows": [{"name": "Position", "words": "50°48.000′N 001°06.000′W", "age_s": 2.0},
                {"name": "Heading", "words": "085°", "age_s": 31.0},
                {"name": "On watch", "words": "Bo for {}", "last_s": 3700.0},
                {"name": "Watch alarm", "words": "on, asks in 7 min"}],
            "signals": [{"name": "signal horn", "failing": true}],
            "watch": {"who": "Bo", "since_s": 3700.0, "ship_time_h": 2.0,
                "rest": [{"who": "Bo", "off_day_s": 36000.0, "of_day_s": 86400.0, "off_week_s": 0.0, "of_week_s": 0.0}],
                "alarm": "dormant", "alarm_asks_s": 420.0,
                "alarm_words": "on, asks in 7 min"},
        });
        for (key, value) in some.as_object().unwrap() {
            v[key] = value.clone();
        }
        serde_json::from_value(v).unwrap()
    }

    #[test]
    fn forty_columns_hold_it_and_what_is_wrong_comes_first_each_fact_once() {
        let screen = screen(&night(), PIPE);
        assert!(screen.lines().all(|l| l.chars().count() <= 40), "{screen}");
        let lines: Vec<&str> = screen.lines().collect();
        assert_eq!(lines[1], "** ADA OVERBOARD **");
        assert_eq!(lines[2], "  250 m, 40° on the port bow, closing");
        assert_eq!(lines[3], "  bearing 045° true, 3 min ago, casualty");
        assert_eq!(lines[5], "  ! alert 9: not acknowledged");
        let place = |what: &str| {
            lines.iter().position(|l| l.contains(what)).unwrap_or_else(|| panic!("{what}\n{screen}"))
        };
        let order = [
            "ADA",
            "! ALARM 10: not acknowledged, 5 min",
            "on the starboard beam; heard 4 s ago",
            "! ALARM 0: not acknowledged, 5 min",
            "FAILS",
            "MMSI 000000000",
            "CPA 0.21 nm in 9 min, heard 4 s ago",
            "50°48",
            "Heading: 085° (31 s ago)",
            "On watch: Bo for 61 min",
            "Watch alarm: on, asks in 7 min",
            "  reset: middlewatch watch-alarm reset",
            "Off watch: Bo 10 h of 24 h",
            "Feed ais",
            "Not shown: 4 alerts, 5 ships",
            CAUTION,
        ];
        let places: Vec<usize> = order.iter().map(|w| place(w)).collect();
        assert!(places.is_sorted(), "{places:?}\n{screen}");
        assert_eq!(screen.matches("CPA 0.21").count(), 1 + WORST);
        assert!(!screen.contains("range 250 metres"), "the casualty stands above\n{screen}");
        assert_eq!(screen.matches(CAUTION).count(), 1);
        assert!(!screen.contains('\x1b'), "no colours");
    }

    #[test]
    fn a_window_is_never_overrun_and_what_is_left_out_is_counted() {
        let night = night();
        for (columns, rows) in [(40, 30), (80, 24), (40, 12), (20, 6), (40, 1)] {
            let screen = screen(&night, Window { columns, rows: Some(rows) });
            assert!(screen.lines().count() < rows.max(4), "{columns} by {rows}\n{screen}");
            if rows < 6 {
                continue;
            }
            assert!(screen.contains("Not shown: "), "{columns} by {rows}\n{screen}");
            assert!(screen.contains("WENDELIN") || screen.contains("Wendelin"));
            // Everything of a kind is shown or counted.
            let shown = screen.lines().filter(|l| l.starts_with("! ALARM")).count();
            let flat = screen.replace("\n  ", " ");
            let counted = flat.split("Not shown: ").nth(1).unwrap().split(" alert").next().unwrap();
            let counted: usize = counted.rsplit(' ').next().unwrap().parse().unwrap();
            // Ten beside the casualty's own; FAILS is counted with them.
            let fails = usize::from(!screen.contains("FAILS"));
            assert_eq!(shown + counted, 10 + fails, "{columns} by {rows}\n{screen}");
        }
    }

    #[test]
    fn what_is_not_known_is_said_so() {
        let screen = screen(&Status::default(), PIPE);
        for words in ["UTC not known", "No open alerts.", CAUTION] {
            assert!(screen.contains(words), "{words}\n{screen}");
        }
        assert!(!screen.contains("Not shown"), "{screen}");
    }

    #[test]
    fn nothing_from_outside_steers_the_terminal() {
        let mut v = night();
        v.targets[0].part.name = Some("\x1b[2J\x07".into());
        assert!(!screen(&v, PIPE).contains('\x1b'));
    }
}
