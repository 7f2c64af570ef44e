//! The client end, for the command line.

use super::PATIENCE;
use super::lines::query;
use super::places::{self, Place};
use http_body_util::{BodyExt, Full, Limited};
use hyper::body::{Bytes, Incoming};
use hyper::header::{CONTENT_LENGTH, CONTENT_TYPE, HOST};
use hyper::{Method, Request, Response};
use hyper_util::rt::TokioIo;
use record::{HeldFeeds, Piece, Refusal};
use serde::Serialize;
use serde::de::DeserializeOwned;
use std::io::ErrorKind;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use thiserror::Error;
use tokio::io::{AsyncWriteExt, DuplexStream};
use tokio::net::UnixStream;
use tokio::task::JoinHandle;

/// Longest answer read, bytes.
const ANSWER: usize = 16 * 1024 * 1024;
/// Bytes of a feed that wait here for whoever looks at it.
const WAITING: usize = 64 * 1024;

/// Why the daemon gave no usable answer.
#[derive(Debug, Error)]
pub enum ClientError {
    /// Nobody is listening.
    #[error(
        "{0}: {1}; is `middlewatch run` standing its watch, and may you use its socket? (--control PATH names another)"
    )]
    Nobody(PathBuf, std::io::Error),
    /// The daemon refused.
    #[error("{0}")]
    Refused(String),
    /// The exchange broke off.
    #[error("{0}: the answer could not be read: {1}")]
    Broken(PathBuf, String),
}

/// An answer that has begun, and the task that carries it.
type Begun = (Response<Incoming>, Carrier);

/// The task of a connection, which ends with whoever reads from it.
struct Carrier(JoinHandle<hyper::Result<()>>);

impl Drop for Carrier {
    fn drop(&mut self) {
        self.0.abort();
    }
}

/// Sends a request to the daemon at a socket and waits for the head of a good answer.
async fn send(socket: &Path, method: &Method, uri: &str, body: Vec<u8>) -> Result<Begun, ClientError> {
    let broken = |e: &dyn std::fmt::Display| ClientError::Broken(socket.to_owned(), e.to_string());
    let stream = UnixStream::connect(socket).await.map_err(|e| ClientError::Nobody(socket.to_owned(), e))?;
    let (mut sender, connection) =
        hyper::client::conn::http1::handshake(TokioIo::new(stream)).await.map_err(|e| broken(&e))?;
    let request = Request::builder()
        .method(method.clone())
        .uri(uri)
        .header(HOST, "middlewatch")
        .header(CONTENT_TYPE, "application/json")
        .header(CONTENT_LENGTH, body.len())
        .body(Full::new(Bytes::from(body)))
        .map_err(|e| broken(&e))?;
    let driven = Carrier(tokio::spawn(connection));
    let answer = sender.send_request(request).await.map_err(|e| broken(&e))?;
    if answer.status().is_success() {
        return Ok((answer, driven));
    }
    let refusal: Refusal = serde_json::from_slice(&whole(socket, answer).await?).map_err(|e| broken(&e))?;
    Err(ClientError::Refused(refusal.error))
}

/// The body of an answer.
async fn whole(socket: &Path, answer: Response<Incoming>) -> Result<Bytes, ClientError> {
    let body = Limited::new(answer.into_body(), ANSWER).collect().await;
    body.map(|b| b.to_bytes()).map_err(|e| ClientError::Broken(socket.to_owned(), e.to_string()))
}

/// Waits for an exchange no longer than an answer may take.
async fn in_time<T>(
    socket: &Path,
    exchange: impl Future<Output = Result<T, ClientError>>,
) -> Result<T, ClientError> {
    let late = || ClientError::Broken(socket.to_owned(), "it did not come in time".to_owned());
    tokio::time::timeout(PATIENCE * 2, exchange).await.unwrap_or_else(|_| Err(late()))
}

/// Sends a request to the daemon at a socket.
///
/// # Errors
/// If nobody listens, the daemon refuses, or the exchange breaks off.
pub async fn ask<B: Serialize, A: DeserializeOwned>(
    socket: &Path,
    place: &Place<B, A>,
    body: &B,
) -> Result<A, ClientError> {
    let broken = |e: &dyn std::fmt::Display| ClientError::Broken(socket.to_owned(), e.to_string());
    let body = if place.method == Method::POST {
        serde_json::to_vec(body).map_err(|e| broken(&e))?
    } else {
        Vec::new()
    };
    in_time(socket, async {
        let (answer, _driven) = send(socket, &place.method, place.path, body).await?;
        serde_json::from_slice(&whole(socket, answer).await?).map_err(|e| broken(&e))
    })
    .await
}

/// A feed of the running watch, looked at through it.
#[derive(Debug)]
pub struct Held {
    /// Its name.
    pub name: String,
    /// "up", "ended", or "down: why".
    pub state: String,
    /// What comes by it from now on; ends when the watch does.
    pub bytes: DuplexStream,
    /// Pieces left out so far, because this end reads too slowly.
    pub lost: Arc<AtomicU64>,
}

/// Looks at feeds, each `feed:NAME` or a source, through the daemon at a socket. `None` for each that it does not have,
/// and for all if no daemon is there. The daemon hears them as before.
///
/// # Errors
/// If a daemon is there and cannot be asked.
pub async fn look(socket: &Path, asked: &[String]) -> Result<Vec<Option<Held>>, ClientError> {
    let broken = |why: &str| ClientError::Broken(socket.to_owned(), why.to_owned());
    let none = || Ok(asked.iter().map(|_| None).collect());
    let uri = format!("{}?{}", places::LINES, query(asked));
    let began = in_time(socket, async {
        let (answer, driven) = send(socket, &Method::GET, &uri, Vec::new()).await?;
        let mut lines = Lines { body: answer.into_body(), read: Vec::new(), _driven: driven };
        let first = lines.next().await.ok_or_else(|| broken("it ended at once"))?;
        let feeds: HeldFeeds = serde_json::from_slice(&first).map_err(|e| broken(&e.to_string()))?;
        Ok((feeds.feeds, lines))
    });
    let (feeds, lines) = match began.await {
        Ok(began) => began,
        Err(ClientError::Nobody(_, e))
            if matches!(e.kind(), ErrorKind::NotFound | ErrorKind::ConnectionRefused) =>
        {
            return none();
        }
        Err(e) => return Err(e),
    };
    let mut ends = Vec::new();
    let held = asked.iter().map(|asked| {
        let feed = feeds.iter().find(|f| f.is(asked))?;
        let (near, bytes) = tokio::io::duplex(WAITING);
        let lost = Arc::<AtomicU64>::default();
        ends.push((feed.feed.clone(), near, lost.clone()));
        Some(Held { name: feed.feed.clone(), state: feed.state.clone(), bytes, lost })
    });
    let held = held.collect();
    tokio::spawn(deal_out(lines, ends));
    Ok(held)
}

/// Hands each feed's bytes to whoever looks at it, until nobody does or the daemon ends.
async fn deal_out(mut lines: Lines, mut ends: Vec<(String, DuplexStream, Arc<AtomicU64>)>) {
    while let Some(line) = lines.next().await {
        let Ok(piece) = serde_json::from_slice::<Piece>(&line) else { continue };
        let mut n = 0;
        while let Some((feed, end, lost)) = ends.get_mut(n) {
            let mut there = true;
            if *feed == piece.feed {
                lost.store(piece.lost, Ordering::Relaxed);
                there = end.write_all(&piece.bytes()).await.is_ok();
            }
            if there {
                n += 1;
            } else {
                ends.swap_remove(n);
            }
        }
        if ends.is_empty() {
            return;
        }
    }
}

/// A body of lines.
struct Lines {
    body: Incoming,
    /// What has come of the next ones.
    read: Vec<u8>,
    _driven: Carrier,
}

impl Lines {
    /// The next line that is not empty; `None` at the end, or if one is far too long.
    async fn next(&mut self) -> Option<Vec<u8>> {
        loop {
            if let Some(end) = self.read.iter().position(|&b| b == b'\n') {
                let rest = self.read.split_off(end + 1);
                let mut line = std::mem::replace(&mut self.read, rest);
                line.pop();
                if line.is_empty() {
                    continue;
                }
                return Some(line);
            }
            if self.read.len() > ANSWER {
                return None;
            }
            let frame = self.body.frame().await?.ok()?;
            self.read.extend_from_slice(&frame.into_data().unwrap_or_default());
        }
    }
}
