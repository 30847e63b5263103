//! The web: thin. A handler parses, calls one act or one read, and renders. One file a page, its template struct beside it.

mod address;
mod answer_words;
pub mod assets;
mod chart;
mod code;
pub mod doors;
pub mod draw;
mod error;
mod form;
mod front;
mod limits;
mod live;
pub mod page;
pub(crate) mod pass;
mod pen;
mod proof;
mod session;
mod sign_in;
mod telling;
mod units;
mod upload;
mod wire;

mod driver;
mod garage;
mod gate;
mod grid;
mod keep;
mod organizer;
mod worksheets;

use crate::acts::House;
use crate::acts::passkey::Passkeys;
use crate::acts::personal::Term;
use axum::Router;
use axum::extract::{DefaultBodyLimit, MatchedPath};
use axum::http::{HeaderName, HeaderValue, Method, StatusCode, header};
use axum::middleware::{self, Next};
use axum::response::{IntoResponse, Response};
use doors::{Door, Doors, Guard};
use ipnet::IpNet;
use limits::Limits;
pub(crate) use limits::counted;
use std::sync::Arc;
use std::time::Duration;
use tokio_util::sync::CancellationToken;
use tower_http::catch_panic::CatchPanicLayer;
use tower_http::compression::CompressionLayer;
use tower_http::compression::predicate::{NotForContentType, Predicate, SizeAbove};
use tower_http::csrf::CsrfLayer;
use upload::Uploads;
use url::Url;

/// The largest form, in bytes: a full sheet with a note at every item.
const LARGEST_FORM: usize = 512 * 1024;

/// How long a request may take; an event stream is not bound by it once it has begun, and a photo may be long on its way.
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
    /// `None` where browsers have no passkeys.
    pub(crate) passkeys: Option<Arc<Passkeys>>,
    pub(crate) limits: Arc<Limits>,
    streams: Arc<live::Streams>,
    uploads: Arc<Uploads>,
    /// How long nothing may come of a file on its way before it is given up.
    patience: Duration,
    /// The proxies whose word on who asks is taken.
    proxies: Arc<[IpNet]>,
    /// How long drivers' names are kept.
    pub(crate) term: Term,
    /// How long browsers insist on https after an answer over it.
    hsts: &'static str,
}

/// Thirty days: long enough between two visits, short enough for a club that moves its server.
const THIRTY_DAYS: &str = "max-age=2592000";
/// A year: on the club's own word, for browsers refuse plain http for as long, whatever becomes of the certificate.
const A_YEAR: &str = "max-age=31536000";

impl Web {
    /// The web of a house that browsers reach at `base`: `https://tech.example.org`.
    pub fn new(house: Arc<House>, base: &str) -> Web {
        let base = base.trim_end_matches('/');
        Web {
            house,
            base: base.into(),
            closing: CancellationToken::new(),
            passkeys: Passkeys::at(base).map(Arc::new),
            limits: Arc::default(),
            streams: Arc::default(),
            uploads: Arc::default(),
            patience: upload::PATIENCE,
            proxies: [].into(),
            term: Term::default(),
            hsts: THIRTY_DAYS,
        }
    }

    /// Behind these proxies: what they say of who asks is believed, and of nobody else.
    pub fn behind(self, proxies: &[IpNet]) -> Web {
        Web { proxies: proxies.into(), ..self }
    }

    /// Drivers' names are kept for this term, which the page on privacy says.
    pub fn keeping(self, term: Term) -> Web {
        Web { term, ..self }
    }

    /// Browsers insist on https for a year after an answer over it.
    pub fn insisting_on_https(self) -> Web {
        Web { hsts: A_YEAR, ..self }
    }

    /// Files on their way are given up when nothing comes for so long.
    pub fn patient_for(self, patience: Duration) -> Web {
        Web { patience, ..self }
    }

    /// Whether browsers come by https, so that cookies may insist on it.
    pub(crate) fn is_https(&self) -> bool {
        self.base.starts_with("https://")
    }

    /// Whether browsers keep back what needs a secure context: plain http, except on the machine itself.
    pub(crate) fn is_plain(&self) -> bool {
        let host = self.base.strip_prefix("http://").map(|rest| rest.split(['/', ':']).next().unwrap_or_default());
        host.is_some_and(|host| host != "localhost" && host != "127.0.0.1")
    }

    /// A private link, whole.
    pub fn link(&self, secret: &str) -> String {
        format!("{}/in/{secret}", self.base)
    }
}

fn doors() -> Doors {
    front::doors()
        .under("/my", driver::doors().and(garage::doors_of_sheet()))
        .under("/my/garage", garage::doors())
        .under("/calendar", garage::doors_of_calendar())
        .under("/gate", gate::doors())
        .under("/grid", grid::doors())
        .under("/club", organizer::doors())
        .under("/worksheets", worksheets::doors())
}

/// Every door of the program with its deed, for who checks the table of rights from outside.
pub fn all_doors() -> Vec<Door> {
    doors().open().1
}

/// Every route of the program with its layers.
pub fn router(web: Web) -> Router {
    let (router, listed) = doors().open();
    let guard = Arc::new(Guard::new(web.clone(), &listed));
    let hsts = web.is_https().then_some(web.hsts);
    // A proxy may ask us under another name than browsers know: what they call the place is believed too.
    let origin = Url::parse(&web.base).map(|base| base.origin().ascii_serialization()).unwrap_or_default();
    let csrf = CsrfLayer::new().add_trusted_origin(origin).unwrap_or_default();
    let pages = router.fallback(error::no_such_page).layer(middleware::from_fn_with_state(guard, doors::guard)).with_state(web);
    // Event streams must not be packed: a packer holds back what should be told at once.
    let packed = SizeAbove::new(700).and(NotForContentType::SSE).and(NotForContentType::IMAGES);
    let pages = pages
        .layer(DefaultBodyLimit::max(LARGEST_FORM))
        .layer(middleware::from_fn(in_time))
        .layer(CompressionLayer::new().gzip(true).compress_when(packed));
    // Split here: one long stack of middleware types makes the compiler slow.
    Router::new()
        .merge(pages)
        .merge(assets::routes())
        .layer(csrf.with_rejection_response(|_| error::from_elsewhere()))
        .layer(middleware::from_fn(move |request, next| headers(hsts, request, next)))
        .layer(CatchPanicLayer::custom(error::panicked))
        .layer(middleware::from_fn(error::as_asked))
}

/// Whether a page's own address must not be told to the pages and files it leads to. "no-referrer" would tell less still, and then
/// browsers send a form with the origin "null" (WHATWG Fetch, "append a request Origin header"): it would be refused as another
/// site's.
fn has_a_secret(path: &str) -> bool {
    ["/in/", "/P/", "/calendar/"].iter().any(|folder| path.starts_with(folder))
}

/// Ends what takes too long. Where photos are sent, what counts is whether anything still comes: `upload.rs` sees to it.
async fn in_time(request: axum::extract::Request, next: Next) -> Response {
    let path = request.extensions().get::<MatchedPath>().map(MatchedPath::as_str).unwrap_or_default();
    let takes_photos = path.ends_with("/photos") || path.ends_with("/photos-of/{of}");
    if request.method() == Method::POST && takes_photos {
        return next.run(request).await;
    }
    let answer = tokio::time::timeout(LONGEST, next.run(request)).await;
    answer.unwrap_or_else(|_| StatusCode::SERVICE_UNAVAILABLE.into_response())
}

async fn headers(hsts: Option<&'static str>, request: axum::extract::Request, next: Next) -> Response {
    let referrer = if has_a_secret(request.uri().path()) { "strict-origin" } else { "same-origin" };
    let mut response = next.run(request).await;
    let all =
        [(header::X_CONTENT_TYPE_OPTIONS, "nosniff"), (HeaderName::from_static("cross-origin-resource-policy"), "same-origin")];
    // They speak of what a document or a worker may do. A phone on a bad line loads a dozen files that are neither.
    let of_a_document = [
        (header::CONTENT_SECURITY_POLICY, POLICY),
        (header::REFERRER_POLICY, referrer),
        (HeaderName::from_static("permissions-policy"), "camera=(self), geolocation=(), microphone=()"),
        (header::X_FRAME_OPTIONS, "DENY"),
        (HeaderName::from_static("cross-origin-opener-policy"), "same-origin"),
    ];
    let is_part = response.extensions().get::<assets::PartOfAPage>().is_some();
    for (name, value) in all.into_iter().chain(of_a_document.into_iter().filter(|_| !is_part)) {
        response.headers_mut().insert(name, HeaderValue::from_static(value));
    }
    if let Some(hsts) = hsts {
        response.headers_mut().insert(header::STRICT_TRANSPORT_SECURITY, HeaderValue::from_static(hsts));
    }
    // Pages are private to who sees them; assets and kept boards have said their own word already.
    response.headers_mut().entry(header::CACHE_CONTROL).or_insert(HeaderValue::from_static("no-store"));
    response
}
