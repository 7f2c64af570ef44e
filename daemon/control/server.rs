//! The listeners: the Unix socket, and TCP if the boat's file asks for it.

use super::body::Body;
use super::gate::{Gate, Wants, token};
use super::live::{Live, Streaming};
use super::routes::Service;
use super::{Ask, BODY, CONNECTIONS, PATIENCE};
use boat::Listen;
use hyper::service::service_fn;
use hyper::{HeaderMap, Response};
use hyper_util::rt::{TokioIo, TokioTimer};
use std::convert::Infallible;
use std::io;
use std::net::IpAddr;
use std::os::unix::fs::{FileTypeExt, PermissionsExt};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;
use thiserror::Error;
use tokio::io::{AsyncRead, AsyncWrite, AsyncWriteExt};
use tokio::net::{TcpListener, UnixListener, UnixStream};
use tokio::sync::{OwnedSemaphorePermit, Semaphore, mpsc};

/// Wait before retrying an address that cannot be listened on.
const TRY_AGAIN: Duration = Duration::from_secs(15);

/// Why the control socket could not be opened.
#[derive(Debug, Error)]
pub enum ControlError {
    /// Another daemon answers on it.
    #[error("{0}: another middlewatch stands its watch here; stop it, or name another socket in boat.toml")]
    Taken(PathBuf),
    /// Something other than a socket is there.
    #[error("{0}: this is no socket and is left alone; move it, or name another socket in boat.toml")]
    NoSocket(PathBuf),
    /// The system refused.
    #[error("{0}: {1}")]
    System(PathBuf, io::Error),
}

/// The control socket, listening.
#[derive(Debug)]
pub struct Server {
    path: PathBuf,
    listener: UnixListener,
}

/// Where a request comes from.
#[derive(Clone)]
pub(super) enum Caller {
    /// Anybody with access to the socket.
    Socket,
    /// Somebody over TCP.
    Tcp(Arc<Gate>, IpAddr),
}

impl Caller {
    /// Admits a request, or explains the refusal.
    pub async fn pass(&self, wants: Wants, headers: &HeaderMap) -> Result<(), Response<Body>> {
        match self {
            Self::Socket => Ok(()),
            Self::Tcp(gate, from) => gate.pass(wants, headers, *from).await,
        }
    }
}

impl Server {
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
            if UnixStream::connect(path).await.is_ok() {
                return Err(ControlError::Taken(path.to_owned()));
            }
            std::fs::remove_file(path).map_err(system)?;
        }
        if let Some(folder) = path.parent() {
            std::fs::create_dir_all(folder).map_err(system)?;
        }
        let listener = UnixListener::bind(path).map_err(system)?;
        std::fs::set_permissions(path, std::fs::Permissions::from_mode(0o660)).map_err(system)?;
        Ok(Self { path: path.to_owned(), listener })
    }

    /// Answers until dropped, over TCP too if configured. Socket and TCP have separate connection limits, so that a
    /// crowd on one does not block the other.
    pub async fn run(self, questions: mpsc::Sender<Ask>, listen: Option<Listen>) {
        let service = Arc::new(Service { live: Live::start(questions.clone()), questions });
        if let Some(listen) = listen {
            tokio::spawn(tcp(listen, service.clone()));
        }
        let places = Arc::new(Semaphore::new(CONNECTIONS));
        loop {
            // The semaphore is never closed.
            let Ok(place) = places.clone().acquire_owned().await else { return };
            match self.listener.accept().await {
                Ok((stream, _)) => drop(tokio::spawn(serve(stream, Caller::Socket, service.clone(), place))),
                Err(e) => {
                    tracing::warn!(%e, "control socket");
                    tokio::time::sleep(Duration::from_millis(200)).await;
                }
            }
        }
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        let _ = std::fs::remove_file(&self.path);
    }
}

/// Listens on TCP for ever. Admits nobody until the token can be read.
async fn tcp(listen: Listen, service: Arc<Service>) {
    if let Some(file) = &listen.token_file
        && let Err(why) = token(file).await
    {
        tracing::warn!(%why, "nobody will be let in over TCP before this is mended");
    }
    let address = listen.address;
    let gate = Arc::new(Gate::new(listen));
    let places = Arc::new(Semaphore::new(CONNECTIONS));
    loop {
        let listener = match TcpListener::bind(address).await {
            Ok(l) => l,
            Err(e) => {
                tracing::warn!(%address, %e, "control over TCP");
                tokio::time::sleep(TRY_AGAIN).await;
                continue;
            }
        };
        tracing::info!(%address, "control over TCP");
        loop {
            match listener.accept().await {
                Ok((stream, from)) => match places.clone().try_acquire_owned() {
                    Ok(place) => {
                        let caller = Caller::Tcp(gate.clone(), from.ip());
                        tokio::spawn(serve(stream, caller, service.clone(), place));
                    }
                    // Turn a crowd away at once: in a queue it would hold up the next good client.
                    Err(_) => drop(tokio::spawn(turn_away(stream))),
                },
                Err(e) => {
                    tracing::warn!(%e, "control over TCP");
                    tokio::time::sleep(Duration::from_millis(200)).await;
                }
            }
        }
    }
}

async fn turn_away(mut stream: tokio::net::TcpStream) {
    let words = b"HTTP/1.1 503 Service Unavailable\r\nretry-after: 2\r\ncontent-length: 0\r\nconnection: close\r\n\r\n";
    let _ = tokio::time::timeout(Duration::from_secs(1), stream.write_all(words)).await;
}

/// Serves one request and closes the connection, so that no idle client holds a place.
async fn serve(
    stream: impl AsyncRead + AsyncWrite + Unpin,
    caller: Caller,
    service: Arc<Service>,
    _place: OwnedSemaphorePermit,
) {
    let streaming = Arc::new(Streaming::default());
    let shared = streaming.clone();
    let answers = service_fn(move |request| {
        let (service, caller, streaming) = (service.clone(), caller.clone(), shared.clone());
        async move { Ok::<_, Infallible>(service.answer(request, &caller, &streaming).await) }
    });
    let connection = hyper::server::conn::http1::Builder::new()
        .timer(TokioTimer::new())
        .header_read_timeout(PATIENCE)
        .keep_alive(false)
        .max_buf_size(BODY)
        .serve_connection(TokioIo::new(stream), answers);
    let mut connection = std::pin::pin!(connection);
    // A client that stalls half-way loses its connection, but any act it has already sent is still done.
    let Err(_) = tokio::time::timeout(PATIENCE * 3, &mut connection).await else { return };
    if streaming.begun() {
        tokio::select! {
            _ = connection => {}
            () = streaming.stalled.notified() => {}
        }
    }
}
