//! The control socket's place in the file system: taking it, and noticing that it was lost.

use std::io;
use std::os::unix::fs::{FileTypeExt, MetadataExt, PermissionsExt};
use std::path::{Path, PathBuf};
use std::time::Duration;
use thiserror::Error;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::{UnixListener, UnixStream};
use tokio::time::timeout;

/// How long a program that listens in our place has to say that it is a middlewatch.
const SAYS_WHO: Duration = Duration::from_secs(5);

/// Why the control socket could not be opened.
#[derive(Debug, Error)]
pub enum ControlError {
    /// Another daemon answers on it.
    #[error("{0}: another middlewatch stands its watch here; stop it, or name another socket in boat.toml")]
    Taken(PathBuf),
    /// Something other than a socket is there.
    #[error("{0}: this is no socket and is left alone; move it, or name another socket in boat.toml")]
    NoSocket(PathBuf),
    /// Another program's socket is there.
    #[error("{0}: another program's socket is here; stop that program, or name another socket in boat.toml")]
    Foreign(PathBuf),
    /// The system refused.
    #[error("{0}: {1}; let the daemon write in that folder, or name another socket in boat.toml")]
    System(PathBuf, io::Error),
}

/// The control socket, listening. Removed when dropped, if it is still there.
#[derive(Debug)]
pub(super) struct Socket {
    path: PathBuf,
    /// Device and inode of the file that was made.
    file: (u64, u64),
    pub listener: UnixListener,
}

impl Socket {
    /// Listens at a path, for owner and group only (mode 660). Takes over a socket left behind by a dead daemon.
    ///
    /// # Errors
    /// If another daemon listens there, something else is there, or the system refuses.
    pub async fn bind(path: &Path) -> Result<Self, ControlError> {
        let system = |e| ControlError::System(path.to_owned(), e);
        if let Ok(there) = std::fs::symlink_metadata(path) {
            if !there.file_type().is_socket() {
                return Err(ControlError::NoSocket(path.to_owned()));
            }
            let other = match UnixStream::connect(path).await {
                Ok(stream) => Some(is_middlewatch(stream).await),
                // Nobody listens: it was left behind.
                Err(e) if e.kind() == io::ErrorKind::ConnectionRefused => {
                    std::fs::remove_file(path).map_err(system)?;
                    None
                }
                Err(e) if e.kind() == io::ErrorKind::NotFound => None,
                Err(e) if e.kind() == io::ErrorKind::PermissionDenied => return Err(system(e)),
                Err(_) => Some(false),
            };
            match other {
                Some(true) => return Err(ControlError::Taken(path.to_owned())),
                Some(false) => return Err(ControlError::Foreign(path.to_owned())),
                None => {}
            }
        }
        if let Some(folder) = path.parent() {
            std::fs::create_dir_all(folder).map_err(system)?;
        }
        let listener = UnixListener::bind(path).map_err(system)?;
        std::fs::set_permissions(path, std::fs::Permissions::from_mode(0o660)).map_err(system)?;
        let there = std::fs::symlink_metadata(path).map_err(system)?;
        Ok(Self { path: path.to_owned(), file: (there.dev(), there.ino()), listener })
    }

    /// Whether the path still leads here.
    pub fn is_there(&self) -> bool {
        std::fs::symlink_metadata(&self.path).is_ok_and(|there| (there.dev(), there.ino()) == self.file)
    }
}

impl Drop for Socket {
    fn drop(&mut self) {
        if self.is_there() {
            let _ = std::fs::remove_file(&self.path);
        }
    }
}

/// Whether a middlewatch is at the other end. It names itself at the beginning of its description.
async fn is_middlewatch(mut stream: UnixStream) -> bool {
    let told = async {
        stream.write_all(b"GET /openapi.json HTTP/1.1\r\nhost: middlewatch\r\n\r\n").await?;
        let mut told = Vec::new();
        stream.take(4096).read_to_end(&mut told).await?;
        Ok::<_, io::Error>(told)
    };
    let told = timeout(SAYS_WHO, told).await;
    told.is_ok_and(|told| told.is_ok_and(|told| String::from_utf8_lossy(&told).contains("middlewatch")))
}
