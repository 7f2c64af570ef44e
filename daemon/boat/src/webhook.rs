//! The address that a webhook posts to.

use http::Uri;
use thiserror::Error;

/// Where a webhook posts to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Address {
    /// Over TLS.
    pub tls: bool,
    /// In lower case; an IPv6 address in brackets.
    pub host: String,
    /// Its own, or the usual one.
    pub port: u16,
    /// From the slash on.
    pub path_and_query: String,
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

impl Address {
    /// Host, and port where it is not the usual one (RFC 9421 section 2.2.3).
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
