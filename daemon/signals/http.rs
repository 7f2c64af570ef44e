//! One POST over HTTP.

use boat::Address;
use http_body_util::Full;
use hyper::body::Bytes;
use hyper::header::{CONTENT_LENGTH, HOST, HeaderName, HeaderValue, RETRY_AFTER, USER_AGENT};
use hyper::{Request, StatusCode};
use hyper_util::rt::TokioIo;
use std::time::Duration;
use tokio::io::{AsyncRead, AsyncWrite};
use tokio::net::TcpStream;

/// Why a post failed.
#[derive(Debug, PartialEq, Eq)]
pub(super) enum Trouble {
    /// The receiver is unreachable or in trouble, and the next post would fail too. It may say when to try again.
    Away(String, Option<Duration>),
    /// It refuses this post.
    Refused(String),
}

impl Trouble {
    /// In words.
    pub fn words(self) -> String {
        match self {
            Self::Away(why, _) | Self::Refused(why) => why,
        }
    }
}

/// Posts a body and waits for the head of the answer. Any status of 200 to 299 is success. Redirections are not
/// followed: records go where the boat's file says and nowhere else.
pub(super) async fn post(
    to: &Address,
    headers: &[(HeaderName, HeaderValue)],
    body: String,
    timeout: Duration,
) -> Result<(), Trouble> {
    match tokio::time::timeout(timeout, exchange(to, headers, body)).await {
        Ok(result) => result,
        Err(_) => Err(away(to, &format!("no answer within {} s", timeout.as_secs_f64()))),
    }
}

fn away(to: &Address, why: &dyn std::fmt::Display) -> Trouble {
    Trouble::Away(format!("{}:{}: {why}", to.host, to.port), None)
}

async fn exchange(to: &Address, headers: &[(HeaderName, HeaderValue)], body: String) -> Result<(), Trouble> {
    let host = to.host.trim_matches(['[', ']']);
    let stream = TcpStream::connect((host, to.port)).await.map_err(|e| away(to, &e))?;
    #[cfg(feature = "https")]
    if to.tls {
        let stream = super::tls::open(host, stream).await.map_err(|e| away(to, &e))?;
        return over(to, stream, headers, body).await;
    }
    over(to, stream, headers, body).await
}

/// The exchange over an open connection.
async fn over(
    to: &Address,
    stream: impl AsyncRead + AsyncWrite + Send + Unpin + 'static,
    headers: &[(HeaderName, HeaderValue)],
    body: String,
) -> Result<(), Trouble> {
    let (mut sender, connection) =
        hyper::client::conn::http1::handshake(TokioIo::new(stream)).await.map_err(|e| away(to, &e))?;
    let mut request = Request::post(&to.path_and_query)
        .header(HOST, to.authority())
        .header(USER_AGENT, concat!("middlewatch/", env!("CARGO_PKG_VERSION")))
        .header(CONTENT_LENGTH, body.len())
        .body(Full::new(Bytes::from(body)))
        .map_err(|e| away(to, &e))?;
    for (name, value) in headers {
        request.headers_mut().insert(name, value.clone());
    }
    // The connection is driven here, not in a task of its own, so that nothing outlives this call. If the connection
    // ends first, the answer has either arrived or never will.
    let mut answer = std::pin::pin!(sender.send_request(request));
    let answer = tokio::select! {
        biased;
        answer = &mut answer => answer,
        _ = connection => answer.await,
    };
    let answer = answer.map_err(|e| away(to, &e))?;
    let status = answer.status();
    let words = format!("{}:{}: answered {status}", to.host, to.port);
    let later = answer.headers().get(RETRY_AFTER).and_then(|v| v.to_str().ok()?.trim().parse().ok());
    match status {
        s if s.is_success() => Ok(()),
        s if s.is_redirection() => Err(Trouble::Away(format!("{words}, which is not followed"), None)),
        StatusCode::REQUEST_TIMEOUT | StatusCode::TOO_EARLY | StatusCode::TOO_MANY_REQUESTS => {
            Err(Trouble::Away(words, later.map(Duration::from_secs)))
        }
        s if s.is_client_error() => Err(Trouble::Refused(words)),
        _ => Err(Trouble::Away(words, later.map(Duration::from_secs))),
    }
}
