//! Reads the files that people name. None is read before it is known to be a plain file of a likely size: what stands in
//! its place (a named pipe that nobody writes to, a device that never ends, gigabytes) must cost the watch neither
//! time nor memory. Everything else of the shell reads files through here (`tests/house.rs`).

use std::fs::{File, Metadata, OpenOptions};
use std::io::{self, Read};
use std::os::unix::fs::{FileTypeExt, MetadataExt, OpenOptionsExt};
use std::path::Path;
use std::time::Duration;
use tokio::sync::Semaphore;

/// What a file holds. That limits its size: the limits are far above what is ever needed, and far below what hurts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// What people write in TOML (the boat, orders, a scenario): at most 4 MiB.
    Written,
    /// A token or a secret: at most 4 KiB.
    Secret,
    /// One value, as the kernel gives it below /proc and /sys: at most 4 KiB.
    Value,
}

impl Kind {
    /// The largest file in bytes, and in words.
    const fn limit(self) -> (u64, &'static str) {
        match self {
            Self::Written => (4 << 20, "4 MiB"),
            Self::Secret | Self::Value => (4 << 10, "4 KiB"),
        }
    }
}

/// Files read at one time on threads of their own; a hung disk holds up no more threads than that.
const AT_ONCE: usize = 8;

static READING: Semaphore = Semaphore::const_new(AT_ONCE);

fn failed(e: io::Error) -> io::Error {
    io::Error::new(e.kind(), format!("cannot be read: {e}"))
}

/// Refuses what is no plain file.
fn plain(found: &Metadata) -> io::Result<()> {
    let kind = found.file_type();
    let is = match kind {
        k if k.is_file() => return Ok(()),
        k if k.is_dir() => "a folder",
        k if k.is_fifo() => "a named pipe",
        k if k.is_socket() => "a socket",
        _ => "a device",
    };
    Err(io::Error::new(io::ErrorKind::InvalidInput, format!("this is {is}, not a plain file")))
}

/// Opens a plain file for reading, and nothing else.
///
/// # Errors
/// What the system says, or what stands there in its place; without the file's name.
pub fn open(path: &Path) -> io::Result<File> {
    let open = || {
        // Looked at before it is opened, because merely opening a device may do something. Looked at again once it is
        // open, because another may have taken its place; O_NONBLOCK so that a pipe does not hold it up then.
        plain(&std::fs::metadata(path)?)?;
        let flags = nix::libc::O_NONBLOCK | nix::libc::O_NOCTTY;
        let file = OpenOptions::new().read(true).custom_flags(flags).open(path)?;
        plain(&file.metadata()?)?;
        Ok(file)
    };
    open().map_err(failed)
}

/// Opens what is read from one end to the other and not kept: a plain file of any size or, because a person may well
/// mean one, a named pipe, for whose writer it waits. Not for the daemon.
///
/// # Errors
/// As [`open`].
pub fn stream(path: &Path) -> io::Result<File> {
    if is_pipe(path) { File::open(path).map_err(failed) } else { open(path) }
}

/// Whether a path names a pipe.
pub fn is_pipe(path: &Path) -> bool {
    std::fs::metadata(path).is_ok_and(|m| m.file_type().is_fifo())
}

/// The whole of a plain file.
///
/// # Errors
/// As [`open`]; or that it is larger than its kind may be.
pub fn read(path: &Path, kind: Kind) -> io::Result<Vec<u8>> {
    let file = open(path)?;
    let (limit, words) = kind.limit();
    let large = || {
        let why = format!("cannot be read: it has more than {words}; this must be another file");
        io::Error::new(io::ErrorKind::FileTooLarge, why)
    };
    if file.metadata().map_err(failed)?.len() > limit {
        return Err(large());
    }
    let mut bytes = Vec::new();
    // It may grow meanwhile, and the kernel's own files claim to be empty.
    file.take(limit + 1).read_to_end(&mut bytes).map_err(failed)?;
    if bytes.len() as u64 > limit { Err(large()) } else { Ok(bytes) }
}

/// Runs what reads a file on a thread that may block, and waits for it no longer than `most`: a network disk that hangs
/// answers nobody, not even to end. Needs tokio; whoever ends that runtime must not wait for its threads.
///
/// # Errors
/// What `read` says, or that the disk took too long; without the file's name.
pub async fn aside<T: Send + 'static>(
    path: &Path,
    most: Duration,
    read: impl FnOnce(&Path) -> io::Result<T> + Send + 'static,
) -> io::Result<T> {
    let path = path.to_owned();
    let reading = async move {
        let place = READING.acquire().await.map_err(io::Error::other)?;
        let reading = tokio::task::spawn_blocking(move || {
            let _place = place;
            read(&path)
        });
        reading.await.map_err(io::Error::other)?
    };
    tokio::time::timeout(most, reading).await.unwrap_or_else(|_| {
        let why =
            format!("cannot be read: {} s were not enough; its disk may not answer", most.as_secs_f64());
        Err(io::Error::new(io::ErrorKind::TimedOut, why))
    })
}

/// What is odd about who may read or change a file, each in words; nothing of a file that is not there. `secret` says
/// what it holds that only the daemon should know, such as `the token`.
pub fn exposure(path: &Path, secret: Option<&str>) -> Vec<String> {
    let Ok(found) = std::fs::metadata(path) else { return Vec::new() };
    let (mode, owner) = (found.mode(), found.uid());
    // The kernel gives each process's folder to the user it runs as.
    let own = std::fs::metadata("/proc/self").map_or(0, |m| m.uid());
    let mut odd = Vec::new();
    let mut warn = |why: &str| odd.push(format!("{}: warning: {why}", path.display()));
    if owner != 0 && owner != own {
        warn(&format!("it belongs to user {owner}, who can change it; `chown root` it"));
    }
    if mode & 0o002 != 0 {
        warn("everybody on this computer can change it; `chmod o-w` it");
    }
    let Some(what) = secret else { return odd };
    if mode & 0o020 != 0 {
        warn("its group can change it; `chmod g-w` it");
    }
    // A group may read what root keeps for it, as the package installs it; otherwise a secret is its owner's alone.
    if mode & 0o004 != 0 {
        warn(&format!("everybody on this computer can read {what}; `chmod o-r` it"));
    } else if owner != 0 && mode & 0o040 != 0 {
        warn(&format!("its group can read {what}; `chmod g-r` it"));
    }
    odd
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::os::unix::fs::PermissionsExt;

    fn folder() -> std::path::PathBuf {
        let folder = std::env::temp_dir().join(format!("mw-files-{}", std::process::id()));
        std::fs::create_dir_all(&folder).unwrap();
        folder
    }

    #[test]
    fn only_a_plain_file_of_a_likely_size_is_read() {
        let folder = folder();
        let said = |path: &Path, kind| read(path, kind).unwrap_err().to_string();
        assert!(said(&folder, Kind::Secret).ends_with("this is a folder, not a plain file"));
        assert!(said(Path::new("/dev/zero"), Kind::Secret).ends_with("this is a device, not a plain file"));
        let pipe = folder.join("pipe");
        nix::unistd::mkfifo(&pipe, nix::sys::stat::Mode::S_IRWXU).unwrap();
        assert!(
            said(&pipe, Kind::Written).ends_with("cannot be read: this is a named pipe, not a plain file")
        );
        let socket = folder.join("socket");
        let _socket = std::os::unix::net::UnixListener::bind(&socket).unwrap();
        assert!(said(&socket, Kind::Written).contains("this is a socket"));
        let vast = folder.join("vast");
        File::create(&vast).unwrap().set_len(4 << 30).unwrap();
        assert!(said(&vast, Kind::Written).contains("it has more than 4 MiB"));
        let full = folder.join("full");
        std::fs::write(&full, vec![b'x'; 4 << 10]).unwrap();
        assert_eq!(read(&full, Kind::Secret).unwrap().len(), 4 << 10, "the limit is allowed");
        std::fs::write(&full, vec![b'x'; (4 << 10) + 1]).unwrap();
        assert!(said(&full, Kind::Secret).contains("it has more than 4 KiB"));
        assert!(said(&folder.join("gone"), Kind::Secret).contains("No such file"));
        assert!(
            !read(Path::new("/proc/self/stat"), Kind::Value).unwrap().is_empty(),
            "it claims to be empty"
        );
        std::fs::remove_dir_all(folder).unwrap();
    }

    #[test]
    fn a_disk_that_does_not_answer_is_given_up() {
        let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
        let (release, hung) = std::sync::mpsc::channel::<()>();
        let outcome =
            runtime.block_on(aside(Path::new("/far/orders.toml"), Duration::from_millis(20), move |_| {
                let _ = hung.recv();
                Ok(())
            }));
        assert!(outcome.unwrap_err().to_string().contains("its disk may not answer"));
        drop(release);
        let read = |path: &Path| Ok(path.display().to_string());
        let most = Duration::from_secs(10);
        assert_eq!(runtime.block_on(aside(Path::new("/near"), most, read)).unwrap(), "/near");
    }

    #[test]
    fn who_may_read_and_change_a_file_is_judged() {
        let file = std::env::temp_dir().join(format!("mw-exposed-{}", std::process::id()));
        std::fs::write(&file, "").unwrap();
        let root = file.metadata().unwrap().uid() == 0;
        let odd = |mode, secret| {
            std::fs::set_permissions(&file, std::fs::Permissions::from_mode(mode)).unwrap();
            exposure(&file, secret).join("\n")
        };
        let token = Some("the token");
        assert_eq!(odd(0o600, token) + &odd(0o644, None), "");
        let all = odd(0o644, token);
        assert!(
            all.ends_with(": warning: everybody on this computer can read the token; `chmod o-r` it"),
            "{all}"
        );
        assert_eq!(odd(0o640, token).contains("its group can read the token"), !root);
        assert!(odd(0o620, token).contains("its group can change it"));
        assert!(odd(0o646, None).contains("everybody on this computer can change it"));
        if root {
            std::os::unix::fs::chown(&file, Some(12_345), None).unwrap();
            assert!(odd(0o600, token).contains("it belongs to user 12345, who can change it"));
        }
        std::fs::remove_file(&file).unwrap();
        assert!(exposure(&file, token).is_empty());
    }
}
