//! The listeners: the Unix socket, and TCP if the boat's file asks for it.

use super::body::Body;
use super::gate::{Gate, Refused, Wants, token};
use super::lines::{Wire, Wires};
use super::live::Live;
use super::routes::Service;
use super::seats::{HEAD, Limits, Peer, Room, Seat};
use super::socket::{ControlError, Socket};
use super::{BODY, LOOKS, Questions};
use crate::clock::Clock;
use boat::Listen;
use hyper::body::Incoming;
use hyper::service::service_fn;
use hyper::{HeaderMap, Request, Response};
use hyper_util::rt::{TokioIo, TokioTimer};
use std::convert::Infallible;
use std::io::{self, Write};
use std::net::{IpAddr, SocketAddr};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;
use tokio::io::{AsyncRead, AsyncWrite};
use tokio::net::{TcpListener, TcpStream, UnixStream};
use tokio::sync::{Semaphore, watch};
use tokio::time::{interval, sleep};

/// Wait before retrying what cannot be listened on, and between looks at whether the socket is still in its place.
const TRY_AGAIN: Duration = Duration::from_secs(5);
/// Wait after the system refused a connection, as it does when no file descriptor is left.
const REFUSED: Duration = Duration::from_millis(200);
/// How long an address may be missing before it is called a failure: a network may come up after the daemon.
const NETWORK: Duration = Duration::from_secs(60);
/// Seats at the Unix socket. A user's verbs take one each, for a moment.
const AT_SOCKET: Limits = Limits { all: 32, each: 24, streams: 8, streams_each: 6 };
/// Seats over TCP. A browser opens up to six connections to a host.
const OVER_TCP: Limits = Limits { all: 64, each: 16, streams: 16, streams_each: 8 };
/// What a connection for which there is no seat gets.
const NO_SEAT: &[u8] = b"HTTP/1.1 503 Service Unavailable\r\nretry-after: 2\r\ncontent-type: application/json\r\n\
    content-length: 62\r\nconnection: close\r\n\r\n{\"error\": \"middlewatch: too many connections; try again soon\"}";

/// Why control is shut, for each way in; `None` where it is open or nobody asked for it.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Shut {
    socket: Option<String>,
    tcp: Option<String>,
}

impl Shut {
    /// What is shut, where and why, and what to do; `None` if nothing is.
    pub fn why(&self) -> Option<String> {
        let socket = self.socket.as_ref().map(|why| format!("The control socket cannot be opened: {why}"));
        let tcp = self.tcp.as_ref().map(|why| format!("Control over TCP cannot be opened: {why}"));
        let all: Vec<String> = socket.into_iter().chain(tcp).collect();
        (!all.is_empty()).then(|| format!("{}. The watch goes on.", all.join(". ")))
    }
}

/// The control socket, open or not.
#[derive(Debug)]
pub struct Server {
    path: PathBuf,
    socket: Option<Socket>,
    shut: watch::Sender<Shut>,
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
    /// Refuses a request over TCP that means another computer or comes from a foreign page.
    pub fn is_meant(&self, request: &Request<Incoming>) -> Result<(), Refused> {
        match self {
            Self::Socket => Ok(()),
            Self::Tcp(gate, _) => gate.is_meant(request.uri(), request.headers()),
        }
    }

    /// Admits a request, or explains the refusal.
    pub async fn pass(&self, wants: Wants, headers: &HeaderMap) -> Result<(), Response<Body>> {
        match self {
            Self::Socket => Ok(()),
            Self::Tcp(gate, from) => gate.pass(wants, headers, *from).await,
        }
    }
}

impl Server {
    /// Tries to open the socket. If that fails, `run` tries on: only another daemon keeps this one from its watch.
    ///
    /// # Errors
    /// If another daemon listens there.
    pub async fn open(path: &Path) -> Result<Self, ControlError> {
        let (socket, shut) = match Socket::bind(path).await {
            Ok(socket) => (Some(socket), Shut::default()),
            Err(taken @ ControlError::Taken(_)) => return Err(taken),
            Err(e) => (None, Shut { socket: Some(e.to_string()), tcp: None }),
        };
        Ok(Self { path: path.to_owned(), socket, shut: watch::Sender::new(shut) })
    }

    /// What is shut, whenever that changes.
    pub fn shut(&self) -> watch::Receiver<Shut> {
        self.shut.subscribe()
    }

    /// Answers until dropped, over TCP too if configured. Socket and TCP have seats and looks of their own, so that a
    /// crowd on one does not block the other. `wires` can be looked at.
    pub async fn run(self, questions: Questions, listen: Option<Listen>, wires: Vec<Wire>) {
        let (live, wires) = (Live::start(questions.clone()), Arc::new(Wires::new(wires)));
        let service = || {
            let (questions, live, wires) = (questions.clone(), live.clone(), wires.clone());
            Arc::new(Service { questions, looks: Arc::new(Semaphore::new(LOOKS)), live, wires })
        };
        if let Some(listen) = listen {
            tokio::spawn(tcp(listen, service(), self.shut.clone()));
        }
        at_socket(self, service()).await;
    }
}

/// Listens on the socket for ever. Opens it again whenever something else takes its place.
async fn at_socket(server: Server, service: Arc<Service>) {
    let Server { path, mut socket, shut } = server;
    let room = Room::new(AT_SOCKET);
    loop {
        let open = match socket.take() {
            Some(open) => open,
            None => match Socket::bind(&path).await {
                Ok(open) => open,
                Err(e) => {
                    set(&shut, |s| &mut s.socket, Some(e.to_string()));
                    sleep(TRY_AGAIN).await;
                    continue;
                }
            },
        };
        set(&shut, |s| &mut s.socket, None);
        let mut look = interval(TRY_AGAIN);
        while open.is_there() {
            let accepted = tokio::select! {
                accepted = open.listener.accept() => accepted,
                _ = look.tick() => continue,
            };
            let Some((stream, _)) = taken(accepted).await else { continue };
            let user = stream.peer_cred().ok().map(|peer| peer.uid());
            match room.admit(Peer::User(user)) {
                Some(seat) => drop(tokio::spawn(serve(stream, Caller::Socket, service.clone(), seat))),
                None => turn_away(UnixStream::into_std(stream)),
            }
        }
    }
}

/// Listens on TCP for ever. Admits nobody until the token can be read.
async fn tcp(listen: Listen, service: Arc<Service>, shut: watch::Sender<Shut>) {
    if let Some(file) = &listen.token_file
        && let Err(why) = token(file).await
    {
        tracing::warn!(%why, "nobody will be let in over TCP before this is mended");
    }
    let address = listen.address;
    let gate = Arc::new(Gate::new(listen));
    let room = Room::new(OVER_TCP);
    let began = Clock.now();
    let listener = loop {
        match TcpListener::bind(address).await {
            Ok(listener) => break listener,
            Err(e) => {
                let is_missing = e.kind() == io::ErrorKind::AddrNotAvailable;
                if !is_missing || Clock.now().since(began) >= NETWORK {
                    set(&shut, |s| &mut s.tcp, Some(cannot(address, &e)));
                }
                sleep(TRY_AGAIN).await;
            }
        }
    };
    set(&shut, |s| &mut s.tcp, None);
    tracing::info!(%address, "control over TCP");
    loop {
        let Some((stream, from)) = taken(listener.accept().await).await else { continue };
        match room.admit(Peer::at(from.ip())) {
            Some(seat) => {
                let caller = Caller::Tcp(gate.clone(), from.ip());
                tokio::spawn(serve(stream, caller, service.clone(), seat));
            }
            None => turn_away(TcpStream::into_std(stream)),
        }
    }
}

fn cannot(address: SocketAddr, e: &io::Error) -> String {
    match e.kind() {
        io::ErrorKind::AddrInUse => format!(
            "{address}: another program listens there; stop it, or name another address at `listen` in boat.toml"
        ),
        io::ErrorKind::AddrNotAvailable => {
            format!("{address}: this computer has no such address; name another at `listen` in boat.toml")
        }
        _ => format!("{address}: {e}; name another address at `listen` in boat.toml"),
    }
}

/// Sets why a way in is shut, if that is new.
fn set(
    shut: &watch::Sender<Shut>,
    which: impl FnOnce(&mut Shut) -> &mut Option<String>,
    why: Option<String>,
) {
    shut.send_if_modified(|shut| {
        let which = which(shut);
        let is_new = *which != why;
        if is_new {
            *which = why;
        }
        is_new
    });
}

/// A connection; `None` after a pause if the system refused it.
async fn taken<T>(accepted: io::Result<T>) -> Option<T> {
    match accepted {
        Ok(connection) => Some(connection),
        Err(e) => {
            tracing::warn!(%e, "control");
            sleep(REFUSED).await;
            None
        }
    }
}

/// Turns a connection away at once: in a queue it would hold up the next good client. The stream does not block.
fn turn_away(stream: io::Result<impl Write>) {
    let _ = stream.and_then(|mut stream| stream.write(NO_SEAT));
}

/// Serves one request and closes the connection, so that no idle client holds a seat. A client that loses its seat or
/// stalls half-way loses its connection, but any act it has already sent is still done.
async fn serve(
    stream: impl AsyncRead + AsyncWrite + Unpin,
    caller: Caller,
    service: Arc<Service>,
    seat: Seat,
) {
    let seat = Arc::new(seat);
    let shared = seat.clone();
    let answers = service_fn(move |request| {
        let (service, caller, seat) = (service.clone(), caller.clone(), shared.clone());
        async move {
            seat.head_came();
            let answer = service.answer(request, &caller, &seat).await;
            seat.answers();
            Ok::<_, Infallible>(answer)
        }
    });
    let connection = hyper::server::conn::http1::Builder::new()
        .timer(TokioTimer::new())
        .header_read_timeout(HEAD)
        .keep_alive(false)
        .max_buf_size(BODY)
        .serve_connection(TokioIo::new(stream), answers);
    tokio::select! {
        _ = connection => {}
        () = seat.over() => {}
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::control::questions;
    use tokio::io::AsyncWriteExt;

    #[test]
    fn what_is_turned_away_is_an_answer_in_json() {
        let answer = std::str::from_utf8(NO_SEAT).unwrap();
        let (head, body) = answer.split_once("\r\n\r\n").unwrap();
        assert!(head.contains(&format!("content-length: {}\r\n", body.len())));
        assert!(serde_json::from_str::<record::Refusal>(body).unwrap().error.contains("middlewatch"));
    }

    /// Real time: a connection through a pipe of 64 bytes, whose far end asks and reads nothing, or asks nothing.
    #[tokio::test]
    async fn who_does_not_read_or_does_not_ask_is_cut_off() {
        let (questions, _asked) = questions();
        let live = Live::start(questions.clone());
        let wires = Arc::new(Wires::new(Vec::new()));
        let service = Arc::new(Service { questions, looks: Arc::new(Semaphore::new(LOOKS)), live, wires });
        let room = Room::new(AT_SOCKET);
        for (asks, within) in [("GET /openapi.json HTTP/1.1\r\nhost: x\r\n\r\n", 5..9), ("GET", 2..5)] {
            let (near, mut far) = tokio::io::duplex(64);
            let began = Clock.now();
            far.write_all(asks.as_bytes()).await.unwrap();
            let seat = room.admit(Peer::User(None)).unwrap();
            serve(near, Caller::Socket, service.clone(), seat).await;
            let took = Clock.now().since(began).as_secs();
            assert!(within.contains(&took), "{asks}: {took} s");
        }
    }
}
