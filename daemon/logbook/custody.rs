//! The writing thread keeps watch over its file: opens it, sees that it is lost or spoilt, begins a new one, and puts by
//! what the disk does not take before the daemon stops.

use super::anew::sync_folder;
use super::copy;
use super::error::{LogbookError, Trouble};
use super::inbox::{Record, Request, drop_least_urgent};
use super::opening::{self, Store, beside};
use super::reading::open_to_read;
use super::waiting::{self, SETTLED};
use super::writer::Writer;
use super::{LogbookSettings, Pace};
use crate::clock::Clock;
use rusqlite::Connection;
use std::collections::BTreeSet;
use std::sync::Arc;
use std::time::Duration;

/// Least time between checks of the whole file.
const CHECK_EVERY: Duration = Duration::from_secs(15);
/// Bytes of the file for each second between checks: what a check costs is then the same however large the file is, a
/// thousandth of an x86-64 processor that checks 640 MB a second. 15 MB are checked within 30 s, 1 GiB within 35 minutes.
const CHECK_BYTES_A_SECOND: u64 = 512 << 10;
/// Interval between attempts to end a check, and the most of them.
const END_CHECK_EVERY: Duration = Duration::from_millis(2);
const END_CHECK_TRIES: u32 = 250;
/// How long a stop waits for a disk that takes nothing.
const STOP_WAIT: Duration = Duration::from_secs(3);
/// ... and how often it tries.
const STOP_RETRY: Duration = Duration::from_millis(250);

impl Writer {
    /// Sees whether another program took the file from under us.
    pub(super) fn look(&self) -> Result<(), LogbookError> {
        match &self.store {
            Some(store) if self.settings.pace == Pace::Live => store.look(),
            _ => Ok(()),
        }
    }

    /// Another connection, which reads beside the writing one. It is opened here, while every file stands in its place: of
    /// another program's file SQLite would take our log and its index for that file's, and within one process its locks
    /// do not keep the two apart.
    pub(super) fn reader(&self) -> Result<Connection, LogbookError> {
        self.look()?;
        let connection = open_to_read(&self.path)?;
        self.look()?;
        Ok(connection)
    }

    /// Replaces the file and writes into the new one at once what waits and what is open.
    pub(super) fn begin_anew(&mut self, why: LogbookError) {
        self.health.failing = self.replace_file(why).and_then(|()| self.write(false)).err();
    }

    /// Has the whole file checked when that is due, on a thread of its own.
    pub(super) fn check(&mut self) {
        let now = Clock.now();
        if now < self.check_due {
            return;
        }
        let bytes = self.store.as_ref().map_or(0, Store::bytes);
        self.check_due = now + CHECK_EVERY.max(Duration::from_secs(bytes / CHECK_BYTES_A_SECOND));
        let (shared, path, file) = (Arc::clone(&self.shared), self.path.clone(), self.file);
        self.end_check();
        let connection = match self.reader() {
            Ok(connection) => connection,
            // Busy, or out of descriptors: there is no check this time.
            Err(why @ LogbookError::Disk { .. }) if !why.is_lost() => return,
            Err(why) => return self.begin_anew(why),
        };
        let stop = connection.get_interrupt_handle();
        let work = move || {
            if let Some(why) = copy::check(&connection, &path).err().filter(LogbookError::is_lost) {
                // Refused if the logbook is closed: the next opening sees the damage.
                let _ = shared.ask(Request::Damaged(file, why));
            }
        };
        // Without a thread there is no check this time, either.
        let thread = std::thread::Builder::new().name("logbook check".to_owned()).spawn(work).ok();
        self.checking = thread.map(|thread| (thread, stop));
    }

    /// Ends a check that is under way: as long as another connection has the file, SQLite leaves its log beside it.
    pub(super) fn end_check(&mut self) {
        let Some((thread, stop)) = self.checking.take() else { return };
        // An interrupt between two statements is lost, so it is repeated; a disk that does not answer is not waited for.
        for _ in 0..END_CHECK_TRIES {
            if thread.is_finished() {
                // It has nothing to say but what it has asked for.
                let _ = thread.join();
                return;
            }
            stop.interrupt();
            std::thread::sleep(END_CHECK_EVERY);
        }
    }

    /// Opens the file if that has failed so far.
    pub(super) fn open_if_shut(&mut self) -> Result<(), LogbookError> {
        if self.store.is_some() {
            return Ok(());
        }
        let settings = LogbookSettings { opened: self.last, ..self.settings.clone() };
        let (store, recovered, waiting) = opening::open(&self.path, &settings)?;
        // Those found by a look at the unwritable file are in the outbox already.
        let known = self.shared.outbox().rows();
        for w in waiting.into_iter().filter(|w| w.row.is_none_or(|row| !known.contains(&row))) {
            let rows = self.shared.outbox().add(w);
            self.records.extend(rows.into_iter().map(Record::Delivered));
        }
        self.shared.push_redeliver();
        self.shared.outbox_changed();
        self.health.set_aside = recovered.set_aside.or(self.health.set_aside.take());
        self.take_up(store);
        Ok(())
    }

    /// Goes on with a file that was just opened: it gets every state, and room is kept beside it.
    pub(super) fn take_up(&mut self, store: Store) {
        if self.settings.pace == Pace::Live {
            waiting::keep_room(&self.path);
        }
        self.store = Some(store);
        self.unwritten = self.states.keys().cloned().collect();
    }

    /// Sets a lost file aside, and writes what is known of it into a new one.
    pub(super) fn replace_file(&mut self, why: LogbookError) -> Result<(), LogbookError> {
        let Some(store) = &self.store else { return Err(LogbookError::Closed) };
        for name in ["event", "alert", "casualty"] {
            let known = self.numbers.entry(name).or_insert(0);
            *known = (*known).max(store.last(name));
        }
        let fresh = store.rescue(&why, &self.settings, &self.states, &self.numbers)?;
        self.end_check();
        let Some(store) = self.store.take() else { return Err(LogbookError::Closed) };
        let (store, aside) = store.replace(fresh, &self.settings, &self.last, why)?;
        self.file += 1;
        self.take_up(store);
        self.health.set_aside = Some(aside);
        self.records.retain(|r| !matches!(r, Record::Delivered(_) | Record::Key(..)));
        let to_come: BTreeSet<u64> = self
            .records
            .iter()
            .filter_map(|r| if let Record::Event(e) = r { Some(e.key) } else { None })
            .collect();
        let mut outbox = self.shared.outbox();
        outbox.forget_rows();
        let orphans = outbox.without_row(|key| to_come.contains(&key));
        self.records.extend(orphans.into_iter().map(|(id, _)| Record::Redeliver(id)));
        Ok(())
    }

    /// Writes the last records. If the disk takes nothing, tries for a few seconds, then puts them by in a file beside
    /// the logbook.
    ///
    /// # Errors
    /// If they did not reach the logbook: where they wait, or that they are lost.
    pub(super) fn finish(&mut self) -> Result<(), LogbookError> {
        let end = Clock.now() + STOP_WAIT;
        loop {
            let Err(why) = self.write(true) else { return Ok(()) };
            // What belongs to another daemon's logbook, or can be replayed, is not put by.
            if self.settings.pace == Pace::Replay || matches!(why, LogbookError::InUse { .. }) {
                return Err(why);
            }
            if Clock.now() >= end {
                return Err(self.put_by(&why));
            }
            std::thread::sleep(STOP_RETRY);
        }
    }

    /// Puts by what waits; says where, or that it could not be.
    fn put_by(&mut self, why: &LogbookError) -> LogbookError {
        let lost = |n: usize, then: &LogbookError| {
            LogbookError::Dropped(format!(
                "{n} waited for the disk ({why}), and no file beside it could be written: {then}"
            ))
        };
        let waiting = self.records.len();
        let Some(file) = waiting::next(&self.path) else {
            return lost(waiting, &waiting::none_left(&self.path));
        };
        let part = beside(&self.path, ".waiting-part");
        let opened = self.store.as_ref().map_or(self.settings.opened, Store::opened);
        let settings = LogbookSettings { opened, ..self.settings.clone() };
        let (logbook, last) = self.store.as_ref().map_or((0, 0), |s| (s.number(), s.last("event")));
        let last = last.max(self.numbers.get("event").copied().unwrap_or(0));
        self.keep_settled(logbook);
        waiting::free_room(&self.path);
        // Held until the end, with its lock.
        let main = self.store.take();
        let result = loop {
            let _ = std::fs::remove_file(&part);
            self.unwritten = self.states.keys().cloned().collect();
            let written = opening::open_small(&part, &settings).and_then(|store| {
                store.count("event", last)?;
                self.store = Some(store);
                self.try_write(true, true)
            });
            self.store = None;
            let full = matches!(written, Err(LogbookError::Disk { why: Trouble::Full, .. }));
            // What is less needed makes room: the track first, then a quarter of the events, the least urgent.
            if full && !self.rows.is_empty() {
                self.health.dropped += self.rows.len() as u64;
                self.rows.clear();
            } else if !full || self.drop_events(self.records.len().div_ceil(4)) == 0 {
                break written;
            }
        };
        let result = result.and_then(|()| {
            std::fs::rename(&part, &file)
                .and_then(|()| sync_folder(&self.path))
                .map_err(|e| super::anew::disk(&file, &e))
        });
        drop(main);
        match result {
            Ok(()) => LogbookError::PutBy { file, records: waiting, why: why.to_string() },
            Err(then) => lost(waiting, &then),
        }
    }

    /// Drops the least urgent events; returns how many.
    fn drop_events(&mut self, most: usize) -> usize {
        let gone: Vec<_> = (0..most).map_while(|_| drop_least_urgent(&mut self.records)).collect();
        let n = gone.len();
        self.health.dropped += n as u64;
        gone.into_iter().for_each(|e| e.answer(Err(LogbookError::Dropped("no room for it".to_owned()))));
        n
    }

    /// Makes a state of what has become of deliveries with rows in the logbook.
    fn keep_settled(&mut self, logbook: i64) {
        let mut settled: Vec<(i64, Option<String>)> = Vec::new();
        self.records.retain(|r| {
            match r {
                Record::Delivered(row) => settled.push((*row, None)),
                Record::Key(row, key) => settled.push((*row, Some(key.clone()))),
                _ => return true,
            }
            false
        });
        // Numbers and texts always serialize to JSON.
        let json = serde_json::to_string(&(logbook, settled)).unwrap_or_default();
        self.states.insert(SETTLED.to_owned(), (self.last, json));
    }
}
