//! The night on half a page: plain text, and the head of the page in HTML.

use super::night::{Alert, Approach, Casualty, Night};
use super::when::{When, hours, spoken};
use super::{CAUTION, weather};
use lookout::casualty::Whose;
use record::CallKind;
use record::words::plural;
use rules::{BuiltIn, Priority};
use std::fmt::Write;
use terms::{METRES_PER_NM, one_line, tendency, three_digits};

/// Lines of a kind that are printed; the rest is counted.
const LINES: usize = 5;
/// A more distant approach is not worth a line, unless it raised an alert.
const APPROACH_NM: f64 = 2.0;
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

    /// Alerts about a failure of the lookout or of what it depends on.
    pub fn failures(&self) -> impl Iterator<Item = &Alert> {
        self.alerts.iter().filter(|a| a.is_failure() && !a.exercise)
    }

    /// What was in danger, whether the watch was kept, what the boat did, the weather, what failed: in this order.
    pub(super) fn sections(&self) -> [Section; 5] {
        [
            Section { title: "Danger", lines: self.danger_lines() },
            Section { title: "Watch", lines: self.crew_lines() },
            Section { title: "Boat", lines: self.boat_lines() },
            Section { title: "Weather", lines: self.weather_lines() },
            Section { title: "Failures", lines: self.failure_lines() },
        ]
    }

    /// The span in words: from, to, and how long.
    pub(super) fn span_text(&self) -> String {
        let long = self.to.seconds_from(&self.from).map(|s| format!(", {}", hours(s))).unwrap_or_default();
        // Times since the start are no UTC.
        let utc = if self.from.utc.is_some() && self.to.utc.is_some() { " UTC" } else { "" };
        format!("{} to {}{utc}{long}", full_date(&self.from), full_date(&self.to))
    }

    /// Half a page of text: danger, watch, boat, weather, failures. Times are UTC.
    pub fn print(&self) -> String {
        let mut page = format!("From {}\n", self.span_text());
        for lesson in self.lessons() {
            let _ = writeln!(page, "{}", wrap(&lesson, 100).replace('\n', "\n  "));
        }
        let received = Section { title: "Received", lines: self.received_lines() };
        let practice = Section { title: "Practice", lines: self.practice_lines() };
        let more = [received, practice].into_iter().filter(|s| !s.lines.is_empty());
        for section in self.sections().into_iter().chain(more) {
            // Writing to a string cannot fail; so below.
            let _ = write!(page, "\n{}\n", section.title);
            for text in &section.lines {
                let _ = writeln!(page, "  {}", wrap(text, 96).replace('\n', "\n    "));
            }
        }
        let _ = writeln!(page, "\n{}", wrap(CAUTION, 100));
        page
    }

    fn danger_lines(&self) -> Vec<String> {
        let dated = self.is_dated();
        let mut lines: Vec<String> =
            self.casualties.iter().filter(|c| !c.exercise).map(|c| casualty_line(c, dated)).collect();
        let nobody = lines.is_empty();
        if nobody {
            lines.push("nobody overboard, no beacon heard".to_owned());
        }
        let called: Vec<&Alert> =
            self.dangers().filter(|a| a.casualty.is_none() && a.priority >= Priority::Warning).collect();
        for priority in [Priority::EmergencyAlarm, Priority::Alarm, Priority::Warning] {
            let of: Vec<&Alert> = called.iter().filter(|a| a.priority == priority).copied().collect();
            if !of.is_empty() {
                lines.push(format!("{}: {}", plural(of.len(), &priority.to_string()), list(&of, dated)));
            }
        }
        if called.is_empty() && nobody {
            lines.push("no alarms, no warnings".to_owned());
        }
        let close = |a: &&Approach| a.range_nm <= APPROACH_NM || a.alert.is_some();
        let closest: Vec<&Approach> = self.approaches.iter().filter(close).collect();
        lines.extend(closest.iter().take(LINES).map(|a| approach_line(a, dated)));
        match (closest.len(), self.approaches.first()) {
            (0, Some(a)) => {
                lines.push(format!("no ship within {APPROACH_NM:.0} nm; {}", approach_line(a, dated)))
            }
            // While the watch still stands, an alert may be raised about a ship within the minute before she is logged.
            (0, None) if called.iter().all(|a| a.mmsi.is_none()) => lines.push("no ship heard".to_owned()),
            (n, _) if n > LINES => lines.push(format!("and {} more within {APPROACH_NM:.0} nm", n - LINES)),
            _ => {}
        }
        lines
    }

    fn crew_lines(&self) -> Vec<String> {
        let (dated, mut lines) = (self.is_dated(), Vec::new());
        let asked: Vec<&Alert> = self
            .alerts
            .iter()
            .filter(|a| a.needs_acknowledgement() && a.raised.is_some() && !a.exercise)
            .collect();
        let mut times: Vec<(f64, &Alert)> =
            asked.iter().filter_map(|a| Some((a.acknowledged_after_s()?, *a))).collect();
        times.sort_by(|a, b| a.0.total_cmp(&b.0));
        let never: Vec<&Alert> = asked.iter().filter(|a| a.acknowledged.is_none()).copied().collect();
        if let (Some((median, _)), Some((most, slowest))) = (times.get(times.len() / 2), times.last()) {
            let when = slowest.raised.map(|t| format!(" at {}", t.label(dated))).unwrap_or_default();
            lines.push(format!(
                "{} acknowledged, half of them within {}, the slowest after {} ({}{when})",
                plural(times.len(), "alert"),
                spoken(*median),
                spoken(*most),
                slowest.order
            ));
        } else if asked.is_empty() {
            lines.push("nothing needed acknowledgement".to_owned());
        }
        if !never.is_empty() {
            lines.push(format!(
                "{} never acknowledged: {}",
                plural(never.len(), "alert"),
                list(&never, dated)
            ));
        }
        lines.extend(self.watch_lines(LINES));
        lines.extend(self.rest_line(LINES));
        let blind: Vec<String> = self
            .blindness()
            .iter()
            .map(|b| format!("{} {}", one_line(&b.sense), spoken(b.total_s)))
            .collect();
        if !blind.is_empty() {
            lines.push(format!("blind: {}", blind.join(", ")));
        }
        lines
    }

    fn boat_lines(&self) -> Vec<String> {
        let p = &self.passage;
        let (Some((_, from)), Some((_, to))) = (p.from, p.to) else { return vec!["no position".to_owned()] };
        let mean = p.mean_sog_kn().map(|m| format!(", mean {m:.1} kn")).unwrap_or_default();
        let most = p.greatest_sog.map(|(at, s)| (at.label(self.is_dated()), s));
        let most = most.map(|(at, s)| format!(", at most {s:.1} kn at {at}")).unwrap_or_default();
        let water = p.water_nm.map(|nm| format!(", {nm:.1} nm through the water")).unwrap_or_default();
        let mut lines = vec![
            format!("{from} to {to}"),
            format!("{:.1} nm over the ground{water} in {}{mean}{most}", p.distance_nm, hours(p.under_way_s)),
        ];
        let (nm, deg) = from.range_and_bearing(to);
        if nm >= 0.1 {
            lines.push(format!("made good {nm:.1} nm in {}", bearing(deg)));
        }
        lines
    }

    fn weather_lines(&self) -> Vec<String> {
        let (dated, mut lines) = (self.is_dated(), Vec::new());
        if let Some((w, from)) = weather::wind(self) {
            let from = from.map(|deg| format!(" from {}", bearing(deg))).unwrap_or_default();
            let (at, most) = w.greatest;
            lines.push(format!(
                "{}: mean {:.0} kn{from}, at most {most:.0} kn at {}",
                w.quantity,
                w.mean,
                at.label(dated)
            ));
        }
        if let Some((p, fall, rise)) = weather::pressure(self) {
            let change = if fall >= rise { -fall } else { rise };
            lines.push(format!(
                "pressure {:.0} to {:.0} hPa, lowest {:.0} at {}; fastest: {} ({:.1} hPa in 3 h)",
                p.first,
                p.last,
                p.least.1,
                p.least.0.label(dated),
                tendency(change),
                change.abs()
            ));
        }
        if let Some(d) = weather::depth(self) {
            let (at, least) = d.least;
            let at = at.label(dated);
            lines.push(format!("{} least {least:.1} m at {at}, greatest {:.1} m", d.quantity, d.greatest.1));
        }
        if lines.is_empty() {
            lines.push("not measured".to_owned());
        }
        lines
    }

    /// Calls and messages by radio: how many of each kind, then those that nothing may reject; empty if there were none.
    pub(super) fn received_lines(&self) -> Vec<String> {
        let calls = self.calls();
        let mut kinds: Vec<(CallKind, usize)> = Vec::new();
        for (_, call) in &calls {
            match kinds.iter_mut().find(|(kind, _)| *kind == call.kind) {
                Some((_, n)) => *n += 1,
                None => kinds.push((call.kind, 1)),
            }
        }
        kinds.sort();
        let kinds: Vec<String> = kinds.into_iter().map(|(kind, n)| format!("{kind}: {n}")).collect();
        let mut lines: Vec<String> = (!kinds.is_empty()).then(|| kinds.join(", ")).into_iter().collect();
        let urgent: Vec<_> = calls.iter().filter(|(_, call)| call.kind.is_never_rejected()).collect();
        let dated = self.is_dated();
        lines.extend(
            urgent.iter().take(LINES).map(|(at, call)| format!("{} {}", at.label(dated), call.words())),
        );
        if urgent.len() > LINES {
            lines.push(format!("and {} more that nothing may reject", urgent.len() - LINES));
        }
        lines
    }

    fn failure_lines(&self) -> Vec<String> {
        let dated = self.is_dated();
        let mut lines: Vec<String> =
            self.failures().take(LINES).map(|a| failure_line(a, self.is_dated())).collect();
        let failures = self.failures().count();
        if failures > LINES {
            lines.push(format!("and {} more", failures - LINES));
        }
        for b in self.blind.iter().take(LINES) {
            let long = b.to.seconds_from(&b.from).map_or_else(|| "an unknown time".to_owned(), spoken);
            lines.push(format!("{} middlewatch was not running for {long}: {}", b.from.label(dated), b.why));
        }
        if self.blind.len() > LINES {
            lines.push(format!("and {} more gaps", self.blind.len() - LINES));
        }
        if self.undelivered > 0 {
            lines.push(format!("{} not delivered yet", plural(self.undelivered as usize, "message")));
        }
        if self.unreadable > 0 {
            lines.push(format!(
                "{} of the logbook could not be read: the file is damaged",
                plural(self.unreadable, "row")
            ));
        }
        if lines.is_empty() {
            lines.push("none known".to_owned());
        }
        lines
    }
}

impl Alert {
    /// Whether the lookout, or what it depends on, failed.
    pub fn is_failure(&self) -> bool {
        match self.built_in() {
            Some(
                BuiltIn::FixLost
                | BuiltIn::PositionDoubtful
                | BuiltIn::FeedSilent
                | BuiltIn::AisSilent
                | BuiltIn::OwnTransmitterSilent
                | BuiltIn::OwnTransmitterWrong
                | BuiltIn::InstrumentDoubtful
                | BuiltIn::LogbookFailing
                | BuiltIn::SignalFailing
                | BuiltIn::OrdersNotLoaded
                | BuiltIn::ControlFailing
                | BuiltIn::NotWatched
                | BuiltIn::ClockNotKnown
                | BuiltIn::TimeDoubtful,
            ) => true,
            Some(
                BuiltIn::PersonOverboard
                | BuiltIn::SearchLeg
                | BuiltIn::SearchTransmitter
                | BuiltIn::Epirb
                | BuiltIn::TooManyBeacons
                | BuiltIn::VesselInDistress
                | BuiltIn::WatchAlarm
                | BuiltIn::BeaconTest
                | BuiltIn::DeclarationDoubtful
                | BuiltIn::GearDue
                | BuiltIn::UrgencyCall
                | BuiltIn::MessageForUs
                | BuiltIn::NavtexUrgent
                | BuiltIn::SafetyCall
                | BuiltIn::SafetyMessage
                | BuiltIn::NavtexWarning
                | BuiltIn::CallForUs,
            )
            | None => false,
        }
    }
}

/// Breaks lines at spaces.
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

/// The mark printed for an unknown value.
pub(super) const DASH: &str = "–";

/// A number, or a dash where it is not known.
pub(super) fn number(v: Option<f64>, decimals: usize) -> String {
    v.map_or_else(|| DASH.to_owned(), |v| format!("{v:.decimals$}"))
}

/// A direction in three digits.
pub(super) fn bearing(deg: f64) -> String {
    format!("{}°", three_digits(deg))
}

/// A range: in miles, and in metres below a tenth of one.
pub(super) fn range(nm: f64) -> String {
    if nm < 0.1 { format!("{:.0} m", nm * METRES_PER_NM) } else { format!("{nm:.2} nm") }
}

/// Day, month, year and time.
fn full_date(at: &When) -> String {
    at.utc.and_then(terms::Utc::civil).map_or_else(|| at.hm(), |t| t.format("%-d %b %Y %H:%M").to_string())
}

/// Alerts by order and time, the first few.
fn list(alerts: &[&Alert], dated: bool) -> String {
    let name = |a: &Alert| match &a.name {
        Some(name) => format!("{} {name}", a.order),
        None => a.order.clone(),
    };
    let shown: Vec<String> =
        alerts.iter().take(LINES).map(|a| format!("{} {}", raised(a, dated), name(a))).collect();
    let mut text = shown.join(", ");
    if alerts.len() > LINES {
        let _ = write!(text, " and {} more", alerts.len() - LINES);
    }
    text
}

/// When an alert was raised, where that lies within the span.
fn raised(a: &Alert, dated: bool) -> String {
    a.raised.map_or_else(|| "earlier".to_owned(), |t| t.label(dated))
}

fn casualty_line(c: &Casualty, dated: bool) -> String {
    let raised = c.raised.map_or_else(|| "before the span".to_owned(), |t| t.label_s(dated));
    let what = match c.whose {
        Whose::Ours | Whose::Stranger => "overboard",
        Whose::Sart | Whose::Epirb | Whose::Ship | Whose::Relayed | Whose::Many => "in distress",
    };
    let mut text =
        format!("{raised} {}{what}: {} (by {})", if c.exercise { "exercise, " } else { "" }, c.who, c.source);
    if let Some((at, position, how)) = &c.first_position {
        let _ = write!(text, "; first position {} {position} ({how})", at.label_s(dated));
    }
    if let Some((at, nm)) = c.nearest {
        let _ = write!(text, "; nearest again {} at {}", range(nm), at.label_s(dated));
    }
    match &c.stood_down {
        Some((at, why)) => {
            let _ = write!(text, "; stood down {}: {why}", at.label_s(dated));
        }
        None => text.push_str("; NOT STOOD DOWN"),
    }
    text
}

/// A ship's name, or her identity where she gave none.
pub(super) fn who(name: Option<&str>, mmsi: terms::Mmsi) -> String {
    name.map_or_else(|| format!("MMSI {mmsi}"), str::to_owned)
}

fn approach_line(a: &Approach, dated: bool) -> String {
    let bearing = a.bearing_deg.map(|b| format!(", bearing {}", bearing(b))).unwrap_or_default();
    let predicted = a.foretold_cpa_nm.map(|c| format!(", predicted CPA {c:.2} nm")).unwrap_or_default();
    let alert = a.alert.map(|id| format!(", alert {id}")).unwrap_or_default();
    // A ship that fell silent did not pass, as far as is known.
    let how = if a.fell_silent {
        format!("last heard {:.2} nm off", a.range_nm)
    } else {
        format!("passed {:.2} nm off", a.range_nm)
    };
    format!("{} {} {how}{bearing}{predicted}{alert}", a.at.label(dated), who(a.name.as_deref(), a.mmsi))
}

fn failure_line(a: &Alert, dated: bool) -> String {
    let from = raised(a, dated);
    let long = match (a.raised, a.rectified) {
        (Some(from), Some(to)) => {
            to.seconds_from(&from).map(|s| format!(" for {}", spoken(s))).unwrap_or_default()
        }
        (_, Some(to)) => format!(" until {}", to.label(dated)),
        (_, None) => ", still active at the end".to_owned(),
    };
    format!("{from} {}{long}: {}", a.order, a.text())
}
