//! The web: thin. A handler parses, calls one act or one read, and renders. One file a page, its template struct beside it.

pub mod assets;
pub mod draw;
mod error;
mod form;
mod front;
mod live;
pub mod page;
mod session;
mod telling;
mod units;
mod wire;

mod driver;
mod gate;
mod organizer;
mod worksheets;

use crate::acts::House;
use axum::Router;
use axum::extract::DefaultBodyLimit;
use axum::http::{HeaderName, HeaderValue, StatusCode, header};
use axum::middleware::{self, Next};
use axum::response::Response;
use std::sync::Arc;
use std::time::Duration;
use tokio_util::sync::CancellationToken;
use tower_http::catch_panic::CatchPanicLayer;
use tower_http::compression::CompressionLayer;
use tower_http::compression::predicate::{NotForContentType, Predicate, SizeAbove};
use tower_http::csrf::CsrfLayer;
use tower_http::timeout::TimeoutLayer;

/// The largest form, in bytes: a full sheet with a note at every item.
const LARGEST_FORM: usize = 512 * 1024;

/// How long a request may take; an event stream is not bound by it once it has begun.
const LONGEST: Duration = Duration::from_secs(30);

/// No inline anything: the policy is one constant.
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; font-src 'self'; \
    connect-src 'self'; worker-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'";

/// What every handler may reach.
#[derive(Clone)]
pub struct Web {
    pub house: Arc<House>,
    /// Where the program is reached from outside, without a slash at the end: links are made of it.
    pub base: Arc<str>,
    /// Ends the event streams, or a graceful shutdown would wait for them for ever.
    pub closing: CancellationToken,
}

impl Web {
    /// Whether browsers come by https, so that cookies may insist on it.
    pub(crate) fn is_https(&self) -> bool {
        self.base.starts_with("https://")
    }

    /// A private link, whole.
    pub fn link(&self, secret: &str) -> String {
        format!("{}/in/{secret}", self.base)
    }
}

/// Every route of the program with its layers.
pub fn router(web: Web) -> Router {
    let pages = Router::new()
        .merge(front::routes())
        .nest("/my", driver::routes())
        .nest("/gate", gate::routes())
        .nest("/club", organizer::routes())
        .nest("/worksheets", worksheets::routes())
        .fallback(error::no_such_page)
        .with_state(web);
    // Event streams must not be packed: a packer holds back what should be told at once.
    let packed = SizeAbove::new(700).and(NotForContentType::SSE).and(NotForContentType::IMAGES);
    let pages = pages
        .layer(DefaultBodyLimit::max(LARGEST_FORM))
        .layer(TimeoutLayer::with_status_code(StatusCode::SERVICE_UNAVAILABLE, LONGEST))
        .layer(CompressionLayer::new().gzip(true).compress_when(packed));
    // Split here: one long stack of middleware types makes the compiler slow.
    Router::new()
        .merge(pages)
        .merge(assets::routes())
        .layer(CsrfLayer::new())
        .layer(middleware::from_fn(headers))
        .layer(CatchPanicLayer::custom(error::panicked))
}

async fn headers(request: axum::extract::Request, next: Next) -> Response {
    let mut response = next.run(request).await;
    let set: [(HeaderName, &'static str); 5] = [
        (header::CONTENT_SECURITY_POLICY, POLICY),
        (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (header::REFERRER_POLICY, "same-origin"),
        (HeaderName::from_static("permissions-policy"), "camera=(self), geolocation=(), microphone=()"),
        (header::X_FRAME_OPTIONS, "DENY"),
    ];
    for (name, value) in set {
        response.headers_mut().insert(name, HeaderValue::from_static(value));
    }
    // Pages are private to who sees them; assets and kept boards have said their own word already.
    response.headers_mut().entry(header::CACHE_CONTROL).or_insert(HeaderValue::from_static("no-store"));
    response
}
