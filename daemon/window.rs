//! The window that text is printed in: its size, and lines wrapped to it.

use terms::one_line;

/// Columns where there is no window to ask: what a narrow screen at the helm shows.
const NARROW: usize = 40;
/// Longer lines are hard to read, however wide the window.
const WIDEST: usize = 80;

/// A window for text.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Window {
    /// Columns used, 20 to 80.
    pub columns: usize,
    /// Rows; `None` where what is printed may be of any length, as in a pipe.
    pub rows: Option<usize>,
}

impl Window {
    /// Where standard output goes: the terminal, or else 40 columns of any length.
    pub fn of_output() -> Self {
        match terminal_size::terminal_size_of(std::io::stdout()) {
            Some((terminal_size::Width(columns), terminal_size::Height(rows))) => {
                Self { columns: usize::from(columns).clamp(20, WIDEST), rows: Some(usize::from(rows)) }
            }
            None => Self { columns: NARROW, rows: None },
        }
    }

    /// As wide as can be read, of any length.
    pub const fn page() -> Self {
        Self { columns: WIDEST, rows: None }
    }

    /// A text, wrapped between words; lines after the first are indented by two more.
    pub fn wrap(self, indent: usize, text: &str) -> Vec<String> {
        let mut lines = Vec::new();
        let mut line = " ".repeat(indent);
        let mut empty = true;
        for word in one_line(text).split_whitespace() {
            if !empty && line.chars().count() + 1 + word.chars().count() > self.columns {
                lines.push(std::mem::replace(&mut line, " ".repeat(indent + 2)));
                empty = true;
            }
            if !empty {
                line.push(' ');
            }
            line += word;
            empty = false;
        }
        lines.push(line);
        lines
    }
}
