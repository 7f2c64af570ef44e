//! What comes by the feeds, for those who look on: a stream of JSON, one object a line. The feeds wait for nobody.

use super::body::{Body, refusal, typed};
use super::seats::Seat;
use crate::feeds::FeedStatus;
use hyper::body::Bytes;
use hyper::{Response, StatusCode};
use record::{HeldFeed, HeldFeeds, Piece};
use serde::Serialize;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::broadcast::error::RecvError;
use tokio::sync::{broadcast, mpsc};

/// Whoever accepts nothing for this long is dropped. A feed is silent no longer than this before an empty line shows
/// that its stream still stands.
const STALLED: Duration = Duration::from_secs(10);

/// A feed that can be looked at.
#[derive(Debug, Clone)]
pub struct Wire {
    /// Its name.
    pub name: Arc<str>,
    /// Where its bytes come from, as `listen` takes it.
    pub source: String,
    /// What can be seen of it.
    pub status: Arc<FeedStatus>,
}

impl Wire {
    fn held(&self) -> HeldFeed {
        HeldFeed { feed: self.name.to_string(), source: self.source.clone(), state: self.status.state() }
    }
}

/// All feeds.
pub(super) struct Wires(Vec<Wire>);

impl Wires {
    pub fn new(wires: Vec<Wire>) -> Self {
        Self(wires)
    }

    /// Shows what comes from now on by the feeds that a query names, or by all of them. Ends at once if there is none.
    pub fn stream(&self, query: Option<&str>, seat: &Arc<Seat>) -> Response<Body> {
        let Some(asked) = asked(query.unwrap_or("")) else {
            return refusal(
                StatusCode::BAD_REQUEST,
                "a feed is asked for by ?from=feed:NAME, or by its source",
            );
        };
        let wanted = |held: &HeldFeed| asked.is_empty() || asked.iter().any(|a| held.is(a));
        let (feeds, wires): (Vec<_>, Vec<_>) =
            self.0.iter().map(|w| (w.held(), w)).filter(|(held, _)| wanted(held)).unzip();
        if let Err(why) = seat.streams() {
            return refusal(StatusCode::SERVICE_UNAVAILABLE, &why);
        }
        let (to, pieces) = mpsc::channel(1);
        // There is room for the first.
        let _ = to.try_send(line(&HeldFeeds { feeds }));
        for wire in wires {
            let looker = Looker { to: to.clone(), seat: seat.clone() };
            tokio::spawn(looker.pass_on(wire.name.clone(), wire.status.look_on()));
        }
        typed(StatusCode::OK, "application/jsonl", Body::Stream(pieces))
    }
}

/// One who looks at one feed.
struct Looker {
    to: mpsc::Sender<Bytes>,
    seat: Arc<Seat>,
}

impl Looker {
    async fn pass_on(self, feed: Arc<str>, mut heard: broadcast::Receiver<Arc<[u8]>>) {
        let mut lost = 0;
        loop {
            let piece = tokio::select! {
                piece = tokio::time::timeout(STALLED, heard.recv()) => piece,
                () = self.to.closed() => return,
            };
            let text = match piece {
                Ok(Ok(bytes)) => line(&Piece::new(&feed, &bytes, lost)),
                Ok(Err(RecvError::Lagged(n))) => {
                    lost += n;
                    continue;
                }
                Ok(Err(RecvError::Closed)) => return,
                Err(_) => Bytes::from_static(b"\n"),
            };
            match tokio::time::timeout(STALLED, self.to.send(text)).await {
                Ok(Ok(())) => {}
                Ok(Err(_)) => return,
                Err(_) => return self.seat.end(),
            }
        }
    }
}

/// A record as one line.
fn line(of: &impl Serialize) -> Bytes {
    // Records hold only numbers and text, which always serialize to JSON.
    let mut text = serde_json::to_vec(of).unwrap_or_default();
    text.push(b'\n');
    text.into()
}

/// The query that asks for feeds.
pub(super) fn query(asked: &[String]) -> String {
    let all: Vec<String> = asked.iter().map(|a| format!("from={}", encoded(a))).collect();
    all.join("&")
}

/// What a query asks for; `None` if it asks for anything else.
fn asked(query: &str) -> Option<Vec<String>> {
    let parts = query.split('&').filter(|part| !part.is_empty());
    parts.map(|part| part.strip_prefix("from=").and_then(decoded)).collect()
}

/// Percent-encoding (RFC 3986, section 2.1) of all but the unreserved characters (section 2.3).
fn encoded(text: &str) -> String {
    let letter = |b: u8| match b {
        b'-' | b'.' | b'_' | b'~' => char::from(b).to_string(),
        b if b.is_ascii_alphanumeric() => char::from(b).to_string(),
        b => format!("%{b:02X}"),
    };
    text.bytes().map(letter).collect()
}

fn decoded(text: &str) -> Option<String> {
    let mut bytes = text.bytes();
    let mut plain = Vec::new();
    while let Some(b) = bytes.next() {
        plain.push(if b == b'%' {
            let digit = |b: Option<u8>| char::from(b?).to_digit(16);
            let (high, low) = (digit(bytes.next())?, digit(bytes.next())?);
            u8::try_from(high * 16 + low).ok()?
        } else {
            b
        });
    }
    String::from_utf8(plain).ok()
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::super::seats::{Limits, Peer, Room};
    use super::*;

    #[test]
    fn what_is_asked_for_comes_back_from_its_query() {
        let all = ["feed:bus of the mast", "udp:[::]:10110", "feed:Ö&=%+", "serial:/dev/ttyUSB0@4800"];
        let all = all.map(str::to_owned);
        assert_eq!(asked(&query(&all)).unwrap(), all);
        assert_eq!(asked("").unwrap(), Vec::<String>::new());
        for wrong in ["to=bus", "from=%4", "from=%zz", "from=%ff", "from"] {
            assert_eq!(asked(wrong), None, "{wrong}");
        }
    }

    #[test]
    fn every_byte_comes_through() {
        let bytes: Vec<u8> = (0..=255).collect();
        let text = serde_json::to_string(&Piece::new("bus", &bytes, 3)).unwrap();
        assert!(!text.contains('\n'), "one line");
        assert_eq!(serde_json::from_str::<Piece>(&text).unwrap().bytes(), bytes);
    }

    /// A slow reader misses pieces and learns how many; later ones still come.
    #[tokio::test]
    async fn a_slow_reader_loses_pieces_and_the_feed_waits_for_nobody() {
        let (sender, heard) = broadcast::channel::<Arc<[u8]>>(4);
        let (to, mut pieces) = mpsc::channel(1);
        let room = Room::new(Limits { all: 1, each: 1, streams: 1, streams_each: 1 });
        let looker = Looker { to, seat: Arc::new(room.admit(Peer::User(None)).unwrap()) };
        for n in 0..10_u8 {
            sender.send([n].into()).unwrap();
        }
        tokio::spawn(looker.pass_on("bus".into(), heard));
        let first: Piece = serde_json::from_slice(&pieces.recv().await.unwrap()).unwrap();
        assert_eq!((first.bytes(), first.lost), (vec![6], 6));
        drop(sender);
        let mut last = first;
        while let Some(piece) = pieces.recv().await {
            last = serde_json::from_slice(&piece).unwrap();
        }
        assert_eq!((last.bytes(), last.lost), (vec![9], 6));
    }
}
