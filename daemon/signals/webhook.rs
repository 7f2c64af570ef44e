//! One POST of an event record.

use http_body_util::Full;
use hyper::body::Bytes;
use hyper::header::{CONTENT_LENGTH, CONTENT_TYPE, HOST, USER_AGENT};
use hyper::{Request, Uri};
use hyper_util::rt::TokioIo;
use std::time::Duration;
use thiserror::Error;
use tokio::net::TcpStream;

/// Where a webhook posts to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Address {
    host: String,
    port: u16,
    path: String,
}

/// Why an address is none that a webhook can post to.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error("a webhook is an address like \"http://192.168.1.10:8080/alerts\"{0}")]
pub struct AddressError(&'static str);

/// Reads the address of a webhook.
///
/// # Errors
/// When it is not http with a host.
pub fn address(text: &str) -> Result<Address, AddressError> {
    let uri: Uri = text.parse().map_err(|_| AddressError(""))?;
    match uri.scheme_str() {
        Some("http") => {}
        Some("https") => return Err(AddressError("; https is not spoken, put a relay on this network")),
        _ => return Err(AddressError("")),
    }
    let host = uri.host().filter(|h| !h.is_empty()).ok_or(AddressError(""))?;
    let path = uri.path_and_query().map_or("/", |p| p.as_str());
    Ok(Address { host: host.to_owned(), port: uri.port_u16().unwrap_or(80), path: path.to_owned() })
}

impl Address {
    /// Posts one record and waits for the answer; any status of 200 to 299 is a success.
    ///
    /// # Errors
    /// What went wrong, in words.
    pub(super) async fn post(&self, body: String, timeout: Duration) -> Result<(), String> {
        match tokio::time::timeout(timeout, self.exchange(body)).await {
            Ok(result) => result,
            Err(_) => {
                Err(format!("{}:{} gave no answer within {} s", self.host, self.port, timeout.as_secs_f64()))
            }
        }
    }

    async fn exchange(&self, body: String) -> Result<(), String> {
        let host = self.host.trim_matches(['[', ']']);
        let told = |e: &dyn std::fmt::Display| format!("{}:{}: {e}", self.host, self.port);
        let stream = TcpStream::connect((host, self.port)).await.map_err(|e| told(&e))?;
        let (mut sender, connection) =
            hyper::client::conn::http1::handshake(TokioIo::new(stream)).await.map_err(|e| told(&e))?;
        let request = Request::post(&self.path)
            .header(HOST, format!("{}:{}", self.host, self.port))
            .header(USER_AGENT, concat!("middlewatch/", env!("CARGO_PKG_VERSION")))
            .header(CONTENT_TYPE, "application/json")
            .header(CONTENT_LENGTH, body.len())
            .body(Full::new(Bytes::from(body)))
            .map_err(|e| told(&e))?;
        // The connection is driven here and not in a task of its own, so that nothing outlives this call. Where it ends
        // first, the answer is there all the same or never will be.
        let mut answer = std::pin::pin!(sender.send_request(request));
        let answer = tokio::select! {
            biased;
            answer = &mut answer => answer,
            _ = connection => answer.await,
        };
        let status = answer.map_err(|e| told(&e))?.status();
        if status.is_success() { Ok(()) } else { Err(told(&format!("answered {status}"))) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn addresses() {
        let a = address("http://[::1]:8080/a?b=c").unwrap();
        assert_eq!((a.host.as_str(), a.port, a.path.as_str()), ("[::1]", 8080, "/a?b=c"));
        assert_eq!(address("http://boat.local").unwrap().port, 80);
        for bad in ["", "boat.local", "https://x", "http://", "http:///x"] {
            assert!(address(bad).is_err(), "{bad}");
        }
    }
}
