//! `[[signal]]`: who or what is to be told.

use super::button::RawLine;
use super::read::Reader;
use super::{Connection, Feed};
use crate::GpioLine;
use crate::{
    Audience, Bridge, Form, Formatter, KeyFile, Outlet, Reaches, Rest, Switched, Template, Webhook, address,
};
use http::header::{CONTENT_LENGTH, CONTENT_TYPE, HOST, HeaderName, HeaderValue, TRANSFER_ENCODING};
use rules::Priority;
use serde::Deserialize;
use std::collections::BTreeMap;
use std::ops::Range;
use std::path::PathBuf;
use std::time::Duration;
use toml::Spanned;

/// One attempt may take so long, unless its entry says otherwise.
const TIMEOUT: Duration = Duration::from_secs(10);
/// The most headers of a webhook.
const MOST_HEADERS: usize = 16;

/// Who or what is to be told.
#[derive(Debug, Clone)]
pub struct Signal {
    /// As orders and reports call it.
    pub name: String,
    /// What it is.
    pub means: Means,
    /// What it carries.
    pub audience: Audience,
    /// One attempt may take so long.
    pub timeout: Duration,
}

/// How a signal tells.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Means {
    /// A program and its arguments; the text on its standard input, never through a shell.
    Command(Vec<String>),
    /// An http address that event records are posted to.
    Webhook(Webhook),
    /// A buzzer, lamp or relay on a GPIO line.
    Switched {
        /// Which of them.
        what: Switched,
        /// The line that switches it.
        line: GpioLine,
        /// The line that proves it.
        sense: Option<GpioLine>,
    },
    /// Sentences to a plotter or bridge.
    Nmea(Bridge),
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RawSignal {
    name: Spanned<String>,
    command: Option<Spanned<Vec<String>>>,
    webhook: Option<Spanned<String>>,
    buzzer: Option<Spanned<RawLine>>,
    lamp: Option<Spanned<RawLine>>,
    relay: Option<Spanned<RawLine>>,
    sense: Option<Spanned<RawLine>>,
    nmea: Option<Spanned<String>>,
    sentences: Option<Vec<Spanned<String>>>,
    from: Option<Spanned<String>>,
    priorities: Option<Spanned<Vec<Spanned<String>>>>,
    #[serde(default)]
    orders: Vec<String>,
    reaches: Option<Spanned<String>>,
    rest: Option<Spanned<String>>,
    timeout: Option<Spanned<String>>,
    headers: Option<Spanned<BTreeMap<Spanned<String>, Spanned<String>>>>,
    body: Option<Spanned<String>>,
    signature: Option<Spanned<RawSignature>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawSignature {
    key_id: Spanned<String>,
    secret_file: PathBuf,
}

impl Reader {
    pub(super) fn signal(&mut self, mut s: RawSignal, _: Range<usize>) -> Option<Signal> {
        let name = self.name("signal", &s.name);
        let ways = [
            s.command.is_some(),
            s.webhook.is_some(),
            s.buzzer.is_some(),
            s.lamp.is_some(),
            s.relay.is_some(),
            s.nmea.is_some(),
        ];
        if ways.iter().filter(|w| **w).count() != 1 {
            self.problem(
                s.name.span(),
                "a signal has exactly one of `command`, `webhook`, `buzzer`, `lamp`, `relay`, `nmea`",
            );
            return None;
        }
        self.misplaced(&s);
        let audience = self.audience(&s);
        let timeout = s.timeout.as_ref().and_then(|t| self.duration(t)).unwrap_or(TIMEOUT);
        let switched = [
            (Switched::Buzzer, s.buzzer.take()),
            (Switched::Lamp, s.lamp.take()),
            (Switched::Relay, s.relay.take()),
        ];
        let switched = switched.into_iter().find_map(|(what, line)| Some((what, line?)));
        let means = if let Some(c) = s.command {
            if c.get_ref().first().is_none_or(String::is_empty) {
                self.problem(c.span(), "a command is a list: the program, then its arguments");
            }
            Means::Command(c.into_inner())
        } else if let Some((what, line)) = switched {
            let line = self.line(line);
            let sense = s.sense.take().and_then(|l| self.line(l));
            Means::Switched { what, line: line?, sense }
        } else if let Some(outlet) = &s.nmea {
            let outlet = self.outlet(outlet);
            Means::Nmea(Bridge { sentences: self.sentences(s.sentences.as_deref()), outlet: outlet? })
        } else {
            Means::Webhook(self.webhook(&s.webhook.take()?, s.headers, s.body, s.signature)?)
        };
        Some(Signal { name: name?, means, audience, timeout })
    }

    /// Keys that belong to another kind of signal.
    fn misplaced(&mut self, s: &RawSignal) {
        if s.webhook.is_none() {
            let of_webhook = [
                s.headers.as_ref().map(Spanned::span),
                s.body.as_ref().map(Spanned::span),
                s.signature.as_ref().map(Spanned::span),
            ];
            for span in of_webhook.into_iter().flatten() {
                self.problem(span, "`headers`, `body` and `signature` belong to a `webhook`");
            }
        }
        if let Some(sense) = s.sense.as_ref().filter(|_| s.buzzer.is_none()) {
            self.problem(sense.span(), "`sense` belongs to a `buzzer`");
        }
        if let Some(sentence) = s.sentences.iter().flatten().next().filter(|_| s.nmea.is_none()) {
            self.problem(sentence.span(), "`sentences` belong to `nmea`");
        }
    }

    fn outlet(&mut self, text: &Spanned<String>) -> Option<Outlet> {
        let host_and_port = |a: &str| {
            a.rsplit_once(':').is_some_and(|(h, p)| !h.is_empty() && p.parse::<u16>().is_ok_and(|p| p > 0))
        };
        let found = match text.get_ref().split_once(':') {
            Some(("serial", line)) => {
                let (path, baud) = line.rsplit_once('@').unwrap_or((line, "4800"));
                let baud = baud.parse().ok().filter(|b| (300..=4_000_000).contains(b));
                let outlet = PathBuf::from(path);
                self.later(text.span(), move |boat| {
                    let same =
                        |f: &&Feed| matches!(&f.source, Connection::Serial { path, .. } if *path == outlet);
                    let name = &boat.feeds.iter().find(same)?.name;
                    Some(format!("this line is the feed {name}, which has it open; write \"feed:{name}\""))
                });
                baud.filter(|_| !path.is_empty()).map(|baud| Outlet::Serial { path: path.into(), baud })
            }
            Some(("tcp", to)) if host_and_port(to) => Some(Outlet::Tcp(to.to_owned())),
            Some(("udp", to)) if host_and_port(to) => Some(Outlet::Udp(to.to_owned())),
            Some(("feed", name)) => {
                let name = name.to_owned();
                let outlet = Outlet::Feed(name.clone());
                self.later(text.span(), move |boat| {
                    let two_ways =
                        |f: &Feed| matches!(f.source, Connection::Serial { .. } | Connection::Tcp(_));
                    (!boat.feeds.iter().any(|f| f.name == name && two_ways(f))).then(|| {
                        format!(
                            "`feed:` names a feed that is a serial line or a TCP connection; `{name}` is none"
                        )
                    })
                });
                Some(outlet)
            }
            _ => None,
        };
        if found.is_none() {
            self.problem(
                text.span(),
                "`nmea` is \"serial:/dev/ttyUSB1@4800\", \"tcp:host:port\", \"udp:192.168.1.255:10110\" or \"feed:NAME\"",
            );
        }
        found
    }

    fn sentences(&mut self, list: Option<&[Spanned<String>]>) -> Vec<Formatter> {
        let Some(list) = list else { return Formatter::ALL.iter().map(|(_, f)| *f).collect() };
        let mut found = Vec::new();
        for text in list {
            match Formatter::ALL.iter().find(|(name, _)| name == text.get_ref()) {
                Some((_, f)) => found.push(*f),
                None => self.problem(text.span(), "a sentence is ALF, ALC, ALR, HBT, TLL or WPL"),
            }
        }
        found
    }

    fn audience(&mut self, s: &RawSignal) -> Audience {
        let least = if s.webhook.is_some() { Priority::Notice } else { Priority::Warning };
        let from = s.from.as_ref().and_then(|p| self.priority(p)).unwrap_or(least);
        let mut priorities: Vec<Priority> = Priority::ALL.into_iter().filter(|p| *p >= from).collect();
        if let Some(list) = &s.priorities {
            if s.from.is_some() {
                self.problem(list.span(), "a signal has `from` or `priorities`, not both");
            }
            priorities = list.get_ref().iter().filter_map(|p| self.priority(p)).collect();
        }
        let reaches = s.reaches.as_ref().map_or(Reaches::Watch, |r| match r.get_ref().as_str() {
            "watch" => Reaches::Watch,
            "skipper" => Reaches::Skipper,
            "all hands" => Reaches::AllHands,
            name => {
                let name = name.to_owned();
                let reached = Reaches::Person(name.clone());
                self.later(r.span(), move |boat| {
                    (!boat.crew.iter().any(|c| c.name == name)).then(|| {
                        format!("a signal reaches the \"watch\", the \"skipper\", \"all hands\" or one of the crew; `{name}` is none of them")
                    })
                });
                reached
            }
        });
        let rest = s.rest.as_ref().and_then(|r| {
            let found = rest(r.get_ref());
            if found.is_none() {
                self.problem(r.span(), "hours of rest are in ship's time, written like \"22:00 to 06:00\"");
            }
            found
        });
        Audience { priorities, orders: s.orders.clone(), reaches, rest }
    }

    fn webhook(
        &mut self,
        text: &Spanned<String>,
        headers: Option<Spanned<BTreeMap<Spanned<String>, Spanned<String>>>>,
        body: Option<Spanned<String>>,
        signature: Option<Spanned<RawSignature>>,
    ) -> Option<Webhook> {
        let address = match address(text.get_ref()) {
            Ok(a) => Some(a),
            Err(why) => {
                self.problem(text.span(), why.to_string());
                None
            }
        };
        let headers = headers.map_or_else(Vec::new, |h| self.headers(h));
        let content_type = headers.iter().find(|(n, _)| n == CONTENT_TYPE).and_then(|(_, v)| v.to_str().ok());
        let form = content_type.map_or(Form::Json, Form::of);
        let body = body.and_then(|b| match Template::read(b.get_ref(), form) {
            Ok(t) => Some(t),
            Err(why) => {
                self.problem(b.span(), why.to_string());
                None
            }
        });
        let key = signature.map(Spanned::into_inner).map(|s| {
            let id = s.key_id.get_ref();
            if id.is_empty() || id.len() > 100 || !id.bytes().all(|b| (b' '..=b'~').contains(&b)) {
                self.problem(s.key_id.span(), "a key's name has one to 100 letters of ASCII");
            }
            KeyFile { id: id.clone(), path: self.beside(&s.secret_file) }
        });
        Some(Webhook { address: address?, headers, body, key })
    }

    fn headers(
        &mut self,
        headers: Spanned<BTreeMap<Spanned<String>, Spanned<String>>>,
    ) -> Vec<(HeaderName, HeaderValue)> {
        // What a post says of itself is not for the file to say.
        let own = ["idempotency-key", "content-digest", "signature", "signature-input", "connection"];
        if headers.get_ref().len() > MOST_HEADERS {
            self.problem(headers.span(), format!("at most {MOST_HEADERS} headers are sent"));
        }
        let mut found = Vec::new();
        for (name, value) in headers.into_inner().into_iter().take(MOST_HEADERS) {
            let (name_at, value_at) = (name.span(), value.span());
            match (HeaderName::try_from(name.into_inner()), HeaderValue::try_from(value.into_inner())) {
                (Ok(n), _)
                    if own.contains(&n.as_str())
                        || [HOST, CONTENT_LENGTH, TRANSFER_ENCODING].contains(&n) =>
                {
                    self.problem(name_at, format!("`{n}` is set by the daemon itself"));
                }
                (Ok(n), Ok(v)) => found.push((n, v)),
                (Err(_), _) => self.problem(name_at, "this is no name of an HTTP header"),
                (_, Err(_)) => self.problem(value_at, "a header's value is on one line"),
            }
        }
        found
    }

    fn priority(&mut self, text: &Spanned<String>) -> Option<Priority> {
        let found = Priority::named(text.get_ref());
        if found.is_none() {
            self.problem(text.span(), "a priority is notice, caution, warning, alarm or emergency alarm");
        }
        found
    }
}

/// "22:00 to 06:00".
fn rest(text: &str) -> Option<Rest> {
    let minutes = |t: &str| -> Option<u16> {
        let (h, m) = t.trim().split_once(':')?;
        let digits = |t: &str| if t.len() == 2 { t.parse::<u16>().ok() } else { None };
        Some(digits(h).filter(|h| *h < 24)? * 60 + digits(m).filter(|m| *m < 60)?)
    };
    let (from, to) = text.split_once(" to ")?;
    let (from, to) = (minutes(from)?, minutes(to)?);
    (from != to).then(|| Rest::new(from, to))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn boat(signal: &str) -> Result<Signal, String> {
        let text = format!("version = 1\n[[signal]]\nname = \"x\"\n{signal}");
        let mut boat = super::super::read("/etc/boat.toml", &text).map_err(|p| p.to_string())?;
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
            Audience { priorities: vec![Priority::Alarm], orders, reaches: Reaches::AllHands, rest }
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
            ("nmea = \"udp:here\"\n", "4:8: `nmea` is"),
            ("nmea = \"udp:h:1\"\nsentences = [\"XYZ\"]\n", "a sentence is ALF"),
            ("command = [\"a\"]\nwebhook = \"http://x\"\n", "exactly one of"),
            (
                "command = [\"a\"]\nbody = \"x\"\n",
                "5:8: `headers`, `body` and `signature` belong to a `webhook`",
            ),
            ("command = [\"a\"]\nrest = \"22 to 6\"\n", "written like \"22:00 to 06:00\""),
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
