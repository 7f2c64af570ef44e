//! A table of a file, read key by key: every mistake is noted, and reading goes on.

use crate::blank::{KeyLine, Reference};
use crate::key::{Key, Nested};
use crate::value::Value;
use crate::written::{At, Written, literal};
use std::cell::RefCell;
use std::collections::BTreeSet;
use std::ops::Range;
use terms::{Problems, nearest};
use toml::de::DeTable;

/// What all tables of one file share.
pub(crate) struct Book<'t> {
    file: &'t str,
    pub problems: RefCell<Problems>,
    /// Names so far, with what they name.
    seen: RefCell<BTreeSet<(String, String)>>,
    pub reference: RefCell<Reference>,
}

/// One table, and what has been asked of it so far. Dropping it reports every key that nobody asked for: ask for all
/// keys before leaving a reader.
pub struct Table<'t> {
    book: &'t Book<'t>,
    /// `None`: a blank form, for the reference.
    entries: Option<&'t DeTable<'t>>,
    /// Its header in the reference; empty for the outermost.
    header: String,
    span: Range<usize>,
    about: String,
    asked: Vec<&'static str>,
    free: bool,
}

impl<'t> Book<'t> {
    pub fn of(file: &'t str, problems: Problems) -> Self {
        let (seen, reference) = (RefCell::default(), RefCell::default());
        Self { file, problems: RefCell::new(problems), seen, reference }
    }
}

impl<'t> Table<'t> {
    pub(crate) fn root(book: &'t Book<'t>, entries: Option<&'t DeTable<'t>>) -> Self {
        let (header, about, asked) = (String::new(), String::new(), Vec::new());
        Self { book, entries, header, span: 0..0, about, asked, free: false }
    }

    /// A value, or its default if absent. `None`, with a note, if it is missing or wrong. A wrong value with a default
    /// yields the default, so that what depends on it is not reported too.
    pub fn take<T: Written>(&mut self, key: &'static Key<T>) -> Option<T> {
        if self.entries.is_none() {
            return self.note_written(key, "");
        }
        let read = self.found(key).and_then(|v| self.read(key.name, key, &v));
        read.or_else(|| {
            let default = key.default_value();
            if default.is_none() && key.default.is_some() {
                self.wrong_at(self.span(), format!("the default of `{}` cannot be read", key.name));
            }
            default
        })
    }

    /// The readable elements of a list; each unreadable one is a mistake of its own. `None` if the list is absent or
    /// nothing in it is readable.
    pub fn list<T: Written>(&mut self, key: &'static Key<T>) -> Option<Vec<T>> {
        if self.entries.is_none() {
            return self.note_written(key, "a list").map(|t| vec![t]);
        }
        let value = self.found(key)?;
        let Some(items) = value.items() else {
            self.wrong(key, format!("`{}` takes a list, as [ … ], not {}", key.name, value.what()));
            return None;
        };
        let read: Vec<_> = items.map(|v| self.read(key.name, &key.most(usize::MAX), &v)).collect();
        if read.is_empty() && key.needed {
            self.wrong(key, format!("`{}` is empty", key.name));
        }
        if read.len() > key.most {
            self.wrong(key, format!("`{}` has at most {} elements", key.name, key.most));
        }
        // A list with nothing readable in it is not an empty one.
        let all_wrong = !read.is_empty() && read.iter().all(Option::is_none);
        (!all_wrong).then(|| read.into_iter().flatten().collect())
    }

    /// A nested table. `None` if absent or not a table.
    pub fn table(&mut self, key: &'static Key<Nested>) -> Option<Table<'t>> {
        let header = self.nested(key, "[", "]");
        if self.entries.is_none() {
            return Some(self.child(None, header, 0..0));
        }
        let value = self.found(key)?;
        if value.table().is_none() {
            self.wrong(key, format!("`{}` takes a table, not {}", key.name, value.what()));
        }
        value.table().map(|t| self.child(Some(t), header, value.span()))
    }

    /// Each table of a list: those headed `[[name]]`, or a list of tables.
    pub fn tables(&mut self, key: &'static Key<Nested>) -> Vec<Table<'t>> {
        let header = self.nested(key, "[[", "]]");
        if self.entries.is_none() {
            return vec![self.child(None, header, 0..0)];
        }
        let (name, most) = (key.name, key.most);
        let Some(value) = self.found(key) else { return Vec::new() };
        let Some(items) = value.items() else {
            self.wrong(key, format!("each `{name}` stands under [[{name}]], in two pairs of brackets"));
            return Vec::new();
        };
        if key.needed && value.items().is_some_and(|mut items| items.next().is_none()) {
            self.wrong(key, format!("`{name}` is empty"));
        }
        let mut tables = Vec::new();
        for (i, item) in items.enumerate() {
            match item.table() {
                _ if i == most => self.wrong_at(item.span(), format!("at most {most} of `{name}` are read")),
                _ if i > most => break,
                Some(t) => tables.push(self.child(Some(t), header.clone(), item.span())),
                None => self.wrong_at(
                    item.span(),
                    format!("each `{name}` is a table under [[{name}]], not {}", item.what()),
                ),
            }
        }
        tables
    }

    /// A value to read by hand, in the file's own language.
    pub fn value<T>(&mut self, key: &'static Key<T>) -> Option<Value<'t>> {
        self.note(key, key.example.unwrap_or("…").to_owned(), "");
        self.found(key)
    }

    /// The entries that nobody has asked for yet, each with its name, for a table of free keys; `key` says what they
    /// are.
    pub fn entries<T>(&mut self, key: &'static Key<T>) -> Vec<(At<&'t str>, Value<'t>)> {
        self.note(key, key.example.unwrap_or("…").to_owned(), "");
        self.free = true;
        let rest = self.entries.iter().flat_map(|t| t.iter()).map(|(name, v)| {
            (At { value: name.get_ref().as_ref(), span: name.span() }, Value::of(v, self.book.file))
        });
        rest.filter(|(name, _)| !self.asked.contains(&name.value)).collect()
    }

    /// Reads a value obtained by hand the way `key` would; messages use `name`.
    pub fn read<T: Written>(&self, name: &str, key: &Key<T>, v: &Value<'_>) -> Option<T> {
        let range = key.range();
        let read = match T::read(v) {
            Ok(read) => read,
            Err(takes) => {
                let (takes, why) =
                    takes.split_once("; ").map_or((takes.as_str(), None), |(t, w)| (t, Some(w)));
                let range = if range.is_empty() { range } else { format!(", {range}") };
                let other = v.what() != Value::loose(&literal::<T>(T::EXAMPLE).0).what();
                let not = if other { format!(", not {}", v.what()) } else { String::new() };
                let why = why.filter(|_| !other).map_or(String::new(), |w| format!("; {w}"));
                self.wrong_at(v.span(), format!("`{name}` takes {takes}{range}{not}{why}"));
                return None;
            }
        };
        if !key.allows(&read) {
            self.wrong_at(v.span(), format!("`{name}` is {range}, not {}", v.raw()));
            return None;
        }
        if read.length().is_some_and(|length| length > key.most) {
            self.wrong_at(v.span(), format!("`{name}` is longer than {} characters", key.most));
            return None;
        }
        Some(read)
    }

    /// The table in a value obtained by hand.
    pub fn inner(&self, v: &Value<'t>) -> Option<Table<'t>> {
        v.table().map(|t| self.child(Some(t), String::new(), v.span()))
    }

    /// Whether the key is written; in a blank form, every key is.
    pub fn has<T>(&self, key: &Key<T>) -> bool {
        self.entries.is_none_or(|t| t.contains_key(key.name))
    }

    /// Whether the table is empty.
    pub fn is_empty(&self) -> bool {
        self.entries.is_some_and(DeTable::is_empty)
    }

    /// The place of a key's value, or else of the table.
    pub fn at<T>(&self, key: &Key<T>) -> Range<usize> {
        self.entries.and_then(|t| t.get(key.name)).map_or(self.span(), toml::Spanned::span)
    }

    /// Where the table begins.
    pub fn span(&self) -> Range<usize> {
        self.span.clone()
    }

    /// Sets the prefix of every message about this table and its contents, such as `order 3 "shoal water": `.
    pub fn set_about(&mut self, about: String) {
        self.about = about;
    }

    /// The prefix of messages.
    pub fn about(&self) -> &str {
        &self.about
    }

    /// Reports the value of a key as wrong.
    pub fn wrong<T>(&self, key: &Key<T>, message: impl AsRef<str>) {
        self.wrong_at(self.at(key), message);
    }

    /// Reports something wrong at bytes of the file.
    pub fn wrong_at(&self, span: Range<usize>, message: impl AsRef<str>) {
        self.book.problems.borrow_mut().add(span, format!("{}{}", self.about, message.as_ref()));
    }

    /// Warns about the value of a key: allowed but odd.
    pub fn warn<T>(&self, key: &Key<T>, message: impl AsRef<str>) {
        self.warn_at(self.at(key), message);
    }

    /// Warns about bytes of the file: allowed but odd.
    pub fn warn_at(&self, span: Range<usize>, message: impl AsRef<str>) {
        self.book.problems.borrow_mut().warn(span, format!("{}{}", self.about, message.as_ref()));
    }

    /// Reports a key written without the key that it qualifies.
    pub fn belongs<T, U>(&self, key: &Key<T>, to: &Key<U>) {
        if self.has(key) && !self.has(to) {
            self.wrong(key, format!("`{}` belongs to `{}`", key.name, to.name));
        }
    }

    /// Reports a key that is missing.
    pub fn needs<T>(&self, key: &Key<T>) {
        if !self.has(key) {
            self.wrong_at(self.span(), format!("`{}` is missing: {}", key.name, key.what));
        }
    }

    /// Notes a name, and reports it if another thing of the same kind has it; case does not matter.
    pub fn once<T>(&self, key: &Key<T>, kind: &str, name: &str) {
        let new = self.book.seen.borrow_mut().insert((kind.to_owned(), name.to_lowercase()));
        if !new && self.entries.is_some() {
            let article = if kind.starts_with(['a', 'e', 'i', 'o', 'u']) { "an" } else { "a" };
            self.wrong(key, format!("there is {article} {kind} `{name}` already"));
        }
    }

    /// Refuses an old key, saying how to write it now.
    pub fn was(&mut self, old: &'static str, now: &str) {
        if let Some((name, _)) = self.entries.and_then(|t| t.get_key_value(old)) {
            self.wrong_at(name.span(), format!("`{old}` is no longer a key; write {now}"));
            self.asked.push(old);
        }
    }

    fn found<T>(&mut self, key: &'static Key<T>) -> Option<Value<'t>> {
        self.asked.push(key.name);
        let value = self.entries?.get(key.name);
        if key.needed {
            self.needs(key);
        }
        value.map(|v| Value::of(v, self.book.file))
    }

    fn child(&self, entries: Option<&'t DeTable<'t>>, header: String, span: Range<usize>) -> Table<'t> {
        let about = self.about.clone();
        Table { book: self.book, entries, header, span, about, asked: Vec::new(), free: false }
    }

    fn nested(&self, key: &Key<Nested>, open: &str, close: &str) -> String {
        let parent = self.header.trim_matches(['[', ']']);
        let dot = if parent.is_empty() { "" } else { "." };
        let header = format!("{open}{parent}{dot}{}{close}", key.name);
        if self.entries.is_none() {
            self.book.reference.borrow_mut().table(header.clone(), KeyLine::of(key, String::new(), ""));
        }
        header
    }

    /// Adds a key to the reference, and returns its example.
    fn note_written<T: Written>(&self, key: &Key<T>, kind: &str) -> Option<T> {
        let text = key.example.or(key.default).unwrap_or(T::EXAMPLE);
        let (value, read) = literal(text);
        let shown = if value.is_str() { format!("\"{text}\"") } else { text.to_owned() };
        let shown = if kind.is_empty() { shown } else { format!("[{shown}]") };
        let words = T::words().join(", ");
        let of = if words.is_empty() || kind.is_empty() { "" } else { " of " };
        self.note(key, shown, &format!("{kind}{of}{words}"));
        read.ok()
    }

    fn note<T>(&self, key: &Key<T>, shown: String, kind: &str) {
        if self.entries.is_none() {
            self.book.reference.borrow_mut().key(&self.header, KeyLine::of(key, shown, kind));
        }
    }
}

impl Drop for Table<'_> {
    fn drop(&mut self) {
        let Some(entries) = self.entries.filter(|_| !self.free) else { return };
        for key in entries.keys().filter(|k| !self.asked.contains(&k.get_ref().as_ref())) {
            let word = key.get_ref().as_ref();
            let hint = match nearest(word, self.asked.iter().copied()) {
                Some(near) => format!("did you mean `{near}`?"),
                None => format!("known are {}", self.asked.join(", ")),
            };
            self.wrong_at(key.span(), format!("`{word}` is not known here; {hint}"));
        }
    }
}
