//! The fields of one table of the file: each is taken once, and what is left over is a problem.

use super::number;
use super::phrase::{PhraseError, did_you_mean};
use super::source::within_string;
use std::ops::Range;
use std::time::Duration;
use terms::Problems;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// The longest time that may be written for a hold, a patience and the like.
const LONGEST: Duration = Duration::from_secs(30 * 86_400);

/// Where problems go, and what they are about.
pub struct Complaints<'f> {
    /// The file's text.
    pub file: &'f str,
    /// Collected so far.
    pub problems: Problems,
    /// Set before every problem, such as `order 3 "shoal water": `.
    pub about: String,
}

impl Complaints<'_> {
    /// Adds one about bytes of the file.
    pub fn add(&mut self, span: Range<usize>, message: impl AsRef<str>) {
        self.problems.add(span, format!("{}{}", self.about, message.as_ref()));
    }

    /// Adds one about bytes of a string's value.
    pub fn add_within(&mut self, string: &Range<usize>, e: PhraseError) {
        let span = within_string(self.file, string.clone(), e.span);
        self.add(span, e.message);
    }
}

/// The fields of one table.
pub struct Fields<'t, 'i> {
    table: &'t DeTable<'i>,
    known: &'static [&'static str],
    span: Range<usize>,
}

/// A value with its place.
pub type At<T> = (T, Range<usize>);

impl<'t, 'i> Fields<'t, 'i> {
    /// Of this table, which may have these fields; others are a problem at once.
    pub fn of(
        table: &'t DeTable<'i>,
        span: Range<usize>,
        known: &'static [&'static str],
        c: &mut Complaints<'_>,
    ) -> Self {
        for key in table.keys() {
            let name = key.get_ref().as_ref();
            if !known.contains(&name) {
                let hint = did_you_mean(name, known.iter().copied());
                c.add(
                    key.span(),
                    format!("there is no field \"{name}\"; expected {}{hint}", known.join(", ")),
                );
            }
        }
        Self { table, known, span }
    }

    /// The whole table's place.
    pub fn span(&self) -> Range<usize> {
        self.span.clone()
    }

    /// The value of a field.
    pub fn get(&self, name: &'static str) -> Option<&'t Spanned<DeValue<'i>>> {
        debug_assert!(self.known.contains(&name));
        self.table.get(name)
    }

    /// A string.
    pub fn string(&self, name: &'static str, c: &mut Complaints<'_>) -> Option<At<&'t str>> {
        let v = self.get(name)?;
        let text = v.get_ref().as_str();
        if text.is_none() {
            c.add(v.span(), format!("{name} takes a text in quotation marks, not {}", article(v.get_ref())));
        }
        text.map(|t| (t, v.span()))
    }

    /// A string that must be there and not be blank.
    pub fn required(&self, name: &'static str, c: &mut Complaints<'_>) -> Option<At<&'t str>> {
        if self.get(name).is_none() {
            c.add(self.span(), format!("the field {name} is missing"));
            return None;
        }
        let (text, span) = self.string(name, c)?;
        if text.trim().is_empty() {
            c.add(span, format!("{name} is empty"));
            return None;
        }
        Some((text, span))
    }

    /// One string, or a list of strings.
    pub fn strings(&self, name: &'static str, c: &mut Complaints<'_>) -> Option<Vec<At<&'t str>>> {
        let v = self.get(name)?;
        if let Some(one) = v.get_ref().as_str() {
            return Some(vec![(one, v.span())]);
        }
        let Some(list) = v.get_ref().as_array() else {
            c.add(v.span(), format!("{name} takes a list of texts, not {}", article(v.get_ref())));
            return None;
        };
        let mut out = Vec::new();
        for item in list.iter() {
            match item.get_ref().as_str() {
                Some(s) => out.push((s, item.span())),
                None => c.add(item.span(), format!("{name} takes texts, not {}", article(item.get_ref()))),
            }
        }
        Some(out)
    }

    /// A time, such as `"5 s"`.
    pub fn duration(&self, name: &'static str, c: &mut Complaints<'_>) -> Option<Duration> {
        let v = self.get(name)?;
        let Some(text) = v.get_ref().as_str() else {
            c.add(
                v.span(),
                format!("{name} takes a time with its unit, such as \"5 s\", not {}", article(v.get_ref())),
            );
            return None;
        };
        match number::duration_alone(text) {
            Ok(d) if d <= LONGEST => Some(d),
            Ok(_) => {
                c.add(v.span(), format!("{name} is longer than 30 d"));
                None
            }
            Err(e) => {
                let e = PhraseError { message: format!("{name}: {}", e.message), ..e };
                c.add_within(&v.span(), e);
                None
            }
        }
    }

    /// A number.
    pub fn number(&self, name: &'static str, c: &mut Complaints<'_>) -> Option<At<f64>> {
        let v = self.get(name)?;
        let n = number_of(v.get_ref());
        if n.is_none() {
            c.add(v.span(), format!("{name} takes a number, not {}", article(v.get_ref())));
        }
        n.map(|n| (n, v.span()))
    }
}

/// A finite number, whole or not.
pub fn number_of(v: &DeValue<'_>) -> Option<f64> {
    let text = match v {
        DeValue::Integer(i) if i.radix() == 10 => i.as_str(),
        DeValue::Float(f) => f.as_str(),
        _ => return None,
    };
    text.parse().ok().filter(|n: &f64| n.is_finite())
}

/// What a value is, with its article.
pub fn article(v: &DeValue<'_>) -> &'static str {
    match v {
        DeValue::String(_) => "a text",
        DeValue::Integer(_) => "a number",
        DeValue::Float(f) => {
            if matches!(f.as_str().trim_start_matches(['+', '-']), "nan" | "inf") {
                "something that is no number"
            } else {
                "a number"
            }
        }
        DeValue::Boolean(_) => "true or false",
        DeValue::Datetime(_) => "a date",
        DeValue::Array(_) => "a list",
        DeValue::Table(_) => "a table",
    }
}
