//! `[[feed]]`: the wires and connections that bring sentences.

use crate::each;
use form::{HostPort, Key, Name, Nested, Table, key};
use std::net::{Ipv4Addr, SocketAddr};
use std::path::{Path, PathBuf};
use std::time::Duration;

const FEED: Key<Nested> = key("feed", "a wire or connection that brings sentences").most(32);
const NAME: Key<Name> = key("name", "what alerts and reports call it").needed().example("bus").most(60);
const SERIAL: Key<PathBuf> = key("serial", "a serial line, by its device").example("/dev/ttyUSB0");
/// The speed of a serial line.
pub(crate) const BAUD: Key<u32> =
    key("baud", "bits a second of the serial line; 38400 for AIS").or("4800").within("300", "4000000");
const TCP: Key<HostPort> =
    key("tcp", "instead of `serial`: a server that sends sentences").example("192.168.1.10:10110");
const UDP: Key<SocketAddr> =
    key("udp", "instead of `serial`: the address to receive datagrams on; exclusive to this program unless it is a broadcast address")
        .example("0.0.0.0:10110");
const GROUP: Key<Ipv4Addr> = key(
    "group",
    "the multicast group to join, from 224.0.0.0 to 239.255.255.255; only its datagrams are heard",
)
.example("239.192.0.4");
const INTERFACE: Key<Ipv4Addr> =
    key("interface", "the interface to join it on, by its own address").example("192.168.1.2");
const FILE: Key<PathBuf> =
    key("file", "instead of `serial`: a file or named pipe, read from its start and then followed")
        .example("sentences.nmea");
const STANDARD_INPUT: Key<bool> =
    key("standard_input", "instead of `serial`: read standard input").or("false");
const CHECKSUM_OPTIONAL: Key<bool> = key("checksum_optional", "take lines without a checksum").or("false");
const SIMULATOR: Key<bool> = key("simulator", "take sentences in simulator mode").or("false");
const TRUSTED: Key<bool> = key("trusted", "accept acknowledgements that arrive by it (ACN, ACK)").or("false");
const SILENT_AFTER: Key<Duration> = key(
    "silent_after",
    "silence that raises an alert; default: judged by what the feed usually brings, at least 60 s",
)
.within("1 s", "24 h");

/// Speeds of common serial adapters and instruments (termios(3); IEC 61162-1 has 4800, IEC 61162-2 38400).
const USUAL: [u32; 13] =
    [300, 600, 1200, 2400, 4800, 9600, 19_200, 38_400, 57_600, 115_200, 230_400, 460_800, 921_600];

/// A wire or connection.
#[derive(Debug, Clone)]
pub struct Feed {
    /// Its name in alerts and reports.
    pub name: String,
    /// What it is.
    pub source: Connection,
    /// Accepts lines without a checksum.
    pub checksum_optional: bool,
    /// Accepts sentences in simulator mode.
    pub simulator: bool,
    /// Honours acknowledgements (ACN, ACK) that arrive on it.
    pub trusted: bool,
    /// Silence after which an alert is raised; `None`: once it is not usual for the feed.
    pub silent_after: Option<Duration>,
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
    /// Datagrams: unicast and broadcast, or those of a group.
    Udp {
        /// Address to listen on; of a group's only the port counts, and the interface where none is named.
        bind: SocketAddr,
        /// Multicast group to join and to hear alone.
        group: Option<Ipv4Addr>,
        /// Interface to join it on.
        interface: Option<Ipv4Addr>,
    },
    /// A file or named pipe, read from the start and then followed.
    File(PathBuf),
    /// Standard input.
    StandardInput,
}

/// Warns of a speed that hardly any device uses.
pub(crate) fn warn_of_speed<T>(t: &Table<'_>, key: &Key<T>, baud: u32) {
    let nearest = USUAL.into_iter().min_by_key(|usual| usual.abs_diff(baud)).filter(|usual| *usual != baud);
    if let Some(nearest) = nearest {
        t.warn(key, format!("{baud} is an unusual speed of a serial line; did you mean {nearest}?"));
    }
}

pub(crate) fn feeds(t: &mut Table<'_>, folder: &Path) -> Option<Vec<Feed>> {
    let feeds = each(t, &FEED, |t| feed(t, folder))?;
    if !t.has(&FEED) {
        t.warn(&FEED, "there is no [[feed]]: nothing is heard");
    }
    Some(feeds)
}

fn feed(mut t: Table<'_>, folder: &Path) -> Option<Feed> {
    let (name, serial, baud, tcp) = (t.take(&NAME), t.take(&SERIAL), t.take(&BAUD), t.take(&TCP));
    let (udp, group, interface) = (t.take(&UDP), t.take(&GROUP), t.take(&INTERFACE));
    let (file, standard_input) = (t.take(&FILE), t.take(&STANDARD_INPUT));
    let (checksum_optional, simulator) = (t.take(&CHECKSUM_OPTIONAL), t.take(&SIMULATOR));
    let (trusted, silent_after) = (t.take(&TRUSTED), t.take(&SILENT_AFTER));
    if let Some(name) = &name {
        t.once(&NAME, "feed", &name.0);
    }
    let standard_input = standard_input == Some(true);
    let ways = [t.has(&SERIAL), t.has(&TCP), t.has(&UDP), t.has(&FILE), standard_input];
    if ways.iter().filter(|w| **w).count() != 1 {
        t.wrong(&NAME, "a feed has exactly one of `serial`, `tcp`, `udp`, `file`, `standard_input = true`");
    }
    t.belongs(&BAUD, &SERIAL);
    t.belongs(&GROUP, &UDP);
    t.belongs(&INTERFACE, &UDP);
    if group.is_some_and(|g| !g.is_multicast()) {
        t.wrong(&GROUP, "a group is an IPv4 address from 224.0.0.0 to 239.255.255.255");
    }
    if let (Some(baud), true) = (baud, t.has(&SERIAL)) {
        warn_of_speed(&t, &BAUD, baud);
    }
    if simulator == Some(true) {
        t.warn(&SIMULATOR, "what a simulator makes up counts as real");
    }
    // A socket without a group has its address to itself; port 0 is a new one each time.
    if let (Some(udp), None) = (udp.filter(|udp| udp.port() != 0), group) {
        t.once(&UDP, "feed at", &udp.to_string());
    }
    if standard_input {
        t.once(&STANDARD_INPUT, "feed by", "standard input");
    }
    let source = match (serial, tcp, udp, file) {
        (Some(path), ..) => Connection::Serial { path: folder.join(path), baud: baud? },
        (_, Some(server), ..) => Connection::Tcp(server.0),
        (_, _, Some(bind), _) => Connection::Udp { bind, group, interface },
        (.., Some(path)) => Connection::File(folder.join(path)),
        _ => standard_input.then_some(Connection::StandardInput)?,
    };
    Some(Feed {
        name: name?.0,
        source,
        checksum_optional: checksum_optional?,
        simulator: simulator?,
        trusted: trusted?,
        silent_after,
    })
}
