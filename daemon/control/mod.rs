//! Control: HTTP/1.1 on a Unix socket, and on TCP if the boat's file asks for it, with JSON both ways. The command line
//! is its client, the watch card is its page, buttons are its short cut.

mod body;
mod button;
mod client;
mod describe;
mod gate;
mod lines;
mod live;
mod metrics;
mod page;
pub mod places;
mod routes;
mod seats;
mod server;
mod socket;

pub use client::{ClientError, Held, ask, look};
pub use lines::Wire;
pub use server::{Server, Shut};
pub use socket::ControlError;

use crate::signals::News;
use boat::Boat;
use record::{
    Act, ActError, CasualtyAnswer, CasualtyQuestion, DepartureAct, DepartureSheet, Done, Handover, Status,
    Tried,
};
use std::path::PathBuf;
use terms::SignalId;
use tokio::sync::{OwnedSemaphorePermit, mpsc, oneshot};

/// Acts that may queue for the watch: one for each connection, over TCP and at the socket, and for each button.
const ACTS: usize = 128;
/// Looks of one listener that may queue for the watch. Each has its own share, so that a flood over TCP leaves the
/// socket its looks.
const LOOKS: usize = 8;
/// Largest request body, bytes.
const BODY: usize = 16 * 1024;
/// Time limit for a request to arrive and for its answer.
const PATIENCE: std::time::Duration = std::time::Duration::from_secs(10);

/// Returns an answer; dropped when nobody waits for it any more.
pub type Reply<A> = oneshot::Sender<Result<A, ActError>>;

/// Each figure of `GET /metrics`, with what it says.
#[must_use]
pub fn figures() -> Vec<(String, String)> {
    metrics::families()
}

/// A request to the watch, with the channel for its answer.
#[derive(Debug)]
pub enum Ask {
    /// The present picture.
    Status(Reply<Status>),
    /// What the relief must know. With a name, hands the watch over to that person.
    Handover(Option<String>, Reply<Handover>),
    /// An act of the crew.
    Act(Act, Reply<Done>),
    /// A casualty: its line, the sheet for the radio, a search pattern.
    Casualty(CasualtyQuestion, Reply<CasualtyAnswer>),
    /// Copies the logbook to another file.
    Backup(PathBuf, Reply<Done>),
    /// Rereads the orders.
    Reload(Reply<Done>),
    /// Sounds every sounder, so that somebody hears that it works, or tries the one named signal.
    Test(Option<String>, Reply<Tried>),
    /// The departure check as it stands.
    Departure(Reply<DepartureSheet>),
    /// A step of the departure check.
    DepartureAct(DepartureAct, Reply<DepartureSheet>),
    /// A press of the button of this name, with its act.
    Button(String, Act, Reply<Done>),
}

impl Ask {
    /// Of a look: whether anybody still waits for its answer. `None` for what may change something, which is done even
    /// if nobody does, and never waits behind a look.
    fn is_awaited(&self) -> Option<bool> {
        match self {
            Self::Status(reply) => Some(!reply.is_closed()),
            Self::Handover(None, reply) => Some(!reply.is_closed()),
            Self::Departure(reply) => Some(!reply.is_closed()),
            Self::Casualty(question, reply) => (!question.searched).then(|| !reply.is_closed()),
            Self::Handover(Some(_), _)
            | Self::Act(..)
            | Self::Backup(..)
            | Self::Reload(_)
            | Self::Test(..)
            | Self::DepartureAct(..)
            | Self::Button(..) => None,
        }
    }
}

/// A question in its queue.
#[derive(Debug)]
pub struct Question {
    /// What is asked.
    pub ask: Ask,
    /// The place of a look in its listener's share, held until the watch has answered, whoever waits.
    _share: Option<OwnedSemaphorePermit>,
}

impl Question {
    /// Whether it need not be answered: a look for which nobody waits any more.
    pub fn is_over(&self) -> bool {
        self.ask.is_awaited() == Some(false)
    }
}

/// The near ends of both queues to the watch.
#[derive(Debug, Clone)]
pub struct Questions {
    acts: mpsc::Sender<Question>,
    looks: mpsc::Sender<Question>,
}

/// The far ends. The watch serves acts first.
#[derive(Debug)]
pub struct Asked {
    /// Whatever may change something.
    pub acts: mpsc::Receiver<Question>,
    /// Looks, which change nothing.
    pub looks: mpsc::Receiver<Question>,
}

/// Both queues to the watch, each bounded.
pub fn questions() -> (Questions, Asked) {
    let (acts, far_acts) = mpsc::channel(ACTS);
    // Two listeners, and the pages that stay open.
    let (looks, far_looks) = mpsc::channel(2 * LOOKS + 1);
    (Questions { acts, looks }, Asked { acts: far_acts, looks: far_looks })
}

impl Questions {
    /// Queues a question; `false` if its queue is full or the watch has ended.
    fn put(&self, ask: Ask, share: Option<OwnedSemaphorePermit>) -> bool {
        let queue = if ask.is_awaited().is_some() { &self.looks } else { &self.acts };
        queue.try_send(Question { ask, _share: share }).is_ok()
    }

    /// Queues an act, and waits for room; `false` if the watch has ended.
    async fn act(&self, ask: Ask) -> bool {
        self.acts.send(Question { ask, _share: None }).await.is_ok()
    }
}

/// Starts a task for each button of the boat.
pub fn buttons(boat: &Boat, questions: &Questions, news: &mpsc::Sender<News>) {
    for (button, n) in boat.buttons.iter().zip(boat.signals.len()..) {
        let id = SignalId(u16::try_from(n).unwrap_or(u16::MAX));
        tokio::spawn(button::run(id, button.clone(), questions.clone(), news.clone()));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn acts_do_not_wait_behind_looks_and_both_queues_are_bounded() {
        let (questions, mut asked) = questions();
        let look = || questions.put(Ask::Status(oneshot::channel().0), None);
        let act = || questions.put(Ask::Reload(oneshot::channel().0), None);
        assert_eq!((0..1000).filter(|_| look()).count(), 2 * LOOKS + 1);
        assert_eq!((0..1000).filter(|_| act()).count(), ACTS);
        // Nobody waits any more: an act is done all the same, a look is not.
        let (act, look) = (asked.acts.try_recv().unwrap(), asked.looks.try_recv().unwrap());
        assert!(!act.is_over() && look.is_over());
        assert_eq!(Ask::Handover(Some("Ada".to_owned()), oneshot::channel().0).is_awaited(), None);
        let (reply, _waiting) = oneshot::channel();
        assert_eq!(Ask::Handover(None, reply).is_awaited(), Some(true));
    }
}
