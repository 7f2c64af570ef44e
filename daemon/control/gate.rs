//! Who may do what: file permissions decide on the socket, a token decides over TCP.

use super::body::{Body, refusal};
use crate::clock::Clock;
use crate::files;
use boat::Listen;
use hyper::header::{AUTHORIZATION, HOST, HeaderValue, ORIGIN, WWW_AUTHENTICATE};
use hyper::{HeaderMap, Response, StatusCode, Uri};
use sha2::{Digest, Sha256};
use std::net::IpAddr;
use std::path::Path;
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

/// How long reading the token may take.
const READ: Duration = Duration::from_secs(3);

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

/// A request that is refused, and why.
pub(super) type Refused = (StatusCode, &'static str);

/// The guard of the TCP listener.
pub(super) struct Gate {
    listen: Listen,
    /// This computer's own name, in lower case.
    own: Option<String>,
    slowed: Semaphore,
    /// Wrong tokens since the last log message, and when that was.
    wrong: Mutex<(u64, Option<Moment>)>,
}

impl Gate {
    pub fn new(listen: Listen) -> Self {
        let own = files::read(Path::new("/proc/sys/kernel/hostname"), files::Kind::Value).ok();
        let own = own.map(|name| String::from_utf8_lossy(&name).trim().to_ascii_lowercase());
        let own = own.filter(|name| !name.is_empty());
        Self { listen, own, slowed: Semaphore::new(WAITING), wrong: Mutex::default() }
    }

    /// Refuses a request that calls this computer by a foreign name, or that a page from elsewhere makes, whatever it
    /// asks. A page whose name was made to resolve here (DNS rebinding) gives itself away by that name. No answer carries
    /// a header that would let a foreign page read it.
    pub fn is_meant(&self, uri: &Uri, headers: &HeaderMap) -> Result<(), Refused> {
        let mut hosts = headers.get_all(HOST).iter();
        // One name, no more and no less (RFC 9112, section 3.2).
        let (Some(host), None) = (hosts.next().and_then(|h| h.to_str().ok()), hosts.next()) else {
            return Err((StatusCode::BAD_REQUEST, "a request names its host, once"));
        };
        // The name in the first line counts where there is one (section 3.2.2).
        if !self.is_own_name(host) || uri.authority().is_some_and(|a| !self.is_own_name(a.as_str())) {
            let why = "this computer is asked by another's name; if the name is its own, add it to `names` under \
                       [control] in boat.toml";
            return Err((StatusCode::FORBIDDEN, why));
        }
        let is_own_page = |origin: &HeaderValue| {
            let origin = origin.to_str().unwrap_or("");
            let page = origin.strip_prefix("http://").or_else(|| origin.strip_prefix("https://"));
            page.is_some_and(|page| page.eq_ignore_ascii_case(host))
        };
        if !headers.get_all(ORIGIN).iter().all(is_own_page) {
            return Err((StatusCode::FORBIDDEN, "pages from elsewhere may not ask"));
        }
        Ok(())
    }

    /// Whether a request's host is this computer: an address, for which nobody asks a name server, localhost, its own
    /// name, alone or as multicast DNS has it (RFC 6762), or one out of boat.toml.
    fn is_own_name(&self, host: &str) -> bool {
        let name = match host.rsplit_once(':') {
            Some((name, port)) if port.bytes().all(|b| b.is_ascii_digit()) => name,
            _ => host,
        };
        let address = name.strip_prefix('[').and_then(|n| n.strip_suffix(']')).unwrap_or(name);
        if address.parse::<IpAddr>().is_ok() {
            return true;
        }
        let name = name.to_ascii_lowercase();
        let name = name.strip_suffix('.').unwrap_or(&name);
        name == "localhost"
            || self.own.as_deref().is_some_and(|own| own == name || name.strip_suffix(".local") == Some(own))
            || self.listen.names.iter().any(|n| n == name)
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
            // Without a token it listens on this computer alone, which may read.
            return match wants {
                Wants::Writes => Err(no(
                    StatusCode::FORBIDDEN,
                    "nothing can be changed over TCP without a token: name a `token_file`, or use the socket",
                )),
                _ => Ok(()),
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
pub(super) async fn token(file: &Path) -> Result<String, String> {
    let read = |path: &Path| files::read(path, files::Kind::Secret);
    let bytes = files::aside(file, READ, read).await.map_err(|e| format!("{}: {e}", file.display()))?;
    let token = bytes.trim_ascii();
    let good = token.len() >= SHORTEST && token.iter().all(u8::is_ascii_graphic);
    good.then(|| String::from_utf8_lossy(token).into_owned())
        .ok_or_else(|| format!("{}: a token has at least {SHORTEST} letters and no blank", file.display()))
}

/// Compares digests, so that the time taken reveals nothing about the token.
fn same(token: &str, given: &str) -> bool {
    Sha256::digest(token) == Sha256::digest(given)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn gate() -> Gate {
        let address = ([127, 0, 0, 1], 80).into();
        let names = vec!["boat.example".to_owned()];
        let mut gate = Gate::new(Listen { address, token_file: None, open_reading: true, names });
        gate.own = Some("windlestraw".to_owned());
        gate
    }

    #[test]
    fn own_names() {
        let gate = gate();
        for good in [
            "localhost",
            "LOCALHOST:80",
            "127.0.0.1:8080",
            "[::1]:80",
            "192.168.1.2",
            "Boat.example:8127",
            "boat.example.",
            "windlestraw",
            "windlestraw.local:8127",
        ] {
            assert!(gate.is_own_name(good), "{good}");
        }
        for bad in [
            "",
            ":80",
            "evil.example",
            "127.0.0.1.example:80",
            "localhost.example",
            "a.boat.example",
            "windlestraw.example",
            "local",
        ] {
            assert!(!gate.is_own_name(bad), "{bad}");
        }
    }

    #[test]
    fn who_is_meant_and_from_where() {
        let gate = gate();
        let ask = |uri: &str, lines: &[(&str, &str)]| {
            let mut headers = HeaderMap::new();
            for (name, value) in lines {
                let name: hyper::header::HeaderName = name.parse().unwrap();
                headers.append(name, HeaderValue::from_str(value).unwrap());
            }
            gate.is_meant(&uri.parse().unwrap(), &headers).err().map_or(200, |(status, _)| status.as_u16())
        };
        let host = ("host", "boat.example:8127");
        assert_eq!(ask("/", &[host]), 200);
        assert_eq!(ask("/", &[]), 400);
        assert_eq!(ask("/", &[host, host]), 400);
        assert_eq!(ask("http://boat.example:8127/", &[host]), 200);
        assert_eq!(ask("http://evil.example/", &[host]), 403);
        assert_eq!(ask("/", &[host, ("origin", "http://boat.example:8127")]), 200);
        for origin in ["null", "http://evil.example", "http://boat.example", "file://boat.example:8127"] {
            assert_eq!(ask("/", &[host, ("origin", origin)]), 403, "{origin}");
        }
    }
}
