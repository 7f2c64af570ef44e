//! `run`: stands the watch until told to stop.

mod book;
mod every;
mod limits;
mod messenger;
mod orders;

use crate::check::read_file;
use crate::clock::{self, Clock};
use crate::control;
use crate::diagnostics;
use crate::feeds::{self, Lines, Runner};
use crate::logbook::{Logbook, LogbookSettings, Pace};
use crate::outcome::Outcome;
use crate::service::Manager;
use crate::signals::Signals;
use boat::{Boat, places};
use messenger::Messenger;
use record::Stamp;
use std::future::pending;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;
use terms::{FeedId, Mmsi, Moment, UtcSource};
use tokio::runtime::{Builder, Handle, Runtime};
use tokio::signal::unix::{SignalKind, signal};
use tokio::sync::mpsc;

/// Idle time between passes, unless a beacon is heard or the crew act. Waking costs more than a line does, so lines
/// that arrive meanwhile on several wires are taken together. Nobody on watch notices a tenth of a second.
const REST: Duration = Duration::from_millis(100);
/// Least time between two readings of the orders for SIGHUP.
const RELOADS: Duration = Duration::from_secs(1);
/// How long a thread that waits for files and devices is kept without work: as good as for ever.
const KEPT: Duration = Duration::from_secs(365 * 24 * 3600);
/// Most reports from signals waiting for the watch.
const NEWS: usize = 64;

/// What to do where no file describes the boat yet.
const FIRST_STEPS: &str = "Draft that file from what the serial ports bring: middlewatch check --live --write boat.toml\n\
    Then look it over, and run:                       middlewatch run --config boat.toml\n\
    To see and hear a watch before:                   middlewatch demo";

/// Stands the watch of the boat in a configuration file until SIGTERM or SIGINT.
pub fn run(config: &Path) -> Outcome {
    let _diagnostics = diagnostics::start();
    let boat = match read_file(config, boat::read) {
        Ok((b, odd)) => {
            for p in odd.list() {
                tracing::warn!("{}", odd.shown(p).lines().next().unwrap_or_default());
            }
            b
        }
        Err(why) => {
            diagnostics::complain(&why);
            if matches!(config.try_exists(), Ok(false)) {
                diagnostics::complain(FIRST_STEPS);
            }
            return Outcome::BadFile;
        }
    };
    // Each has its own threads so that none holds up another. The watch runs on this one. The feeds have one, where
    // nothing may block. Signals and control have two: a device may hold up one while the other keeps sounding.
    let threads = || threads().map_err(|e| format!("threads for the watch: {e}"));
    let outcome = limits::ensure(&boat).and_then(|()| threads()).and_then(|(watch, wires, outward)| {
        let outcome = watch.block_on(stand(boat, &wires, outward.handle()));
        // A device that never answers must not keep the daemon from stopping.
        outward.shutdown_timeout(Duration::from_millis(100));
        outcome
    });
    match outcome {
        Ok(()) => Outcome::Done,
        Err(why) => {
            diagnostics::complain(&format!("middlewatch: {why}"));
            Outcome::Failed
        }
    }
}

/// Runtimes: the watch's own, the feeds' (which runs until the process ends), and that of signals and control.
fn threads() -> io::Result<(Runtime, Handle, Runtime)> {
    let built = |mut builder: Builder| {
        let runtime = builder.enable_all().thread_keep_alive(KEPT).build()?;
        // One thread that may block stays. Whoever needs one where there is none, and none to be had, is ended: a feed
        // that opens its wire, a webhook that looks up a host.
        drop(runtime.spawn_blocking(|| ()));
        io::Result::Ok(runtime)
    };
    let (watch, feeds) = (built(Builder::new_current_thread())?, built(Builder::new_current_thread())?);
    let mut outward = Builder::new_multi_thread();
    outward.worker_threads(2);
    let outward = built(outward)?;
    let wires = feeds.handle().clone();
    std::thread::Builder::new().name("feeds".to_owned()).spawn(move || feeds.block_on(pending::<()>()))?;
    Ok((watch, wires, outward))
}

/// Stands the watch, with the feeds and the outward side on threads of their own.
async fn stand(boat: Boat, wires: &Handle, outward: &Handle) -> Result<(), String> {
    let clock = Clock;
    let mut manager = Manager::of_environment();
    let began = clock.now();
    let socket = boat.control.clone().unwrap_or_else(|| PathBuf::from(places::CONTROL));
    let opened = outward.spawn(async move { control::Server::open(&socket).await });
    let server = opened.await.map_err(|e| e.to_string())?.map_err(|e| e.to_string())?;
    let mut shut = server.shut();

    let path = boat.logbook.clone().unwrap_or_else(|| PathBuf::from(places::LOGBOOK));
    let settings = LogbookSettings {
        boot: clock::boot_id(),
        opened: Stamp { steady: began, utc: Some((clock.utc(), UtcSource::System)), feed: None },
        pace: Pace::Live,
        limit_bytes: None,
    };
    if let Some(folder) = path.parent() {
        // If this fails, opening the logbook says why.
        let _ = std::fs::create_dir_all(folder);
    }
    let (logbook, recovered, _) = Logbook::open_or_wait(&path, settings);

    let orders_path = boat.orders.clone().unwrap_or_else(|| PathBuf::from(places::ORDERS));

    let (news, mut signal_news) = mpsc::channel(NEWS);
    let (questions, mut asked) = control::questions();
    let (ways_back, outgoing): (Vec<_>, Vec<_>) = boat.feeds.iter().map(|_| feeds::way_back()).unzip();
    let signals = {
        let _there = outward.enter();
        control::buttons(&boat, &questions, &news);
        let by_name = boat.feeds.iter().map(|f| f.name.clone()).zip(ways_back).collect();
        Signals::start(&boat, &by_name, &logbook, clock, &news)
    };
    let mut lines = Lines::default();
    let crew: Vec<Mmsi> = boat.crew.iter().filter_map(|c| c.beacon).collect();
    let (mut feeds, mut wired) = (Vec::new(), Vec::new());
    for ((feed, outgoing), n) in boat.feeds.iter().zip(outgoing).zip(0..) {
        let (runner, status) = Runner::new(FeedId(n), feed.clone(), crew.clone(), &lines, clock);
        let name: Arc<str> = Arc::from(feed.name.as_str());
        let source = feeds::address(&feed.source);
        wired.push(control::Wire { name: name.clone(), source, status: status.clone() });
        feeds.push((name, status));
        logbook.name_feed(FeedId(n), &feed.name);
        wires.spawn(runner.run(outgoing));
    }
    outward.spawn(server.run(questions, boat.listen.clone(), wired));

    let (to_watch, mut orders_read) = mpsc::channel(1);
    let read = {
        let path = orders_path.clone();
        outward.spawn(async move { orders::read(&path).await }).await.map_err(|e| e.to_string())?
    };
    let mut messenger = Messenger::new(boat, logbook, signals, feeds, [orders_path, path.clone()], to_watch);
    messenger.begin(began, &recovered, read);
    messenger.control_health(shut.borrow_and_update().why());

    let mut terminate = signal(SignalKind::terminate()).map_err(|e| e.to_string())?;
    let mut interrupt = signal(SignalKind::interrupt()).map_err(|e| e.to_string())?;
    let mut hang_up = signal(SignalKind::hangup()).map_err(|e| e.to_string())?;
    let mut health = messenger.logbook.health();
    tracing::info!(orders = %messenger.watch.orders_from(), logbook = %path.display(), "the watch stands");
    if messenger.boat.feeds.is_empty() {
        tracing::warn!(
            "no feed stands in boat.toml, so nothing is heard; `middlewatch check --live` looks for feeds"
        );
    }
    manager.ready();
    let mut rested = clock.now();
    let mut reloaded: Option<Moment> = None;
    let mut reloading = false;
    loop {
        let now = clock.now();
        let due = manager.wake(now, messenger.watch.next_wake()).map(|due| due.max(rested));
        let mut question = None;
        tokio::select! {
            biased;
            _ = terminate.recv() => break,
            _ = interrupt.recv() => break,
            // Those that come meanwhile are one: the system and tokio keep no count of them.
            _ = hang_up.recv(), if reloaded.is_none_or(|at| now.since(at) >= RELOADS) => {
                manager.reloading(clock);
                reloaded = Some(clock.now());
                reloading = true;
                messenger.reload(None);
            }
            Some(read) = orders_read.recv() => {
                if messenger.reloaded(read) && std::mem::take(&mut reloading) {
                    manager.ready();
                }
            }
            Some(act) = asked.acts.recv() => question = Some(act),
            Some(news) = signal_news.recv() => messenger.signal_news(news),
            Ok(()) = health.changed() => messenger.logbook_health(),
            Ok(()) = shut.changed() => messenger.control_health(shut.borrow_and_update().why()),
            // Last of what asks, so that a flood of looks delays nothing else; the lines are taken in each pass.
            Some(look) = asked.looks.recv() => question = Some(look),
            () = lines.come(rested.since(now)) => {}
            () = clock.until(due) => {}
        }
        // Lines read earlier go first.
        let all = messenger.hear(&mut lines);
        if let Some(question) = question.filter(|q| !q.is_over()) {
            messenger.answer(question.ask);
        }
        messenger.pass();
        let now = clock.now();
        manager.passed(now);
        rested = if all { now + REST } else { now };
    }
    manager.stopping();
    // Hear what was read before the end.
    messenger.hear(&mut lines);
    messenger.stop().await
}
