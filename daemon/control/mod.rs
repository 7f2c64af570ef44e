//! Control: HTTP/1.1 on a Unix socket, and on TCP if the boat's file asks for it, with JSON both ways. The command line
//! is its client, the watch card is its page, buttons are its short cut.

mod body;
mod button;
mod client;
mod describe;
mod gate;
mod live;
mod metrics;
mod page;
pub mod places;
mod routes;
mod server;

pub use client::{ClientError, ask};
pub use server::{ControlError, Server};

use crate::signals::News;
use boat::Boat;
use record::{
    Act, ActError, CasualtyAnswer, CasualtyQuestion, DepartureAct, DepartureSheet, Done, Handover, Status,
    Tried,
};
use std::path::PathBuf;
use terms::SignalId;
use tokio::sync::{mpsc, oneshot};

/// Requests that may queue for the watch.
const WAITING: usize = 64;
/// Simultaneous connections; more wait in the kernel's queue.
const CONNECTIONS: usize = 32;
/// Largest request body, bytes.
const BODY: usize = 16 * 1024;
/// Time limit for a request to arrive and for its answer.
const PATIENCE: std::time::Duration = std::time::Duration::from_secs(10);

/// Returns an answer; dropped when nobody waits for it any more.
pub type Reply<A> = oneshot::Sender<Result<A, ActError>>;

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

/// Both ends of the bounded request queue.
pub fn questions() -> (mpsc::Sender<Ask>, mpsc::Receiver<Ask>) {
    mpsc::channel(WAITING)
}

/// Starts a task for each button of the boat.
pub fn buttons(boat: &Boat, questions: &mpsc::Sender<Ask>, news: &mpsc::Sender<News>) {
    for (button, n) in boat.buttons.iter().zip(boat.signals.len()..) {
        let id = SignalId(u16::try_from(n).unwrap_or(u16::MAX));
        tokio::spawn(button::run(id, button.clone(), questions.clone(), news.clone()));
    }
}
