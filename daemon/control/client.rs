//! The client end, for the command line.

use super::PATIENCE;
use super::places::Place;
use http_body_util::{BodyExt, Full, Limited};
use hyper::body::Bytes;
use hyper::header::{CONTENT_LENGTH, CONTENT_TYPE, HOST};
use hyper::{Method, Request};
use hyper_util::rt::TokioIo;
use record::Refusal;
use serde::Serialize;
use serde::de::DeserializeOwned;
use std::path::{Path, PathBuf};
use thiserror::Error;
use tokio::net::UnixStream;

/// Longest answer read, bytes.
const ANSWER: usize = 16 * 1024 * 1024;

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
    let stream = UnixStream::connect(socket).await.map_err(|e| ClientError::Nobody(socket.to_owned(), e))?;
    let exchange = async {
        let (mut sender, connection) =
            hyper::client::conn::http1::handshake(TokioIo::new(stream)).await.map_err(|e| broken(&e))?;
        let body = if place.method == Method::POST {
            serde_json::to_vec(body).map_err(|e| broken(&e))?
        } else {
            Vec::new()
        };
        let request = Request::builder()
            .method(place.method.clone())
            .uri(place.path)
            .header(HOST, "middlewatch")
            .header(CONTENT_TYPE, "application/json")
            .header(CONTENT_LENGTH, body.len())
            .body(Full::new(Bytes::from(body)))
            .map_err(|e| broken(&e))?;
        let driven = tokio::spawn(connection);
        let answer = sender.send_request(request).await.map_err(|e| broken(&e))?;
        let good = answer.status().is_success();
        let whole = Limited::new(answer.into_body(), ANSWER).collect().await.map_err(|e| broken(&e))?;
        driven.abort();
        let bytes = whole.to_bytes();
        if good {
            return serde_json::from_slice(&bytes).map_err(|e| broken(&e));
        }
        let refusal: Refusal = serde_json::from_slice(&bytes).map_err(|e| broken(&e))?;
        Err(ClientError::Refused(refusal.error))
    };
    match tokio::time::timeout(PATIENCE * 2, exchange).await {
        Ok(result) => result,
        Err(_) => Err(broken(&"it did not come in time")),
    }
}
