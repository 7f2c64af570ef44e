//! GPIO lines, and the buttons on them.

use super::read::Reader;
use crate::GpioLine;
use record::Act;
use serde::Deserialize;
use std::ops::Range;
use std::path::PathBuf;
use std::time::Duration;
use toml::Spanned;

/// Contacts are still after so long (common practice: 5 to 20 ms for small switches).
const DEBOUNCE: Duration = Duration::from_millis(30);
/// An overboard button is held so long, unless its entry says otherwise: a knee against it is no casualty.
const HOLD: Duration = Duration::from_secs(2);

/// A button.
#[derive(Debug, Clone, PartialEq)]
pub struct Button {
    /// As reports call it.
    pub name: String,
    /// Where it is.
    pub line: GpioLine,
    /// What it does.
    pub does: Does,
    /// Held so long before it does.
    pub hold: Duration,
    /// Still so long before it counts.
    pub debounce: Duration,
}

/// What a button does.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Does {
    /// Acknowledges all that is open.
    Acknowledge,
    /// Silences all that sounds.
    Silence,
    /// Somebody has gone over the side.
    Overboard,
    /// Resets the watch alarm from the lookout position of the button's name.
    Reset,
}

impl Button {
    /// The act it does.
    pub fn act(&self) -> Act {
        match self.does {
            Does::Acknowledge => Act::Acknowledge { alert: None, order: None },
            Does::Silence => Act::Silence { alert: None, order: None },
            // It happened when the button went down.
            Does::Reset => Act::ResetWatchAlarm { from: self.name.clone() },
            Does::Overboard => Act::Overboard { late_s: self.hold.as_secs_f64(), who: None },
        }
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RawLine {
    chip: Option<Spanned<PathBuf>>,
    line: Option<u32>,
    #[serde(default)]
    active_low: bool,
    recorded: Option<PathBuf>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RawButton {
    name: Spanned<String>,
    line: Spanned<RawLine>,
    does: Spanned<String>,
    hold: Option<Spanned<String>>,
    debounce: Option<Spanned<String>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RawHeartbeat {
    pub line: Spanned<RawLine>,
}

impl Reader {
    pub(super) fn line(&mut self, raw: Spanned<RawLine>) -> Option<GpioLine> {
        let span = raw.span();
        let line = match raw.into_inner() {
            RawLine { chip: Some(chip), line: Some(line), active_low, recorded: None } => {
                GpioLine::Chip { chip: chip.into_inner(), line, active_low }
            }
            RawLine { chip: None, line: None, active_low: false, recorded: Some(path) } => {
                GpioLine::Recorded(self.beside(&path))
            }
            _ => {
                self.problem(
                    span,
                    "a line is { chip = \"/dev/gpiochip0\", line = 17 }, with `active_low = true` if so, or { recorded = \"FILE\" }",
                );
                return None;
            }
        };
        self.once("line", &line.to_string(), span);
        Some(line)
    }

    pub(super) fn button(&mut self, raw: RawButton, _: Range<usize>) -> Option<Button> {
        let name = self.name("button", &raw.name);
        let line = self.line(raw.line);
        let does = match raw.does.get_ref().as_str() {
            "acknowledge" => Some(Does::Acknowledge),
            "silence" => Some(Does::Silence),
            "overboard" => Some(Does::Overboard),
            "reset" => Some(Does::Reset),
            _ => {
                self.problem(
                    raw.does.span(),
                    "a button does \"acknowledge\", \"silence\", \"overboard\" or \"reset\"",
                );
                None
            }
        };
        let default = if does == Some(Does::Overboard) { HOLD } else { Duration::ZERO };
        let hold = raw.hold.and_then(|h| self.duration(&h)).unwrap_or(default);
        let debounce = raw.debounce.and_then(|d| self.duration(&d)).unwrap_or(DEBOUNCE);
        Some(Button { name: name?, line: line?, does: does?, hold, debounce })
    }
}
