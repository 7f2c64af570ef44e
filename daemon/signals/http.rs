//! One POST over HTTP.

use http_body_util::Full;
use hyper::body::Bytes;
use hyper::header::{CONTENT_LENGTH, HOST, HeaderName, HeaderValue, RETRY_AFTER, USER_AGENT};
use hyper::{Request, StatusCode, Uri};
use hyper_util::rt::TokioIo;
use std::time::Duration;
use thiserror::Error;
use tokio::io::{AsyncRead, AsyncWrite};
use tokio::net::TcpStream;

/// Where a webhook posts to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Address {
    tls: bool,
    host: String,
    port: u16,
    path_and_query: String,
}

/// Why an address is none that a webhook can post to.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error("a webhook is an address like \"http://192.168.1.10:8080/alerts\"{0}")]
pub struct AddressError(&'static str);

/// Reads the address of a webhook.
///
/// # Errors
/// When it is neither http nor, where the program was built with it, https, with a host.
pub fn address(text: &str) -> Result<Address, AddressError> {
    let uri: Uri = text.parse().map_err(|_| AddressError(""))?;
    let tls = match uri.scheme_str() {
        Some("http") => false,
        Some("https") if cfg!(feature = "https") => true,
        Some("https") => {
            return Err(AddressError(
                "; this program was built without https: build it with --features https, or put a relay on this network",
            ));
        }
        _ => return Err(AddressError("")),
    };
    let host = uri.host().filter(|h| !h.is_empty()).ok_or(AddressError(""))?;
    let path_and_query = uri.path_and_query().map_or("/", |p| p.as_str());
    Ok(Address {
        tls,
        host: host.to_lowercase(),
        port: uri.port_u16().unwrap_or(usual_port(tls)),
        path_and_query: path_and_query.to_owned(),
    })
}

/// The port of an address that names none.
const fn usual_port(tls: bool) -> u16 {
    if tls { 443 } else { 80 }
}

/// Why a post did not succeed.
#[derive(Debug, PartialEq, Eq)]
pub(super) enum Trouble {
    /// The receiver cannot be reached or is not well: whatever is posted next fares alike. It may say when to try again.
    Away(String, Option<Duration>),
    /// It does not take this one.
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

impl Address {
    /// Host, and port where it is not the usual one (RFC 9421 section 2.2.3).
    pub(super) fn authority(&self) -> String {
        if self.port == usual_port(self.tls) {
            self.host.clone()
        } else {
            format!("{}:{}", self.host, self.port)
        }
    }

    /// The path.
    pub(super) fn path(&self) -> &str {
        self.path_and_query.split_once('?').map_or(&self.path_and_query, |(path, _)| path)
    }

    /// The query with its question mark (RFC 9421 section 2.2.7), if there is one.
    pub(super) fn query(&self) -> Option<&str> {
        self.path_and_query.find('?').map(|at| &self.path_and_query[at..])
    }

    /// Posts a body and waits for the answer's head; any status of 200 to 299 is a success. A redirection is not
    /// followed: the records go where the boat's file says and nowhere else.
    pub(super) async fn post(
        &self,
        headers: &[(HeaderName, HeaderValue)],
        body: String,
        timeout: Duration,
    ) -> Result<(), Trouble> {
        match tokio::time::timeout(timeout, self.exchange(headers, body)).await {
            Ok(result) => result,
            Err(_) => Err(self.away(&format!("no answer within {} s", timeout.as_secs_f64()))),
        }
    }

    fn away(&self, why: &dyn std::fmt::Display) -> Trouble {
        Trouble::Away(format!("{}:{}: {why}", self.host, self.port), None)
    }

    async fn exchange(&self, headers: &[(HeaderName, HeaderValue)], body: String) -> Result<(), Trouble> {
        let host = self.host.trim_matches(['[', ']']);
        let stream = TcpStream::connect((host, self.port)).await.map_err(|e| self.away(&e))?;
        #[cfg(feature = "https")]
        if self.tls {
            let stream = super::tls::open(host, stream).await.map_err(|e| self.away(&e))?;
            return self.over(stream, headers, body).await;
        }
        self.over(stream, headers, body).await
    }

    /// The exchange over a connection that stands.
    async fn over(
        &self,
        stream: impl AsyncRead + AsyncWrite + Send + Unpin + 'static,
        headers: &[(HeaderName, HeaderValue)],
        body: String,
    ) -> Result<(), Trouble> {
        let (mut sender, connection) =
            hyper::client::conn::http1::handshake(TokioIo::new(stream)).await.map_err(|e| self.away(&e))?;
        let mut request = Request::post(&self.path_and_query)
            .header(HOST, self.authority())
            .header(USER_AGENT, concat!("middlewatch/", env!("CARGO_PKG_VERSION")))
            .header(CONTENT_LENGTH, body.len())
            .body(Full::new(Bytes::from(body)))
            .map_err(|e| self.away(&e))?;
        for (name, value) in headers {
            request.headers_mut().insert(name, value.clone());
        }
        // The connection is driven here and not in a task of its own, so that nothing outlives this call. Where it ends
        // first, the answer is there all the same or never will be.
        let mut answer = std::pin::pin!(sender.send_request(request));
        let answer = tokio::select! {
            biased;
            answer = &mut answer => answer,
            _ = connection => answer.await,
        };
        let answer = answer.map_err(|e| self.away(&e))?;
        let status = answer.status();
        let words = format!("{}:{}: answered {status}", self.host, self.port);
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
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn addresses() {
        let a = address("http://[::1]:8080/a?b=c").unwrap();
        assert_eq!((a.host.as_str(), a.port, a.path(), a.query()), ("[::1]", 8080, "/a", Some("?b=c")));
        assert_eq!(a.authority(), "[::1]:8080");
        let a = address("http://Boat.local").unwrap();
        assert_eq!((a.port, a.authority().as_str(), a.path(), a.query()), (80, "boat.local", "/", None));
        for bad in ["", "boat.local", "ftp://x", "http://", "http:///x"] {
            assert!(address(bad).is_err(), "{bad}");
        }
        match address("https://boat.local/a") {
            Ok(a) => assert!(cfg!(feature = "https") && a.port == 443 && a.authority() == "boat.local"),
            Err(e) => assert!(!cfg!(feature = "https") && e.to_string().contains("--features https"), "{e}"),
        }
    }
}
