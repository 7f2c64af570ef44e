//! `status`: one screen that a watchkeeper reads in five seconds at night. Plain text without colours, 40 columns.

use serde_json::Value;

/// Columns that are used, whatever there are.
const WIDTH: usize = 40;
/// Targets that are shown.
const WORST: usize = 5;
/// Alerts that are shown; of more their number is.
const ALERTS: usize = 6;

/// Once a screen.
const CAUTION: &str = "An aid only: keep a proper lookout.";

/// Lines in the making.
#[derive(Default)]
struct Screen(String);

impl Screen {
    /// A text, cut between words; lines after its first are set in.
    fn line(&mut self, indent: usize, text: &str) {
        let mut column = 0;
        for word in record::words::one_line(text).split_whitespace() {
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

/// The screen for the daemon's answer.
pub fn screen(v: &Value) -> String {
    let mut s = Screen::default();
    let time = v["at"].as_str().and_then(|t| t.get(11..19)).map_or("UTC not known".to_owned(), |t| {
        let doubt = if v["utc_from"] == "system" { " by the computer" } else { "" };
        format!("{t} UTC{doubt}")
    });
    s.line(0, &format!("{}  {time}", v["vessel"].as_str().unwrap_or("")));
    casualties(&mut s, list(&v["casualties"]));
    alerts(&mut s, list(&v["alerts"]));
    targets(&mut s, list(&v["targets"]));
    own(&mut s, &v["own"]);
    for f in list(&v["feeds"]) {
        let heard = f["silent_s"].as_f64().map_or("never heard".into(), |s| format!("heard {} ago", span(s)));
        let state = text(&f["state"]);
        s.line(0, &format!("Feed {}: {state}, {heard}", text(&f["name"])));
    }
    for failing in list(&v["signals"]).iter().filter(|f| f["failing"] == true) {
        s.line(0, &format!("FAILS: {}", text(&failing["name"])));
    }
    if !v["logbook"]["failing"].is_null() {
        s.line(0, "FAILS: the logbook cannot be written");
    }
    if let Some(title) = v["exercise"]["title"].as_str() {
        s.line(0, &format!("EXERCISE is on: {title}"));
    }
    let since = v["watch"]["since_s"].as_f64().map_or(String::new(), |s| format!(" for {}", span(s)));
    s.line(0, &format!("On watch: {}{since}", v["watch"]["who"].as_str().unwrap_or("not told")));
    let declared: Vec<&str> = list(&v["declared"]).iter().map(text).collect();
    let declared = if declared.is_empty() { "nothing".to_owned() } else { declared.join(", ") };
    s.line(0, &format!("Declared: {declared}"));
    s.line(0, CAUTION);
    s.0
}

fn casualties(s: &mut Screen, casualties: &[Value]) {
    for c in casualties {
        s.line(0, &format!("** {} **", text(&c["who"]).to_uppercase()));
        let estimated = if c["position"] == "estimated" { "estimated " } else { "" };
        s.line(2, &format!("{estimated}{}", c["look"].as_str().unwrap_or("position not known")));
        let bearing =
            c["bearing_deg"].as_f64().map_or(String::new(), |b| format!("bearing {} true, ", three(b)));
        let at_least = if c["elapsed_is"] == "at-least" { "at least " } else { "" };
        let ago = c["elapsed_s"].as_f64().map_or("-".into(), span);
        s.line(2, &format!("{bearing}{at_least}{ago} ago, casualty {}", c["id"]));
    }
}

fn alerts(s: &mut Screen, alerts: &[Value]) {
    if alerts.is_empty() {
        s.line(0, "No open alerts.");
    }
    for a in alerts.iter().take(ALERTS) {
        let unheeded = !matches!(text(&a["state"]), "active-acknowledged" | "responsibility-transferred");
        let mark = if unheeded { "! " } else { "" };
        let exercise = if a["exercise"] == true { " EXERCISE" } else { "" };
        let state = text(&a["state"]).replace('-', " ");
        s.line(0, &format!("{mark}{}{exercise} {}: {state}", text(&a["priority"]).to_uppercase(), a["id"]));
        s.line(2, text(&a["text"]));
    }
    if alerts.len() > ALERTS {
        s.line(0, &format!("and {} more alerts", alerts.len() - ALERTS));
    }
}

fn targets(s: &mut Screen, targets: &[Value]) {
    for t in targets.iter().take(WORST) {
        let name = t["name"].as_str().map_or_else(|| format!("MMSI {:09}", number_of(t)), str::to_owned);
        s.line(0, &format!("{name}: {}", t["look"].as_str().unwrap_or("position not known")));
        let cpa = match (t["cpa_nm"].as_f64(), t["tcpa_s"].as_f64()) {
            (Some(cpa), Some(tcpa)) if tcpa >= 0.0 => format!("CPA {cpa:.2} nm in {}", span(tcpa)),
            (Some(_), Some(_)) => "CPA is past".to_owned(),
            _ => "CPA not known".to_owned(),
        };
        let age = t["age_s"].as_f64().map_or(String::new(), |a| format!(", heard {} ago", span(a)));
        s.line(2, &format!("{cpa}{age}"));
        if let Some(meeting) = t["meeting"].as_str() {
            s.line(2, meeting);
        }
        if let Some(described) = t["described"].as_str() {
            s.line(2, described);
        }
    }
}

fn own(s: &mut Screen, own: &Value) {
    let aged = |words: String, key: &str| {
        own[key].as_f64().map_or(words.clone(), |age| format!("{words}, {} old", span(age)))
    };
    let place = own["position"].as_str().unwrap_or("position not known");
    s.line(0, &aged(place.to_owned(), "position_age_s"));
    s.line(0, &format!("SOG {}  COG {}", number(&own["sog_kn"], " kn"), degrees(&own["cog_deg"])));
    s.line(0, &aged(format!("Heading {}", degrees(&own["heading_deg"])), "heading_age_s"));
    if let Some(age) = own["transmitted_age_s"].as_f64() {
        s.line(0, &format!("Own AIS last heard transmitting {} ago", span(age)));
    }
    s.line(0, &aged(format!("Depth {}", number(&own["depth_m"], " m")), "depth_age_s"));
}

fn number_of(target: &Value) -> u64 {
    target["mmsi"].as_u64().unwrap_or(0)
}

fn list(v: &Value) -> &[Value] {
    v.as_array().map_or(&[], Vec::as_slice)
}

fn text(v: &Value) -> &str {
    v.as_str().unwrap_or("-")
}

fn number(v: &Value, unit: &str) -> String {
    v.as_f64().map_or("-".into(), |n| format!("{n:.1}{unit}"))
}

fn three(deg: f64) -> String {
    format!("{}°", terms::three_digits(deg))
}

fn degrees(v: &Value) -> String {
    v.as_f64().map_or("-".into(), three)
}

fn span(s: f64) -> String {
    record::words::span(std::time::Duration::try_from_secs_f64(s.max(0.0)).unwrap_or_default())
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    fn night() -> Value {
        json!({
            "vessel": "Wendelin", "at": "2026-11-01T02:14:07.000Z", "utc_from": "satellite",
            "casualties": [{"id": 1, "who": "Ada overboard", "look": "250 m, 40° on the port bow, closing",
                "position": "reported", "bearing_deg": 44.7, "elapsed_s": 185.0, "elapsed_is": "exact"}],
            "alerts": (0..9).map(|n| json!({"id": n, "priority": "alarm", "state": "active-unacknowledged",
                "text": "a close approach with a rather long name and more", "exercise": false})).collect::<Vec<_>>(),
            "targets": (0..9).map(|n| json!({"mmsi": n, "name": null, "look": "1.2 nm, on the starboard beam",
                "cpa_nm": 0.21, "tcpa_s": 540.0, "age_s": 4.0})).collect::<Vec<_>>(),
            "own": {"position": "50°48.000′N 001°06.000′W", "position_age_s": 2.0, "sog_kn": 5.0, "cog_deg": 90.0,
                "heading_deg": null, "depth_m": null},
            "feeds": [{"name": "ais", "state": "up", "silent_s": 1.0}], "declared": ["under sail"],
            "signals": [{"name": "signal horn", "failing": true}], "watch": {"who": "Bo", "since_s": 3700.0},
            "logbook": {"failing": null},
        })
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
        let screen = screen(&json!({"own": {}}));
        for words in
            ["UTC not known", "No open alerts.", "position not known", "Heading -", "not told", "nothing"]
        {
            assert!(screen.contains(words), "{words}\n{screen}");
        }
    }

    #[test]
    fn nothing_from_outside_steers_the_terminal() {
        let mut v = night();
        v["targets"][0]["name"] = "\x1b[2J\x07".into();
        assert!(!screen(&v).contains('\x1b'));
    }
}
