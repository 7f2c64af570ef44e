//! Reading `boat.toml`.

use super::button::RawHeartbeat;
use super::gear::RawDay;
use super::{Boat, Connection, Crew, Feed, SILENT_AFTER, Sentences, Vessel};
use serde::Deserialize;
use serde::de::IntoDeserializer;
use std::net::{Ipv4Addr, SocketAddr};
use std::ops::Range;
use std::path::{Path, PathBuf};
use std::time::Duration;
use terms::{Dimension, Mmsi, Problems, nearest, version_trouble};
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// The version of the file's form that is read.
const VERSION: u32 = 1;
/// The most feeds, and the most signals.
const MOST_LINES: usize = 32;
/// The folder of sentences takes so much unless it is told otherwise.
const SENTENCES_MB: u64 = 1000;
/// The most crew.
const MOST_CREW: usize = 64;
/// The most gear with a date.
const MOST_GEAR: usize = 128;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawVessel {
    name: Option<String>,
    call_sign: Option<String>,
    mmsi: Option<Spanned<String>>,
    #[serde(default)]
    fleet: Vec<Spanned<String>>,
    transducer_depth_m: Option<Spanned<f64>>,
    draught_m: Option<Spanned<f64>>,
    motoring_speed_kn: Option<Spanned<f64>>,
    variation_deg: Option<Spanned<f64>>,
    dimensions_m: Option<Spanned<[f64; 4]>>,
    masthead_m: Option<Spanned<f64>>,
    antenna_m: Option<Spanned<f64>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawCrew {
    name: Spanned<String>,
    beacon: Option<Spanned<String>>,
    until: Option<Spanned<RawDay>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawFeed {
    name: Spanned<String>,
    serial: Option<PathBuf>,
    baud: Option<Spanned<u32>>,
    tcp: Option<Spanned<String>>,
    udp: Option<Spanned<String>>,
    group: Option<Spanned<String>>,
    interface: Option<Spanned<String>>,
    file: Option<PathBuf>,
    standard_input: Option<bool>,
    #[serde(default)]
    checksum_optional: bool,
    #[serde(default)]
    simulator: bool,
    #[serde(default)]
    trusted: bool,
    silent_after: Option<Spanned<String>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawPlace {
    path: PathBuf,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawLogbook {
    path: Option<PathBuf>,
    sentences: Option<PathBuf>,
    sentences_mb: Option<Spanned<u64>>,
}

/// Keys of the file's top level.
const TOP: [&str; 13] = [
    "version",
    "vessel",
    "crew",
    "gear",
    "passage",
    "watch",
    "feed",
    "signal",
    "button",
    "heartbeat",
    "orders",
    "logbook",
    "control",
];

/// Reads the text of a `boat.toml`; `file` is its name in messages. Paths in it that are not absolute begin at the
/// folder of that file.
///
/// # Errors
/// Every problem of the file.
pub fn read(file: &str, text: &str) -> Result<Boat, Problems> {
    let mut problems = Problems::new(file, text);
    let (table, syntax) = DeTable::parse_recoverable(text);
    for e in &syntax {
        problems.add(e.span().unwrap_or(0..0), e.message());
    }
    if !problems.is_empty() {
        return Err(problems);
    }
    let folder = Path::new(file).parent().unwrap_or(Path::new("")).to_owned();
    let mut r = Reader { problems, seen: Vec::new(), folder, later: Vec::new() };
    let mut boat = Boat::default();
    let mut version = None;
    for (key, value) in table.into_inner() {
        let span = key.span();
        match key.get_ref().as_ref() {
            "version" => version = r.take::<Spanned<u32>>(value),
            "vessel" => boat.vessel = r.take(value).map(|v| r.vessel(v)).unwrap_or_default(),
            "crew" => boat.crew = r.each(value, MOST_CREW, Reader::crew),
            "gear" => boat.gear = r.each(value, MOST_GEAR, Reader::gear),
            "passage" => boat.passage = r.take(value).map(|p| r.passage(p)).unwrap_or_default(),
            "watch" => boat.watch = r.take(value).map(|w| r.watch(w)).unwrap_or_default(),
            "feed" => boat.feeds = r.each(value, MOST_LINES, Reader::feed),
            "signal" => boat.signals = r.each(value, MOST_LINES, Reader::signal),
            "button" => boat.buttons = r.each(value, MOST_LINES, Reader::button),
            "heartbeat" => boat.heartbeat = r.take::<RawHeartbeat>(value).and_then(|h| r.line(h.line)),
            "orders" => boat.orders = r.take::<RawPlace>(value).map(|p| p.path),
            "logbook" => {
                (boat.logbook, boat.sentences) = r.take(value).map(|l| r.logbook(l)).unwrap_or_default();
            }
            "control" => {
                (boat.control, boat.listen) = r.take(value).map(|c| r.control(c)).unwrap_or_default();
            }
            other => {
                let hint = nearest(other, TOP).map_or(String::new(), |n| format!("; did you mean `{n}`?"));
                r.problems.add(span, format!("`{other}` is not known here{hint}"));
            }
        }
    }
    if let Some(v) = version
        && let Some(why) = version_trouble(Some(f64::from(*v.get_ref())), VERSION)
    {
        // The rest may be right in the form it was written for.
        let mut problems = Problems::new(file, text);
        problems.add(v.span(), why);
        return Err(problems);
    }
    for (span, look) in std::mem::take(&mut r.later) {
        if let Some(why) = look(&boat) {
            r.problem(span, why);
        }
    }
    for path in [&mut boat.orders, &mut boat.logbook, &mut boat.control].into_iter().flatten() {
        *path = r.beside(path);
    }
    r.problems.or_else_ok(boat)
}

/// Says what is wrong with something, if anything is, by the whole boat.
type Look = Box<dyn FnOnce(&Boat) -> Option<String>>;

/// Collects problems while values are taken apart.
pub(super) struct Reader {
    problems: Problems,
    /// Names already given away, with what they name.
    seen: Vec<(&'static str, String)>,
    /// Where the file lies.
    folder: PathBuf,
    /// What can only be looked at when all is read, and where it stands.
    later: Vec<(Range<usize>, Look)>,
}

impl Reader {
    /// Notes a problem.
    pub(super) fn problem(&mut self, at: Range<usize>, words: impl Into<String>) {
        self.problems.add(at, words);
    }

    /// Looks at something when all of the file is read, since what it is about may stand further down.
    pub(super) fn later(&mut self, at: Range<usize>, look: impl FnOnce(&Boat) -> Option<String> + 'static) {
        self.later.push((at, Box::new(look)));
    }

    /// A path that begins at the file's folder unless it is absolute.
    pub(super) fn beside(&self, path: &Path) -> PathBuf {
        self.folder.join(path)
    }

    /// A value as `T`, or a problem.
    fn take<'de, T: Deserialize<'de>>(&mut self, value: Spanned<DeValue<'de>>) -> Option<T> {
        let whole = value.span();
        match T::deserialize(value.into_deserializer()) {
            Ok(t) => Some(t),
            Err(e) => {
                self.problems.add(e.span().unwrap_or(whole), with_hint(e.message()));
                None
            }
        }
    }

    /// The tables of an array of tables, each read on its own so that one bad entry doesn't hide the next.
    fn each<'de, Raw: Deserialize<'de>, T>(
        &mut self,
        value: Spanned<DeValue<'de>>,
        most: usize,
        resolve: impl Fn(&mut Self, Raw, Range<usize>) -> Option<T>,
    ) -> Vec<T> {
        let span = value.span();
        let DeValue::Array(entries) = value.into_inner() else {
            self.problems.add(span, "this is a list: each entry begins with its name in double brackets");
            return Vec::new();
        };
        if entries.len() > most {
            self.problems.add(span, format!("{} entries: at most {most} are taken", entries.len()));
        }
        entries
            .into_iter()
            .take(most)
            .filter_map(|e| {
                let span = e.span();
                self.take(e).and_then(|raw| resolve(self, raw, span))
            })
            .collect()
    }

    fn vessel(&mut self, v: RawVessel) -> Vessel {
        let mut within = |value: Option<Spanned<f64>>, what: &str, least: f64, most: f64| {
            let v = value?;
            let n = *v.get_ref();
            if (least..=most).contains(&n) {
                Some(n)
            } else {
                self.problems.add(v.span(), format!("{what} is from {least} to {most}, not {n}"));
                None
            }
        };
        let transducer_depth_m = within(v.transducer_depth_m, "the transducer's depth in metres", 0.0, 20.0);
        let draught_m = within(v.draught_m, "the draught in metres", 0.0, 20.0);
        let motoring_speed_kn = within(v.motoring_speed_kn, "the speed under engine in knots", 0.5, 40.0);
        let variation_deg = within(v.variation_deg, "variation in degrees, east positive,", -180.0, 180.0);
        let masthead_m = within(v.masthead_m, "the anemometer's height in metres", 1.0, 60.0);
        let antenna_m = within(v.antenna_m, "the AIS antenna's height in metres", 0.5, 60.0);
        let dimensions_m = v.dimensions_m.and_then(|d| {
            let ok = d.get_ref().iter().all(|m| (0.0..=100.0).contains(m));
            if !ok {
                self.problems.add(
                    d.span(),
                    "dimensions are metres from the GPS antenna to bow, stern, port and starboard",
                );
            }
            ok.then_some(*d.get_ref())
        });
        Vessel {
            name: v.name,
            call_sign: v.call_sign,
            mmsi: v.mmsi.and_then(|m| self.mmsi(&m)),
            fleet: v.fleet.iter().filter_map(|m| self.mmsi(m)).collect(),
            transducer_depth_m,
            draught_m,
            motoring_speed_kn,
            variation_deg,
            dimensions_m,
            masthead_m,
            antenna_m,
        }
    }

    fn logbook(&mut self, l: RawLogbook) -> (Option<PathBuf>, Option<Sentences>) {
        let mb = l.sentences_mb.as_ref().map_or(SENTENCES_MB, |mb| *mb.get_ref());
        if let Some(written) = &l.sentences_mb
            && (l.sentences.is_none() || !(1..=1_000_000).contains(&mb))
        {
            let words = if l.sentences.is_none() {
                "`sentences_mb` bounds the folder that `sentences` names"
            } else {
                "the folder of sentences takes from 1 to 1000000 MB"
            };
            self.problem(written.span(), words);
        }
        let folder = l.sentences.map(|f| self.beside(&f));
        (l.path, folder.map(|folder| Sentences { folder, limit_bytes: mb * 1_000_000 }))
    }

    fn crew(&mut self, c: RawCrew, _: Range<usize>) -> Option<Crew> {
        let beacon = c.beacon.as_ref().and_then(|b| self.mmsi(b));
        if let (Some(b), Some(written)) = (beacon, &c.beacon) {
            self.once("beacon", &b.to_string(), written.span());
        }
        if let (None, Some(until)) = (&c.beacon, &c.until) {
            self.problem(
                until.span(),
                "`until` is the last day of a beacon's battery: `beacon` names its identity",
            );
        }
        let until = c.until.as_ref().and_then(|d| self.day(d));
        Some(Crew { name: self.name("crew member", &c.name)?, beacon, until })
    }

    fn feed(&mut self, f: RawFeed, span: Range<usize>) -> Option<Feed> {
        let name = self.name("feed", &f.name);
        let ways = [
            f.serial.is_some(),
            f.tcp.is_some(),
            f.udp.is_some(),
            f.file.is_some(),
            f.standard_input == Some(true),
        ];
        if ways.iter().filter(|w| **w).count() != 1 {
            self.problems.add(
                f.name.span(),
                "a feed has exactly one of `serial`, `tcp`, `udp`, `file`, `standard_input = true`",
            );
            return None;
        }
        if f.serial.is_none()
            && let Some(b) = &f.baud
        {
            self.problems.add(b.span(), "`baud` belongs to a serial line");
        }
        if f.udp.is_none()
            && let Some(g) = f.group.as_ref().or(f.interface.as_ref())
        {
            self.problems.add(g.span(), "`group` and `interface` belong to a `udp` feed");
        }
        let source = if let Some(path) = f.serial {
            let baud = f.baud.map_or(4800, |b| {
                if !(300..=4_000_000).contains(b.get_ref()) {
                    self.problems.add(b.span(), "baud is from 300 to 4000000; 4800 and 38400 are usual");
                }
                *b.get_ref()
            });
            Connection::Serial { path, baud }
        } else if let Some(address) = f.tcp {
            if address
                .get_ref()
                .rsplit_once(':')
                .is_none_or(|(h, p)| h.is_empty() || p.parse::<u16>().is_err())
            {
                self.problems.add(address.span(), "a server is written as \"host:port\"");
            }
            Connection::Tcp(address.into_inner())
        } else if let Some(address) = f.udp {
            let bind =
                self.parsed::<SocketAddr>(&address, "an address to listen on is written as \"0.0.0.0:port\"");
            let group = f.group.and_then(|g| {
                let parsed = self
                    .parsed::<Ipv4Addr>(&g, "a group is an IPv4 address from 224.0.0.0 to 239.255.255.255")?;
                if !parsed.is_multicast() {
                    self.problems
                        .add(g.span(), "a group is an IPv4 address from 224.0.0.0 to 239.255.255.255");
                }
                Some(parsed)
            });
            let interface =
                f.interface.and_then(|i| self.parsed(&i, "an interface is named by its own IPv4 address"));
            Connection::Udp { bind: bind?, group, interface }
        } else if let Some(path) = f.file {
            Connection::File(path)
        } else {
            self.once("input", "standard input", span);
            Connection::StandardInput
        };
        let silent_after = f.silent_after.and_then(|s| self.duration(&s)).unwrap_or(SILENT_AFTER);
        Some(Feed {
            name: name?,
            source,
            checksum_optional: f.checksum_optional,
            simulator: f.simulator,
            trusted: f.trusted,
            silent_after,
        })
    }

    /// A name: not empty, one line, and not given twice to the same kind of thing.
    pub(super) fn name(&mut self, what: &'static str, name: &Spanned<String>) -> Option<String> {
        let text = name.get_ref().trim();
        if text.is_empty() || text.len() > 60 || text.chars().any(char::is_control) {
            self.problems.add(name.span(), format!("a {what} has a name of one to 60 letters on one line"));
            return None;
        }
        self.once(what, text, name.span());
        Some(text.to_owned())
    }

    /// Notes that a thing of this name is there, and a problem where it was already.
    pub(super) fn once(&mut self, what: &'static str, name: &str, span: Range<usize>) {
        if self.seen.iter().any(|(w, n)| *w == what && n == name) {
            self.problems.add(span, format!("there is a {what} `{name}` already"));
        }
        self.seen.push((what, name.to_owned()));
    }

    fn mmsi(&mut self, text: &Spanned<String>) -> Option<Mmsi> {
        let found = (text.get_ref().len() == 9).then(|| Mmsi::parse(text.get_ref())).flatten();
        if found.is_none() {
            self.problems.add(text.span(), "an MMSI is nine digits in quotes");
        }
        found
    }

    fn parsed<T: std::str::FromStr>(&mut self, text: &Spanned<String>, expected: &str) -> Option<T> {
        let found = text.get_ref().parse().ok();
        if found.is_none() {
            self.problems.add(text.span(), expected);
        }
        found
    }

    /// A time with its unit, more than nothing and at most a day.
    pub(super) fn duration(&mut self, text: &Spanned<String>) -> Option<Duration> {
        let found =
            parse_duration(text.get_ref()).filter(|d| !d.is_zero() && *d <= Duration::from_secs(86_400));
        if found.is_none() {
            self.problems.add(text.span(), "a time is a number and s, min or h, at most 24 h: \"90 s\"");
        }
        found
    }
}

/// A time as written: a number and one of the units of time, a space between them or not. `None` when it is not that,
/// or negative.
pub fn parse_duration(text: &str) -> Option<Duration> {
    let text = text.trim();
    let unit_at = text.find(|c: char| c.is_ascii_alphabetic())?;
    let number: f64 = text[..unit_at].trim().parse().ok()?;
    let seconds = Dimension::Time.in_own_unit(number, &text[unit_at..])?;
    Duration::try_from_secs_f64(seconds).ok()
}

/// serde's message, with "did you mean" where it is about an unknown key.
fn with_hint(message: &str) -> String {
    let quoted: Vec<&str> = message.split('`').skip(1).step_by(2).collect();
    match quoted.split_first() {
        Some((word, known)) if message.starts_with("unknown field") => {
            let hint = nearest(word, known.iter().copied());
            let hint =
                hint.map_or(format!("known are {}", known.join(", ")), |n| format!("did you mean `{n}`?"));
            format!("`{word}` is not known here; {hint}")
        }
        _ => message.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn all_problems_of_a_file_at_once() {
        let text = "version = 1\n[vessel]\nmmsi = \"12\"\n[[feed]]\nname = \"a\"\nserial = \"/dev/x\"\nbuad = 4800\n\
                    [[feed]]\nname = \"b\"\n[[signal]]\nname = \"s\"\nwebhook = \"ftp://x\"\n[logbok]\npath = \"x\"\n";
        let told = read("boat.toml", text).unwrap_err().to_string();
        for part in [
            "boat.toml:3:8: an MMSI is nine digits",
            "boat.toml:7:1: `buad` is not known here; did you mean `baud`?",
            "boat.toml:9:8: a feed has exactly one of",
            "boat.toml:12:11: ",
            "boat.toml:13:2: `logbok` is not known here; did you mean `logbook`?",
        ] {
            assert!(told.contains(part), "{part} is not in\n{told}");
        }
    }

    #[test]
    fn a_file_of_another_version_is_refused_with_what_to_do_and_one_without_is_the_first() {
        assert!(read("boat.toml", "[vessel]\nname = \"Wendelin\"\n").is_ok());
        let told = read("boat.toml", "version = 2\n[new]\nkey = 1\n").unwrap_err().to_string();
        assert!(told.contains("boat.toml:1:11: the file is of version 2, for a newer middlewatch"), "{told}");
        assert!(told.contains("Install the newer program") && !told.contains("`new`"), "{told}");
        let told = read("boat.toml", "version = 0\n").unwrap_err().to_string();
        assert!(told.contains("there never was a version 0"), "{told}");
    }

    #[test]
    fn a_boat_is_read() {
        let text = "version = 1\n[vessel]\nname = \"Wendelin\"\nmmsi = \"211000001\"\n[[crew]]\nname = \"Ada\"\nbeacon = \"972000001\"\n\
            [[feed]]\nname = \"bus\"\nserial = \"/dev/ttyUSB0\"\nbaud = 38400\nsilent_after = \"30 s\"\n\
            [[feed]]\nname = \"net\"\nudp = \"0.0.0.0:60001\"\ngroup = \"239.192.0.4\"\n\
            [[signal]]\nname = \"horn\"\ncommand = [\"aplay\", \"x.wav\"]\nfrom = \"emergency alarm\"\n";
        let boat = read("boat.toml", text).unwrap();
        assert_eq!(boat.feeds[0].source, Connection::Serial { path: "/dev/ttyUSB0".into(), baud: 38400 });
        assert_eq!(boat.feeds[0].silent_after, Duration::from_secs(30));
        assert_eq!(boat.signals[0].audience.priorities, [rules::Priority::EmergencyAlarm]);
        assert_eq!(boat.crew[0].beacon, Mmsi::new(972_000_001));
    }

    #[test]
    fn durations() {
        assert_eq!(parse_duration("1.5 min"), Some(Duration::from_secs(90)));
        assert_eq!(parse_duration("20s"), Some(Duration::from_secs(20)));
        for bad in ["", "20", "s", "-1 s", "1 fortnight", "nan s", "inf h"] {
            assert_eq!(parse_duration(bad), None, "{bad}");
        }
    }
}
