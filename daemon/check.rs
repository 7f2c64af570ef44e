//! `check`: every problem of the boat and orders files, and who may read and change them. With `--live`, also a trial of
//! feeds and signals, or a look at the serial ports if the boat has no feed yet.

use crate::control::{self, Held};
use crate::feeds::{self, CHUNK, Opened};
use crate::files;
use crate::outcome::{self, Outcome, complain};
use crate::ports;
use crate::signals;
use boat::{self, Boat, Connection, Means};
use record::words::count;
use rules::{Orders, Proof};
use sentence::{Framer, FramerOptions};
use serde_json::json;
use std::fs::OpenOptions;
use std::io::{self, Write};
use std::os::unix::fs::OpenOptionsExt;
use std::path::{Path, PathBuf};
use std::time::Duration;
use terms::Problems;

/// How long a live trial listens to each feed.
const LISTEN: Duration = Duration::from_secs(12);

/// What the orders watch under each declaration.
fn watched(proofs: &[Proof], json: bool) -> String {
    if json {
        return format!("{}\n", json!({"watched": proofs}));
    }
    format!(
        "\nWhat the orders watch, as declared. Position is always watched; made fast (moored), nothing else is.\n{}",
        rules::table_of_proofs(proofs)
    )
}

/// One line of the result: the thing checked and how it stands.
struct Line {
    what: String,
    how: How,
    words: String,
}

#[derive(Clone, Copy, PartialEq)]
enum How {
    Good,
    /// Usable, with warnings.
    Usable,
    /// One of these warnings.
    Warning,
    Bad,
}

impl Line {
    fn good(what: impl Into<String>, words: impl Into<String>) -> Self {
        Self { what: what.into(), how: How::Good, words: words.into() }
    }

    fn bad(what: impl Into<String>, words: impl Into<String>) -> Self {
        Self { what: what.into(), how: How::Bad, words: words.into() }
    }

    /// A file that can be used, and a line for each warning about it.
    fn usable(what: &str, words: String, warnings: Vec<String>) -> Vec<Self> {
        let (how, odd) = match warnings.len() {
            0 => (How::Good, String::new()),
            n => (How::Usable, format!(", {}", count(n, "warning", "warnings"))),
        };
        let line = |how, words| Self { what: what.to_owned(), how, words };
        let warnings = warnings.into_iter().map(|words| line(How::Warning, words));
        std::iter::once(line(how, words + &odd)).chain(warnings).collect()
    }

    /// For a person.
    fn text(&self) -> String {
        match self.how {
            How::Good if self.words.starts_with("speaks") => format!("{} {}", self.what, self.words),
            How::Good => format!("{}: good, {}", self.what, self.words),
            How::Usable => format!("{}: usable, {}", self.what, self.words),
            How::Warning | How::Bad => self.words.clone(),
        }
    }

    /// For a program.
    fn json(&self) -> String {
        let mut line = json!({"what": self.what, "good": self.how != How::Bad, "words": self.words});
        if self.how == How::Warning {
            line["warning"] = true.into();
        }
        line.to_string()
    }
}

/// What to check.
#[derive(Debug, Default)]
pub struct Checked<'a> {
    /// The boat's file; `None` for the installed one, if it matters.
    pub boat: Option<&'a Path>,
    /// The orders; `None` for those that the boat names.
    pub orders: Option<&'a Path>,
    /// Whether to try feeds and signals too, with the serial ports that were named.
    pub live: Option<Vec<PathBuf>>,
    /// The new file for a draft; `None` for standard output.
    pub write: Option<&'a Path>,
    /// One JSON object a line.
    pub json: bool,
}

/// Checks the files, and with `live` the feeds and signals. If the boat has no feed, or ports are named, looks at the
/// ports and drafts a first file.
///
/// What was found goes to standard output. Live, complaints go to standard error, and where ports are looked at all
/// words do: standard output then gets a whole file or nothing, whatever it leads to.
pub fn check(args: Checked<'_>) -> Outcome {
    if let Some(path) = args.write.filter(|path| path.symlink_metadata().is_ok()) {
        complain(&format!("{}: is there already, and is not replaced; name a new file", path.display()));
        return Outcome::Failed;
    }
    let mut lines = Vec::new();
    let mut bad_file = false;
    let live = args.live.is_some();
    // By default check the installed files; a look at the ports needs none.
    let installed = || {
        let path = Path::new(boat::places::BOAT);
        (args.orders.is_none() && (!live || path.exists())).then_some(path)
    };
    let mut read_boat = None;
    let mut proofs = None;
    if let Some(path) = args.boat.or_else(installed) {
        let what = path.display().to_string();
        match read_file(path, boat::read) {
            Ok((b, odd)) => {
                let mut warnings: Vec<String> = odd.list().iter().map(|p| odd.shown(p)).collect();
                warnings.extend(exposures(path, &b));
                lines.extend(Line::usable(&what, summary(&b), warnings));
                read_boat = Some(b);
            }
            Err(why) => {
                bad_file = true;
                lines.push(Line::bad(what, why));
            }
        }
    }
    let named = read_boat.as_ref().and_then(|b| b.orders.clone());
    let orders = args.orders.map(Path::to_owned).or(named);
    if let Some(path) = orders {
        let signals: Option<Vec<&str>> =
            read_boat.as_ref().map(|b| b.signals.iter().map(|s| s.name.as_str()).collect());
        let what = path.display().to_string();
        match read_file(&path, |name, text| tried(name, text, signals.as_deref())) {
            Ok((o, trials)) => {
                let trials =
                    if trials > 0 { format!(", {trials} trials as expected") } else { String::new() };
                let words = format!("{}{trials}", count(o.len(), "order", "orders"));
                lines.extend(Line::usable(&what, words, files::exposure(&path, None)));
                proofs = Some(o.proofs());
            }
            Err(why) => {
                bad_file = true;
                lines.push(Line::bad(what, why));
            }
        }
    }
    let mut failed = false;
    if let (true, Some(boat)) = (live, &read_boat) {
        let trials = trial(boat);
        failed |= trials.iter().any(|l| l.how == How::Bad);
        lines.extend(trials);
    }
    let looks =
        |named: &Vec<PathBuf>| !named.is_empty() || read_boat.as_ref().is_none_or(|b| b.feeds.is_empty());
    let (mut draft, mut drafts) = (None, false);
    if let Some(named) = args.live.filter(looks) {
        drafts = true;
        let (looked, drafted) = look(named);
        lines.extend(looked);
        // A port that is silent is no failure where the others make a file.
        failed |= drafted.is_none();
        draft = drafted;
    } else if args.write.is_some() {
        failed = true;
        lines.push(Line::bad("draft", "nothing to write: this boat has feeds; name the ports to look at"));
    }
    if let (Some(path), Some(text)) = (args.write, &draft) {
        let what = path.display().to_string();
        lines.push(match write_new(path, text) {
            Ok(()) => Line::good(what, "written"),
            Err(e) => {
                failed = true;
                Line::bad(&what, format!("{what}: {e}"))
            }
        });
        draft = None;
    }
    let (mut said, mut complained) = (String::new(), String::new());
    for line in &lines {
        let complaint = matches!(line.how, How::Warning | How::Bad);
        let aside = !args.json && live && (drafts || complaint);
        let to = if aside { &mut complained } else { &mut said };
        *to += &if args.json { line.json() } else { line.text() };
        to.push('\n');
    }
    if let (Some(proofs), false) = (proofs, drafts) {
        said += &watched(&proofs, args.json);
    }
    if let Some(draft) = draft {
        said += &if args.json { format!("{}\n", json!({"offered": draft})) } else { draft };
    }
    if !complained.is_empty() {
        complain(complained.trim_end());
    }
    let printed = outcome::print(&said);
    match (bad_file, failed) {
        (true, _) => Outcome::BadFile,
        (false, true) => Outcome::Failed,
        (false, false) => printed,
    }
}

/// Writes a file that is not there yet, whole or not at all.
fn write_new(path: &Path, text: &str) -> io::Result<()> {
    // Only its owner and group may read what may hold secrets later.
    let mut file = OpenOptions::new().write(true).create_new(true).mode(0o640).open(path)?;
    let written = file.write_all(text.as_bytes()).and_then(|()| file.sync_all());
    if written.is_err() {
        // It is ours, and it is not whole.
        let _ = std::fs::remove_file(path);
    }
    written
}

/// What is odd about who may read or change a boat's file and those it names.
fn exposures(path: &Path, boat: &Boat) -> Vec<String> {
    let webhooks = boat.signals.iter().filter_map(|s| match &s.means {
        Means::Webhook(w) => Some((s, w)),
        _ => None,
    });
    let holds = webhooks.clone().next().map(|_| "the addresses and headers of its webhooks");
    let mut odd = files::exposure(path, holds);
    if let Some(token) = boat.listen.as_ref().and_then(|l| l.token_file.as_ref()) {
        odd.extend(files::exposure(token, Some("the token")));
    }
    for (signal, webhook) in webhooks {
        if let Some(key) = &webhook.key {
            odd.extend(files::exposure(&key.path, Some(&format!("the secret of {}", signal.name))));
        }
    }
    odd
}

/// Parses orders, checks that the boat has the signals they name, and runs their trials.
fn tried(name: &str, text: &str, signals: Option<&[&str]>) -> Result<(Orders, usize), Problems> {
    let orders = Orders::read(name, text)?;
    if let Some(known) = signals {
        orders.check_signals(known.iter().copied())?;
    }
    let trials = orders.run_trials()?;
    Ok((orders, trials))
}

/// The name of the built-in orders.
pub const BUILT_IN: &str = "the built-in orders";

/// The built-in orders: the shipped ones.
pub fn built_in_orders() -> Orders {
    // A test reads them; if they were bad all the same, only the built-in alerts would remain.
    Orders::read(BUILT_IN, rules::SHIPPED).unwrap_or_default()
}

/// Reads and parses a file; describes what is wrong in words.
pub fn read_file<T>(path: &Path, read: impl Fn(&str, &str) -> Result<T, Problems>) -> Result<T, String> {
    let name = path.display().to_string();
    let bytes = files::read(path, files::Kind::Written).map_err(|e| format!("{name}: {e}"))?;
    let text = String::from_utf8(bytes).map_err(|e| {
        let line = 1 + e.as_bytes()[..e.utf8_error().valid_up_to()].iter().filter(|&&b| b == b'\n').count();
        format!("{name}:{line}: this is not text in UTF-8")
    })?;
    read(&name, &text).map_err(|p| p.to_string())
}

fn summary(b: &Boat) -> String {
    let feeds = count(b.feeds.len(), "feed", "feeds");
    let signals = count(b.signals.len(), "signal", "signals");
    format!("{feeds}, {signals}, {} crew", b.crew.len())
}

/// Looks at serial ports. Returns what each said, and a first `boat.toml` of those that speak. There is none where it
/// would lack a port: one that was named and does not speak, or one that could not be opened.
fn look(named: Vec<PathBuf>) -> (Vec<Line>, Option<String>) {
    let any = named.is_empty();
    let paths = if any { ports::found() } else { named };
    let runtime = match tokio::runtime::Builder::new_current_thread().enable_all().build() {
        Ok(r) => r,
        Err(e) => return (vec![Line::bad("ports", e.to_string())], None),
    };
    let mut ports = runtime.block_on(ports::look(paths));
    ports.retain(|p| !any || !ports::is_hollow(p));
    let mut lines: Vec<Line> = ports
        .iter()
        .map(|p| {
            let line = if p.speaks() { Line::good } else { Line::bad };
            line(p.path.display().to_string(), p.words())
        })
        .collect();
    if lines.is_empty() {
        lines.push(Line::bad(
            "ports",
            "no serial port is there: plug the adapter in, or name a port behind --live",
        ));
    }
    let lacks = ports.iter().any(|p| if any { p.heard.is_err() } else { !p.speaks() });
    let draft = ports::offer(&ports);
    if lacks && draft.is_some() {
        lines.push(Line::bad(
            "draft",
            "no draft: it would lack a port. Mend that, or name behind --live those that should stand in it",
        ));
        return (lines, None);
    }
    (lines, draft)
}

/// Opens all feeds at once and listens for a while; then tries each signal with words that say it is a test.
fn trial(boat: &Boat) -> Vec<Line> {
    let runtime = match tokio::runtime::Builder::new_current_thread().enable_all().build() {
        Ok(r) => r,
        Err(e) => return vec![Line::bad("trial", e.to_string())],
    };
    runtime.block_on(async {
        let mut trials = Vec::new();
        for (feed, held) in boat.feeds.clone().into_iter().zip(held(boat).await) {
            trials.push(tokio::spawn(async move {
                let through = if held.is_some() { ", through the running watch" } else { "" };
                let heard = listen(&feed, held).await;
                let what = format!("feed {}", feed.name);
                match heard {
                    Ok(0) => {
                        let words = format!("{what}: no sentence in {} s{through}", LISTEN.as_secs());
                        Line::bad(what, words)
                    }
                    Ok(n) => {
                        Line::good(what, format!("{n} sentences in at most {} s{through}", LISTEN.as_secs()))
                    }
                    Err(e) => Line::bad(&what, format!("{what}: {e}")),
                }
            }));
        }
        let mut lines = Vec::new();
        for t in trials {
            match t.await {
                Ok(line) => lines.push(line),
                Err(e) => lines.push(Line::bad("trial", e.to_string())),
            }
        }
        for s in &boat.signals {
            let kind = match s.means {
                Means::Command(_) => "ran",
                Means::Webhook(_) => "answered",
                Means::Switched { .. } => "was switched",
                Means::Nmea(_) => "took a sentence",
            };
            let what = format!("signal {}", s.name);
            lines.push(match signals::trial(s, &boat.feeds).await {
                Ok(()) => Line::good(what, kind),
                Err(e) => Line::bad(&what, format!("{what}: {e}")),
            });
        }
        lines
    })
}

/// The boat's feeds as the running watch has them. A second reader of one of them would take what the watch must hear,
/// or be refused.
async fn held(boat: &Boat) -> Vec<Option<Held>> {
    // A file can be read twice, and from its start.
    let asked = |f: &boat::Feed| match &f.source {
        Connection::File(path) if path.is_file() => String::new(),
        source => feeds::address(source),
    };
    let asked: Vec<String> = boat.feeds.iter().map(asked).collect();
    let socket = boat.control.as_deref().unwrap_or(Path::new(boat::places::CONTROL));
    control::look(socket, &asked).await.unwrap_or_else(|e| {
        eprintln!("middlewatch: a watch that runs cannot be looked through: {e}");
        asked.iter().map(|_| None).collect()
    })
}

/// Counts sentences from a feed for a while; ends early after ten.
async fn listen(feed: &boat::Feed, held: Option<Held>) -> std::io::Result<u64> {
    let mut framer = Framer::new(FramerOptions { checksum_optional: feed.checksum_optional });
    let reading = async {
        let mut from = match held {
            None => Opened::open(&feed.source).await?.0,
            Some(held) if held.state == "up" => Opened::Stream(Box::new(held.bytes)),
            Some(held) => {
                let state = if held.state.is_empty() { "not open yet" } else { &held.state };
                return Err(std::io::Error::other(format!("{state}, says the running watch")));
            }
        };
        let mut chunk = vec![0; CHUNK];
        while framer.counts().sentences < 10 {
            let n = from.read(&mut chunk).await?;
            framer.push(&chunk[..n], &mut |_| {});
            if n == 0 || from.whole_lines() {
                framer.finish(&mut |_| {});
            }
            if n == 0 && !from.whole_lines() {
                break;
            }
        }
        Ok(())
    };
    match tokio::time::timeout(LISTEN, reading).await {
        Ok(Err(e)) => Err(e),
        Ok(Ok(())) | Err(_) => Ok(framer.counts().sentences),
    }
}
