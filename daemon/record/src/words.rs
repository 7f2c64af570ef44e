//! Words for people.

use crate::EventRecord;
use rules::EventKind;
use terms::{Utc, one_line};

/// A time for use in a file name.
pub fn compact(utc: Utc) -> String {
    let plain = utc.to_string().chars().filter(char::is_ascii_alphanumeric).take(15).collect::<String>();
    plain + "Z"
}

/// An event as one plain line.
pub fn event(r: &EventRecord) -> String {
    let time = r.at.map_or_else(|| format!("{:>9.0} s", r.steady_s), |t| t.to_string()[11..19].to_owned());
    let kind = match r.event {
        EventKind::Noted => EventKind::Noted.to_string(),
        kind => format!("{} {kind}", capital(r.alert.priority.word())),
    };
    format!("{time}  {kind:<28} {}", one_line(&r.alert.text))
}

/// Capitalizes the first letter.
pub fn capital(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or_else(String::new, |c| c.to_uppercase().chain(chars).collect())
}

/// A number and its noun, singular or plural.
pub fn count(n: usize, one: &str, more: &str) -> String {
    format!("{n} {}", if n == 1 { one } else { more })
}

/// A number and its noun, with a regular plural.
pub fn plural(n: usize, word: &str) -> String {
    count(n, word, &format!("{word}s"))
}
