//! `boat.toml`: the boat, her crew, her wires and her sounders. Parsing is strict: an unknown key, a wrong type or a
//! senseless value is a mistake with line and column, and all mistakes are reported at once. What is odd but allowed is
//! a warning. Every key is a constant with its purpose, default and range; [`reference()`] prints them.

mod audience;
mod button;
mod calls;
mod contact;
mod control;
mod crew;
mod feed;
mod gear;
mod guidance;
pub mod places;
mod signal;
mod template;
mod vessel;
mod watch;
mod webhook;

pub use audience::{Audience, Hears, Reaches, Rest};
pub use button::{Button, Does, GpioLine};
pub use calls::Calls;
pub use contact::Contact;
pub use control::{Listen, Sentences};
pub use crew::Crew;
pub use feed::{Connection, Feed};
pub use gear::{Due, Gear, Passage};
pub use guidance::Guidance;
pub use signal::{Bridge, Formatter, Means, Outlet, Signal, Switched};
pub use template::{Form, Template, TemplateError};
pub use vessel::{Vessel, lookout_settings};
pub use watch::WatchSetting;
pub use webhook::{Address, AddressError, KeyFile, LONGEST_POST, Webhook, address};

use form::{Key, Nested, Reference, Table, VERSION};
use std::path::{Path, PathBuf};
use terms::Problems;

/// The newest supported version of the file format.
const NEWEST: u32 = 1;

/// Everything `boat.toml` says, resolved.
#[derive(Debug, Clone, Default)]
pub struct Boat {
    /// The vessel.
    pub vessel: Vessel,
    /// Her crew, at most 64.
    pub crew: Vec<Crew>,
    /// Contacts ashore, at most 16.
    pub contacts: Vec<Contact>,
    /// Her gear with due dates, at most 128.
    pub gear: Vec<Gear>,
    /// The planned passage.
    pub passage: Passage,
    /// Which received messages are announced.
    pub calls: Calls,
    /// Her wires and connections, at most 32.
    pub feeds: Vec<Feed>,
    /// Her signals, at most 32.
    pub signals: Vec<Signal>,
    /// Who keeps the watch, and the watch alarm.
    pub watch: WatchSetting,
    /// How the way back to one of ours overboard is said.
    pub guidance: Guidance,
    /// Buttons on GPIO lines, at most 32.
    pub buttons: Vec<Button>,
    /// The line that changes level while the watch is stood.
    pub heartbeat: Option<GpioLine>,
    /// The standing orders; `None` for the default place.
    pub orders: Option<PathBuf>,
    /// The logbook; `None` for the default place.
    pub logbook: Option<PathBuf>,
    /// Where raw sentences are recorded, if at all.
    pub sentences: Option<Sentences>,
    /// The control socket; `None` for the default place.
    pub control: Option<PathBuf>,
    /// Control over TCP; `None` disables it.
    pub listen: Option<Listen>,
}

/// Reads the text of a `boat.toml`; `file` is its name in messages. Relative paths start at the folder of that file.
/// Returns the boat with any warnings.
///
/// # Errors
/// Every mistake in the file, and its warnings.
pub fn read(file: &str, text: &str) -> Result<(Boat, Problems), Problems> {
    let folder = Path::new(file).parent().unwrap_or(Path::new(""));
    form::read(file, text, NEWEST, |t| boat(t, folder))
}

/// Every table and key of `boat.toml`, with its purpose, default and range.
pub fn reference() -> Reference {
    form::blank(|t| boat(t, Path::new("")))
}

/// Parses the whole file. It reads every part before giving up, so that it finds all mistakes.
fn boat(mut t: Table<'_>, folder: &Path) -> Option<Boat> {
    t.take(&VERSION);
    let vessel = vessel::vessel(&mut t);
    let crew = crew::crew(&mut t);
    let contacts = contact::contacts(&mut t);
    let gear = gear::gear(&mut t);
    let passage = gear::passage(&mut t);
    let calls = calls::calls(&mut t);
    let watch = watch::watch(&mut t, crew.as_deref());
    let guidance = guidance::guidance(&mut t);
    let feeds = feed::feeds(&mut t, folder);
    let signals = signal::signals(&mut t, folder, crew.as_deref(), feeds.as_deref());
    let buttons = button::buttons(&mut t, folder, watch.as_ref());
    let heartbeat = button::heartbeat(&mut t, folder);
    let orders = control::orders(&mut t, folder);
    let (logbook, sentences) = control::logbook(&mut t, folder);
    let (control, listen) = control::control(&mut t, folder);
    Some(Boat {
        vessel,
        crew: crew?,
        contacts: contacts?,
        gear: gear?,
        passage,
        calls: calls?,
        feeds: feeds?,
        signals: signals?,
        watch: watch?,
        guidance: guidance?,
        buttons: buttons?,
        heartbeat,
        orders,
        logbook,
        sentences,
        control,
        listen,
    })
}

/// Parses each table of a list with `read`. Returns `None` if one is unusable, but still reads the others.
fn each<'t, T>(
    t: &mut Table<'t>,
    key: &'static Key<Nested>,
    read: impl FnMut(Table<'t>) -> Option<T>,
) -> Option<Vec<T>> {
    let all: Vec<Option<T>> = t.tables(key).into_iter().map(read).collect();
    all.into_iter().collect()
}

#[cfg(test)]
mod tests;
