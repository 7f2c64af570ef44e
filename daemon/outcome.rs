//! How a verb ends, and what it prints.

use std::process::ExitCode;
use terms::{Utc, legible};

/// How a verb ended, as the exit code says it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Outcome {
    /// 0.
    Done,
    /// 1.
    Failed,
    /// 2: wrong usage.
    Usage,
    /// 78: a bad configuration or orders file (EX_CONFIG of sysexits.h).
    BadFile,
}

impl From<Outcome> for ExitCode {
    fn from(o: Outcome) -> Self {
        Self::from(match o {
            Outcome::Done => 0,
            Outcome::Failed => 1,
            Outcome::Usage => 2,
            Outcome::BadFile => 78,
        })
    }
}

/// Writes to standard output what will be followed by more.
pub fn print_on(text: &str) -> std::io::Result<()> {
    use std::io::Write;
    let mut out = std::io::stdout().lock();
    out.write_all(text.as_bytes()).and_then(|()| out.flush())
}

/// Writes a line to standard error, for a person.
pub fn complain(text: &str) {
    eprintln!("{}", legible(text));
}

/// Writes to standard output, without what hides in a text. A reader that has gone away (a closed pipe) ends the verb without an outcry.
pub fn print(text: &str) -> Outcome {
    match print_on(&legible(text)) {
        Ok(()) => Outcome::Done,
        Err(e) if e.kind() == std::io::ErrorKind::BrokenPipe => Outcome::Done,
        Err(e) => {
            complain(&format!("middlewatch: standard output: {e}"));
            Outcome::Failed
        }
    }
}

/// Reads a moment of UTC from the command line.
///
/// # Errors
/// How it is written.
pub fn time(text: &str) -> Result<Utc, &'static str> {
    Utc::parse(text).ok_or("a time is written as 2026-11-01T18:00:00Z")
}
