//! A signal's webhook: its address, headers, body and signature.

use crate::{Form, Template};
use form::{Key, Nested, Table, Value, Written, key};
use http::Uri;
use http::header::{CONTENT_LENGTH, CONTENT_TYPE, HOST, HeaderName, HeaderValue, TRANSFER_ENCODING};
use std::path::{Path, PathBuf};
use std::time::Duration;
use thiserror::Error;

/// Maximum number of extra headers.
const MOST_HEADERS: usize = 16;
/// Longest time that one post may take: a receiver that takes connections and never answers must not use up the short
/// whiles in which it is well.
pub const LONGEST_POST: Duration = Duration::from_secs(10);
/// The address key of a signal's table.
pub(crate) const WEBHOOK: Key<Address> = key("webhook", "an address that event records are posted to");
const HEADERS: Key<Nested> = key("headers", "headers sent with each post of a webhook").most(MOST_HEADERS);
const HEADER: Key<String> = key("Authorization", "any name and its value").example("\"Bearer …\"");
const BODY: Key<String> = key(
    "body",
    "the body to post instead of the record; ${alert.text} and the like are fields of the record",
)
.example("${alert.text}");
const SIGNATURE: Key<Nested> =
    key("signature", "signature of each post of a webhook (RFC 9421, HMAC-SHA-256)");
const KEY_ID: Key<String> =
    key("key_id", "the key as the receiver knows it").needed().example("wendelin").most(100);
const SECRET_FILE: Key<PathBuf> =
    key("secret_file", "file that holds the secret").needed().example("shore.key");

/// A webhook as configured.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Webhook {
    /// Where it posts to.
    pub address: Address,
    /// Extra headers for each post.
    pub headers: Vec<(HeaderName, HeaderValue)>,
    /// A custom body in place of the record.
    pub body: Option<Template>,
    /// The key that signs each post.
    pub key: Option<KeyFile>,
}

/// Where the signing secret is kept. It is read for each post, so a new secret takes effect at once.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct KeyFile {
    /// The key's id, as the receiver knows it.
    pub id: String,
    /// The file with the secret; a trailing line end is ignored.
    pub path: PathBuf,
}

/// Where a webhook posts to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Address {
    /// Over TLS.
    pub tls: bool,
    /// Host name in lower case; an IPv6 address in brackets.
    pub host: String,
    /// The port, explicit or by default.
    pub port: u16,
    /// Path and query, from the first slash on.
    pub path_and_query: String,
}

/// Why a webhook cannot post to an address.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error("an address such as \"http://192.168.1.10:8080/alerts\"{0}")]
pub struct AddressError(&'static str);

/// Parses the address of a webhook.
///
/// # Errors
/// If it is neither http nor (where built in) https, or has no host.
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

/// The default port.
const fn usual_port(tls: bool) -> u16 {
    if tls { 443 } else { 80 }
}

impl Address {
    /// Host, with the port unless it is the default (RFC 9421 section 2.2.3).
    pub fn authority(&self) -> String {
        if self.port == usual_port(self.tls) {
            self.host.clone()
        } else {
            format!("{}:{}", self.host, self.port)
        }
    }

    /// The path.
    pub fn path(&self) -> &str {
        self.path_and_query.split_once('?').map_or(&self.path_and_query, |(path, _)| path)
    }

    /// The query with its question mark (RFC 9421 section 2.2.7), if there is one.
    pub fn query(&self) -> Option<&str> {
        self.path_and_query.find('?').map(|at| &self.path_and_query[at..])
    }
}

impl Written for Address {
    const EXAMPLE: &'static str = "http://192.168.1.10:8080/alerts";

    fn read(v: &Value<'_>) -> Result<Self, String> {
        address(v.text().unwrap_or("")).map_err(|e| e.to_string())
    }
}

/// Reads the webhook keys of a signal's table.
pub(crate) fn webhook(t: &mut Table<'_>, folder: &Path) -> Option<Webhook> {
    let (address, body) = (t.take(&WEBHOOK), t.take(&BODY));
    let (headers, signature) = (t.table(&HEADERS), t.table(&SIGNATURE));
    t.belongs(&BODY, &WEBHOOK);
    t.belongs(&HEADERS, &WEBHOOK);
    t.belongs(&SIGNATURE, &WEBHOOK);
    let headers = headers.map_or_else(Vec::new, read_headers);
    let content_type = headers.iter().find(|(n, _)| n == CONTENT_TYPE).and_then(|(_, v)| v.to_str().ok());
    let form = content_type.map_or(Form::Json, Form::of);
    let body = body.filter(|_| t.has(&WEBHOOK));
    let body = body.and_then(|b| Template::read(&b, form).map_err(|e| t.wrong(&BODY, e.to_string())).ok());
    let key = signature.and_then(|mut t| {
        let (id, path) = (t.take(&KEY_ID), t.take(&SECRET_FILE));
        if id.as_ref().is_some_and(|id| !id.bytes().all(|b| (b' '..=b'~').contains(&b))) {
            t.wrong(&KEY_ID, "a key's name is written in ASCII characters");
        }
        Some(KeyFile { id: id?, path: folder.join(path?) })
    });
    Some(Webhook { address: address?, headers, body, key })
}

fn read_headers(mut t: Table<'_>) -> Vec<(HeaderName, HeaderValue)> {
    // The post sets these headers itself; the file may not.
    let own = ["idempotency-key", "content-digest", "signature", "signature-input", "connection"];
    let written = t.entries(&HEADER);
    if written.len() > MOST_HEADERS {
        t.wrong_at(t.span(), format!("at most {} headers are sent", MOST_HEADERS));
    }
    let mut found = Vec::new();
    for (name, value) in written {
        let read = value.text().and_then(|v| HeaderValue::try_from(v).ok());
        match (HeaderName::try_from(name.value), read) {
            (Ok(n), _)
                if own.contains(&n.as_str()) || [HOST, CONTENT_LENGTH, TRANSFER_ENCODING].contains(&n) =>
            {
                t.wrong_at(name.span, format!("`{n}` is set by the daemon itself"));
            }
            (Ok(n), Some(v)) => found.push((n, v)),
            (Err(_), _) => t.wrong_at(name.span, "this is no name of an HTTP header"),
            (_, None) => t.wrong_at(value.span(), "a header's value is a text on one line"),
        }
    }
    found
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
