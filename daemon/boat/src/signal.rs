//! `[[signal]]`: the means of calling people, and the events each one carries.

use crate::button::gpio_line;
use crate::feed::{BAUD, warn_of_speed};
use crate::webhook::{LONGEST_POST, WEBHOOK, webhook};
use crate::{Audience, Connection, Crew, Feed, GpioLine, Reaches, Rest, Webhook, each};
use form::{HostPort, Key, Name, Nested, Table, Value, Word, Written, key};
use rules::Priority;
use std::path::{Path, PathBuf};
use std::time::Duration;
use terms::Hours;

const SIGNAL: Key<Nested> = key("signal", "a way to call people").most(32);
const NAME: Key<Name> = key("name", "what orders and reports call it").needed().example("voice").most(60);
const COMMAND: Key<Program> = key(
    "command",
    "a program and its arguments; it reads the words on standard input, and no shell is involved",
);
const BUZZER: Key<Nested> = key("buzzer", "a buzzer or horn on a GPIO line, instead of `command`");
const LAMP: Key<Nested> =
    key("lamp", "a lamp on a GPIO line: flashes until acknowledged, lit while the alert goes on");
const RELAY: Key<Nested> = key("relay", "a relay on a GPIO line: closed while something sounds");
const SENSE: Key<Nested> =
    key("sense", "the GPIO line that proves that the buzzer sounds, and that it is silent");
const NMEA: Key<Outlet> = key("nmea", "sentences to a plotter or bridge");
const SENTENCES: Key<Formatter> = key("sentences", "which sentences are sent; default all");
const FROM: Key<Urgency> =
    key("from", "the lowest priority it carries; default warning, for a webhook notice").example("warning");
const PRIORITIES: Key<Urgency> =
    key("priorities", "instead of `from`: the priorities it carries").example("alarm");
const ORDERS: Key<String> =
    key("orders", "the only orders and built-in alerts it carries; default all").example("close approach");
const REACHES: Key<Reaches> = key(
    "reaches",
    "whom it reaches: watch (everything), skipper, all hands, or one of the crew by the roster",
)
.or("watch");
const REST: Key<Hours> = key("rest", "hours of rest by ship's time; an alarm sounds all the same");
const GUIDANCE: Key<bool> = key(
    "guidance",
    "whether it carries the way back to one of ours overboard; unless given, a program does that calls the watch",
)
.example("false");
const TIMEOUT: Key<Duration> =
    key("timeout", "how long one attempt may take; a program gets at least the time its words take")
        .or("10 s")
        .within("0.1 s", "24 h");

/// A means of calling people or telling other equipment.
#[derive(Debug, Clone)]
pub struct Signal {
    /// Its name in orders and reports.
    pub name: String,
    /// What it is.
    pub means: Means,
    /// Which events it carries.
    pub audience: Audience,
    /// Longest time one attempt may take.
    pub timeout: Duration,
}

/// How a signal calls.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Means {
    /// A program and its arguments. It reads the text on standard input and never runs through a shell.
    Command(Vec<String>),
    /// An http address that receives event records by POST.
    Webhook(Webhook),
    /// A buzzer, lamp or relay on a GPIO line.
    Switched {
        /// The kind of device.
        what: Switched,
        /// The line that switches it.
        line: GpioLine,
        /// The line that proves it.
        sense: Option<GpioLine>,
    },
    /// Sentences to a plotter or bridge.
    Nmea(Bridge),
}

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
    /// A server that accepts sentences, as host:port.
    Tcp(String),
    /// Datagrams of one sentence each to host:port, which may be a broadcast or multicast address.
    Udp(String),
    /// Back out on the wire of the feed of this name, which already has it open.
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

/// A bridge as configured.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Bridge {
    /// Where sentences go.
    pub outlet: Outlet,
    /// Which sentences go out.
    pub sentences: Vec<Formatter>,
}

/// A switched device.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Switched {
    /// A buzzer or horn: sounds a pattern by priority.
    Buzzer,
    /// A lamp: flashes until somebody acknowledges, then stays lit while an alert lasts.
    Lamp,
    /// A relay: closed while anything sounds.
    Relay,
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

impl Word for Formatter {
    const ALL: &'static [(&'static str, Self)] = &Self::ALL;
}

/// A priority as the file spells it.
#[derive(Debug, Clone, Copy)]
struct Urgency(Priority);

impl Word for Urgency {
    const ALL: &'static [(&'static str, Self)] = &[
        ("notice", Self(Priority::Notice)),
        ("caution", Self(Priority::Caution)),
        ("warning", Self(Priority::Warning)),
        ("alarm", Self(Priority::Alarm)),
        ("emergency alarm", Self(Priority::EmergencyAlarm)),
    ];
}

/// A program and its arguments.
struct Program(Vec<String>);

impl Written for Program {
    const EXAMPLE: &'static str = "[\"espeak-ng\", \"--stdin\"]";

    fn read(v: &Value<'_>) -> Result<Self, String> {
        let words: Option<Vec<String>> =
            v.items().and_then(|all| all.map(|w| w.text().map(str::to_owned)).collect());
        words.filter(|w| w.first().is_some_and(|program| !program.is_empty())).map(Self).ok_or_else(|| {
            "a list of texts: the program, then its arguments, such as [\"espeak-ng\", \"--stdin\"]"
                .to_owned()
        })
    }
}

impl Written for Reaches {
    const EXAMPLE: &'static str = "watch";

    fn read(v: &Value<'_>) -> Result<Self, String> {
        match v.text().map(str::trim) {
            Some("watch") => Ok(Self::Watch),
            Some("skipper") => Ok(Self::Skipper),
            Some("all hands") => Ok(Self::AllHands),
            Some(name) if !name.is_empty() => Ok(Self::Person(name.to_owned())),
            _ => Err("\"watch\", \"skipper\", \"all hands\" or one of the crew".to_owned()),
        }
    }
}

impl Written for Outlet {
    const EXAMPLE: &'static str = "udp:192.168.1.255:10110";

    fn read(v: &Value<'_>) -> Result<Self, String> {
        let host = |to: &str| HostPort::parse(to).map(|to| to.0);
        let found = match v.text().unwrap_or("").split_once(':') {
            Some(("serial", line)) => {
                let (path, baud) =
                    line.rsplit_once('@').map_or((line, None), |(path, baud)| (path, Some(baud)));
                let baud = baud.map_or(BAUD.default_value(), |b| b.parse().ok().filter(|b| BAUD.allows(b)));
                baud.filter(|_| !path.is_empty()).map(|baud| Self::Serial { path: path.into(), baud })
            }
            Some(("tcp", to)) => host(to).map(Self::Tcp),
            Some(("udp", to)) => host(to).map(Self::Udp),
            Some(("feed", name)) => Some(Self::Feed(name.to_owned())),
            _ => None,
        };
        found.ok_or_else(|| {
            "\"serial:/dev/ttyUSB1@4800\", \"tcp:host:port\", \"udp:192.168.1.255:10110\" or \"feed:NAME\"".to_owned()
        })
    }
}

impl Signal {
    /// Whether this signal alerts those on watch to an event of that priority.
    fn calls_the_watch(&self, priority: Priority) -> bool {
        let aloud = match &self.means {
            Means::Command(_) => true,
            Means::Switched { what, .. } => *what != Switched::Lamp,
            Means::Webhook(_) | Means::Nmea(_) => false,
        };
        let a = &self.audience;
        let to_watch = matches!(a.reaches, Reaches::Watch | Reaches::Person(_));
        aloud && to_watch && a.orders.is_empty() && a.priorities.contains(&priority)
    }
}

pub(crate) fn signals(
    t: &mut Table<'_>,
    folder: &Path,
    crew: Option<&[Crew]>,
    feeds: Option<&[Feed]>,
) -> Option<Vec<Signal>> {
    let signals = each(t, &SIGNAL, |t| signal(t, folder, crew, feeds))?;
    let unheard = |p: &Priority| !signals.iter().any(|s| s.calls_the_watch(*p));
    let odd = match [Priority::EmergencyAlarm, Priority::Alarm].iter().find(|p| unheard(p)) {
        Some(_) if signals.is_empty() && t.has(&SIGNAL) => return Some(signals),
        Some(_) if signals.is_empty() => "there is no [[signal]]: nobody hears an alarm".to_owned(),
        Some(_) if signals.iter().all(|s| matches!(s.means, Means::Webhook(_))) => {
            "webhooks make no sound aboard: where the network fails nobody hears an alarm".to_owned()
        }
        Some(p) => format!("no command, buzzer or relay carries every {p} to the watch: one may go unheard"),
        None => return Some(signals),
    };
    t.warn(&SIGNAL, odd);
    Some(signals)
}

fn signal(mut t: Table<'_>, folder: &Path, crew: Option<&[Crew]>, feeds: Option<&[Feed]>) -> Option<Signal> {
    let (name, command, nmea) = (t.take(&NAME), t.take(&COMMAND), t.take(&NMEA));
    let webhook = webhook(&mut t, folder);
    let mut switched = Vec::new();
    for (what, key) in [(Switched::Buzzer, &BUZZER), (Switched::Lamp, &LAMP), (Switched::Relay, &RELAY)] {
        switched.extend(t.table(key).map(|line| (what, gpio_line(line, folder))));
    }
    let sense = t.table(&SENSE).and_then(|l| gpio_line(l, folder));
    let (sentences, timeout) = (t.list(&SENTENCES), t.take(&TIMEOUT));
    let audience = audience(&mut t, crew);
    if let Some(name) = &name {
        t.once(&NAME, "signal", &name.0);
    }
    let ways = [t.has(&COMMAND), t.has(&WEBHOOK), t.has(&BUZZER), t.has(&LAMP), t.has(&RELAY), t.has(&NMEA)];
    if ways.iter().filter(|w| **w).count() != 1 {
        t.wrong(&NAME, "a signal has exactly one of `command`, `webhook`, `buzzer`, `lamp`, `relay`, `nmea`");
    }
    t.belongs(&SENSE, &BUZZER);
    t.belongs(&SENTENCES, &NMEA);
    let means = match (command, switched.pop(), nmea) {
        (Some(program), ..) => Means::Command(program.0),
        (_, Some((what, line)), _) => Means::Switched { what, line: line?, sense },
        (.., Some(outlet)) => {
            let all = || Formatter::ALL.iter().map(|(_, f)| *f).collect();
            let outlet = open_to(&t, outlet, folder, feeds);
            Means::Nmea(Bridge { outlet, sentences: sentences.unwrap_or_else(all) })
        }
        _ => Means::Webhook(webhook?),
    };
    let mut timeout = timeout?;
    if matches!(means, Means::Webhook(_)) && timeout > LONGEST_POST {
        timeout = LONGEST_POST;
        t.warn(&TIMEOUT, format!("one post of a webhook takes at most {}", terms::rounded(timeout)));
    }
    Some(Signal { name: name?.0, means, audience, timeout })
}

/// An outlet that does not conflict with a feed. A serial line's relative path starts at the file's folder.
fn open_to(t: &Table<'_>, outlet: Outlet, folder: &Path, feeds: Option<&[Feed]>) -> Outlet {
    match outlet {
        Outlet::Serial { path, baud } => {
            let line = folder.join(path);
            let same = |f: &&Feed| matches!(&f.source, Connection::Serial { path, .. } if *path == line);
            if let Some(feed) = feeds.and_then(|feeds| feeds.iter().find(same)) {
                let name = &feed.name;
                t.wrong(
                    &NMEA,
                    format!("this line is the feed {name}, which has it open; write \"feed:{name}\""),
                );
            }
            warn_of_speed(t, &NMEA, baud);
            Outlet::Serial { path: line, baud }
        }
        Outlet::Feed(name) => {
            let both_ways = |f: &Feed| matches!(f.source, Connection::Serial { .. } | Connection::Tcp(_));
            if feeds.is_some_and(|feeds| !feeds.iter().any(|f| f.name == name && both_ways(f))) {
                t.wrong(
                    &NMEA,
                    format!(
                        "`feed:` names a feed that is a serial line or a TCP connection; `{name}` is none"
                    ),
                );
            }
            Outlet::Feed(name)
        }
        other => other,
    }
}

fn audience(t: &mut Table<'_>, crew: Option<&[Crew]>) -> Audience {
    let (from, listed, orders) = (t.take(&FROM), t.list(&PRIORITIES), t.list(&ORDERS));
    let (reaches, rest, guidance) = (t.take(&REACHES), t.take(&REST), t.take(&GUIDANCE));
    let guided = t.has(&COMMAND) || t.has(&WEBHOOK);
    if t.has(&GUIDANCE) && !guided {
        t.wrong(&GUIDANCE, "guidance is words: only a `command` or a `webhook` carries it");
    }
    let guidance = guided && guidance.unwrap_or_else(|| t.has(&COMMAND));
    let least = if t.has(&WEBHOOK) { Priority::Notice } else { Priority::Warning };
    let from = from.map_or(least, |f| f.0);
    if t.has(&FROM) && t.has(&PRIORITIES) {
        t.wrong(&PRIORITIES, "a signal has `from` or `priorities`, not both");
    }
    let priorities = match listed {
        Some(listed) => listed.into_iter().map(|p: Urgency| p.0).collect(),
        None => Urgency::ALL.iter().map(|(_, p)| p.0).filter(|p| *p >= from).collect::<Vec<_>>(),
    };
    if priorities.is_empty() {
        t.warn(&PRIORITIES, "it carries nothing");
    }
    let reaches = reaches.unwrap_or_default();
    if let Reaches::Person(name) = &reaches
        && crew.is_some_and(|crew| !crew.iter().any(|c| c.name == *name))
    {
        t.wrong(
            &REACHES,
            format!(
                "a signal reaches the \"watch\", the \"skipper\", \"all hands\" or one of the crew; `{name}` is none of them"
            ),
        );
    }
    if rest.is_some_and(|r: Hours| r.from == r.to) {
        t.wrong(&REST, "hours of rest end at another time than they begin");
    }
    if rest.is_some() && priorities.iter().all(|p| *p >= Priority::Alarm) {
        t.warn(&REST, "it rests from nothing: what it carries sounds in hours of rest too");
    }
    let rest = rest.map(|r| Rest::new(r.from.minutes(), r.to.minutes()));
    Audience { priorities, orders: orders.unwrap_or_default(), reaches, rest, guidance }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn boat(signal: &str) -> Result<Signal, String> {
        let text = format!("version = 1\n[[signal]]\nname = \"x\"\n{signal}");
        let (mut boat, _) = crate::read("/etc/boat.toml", &text).map_err(|p| p.to_string())?;
        Ok(boat.signals.remove(0))
    }

    #[test]
    fn a_signal_is_read() {
        let s = boat(
            "webhook = \"http://a/b\"\npriorities = [\"alarm\"]\norders = [\"depth\"]\nreaches = \"all hands\"\n\
             rest = \"22:00 to 06:00\"\nheaders = { Authorization = \"Bearer x\", Content-Type = \"text/plain\" }\n\
             body = \"${alert.text}\"\nsignature = { key_id = \"k\", secret_file = \"k.key\" }\n",
        )
        .unwrap();
        let rest = Some(Rest::new(1320, 360));
        let orders = vec!["depth".to_owned()];
        assert_eq!(
            s.audience,
            Audience {
                priorities: vec![Priority::Alarm],
                orders,
                reaches: Reaches::AllHands,
                rest,
                guidance: false
            }
        );
        let Means::Webhook(w) = s.means else { panic!("a webhook") };
        assert_eq!(w.headers.len(), 2);
        assert_eq!(w.key.unwrap().path, PathBuf::from("/etc/k.key"));
        let feed = "[[feed]]\nname = \"mux\"\nserial = \"/dev/ttyUSB0\"\n";
        let s = boat(&format!("nmea = \"feed:mux\"\n{feed}")).unwrap();
        assert!(matches!(s.means, Means::Nmea(Bridge { outlet: Outlet::Feed(mux), .. }) if mux == "mux"));
        let s = boat("nmea = \"serial:/dev/ttyUSB1@38400\"\nsentences = [\"ALF\"]\n").unwrap();
        let outlet = Outlet::Serial { path: "/dev/ttyUSB1".into(), baud: 38400 };
        assert_eq!(s.means, Means::Nmea(Bridge { outlet, sentences: vec![Formatter::Alf] }));
        let s =
            boat("buzzer = { chip = \"/dev/gpiochip0\", line = 4 }\nsense = { recorded = \"x\" }\n").unwrap();
        let line = GpioLine::Chip { chip: "/dev/gpiochip0".into(), line: 4, active_low: false };
        let sense = Some(GpioLine::Recorded("/etc/x".into()));
        assert_eq!(s.means, Means::Switched { what: Switched::Buzzer, line, sense });
        let s = boat("command = [\"a\"]\n").unwrap();
        assert_eq!(s.audience.priorities, [Priority::Warning, Priority::Alarm, Priority::EmergencyAlarm]);
    }

    #[test]
    fn each_problem_is_told() {
        for (text, told) in [
            ("lamp = { chip = \"/dev/gpiochip0\" }\n", "a line is { chip"),
            ("nmea = \"udp:here\"\n", "4:8: `nmea` takes \"serial:"),
            ("nmea = \"udp:h:1\"\nsentences = [\"XYZ\"]\n", "5:14: `sentences` takes \"ALF\""),
            ("command = [\"a\"]\nwebhook = \"http://x\"\n", "exactly one of"),
            ("command = [\"a\"]\nbody = \"x\"\n", "5:8: `body` belongs to `webhook`"),
            (
                "command = [\"a\"]\nrest = \"22 to 6\"\n",
                "5:8: `rest` takes hours of the day such as \"22:00 to 06:00\"",
            ),
            ("command = [\"a\"]\nrest = \"22:00 to 22:00\"\n", "hours of rest"),
            (
                "nmea = \"feed:mux\"\n",
                "4:8: `feed:` names a feed that is a serial line or a TCP connection; `mux` is none",
            ),
            ("nmea = \"feed:mux\"\n[[feed]]\nname = \"mux\"\nudp = \"0.0.0.0:10110\"\n", "`mux` is none"),
            (
                "nmea = \"serial:/dev/ttyUSB0\"\n[[feed]]\nname = \"mux\"\nserial = \"/dev/ttyUSB0\"\n",
                "4:8: this line is the feed mux, which has it open; write \"feed:mux\"",
            ),
            ("command = [\"a\"]\nreaches = \"cook\"\n", "5:11: a signal reaches"),
            ("command = [\"a\"]\nfrom = \"alarm\"\npriorities = [\"alarm\"]\n", "not both"),
            ("webhook = \"http://x\"\nheaders = { Host = \"y\" }\n", "set by the daemon itself"),
            ("webhook = \"http://x\"\nheaders = { \"a b\" = \"y\" }\n", "no name of an HTTP header"),
            ("webhook = \"http://x\"\nbody = '{\"a\": ${alert.txt}}'\n", "did you mean `alert.text`?"),
            ("webhook = \"http://x\"\nbody = 'no JSON'\n", "not JSON"),
        ] {
            let problems = boat(text).unwrap_err();
            assert!(problems.contains(told), "{told} is not in\n{problems}");
        }
    }
}
