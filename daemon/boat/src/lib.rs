//! `boat.toml`: the boat, her crew, her wires and her sounders. Strict: an unknown key, a wrong type or a value that
//! makes no sense is a problem with line and column, and all of them are told at once.

mod address;
mod audience;
mod button;
mod control;
mod gear;
mod gpio;
mod means;
pub mod places;
mod read;
mod signal;
mod template;
mod watch;

pub use address::{Address, AddressError, address};
pub use audience::{Audience, Hears, Reaches, Rest};
pub use button::{Button, Does};
pub use control::Listen;
pub use gear::{Due, Gear, Passage};
pub use gpio::GpioLine;
pub use means::{Bridge, Formatter, KeyFile, Outlet, Switched, Webhook};
pub use read::read;
pub use signal::{Means, Signal};
pub use template::{Form, Template, TemplateError};
pub use watch::WatchSetting;

use lookout::casualty::CrewMember;
use lookout::{Dimensions, Settings};
use std::net::{Ipv4Addr, SocketAddr};
use std::path::PathBuf;
use std::time::Duration;
use terms::{Day, FeedId, Mmsi, Utc};

/// Where a feed that says nothing is called silent, unless its entry says otherwise.
pub const SILENT_AFTER: Duration = Duration::from_secs(60);

/// Everything `boat.toml` says, resolved.
#[derive(Debug, Clone, Default)]
pub struct Boat {
    /// The vessel.
    pub vessel: Vessel,
    /// Her crew, at most 64.
    pub crew: Vec<Crew>,
    /// Her gear that has a date, at most 128.
    pub gear: Vec<Gear>,
    /// The passage that is planned.
    pub passage: Passage,
    /// Her wires and connections, at most 32.
    pub feeds: Vec<Feed>,
    /// Who or what is to be told, at most 32.
    pub signals: Vec<Signal>,
    /// Who keeps the watch, and how it is made sure of.
    pub watch: WatchSetting,
    /// Buttons on GPIO lines, at most 32.
    pub buttons: Vec<Button>,
    /// The line that moves while the watch is stood.
    pub heartbeat: Option<GpioLine>,
    /// The standing orders; `None` for the default place.
    pub orders: Option<PathBuf>,
    /// The logbook; `None` for the default place.
    pub logbook: Option<PathBuf>,
    /// Where sentences are kept too, if at all.
    pub sentences: Option<Sentences>,
    /// The control socket; `None` for the default place.
    pub control: Option<PathBuf>,
    /// Control over TCP; `None` for none.
    pub listen: Option<Listen>,
}

/// Sentences that are kept as they came.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Sentences {
    /// In this folder.
    pub folder: PathBuf,
    /// All files together are no larger.
    pub limit_bytes: u64,
}

/// The vessel.
#[derive(Debug, Clone, Default)]
pub struct Vessel {
    /// Her name, for reports.
    pub name: Option<String>,
    /// Her call sign, for the sheet that is read over the radio.
    pub call_sign: Option<String>,
    /// Her identity: never a target.
    pub mmsi: Option<Mmsi>,
    /// Identities of tenders and vessels in company, which are no ships to be called for.
    pub fleet: Vec<Mmsi>,
    /// Transducer below the surface, metres.
    pub transducer_depth_m: Option<f64>,
    /// Keel below the surface, metres.
    pub draught_m: Option<f64>,
    /// Speed she makes under engine.
    pub motoring_speed_kn: Option<f64>,
    /// Variation where nothing better is known, east positive.
    pub variation_deg: Option<f64>,
    /// GPS antenna to bow, stern, port side, starboard side, metres.
    pub dimensions_m: Option<[f64; 4]>,
    /// Anemometer above the water, metres.
    pub masthead_m: Option<f64>,
    /// AIS antenna above the water, metres.
    pub antenna_m: Option<f64>,
}

/// One of the crew.
#[derive(Debug, Clone)]
pub struct Crew {
    /// As it is to be called out.
    pub name: String,
    /// Identity of the life jacket's beacon.
    pub beacon: Option<Mmsi>,
    /// The last day of its battery.
    pub until: Option<Day>,
}

/// A wire or connection.
#[derive(Debug, Clone)]
pub struct Feed {
    /// As alerts and reports call it.
    pub name: String,
    /// What it is.
    pub source: Connection,
    /// Lines without a checksum are taken.
    pub checksum_optional: bool,
    /// Sentences in simulator mode are taken.
    pub simulator: bool,
    /// Acknowledgements that come by it (ACN, ACK) count.
    pub trusted: bool,
    /// Silence after which an alert is raised.
    pub silent_after: Duration,
}

/// Where a feed's bytes come from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Connection {
    /// A serial line.
    Serial {
        /// Device.
        path: PathBuf,
        /// Bits a second; IEC 61162-1 has 4800, IEC 61162-2 and AIS 38400.
        baud: u32,
    },
    /// A server that sends sentences, as host:port.
    Tcp(String),
    /// Datagrams, unicast, broadcast or of a group.
    Udp {
        /// Address to listen on.
        bind: SocketAddr,
        /// Multicast group to join.
        group: Option<Ipv4Addr>,
        /// Interface to join it on.
        interface: Option<Ipv4Addr>,
    },
    /// A file or named pipe, read from the start and then followed.
    File(PathBuf),
    /// Standard input.
    StandardInput,
}

/// What the lookout is told of the boat.
pub fn lookout_settings(boat: &Boat, not_before: Option<Utc>) -> Settings {
    let v = &boat.vessel;
    let crew = boat.crew.iter().map(|c| CrewMember { name: c.name.clone(), mmsi: c.beacon }).collect();
    let defaults = Settings::default();
    Settings {
        own_mmsi: v.mmsi,
        crew,
        fleet: v.fleet.clone(),
        feed_names: boat.feeds.iter().zip(0..).map(|(f, n)| (FeedId(n), f.name.clone())).collect(),
        transducer_to_waterline_m: v.transducer_depth_m,
        transducer_to_keel_m: v
            .draught_m
            .zip(v.transducer_depth_m)
            .map(|(keel, transducer)| keel - transducer),
        variation_deg: v.variation_deg,
        dimensions: v.dimensions_m.map(|[bow_m, stern_m, port_m, starboard_m]| Dimensions {
            bow_m,
            stern_m,
            port_m,
            starboard_m,
        }),
        motoring_speed_kn: v.motoring_speed_kn.unwrap_or(defaults.motoring_speed_kn),
        ais_antenna_m: v.antenna_m,
        earliest_utc: not_before.unwrap_or(Utc(0)),
        ..defaults
    }
}
