//! Debounced buttons on GPIO lines: control without a screen.

use super::{Ask, Questions};
use crate::clock::Clock;
use crate::gpio::{Gpio as _, Input};
use crate::signals::News;
use boat::Button;
use std::io;
use std::time::Duration;
use terms::{Moment, SignalId};
use tokio::sync::{mpsc, oneshot};

/// Wait before retrying a line that cannot be opened.
const TRY_AGAIN: Duration = Duration::from_secs(5);

/// Interprets the level of a contact over time; the caller supplies the time.
#[derive(Debug)]
struct Contact {
    debounce: Duration,
    hold: Duration,
    /// The last raw level, and since when.
    raw: (bool, Moment),
    /// The debounced level.
    closed: bool,
    /// When it will have been held long enough; `None` once it has acted, or if it was closed from the start.
    due: Option<Moment>,
}

impl Contact {
    /// A contact closed at the start must open before it counts.
    fn new(at: Moment, closed: bool, debounce: Duration, hold: Duration) -> Self {
        Self { debounce, hold, raw: (closed, at), closed, due: None }
    }

    fn told(&mut self, at: Moment, level: bool) {
        if level != self.raw.0 {
            self.raw = (level, at);
        }
    }

    /// Advances to a moment. Returns `true` once for each press.
    fn advance(&mut self, at: Moment) -> bool {
        let (level, since) = self.raw;
        if level != self.closed && at >= since + self.debounce {
            self.closed = level;
            self.due = level.then(|| since + self.hold);
        }
        let pressed = self.closed && self.due.is_some_and(|due| at >= due);
        if pressed {
            self.due = None;
        }
        pressed
    }

    fn next_wake(&self) -> Option<Moment> {
        let (level, since) = self.raw;
        let settles = (level != self.closed).then(|| since + self.debounce);
        [settles, self.due].into_iter().flatten().min()
    }
}

/// Watches a button until the watch ends.
pub(super) async fn run(id: SignalId, button: Button, questions: Questions, news: mpsc::Sender<News>) {
    loop {
        let outcome = watch(id, &button, &questions, &news).await;
        let Err(why) = outcome else { return };
        let _ = news.try_send(News { signal: id, outcome: Err(why.to_string()) });
        tokio::time::sleep(TRY_AGAIN).await;
    }
}

async fn watch(
    id: SignalId,
    button: &Button,
    questions: &Questions,
    news: &mpsc::Sender<News>,
) -> io::Result<()> {
    let mut input: Input = button.line.input()?;
    let mut contact = Contact::new(Clock.now(), input.level(), button.debounce, button.hold);
    let _ = news.try_send(News { signal: id, outcome: Ok(()) });
    loop {
        tokio::select! {
            biased;
            level = input.changed() => contact.told(Clock.now(), level?),
            () = Clock.until(contact.next_wake()) => {}
        }
        if contact.advance(Clock.now()) {
            tracing::info!(button = %button.name, "pressed");
            let (reply, done) = oneshot::channel();
            let ask = Ask::Button(button.name.clone(), button.act(), reply);
            if !questions.act(ask).await {
                return Ok(());
            }
            match done.await {
                Ok(Err(why)) => tracing::info!(button = %button.name, %why, "nothing done"),
                Ok(Ok(_)) => {}
                Err(_) => return Ok(()),
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Presses, from the changes of level up to `until`.
    fn presses(hold_ms: u64, closed: bool, changes: &[(i64, bool)], until: i64) -> Vec<i64> {
        let ms = Duration::from_millis;
        let mut contact = Contact::new(Moment(0), closed, ms(30), ms(hold_ms));
        let mut found = Vec::new();
        let mut changes = changes.iter().peekable();
        for t in 0..=until {
            while let Some((_, level)) = changes.next_if(|(at, _)| *at <= t) {
                contact.told(Moment(t), *level);
            }
            if contact.next_wake().is_some_and(|w| w <= Moment(t)) && contact.advance(Moment(t)) {
                found.push(t);
            }
        }
        found
    }

    #[test]
    fn a_bouncing_contact_is_one_press() {
        let bounce = [
            (100, true),
            (103, false),
            (105, true),
            (109, false),
            (111, true),
            (400, false),
            (404, true),
            (406, false),
        ];
        assert_eq!(presses(0, false, &bounce, 1000), [141]);
        assert_eq!(presses(0, false, &[(100, true), (120, false)], 1000), [0i64; 0], "a spike is none");
        let twice = [(100, true), (200, false), (300, true), (400, false)];
        assert_eq!(presses(0, false, &twice, 1000), [130, 330]);
    }

    #[test]
    fn held_for_its_time_and_not_a_moment_less() {
        assert_eq!(presses(2000, false, &[(100, true), (2000, false)], 5000), [0i64; 0]);
        assert_eq!(presses(2000, false, &[(100, true), (9000, false)], 20_000), [2100], "once, however long");
        // Stuck since before the watch began: it must be released first.
        assert_eq!(presses(500, true, &[(3000, false), (4000, true)], 9000), [4500]);
    }
}
