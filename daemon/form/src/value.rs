//! A value of a file, with its place.

use crate::source::within_string;
use std::ops::Range;
use toml::Spanned;
use toml::de::DeValue;

/// A value as it is written, and where.
#[derive(Debug, Clone)]
pub struct Value<'t> {
    value: &'t DeValue<'t>,
    span: Range<usize>,
    file: &'t str,
}

impl<'t> Value<'t> {
    pub(crate) fn of(spanned: &'t Spanned<DeValue<'t>>, file: &'t str) -> Self {
        Self { value: spanned.get_ref(), span: spanned.span(), file }
    }

    /// A value that is in no file.
    pub(crate) fn loose(value: &'t DeValue<'t>) -> Self {
        Self { value, span: 0..0, file: "" }
    }

    /// Its bytes in the file.
    pub fn span(&self) -> Range<usize> {
        self.span.clone()
    }

    /// The value as it is in the file.
    pub fn raw(&self) -> &'t str {
        self.file.get(self.span.clone()).unwrap_or("")
    }

    /// The bytes of the file behind bytes of a text's value, through escapes and any kind of quotation mark.
    pub fn within(&self, inner: Range<usize>) -> Range<usize> {
        if self.text().is_some() { within_string(self.file, self.span(), inner) } else { self.span() }
    }

    /// A text.
    pub fn text(&self) -> Option<&'t str> {
        self.value.as_str()
    }

    /// A finite number in decimal digits, whole or not.
    pub fn number(&self) -> Option<f64> {
        let text = match self.value {
            DeValue::Integer(i) if i.radix() == 10 => i.as_str(),
            DeValue::Float(f) => f.as_str(),
            _ => return None,
        };
        text.replace('_', "").parse().ok().filter(|n: &f64| n.is_finite())
    }

    /// A whole number in decimal digits.
    pub fn whole(&self) -> Option<i64> {
        let digits = self.value.as_integer().filter(|i| i.radix() == 10)?;
        digits.as_str().replace('_', "").parse().ok()
    }

    /// True or false.
    pub fn flag(&self) -> Option<bool> {
        self.value.as_bool()
    }

    /// A date or time as written; TOML takes it without quotation marks.
    pub fn date(&self) -> Option<String> {
        self.value.as_datetime().map(ToString::to_string)
    }

    /// The elements of a list.
    pub fn items(&self) -> Option<impl Iterator<Item = Value<'t>> + use<'t>> {
        let file = self.file;
        Some(self.value.as_array()?.iter().map(move |v| Self::of(v, file)))
    }

    /// The entries of a table.
    pub(crate) fn table(&self) -> Option<&'t toml::de::DeTable<'t>> {
        self.value.as_table()
    }

    /// Whether it is a table.
    pub fn is_table(&self) -> bool {
        self.value.is_table()
    }

    /// What kind of value it is, with its article.
    pub fn what(&self) -> &'static str {
        match self.value {
            DeValue::String(_) => "a text",
            DeValue::Float(f) if f.as_str().ends_with("nan") || f.as_str().ends_with("inf") => {
                "something that is no number"
            }
            DeValue::Integer(_) | DeValue::Float(_) => "a number",
            DeValue::Boolean(_) => "true or false",
            DeValue::Datetime(_) => "a date",
            DeValue::Array(_) => "a list",
            DeValue::Table(_) => "a table",
        }
    }
}
