//! Control: HTTP/1.1 on a Unix socket, and on TCP where the boat's file asks for it; JSON both ways. The command line is
//! its client, the watch card is its page, buttons are its short cut.

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

/// Requests that may wait for the watch.
const WAITING: usize = 64;
/// Connections at one time; more wait in the kernel's queue.
const CONNECTIONS: usize = 32;
/// Bytes of a request's body.
const BODY: usize = 16 * 1024;
/// Time for a request to arrive and to be answered.
const PATIENCE: std::time::Duration = std::time::Duration::from_secs(10);

/// The way back for an answer; dropped when nobody waits for it any more.
pub type Reply<A> = oneshot::Sender<Result<A, ActError>>;

/// What is asked of the watch, and the way back for the answer.
#[derive(Debug)]
pub enum Ask {
    /// The picture as it is.
    Status(Reply<Status>),
    /// What the one who takes the watch over must know; with a name, that person has it afterwards.
    Handover(Option<String>, Reply<Handover>),
    /// An act of the crew.
    Act(Act, Reply<Done>),
    /// About a casualty: its line, the sheet for the radio, a search pattern.
    Casualty(CasualtyQuestion, Reply<CasualtyAnswer>),
    /// Copy the logbook to another file.
    Backup(PathBuf, Reply<Done>),
    /// Read the orders again.
    Reload(Reply<Done>),
    /// Let every sounder sound, so that somebody hears that it works; or try the one signal that is named.
    Test(Option<String>, Reply<Tried>),
    /// The departure check as it stands.
    Departure(Reply<DepartureSheet>),
    /// The departure check goes on.
    DepartureAct(DepartureAct, Reply<DepartureSheet>),
    /// A button of this name was pressed, which does that.
    Button(String, Act, Reply<Done>),
}

/// Both ends of the queue of questions; bounded.
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
