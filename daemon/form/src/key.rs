//! A key of a form: its name, what it is for, and what it takes.

use crate::written::{Written, amount, literal};
use std::marker::PhantomData;

/// A key whose value is a `T`. Every key must say what it is for.
#[derive(Debug)]
pub struct Key<T> {
    pub(crate) name: &'static str,
    pub(crate) what: &'static str,
    pub(crate) default: Option<&'static str>,
    pub(crate) example: Option<&'static str>,
    pub(crate) within: Option<(&'static str, &'static str)>,
    pub(crate) most: usize,
    pub(crate) needed: bool,
    of: PhantomData<fn() -> T>,
}

/// The `T` of a key that holds a table or tables.
#[derive(Debug)]
pub enum Nested {}

/// A key of this name, and what it is for: a phrase in lower case without a full stop.
pub const fn key<T>(name: &'static str, what: &'static str) -> Key<T> {
    Key {
        name,
        what,
        default: None,
        example: None,
        within: None,
        most: usize::MAX,
        needed: false,
        of: PhantomData,
    }
}

impl<T> Clone for Key<T> {
    fn clone(&self) -> Self {
        *self
    }
}

impl<T> Copy for Key<T> {}

impl<T> Key<T> {
    /// Sets the default: a text without its quotation marks, or any other value as TOML.
    pub const fn or(mut self, default: &'static str) -> Self {
        self.default = Some(default);
        self
    }

    /// Makes the key mandatory.
    pub const fn needed(mut self) -> Self {
        self.needed = true;
        self
    }

    /// Sets an example for the reference in place of the type's own; written like a default.
    pub const fn example(mut self, example: &'static str) -> Self {
        self.example = Some(example);
        self
    }

    /// Sets the least and the greatest value, as written in the file; for a list, of each element.
    pub const fn within(mut self, least: &'static str, greatest: &'static str) -> Self {
        self.within = Some((least, greatest));
        self
    }

    /// Sets the most characters of a text, elements of a list or tables of this name.
    pub const fn most(mut self, most: usize) -> Self {
        self.most = most;
        self
    }

    /// The default value; `None` if the key has none.
    pub fn default_value(&self) -> Option<T>
    where
        T: Written,
    {
        literal(self.default?).1.ok()
    }

    /// Whether a value is within the range.
    pub fn allows(&self, value: &T) -> bool
    where
        T: Written,
    {
        let bounds = self.within.map(|(least, greatest)| amount(least)..=amount(greatest));
        bounds.zip(value.amount()).is_none_or(|(bounds, n)| bounds.contains(&n))
    }

    /// Its name.
    pub const fn name(&self) -> &'static str {
        self.name
    }

    /// Its range in words: `, from 1 s to 24 h`; empty if it has none.
    pub(crate) fn range(&self) -> String {
        self.within.map_or(String::new(), |(least, greatest)| format!("from {least} to {greatest}"))
    }
}
