//! Who may do what: file permissions decide on the socket, a token decides over TCP.

use super::body::{Body, refusal};
use crate::clock::Clock;
use boat::Listen;
use hyper::header::{AUTHORIZATION, HOST, HeaderValue, WWW_AUTHENTICATE};
use hyper::{HeaderMap, Response, StatusCode};
use sha2::{Digest, Sha256};
use std::net::IpAddr;
use std::sync::Mutex;
use std::time::Duration;
use terms::Moment;
use tokio::sync::Semaphore;

/// How long the answer to a wrong token is delayed.
const SLOWED: Duration = Duration::from_secs(2);
/// Wrong tokens delayed at one time; any more are refused at once.
const WAITING: usize = 4;
/// Shortest interval between log messages about wrong tokens.
const TOLD_EVERY: Duration = Duration::from_secs(10);
/// Shortest token: 16 characters of base64 are 96 bits, which nobody guesses at two tries a second.
const SHORTEST: usize = 16;

/// What a request needs permission for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Wants {
    /// The page and the description: nothing about the boat.
    Nothing,
    /// To read the state.
    Reads,
    /// To change something.
    Writes,
    /// To write a file at a path of the client's choice: only over the socket.
    Files,
}

/// The guard of the TCP listener.
pub(super) struct Gate {
    listen: Listen,
    slowed: Semaphore,
    /// Wrong tokens since the last log message, and when that was.
    wrong: Mutex<(u64, Option<Moment>)>,
}

impl Gate {
    pub fn new(listen: Listen) -> Self {
        Self { listen, slowed: Semaphore::new(WAITING), wrong: Mutex::default() }
    }

    /// Admits a request, or explains the refusal.
    pub async fn pass(&self, wants: Wants, headers: &HeaderMap, from: IpAddr) -> Result<(), Response<Body>> {
        if wants == Wants::Nothing {
            return Ok(());
        }
        if wants == Wants::Files {
            return Err(no(StatusCode::FORBIDDEN, "files are written for those at the socket only"));
        }
        let given = headers
            .get(AUTHORIZATION)
            .and_then(|v| v.to_str().ok())
            .and_then(|v| v.strip_prefix("Bearer "))
            .map(str::trim);
        let Some(file) = &self.listen.token_file else {
            // Without a token, admit only this computer, and no foreign page in its browser.
            return match wants {
                Wants::Writes => Err(no(
                    StatusCode::FORBIDDEN,
                    "nothing can be changed over TCP without a token: name a `token_file`, or use the socket",
                )),
                _ if is_own_name(headers) => Ok(()),
                _ => Err(no(StatusCode::FORBIDDEN, "this computer is asked by another's name")),
            };
        };
        match given {
            None if wants == Wants::Reads && self.listen.open_reading => Ok(()),
            None => Err(no(StatusCode::UNAUTHORIZED, "a token is needed")),
            Some(given) => match token(file).await {
                Ok(token) if same(&token, given) => Ok(()),
                Ok(_) => Err(self.wrong(from).await),
                Err(why) => {
                    tracing::warn!(%why, "nobody is let in over TCP");
                    Err(no(StatusCode::SERVICE_UNAVAILABLE, "the daemon cannot read its own token"))
                }
            },
        }
    }

    async fn wrong(&self, from: IpAddr) -> Response<Body> {
        let told = {
            // Nothing that can panic runs under this lock.
            let mut wrong = self.wrong.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
            wrong.0 += 1;
            let due = wrong.1.is_none_or(|t| Clock.now().since(t) >= TOLD_EVERY);
            due.then(|| {
                wrong.1 = Some(Clock.now());
                std::mem::take(&mut wrong.0)
            })
        };
        if let Some(count) = told {
            tracing::warn!(%from, count, "wrong token");
        }
        let Ok(_place) = self.slowed.try_acquire() else {
            return no(StatusCode::TOO_MANY_REQUESTS, "too many wrong tokens; wait");
        };
        tokio::time::sleep(SLOWED).await;
        no(StatusCode::UNAUTHORIZED, "this is not the token")
    }
}

fn no(status: StatusCode, why: &str) -> Response<Body> {
    let mut response = refusal(status, why);
    if status == StatusCode::UNAUTHORIZED {
        response.headers_mut().insert(WWW_AUTHENTICATE, HeaderValue::from_static("Bearer"));
    }
    response
}

/// The token in a file, read each time so that a new one takes effect at once.
pub(super) async fn token(file: &std::path::Path) -> Result<String, String> {
    let text = tokio::fs::read_to_string(file).await.map_err(|e| format!("{}: {e}", file.display()))?;
    let text = text.trim();
    if text.len() < SHORTEST || !text.bytes().all(|b| b.is_ascii_graphic()) {
        return Err(format!("{}: a token has at least {SHORTEST} letters and no blank", file.display()));
    }
    Ok(text.to_owned())
}

/// Compares digests, so that the time taken reveals nothing about the token.
fn same(token: &str, given: &str) -> bool {
    Sha256::digest(token) == Sha256::digest(given)
}

/// Whether a request names this computer by a number or as localhost. A foreign page whose name was made to resolve
/// here gives itself away by that name.
fn is_own_name(headers: &HeaderMap) -> bool {
    let host = headers.get(HOST).and_then(|h| h.to_str().ok()).unwrap_or("");
    let name = host
        .rsplit_once(':')
        .map_or(host, |(name, port)| if port.bytes().all(|b| b.is_ascii_digit()) { name } else { host });
    name == "localhost" || name.trim_matches(['[', ']']).parse::<IpAddr>().is_ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn own_names() {
        let own = |host: &str| {
            let mut headers = HeaderMap::new();
            headers.insert(HOST, HeaderValue::from_str(host).unwrap());
            is_own_name(&headers)
        };
        for good in ["localhost", "localhost:80", "127.0.0.1:8080", "[::1]:80", "192.168.1.2"] {
            assert!(own(good), "{good}");
        }
        for bad in ["", "boat.example", "127.0.0.1.example:80", "localhost.example"] {
            assert!(!own(bad), "{bad}");
        }
    }
}
