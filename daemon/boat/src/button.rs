//! GPIO lines, the `[[button]]`s on them, and the `[heartbeat]`.

use crate::{WatchSetting, each};
use form::{Key, Name, Nested, Table, Word, key};
use record::Act;
use std::path::{Path, PathBuf};
use std::time::Duration;

const BUTTON: Key<Nested> = key("button", "a push button").most(32);
const NAME: Key<Name> = key("name", "what reports call it").needed().example("rail").most(60);
/// The GPIO line of a button or the heartbeat.
const LINE: Key<Nested> = key("line", "its GPIO line").needed();
const DOES: Key<Does> =
    key("does", "what it does; reset resets the watch alarm").needed().example("overboard");
const HOLD: Key<Duration> =
    key("hold", "how long to hold it before it acts; default 2 s for overboard, otherwise at once")
        .example("2 s")
        .within("0 s", "24 h");
/// Default debounce time (common practice: 5 to 20 ms for small switches).
const DEBOUNCE: Key<Duration> =
    key("debounce", "how long the contact must be steady to count").or("0.03 s").within("0 s", "24 h");
const HEARTBEAT: Key<Nested> =
    key("heartbeat", "a GPIO line that toggles about once a second while the watch runs");
const CHIP: Key<PathBuf> = key("chip", "the device of the GPIO chip").example("/dev/gpiochip0");
const NUMBER: Key<u32> = key("line", "the line's number on the chip").example("17");
const ACTIVE_LOW: Key<bool> = key("active_low", "the line is active when low").or("false");
const RECORDED: Key<PathBuf> =
    key("recorded", "for trials, instead of a chip: a file that takes or supplies the line's changes")
        .example("changes");

/// How long an overboard button is held by default: a knee against it is no casualty.
const OVERBOARD_HOLD: Duration = Duration::from_secs(2);

/// A button.
#[derive(Debug, Clone, PartialEq)]
pub struct Button {
    /// Its name in reports.
    pub name: String,
    /// Where it is.
    pub line: GpioLine,
    /// What it does.
    pub does: Does,
    /// How long it must be held before it acts.
    pub hold: Duration,
    /// How long the contact must be still before it counts.
    pub debounce: Duration,
}

/// What a button does.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Does {
    /// Acknowledges all open alerts.
    Acknowledge,
    /// Silences everything that sounds.
    Silence,
    /// Reports a person overboard.
    Overboard,
    /// Resets the watch alarm, with the button's name as the lookout position.
    Reset,
}

/// A GPIO line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum GpioLine {
    /// A line of a GPIO chip.
    Chip {
        /// Path of the chip's device, such as `/dev/gpiochip0`.
        chip: PathBuf,
        /// Its number on the chip.
        line: u32,
        /// Active when the level is low.
        active_low: bool,
    },
    /// Recorded in a file. An output appends its steady time in milliseconds and its level, one change a line. An input
    /// is a named pipe of the digits 0 and 1; a sense line is a file with one of them.
    Recorded(PathBuf),
}

impl std::fmt::Display for GpioLine {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Chip { chip, line, .. } => write!(f, "{} line {line}", chip.display()),
            Self::Recorded(path) => write!(f, "{}", path.display()),
        }
    }
}

impl Word for Does {
    const ALL: &'static [(&'static str, Self)] = &[
        ("acknowledge", Self::Acknowledge),
        ("silence", Self::Silence),
        ("overboard", Self::Overboard),
        ("reset", Self::Reset),
    ];
}

impl Button {
    /// The act of a press.
    pub fn act(&self) -> Act {
        match self.does {
            Does::Acknowledge => Act::Acknowledge { alert: None, order: None },
            Does::Silence => Act::Silence { alert: None, order: None },
            // The casualty happened when the button went down.
            Does::Reset => Act::ResetWatchAlarm { from: Some(self.name.clone()) },
            Does::Overboard => Act::Overboard { late_s: self.hold.as_secs_f64(), who: None },
        }
    }
}

/// A GPIO line, which must not be used twice.
pub(crate) fn gpio_line(mut t: Table<'_>, folder: &Path) -> Option<GpioLine> {
    let (chip, line, recorded) = (t.take(&CHIP), t.take(&NUMBER), t.take(&RECORDED));
    let active_low = t.take(&ACTIVE_LOW)?;
    let on_chip = match (t.has(&CHIP), t.has(&NUMBER), t.has(&RECORDED)) {
        (true, true, false) => true,
        (false, false, true) if !active_low => false,
        _ => {
            t.wrong_at(
                t.span(),
                "a line is { chip = \"/dev/gpiochip0\", line = 17 }, with `active_low = true` if so, or { recorded = \"FILE\" }",
            );
            return None;
        }
    };
    let found = if on_chip {
        GpioLine::Chip { chip: folder.join(chip?), line: line?, active_low }
    } else {
        GpioLine::Recorded(folder.join(recorded?))
    };
    t.once(&CHIP, "line", &found.to_string());
    Some(found)
}

pub(crate) fn buttons(t: &mut Table<'_>, folder: &Path, watch: Option<&WatchSetting>) -> Option<Vec<Button>> {
    each(t, &BUTTON, |mut t| {
        let (name, does, line) = (t.take(&NAME), t.take(&DOES), t.table(&LINE));
        let (hold, debounce) = (t.take(&HOLD), t.take(&DEBOUNCE));
        let line = line.and_then(|l| gpio_line(l, folder));
        if let Some(name) = &name {
            t.once(&NAME, "button", &name.0);
            let resets = |w: &WatchSetting| w.watch_alarm.as_ref().is_some_and(|a| a.resets_from(&name.0));
            if does == Some(Does::Reset) && watch.is_some_and(|w| !resets(w)) {
                t.warn(
                    &DOES,
                    format!("it resets nothing: `reset_from` of [watch.alarm] does not name \"{}\"", name.0),
                );
            }
        }
        let usual = if does == Some(Does::Overboard) { OVERBOARD_HOLD } else { Duration::ZERO };
        Some(Button {
            name: name?.0,
            line: line?,
            does: does?,
            hold: hold.unwrap_or(usual),
            debounce: debounce?,
        })
    })
}

pub(crate) fn heartbeat(t: &mut Table<'_>, folder: &Path) -> Option<GpioLine> {
    gpio_line(t.table(&HEARTBEAT)?.table(&LINE)?, folder)
}
