//! The picture as it changes, for pages that stay open: one look a second at the watch, however many look on.

use super::Ask;
use super::body::{Body, refusal, typed};
use hyper::body::Bytes;
use hyper::{Response, StatusCode};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;
use tokio::sync::{Notify, Semaphore, mpsc, oneshot, watch};

/// Pages at one time.
const PAGES: usize = 8;
/// Between two looks.
const EVERY: Duration = Duration::from_secs(1);
/// A watch that does not answer within this is looked at again; the page says itself that its data is old.
const LATE: Duration = Duration::from_secs(3);
/// A page that takes nothing for so long is let go.
const STALLED: Duration = Duration::from_secs(10);

/// The looks of all pages.
pub(super) struct Live {
    latest: watch::Sender<Arc<str>>,
    places: Arc<Semaphore>,
    changed: Notify,
}

/// What a connection and its stream know of each other.
#[derive(Default)]
pub(super) struct Streaming {
    /// A stream has begun.
    begun: AtomicBool,
    /// Its page takes nothing any more.
    pub stalled: Notify,
}

impl Streaming {
    /// Whether a stream has begun.
    pub fn begun(&self) -> bool {
        self.begun.load(Ordering::Relaxed)
    }
}

impl Live {
    /// Begins to look when somebody looks on.
    pub fn start(questions: mpsc::Sender<Ask>) -> Arc<Self> {
        let live = Arc::new(Self {
            latest: watch::Sender::new(Arc::from("")),
            places: Arc::new(Semaphore::new(PAGES)),
            changed: Notify::new(),
        });
        tokio::spawn(look(live.clone(), questions));
        live
    }

    /// Something was done: the pages are told at once.
    pub fn changed(&self) {
        self.changed.notify_one();
    }

    /// A stream of server-sent events (WHATWG HTML, section 9.2), one for each look.
    pub fn stream(&self, streaming: &Arc<Streaming>) -> Response<Body> {
        let Ok(place) = self.places.clone().try_acquire_owned() else {
            let why = format!("{PAGES} pages look on already; close one");
            return refusal(StatusCode::SERVICE_UNAVAILABLE, &why);
        };
        let (to, pieces) = mpsc::channel(1);
        let (mut latest, streaming) = (self.latest.subscribe(), streaming.clone());
        streaming.begun.store(true, Ordering::Relaxed);
        self.changed();
        tokio::spawn(async move {
            let _place = place;
            let mut piece = Bytes::from_static(b"retry: 2000\n\n");
            loop {
                match tokio::time::timeout(STALLED, to.send(piece)).await {
                    Ok(Ok(())) => {}
                    Ok(Err(_)) => return,
                    Err(_) => {
                        streaming.stalled.notify_one();
                        return;
                    }
                }
                tokio::select! {
                    changed = latest.changed() => if changed.is_err() { return },
                    () = to.closed() => return,
                }
                // JSON has no line ends of its own.
                piece = Bytes::from(format!("event: status\ndata: {}\n\n", *latest.borrow_and_update()));
            }
        });
        typed(StatusCode::OK, "text/event-stream", Body::Stream(pieces))
    }
}

async fn look(live: Arc<Live>, questions: mpsc::Sender<Ask>) {
    loop {
        // Whichever comes first; both mean: look.
        let _ = tokio::time::timeout(EVERY, live.changed.notified()).await;
        if live.latest.receiver_count() == 0 {
            continue;
        }
        let (reply, answer) = oneshot::channel();
        if questions.try_send(Ask::Status(reply)).is_err() {
            if questions.is_closed() {
                return;
            }
            continue;
        }
        if let Ok(Ok(Ok(status))) = tokio::time::timeout(LATE, answer).await {
            // A record of numbers and texts always has a form in JSON.
            let text = serde_json::to_string(&status).unwrap_or_default();
            live.latest.send_replace(Arc::from(text));
        }
    }
}
