//! The reference of a form, collected as its reader asks for keys.

use crate::key::Key;
use std::fmt;

/// One key of a form.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct KeyLine {
    /// Its name.
    pub name: &'static str,
    /// What it is for, its range, and its default.
    pub what: String,
    /// Its default, or else an example, as TOML; empty for a table.
    pub example: String,
}

/// Every key of a form, table by table. Prints as a file of that form with a remark on each key.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Reference {
    /// Each table's header, what the table is for, and its keys; the outermost first, with an empty header.
    pub tables: Vec<(String, String, Vec<KeyLine>)>,
}

impl KeyLine {
    /// `shown` is an example as TOML; `kind` says what else the value is.
    pub(crate) fn of<T>(key: &Key<T>, shown: String, kind: &str) -> Self {
        let most = if key.most == usize::MAX { String::new() } else { format!("at most {}", key.most) };
        let needed = if key.needed { "needed" } else { "" };
        let default = key.default.filter(|_| !key.needed).map_or(String::new(), |d| format!("default {d}"));
        let parts = [key.what, kind, &key.range(), &most, needed, &default];
        let parts: Vec<&str> = parts.into_iter().filter(|p| !p.is_empty()).collect();
        Self { name: key.name, what: parts.join("; "), example: shown }
    }
}

impl Reference {
    pub(crate) fn table(&mut self, header: String, line: KeyLine) {
        if self.tables.is_empty() {
            self.tables.push(Default::default());
        }
        if self.tables.iter().all(|(h, ..)| *h != header) {
            self.tables.push((header, line.what, Vec::new()));
        }
    }

    pub(crate) fn key(&mut self, header: &str, line: KeyLine) {
        if self.tables.is_empty() {
            self.tables.push(Default::default());
        }
        if let Some((.., keys)) = self.tables.iter_mut().find(|(h, ..)| h == header)
            && keys.iter().all(|k| k.name != line.name)
        {
            keys.push(line);
        }
    }
}

impl fmt::Display for Reference {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (i, (header, what, keys)) in self.tables.iter().enumerate() {
            if i > 0 {
                writeln!(f, "\n{header} # {what}")?;
            }
            for k in keys {
                let bare = k.name.bytes().all(|b| b.is_ascii_alphanumeric() || matches!(b, b'_' | b'-'));
                let quote = if bare { "" } else { "\"" };
                writeln!(f, "{quote}{}{quote} = {} # {}", k.name, k.example, k.what)?;
            }
        }
        Ok(())
    }
}
