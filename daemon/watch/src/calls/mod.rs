//! The radio log: what each call and message is, whether it is new, and what becomes of it. A distress call is a casualty
//! first, which the lookout raises; here it is only logged.

mod kind;
mod parts;
#[cfg(test)]
mod tests;

use crate::Watch;
use kind::{Heard, same_as};
use lookout::casualty::Gap;
use parts::{Parts, Whole};
use record::{Call, CallNow, Entry};
use rules::{AlertEvent, BuiltIn, EventKind, Origin, Priority, Words};
use sentence::{CallExpansion, Report, SelectiveCall};
use serde::{Deserialize, Serialize};
use std::collections::VecDeque;
use std::time::Duration;
use terms::{CallId, Mmsi, Moment, Position, Subject, soonest};

/// Calls kept by which a repeated one is known; beyond that the oldest goes whose alert is over.
const MOST_HEARD: usize = 256;
/// Calls whose position may still be refined (DSE).
const MOST_HELD: usize = 16;
/// The refinement follows at once; a call waits for it no longer than this (own choice).
const REFINED_WITHIN: Duration = Duration::from_secs(2);
/// A caution about a call ends after a watch of usual length: it needs no acknowledgement, and the log keeps it.
const CAUTION_STANDS: Duration = Duration::from_secs(4 * 3600);
/// What status and handover show of the past, and how much of it.
const SHOWN_FOR: Duration = Duration::from_secs(12 * 3600);
const MOST_SHOWN: usize = 16;
/// A NAVTEX message of which less than this was wrong, in per cent, needs no better copy (IMO A.700(17), 6 to 8).
const GOOD_PERCENT: f64 = 4.0;

/// The calls received.
#[derive(Debug, Default)]
pub(crate) struct Calls {
    last: u32,
    /// Oldest first.
    log: VecDeque<Logged>,
    held: Vec<Held>,
    parts: Parts,
}

/// A call as it is remembered.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct Logged {
    at: Moment,
    /// What sets it apart from others.
    key: String,
    call: Call,
    /// Its alert, while that is not over.
    stands: Option<BuiltIn>,
}

/// A call that waits for the refinement of its position.
#[derive(Debug)]
struct Held {
    due: Moment,
    caller: Option<Mmsi>,
    position: Option<Position>,
    heard: Heard,
}

/// What is kept of the calls across a restart.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Kept {
    at: Moment,
    last: u32,
    log: Vec<Logged>,
}

impl Calls {
    /// The call with a number.
    pub fn get(&self, id: CallId) -> Option<&Call> {
        self.log.iter().rev().find(|l| l.call.number == id).map(|l| &l.call)
    }

    /// The words of an alert about a call.
    pub fn says(&self, what: BuiltIn, id: CallId) -> Option<Words> {
        let call = self.get(id).filter(|call| call.kind.alert() == Some(what))?;
        Some(Words { written: call.words(), spoken: Some(call.aloud()) })
    }

    /// When something of it falls due.
    pub fn due(&self) -> Option<Moment> {
        let cautions = self.log.iter().filter(|l| l.ends_by_time()).map(|l| l.at + CAUTION_STANDS).min();
        let held = self.held.iter().map(|h| h.due).min();
        soonest([("", held), ("", self.parts.due()), ("", cautions)])
    }

    /// Those of the last twelve hours, newest first.
    fn shown(&self, at: Moment) -> impl Iterator<Item = &Logged> {
        self.log.iter().rev().filter(move |l| at.since(l.at) <= SHOWN_FOR).take(MOST_SHOWN)
    }

    /// The same for the status.
    pub fn now(&self, at: Moment) -> Vec<CallNow> {
        let now = |l: &Logged| CallNow {
            words: l.call.words(),
            ago_s: at.since(l.at).as_secs_f64(),
            stands: l.stands.is_some(),
            call: l.call.clone(),
        };
        self.shown(at).map(now).collect()
    }

    fn keep(&self, at: Moment) -> Kept {
        Kept { at, last: self.last, log: self.log.iter().cloned().collect() }
    }

    fn remember(&mut self, at: Moment, key: String, call: Call) {
        if self.log.len() >= MOST_HEARD {
            // Alerts about calls are bounded by the board.
            let gone = self.log.iter().position(|l| l.stands.is_none()).unwrap_or(0);
            self.log.remove(gone);
        }
        self.log.push_back(Logged { at, key, call, stands: None });
    }
}

impl Logged {
    fn ends_by_time(&self) -> bool {
        self.stands.is_some_and(|what| what.priority() == Priority::Caution)
    }
}

impl Watch {
    /// Takes a sentence that may be a call or a message.
    pub(crate) fn hear_call(&mut self, at: Moment, report: &Report) {
        match report {
            Report::SelectiveCall(dsc) => self.hear_dsc(at, dsc),
            Report::CallExpansion(more) => self.hear_expansion(at, more),
            Report::Navtex(part) => {
                if let Some(whole) = self.calls.parts.take(at, part) {
                    self.hear_navtex(at, whole);
                }
            }
            Report::Ais(ais) if matches!(ais.message, 8 | 12 | 14) && !ais.own_vessel => {
                if let Some(heard) = kind::of_ais(ais, self.lookout.own_mmsi()) {
                    self.received(at, heard);
                }
            }
            _ => {}
        }
    }

    fn hear_dsc(&mut self, at: Moment, dsc: &SelectiveCall) {
        let heard = kind::of_dsc(dsc);
        if !dsc.expansion_follows || dsc.position.is_none() {
            return self.received(at, heard);
        }
        if self.calls.held.len() >= MOST_HELD {
            let first = self.calls.held.remove(0);
            self.received(at, first.heard);
        }
        let due = at + REFINED_WITHIN;
        self.calls.held.push(Held { due, caller: dsc.caller, position: dsc.position, heard });
    }

    fn hear_expansion(&mut self, at: Moment, more: &CallExpansion) {
        let Some(index) = self.calls.held.iter().position(|h| h.caller == more.caller) else { return };
        let Held { position, mut heard, .. } = self.calls.held.remove(index);
        heard.call.set_position(position.and_then(|p| more.refined(p)).or(position));
        self.received(at, heard);
    }

    fn hear_navtex(&mut self, at: Moment, whole: Whole) {
        let calls = &self.boat.calls;
        let heard = kind::of_navtex(whole, |id| calls.announces(id.station, id.subject));
        self.received(at, heard);
    }

    /// Logs a call and announces it, unless it is known.
    fn received(&mut self, at: Moment, heard: Heard) {
        let Heard { key, mut call, announced } = heard;
        call.name = call.caller.and_then(|mmsi| self.lookout.target(at, mmsi)?.name);
        let before = self.calls.log.iter().rposition(|l| l.key == key);
        let again = before.filter(|n| at.since(self.calls.log[*n].at) < same_as(call.kind));
        if let Some(n) = again {
            return self.heard_again(at, n, call);
        }
        self.keep_due = true;
        // Its alert still stands: it is announced anew, and an acknowledgement no longer counts.
        let standing = before.and_then(|n| self.calls.log.remove(n)).filter(|l| l.stands.is_some());
        call.number = standing.map_or_else(
            || {
                self.calls.last = self.calls.last.saturating_add(1);
                CallId(self.calls.last)
            },
            |l| l.call.number,
        );
        let subject = Subject::Call(call.number);
        self.enter(at, Entry::Call(call.clone()));
        self.calls.remember(at, key, call.clone());
        // One's own call may be heard back, and what a beacon says belongs to its casualty.
        let crew = |mmsi| self.boat.crew.iter().any(|c| c.beacon == Some(mmsi));
        let told = |mmsi: Mmsi| mmsi.is_beacon() || crew(mmsi) || Some(mmsi) == self.lookout.own_mmsi();
        if !announced || call.caller.is_some_and(told) {
            return;
        }
        if let Some(what) = call.kind.alert() {
            if let Some(logged) = self.calls.log.back_mut() {
                logged.stands = Some(what);
            }
            self.board.call(at, what, subject, Words::default());
        } else {
            let words = Words { written: call.words(), spoken: Some(call.aloud()) };
            self.board.note(at, "call", subject, words);
        }
    }

    /// A known call came again: only a better copy of it is news.
    fn heard_again(&mut self, at: Moment, n: usize, call: Call) {
        let Some(logged) = self.calls.log.get_mut(n) else { return };
        let wrong = |call: &Call| call.wrong_percent.unwrap_or(0.0);
        let bad = logged.call.incomplete || wrong(&logged.call) >= GOOD_PERCENT;
        let better = (call.incomplete, wrong(&call)) < (logged.call.incomplete, wrong(&logged.call));
        if !bad || !better {
            return;
        }
        logged.call = Call { number: logged.call.number, better: true, ..call };
        let (call, stands) = (logged.call.clone(), logged.stands);
        let subject = Subject::Call(call.number);
        self.enter(at, Entry::Call(call));
        if let Some(what) = stands {
            self.board.retell(at, what, subject, Words::default());
        }
        self.keep_due = true;
    }

    /// Takes up what fell due: calls without a refinement, messages without their last parts, cautions that have stood for
    /// long.
    pub(crate) fn look_at_calls(&mut self, at: Moment) {
        while let Some(n) = self.calls.held.iter().position(|h| h.due <= at) {
            let held = self.calls.held.remove(n);
            self.received(at, held.heard);
        }
        while let Some(whole) = self.calls.parts.overdue(at) {
            self.hear_navtex(at, whole);
        }
        let over: Vec<(BuiltIn, CallId)> = self
            .calls
            .log
            .iter_mut()
            .filter(|l| l.ends_by_time() && l.at + CAUTION_STANDS <= at)
            .filter_map(|l| Some((l.stands.take()?, l.call.number)))
            .collect();
        for (what, id) in over {
            self.board.over(at, what, Subject::Call(id));
        }
    }

    /// Ends the alert about a call that somebody has acknowledged: that is all there is to do about it here.
    pub(crate) fn heed_call(&mut self, at: Moment, e: &AlertEvent) {
        let (Subject::Call(id), Origin::BuiltIn(what)) = (e.alert.subject, &e.origin) else { return };
        match e.kind {
            EventKind::Acknowledged => self.board.over(at, *what, Subject::Call(id)),
            EventKind::Cleared => {}
            _ => return,
        }
        for logged in self.calls.log.iter_mut().filter(|l| l.call.number == id) {
            logged.stands = None;
        }
    }

    /// Lines of the handover.
    pub(crate) fn call_lines(&self, at: Moment) -> Vec<String> {
        let line = |l: &Logged| format!("Received {} ago: {}", terms::span(at.since(l.at)), l.call.words());
        let mut lines: Vec<String> = self.calls.shown(at).take(MOST_SHOWN / 2).map(line).collect();
        let more = self.calls.shown(at).count().saturating_sub(lines.len());
        if more > 0 {
            lines.push(format!(
                "Received in the last {}: {more} more, in the logbook",
                terms::span(SHOWN_FOR)
            ));
        }
        lines
    }

    /// Numbers of the calls of the last twelve hours, newest first.
    pub(crate) fn calls_shown(&self, at: Moment) -> Vec<CallId> {
        self.calls.shown(at).map(|l| l.call.number).collect()
    }

    /// What must outlast a restart.
    pub(crate) fn keep_calls(&self, at: Moment) -> Kept {
        self.calls.keep(at)
    }

    /// Takes up what an earlier run left. After a gap of unknown length nobody knows what is still the same call.
    pub(crate) fn take_up_calls(&mut self, at: Moment, kept: Kept, gap: Gap) {
        self.calls.last = self.calls.last.max(kept.last);
        let length = match gap {
            Gap::SameClock => at.since(kept.at),
            Gap::Of(length) => length,
            Gap::Unknown => Duration::ZERO,
        };
        let by_ms =
            at.0.saturating_sub(kept.at.0)
                .saturating_sub(i64::try_from(length.as_millis()).unwrap_or(i64::MAX));
        let known = gap != Gap::Unknown;
        let taken = kept.log.into_iter().filter(|l| known || l.stands.is_some());
        for mut logged in taken.take(MOST_HEARD) {
            logged.at = Moment(logged.at.0.saturating_add(by_ms));
            self.calls.log.push_back(logged);
        }
        let standing: Vec<(BuiltIn, CallId)> =
            self.calls.log.iter().filter_map(|l| Some((l.stands?, l.call.number))).collect();
        for (what, id) in standing {
            let words = self.calls.says(what, id).unwrap_or_default();
            self.board.follow(at, what, Subject::Call(id), words);
        }
    }

    /// Whose call an alert is about.
    pub(crate) fn caller(&self, id: CallId) -> Option<Mmsi> {
        self.calls.get(id).and_then(|call| call.caller)
    }
}
