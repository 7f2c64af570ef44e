//! The watch card: a single self-contained page, so that it works with no network but the boat's.

use super::body::{Body, typed};
use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use hyper::body::Bytes;
use hyper::header::{CONTENT_SECURITY_POLICY, HeaderName, HeaderValue, REFERRER_POLICY, X_FRAME_OPTIONS};
use hyper::{Response, StatusCode};
use sha2::{Digest, Sha256};
use std::sync::LazyLock;

const FRAME: &str = include_str!("page/card.html");
const STYLE: &str = include_str!("page/card.css");
const SCRIPT: &str = concat!(
    include_str!("page/words.js"),
    include_str!("page/plan.js"),
    include_str!("page/sound.js"),
    include_str!("page/card.js"),
    include_str!("page/link.js")
);
/// What a phone needs to put the page on its home screen (W3C Web Application Manifest).
const MANIFEST: &str = include_str!("page/card.webmanifest");
const ICON: &str = include_str!("page/icon.svg");

/// The page, with a policy that allows only the page's own scripts and styles.
static PAGE: LazyLock<(Bytes, HeaderValue)> = LazyLock::new(|| {
    let page = FRAME.replace("/*style*/", STYLE).replace("/*script*/", SCRIPT);
    let hash = |text: &str| STANDARD.encode(Sha256::digest(text));
    let policy = format!(
        "default-src 'none'; style-src 'sha256-{}'; script-src 'sha256-{}'; connect-src 'self'; img-src 'self'; \
         manifest-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'",
        hash(STYLE),
        hash(SCRIPT)
    );
    // The policy holds only characters that a header accepts; if not, fall back to one that allows nothing.
    let policy = HeaderValue::try_from(policy);
    (Bytes::from(page), policy.unwrap_or(HeaderValue::from_static("default-src 'none'")))
});

/// The manifest that makes the page installable.
pub(super) fn manifest() -> Response<Body> {
    typed(
        StatusCode::OK,
        "application/manifest+json",
        Body::Whole(Some(Bytes::from_static(MANIFEST.as_bytes()))),
    )
}

/// The page's icon.
pub(super) fn icon() -> Response<Body> {
    typed(StatusCode::OK, "image/svg+xml", Body::Whole(Some(Bytes::from_static(ICON.as_bytes()))))
}

/// The page.
pub(super) fn answer() -> Response<Body> {
    let (page, policy) = &*PAGE;
    let mut r = typed(StatusCode::OK, "text/html; charset=utf-8", Body::Whole(Some(page.clone())));
    let headers = r.headers_mut();
    headers.insert(CONTENT_SECURITY_POLICY, policy.clone());
    headers.insert(X_FRAME_OPTIONS, HeaderValue::from_static("DENY"));
    headers.insert(REFERRER_POLICY, HeaderValue::from_static("no-referrer"));
    headers.insert(
        HeaderName::from_static("cross-origin-opener-policy"),
        HeaderValue::from_static("same-origin"),
    );
    r
}
