//! What is wrong with a file that a person wrote: every problem at once, each with its line and column.

use crate::text::is_hidden;
use std::fmt;
use std::ops::Range;

/// Most problems kept of one file; further ones are only counted.
const MOST: usize = 50;

/// How much a problem weighs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Severity {
    /// The file cannot be used.
    Error,
    /// Allowed, but odd enough to show.
    Warning,
}

/// One thing wrong with a file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Problem {
    /// Whether the file can still be used.
    pub severity: Severity,
    /// Bytes of the file it is about.
    pub span: Range<usize>,
    /// What is wrong and what was expected.
    pub message: String,
}

/// Everything wrong with one file, in file order. Prints as `file:line:column: what is wrong`, each with its line and
/// a mark under the place; a warning has `warning: ` before its message.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Problems {
    file: String,
    text: String,
    list: Vec<Problem>,
    more: usize,
    errors: usize,
}

impl Problems {
    /// No problems yet, for this file with this text.
    pub fn new(file: &str, text: &str) -> Self {
        Self { file: file.to_owned(), text: text.to_owned(), list: Vec::new(), more: 0, errors: 0 }
    }

    /// Adds an error; beyond the fiftieth, problems are only counted.
    pub fn add(&mut self, span: Range<usize>, message: impl Into<String>) {
        self.put(Severity::Error, span, message.into());
    }

    /// Adds a warning; beyond the fiftieth, problems are only counted.
    pub fn warn(&mut self, span: Range<usize>, message: impl Into<String>) {
        self.put(Severity::Warning, span, message.into());
    }

    fn put(&mut self, severity: Severity, span: Range<usize>, message: String) {
        self.errors += usize::from(severity == Severity::Error);
        if self.list.len() < MOST {
            self.list.push(Problem { severity, span, message });
            self.list.sort_by_key(|p| p.span.start);
        } else {
            self.more += 1;
        }
    }

    /// Whether there are none, errors or warnings.
    pub fn is_empty(&self) -> bool {
        self.list.is_empty()
    }

    /// Whether the file is unusable.
    pub fn has_errors(&self) -> bool {
        self.errors > 0
    }

    /// The problems kept.
    pub fn list(&self) -> &[Problem] {
        &self.list
    }

    /// A problem as printed.
    pub fn shown(&self, p: &Problem) -> String {
        let (line, column) = self.place(p.span.start);
        let kind = if p.severity == Severity::Warning { "warning: " } else { "" };
        let words = format!("{}:{line}:{column}: {kind}{}", self.file, p.message);
        let words = visible(&words);
        let Some(source) = self.text.lines().nth(line - 1).filter(|s| s.chars().count() <= 200) else {
            return words;
        };
        let width =
            self.text.get(p.span.clone()).map_or(1, |s| s.lines().next().unwrap_or("").chars().count());
        // Tabs stay tabs, so that the mark lines up whatever their width.
        let indent: String =
            source.chars().take(column - 1).map(|c| if c == '\t' { '\t' } else { ' ' }).collect();
        let room = source.chars().count().saturating_sub(column - 1).max(1);
        let source = visible(source);
        format!("{words}\n    {source}\n    {indent}{}", "^".repeat(width.clamp(1, room)))
    }

    /// `value` if there are no errors.
    ///
    /// # Errors
    /// Itself, if there are errors.
    pub fn or_else_ok<T>(self, value: T) -> Result<T, Self> {
        if self.has_errors() { Err(self) } else { Ok(value) }
    }

    /// Line and column of a byte, both from 1; columns count characters.
    pub fn place(&self, byte: usize) -> (usize, usize) {
        let before = self.text.get(..byte.min(self.text.len())).unwrap_or(&self.text);
        let line_start = before.rfind('\n').map_or(0, |i| i + 1);
        (before.matches('\n').count() + 1, before[line_start..].chars().count() + 1)
    }
}

/// The text with a dot for each character that hides, so that columns still count.
fn visible(text: &str) -> String {
    text.chars().map(|c| if is_hidden(c) && c != '\t' && c != '\n' { '·' } else { c }).collect()
}

impl fmt::Display for Problems {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (i, p) in self.list.iter().enumerate() {
            let end = if i > 0 { "\n" } else { "" };
            write!(f, "{end}{}", self.shown(p))?;
        }
        if self.more > 0 {
            write!(f, "\n{}: and {} more", visible(&self.file), self.more)?;
        }
        Ok(())
    }
}

impl std::error::Error for Problems {}

/// What is wrong with a file's stated version, for a program that reads forms up to `newest`; `None` if nothing is. A
/// file that states none is version 1, the first.
pub fn version_trouble(says: Option<f64>, newest: u32) -> Option<String> {
    match says {
        None => None,
        Some(v) if v.fract() == 0.0 && v >= 1.0 && v <= f64::from(newest) => None,
        Some(v) if v > f64::from(newest) => Some(format!(
            "the file is of version {v}, for a newer middlewatch: this one reads versions up to {newest}. Install the \
             newer program, or go back to the file as it was for this one"
        )),
        Some(v) => {
            Some(format!("there never was a version {v}: the first is version = 1, the newest {newest}"))
        }
    }
}

/// The candidate nearest to a mistyped word, if close enough to ask "did you mean" (Damerau-Levenshtein distance of at
/// most a third of the letters).
pub fn nearest<'a>(word: &str, candidates: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let word = word.to_lowercase();
    let allowed = (word.chars().count() / 3).max(1);
    candidates
        .into_iter()
        .map(|c| (edits(&word, &c.to_lowercase()), c))
        .filter(|(d, _)| *d <= allowed)
        .min_by_key(|(d, _)| *d)
        .map(|(_, c)| c)
}

/// Insertions, deletions, substitutions and swaps of neighbours between two words; long words are cut at 64 letters.
fn edits(a: &str, b: &str) -> usize {
    let a: Vec<char> = a.chars().take(64).collect();
    let b: Vec<char> = b.chars().take(64).collect();
    let mut rows: Vec<Vec<usize>> = vec![(0..=b.len()).collect()];
    for i in 1..=a.len() {
        let mut row = vec![i];
        for j in 1..=b.len() {
            let change = usize::from(a[i - 1] != b[j - 1]);
            let mut least = (rows[i - 1][j] + 1).min(row[j - 1] + 1).min(rows[i - 1][j - 1] + change);
            if i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1] {
                least = least.min(rows[i - 2][j - 2] + 1);
            }
            row.push(least);
        }
        rows.push(row);
    }
    rows[a.len()][b.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_problem_is_printed_with_line_column_and_mark() {
        let mut p = Problems::new("boat.toml", "version = 1\n[feed]\nbaud = \"fast\"\n");
        p.add(26..32, "baud takes a number");
        assert_eq!(
            p.to_string(),
            "boat.toml:3:8: baud takes a number\n    baud = \"fast\"\n           ^^^^^^"
        );
        assert_eq!(Problems::new("x", "").place(99), (1, 1));
    }

    #[test]
    fn a_warning_is_marked_and_refuses_nothing() {
        let mut p = Problems::new("boat.toml", "baud = 38000\n");
        p.warn(7..12, "38400 is usual");
        assert!(p.to_string().starts_with("boat.toml:1:8: warning: 38400 is usual\n"));
        assert!(!p.is_empty() && !p.has_errors());
        assert_eq!(p.clone().or_else_ok(1), Ok(1));
        for _ in 0..60 {
            p.warn(0..1, "odd");
        }
        p.add(0..1, "wrong");
        assert!(p.or_else_ok(1).is_err(), "an error counts though only warnings are kept");
    }

    #[test]
    fn did_you_mean() {
        assert_eq!(nearest("heeding", ["heading", "depth"]), Some("heading"));
        assert_eq!(nearest("SGO", ["SOG", "COG"]), Some("SOG"));
        assert_eq!(nearest("elephant", ["heading", "depth"]), None);
    }
}
