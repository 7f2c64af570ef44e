//! Answer bodies, whole or streamed.

use hyper::body::{Body as HttpBody, Bytes, Frame, SizeHint};
use hyper::header::{CACHE_CONTROL, CONTENT_TYPE, HeaderValue, X_CONTENT_TYPE_OPTIONS};
use hyper::{Response, StatusCode};
use record::Refusal;
use serde::Serialize;
use std::convert::Infallible;
use std::pin::Pin;
use std::task::{Context, Poll};
use terms::legible;
use tokio::sync::mpsc;

/// The body of an answer.
pub(super) enum Body {
    /// All of it.
    Whole(Option<Bytes>),
    /// Piece by piece, until the sender is dropped.
    Stream(mpsc::Receiver<Bytes>),
}

impl HttpBody for Body {
    type Data = Bytes;
    type Error = Infallible;

    fn poll_frame(
        self: Pin<&mut Self>,
        cx: &mut Context<'_>,
    ) -> Poll<Option<Result<Frame<Bytes>, Infallible>>> {
        match self.get_mut() {
            Self::Whole(bytes) => Poll::Ready(bytes.take().map(|b| Ok(Frame::data(b)))),
            Self::Stream(pieces) => pieces.poll_recv(cx).map(|p| p.map(|b| Ok(Frame::data(b)))),
        }
    }

    fn size_hint(&self) -> SizeHint {
        match self {
            Self::Whole(bytes) => SizeHint::with_exact(bytes.as_ref().map_or(0, |b| b.len() as u64)),
            Self::Stream(_) => SizeHint::default(),
        }
    }

    fn is_end_stream(&self) -> bool {
        matches!(self, Self::Whole(None))
    }
}

/// An answer of a content type. It must not be cached: it is out of date within a second.
pub(super) fn typed(status: StatusCode, kind: &'static str, body: Body) -> Response<Body> {
    let mut r = Response::new(body);
    *r.status_mut() = status;
    let headers = r.headers_mut();
    headers.insert(CONTENT_TYPE, HeaderValue::from_static(kind));
    headers.insert(CACHE_CONTROL, HeaderValue::from_static("no-store"));
    headers.insert(X_CONTENT_TYPE_OPTIONS, HeaderValue::from_static("nosniff"));
    r
}

/// An answer in JSON.
pub(super) fn json(status: StatusCode, answer: &impl Serialize) -> Response<Body> {
    // Records hold only numbers and text, which always serialize to JSON.
    let mut text = serde_json::to_vec(answer).unwrap_or_default();
    text.push(b'\n');
    typed(status, "application/json", Body::Whole(Some(Bytes::from(text))))
}

/// A refusal, with its reason.
pub(super) fn refusal(status: StatusCode, why: &str) -> Response<Body> {
    json(status, &Refusal { error: legible(why) })
}
