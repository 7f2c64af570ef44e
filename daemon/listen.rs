//! `listen`: decodes each sentence, for a person who commissions a wire or for a program.

use crate::check::read_file;
use crate::clock::Clock;
use crate::control::{self, Held};
use crate::feeds::{self, CHUNK, Opened};
use crate::files;
use crate::outcome::{Outcome, complain};
use boat::{Boat, Connection, places};
use sentence::{Counts, Decoder, DecoderOptions, Framed, Framer, FramerOptions, Refusal, Report, Sentence};
use serde_json::{Map, Value, json};
use std::collections::BTreeMap;
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::sync::atomic::Ordering;
use terms::{Moment, is_hidden, one_line};

/// Formatters, talkers and stations the summary counts one by one; any more are counted together.
const MOST_KINDS: usize = 256;

/// Listens to inputs one after the other and prints what each line says. A live feed goes on until interrupted.
/// `config` is the boat's file; by default the installed one, if there is one.
pub fn listen(inputs: Vec<Input>, config: Option<&Path>, json: bool) -> Outcome {
    let runtime = match tokio::runtime::Builder::new_current_thread().enable_all().build() {
        Ok(r) => r,
        Err(e) => {
            complain(&format!("middlewatch: {e}"));
            return Outcome::Failed;
        }
    };
    let boat = match (read_file(config.unwrap_or(Path::new(places::BOAT)), boat::read), config) {
        (Ok((boat, _)), _) => Some(boat),
        (Err(_), None) => None,
        (Err(why), Some(_)) => {
            eprintln!("{why}");
            return Outcome::BadFile;
        }
    };
    let mut outcome = Outcome::Done;
    for Input { name, from } in inputs {
        match runtime.block_on(one(&name, from, boat.as_ref(), json)) {
            Ok(()) => {}
            Err(e) if e.kind() == io::ErrorKind::BrokenPipe => return outcome,
            Err(e) => {
                let taken = matches!(e.kind(), io::ErrorKind::AddrInUse | io::ErrorKind::ResourceBusy);
                let hint = "; if a watch that runs has it, name its boat: --config FILE";
                let hint = if taken && config.is_none() { hint } else { "" };
                complain(&format!("middlewatch: {name}: {e}{hint}"));
                outcome = Outcome::Failed;
            }
        }
    }
    outcome
}

/// A feed as named on the command line.
#[derive(Debug, Clone)]
pub struct Input {
    name: String,
    from: Source,
}

#[derive(Debug, Clone)]
enum Source {
    /// A feed of the boat, by its name.
    Feed(String),
    Connection(Connection),
}

impl Input {
    /// Parses `-`, feed:NAME, serial:PATH@BAUD, tcp:HOST:PORT, udp:ADDRESS:PORT or the path of a file.
    ///
    /// # Errors
    /// How an input is written.
    pub fn read(text: &str) -> Result<Self, &'static str> {
        let source = match text.split_once(':') {
            _ if text == "-" => Connection::StandardInput,
            Some(("feed", name)) => {
                return Ok(Self { name: name.to_owned(), from: Source::Feed(name.to_owned()) });
            }
            Some(("serial", rest)) => {
                let (path, baud) = rest.rsplit_once('@').unwrap_or((rest, "4800"));
                let baud =
                    baud.parse().map_err(|_| "a serial line is written as serial:/dev/ttyUSB0@38400")?;
                Connection::Serial { path: path.into(), baud }
            }
            Some(("tcp", address)) => {
                let port = address.rsplit_once(':').and_then(|(_, port)| port.parse::<u16>().ok());
                port.ok_or("a connection is written as tcp:192.168.1.10:10110")?;
                Connection::Tcp(address.to_owned())
            }
            Some(("udp", address)) => {
                let bind = address.parse().map_err(|_| "a datagram feed is written as udp:0.0.0.0:60001")?;
                Connection::Udp { bind, group: None, interface: None }
            }
            _ => Connection::File(PathBuf::from(text)),
        };
        Ok(Self { name: text.to_owned(), from: Source::Connection(source) })
    }
}

/// Looks at a feed through the watch that runs, if it has it; a second reader would take what the watch must hear, or be
/// refused.
async fn through_the_watch(from: &Source, boat: Option<&Boat>) -> Option<Held> {
    let asked = match from {
        Source::Feed(name) => format!("feed:{name}"),
        // Of these everybody has his own.
        Source::Connection(Connection::File(_) | Connection::StandardInput) => return None,
        Source::Connection(source) => feeds::address(source),
    };
    let socket = boat.and_then(|b| b.control.as_deref()).unwrap_or(Path::new(places::CONTROL));
    match control::look(socket, &[asked]).await {
        Ok(held) => held.into_iter().next().flatten(),
        Err(e) => {
            eprintln!("middlewatch: a watch that runs cannot be looked through: {e}");
            None
        }
    }
}

async fn one(name: &str, from: Source, boat: Option<&Boat>, json: bool) -> io::Result<()> {
    let clock = Clock;
    let held = through_the_watch(&from, boat).await;
    let lost = held.as_ref().map(|h| h.lost.clone()).unwrap_or_default();
    let mut from = match (held, from) {
        (Some(held), _) => {
            eprintln!("middlewatch: {}, through the running watch, which has it {}", held.name, held.state);
            Opened::Stream(Box::new(held.bytes))
        }
        // Read a file to its end; only the running watch follows it further.
        (None, Source::Connection(Connection::File(path))) => {
            let opening = tokio::task::spawn_blocking(move || files::stream(&path));
            let file = opening.await.map_err(io::Error::other)??;
            Opened::Stream(Box::new(tokio::fs::File::from_std(file)))
        }
        (None, Source::Connection(source)) => Opened::open(&source).await?.0,
        (None, Source::Feed(feed)) => {
            let mut feeds = boat.iter().flat_map(|b| &b.feeds);
            let feed = feeds.find(|f| f.name == feed).ok_or_else(|| {
                io::Error::new(
                    io::ErrorKind::NotFound,
                    "no watch that runs and no boat's file has this feed; --config FILE names the file",
                )
            })?;
            Opened::open(&feed.source).await?.0
        }
    };
    let name = one_line(name);
    let mut ear = Ear::new(&name, json);
    let mut chunk = vec![0; CHUNK];
    let interrupted = tokio::signal::ctrl_c();
    tokio::pin!(interrupted);
    loop {
        let n = tokio::select! {
            biased;
            _ = &mut interrupted => break,
            n = from.read(&mut chunk) => n?,
        };
        let ended = n == 0 && !from.whole_lines();
        ear.take(clock.now(), &chunk[..n], ended || from.whole_lines())?;
        if ended {
            break;
        }
    }
    ear.dropped = lost.load(Ordering::Relaxed) + from.dropped();
    ear.summary()
}

/// One feed being listened to.
struct Ear<'n> {
    name: &'n str,
    json: bool,
    out: io::BufWriter<io::Stdout>,
    framer: Framer,
    /// Counts the decoder's refusals; the framer counts its own.
    refused: Counts,
    decoder: Decoder,
    line: u64,
    kinds: BTreeMap<String, u64>,
    stations: BTreeMap<String, u64>,
    own: Option<terms::Position>,
    farthest_nm: Option<f64>,
    first: Option<Moment>,
    last: Moment,
    /// Datagrams, or pieces of what the running watch heard, that were not read in time.
    dropped: u64,
}

impl<'n> Ear<'n> {
    fn new(name: &'n str, json: bool) -> Self {
        Self {
            name,
            json,
            out: io::BufWriter::new(io::stdout()),
            framer: Framer::new(FramerOptions::default()),
            refused: Counts::default(),
            decoder: Decoder::new(DecoderOptions { simulator: true }),
            line: 1,
            kinds: BTreeMap::new(),
            stations: BTreeMap::new(),
            own: None,
            farthest_nm: None,
            first: None,
            last: Moment::ZERO,
            dropped: 0,
        }
    }

    /// Takes bytes line by line, so that each sentence is reported with its line number.
    fn take(&mut self, at: Moment, bytes: &[u8], end: bool) -> io::Result<()> {
        self.first.get_or_insert(at);
        self.last = at;
        let mut result = Ok(());
        for piece in bytes.split_inclusive(|&b| b == b'\n') {
            let mut framer = std::mem::replace(&mut self.framer, Framer::new(FramerOptions::default()));
            framer.push(piece, &mut |f| {
                let told = self.tell(at, &f);
                if result.is_ok() {
                    result = told;
                }
            });
            self.framer = framer;
            self.line += u64::from(piece.ends_with(b"\n"));
        }
        if end {
            let mut framer = std::mem::replace(&mut self.framer, Framer::new(FramerOptions::default()));
            framer.finish(&mut |f| {
                let told = self.tell(at, &f);
                if result.is_ok() {
                    result = told;
                }
            });
            self.framer = framer;
        }
        result.and_then(|()| self.out.flush())
    }

    fn tell(&mut self, at: Moment, framed: &Framed<'_>) -> io::Result<()> {
        match framed {
            Framed::Refused { line, why } => self.refuse(line, *why),
            Framed::Sentence(s) => match self.decoder.read(at, s) {
                Ok(report) => self.heard(s, &report),
                Err(why) => {
                    self.refused.refuse(why);
                    self.refuse(s.as_bytes(), why)
                }
            },
        }
    }

    fn refuse(&mut self, line: &[u8], why: Refusal) -> io::Result<()> {
        if self.json {
            writeln!(self.out, "{}", json!({"line": self.line, "refused": why.text()}))
        } else {
            let shown: String = String::from_utf8_lossy(line).chars().map(shown).take(82).collect();
            writeln!(self.out, "{:>6}  refused, {}: {shown}", self.line, why.text())
        }
    }

    fn heard(&mut self, s: &Sentence<'_>, report: &Report) -> io::Result<()> {
        self.count(s, report);
        let fields = match serde_json::to_value(report) {
            Ok(Value::Object(fields)) => fields,
            _ => Map::new(),
        };
        if !self.json {
            let words: Vec<String> = fields.iter().filter_map(|(k, v)| word(k, v)).collect();
            let words = match report {
                Report::Fragment => "part of an AIS message".to_owned(),
                Report::Unread => "counted, not read".to_owned(),
                _ if words.is_empty() => "nothing available".to_owned(),
                _ => words.join(", "),
            };
            return writeln!(self.out, "{:>6}  {}{}  {words}", self.line, s.talker(), s.formatter());
        }
        let mut record = Map::new();
        record.insert("line".into(), self.line.into());
        record.insert("feed".into(), self.name.into());
        if !matches!(report, Report::Ais(_)) {
            record.insert("talker".into(), s.talker().into());
            record.insert("formatter".into(), s.formatter().into());
        }
        match report {
            Report::Fragment => drop(record.insert("fragment".into(), true.into())),
            Report::Unread => drop(record.insert("unread".into(), true.into())),
            _ => record.extend(fields),
        }
        writeln!(self.out, "{}", Value::Object(record))
    }

    fn count(&mut self, s: &Sentence<'_>, report: &Report) {
        let add = |table: &mut BTreeMap<String, u64>, key: String| {
            let key =
                if table.len() < MOST_KINDS || table.contains_key(&key) { key } else { "others".to_owned() };
            *table.entry(key).or_default() += 1;
        };
        add(&mut self.kinds, format!("{}{}", s.talker(), s.formatter()));
        match report {
            Report::Fix(f) => self.own = f.position.or(self.own),
            Report::Ais(a) if a.own_vessel => self.own = a.position.or(self.own),
            Report::Ais(a) => {
                add(&mut self.stations, a.mmsi.to_string());
                if let (Some(own), Some(there)) = (self.own, a.position) {
                    let range = own.range_and_bearing(there).0;
                    self.farthest_nm = Some(self.farthest_nm.map_or(range, |f| f.max(range)));
                }
            }
            _ => {}
        }
    }

    /// Prints what the feed brought: on standard output for a person, on standard error if a program reads standard
    /// output.
    fn summary(&mut self) -> io::Result<()> {
        let counts = self.framer.counts();
        let mut text = format!("\n{}: {} bytes, {} sentences", self.name, counts.bytes, counts.sentences);
        let seconds = self.first.map_or(0.0, |f| self.last.seconds_from(f));
        if seconds >= 10.0 {
            text += &format!(", {:.1} a second", counts.sentences as f64 / seconds);
        }
        for (kind, n) in &self.kinds {
            text += &format!("\n  {kind:<8} {n}");
        }
        if !self.stations.is_empty() {
            text += &format!("\n  {} stations heard by AIS", self.stations.len());
            if let Some(range) = self.farthest_nm {
                text += &format!(", the farthest at {range:.1} nm");
            }
        }
        for why in Refusal::ALL {
            let n = counts.refused(*why) + self.refused.refused(*why);
            if n > 0 {
                text += &format!("\n  refused, {}: {n}", why.text());
            }
        }
        if self.dropped > 0 {
            text += &format!("\n  not read in time, and lost here: {}", self.dropped);
        }
        text += "\n";
        if self.json {
            io::stderr().write_all(text.as_bytes())
        } else {
            self.out.write_all(text.as_bytes())
        }?;
        self.out.flush()
    }
}

/// A character made safe for a terminal.
fn shown(c: char) -> char {
    if is_hidden(c) || c == char::REPLACEMENT_CHARACTER { '·' } else { c }
}

/// Name endings that denote units, with the symbol a person reads.
const UNITS: [(&str, &str); 14] = [
    ("_deg_min", "°/min"),
    ("_per_min", "/min"),
    ("_of_day_min", " min of the day"),
    ("_of_day_ms", " ms of the day"),
    ("_deg", "°"),
    ("_kn", " kn"),
    ("_nm", " nm"),
    ("_hpa", " hPa"),
    ("_min", "′"),
    ("_ms", " ms"),
    ("_m", " m"),
    ("_s", " s"),
    ("_c", " °C"),
    ("_v", " V"),
];

/// A named quantity for a person; `None` if not available.
fn word(key: &str, value: &Value) -> Option<String> {
    let (name, unit) =
        UNITS.iter().find_map(|(end, sign)| Some((key.strip_suffix(end)?, *sign))).unwrap_or((key, ""));
    let name = if name.is_empty() { key } else { name }.replace('_', " ");
    match value {
        Value::Null => None,
        Value::Bool(false) => None,
        Value::Bool(true) => Some(name),
        Value::Number(n) => Some(match n.as_f64().filter(|_| n.is_f64()) {
            Some(f) => format!("{name} {}{unit}", (f * 1e5).round() / 1e5),
            None => format!("{name} {n}{unit}"),
        }),
        Value::String(s) => Some(format!("{name} {}{unit}", s.chars().map(shown).collect::<String>())),
        Value::Array(list) => {
            let all: Vec<String> = list.iter().filter_map(|v| word("", v)).collect();
            (!all.is_empty()).then(|| format!("{name} {}", all.join("; ")))
        }
        Value::Object(map) => {
            let all: Vec<String> = map.iter().filter_map(|(k, v)| word(k, v)).collect();
            (!all.is_empty()).then(|| format!("{name} ({})", all.join(" ")).trim().to_owned())
        }
    }
}
