//! What people write in a file: TOML, in one dialect. This crate knows no key's meaning; it reads values of the dialect,
//! collects every mistake of a file with its line and column, and prints the reference of a form.
//!
//! # Use
//!
//! A [`Key`] is a constant that says what it is for, and may say its default, range and example. A [`Table`] is asked
//! for keys; what nobody asked for is a mistake, told with "did you mean" when the table is dropped.
//!
//! ```
//! use form::{Key, Name, Nested, Table, VERSION, Word, key};
//! use std::{path::PathBuf, time::Duration};
//!
//! const FEED: Key<Nested> = key("feed", "a wire by which sentences come").most(32);
//! const NAME: Key<Name> = key("name", "what reports call it").needed().example("bus").most(60);
//! const SERIAL: Key<PathBuf> = key("serial", "the device of a serial line").example("/dev/ttyUSB0");
//! const BAUD: Key<u32> = key("baud", "its speed").or("4800").within("300", "4000000");
//! const SILENT_AFTER: Key<Duration> = key("silent_after", "silence that is an alert").or("60 s").within("1 s", "24 h");
//! const MODE: Key<Mode> = key("mode", "which way it goes").or("in");
//!
//! #[derive(Debug, Clone, Copy, PartialEq)]
//! enum Mode { In, Both }
//! impl Word for Mode {
//!     const ALL: &'static [(&'static str, Self)] = &[("in", Self::In), ("both ways", Self::Both)];
//! }
//! #[derive(Debug)]
//! struct Feed { name: String, serial: Option<PathBuf>, baud: u32, silent_after: Duration, mode: Mode }
//!
//! fn boat(mut t: Table<'_>) -> Option<Vec<Feed>> {
//!     t.take(&VERSION);
//!     Some(t.tables(&FEED).into_iter().filter_map(feed).collect())
//! }
//! fn feed(mut t: Table<'_>) -> Option<Feed> {
//!     // Take all keys before anything is judged or left by `?`, so that each is checked, known and in the reference.
//!     let (name, serial, baud) = (t.take(&NAME), t.take(&SERIAL), t.take(&BAUD));
//!     let (silent_after, mode) = (t.take(&SILENT_AFTER), t.take(&MODE));
//!     if let Some(name) = &name { t.once(&NAME, "feed", &name.0) }
//!     if serial.is_none() && t.has(&BAUD) { t.wrong(&BAUD, "`baud` belongs to `serial`") }
//!     if baud == Some(38_000) { t.warn(&BAUD, "38400 is usual") }
//!     Some(Feed { name: name?.0, serial, baud: baud?, silent_after: silent_after?, mode: mode? })
//! }
//!
//! let text = "[[feed]]\nname = \"bus\"\nserial = \"/dev/x\"\nbaud = 38000\nmode = \"both ways\"\n";
//! let (feeds, warnings) = form::read("boat.toml", text, 1, boat).unwrap();
//! assert_eq!((feeds[0].silent_after, feeds[0].mode), (Duration::from_secs(60), Mode::Both));
//! assert!(warnings.to_string().starts_with("boat.toml:4:8: warning: 38400 is usual"));
//! let told = form::read("b", "[[feed]]\nbuad = 9\nsilent_after = \"5 sec\"\n", 1, boat).unwrap_err().to_string();
//! for part in ["b:1:1: `name` is missing: what reports call it", "b:2:1: `buad` is not known here; did you mean `baud`?",
//!     "b:3:16: `silent_after` takes a length of time such as \"1 h 30 min\", from 1 s to 24 h; \"sec\" is no unit"] {
//!     assert!(told.contains(part), "{told}");
//! }
//! let reference = form::blank(boat).to_string();
//! assert!(reference.contains("silent_after = \"60 s\" # silence that is an alert; from 1 s to 24 h; default 60 s"));
//! ```
//!
//! Also: [`Table::list`] reads a list element by element, [`Table::table`] a nested table, [`Table::entries`] a table of
//! free keys, [`Table::value`] a value that is read by hand, [`Table::was`] refuses an old spelling, [`At`] keeps the place
//! of a value for what can only be judged when all is read, with [`Table::wrong_at`]. Another type of value implements
//! [`Written`], a closed list of words [`Word`].

mod blank;
mod key;
mod source;
mod table;
mod value;
mod written;

pub use blank::{KeyLine, Reference};
pub use key::{Key, Nested, key};
pub use table::Table;
pub use value::Value;
pub use written::{At, HostPort, Name, Word, Written, length_of_time, one_of};

use table::Book;
use terms::{Problems, is_hidden, version_trouble};
use toml::de::DeTable;

/// Longest file that is read, in bytes.
const LONGEST_FILE: usize = 4 << 20;

/// The key that every form has.
pub const VERSION: Key<u32> = key("version", "the version of the file's form").or("1");

/// Reads a file of a form with versions up to `newest`. `whole` reads the outermost table; `file` is the file's name
/// in messages. Warnings come with the value.
///
/// # Errors
/// Every mistake in the file, and its warnings. If it is not TOML, every syntax error; if its version is unknown, only
/// that, since the rest may be right in its own form.
pub fn read<T>(
    file: &str,
    text: &str,
    newest: u32,
    whole: impl FnOnce(Table<'_>) -> Option<T>,
) -> Result<(T, Problems), Problems> {
    let mut problems = Problems::new(file, text);
    if text.len() > LONGEST_FILE {
        let mut problems = Problems::new(file, "");
        problems.add(0..0, format!("the file is longer than {} MiB", LONGEST_FILE >> 20));
        return Err(problems);
    }
    let (document, errors) = DeTable::parse_recoverable(text);
    for e in errors {
        problems.add(e.span().unwrap_or(0..0), format!("this is not TOML: {}", e.message()));
    }
    if let Some(v) = document.get_ref().get(VERSION.name).filter(|_| problems.is_empty()) {
        let says = Value::of(v, text).number();
        let unread = says.is_none().then(|| "a version is a number; expected version = 1".to_owned());
        if let Some(why) = unread.or_else(|| version_trouble(says, newest)) {
            problems.add(v.span(), why);
        }
    }
    if problems.has_errors() {
        // Do not report what a broken file lacks.
        return Err(problems);
    }
    let hides = |c: char| is_hidden(c) && !matches!(c, '\t' | '\n' | '\r');
    // A byte order mark at the start is an editor's.
    if let Some((at, c)) = text.char_indices().skip(1).find(|&(_, c)| hides(c)) {
        let why = format!(
            "a character that cannot be seen stands here, U+{:04X}; texts are read without it",
            u32::from(c)
        );
        problems.warn(at..at + c.len_utf8(), why);
    }
    let book = Book::of(text, problems);
    let read = whole(Table::root(&book, Some(document.get_ref())));
    let mut problems = book.problems.into_inner();
    if read.is_none() && !problems.has_errors() {
        problems.add(0..0, "this file cannot be used");
    }
    match read {
        Some(read) if !problems.has_errors() => Ok((read, problems)),
        _ => Err(problems),
    }
}

/// The reference of a form: runs `whole` over a blank file, where every key has its example as value, and notes each
/// key it asks for.
pub fn blank<T>(whole: impl FnOnce(Table<'_>) -> Option<T>) -> Reference {
    let book = Book::of("", Problems::new("", ""));
    whole(Table::root(&book, None));
    book.reference.into_inner()
}

#[cfg(test)]
mod tests;
