//! Files and control: `[orders]`, `[logbook]` and `[control]`, including optional control over TCP.

use crate::places;
use form::{Key, Nested, Table, Value, Written, key};
use std::net::SocketAddr;
use std::path::{Path, PathBuf};

const ORDERS: Key<Nested> = key("orders", "the standing orders");
const ORDERS_PATH: Key<PathBuf> = key("path", "the orders file").or(places::ORDERS);
const LOGBOOK: Key<Nested> = key("logbook", "the logbook, and the recording of every sentence");
const LOGBOOK_PATH: Key<PathBuf> = key("path", "the logbook file").or(places::LOGBOOK);
const SENTENCES: Key<PathBuf> =
    key("sentences", "keep every sentence in this folder, compressed (gzip)").example("sentences");
const SENTENCES_MB: Key<u64> = key("sentences_mb", "size limit of that folder; the oldest files are deleted")
    .or("1000")
    .within("1", "1000000");
const CONTROL: Key<Nested> = key("control", "how the daemon is controlled");
const CONTROL_PATH: Key<PathBuf> =
    key("path", "the Unix socket, open to its owner and group").or(places::CONTROL);
const LISTEN: Key<SocketAddr> =
    key("listen", "TCP address to listen on; default: no TCP").example("0.0.0.0:8127");
const TOKEN_FILE: Key<PathBuf> = key(
    "token_file",
    "file that holds the token, at least 16 characters; needed for access from other computers",
)
.example("token");
const OPEN_READING: Key<bool> =
    key("open_reading", "reading over TCP needs no token; changing anything always does").or("false");
const NAMES: Key<HostName> =
    key("names", "further host names that requests over TCP may use, besides the computer's own, its addresses and localhost")
        .example("boat.example")
        .most(16);

/// A host name without its port, in lower case.
struct HostName(String);

impl Written for HostName {
    const EXAMPLE: &'static str = "boat.example";

    fn read(v: &Value<'_>) -> Result<Self, String> {
        let good = |t: &&str| {
            !t.is_empty() && t.bytes().all(|b| b.is_ascii_alphanumeric() || b == b'-' || b == b'.')
        };
        let name = v.text().filter(good).map(|t| Self(t.to_ascii_lowercase()));
        name.ok_or_else(|| "a host name without a port such as \"boat.example\"".to_owned())
    }
}

/// Raw sentences, recorded as they came.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Sentences {
    /// The folder of the recordings.
    pub folder: PathBuf,
    /// Largest total size of all files, bytes.
    pub limit_bytes: u64,
}

/// Control over TCP.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Listen {
    /// Where it listens.
    pub address: SocketAddr,
    /// The file with the token. Without one, only this computer may read and nobody may change anything.
    pub token_file: Option<PathBuf>,
    /// Allows reading without a token.
    pub open_reading: bool,
    /// Names by which requests may call this computer, in lower case, beside its own, its addresses and localhost.
    pub names: Vec<String>,
}

/// A path from the file. The daemon supplies the default.
fn path(t: &mut Table<'_>, key: &'static Key<PathBuf>, folder: &Path) -> Option<PathBuf> {
    let path = t.take(key)?;
    t.has(key).then(|| folder.join(path))
}

pub(crate) fn orders(t: &mut Table<'_>, folder: &Path) -> Option<PathBuf> {
    path(&mut t.table(&ORDERS)?, &ORDERS_PATH, folder)
}

pub(crate) fn logbook(t: &mut Table<'_>, folder: &Path) -> (Option<PathBuf>, Option<Sentences>) {
    let Some(mut t) = t.table(&LOGBOOK) else { return (None, None) };
    let logbook = path(&mut t, &LOGBOOK_PATH, folder);
    let (sentences, mb) = (path(&mut t, &SENTENCES, folder), t.take(&SENTENCES_MB));
    t.belongs(&SENTENCES_MB, &SENTENCES);
    let sentences = sentences.zip(mb);
    (logbook, sentences.map(|(folder, mb)| Sentences { folder, limit_bytes: mb * 1_000_000 }))
}

pub(crate) fn control(t: &mut Table<'_>, folder: &Path) -> (Option<PathBuf>, Option<Listen>) {
    let Some(mut t) = t.table(&CONTROL) else { return (None, None) };
    let (socket, address) = (path(&mut t, &CONTROL_PATH, folder), t.take(&LISTEN));
    let (token_file, open_reading) = (path(&mut t, &TOKEN_FILE, folder), t.take(&OPEN_READING));
    let names = t.list(&NAMES).unwrap_or_default().into_iter().map(|n| n.0).collect();
    t.belongs(&NAMES, &LISTEN);
    t.belongs(&TOKEN_FILE, &LISTEN);
    t.belongs(&OPEN_READING, &LISTEN);
    if address.is_some_and(|a| !a.ip().is_loopback()) && !t.has(&TOKEN_FILE) {
        t.wrong(
            &LISTEN,
            "beyond this computer a token is needed: name a `token_file` with at least 16 letters in it",
        );
    }
    let listen = address.map(|address| Listen {
        address,
        token_file,
        open_reading: open_reading == Some(true),
        names,
    });
    (socket, listen)
}

#[cfg(test)]
mod tests {
    use crate::read;

    #[test]
    fn tcp_is_off_unless_asked_for_and_beyond_this_computer_a_token_is_needed() {
        let boat = |control: &str| {
            read("/etc/boat.toml", &format!("version = 1\n[control]\n{control}")).map(|(boat, _)| boat)
        };
        assert_eq!(boat("path = \"x\"\n").unwrap().listen, None);
        let listen = boat("listen = \"127.0.0.1:8127\"\n").unwrap().listen.unwrap();
        assert!(!listen.open_reading && listen.token_file.is_none());
        let listen =
            boat("listen = \"0.0.0.0:8127\"\ntoken_file = \"t\"\nopen_reading = true\nnames = [\"Boat.Example\"]\n").unwrap().listen;
        let listen = listen.unwrap();
        assert_eq!(listen.names, ["boat.example"]);
        assert_eq!((listen.open_reading, listen.token_file), (true, Some("/etc/t".into())));
        for (bad, told) in [
            ("listen = \"0.0.0.0:8127\"\n", "3:10: beyond this computer a token is needed"),
            ("listen = \"[::]:8127\"\nopen_reading = true\n", "a token is needed"),
            ("listen = \"here\"\n", "3:10: `listen` takes an address"),
            ("open_reading = true\n", "`open_reading` belongs to `listen`"),
            ("names = [\"boat\"]\n", "`names` belongs to `listen`"),
            ("listen = \"127.0.0.1:8127\"\nnames = [\"boat:80\"]\n", "a host name without a port"),
        ] {
            let problems = boat(bad).unwrap_err().to_string();
            assert!(problems.contains(told), "{told} is not in\n{problems}");
        }
    }
}
