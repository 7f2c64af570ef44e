//! How a signal reaches people: what boat.toml says of each means.

use crate::address::Address;
use crate::template::Template;
use http::header::{HeaderName, HeaderValue};
use std::path::PathBuf;

/// Where sentences go.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Outlet {
    /// A serial line.
    Serial {
        /// Device.
        path: PathBuf,
        /// Bits a second.
        baud: u32,
    },
    /// A server that takes sentences, as host:port.
    Tcp(String),
    /// Datagrams of one sentence each to host:port; broadcast and multicast addresses will do.
    Udp(String),
    /// The wire of the feed of this name, which has it open.
    Feed(String),
}

/// A sentence that may be sent.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[allow(missing_docs, reason = "named by the standard")]
pub enum Formatter {
    Alf,
    Alc,
    Alr,
    Hbt,
    Tll,
    Wpl,
}

impl Formatter {
    /// All of them, by name.
    pub const ALL: [(&str, Self); 6] = [
        ("ALF", Self::Alf),
        ("ALC", Self::Alc),
        ("ALR", Self::Alr),
        ("HBT", Self::Hbt),
        ("TLL", Self::Tll),
        ("WPL", Self::Wpl),
    ];
}

/// A bridge as configured.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Bridge {
    /// Where to.
    pub outlet: Outlet,
    /// What is sent.
    pub sentences: Vec<Formatter>,
}

/// What is switched.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Switched {
    /// A buzzer or horn: patterns by priority.
    Buzzer,
    /// A lamp: flashes while somebody has yet to acknowledge, is lit while an alert goes on.
    Lamp,
    /// A relay: closed while something sounds.
    Relay,
}

/// A webhook as configured.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Webhook {
    /// Where to.
    pub address: Address,
    /// What goes with each post.
    pub headers: Vec<(HeaderName, HeaderValue)>,
    /// What is posted in place of the record.
    pub body: Option<Template>,
    /// What it is signed with.
    pub key: Option<KeyFile>,
}

/// Where the secret of a signature lies. It is read for each post, so that a new one counts at once.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct KeyFile {
    /// The key as the receiver knows it.
    pub id: String,
    /// The file with the secret; a line end behind it does not count.
    pub path: PathBuf,
}
