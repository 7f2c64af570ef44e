//! The way back on a feed's own wire: what a signal sends to the devices the feed hears.

use super::source::Back;
use std::io;
use tokio::io::AsyncWriteExt;
use tokio::sync::{mpsc, oneshot};

/// Most requests waiting for one wire; a signal has one at a time.
const WAITING: usize = 4;

/// Bytes to send, and where to report the result.
#[derive(Debug)]
struct Asked {
    bytes: Vec<u8>,
    done: oneshot::Sender<io::Result<()>>,
}

/// A signal's end of the way back.
#[derive(Debug, Clone)]
pub struct WayBack(mpsc::Sender<Asked>);

/// The feed's end of it.
#[derive(Debug)]
pub struct Outgoing(mpsc::Receiver<Asked>);

/// Both ends.
pub fn way_back() -> (WayBack, Outgoing) {
    let (to, from) = mpsc::channel(WAITING);
    (WayBack(to), Outgoing(from))
}

impl WayBack {
    /// Sends bytes on the feed's wire and returns once the system has taken them. Waits while the feed is not open. If
    /// dropped half-way, what has not gone out is never sent.
    ///
    /// # Errors
    /// What the system says about the wire, or that the feed closed meanwhile.
    pub async fn send(&self, bytes: Vec<u8>) -> io::Result<()> {
        let closed = || io::Error::other("the feed's wire was closed");
        let (done, sent) = oneshot::channel();
        self.0.send(Asked { bytes, done }).await.map_err(|_| closed())?;
        sent.await.map_err(|_| closed())?
    }
}

impl Outgoing {
    /// Sends what is requested while the wire is open; never returns by itself.
    pub(super) async fn send(&mut self, to: &mut Back) {
        while let Some(Asked { bytes, mut done }) = self.0.recv().await {
            let written = tokio::select! {
                biased;
                // Whoever asked has given up; sending now would be late, and a repeat.
                () = done.closed() => continue,
                written = to.write_all(&bytes) => written,
            };
            let _ = done.send(written);
        }
        std::future::pending().await
    }
}
