//! Guides the watch back to those overboard who are ours: a short line again and again, from the first call until she is
//! alongside or the casualty is stood down, whatever was acknowledged.

use crate::Watch;
use crate::exercise::MARK;
use lookout::casualty::{CasualtyState, Guide, Turn, alongside, guidance};
use rules::{Alert, AlertEvent, AlertId, AlertState, EventKind, Priority, SOUND_RETURNS, Words};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::time::Duration;
use terms::speech::{self, Side};
use terms::{CasualtyId, METRES_PER_NM, Moment, Subject};

/// How often the logbook gets a line, how often the drilled turn is said, and how often that nothing is known (own choice).
const MINUTE: Duration = Duration::from_secs(60);
/// Somebody near from the start counts as picked up no sooner than this after the fall (own choice).
const NOT_BEFORE: Duration = Duration::from_secs(120);

/// She passes abeam between two lines: that is said at once, but no sooner than this after the last (own choice).
const BREATH: Duration = Duration::from_secs(5);

/// One casualty that the watch is guided to.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct Guided {
    /// When the next line is due.
    next: Moment,
    /// The crew silenced it until then.
    quiet_until: Option<Moment>,
    /// The side named last.
    #[serde(default)]
    side: Option<Side>,
    /// She has been further off than alongside.
    been_off: bool,
    /// She is alongside: nothing more is said unless she loses it again.
    alongside: bool,
    /// She passes it, and that was said.
    #[serde(default)]
    passing: bool,
    /// When the logbook got the last line.
    entered: Option<Moment>,
    /// When the drilled turn was said last.
    turn_said: Option<Moment>,
}

impl Guided {
    fn is_quiet(&self, at: Moment) -> bool {
        self.quiet_until.is_some_and(|until| at < until)
    }
}

/// Those that the watch is guided to: open casualties, which the lookout bounds, and at most one invented one.
#[derive(Debug, Default)]
pub(crate) struct Guidance {
    of: BTreeMap<CasualtyId, Guided>,
    /// The turn of the last exercise in which she turned.
    pub drilled: Option<Turn>,
}

/// What outlasts a restart.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct Kept {
    taken: Moment,
    of: Vec<(CasualtyId, Guided)>,
    drilled: Option<Turn>,
}

impl Guidance {
    /// When a line is due.
    pub fn due(&self) -> Option<Moment> {
        self.of.values().map(|g| g.next).min()
    }

    /// The side on which somebody was said to lie last.
    pub fn side(&self, about: Subject) -> Option<Side> {
        let Subject::Casualty(id) = about else { return None };
        self.of.get(&id)?.side
    }

    pub fn keep(&self, at: Moment) -> Kept {
        let of = self.of.iter().map(|(id, g)| (*id, g.clone())).collect();
        Kept { taken: at, of, drilled: self.drilled }
    }

    /// Takes up what was kept. `length` says how long ago that was, if it is known.
    pub fn take_up(&mut self, at: Moment, kept: Kept, length: impl Fn(Moment) -> Option<Duration>) {
        let ago = length(kept.taken).unwrap_or_default();
        let moved = |m: Moment| Moment((at - ago).0.saturating_add(m.0.saturating_sub(kept.taken.0)));
        self.drilled = kept.drilled;
        self.of = kept.of.into_iter().collect();
        for g in self.of.values_mut() {
            g.next = moved(g.next).max(at);
            for moment in [&mut g.quiet_until, &mut g.entered, &mut g.turn_said] {
                *moment = moment.map(moved);
            }
        }
    }
}

impl Watch {
    /// A casualty that the watch may be guided to, real or invented. An invented one has no name.
    fn overboard(&self, at: Moment, id: CasualtyId) -> Option<CasualtyState> {
        let real = self.lookout.casualty(at, id).filter(|c| c.stood_down.is_none());
        let invented = || self.exercise_state(at, id).map(|c| CasualtyState { crew: None, ..c });
        real.filter(CasualtyState::is_ours).or_else(invented)
    }

    /// The alert that calls for a casualty.
    fn alert_of(&self, id: CasualtyId) -> Option<&Alert> {
        let emergency = |a: &&Alert| a.priority == Priority::EmergencyAlarm;
        self.board.alerts().filter(emergency).find(|a| a.subject == Subject::Casualty(id))
    }

    /// Whether an alert makes no sound but by guidance.
    pub(crate) fn is_only_guided(&self, id: AlertId) -> bool {
        let acknowledged = |a: &&Alert| a.id == id && a.state == AlertState::ActiveAcknowledged;
        let about = self.board.alerts().find(acknowledged).map(|a| a.subject);
        matches!(about, Some(Subject::Casualty(id)) if self.guidance.of.get(&id).is_some_and(|g| !g.alongside))
    }

    /// Follows what happens to the alert of somebody overboard. A call says what guidance would say: that is next due a
    /// whole interval later.
    pub(crate) fn heed_guided(&mut self, e: &AlertEvent) {
        let Subject::Casualty(id) = e.alert.subject else { return };
        if e.kind == EventKind::Guidance {
            return;
        }
        let state = self.overboard(e.at, id);
        let Some(state) =
            state.filter(|_| e.alert.priority == Priority::EmergencyAlarm && e.alert.is_active())
        else {
            self.guidance.of.remove(&id);
            return;
        };
        let every = self.boat.guidance.every;
        let g = self.guidance.of.entry(id).or_insert_with(|| Guided {
            next: e.at + every,
            quiet_until: None,
            side: None,
            been_off: false,
            alongside: false,
            passing: false,
            entered: None,
            turn_said: None,
        });
        if e.kind == EventKind::Silenced {
            g.quiet_until = Some(e.at + SOUND_RETURNS);
        } else if e.kind.calls() {
            g.side = state.side(g.side);
            g.next = e.at + every;
        }
        g.next = g.next.max(g.quiet_until.unwrap_or(g.next));
    }

    /// Says whatever guidance is due.
    pub(crate) fn guide(&mut self, at: Moment) {
        let soon = at + self.boat.guidance.every - BREATH;
        let due = |g: &Guided| g.next <= at || (g.next <= soon && !g.passing && !g.alongside);
        let ids: Vec<CasualtyId> =
            self.guidance.of.iter().filter(|(_, g)| due(g)).map(|(id, _)| *id).collect();
        for id in ids {
            let Some((state, alert)) = self.overboard(at, id).zip(self.alert_of(id).cloned()) else {
                self.guidance.of.remove(&id);
                continue;
            };
            let g = self.guidance.of.get(&id);
            if g.is_some_and(|g| g.next <= at || (state.is_passing(g.side) && !g.is_quiet(at))) {
                self.guide_to(at, &state, &alert);
            }
        }
        self.tell_events(at);
    }

    fn guide_to(&mut self, at: Moment, state: &CasualtyState, alert: &Alert) {
        let (every, until_m) = (self.boat.guidance.every, self.boat.guidance.until_m);
        let among_others = self.guidance.of.len() > 1;
        let drilled = self.guidance.drilled;
        let Some(g) = self.guidance.of.get_mut(&state.id) else { return };
        g.next = at + if state.is_placed() { every } else { MINUTE.max(every) };
        g.been_off |= !state.is_within(until_m) || state.elapsed >= NOT_BEFORE;
        let near = state.range_nm.is_none_or(|nm| nm * METRES_PER_NM <= 2.0 * until_m);
        if g.alongside && near {
            return;
        }
        let was_alongside = std::mem::replace(&mut g.alongside, g.been_off && state.is_within(until_m));
        let a_minute_ago = |last: Option<Moment>| last.is_none_or(|last| at.since(last) >= MINUTE);
        let line = if g.alongside {
            alongside(state, until_m)
        } else {
            let turn = drilled.filter(|_| state.is_left_astern() && a_minute_ago(g.turn_said));
            if turn.is_some() {
                g.turn_said = Some(at);
            }
            guidance(state, Guide { said: g.side, among_others, turn })
        };
        g.passing = state.is_passing(g.side);
        g.side = state.side(g.side);
        let passing = !(a_minute_ago(g.entered) || g.alongside || was_alongside);
        if !passing {
            g.entered = Some(at);
        }
        let words = if alert.exercise {
            let spoken = speech::sentences(["exercise", &line]);
            Words { written: format!("{MARK}: {line}"), spoken: Some(spoken) }
        } else {
            Words { spoken: Some(line.clone()), written: line }
        };
        self.board.guide(at, alert.id, words, passing);
    }
}

#[cfg(test)]
mod tests;
