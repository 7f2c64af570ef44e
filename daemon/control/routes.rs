//! What lies at which path.

use super::body::{Body, told, typed};
use super::gate::Wants;
use super::live::{Live, Streaming};
use super::server::Caller;
use super::{Ask, BODY, PATIENCE, Question, metrics, page};
use http_body_util::{BodyExt, Limited};
use hyper::body::{Bytes, Incoming};
use hyper::header::{ALLOW, HeaderValue};
use hyper::{Method, Request, Response, StatusCode};
use record::DepartureAct;
use record::{Act, ActError};
use serde::de::DeserializeOwned;
use serde_json::{Value, json};
use std::path::PathBuf;
use std::sync::Arc;
use tokio::sync::{mpsc, oneshot};

/// The description of all this, in OpenAPI 3.1.
const OPENAPI: &str = include_str!("openapi.json");

/// What an answer is made with.
pub(super) struct Desk {
    pub questions: mpsc::Sender<Question>,
    pub live: Arc<Live>,
}

/// A place that can be asked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Place {
    Page,
    OpenApi,
    Status,
    Events,
    Metrics,
    Handover,
    Act,
    Casualty,
    Backup,
    Reload,
    Test,
    Departure,
    DepartureAct,
}

impl Place {
    fn at(path: &str, method: &Method) -> Option<(Self, Method, Wants)> {
        let get = |place, wants| Some((place, Method::GET, wants));
        let post = |place| Some((place, Method::POST, Wants::Writes));
        match path {
            "/" => get(Self::Page, Wants::Nothing),
            "/openapi.json" => get(Self::OpenApi, Wants::Nothing),
            "/status" => get(Self::Status, Wants::Reads),
            "/events" => get(Self::Events, Wants::Reads),
            "/metrics" => get(Self::Metrics, Wants::Reads),
            "/handover" => get(Self::Handover, Wants::Reads),
            "/act" => post(Self::Act),
            // A pattern that was searched in vain counts from then on: it may change something.
            "/casualty" => post(Self::Casualty),
            "/backup" => Some((Self::Backup, Method::POST, Wants::Files)),
            "/reload" => post(Self::Reload),
            "/test" => post(Self::Test),
            "/departure" if *method == Method::POST => post(Self::DepartureAct),
            "/departure" => get(Self::Departure, Wants::Reads),
            _ => None,
        }
    }
}

impl Desk {
    /// Answers one request.
    pub async fn answer(
        &self,
        request: Request<Incoming>,
        caller: &Caller,
        streaming: &Arc<Streaming>,
    ) -> Response<Body> {
        let Some((place, method, wants)) = Place::at(request.uri().path(), request.method()) else {
            return error(StatusCode::NOT_FOUND, "there is nothing at this path");
        };
        if *request.method() != method {
            let mut r = error(StatusCode::METHOD_NOT_ALLOWED, &format!("only {method} here"));
            let allowed = match (place, &method) {
                (Place::Departure | Place::DepartureAct, _) => "GET, POST",
                (_, &Method::GET) => "GET",
                _ => "POST",
            };
            r.headers_mut().insert(ALLOW, HeaderValue::from_static(allowed));
            return r;
        }
        if let Err(refused) = caller.pass(wants, request.headers()).await {
            return refused;
        }
        let ask = match place {
            Place::Page => return page::answer(),
            Place::OpenApi => {
                return typed(StatusCode::OK, "application/json", Body::Whole(Some(OPENAPI.into())));
            }
            Place::Events => return self.live.stream(streaming),
            Place::Metrics => return self.metrics().await,
            Place::Status => Ask::Status,
            Place::Handover => Ask::Handover(None),
            Place::Reload => Ask::Reload,
            Place::Test => match body_or_none::<Test>(request).await {
                Ok(test) => Ask::Test(test.and_then(|t| t.signal)),
                Err((status, why)) => return error(status, &why),
            },
            Place::Departure => Ask::Departure(DepartureAct::Look),
            Place::DepartureAct => match body(request).await {
                Ok(ask) => Ask::Departure(ask),
                Err((status, why)) => return error(status, &why),
            },
            Place::Act => match body(request).await {
                Ok(Act::Handover { who }) => Ask::Handover(Some(who)),
                Ok(act) => Ask::Act(act),
                Err((status, why)) => return error(status, &why),
            },
            Place::Casualty => match body(request).await {
                Ok(question) => Ask::Casualty(question),
                Err((status, why)) => return error(status, &why),
            },
            Place::Backup => match body::<Backup>(request).await {
                Ok(Backup { to }) if to.is_absolute() => Ask::Backup(to),
                Ok(_) => return error(StatusCode::BAD_REQUEST, "a copy's path begins at the root"),
                Err((status, why)) => return error(status, &why),
            },
        };
        let answer = self.ask(ask).await;
        if wants == Wants::Writes {
            self.live.changed();
        }
        match answer {
            Ok(value) => told(StatusCode::OK, &value),
            // The request was good; the file is not.
            Err((StatusCode::BAD_REQUEST, why)) if place == Place::Reload => {
                error(StatusCode::CONFLICT, &why)
            }
            Err((status, why)) => error(status, &why),
        }
    }

    async fn metrics(&self) -> Response<Body> {
        match self.ask(Ask::Status).await {
            Ok(status) => {
                let text = Bytes::from(metrics::text(&status));
                typed(StatusCode::OK, metrics::TYPE, Body::Whole(Some(text)))
            }
            Err((status, why)) => error(status, &why),
        }
    }

    async fn ask(&self, ask: Ask) -> Result<Value, (StatusCode, String)> {
        let busy = |why: &str| (StatusCode::SERVICE_UNAVAILABLE, why.to_owned());
        let (reply, answered) = oneshot::channel();
        self.questions
            .try_send(Question { ask, reply })
            .map_err(|_| busy("too many requests at once; try again"))?;
        match tokio::time::timeout(PATIENCE, answered).await {
            Ok(Ok(Ok(value))) => Ok(value),
            Ok(Ok(Err(e))) => {
                let status = match e {
                    ActError::Nothing(_) => StatusCode::CONFLICT,
                    ActError::Wrong(_) => StatusCode::BAD_REQUEST,
                };
                Err((status, e.to_string()))
            }
            Ok(Err(_)) | Err(_) => Err(busy("the watch did not answer; try again")),
        }
    }
}

/// Where a copy of the logbook goes.
#[derive(serde::Deserialize)]
#[serde(deny_unknown_fields)]
struct Backup {
    to: PathBuf,
}

/// Which signal is tried; all that sound where none is named.
#[derive(serde::Deserialize)]
#[serde(deny_unknown_fields)]
struct Test {
    signal: Option<String>,
}

/// What a request's body asks.
async fn body<T: DeserializeOwned>(request: Request<Incoming>) -> Result<T, (StatusCode, String)> {
    let nothing = (StatusCode::BAD_REQUEST, "the body is not what is asked here: it is empty".to_owned());
    body_or_none(request).await?.ok_or(nothing)
}

/// The same, where nothing may be asked as well.
async fn body_or_none<T: DeserializeOwned>(
    request: Request<Incoming>,
) -> Result<Option<T>, (StatusCode, String)> {
    let bad = |why: String| (StatusCode::BAD_REQUEST, why);
    let whole = Limited::new(request.into_body(), BODY).collect();
    match tokio::time::timeout(PATIENCE, whole).await {
        Ok(Ok(b)) => {
            let bytes = b.to_bytes();
            if bytes.is_empty() {
                return Ok(None);
            }
            serde_json::from_slice(&bytes)
                .and_then(|value| serde_json::from_value(whole_numbers(value)))
                .map(Some)
                .map_err(|e| bad(format!("the body is not what is asked here: {e}")))
        }
        Ok(Err(e)) if e.is::<http_body_util::LengthLimitError>() => {
            Err((StatusCode::PAYLOAD_TOO_LARGE, format!("a body has at most {BODY} bytes")))
        }
        Ok(Err(e)) => Err(bad(format!("the body could not be read: {e}"))),
        Err(_) => Err((StatusCode::REQUEST_TIMEOUT, "the body did not arrive in time".to_owned())),
    }
}

/// Writes numbers like 3.0 as 3: in JSON both are the same whole number.
fn whole_numbers(value: Value) -> Value {
    match value {
        Value::Number(n) if n.is_f64() => {
            let whole = n.as_f64().filter(|f| f.fract() == 0.0 && f.abs() < 9e15);
            whole.map_or(Value::Number(n), |f| Value::from(f as i64))
        }
        // What comes in has one level; serde_json takes at most 128.
        Value::Object(map) => map.into_iter().map(|(k, v)| (k, whole_numbers(v))).collect(),
        other => other,
    }
}

fn error(status: StatusCode, why: &str) -> Response<Body> {
    told(status, &json!({"error": why}))
}
