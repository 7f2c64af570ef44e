//! `check`: every problem of the boat and orders files. With `--live`, also a trial of feeds and signals, or a look at
//! the serial ports if the boat has no feed yet.

use crate::feeds::{CHUNK, Opened};
use crate::outcome::{self, Outcome};
use crate::ports;
use crate::signals;
use boat::{self, Boat, Means};
use record::words::count;
use rules::{Orders, Proof};
use sentence::{Framer, FramerOptions};
use serde_json::json;
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
}

/// Checks the files, and with `live` the feeds and signals. If the boat has no feed, or ports are named, looks at the
/// ports and offers a first file.
pub fn check(boat: Option<&Path>, orders: Option<&Path>, live: Option<Vec<PathBuf>>, json: bool) -> Outcome {
    let mut lines = Vec::new();
    let mut bad_file = false;
    // By default check the installed files; a look at the ports needs none.
    let installed = || {
        let path = Path::new(boat::places::BOAT);
        (orders.is_none() && (live.is_none() || path.exists())).then_some(path)
    };
    let boat = boat.or_else(installed);
    let mut read_boat = None;
    let mut proofs = None;
    if let Some(path) = boat {
        let what = path.display().to_string();
        match read_file(path, boat::read) {
            Ok((b, odd)) => {
                let how = if odd.is_empty() { How::Good } else { How::Usable };
                lines.push(Line { what: what.clone(), how, words: summary(&b, odd.list().len()) });
                let odd = odd.list().iter().map(|p| odd.shown(p));
                lines.extend(odd.map(|words| Line { what: what.clone(), how: How::Warning, words }));
                read_boat = Some(b);
            }
            Err(why) => {
                bad_file = true;
                lines.push(Line::bad(what, why));
            }
        }
    }
    let named = read_boat.as_ref().and_then(|b| b.orders.clone());
    let orders = orders.map(Path::to_owned).or(named);
    if let Some(path) = orders {
        let signals: Option<Vec<&str>> =
            read_boat.as_ref().map(|b| b.signals.iter().map(|s| s.name.as_str()).collect());
        match read_file(&path, |name, text| tried(name, text, signals.as_deref())) {
            Ok((o, trials)) => {
                let trials =
                    if trials > 0 { format!(", {trials} trials as expected") } else { String::new() };
                let words = format!("{}{trials}", count(o.len(), "order", "orders"));
                lines.push(Line::good(path.display().to_string(), words));
                proofs = Some(o.proofs());
            }
            Err(why) => {
                bad_file = true;
                lines.push(Line::bad(path.display().to_string(), why));
            }
        }
    }
    let mut failed = false;
    if let (true, Some(boat)) = (live.is_some(), &read_boat) {
        for line in trial(boat) {
            failed |= line.how == How::Bad;
            lines.push(line);
        }
    }
    let mut offered = None;
    if let Some(named) = live
        && (!named.is_empty() || read_boat.as_ref().is_none_or(|b| b.feeds.is_empty()))
    {
        let (looked, offer) = look(named);
        failed |= offer.is_none();
        lines.extend(looked);
        offered = offer;
    }
    let mut text = String::new();
    for l in &lines {
        let words = match l.how {
            How::Good if l.words.starts_with("speaks") => format!("{} {}", l.what, l.words),
            How::Good => format!("{}: good, {}", l.what, l.words),
            How::Usable => format!("{}: usable, {}", l.what, l.words),
            How::Warning | How::Bad => l.words.clone(),
        };
        if json {
            let mut line = json!({"what": l.what, "good": l.how != How::Bad, "words": l.words});
            if l.how == How::Warning {
                line["warning"] = true.into();
            }
            text += &format!("{line}\n");
        } else if offered.is_some() {
            // The printed output as a whole is a file that can be kept.
            text.extend(words.lines().map(|line| format!("# {line}\n")));
        } else {
            text += &format!("{words}\n");
        }
    }
    if let Some(proofs) = proofs {
        text += &watched(&proofs, json);
    }
    if let Some(offer) = offered {
        text += &if json { format!("{}\n", json!({"offered": offer})) } else { format!("\n{offer}") };
    }
    let printed = outcome::print(&text);
    match (bad_file, failed) {
        (true, _) => Outcome::BadFile,
        (false, true) => Outcome::Failed,
        (false, false) => printed,
    }
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
    let bytes = std::fs::read(path).map_err(|e| format!("{name}: cannot be read: {e}"))?;
    let text = String::from_utf8(bytes).map_err(|e| {
        let line = 1 + e.as_bytes()[..e.utf8_error().valid_up_to()].iter().filter(|&&b| b == b'\n').count();
        format!("{name}:{line}: this is not text in UTF-8")
    })?;
    read(&name, &text).map_err(|p| p.to_string())
}

fn summary(b: &Boat, warnings: usize) -> String {
    let feeds = count(b.feeds.len(), "feed", "feeds");
    let signals = count(b.signals.len(), "signal", "signals");
    let odd =
        if warnings > 0 { format!(", {}", count(warnings, "warning", "warnings")) } else { String::new() };
    format!("{feeds}, {signals}, {} crew{odd}", b.crew.len())
}

/// Looks at serial ports. Returns what each said, and a first `boat.toml` if one speaks.
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
    (lines, ports::offer(&ports))
}

/// Opens all feeds at once and listens for a while; then tries each signal with words that say it is a test.
fn trial(boat: &Boat) -> Vec<Line> {
    let runtime = match tokio::runtime::Builder::new_current_thread().enable_all().build() {
        Ok(r) => r,
        Err(e) => return vec![Line::bad("trial", e.to_string())],
    };
    runtime.block_on(async {
        let mut trials = Vec::new();
        for feed in boat.feeds.clone() {
            trials.push(tokio::spawn(async move {
                let heard = listen(&feed).await;
                let what = format!("feed {}", feed.name);
                match heard {
                    Ok(0) => {
                        let words = format!("{what}: no sentence in {} s", LISTEN.as_secs());
                        Line::bad(what, words)
                    }
                    Ok(n) => Line::good(what, format!("{n} sentences in at most {} s", LISTEN.as_secs())),
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

/// Counts sentences from a feed for a while; ends early after ten.
async fn listen(feed: &boat::Feed) -> std::io::Result<u64> {
    let mut framer = Framer::new(FramerOptions { checksum_optional: feed.checksum_optional });
    let reading = async {
        let (mut from, _) = Opened::open(&feed.source).await?;
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
