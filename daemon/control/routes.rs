//! Routes requests to their places and answers them.

use super::body::{Body, json, refusal, typed};
use super::gate::Wants;
use super::lines::Wires;
use super::live::Live;
use super::places::{self, Found, Kind};
use super::seats::Seat;
use super::server::Caller;
use super::{Ask, BODY, PATIENCE, Questions, Reply, describe, metrics, page};
use http_body_util::{BodyExt, Limited};
use hyper::body::{Bytes, Incoming};
use hyper::header::{ALLOW, HeaderValue};
use hyper::{Method, Request, Response, StatusCode};
use record::{Act, ActError, Backup, SignalTest};
use serde::Serialize;
use serde::de::DeserializeOwned;
use std::sync::{Arc, LazyLock};
use tokio::sync::{Semaphore, oneshot};

/// Every place.
static PLACES: LazyLock<Vec<Found>> = LazyLock::new(places::all);
/// The description of every place.
static DESCRIPTION: LazyLock<Bytes> = LazyLock::new(|| describe::document(&PLACES).into());

/// What the answers of one listener are built from.
pub(super) struct Service {
    pub questions: Questions,
    /// This listener's share of the queue of looks.
    pub looks: Arc<Semaphore>,
    pub live: Arc<Live>,
    pub wires: Arc<Wires>,
}

/// A request that is refused, and why.
type Refused = (StatusCode, String);

impl Service {
    /// Answers one request.
    pub async fn answer(
        &self,
        request: Request<Incoming>,
        caller: &Caller,
        seat: &Arc<Seat>,
    ) -> Response<Body> {
        if let Err((status, why)) = caller.is_meant(&request) {
            return refusal(status, why);
        }
        let path = request.uri().path();
        let here = || PLACES.iter().filter(|p| p.path == path);
        let Some(first) = here().next() else {
            return refusal(StatusCode::NOT_FOUND, "there is nothing at this path");
        };
        let Some(place) = here().find(|p| p.method == *request.method()) else {
            let mut r = refusal(StatusCode::METHOD_NOT_ALLOWED, &format!("only {} here", first.method));
            let allowed = match (here().count(), &first.method) {
                (2.., _) => "GET, POST",
                (_, &Method::GET) => "GET",
                _ => "POST",
            };
            r.headers_mut().insert(ALLOW, HeaderValue::from_static(allowed));
            return r;
        };
        if let Err(refused) = caller.pass(place.wants, request.headers()).await {
            return refused;
        }
        let answer = self.of(place.kind, request, seat).await;
        if place.wants == Wants::Writes {
            self.live.changed();
        }
        answer.unwrap_or_else(|(status, why)| {
            // The request was good, but the file is not.
            let bad_file = place.kind == Kind::Reload && status == StatusCode::BAD_REQUEST;
            refusal(if bad_file { StatusCode::CONFLICT } else { status }, &why)
        })
    }

    async fn of(
        &self,
        kind: Kind,
        request: Request<Incoming>,
        seat: &Arc<Seat>,
    ) -> Result<Response<Body>, Refused> {
        Ok(match kind {
            Kind::Page => page::answer(),
            Kind::Manifest => page::manifest(),
            Kind::Icon => page::icon(),
            Kind::Description => {
                typed(StatusCode::OK, "application/json", Body::Whole(Some(DESCRIPTION.clone())))
            }
            Kind::Events => self.live.stream(seat),
            Kind::Lines => self.wires.stream(request.uri().query(), seat),
            Kind::Metrics => {
                let status = self.ask(seat, Ask::Status).await?;
                let text = Bytes::from(metrics::text(&status));
                typed(StatusCode::OK, metrics::TYPE, Body::Whole(Some(text)))
            }
            Kind::Status => good(&self.ask(seat, Ask::Status).await?),
            Kind::Handover => good(&self.ask(seat, |reply| Ask::Handover(None, reply)).await?),
            Kind::Act => match body(request).await? {
                Act::Handover { who } => {
                    good(&self.ask(seat, |reply| Ask::Handover(Some(who), reply)).await?)
                }
                act => good(&self.ask(seat, |reply| Ask::Act(act, reply)).await?),
            },
            Kind::Casualty => {
                let question = body(request).await?;
                good(&self.ask(seat, |reply| Ask::Casualty(question, reply)).await?)
            }
            Kind::Backup => {
                let Backup { to } = body(request).await?;
                if !to.is_absolute() {
                    return Err((StatusCode::BAD_REQUEST, "a copy's path begins at the root".to_owned()));
                }
                good(&self.ask(seat, |reply| Ask::Backup(to, reply)).await?)
            }
            Kind::Reload => good(&self.ask(seat, Ask::Reload).await?),
            Kind::Test => {
                let test: Option<SignalTest> = body_or_none(request).await?;
                good(&self.ask(seat, |reply| Ask::Test(test.and_then(|t| t.signal), reply)).await?)
            }
            Kind::Departure => good(&self.ask(seat, Ask::Departure).await?),
            Kind::DepartureAct => {
                let act = body(request).await?;
                good(&self.ask(seat, |reply| Ask::DepartureAct(act, reply)).await?)
            }
        })
    }

    async fn ask<A>(&self, seat: &Seat, ask: impl FnOnce(Reply<A>) -> Ask) -> Result<A, Refused> {
        let busy = |why: &str| (StatusCode::SERVICE_UNAVAILABLE, why.to_owned());
        let (reply, answered) = oneshot::channel();
        let ask = ask(reply);
        let share = ask.is_awaited().map(|_| self.looks.clone().try_acquire_owned()).transpose();
        let share = share.map_err(|_| busy("too many look at once; try again"))?;
        seat.asks();
        if !self.questions.put(ask, share) {
            return Err(busy("too many requests at once; try again"));
        }
        match tokio::time::timeout(PATIENCE, answered).await {
            Ok(Ok(Ok(answer))) => Ok(answer),
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

fn good(answer: &impl Serialize) -> Response<Body> {
    json(StatusCode::OK, answer)
}

/// Parses a request's body.
async fn body<T: DeserializeOwned>(request: Request<Incoming>) -> Result<T, Refused> {
    let nothing = (StatusCode::BAD_REQUEST, "the body is not what is asked here: it is empty".to_owned());
    body_or_none(request).await?.ok_or(nothing)
}

/// Parses a request's body, which may be empty.
async fn body_or_none<T: DeserializeOwned>(request: Request<Incoming>) -> Result<Option<T>, Refused> {
    let bad = |why: String| (StatusCode::BAD_REQUEST, why);
    let whole = Limited::new(request.into_body(), BODY).collect();
    match tokio::time::timeout(PATIENCE, whole).await {
        Ok(Ok(b)) => {
            let bytes = b.to_bytes();
            if bytes.is_empty() {
                return Ok(None);
            }
            record::from_json(&bytes)
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
