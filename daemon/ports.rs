//! Which serial ports speak, at which speed, and what they say; and a first `boat.toml` made of that.

use crate::clock::Clock;
use crate::feeds::{CHUNK, serial};
use crate::files;
use sentence::{Decoder, DecoderOptions, Framed, Framer, FramerOptions, Report};
use std::collections::{BTreeMap, BTreeSet};
use std::io::{self, ErrorKind};
use std::path::{Path, PathBuf};
use std::time::Duration;
use terms::Mmsi;
use tokio::io::AsyncReadExt;

/// Speeds tried, the usual ones first: AIS and IEC 61162-2, IEC 61162-1, then what adapters and receivers are set to.
const BAUDS: [u32; 6] = [38_400, 4_800, 9_600, 115_200, 19_200, 57_600];
/// A port that brings no byte for so long is silent.
const SILENT: Duration = Duration::from_secs(10);
/// So long a speed is listened to once bytes come.
const LISTEN: Duration = Duration::from_millis(2500);
/// Ports looked at; the most feeds a boat can have.
const MOST: usize = 32;
/// Kinds of sentences told of one port; as many as one line can be read.
const MOST_KINDS: usize = 40;
/// A line without checksums is believed to speak after so many sentences; with checksums the first one proves it.
const UNCHECKED: u64 = 3;

/// What became of a port.
#[derive(Debug)]
pub struct Port {
    /// As it is to be named in `boat.toml`.
    pub path: PathBuf,
    /// What it said, or why nothing could be heard.
    pub heard: io::Result<Heard>,
}

/// What a port said.
#[derive(Debug, Default)]
pub struct Heard {
    /// The speed at which it speaks sentences; `None` where it speaks none.
    baud: Option<u32>,
    /// Bytes that came at any speed.
    bytes: u64,
    /// How often each talker and formatter came.
    kinds: BTreeMap<String, u64>,
    /// Sentences without a checksum.
    unchecked: u64,
    /// The identity in own AIS set's reports (VDO).
    own: Option<Mmsi>,
}

impl Port {
    /// Whether it speaks sentences.
    pub fn speaks(&self) -> bool {
        self.heard.as_ref().is_ok_and(|h| h.baud.is_some())
    }

    /// What it said, for a person; why nothing could be heard with the port's name in front.
    pub fn words(&self) -> String {
        let path = self.path.display();
        match &self.heard {
            Err(e) => e.to_string(),
            Ok(h) => match h.baud {
                Some(baud) => {
                    let kinds: Vec<String> = h.kinds.iter().map(|(k, n)| format!("{k} {n}")).collect();
                    let sums = if h.unchecked > 0 { ", without checksums" } else { "" };
                    format!("speaks at {baud} baud{sums}: {}", kinds.join(", "))
                }
                None if h.bytes == 0 => format!("{path}: silent for {} s", SILENT.as_secs()),
                None => format!("{path}: {} bytes, but no sentence at any usual speed", h.bytes),
            },
        }
    }
}

/// The serial ports of this computer: by their stable names where they have one. The system's consoles are left alone.
pub fn found() -> Vec<PathBuf> {
    let consoles = Path::new("/sys/class/tty/console/active");
    let consoles = files::read(consoles, files::Kind::Value).unwrap_or_default();
    let consoles = String::from_utf8_lossy(&consoles);
    let mut seen: BTreeSet<PathBuf> =
        consoles.split_whitespace().map(|name| Path::new("/dev").join(name)).collect();
    let mut ports = Vec::new();
    let usb = ["ttyUSB", "ttyACM", "ttyAMA", "ttyS"].map(|name| ("/dev", name));
    for (folder, name) in [("/dev/serial/by-id", "")].into_iter().chain(usb) {
        let Ok(entries) = std::fs::read_dir(folder) else { continue };
        let mut paths: Vec<PathBuf> = entries.flatten().map(|e| e.path()).collect();
        paths.retain(|p| p.file_name().is_some_and(|n| n.to_string_lossy().starts_with(name)));
        paths.sort();
        ports
            .extend(paths.into_iter().filter(|p| seen.insert(std::fs::canonicalize(p).unwrap_or(p.clone()))));
    }
    ports
}

/// Listens to ports, all at once.
pub async fn look(paths: Vec<PathBuf>) -> Vec<Port> {
    let looking: Vec<_> = paths
        .into_iter()
        .take(MOST)
        .map(|path| (path.clone(), tokio::spawn(async move { listen(&path).await })))
        .collect();
    let mut ports = Vec::new();
    for (path, heard) in looking {
        let heard = heard.await.unwrap_or_else(|e| Err(io::Error::other(e)));
        ports.push(Port { path, heard });
    }
    ports
}

/// Whether there is only a name under /dev and no hardware behind it, as with most of the ttyS.
pub fn is_hollow(port: &Port) -> bool {
    // EIO of the serial driver comes as one of those that have no kind of their own.
    let hollow = |e: &io::Error| !matches!(e.kind(), ErrorKind::PermissionDenied | ErrorKind::ResourceBusy);
    let plain = port.path.file_name().is_some_and(|n| n.to_string_lossy().starts_with("ttyS"));
    plain && port.heard.as_ref().is_err_and(hollow)
}

/// Tries one speed after another until the port speaks.
async fn listen(path: &Path) -> io::Result<Heard> {
    let mut all = 0;
    for baud in BAUDS {
        let heard = at_speed(path, baud).await?;
        if heard.baud.is_some() {
            return Ok(heard);
        }
        all += heard.bytes;
        // What is on the wire comes at every speed, garbled or not.
        if all == 0 {
            break;
        }
    }
    Ok(Heard { bytes: all, ..Heard::default() })
}

/// Listens at one speed.
async fn at_speed(path: &Path, baud: u32) -> io::Result<Heard> {
    let mut port = serial(path, baud)?;
    let mut heard = Heard::default();
    let mut framer = Framer::new(FramerOptions { checksum_optional: true });
    let mut decoder = Decoder::new(DecoderOptions { simulator: true });
    let mut chunk = vec![0; CHUNK];
    let mut end = Clock.now() + SILENT;
    loop {
        let left = end.since(Clock.now());
        let Ok(n) = tokio::time::timeout(left, port.read(&mut chunk)).await else { break };
        let n = n?;
        if n == 0 {
            let why = format!("{}: unplugged while it was listened to", path.display());
            return Err(io::Error::new(ErrorKind::UnexpectedEof, why));
        }
        if heard.bytes == 0 {
            end = Clock.now() + LISTEN;
        }
        heard.bytes += n as u64;
        framer.push(&chunk[..n], &mut |framed| {
            let Framed::Sentence(s) = framed else { return };
            heard.unchecked += u64::from(!s.as_bytes().contains(&b'*'));
            let kind = format!("{}{}", s.talker(), s.formatter());
            if heard.kinds.len() < MOST_KINDS || heard.kinds.contains_key(&kind) {
                *heard.kinds.entry(kind).or_default() += 1;
            }
            if let Ok(Report::Ais(a)) = decoder.read(Clock.now(), &s)
                && a.own_vessel
            {
                heard.own = Some(a.mmsi);
            }
        });
        if Clock.now() >= end {
            break;
        }
    }
    let sentences = framer.counts().sentences;
    if sentences > heard.unchecked || sentences >= UNCHECKED {
        heard.baud = Some(baud);
    }
    Ok(heard)
}

/// A first `boat.toml` of the ports that speak; `None` where none does.
pub fn offer(ports: &[Port]) -> Option<String> {
    let speaking: Vec<(&Path, &Heard, u32)> = ports
        .iter()
        .filter_map(|p| {
            let heard = p.heard.as_ref().ok()?;
            Some((p.path.as_path(), heard, heard.baud?))
        })
        .collect();
    let own = speaking.iter().find_map(|(_, h, _)| h.own);
    if speaking.is_empty() {
        return None;
    }
    let mut text = "version = 1\n\n[vessel]\n# name = \"…\"\n".to_owned();
    text += &match own {
        Some(mmsi) => format!("mmsi = \"{mmsi}\"                # as own AIS set says; never a target\n"),
        None => {
            "# mmsi = \"…\"                     # nine digits, so that own AIS is never a target\n".to_owned()
        }
    };
    text += "# draught_m = 1.9\n# transducer_depth_m = 0.5\n# motoring_speed_kn = 5.5\n\n";
    text +=
        "# [[crew]]\n# name = \"…\"\n# beacon = \"972…\"                # of the life jacket's AIS beacon\n";
    let mut names: BTreeMap<&str, u32> = BTreeMap::new();
    for (path, heard, baud) in speaking {
        let name = name(heard);
        let n = names.entry(name).or_default();
        *n += 1;
        let name = if *n == 1 { name.to_owned() } else { format!("{name} {n}") };
        let path = toml::Value::String(path.to_string_lossy().into_owned());
        text += &format!("\n[[feed]]\nname = \"{name}\"\nserial = {path}\nbaud = {baud}\n");
        if heard.unchecked > 0 {
            text += "checksum_optional = true\n";
        }
    }
    text += "\n# What wakes the crew; without one nobody hears an alarm.\n";
    text += "# [[signal]]\n# name = \"voice\"\n# command = [\"espeak-ng\", \"--stdin\"]\n";
    Some(text)
}

/// What a wire is called by what it carries.
fn name(heard: &Heard) -> &'static str {
    let any = |wanted: &[&str]| heard.kinds.keys().any(|k| k.len() == 5 && wanted.contains(&&k[2..]));
    let instruments =
        any(&["DPT", "DBT", "MWV", "MWD", "VWR", "VHW", "HDG", "HDM", "HDT", "MTW", "XDR", "RSA"]);
    match (any(&["VDM", "VDO"]), instruments, any(&["RMC", "GGA", "GLL", "GNS"])) {
        (true, true, _) => "bus",
        (true, false, _) => "ais",
        (false, false, true) => "gps",
        _ => "instruments",
    }
}
