//! Words for people.

use crate::EventRecord;
use rules::EventKind;
use terms::Utc;

/// A time as part of a file's name.
pub fn compact(utc: Utc) -> String {
    let plain = utc.to_string().chars().filter(char::is_ascii_alphanumeric).take(15).collect::<String>();
    plain + "Z"
}

/// An event on one plain line.
pub fn event(r: &EventRecord) -> String {
    let time = r.at.map_or_else(|| format!("{:>9.0} s", r.steady_s), |t| t.to_string()[11..19].to_owned());
    let kind = match r.event {
        EventKind::Noted => EventKind::Noted.to_string(),
        kind => format!("{} {kind}", capital(r.alert.priority.word())),
    };
    format!("{time}  {kind:<28} {}", one_line(&r.alert.text))
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
