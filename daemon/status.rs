//! `status`: one screen that a watchkeeper reads in five seconds at night. Plain text without colours, 40 columns.

use record::{AlertNow, CallNow, CasualtyNow, OwnNow, RestNow, Status, TargetNow};
use rules::{AlertState, Stage};
use std::time::Duration;
use terms::span as in_words;
use terms::{ShipTime, UtcSource, one_line};

/// Columns used, however wide the screen is.
const WIDTH: usize = 40;
/// Number of targets shown.
const WORST: usize = 5;
/// Number of alerts shown; the rest are only counted.
const ALERTS: usize = 6;

/// Number of received calls shown, and letters of each.
const CALLS: usize = 3;
const LETTERS: usize = 100;
/// Number of people whose time off watch is shown.
const RESTS: usize = 6;

/// Printed once a screen.
const CAUTION: &str = "An aid only: keep a proper lookout.";

/// Lines under construction.
#[derive(Default)]
struct Screen(String);

impl Screen {
    /// Adds a text, wrapped between words; continuation lines are indented.
    fn line(&mut self, indent: usize, text: &str) {
        let mut column = 0;
        for word in one_line(text).split_whitespace() {
            let length = word.chars().count();
            if column == 0 {
                self.0 += &" ".repeat(indent);
                column = indent;
            } else if column + 1 + length > WIDTH {
                self.0 += &format!("\n{}", " ".repeat(indent + 2));
                column = indent + 2;
            } else {
                self.0.push(' ');
                column += 1;
            }
            self.0 += word;
            column += length;
        }
        self.0.push('\n');
    }
}

/// The screen for a picture.
pub fn screen(p: &Status) -> String {
    let mut s = Screen::default();
    let time = p.at.map_or("UTC not known".to_owned(), |t| {
        let doubt = if p.utc_from == Some(UtcSource::System) { " by the computer" } else { "" };
        format!("{} UTC{doubt}", &t.to_string()[11..19])
    });
    s.line(0, &format!("{}  {time}", p.vessel.as_deref().unwrap_or("")));
    casualties(&mut s, &p.casualties);
    alerts(&mut s, &p.alerts);
    calls(&mut s, &p.calls);
    targets(&mut s, &p.targets);
    if let Some(passage) = &p.passage {
        s.line(0, &passage.words());
    }
    own(&mut s, &p.own);
    for f in &p.feeds {
        let heard = f.silent_s.map_or("never heard".into(), |s| format!("heard {} ago", span(s)));
        s.line(0, &format!("Feed {}: {}, {heard}", f.name, f.state.as_deref().unwrap_or("-")));
    }
    for failing in p.signals.iter().filter(|f| f.failing) {
        s.line(0, &format!("FAILS: {}", failing.name));
    }
    if p.logbook.failing.is_some() {
        s.line(0, "FAILS: the logbook cannot be written");
    }
    if let Some(e) = &p.exercise {
        s.line(0, &format!("EXERCISE is on: {}", e.title));
    }
    let since = p.watch.since_s.map_or(String::new(), |s| format!(" for {}", span(s)));
    s.line(0, &format!("On watch: {}{since}", p.watch.who.as_deref().unwrap_or("not named")));
    let ship = ShipTime::from_hours(p.watch.ship_time_h).unwrap_or_default();
    let clock = p.at.map_or(String::new(), |utc| format!(" {}", &ship.of(utc).to_string()[11..16]));
    s.line(0, &format!("Ship's time{clock}, {ship}"));
    if !p.watch.rest.is_empty() {
        let off = |r: &RestNow| format!("{} {} of {}", r.who, span(r.off_day_s), span(r.of_day_s));
        let all: Vec<String> = p.watch.rest.iter().take(RESTS).map(off).collect();
        s.line(0, &format!("Off watch: {}", all.join(", ")));
    }
    if let Some(words) = &p.watch.alarm_words {
        s.line(0, &format!("Watch alarm: {words}"));
        if !matches!(p.watch.alarm, Some(Stage::Off | Stage::Suspended)) {
            s.line(2, "reset: middlewatch watch-alarm reset");
        }
    }
    let declared = if p.declared.is_empty() { "nothing".to_owned() } else { p.declared.join(", ") };
    s.line(0, &format!("Declared: {declared}"));
    s.line(0, CAUTION);
    s.0
}

fn casualties(s: &mut Screen, casualties: &[CasualtyNow]) {
    for c in casualties {
        s.line(0, &format!("** {} **", c.who.to_uppercase()));
        let estimated = if c.part.position == "estimated" { "estimated " } else { "" };
        s.line(2, &format!("{estimated}{}", c.look.as_deref().unwrap_or("position not known")));
        let bearing = c.part.bearing_deg.map_or(String::new(), |b| format!("bearing {} true, ", three(b)));
        let at_least = if c.part.elapsed_is == "at-least" { "at least " } else { "" };
        let ago = span(c.part.elapsed_s);
        s.line(2, &format!("{bearing}{at_least}{ago} ago, casualty {}", c.part.id.0));
    }
}

fn alerts(s: &mut Screen, alerts: &[AlertNow]) {
    if alerts.is_empty() {
        s.line(0, "No open alerts.");
    }
    for a in alerts.iter().take(ALERTS) {
        let mark = if a.unheeded() { "! " } else { "" };
        let exercise = if a.exercise { " EXERCISE" } else { "" };
        let priority = a.priority.to_string().to_uppercase();
        s.line(0, &format!("{mark}{priority}{exercise} {}: {}", a.id.0, state(a.state)));
        s.line(2, &a.text);
    }
    if alerts.len() > ALERTS {
        s.line(0, &format!("and {} more alerts", alerts.len() - ALERTS));
    }
}

/// What came by radio and is no longer among the alerts.
fn calls(s: &mut Screen, calls: &[CallNow]) {
    for c in calls.iter().filter(|c| !c.stands).take(CALLS) {
        let words: String = c.words.chars().take(LETTERS).collect();
        let more = if words.len() < c.words.len() { " …" } else { "" };
        s.line(0, &format!("Received {} ago: {words}{more}", span(c.ago_s)));
    }
}

fn state(state: Option<AlertState>) -> String {
    state.map_or("-".to_owned(), |state| state.to_string().replace('-', " "))
}

fn targets(s: &mut Screen, targets: &[TargetNow]) {
    for t in targets.iter().take(WORST) {
        let name = t.part.name.clone().unwrap_or_else(|| format!("MMSI {}", t.part.mmsi));
        s.line(0, &format!("{name}: {}", t.look.as_deref().unwrap_or("position not known")));
        let cpa = match (t.part.cpa_nm, t.part.tcpa_s) {
            (Some(cpa), Some(tcpa)) if tcpa >= 0.0 => format!("CPA {cpa:.2} nm in {}", span(tcpa)),
            (Some(_), Some(_)) => "CPA is past".to_owned(),
            _ => "CPA not known".to_owned(),
        };
        let age = t.part.age_s.map_or(String::new(), |a| format!(", heard {} ago", span(a)));
        s.line(2, &format!("{cpa}{age}"));
        for more in [&t.meeting, &t.described].into_iter().flatten() {
            s.line(2, more);
        }
    }
}

fn own(s: &mut Screen, own: &OwnNow) {
    let aged = |words: String, age: Option<f64>| match age {
        Some(age) => format!("{words}, {} old", span(age)),
        None => words,
    };
    let place = own.position.as_deref().unwrap_or("position not known");
    s.line(0, &aged(place.to_owned(), own.position_age_s));
    if let Some(r) = &own.reckoned {
        s.line(0, &format!("By dead reckoning {}, to {:.1} nm", r.position, r.error_nm));
        s.line(2, &format!("{:.1} nm by {} in {}", r.run_nm, r.by, span(r.age_s)));
    }
    s.line(0, &format!("SOG {}  COG {}", number(own.part.sog_kn, " kn"), degrees(own.part.cog_deg)));
    s.line(0, &aged(format!("Heading {}", degrees(own.part.heading_deg)), own.heading_age_s));
    if let Some(age) = own.transmitted_age_s {
        s.line(0, &format!("Own AIS last heard transmitting {} ago", span(age)));
    }
    s.line(0, &aged(format!("Depth {}", number(own.depth_m, " m")), own.depth_age_s));
}

fn number(n: Option<f64>, unit: &str) -> String {
    n.map_or("-".into(), |n| format!("{n:.1}{unit}"))
}

fn three(deg: f64) -> String {
    format!("{}°", terms::three_digits(deg))
}

fn degrees(deg: Option<f64>) -> String {
    deg.map_or("-".into(), three)
}

fn span(s: f64) -> String {
    in_words(Duration::try_from_secs_f64(s.max(0.0)).unwrap_or_default())
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    fn night() -> Status {
        let mut v = serde_json::to_value(Status::default()).unwrap();
        let some = json!({
            "vessel": "Wendelin", "at": "2026-11-01T02:14:07.000Z", "utc_from": "satellite",
            "casualties": [{"id": 1, "who": "Ada overboard", "look": "250 m, 40° on the port bow, closing",
                "position": "reported", "bearing_deg": 44.7, "elapsed_s": 185.0, "elapsed_is": "exact",
                "source": "ais", "words": ""}],
            "alerts": (0..9).map(|n| json!({"id": n, "priority": "alarm", "state": "active-unacknowledged",
                "text": "a close approach with a rather long name and more", "exercise": false, "order": "near", "origin": "order",
                "began_s": 1.0})).collect::<Vec<_>>(),
            "targets": (0..9).map(|n| json!({"mmsi": n, "name": null, "look": "1.2 nm, on the starboard beam",
                "cpa_nm": 0.21, "tcpa_s": 540.0, "age_s": 4.0})).collect::<Vec<_>>(),
            "feeds": [{"name": "ais", "state": "up", "silent_s": 1.0, "bytes": 0, "sentences": 0, "refused": 0,
                "refusals": {}, "dropped": 0}], "declared": ["under sail"],
            "signals": [{"name": "signal horn", "failing": true}],
            "watch": {"who": "Bo", "since_s": 3700.0, "ship_time_h": 2.0,
                "rest": [{"who": "Bo", "off_day_s": 36000.0, "of_day_s": 86400.0, "off_week_s": 0.0, "of_week_s": 0.0}],
                "alarm": "dormant", "alarm_asks_s": 420.0,
                "alarm_words": "on, asks in 7 min"},
        });
        let own = json!({"position": "50°48.000′N 001°06.000′W", "position_age_s": 2.0, "sog_kn": 5.0, "cog_deg": 90.0});
        for (into, from) in [("", &some), ("own", &own)] {
            for (key, value) in from.as_object().unwrap() {
                let place = if into.is_empty() { &mut v } else { &mut v[into] };
                place[key] = value.clone();
            }
        }
        serde_json::from_value(v).unwrap()
    }

    #[test]
    fn forty_columns_hold_it_and_the_casualty_comes_first() {
        let screen = screen(&night());
        assert!(screen.lines().all(|l| l.chars().count() <= WIDTH), "{screen}");
        let lines: Vec<&str> = screen.lines().collect();
        assert_eq!(lines[1], "** ADA OVERBOARD **");
        assert_eq!(lines[2], "  250 m, 40° on the port bow, closing");
        assert_eq!(lines[3], "  bearing 045° true, 3 min ago, casualty");
        let place = |what: &str| {
            lines.iter().position(|l| l.contains(what)).unwrap_or_else(|| panic!("{what}\n{screen}"))
        };
        let order = [
            "ADA",
            "! ALARM",
            "and 3 more",
            "MMSI 000000000",
            "CPA 0.21 nm in 9 min",
            "50°48",
            "Feed ais",
            "FAILS",
            "On watch: Bo",
            "Ship's time 04:14, UTC+2",
            "Off watch: Bo 10 h of 24 h",
            "Watch alarm: on, asks in 7 min",
            "  reset: middlewatch watch-alarm reset",
            "Declared",
            CAUTION,
        ];
        let places: Vec<usize> = order.iter().map(|w| place(w)).collect();
        assert!(places.is_sorted(), "{places:?}\n{screen}");
        assert_eq!(screen.matches("CPA 0.21").count(), WORST);
        assert_eq!(screen.matches(CAUTION).count(), 1);
        assert!(!screen.contains('\x1b'), "no colours");
    }

    #[test]
    fn what_is_not_known_is_said_so() {
        let screen = screen(&Status::default());
        for words in
            ["UTC not known", "No open alerts.", "position not known", "Heading -", "not named", "nothing"]
        {
            assert!(screen.contains(words), "{words}\n{screen}");
        }
    }

    #[test]
    fn nothing_from_outside_steers_the_terminal() {
        let mut v = night();
        v.targets[0].part.name = Some("\x1b[2J\x07".into());
        assert!(!screen(&v).contains('\x1b'));
    }
}
