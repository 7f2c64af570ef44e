//! The night in a few sentences: half a page of plain text, and the head of the page in HTML.

use super::night::{Alert, Approach, Casualty, Night};
use super::when::{When, hours, spoken};
use super::{CAUTION, weather};
use rules::Priority;
use std::fmt::Write;
use terms::METRES_PER_NM;

/// Lines of a kind that are printed; the rest is counted.
const LINES: usize = 5;
/// An approach beyond this is not worth a line, unless an alert called it.
const APPROACH_NM: f64 = 2.0;
/// Alerts by which the lookout itself was in trouble.
pub(super) const FAILURES: [&str; 9] = [
    "fix lost",
    "position doubtful",
    "feed silent",
    "AIS silent",
    "own transmitter not heard",
    "logbook failing",
    "signal failing",
    "orders not loaded",
    "clock not known",
];

/// One of the five answers.
pub(super) struct Section {
    pub title: &'static str,
    pub lines: Vec<String>,
}

impl Night {
    /// Alerts that are no notices, no exercise and no failure of the lookout itself.
    pub fn dangers(&self) -> impl Iterator<Item = &Alert> {
        self.alerts.iter().filter(|a| a.priority > Priority::Notice && !a.exercise && !a.is_failure())
    }

    /// Alerts by which the lookout told that it, or what it depends on, failed.
    pub fn failures(&self) -> impl Iterator<Item = &Alert> {
        self.alerts.iter().filter(|a| a.is_failure() && !a.exercise)
    }

    /// What was in danger, whether the watch was kept, what the boat did, the weather, what failed: in this order.
    pub(super) fn sections(&self) -> [Section; 5] {
        let section = |title, tell: fn(&Self, &mut Vec<String>)| {
            let mut lines = Vec::new();
            tell(self, &mut lines);
            Section { title, lines }
        };
        [
            section("Danger", Self::tell_danger),
            section("Watch", Self::tell_watch),
            section("Boat", Self::tell_boat),
            section("Weather", Self::tell_weather),
            section("Failures", Self::tell_failures),
        ]
    }

    /// From when to when, in words.
    pub(super) fn span_text(&self) -> String {
        let long = self.to.seconds_from(&self.from).map_or(String::new(), |s| format!(", {}", hours(s)));
        format!("{} to {} UTC{long}", dated(&self.from), dated(&self.to))
    }

    /// Half a page of text: danger, watch, boat, weather, failures. Times are UTC.
    pub fn print(&self) -> String {
        let mut page = format!("From {}\n", self.span_text());
        for section in self.sections() {
            // Writing to a string does not fail; so below.
            let _ = write!(page, "\n{}\n", section.title);
            for text in &section.lines {
                let text = wrap(text, 96).replace('\n', "\n    ");
                let _ = writeln!(page, "  {text}");
            }
        }
        for (n, text) in self.practice_lines().iter().enumerate() {
            let head = if n == 0 { "\nPractice\n" } else { "" };
            let _ = writeln!(page, "{head}  {}", wrap(text, 96).replace('\n', "\n    "));
        }
        let _ = writeln!(page, "\n{}", wrap(CAUTION, 100));
        page
    }

    fn tell_danger(&self, page: &mut Vec<String>) {
        let dated = self.is_dated();
        let real: Vec<&Casualty> = self.casualties.iter().filter(|c| !c.exercise).collect();
        if real.is_empty() {
            page.push("nobody overboard, no beacon heard".to_owned());
        }
        real.iter().for_each(|c| page.push(casualty_line(c, dated)));
        let called: Vec<&Alert> =
            self.dangers().filter(|a| a.casualty.is_none() && a.priority >= Priority::Warning).collect();
        for priority in [Priority::EmergencyAlarm, Priority::Alarm, Priority::Warning] {
            let of: Vec<&&Alert> = called.iter().filter(|a| a.priority == priority).collect();
            if !of.is_empty() {
                page.push(format!("{}: {}", plural(of.len(), &priority.to_string()), list(&of, dated)));
            }
        }
        if called.is_empty() && real.is_empty() {
            page.push("no alarm and no warning".to_owned());
        }
        let close = |a: &&Approach| a.range_nm <= APPROACH_NM || a.alert.is_some();
        let closest: Vec<&Approach> = self.approaches.iter().filter(close).collect();
        closest.iter().take(LINES).for_each(|a| page.push(approach_line(a, dated)));
        match (closest.len(), self.approaches.first()) {
            (0, Some(a)) => {
                page.push(format!("no ship within {APPROACH_NM:.0} nm; {}", approach_line(a, dated)))
            }
            // Of a watch that still stands a ship may be called for before the minute is over that writes her down.
            (0, None) if called.iter().all(|a| a.mmsi.is_none()) => page.push("no ship heard".to_owned()),
            (n, _) if n > LINES => page.push(format!("and {} more within {APPROACH_NM:.0} nm", n - LINES)),
            _ => {}
        }
    }

    fn tell_watch(&self, page: &mut Vec<String>) {
        let dated = self.is_dated();
        let asked: Vec<&Alert> = self
            .alerts
            .iter()
            .filter(|a| a.needs_acknowledgement() && a.raised.is_some() && !a.exercise)
            .collect();
        let mut times: Vec<(f64, &Alert)> =
            asked.iter().filter_map(|a| Some((a.acknowledged_after_s()?, *a))).collect();
        times.sort_by(|a, b| a.0.total_cmp(&b.0));
        let never: Vec<&&Alert> = asked.iter().filter(|a| a.acknowledged.is_none()).collect();
        if let (Some(median), Some((most, slowest))) = (times.get(times.len() / 2), times.last()) {
            let (median, most) = (spoken(median.0), spoken(*most));
            let when = slowest.raised.map_or(String::new(), |t| format!(" at {}", t.told(dated)));
            let text = format!(
                "{} acknowledged, half of them within {median}, the slowest after {most} ({}{when})",
                plural(times.len(), "alert"),
                slowest.order
            );
            page.push(text);
        } else if asked.is_empty() {
            page.push("nothing had to be acknowledged".to_owned());
        }
        if !never.is_empty() {
            page.push(format!(
                "{} never acknowledged: {}",
                plural(never.len(), "alert"),
                list(&never, dated)
            ));
        }
        page.extend(self.watch_lines(LINES));
        let blind = self.blindness();
        if !blind.is_empty() {
            let told: Vec<String> = blind
                .iter()
                .map(|b| format!("{} {}", record::words::one_line(&b.sense), spoken(b.total_s)))
                .collect();
            page.push(format!("blind: {}", told.join(", ")));
        }
    }

    fn tell_boat(&self, page: &mut Vec<String>) {
        let dated = self.is_dated();
        let p = &self.passage;
        let (Some((_, from)), Some((_, to))) = (p.from, p.to) else {
            page.push("no position".to_owned());
            return;
        };
        page.push(format!("{from} to {to}"));
        let mean = p.mean_sog_kn().map_or(String::new(), |m| format!(", mean {m:.1} kn"));
        let most = p
            .greatest_sog
            .map_or(String::new(), |(at, s)| format!(", at most {s:.1} kn at {}", at.told(dated)));
        let water = p.water_nm.map_or(String::new(), |nm| format!(", {nm:.1} nm through the water"));
        page.push(format!(
            "{:.1} nm over the ground{water} in {}{mean}{most}",
            p.distance_nm,
            hours(p.under_way_s)
        ));
        if let (Some((_, from)), Some((_, to))) = (p.from, p.to) {
            let (nm, deg) = from.range_and_bearing(to);
            if nm >= 0.1 {
                page.push(format!("made good {nm:.1} nm in {}", bearing(deg)));
            }
        }
    }

    fn tell_weather(&self, page: &mut Vec<String>) {
        let dated = self.is_dated();
        let mut any = false;
        if let Some((w, from)) = weather::wind(self) {
            let from = from.map_or(String::new(), |deg| format!(" from {}", bearing(deg)));
            let (at, most) = w.greatest;
            page.push(format!(
                "{} {:.0} kn{from} in the mean, at most {most:.0} kn at {}",
                w.quantity,
                w.mean,
                at.told(dated)
            ));
            any = true;
        }
        if let Some((p, fall, rise)) = weather::pressure(self) {
            let (change, verb) = if fall >= rise { (fall, "falling") } else { (rise, "rising") };
            let text = format!(
                "pressure {:.0} to {:.0} hPa, least {:.0} at {}; at its fastest {} ({change:.1} hPa in 3 h)",
                p.first,
                p.last,
                p.least.1,
                p.least.0.told(dated),
                weather::tendency(change, verb)
            );
            page.push(text);
            any = true;
        }
        if let Some(d) = weather::depth(self) {
            page.push(format!(
                "{} least {:.1} m at {}, greatest {:.1} m",
                d.quantity,
                d.least.1,
                d.least.0.told(dated),
                d.greatest.1
            ));
            any = true;
        }
        if !any {
            page.push("not measured".to_owned());
        }
    }

    fn tell_failures(&self, page: &mut Vec<String>) {
        let dated = self.is_dated();
        let failures: Vec<&Alert> = self.failures().collect();
        failures.iter().take(LINES).for_each(|a| page.push(failure_line(a, dated)));
        if failures.len() > LINES {
            page.push(format!("and {} more", failures.len() - LINES));
        }
        for b in self.blind.iter().take(LINES) {
            let long = b.to.seconds_from(&b.from).map_or("an unknown time".to_owned(), spoken);
            page.push(format!("{} no lookout for {long}: {}", b.from.told(dated), b.why));
        }
        if self.blind.len() > LINES {
            page.push(format!("and {} more such gaps", self.blind.len() - LINES));
        }
        if self.undelivered > 0 {
            page.push(format!("{} not delivered yet", plural(self.undelivered as usize, "message")));
        }
        if self.unreadable > 0 {
            page.push(format!(
                "{} of the logbook could not be read: the file is damaged",
                plural(self.unreadable, "row")
            ));
        }
        if failures.is_empty() && self.blind.is_empty() && self.undelivered == 0 && self.unreadable == 0 {
            page.push("none known".to_owned());
        }
    }
}

impl Alert {
    /// Whether it tells of a failure of the lookout itself.
    pub fn is_failure(&self) -> bool {
        FAILURES.contains(&self.order.as_str())
    }
}

/// Breaks at blanks.
fn wrap(text: &str, width: usize) -> String {
    let (mut out, mut column) = (String::new(), 0);
    for word in text.split(' ') {
        let long = word.chars().count();
        if column > 0 && column + 1 + long > width {
            out.push('\n');
            column = 0;
        } else if column > 0 {
            out.push(' ');
            column += 1;
        }
        out.push_str(word);
        column += long;
    }
    out
}

/// What stands for a value that is not known.
pub(super) const DASH: &str = "–";

/// A number, or a dash where it is not known.
pub(super) fn number(v: Option<f64>, decimals: usize) -> String {
    v.map_or_else(|| DASH.to_owned(), |v| format!("{v:.decimals$}"))
}

/// A direction in three digits; 359.9° is north.
pub(super) fn bearing(deg: f64) -> String {
    format!("{:03}°", (deg.round() as i64).rem_euclid(360))
}

/// A range: in metres where miles would say nothing.
pub(super) fn range(nm: f64) -> String {
    if nm < 0.1 { format!("{:.0} m", nm * METRES_PER_NM) } else { format!("{nm:.2} nm") }
}

pub(super) fn plural(n: usize, word: &str) -> String {
    if n == 1 { format!("1 {word}") } else { format!("{n} {word}s") }
}

fn dated(at: &When) -> String {
    at.utc.and_then(terms::Utc::civil).map_or_else(|| at.hm(), |t| t.format("%-d %b %Y %H:%M").to_string())
}

/// Alerts by order and time, the first few.
fn list(alerts: &[&&Alert], dated: bool) -> String {
    let name = |a: &Alert| match &a.name {
        Some(name) => format!("{} {name}", a.order),
        None => a.order.clone(),
    };
    let told = alerts
        .iter()
        .take(LINES)
        .map(|a| format!("{} {}", a.raised.map_or("earlier".to_owned(), |t| t.told(dated)), name(a)));
    let mut text = told.collect::<Vec<_>>().join(", ");
    if alerts.len() > LINES {
        let _ = write!(text, " and {} more", alerts.len() - LINES);
    }
    text
}

fn casualty_line(c: &Casualty, dated: bool) -> String {
    let raised = c.raised.map_or("before the span".to_owned(), |t| t.told_s(dated));
    let mut text = format!(
        "{raised} {}overboard: {} (by {})",
        if c.exercise { "exercise, " } else { "" },
        c.who,
        c.source
    );
    if let Some((at, position, how)) = &c.first_position {
        let _ = write!(text, "; first position {} {position} ({how})", at.told_s(dated));
    }
    if let Some((at, nm)) = c.nearest {
        let _ = write!(text, "; nearest again {} at {}", range(nm), at.told_s(dated));
    }
    match &c.stood_down {
        Some((at, why)) => {
            let _ = write!(text, "; stood down {}: {why}", at.told_s(dated));
        }
        None => text.push_str("; NOT STOOD DOWN"),
    }
    text
}

pub(super) fn who(name: Option<&str>, mmsi: terms::Mmsi) -> String {
    name.map_or_else(|| format!("MMSI {mmsi}"), str::to_owned)
}

fn approach_line(a: &Approach, dated: bool) -> String {
    let bearing = a.bearing_deg.map_or(String::new(), |b| format!(" in {}", bearing(b)));
    let foretold = a.foretold_cpa_nm.map_or(String::new(), |c| format!(", CPA foretold {c:.2} nm"));
    let alert = a.alert.map_or(String::new(), |id| format!(", alert {id}"));
    format!(
        "{} {} passed at {:.2} nm{bearing}{foretold}{alert}",
        a.at.told(dated),
        who(a.name.as_deref(), a.mmsi),
        a.range_nm
    )
}

fn failure_line(a: &Alert, dated: bool) -> String {
    let from = a.raised.map_or("earlier".to_owned(), |t| t.told(dated));
    let long = match (a.raised, a.rectified) {
        (Some(from), Some(to)) => {
            to.seconds_from(&from).map_or(String::new(), |s| format!(" for {}", spoken(s)))
        }
        (_, Some(to)) => format!(" until {}", to.told(dated)),
        (_, None) => ", still so at the end".to_owned(),
    };
    format!("{from} {}{long}: {}", a.order, a.text())
}
