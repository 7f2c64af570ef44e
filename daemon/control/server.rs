//! The listening end.

use super::{Ask, BODY, CONNECTIONS, PATIENCE, Question};
use crate::act::{Act, ActError};
use http_body_util::{BodyExt, Full, Limited};
use hyper::body::{Bytes, Incoming};
use hyper::header::{ALLOW, CONTENT_TYPE};
use hyper::service::service_fn;
use hyper::{Method, Request, Response, StatusCode};
use hyper_util::rt::{TokioIo, TokioTimer};
use serde::de::DeserializeOwned;
use serde_json::{Value, json};
use std::convert::Infallible;
use std::io;
use std::os::unix::fs::{FileTypeExt, PermissionsExt};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use thiserror::Error;
use tokio::net::{UnixListener, UnixStream};
use tokio::sync::{Semaphore, mpsc, oneshot};

/// Why the control socket could not be opened.
#[derive(Debug, Error)]
pub enum ControlError {
    /// Another daemon answers on it.
    #[error("{0}: another middlewatch stands its watch here; stop it, or name another socket in boat.toml")]
    Taken(PathBuf),
    /// Something that is no socket lies there.
    #[error("{0}: this is no socket and is left alone; move it, or name another socket in boat.toml")]
    NoSocket(PathBuf),
    /// The system said no.
    #[error("{0}: {1}")]
    System(PathBuf, io::Error),
}

/// The control socket, listening.
#[derive(Debug)]
pub struct Server {
    path: PathBuf,
    listener: UnixListener,
}

impl Server {
    /// Listens at a path, for owner and group only (mode 660). A socket left behind by a daemon that died is taken over.
    ///
    /// # Errors
    /// When another daemon listens there, something else lies there, or the system refuses.
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

    /// Answers until dropped.
    pub async fn run(self, questions: mpsc::Sender<Question>) {
        let places = Arc::new(Semaphore::new(CONNECTIONS));
        loop {
            // The semaphore is never closed.
            let Ok(place) = places.clone().acquire_owned().await else { return };
            match self.listener.accept().await {
                Ok((stream, _)) => {
                    let questions = questions.clone();
                    tokio::spawn(async move {
                        let _place = place;
                        serve(stream, questions).await;
                    });
                }
                Err(e) => {
                    tracing::warn!(%e, "control socket");
                    tokio::time::sleep(std::time::Duration::from_millis(200)).await;
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

/// One connection, one request: it is closed after the answer, so that no idle client holds a place.
async fn serve(stream: UnixStream, questions: mpsc::Sender<Question>) {
    let service = service_fn(move |request| {
        let questions = questions.clone();
        async move { Ok::<_, Infallible>(answer(request, &questions).await) }
    });
    let connection = hyper::server::conn::http1::Builder::new()
        .timer(TokioTimer::new())
        .header_read_timeout(PATIENCE)
        .keep_alive(false)
        .max_buf_size(BODY)
        .serve_connection(TokioIo::new(stream), service);
    // A client that stalls half-way through loses its connection; what it asked for by then is done all the same.
    let _ = tokio::time::timeout(PATIENCE * 3, connection).await;
}

async fn answer(request: Request<Incoming>, questions: &mpsc::Sender<Question>) -> Response<Full<Bytes>> {
    let (method, path) = (request.method().clone(), request.uri().path().to_owned());
    let ask = match (&method, path.as_str()) {
        (&Method::GET, "/status") => Ask::Status,
        (&Method::GET, "/handover") => Ask::Handover(None),
        (&Method::POST, "/reload") => Ask::Reload,
        (&Method::POST, "/backup") => match body::<Backup>(request).await {
            Ok(Backup { to }) if to.is_absolute() => Ask::Backup(to),
            Ok(_) => {
                return told(StatusCode::BAD_REQUEST, &json!({"error": "a copy's path begins at the root"}));
            }
            Err(why) => return told(StatusCode::BAD_REQUEST, &json!({"error": why})),
        },
        (&Method::POST, "/casualty") => match body(request).await {
            Ok(question) => Ask::Casualty(question),
            Err(why) => return told(StatusCode::BAD_REQUEST, &json!({"error": why})),
        },
        (&Method::POST, "/act") => match body(request).await {
            Ok(Act::Handover { who }) => Ask::Handover(Some(who)),
            Ok(act) => Ask::Act(act),
            Err(why) => return told(StatusCode::BAD_REQUEST, &json!({"error": why})),
        },
        (_, "/status" | "/handover") => return not_so("GET"),
        (_, "/reload" | "/act" | "/casualty" | "/backup") => return not_so("POST"),
        _ => return told(StatusCode::NOT_FOUND, &json!({"error": format!("there is nothing at {path}")})),
    };
    let (reply, answered) = oneshot::channel();
    if questions.try_send(Question { ask, reply }).is_err() {
        return told(
            StatusCode::SERVICE_UNAVAILABLE,
            &json!({"error": "too many requests at once; try again"}),
        );
    }
    match tokio::time::timeout(PATIENCE, answered).await {
        Ok(Ok(Ok(value))) => told(StatusCode::OK, &value),
        Ok(Ok(Err(e))) => {
            let status = match e {
                ActError::Nothing(_) => StatusCode::CONFLICT,
                ActError::Wrong(_) => StatusCode::BAD_REQUEST,
            };
            told(status, &json!({"error": e.to_string()}))
        }
        Ok(Err(_)) | Err(_) => {
            told(StatusCode::SERVICE_UNAVAILABLE, &json!({"error": "the watch did not answer; try again"}))
        }
    }
}

/// Where a copy of the logbook goes.
#[derive(serde::Deserialize)]
#[serde(deny_unknown_fields)]
struct Backup {
    to: PathBuf,
}

/// What a request's body asks.
async fn body<T: DeserializeOwned>(request: Request<Incoming>) -> Result<T, String> {
    let whole = Limited::new(request.into_body(), BODY).collect();
    match tokio::time::timeout(PATIENCE, whole).await {
        Ok(Ok(b)) => serde_json::from_slice(&b.to_bytes())
            .map_err(|e| format!("the body is not what is asked here: {e}")),
        Ok(Err(e)) => Err(format!("the body could not be read, at most {BODY} bytes are: {e}")),
        Err(_) => Err("the body did not arrive in time".to_owned()),
    }
}

fn not_so(allowed: &'static str) -> Response<Full<Bytes>> {
    let mut r = told(StatusCode::METHOD_NOT_ALLOWED, &json!({"error": format!("only {allowed} here")}));
    r.headers_mut().insert(ALLOW, hyper::header::HeaderValue::from_static(allowed));
    r
}

fn told(status: StatusCode, value: &Value) -> Response<Full<Bytes>> {
    let mut r = Response::new(Full::new(Bytes::from(format!("{value}\n"))));
    *r.status_mut() = status;
    r.headers_mut().insert(CONTENT_TYPE, hyper::header::HeaderValue::from_static("application/json"));
    r
}
