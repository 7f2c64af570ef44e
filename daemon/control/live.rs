//! The live picture for pages that stay open. It queries the watch once a second, however many pages look on.

use super::body::{Body, refusal, typed};
use super::seats::Seat;
use super::{Ask, Questions};
use hyper::body::Bytes;
use hyper::{Response, StatusCode};
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::{Notify, mpsc, oneshot, watch};

/// Interval between queries.
const EVERY: Duration = Duration::from_secs(1);
/// Time limit for an answer from the watch, after which it is queried again. The page itself warns that its data is
/// old.
const LATE: Duration = Duration::from_secs(3);
/// A page that accepts nothing for this long is dropped.
const STALLED: Duration = Duration::from_secs(10);

/// The queries shared by all pages.
pub(super) struct Live {
    latest: watch::Sender<Arc<str>>,
    changed: Notify,
}

impl Live {
    /// Starts a task that queries the watch while any page looks on.
    pub fn start(questions: Questions) -> Arc<Self> {
        let live = Arc::new(Self { latest: watch::Sender::new(Arc::from("")), changed: Notify::new() });
        tokio::spawn(look(live.clone(), questions));
        live
    }

    /// Something was done: updates the pages at once.
    pub fn changed(&self) {
        self.changed.notify_one();
    }

    /// A stream of server-sent events (WHATWG HTML, section 9.2), one for each query.
    pub fn stream(&self, seat: &Arc<Seat>) -> Response<Body> {
        if let Err(why) = seat.streams() {
            return refusal(StatusCode::SERVICE_UNAVAILABLE, &why);
        }
        let (to, pieces) = mpsc::channel(1);
        let (mut latest, seat) = (self.latest.subscribe(), seat.clone());
        self.changed();
        tokio::spawn(async move {
            let mut piece = Bytes::from_static(b"retry: 2000\n\n");
            loop {
                match tokio::time::timeout(STALLED, to.send(piece)).await {
                    Ok(Ok(())) => {}
                    Ok(Err(_)) => return,
                    Err(_) => return seat.end(),
                }
                tokio::select! {
                    changed = latest.changed() => if changed.is_err() { return },
                    () = to.closed() => return,
                }
                // JSON on one line contains no line ends.
                piece = Bytes::from(format!("event: status\ndata: {}\n\n", *latest.borrow_and_update()));
            }
        });
        typed(StatusCode::OK, "text/event-stream", Body::Stream(pieces))
    }
}

async fn look(live: Arc<Live>, questions: Questions) {
    loop {
        // Query again on whichever comes first.
        let _ = tokio::time::timeout(EVERY, live.changed.notified()).await;
        if live.latest.receiver_count() == 0 {
            continue;
        }
        let (reply, answer) = oneshot::channel();
        if !questions.put(Ask::Status(reply), None) {
            if questions.looks.is_closed() {
                return;
            }
            continue;
        }
        if let Ok(Ok(Ok(status))) = tokio::time::timeout(LATE, answer).await {
            // A record holds only numbers and text, which always serialize to JSON.
            let text = serde_json::to_string(&status).unwrap_or_default();
            live.latest.send_replace(Arc::from(text));
        }
    }
}
