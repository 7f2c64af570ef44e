//! The asking end, for the command line.

use super::PATIENCE;
use http_body_util::{BodyExt, Full, Limited};
use hyper::body::Bytes;
use hyper::header::{CONTENT_LENGTH, CONTENT_TYPE, HOST};
use hyper::{Method, Request};
use hyper_util::rt::TokioIo;
use serde_json::Value;
use std::path::{Path, PathBuf};
use thiserror::Error;
use tokio::net::UnixStream;

/// The longest answer that is read.
const ANSWER: usize = 16 * 1024 * 1024;

/// Why the daemon gave no good answer.
#[derive(Debug, Error)]
pub enum ClientError {
    /// Nobody listens.
    #[error(
        "{0}: {1}; is `middlewatch run` standing its watch, and may you use its socket? (--control PATH names another)"
    )]
    Nobody(PathBuf, std::io::Error),
    /// It said no.
    #[error("{0}")]
    Refused(String),
    /// The exchange broke off.
    #[error("{0}: the answer could not be read: {1}")]
    Broken(PathBuf, String),
}

/// Asks the daemon at a socket. A body makes it a POST.
///
/// # Errors
/// When nobody listens, the daemon refuses, or the exchange breaks off.
pub async fn request(socket: &Path, path: &str, body: Option<&Value>) -> Result<Value, ClientError> {
    let broken = |e: String| ClientError::Broken(socket.to_owned(), e);
    let stream = UnixStream::connect(socket).await.map_err(|e| ClientError::Nobody(socket.to_owned(), e))?;
    let exchange = async {
        let (mut sender, connection) = hyper::client::conn::http1::handshake(TokioIo::new(stream))
            .await
            .map_err(|e| broken(e.to_string()))?;
        let method = if body.is_some() { Method::POST } else { Method::GET };
        let body = body.map_or(String::new(), Value::to_string);
        let request = Request::builder()
            .method(method)
            .uri(path)
            .header(HOST, "middlewatch")
            .header(CONTENT_TYPE, "application/json")
            .header(CONTENT_LENGTH, body.len())
            .body(Full::new(Bytes::from(body)))
            .map_err(|e| broken(e.to_string()))?;
        let driven = tokio::spawn(connection);
        let answer = sender.send_request(request).await.map_err(|e| broken(e.to_string()))?;
        let good = answer.status().is_success();
        let whole =
            Limited::new(answer.into_body(), ANSWER).collect().await.map_err(|e| broken(e.to_string()))?;
        driven.abort();
        let value: Value = serde_json::from_slice(&whole.to_bytes()).map_err(|e| broken(e.to_string()))?;
        if good {
            Ok(value)
        } else {
            Err(ClientError::Refused(value["error"].as_str().unwrap_or("refused").to_owned()))
        }
    };
    match tokio::time::timeout(PATIENCE * 2, exchange).await {
        Ok(result) => result,
        Err(_) => Err(broken("it did not come in time".to_owned())),
    }
}
