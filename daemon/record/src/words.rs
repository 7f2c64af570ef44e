//! Words for people.

use crate::EventRecord;
use rules::EventKind;
use std::time::Duration;
use terms::Utc;

/// A span of time as it is said: seconds below two minutes, minutes below two hours.
pub fn span(d: Duration) -> String {
    match d.as_secs() {
        s @ 0..120 => format!("{s} s"),
        s @ 120..7200 => format!("{} min", s / 60),
        s => format!("{} h {} min", s / 3600, s / 60 % 60),
    }
}

/// A span of time to the second, as a drill is measured.
pub fn exact(s: f64) -> String {
    let s = s.max(0.0).round() as u64;
    if s < 60 { format!("{s} s") } else { format!("{} min {} s", s / 60, s % 60) }
}

/// A time as part of a file's name.
pub fn compact(utc: Utc) -> String {
    let plain = utc.to_string().chars().filter(char::is_ascii_alphanumeric).take(15).collect::<String>();
    plain + "Z"
}

/// An event on one plain line.
pub fn event(r: &EventRecord) -> String {
    let time = r.at.map_or_else(|| format!("{:>9.0} s", r.steady_s), |t| t.to_string()[11..19].to_owned());
    let kind = match r.event {
        EventKind::Noted => "noted".to_owned(),
        kind => format!("{} {}", capital(&r.alert.priority.to_string()), past(kind)),
    };
    format!("{time}  {kind:<28} {}", one_line(&r.alert.text))
}

fn past(kind: EventKind) -> &'static str {
    match kind {
        EventKind::Raised => "raised",
        EventKind::Repeated => "repeated",
        EventKind::Escalated => "escalated",
        EventKind::Silenced => "silenced",
        EventKind::Acknowledged => "acknowledged",
        EventKind::Transferred => "transferred",
        EventKind::Rectified => "rectified",
        EventKind::Cleared => "cleared",
        EventKind::Noted => "noted",
    }
}

/// A text without anything that would break its line or steer a terminal.
pub fn one_line(text: &str) -> String {
    text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect()
}

/// A page or file without control characters, blanks and line breaks aside, and without those that turn the direction
/// of writing: a name from the air must not dress it up.
pub fn legible(text: impl Into<String>) -> String {
    let mut text = text.into();
    text.retain(|c| match c {
        '\t' | '\n' => true,
        '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}' | '\u{200e}' | '\u{200f}' => false,
        c => !c.is_control(),
    });
    text
}

/// With a capital first letter.
pub fn capital(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or_else(String::new, |c| c.to_uppercase().chain(chars).collect())
}

/// So many of a thing.
pub fn count(n: usize, one: &str, more: &str) -> String {
    format!("{n} {}", if n == 1 { one } else { more })
}

/// So many of a thing whose plural is regular.
pub fn plural(n: usize, word: &str) -> String {
    count(n, word, &format!("{word}s"))
}
