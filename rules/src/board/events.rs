//! Events in words. This is the only place where an event gets its words, and where anybody who looks gets those of now.

use super::Board;
use crate::alert::{Alert, AlertEvent, Carry, EventKind, Origin, Priority};
use crate::builtin::BuiltIn;
use crate::life::Happened;
use crate::picture::Picture;
use crate::words::Words;
use terms::{Subject, speech};

impl Board {
    /// Takes the events since the last call, in order, each with the words of its moment. Call it after each call that may
    /// have changed something, at the same moment and with the same picture.
    pub fn take_events(&mut self, picture: &dyn Picture) -> Vec<AlertEvent> {
        self.alerts.take_events().into_iter().map(|h| self.in_words(h, picture)).collect()
    }

    fn in_words(&mut self, h: Happened, picture: &dyn Picture) -> AlertEvent {
        let Happened { at, kind, alert, origin, carry, said } = h;
        debug_assert_eq!(at, self.now, "an event is taken at its own moment, else its words are of another");
        let speaks_itself = kind == EventKind::Guidance;
        let asks = (alert.is_active() || kind == EventKind::Noted) && !speaks_itself;
        let fresh = if asks { self.fresh(&origin, &alert, picture) } else { None };
        let words = fresh.inspect(|fresh| self.alerts.say(at, alert.id, fresh.clone())).unwrap_or(said);
        let mut words = named(words, &alert);
        words.spoken = Some(self.aloud(&origin, &alert, &words, picture));
        let words = words.and_more(carry.more);
        AlertEvent { at, kind, seq: alert.seq, alert, origin, words, carry }
    }

    /// The words of an alert as of now. If it has ended, or nothing new can be said of it, these are its last words, with
    /// their age if they are from before a restart.
    pub fn words(&self, alert: &Alert, picture: &dyn Picture) -> Words {
        let origin = self.alerts.origin(alert.id).filter(|_| alert.is_active());
        let fresh = origin.and_then(|origin| self.fresh(origin, alert, picture));
        named(fresh.unwrap_or_else(|| self.alerts.said(self.now, alert.id)), alert)
    }

    /// What a voice would say now of an alert with these words, in at most [`speech::MOST_WORDS`] words.
    pub fn spoken(&self, alert: &Alert, words: &Words, picture: &dyn Picture) -> String {
        match self.alerts.origin(alert.id) {
            Some(origin) => self.aloud(origin, alert, words, picture),
            None => speech::shortened(&words.written),
        }
    }

    /// What a voice says of an alert or a notice, in at most [`speech::MOST_WORDS`] words.
    fn aloud(&self, origin: &Origin, alert: &Alert, words: &Words, picture: &dyn Picture) -> String {
        let name = || picture.name_of(alert.subject);
        match (origin, &words.spoken) {
            (_, Some(spoken)) => speech::shortened(spoken),
            (Origin::BuiltIn(BuiltIn::WatchAlarm), _) => words.written.clone(),
            (Origin::BuiltIn(what), _) => match alert.subject {
                Subject::Feed(_) => speech::sentences([what.aloud(), &name()]),
                _ => speech::sentences([what.aloud()]),
            },
            (Origin::Order(order) | Origin::Unjudged(order) | Origin::Crowd(order), _)
                if alert.is_active() =>
            {
                let watched = self.by_name.get(order).and_then(|p| self.watched.get(*p as usize));
                watched.map_or_else(
                    || speech::sentences([order.as_str()]),
                    |w| w.aloud(origin, alert.subject, &self.sight(picture)),
                )
            }
            _ => speech::shortened(&words.written),
        }
    }

    /// Every alert that stands, as a repeat of its last event in the words of now. Changes nothing.
    pub fn standing(&self, picture: &dyn Picture) -> Vec<AlertEvent> {
        let event = |alert: &Alert| {
            let origin = self.alerts.origin(alert.id)?.clone();
            Some(AlertEvent {
                at: self.now,
                kind: EventKind::Repeated,
                // The first of an alert begins it.
                seq: alert.seq.max(2),
                alert: alert.clone(),
                origin,
                words: self.words(alert, picture),
                carry: Carry::default(),
            })
        };
        self.alerts().filter_map(event).collect()
    }

    /// What can be said now of an alert whose condition continues.
    fn fresh(&self, origin: &Origin, alert: &Alert, picture: &dyn Picture) -> Option<Words> {
        match origin {
            Origin::BuiltIn(BuiltIn::WatchAlarm) => Some(watch_alarm(alert).into()),
            Origin::BuiltIn(_) | Origin::Exercise(_) => picture.says(origin, alert.subject),
            Origin::Order(name) | Origin::Unjudged(name) | Origin::Crowd(name) => {
                let watched = self.watched.get(*self.by_name.get(name)? as usize)?;
                watched.words(origin, alert.subject, &self.sight(picture)).map(Words::from)
            }
            Origin::Note(_) => None,
        }
    }
}

/// The words, or the order's name where there are none.
fn named(words: Words, alert: &Alert) -> Words {
    if words.is_empty() { alert.order.as_str().into() } else { words }
}

/// What the watch alarm says at the stage given by the alert's priority and level.
fn watch_alarm(alert: &Alert) -> &'static str {
    match (alert.priority, alert.level) {
        (Priority::Notice | Priority::Caution, _) => "Reset the watch alarm",
        (_, 0) => "The watch has not reset the watch alarm",
        (_, 1) => "The watch has not reset the watch alarm: calling the skipper",
        _ => "Nobody has reset the watch alarm: all hands",
    }
}
