//! `[control]`: the socket, and TCP where it is asked for.

use super::read::Reader;
use serde::Deserialize;
use std::net::SocketAddr;
use std::path::PathBuf;
use toml::Spanned;

/// Control over TCP.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Listen {
    /// Where it listens.
    pub address: SocketAddr,
    /// The file with the token; without one only this computer may read, and nobody change anything.
    pub token_file: Option<PathBuf>,
    /// Reading needs no token.
    pub open_reading: bool,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RawControl {
    path: Option<PathBuf>,
    listen: Option<Spanned<String>>,
    token_file: Option<Spanned<PathBuf>>,
    open_reading: Option<Spanned<bool>>,
}

impl Reader {
    pub(super) fn control(&mut self, raw: RawControl) -> (Option<PathBuf>, Option<Listen>) {
        let Some(text) = raw.listen else {
            let stray = raw.token_file.map(|t| t.span()).or(raw.open_reading.map(|o| o.span()));
            if let Some(span) = stray {
                self.problem(span, "`token_file` and `open_reading` belong to `listen`");
            }
            return (raw.path, None);
        };
        let Ok(address) = text.get_ref().parse::<SocketAddr>() else {
            self.problem(text.span(), "an address to listen on is written as \"127.0.0.1:8127\"");
            return (raw.path, None);
        };
        if !address.ip().is_loopback() && raw.token_file.is_none() {
            self.problem(
                text.span(),
                "beyond this computer a token is needed: name a `token_file` with at least 16 letters in it",
            );
        }
        let listen = Listen {
            address,
            token_file: raw.token_file.map(|t| self.beside(t.get_ref())),
            open_reading: raw.open_reading.is_some_and(Spanned::into_inner),
        };
        (raw.path, Some(listen))
    }
}

#[cfg(test)]
mod tests {
    use crate::read;

    #[test]
    fn tcp_is_off_unless_asked_for_and_beyond_this_computer_a_token_is_needed() {
        let boat = |control: &str| read("/etc/boat.toml", &format!("version = 1\n[control]\n{control}"));
        assert_eq!(boat("path = \"x\"\n").unwrap().listen, None);
        let listen = boat("listen = \"127.0.0.1:8127\"\n").unwrap().listen.unwrap();
        assert!(!listen.open_reading && listen.token_file.is_none());
        let listen =
            boat("listen = \"0.0.0.0:8127\"\ntoken_file = \"t\"\nopen_reading = true\n").unwrap().listen;
        let listen = listen.unwrap();
        assert_eq!((listen.open_reading, listen.token_file), (true, Some("/etc/t".into())));
        for (bad, told) in [
            ("listen = \"0.0.0.0:8127\"\n", "3:10: beyond this computer a token is needed"),
            ("listen = \"[::]:8127\"\nopen_reading = true\n", "a token is needed"),
            ("listen = \"here\"\n", "3:10: an address"),
            ("open_reading = true\n", "belong to `listen`"),
        ] {
            let problems = boat(bad).unwrap_err().to_string();
            assert!(problems.contains(told), "{told} is not in\n{problems}");
        }
    }
}
