//! Every refusal becomes a status, a title and words here, in one match. A cause is logged once, here.

use super::page::{capital, render};
use crate::acts::Refusal;
use crate::rules::answer::Trouble;
use askama::Template;
use axum::extract::Request;
use axum::extract::multipart::MultipartError;
use axum::extract::rejection::BytesRejection;
use axum::http::{HeaderMap, StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use std::any::Any;

/// In how many seconds to ask a busy server again.
const BUSY_S: u64 = 10;

/// What went wrong, for a person.
#[derive(Debug)]
pub struct Fault {
    pub status: StatusCode,
    title: String,
    /// What to do next.
    words: String,
    troubles: Vec<Trouble>,
    /// In how many seconds to try again.
    wait_s: Option<u64>,
}

#[derive(Template)]
#[template(path = "front/fault.html")]
struct FaultPage<'a> {
    title: &'a str,
    words: &'a str,
    troubles: &'a [Trouble],
    /// Whether the reader is not let in: organizers are shown the way to their door, and what waits on an inspector's ended
    /// device is sent.
    signs_in: bool,
}

impl Fault {
    pub(super) fn new(status: StatusCode, title: impl Into<String>, words: impl Into<String>) -> Fault {
        Fault { status, title: title.into(), words: words.into(), troubles: Vec::new(), wait_s: None }
    }

    pub(super) fn unsupported(words: &str) -> Fault {
        Fault::new(StatusCode::UNSUPPORTED_MEDIA_TYPE, "This was not sent as a form", words)
    }

    pub(super) fn body(rejection: BytesRejection) -> Fault {
        let status = rejection.into_response().status();
        if status == StatusCode::PAYLOAD_TOO_LARGE {
            return Fault::new(status, "This is too large", "Send less at once. Nothing was changed.");
        }
        Fault::new(StatusCode::BAD_REQUEST, "This did not arrive whole", "Send it again. Nothing was changed.")
    }

    /// Too often; `seconds` until it may be tried again.
    pub(super) fn too_often(words: &str, seconds: u64) -> Fault {
        let wait = if seconds < 90 { format!("{seconds} s") } else { format!("{} min", seconds.div_ceil(60)) };
        let fault = Fault::new(
            StatusCode::TOO_MANY_REQUESTS,
            "Slower, please",
            format!("{words} Try again in {wait}. Nothing was changed."),
        );
        Fault { wait_s: Some(seconds), ..fault }
    }

    /// The same for a script of ours: sentences that it can show.
    fn said(&self) -> Said {
        let troubles = self.troubles.iter().map(|trouble| trouble.message.as_str());
        let error = std::iter::once(self.words.as_str()).chain(troubles).collect::<Vec<_>>().join(" ");
        Said { title: self.title.clone(), error }
    }

    fn internal(cause: &dyn std::fmt::Display) -> Fault {
        tracing::error!(%cause, "a request failed");
        let words = "Nothing that was said to be saved is lost. Try again in a moment; if it stays, tell the organizer.";
        Fault::new(StatusCode::INTERNAL_SERVER_ERROR, "Something broke here, not at your end", words)
    }
}

/// What a fault says, carried along with its page for [`as_asked`].
#[derive(Clone, serde::Serialize)]
struct Said {
    title: String,
    error: String,
}

/// Whether a request asks for JSON before all else, as our scripts do.
pub(super) fn asks_for_json(headers: &HeaderMap) -> bool {
    let accept = headers.get(header::ACCEPT).and_then(|value| value.to_str().ok()).unwrap_or_default();
    let first = accept.split([',', ';']).next().unwrap_or_default();
    first.trim().eq_ignore_ascii_case("application/json")
}

/// The outermost layer: where JSON was asked for, every fault is answered in JSON, whoever made its page.
pub(super) async fn as_asked(request: Request, next: Next) -> Response {
    let asked = asks_for_json(request.headers());
    let response = next.run(request).await;
    let status = response.status();
    let is_fault = status.is_client_error() || status.is_server_error();
    let kind = response.headers().get(header::CONTENT_TYPE).and_then(|value| value.to_str().ok()).unwrap_or_default();
    if !asked || !is_fault || kind.starts_with("application/json") {
        return response;
    }
    let (mut parts, _) = response.into_parts();
    let said = parts.extensions.remove::<Said>().unwrap_or_else(|| Said {
        title: status.canonical_reason().unwrap_or("This was refused").to_owned(),
        error: "This cannot be answered here as it was asked. Nothing was changed.".to_owned(),
    });
    // They were the page's, packed perhaps.
    for name in [header::CONTENT_TYPE, header::CONTENT_LENGTH, header::CONTENT_ENCODING, header::TRANSFER_ENCODING] {
        parts.headers.remove(name);
    }
    let mut answer = (status, axum::Json(said)).into_response();
    answer.headers_mut().extend(parts.headers);
    answer
}

impl From<Refusal> for Fault {
    fn from(refusal: Refusal) -> Fault {
        let said = refusal.to_string();
        let (status, title, words) = match refusal {
            Refusal::NotHere => (
                StatusCode::NOT_FOUND,
                "There is nothing here for you",
                "The address is wrong, or it is somebody else's. Open your private link again.",
            ),
            Refusal::DeviceEnded => (
                StatusCode::FORBIDDEN,
                "This device was ended",
                "A clear that was signed on it does not count: the car is looked at again. A hold counts all the same.",
            ),
            Refusal::WhoAreYou => (
                StatusCode::UNAUTHORIZED,
                "Who are you?",
                "Open the private link that the club sent you. If it no longer works, ask the organizer for a new one.",
            ),
            Refusal::ProofWanted => (
                StatusCode::FORBIDDEN,
                "Say who you are",
                "This changes who runs the club, and being signed in is not enough for it: say your passphrase, or use a passkey. \
                 Nothing was changed.",
            ),
            Refusal::PasskeyFirst => (
                StatusCode::FORBIDDEN,
                "Add a passkey first",
                "The club asks its organizers for a passkey beside the passphrase, and you have none yet. Add one on your own page \
                 (You); then come back. Nothing was changed.",
            ),
            Refusal::Spent => (
                StatusCode::CONFLICT,
                "This link is used up",
                "It has let a device in already, and it does so once. If that was not you, tell the organizer now: they can end \
                 that device and give you a new link.",
            ),
            Refusal::Fields(troubles) => {
                let fault = Fault::new(
                    StatusCode::UNPROCESSABLE_ENTITY,
                    "Some of this cannot be used as it is",
                    "Nothing was changed. Go back: what you typed is still there.",
                );
                return Fault { troubles, ..fault };
            }
            Refusal::Answers(items) => {
                let troubles = items
                    .into_iter()
                    .flat_map(|(item, troubles)| {
                        troubles.into_iter().map(move |trouble| Trouble {
                            field: format!("{item} {}", trouble.field).trim().to_owned(),
                            ..trouble
                        })
                    })
                    .collect();
                let fault = Fault::new(
                    StatusCode::UNPROCESSABLE_ENTITY,
                    "Some answers cannot be used as they are",
                    "Nothing was sent. Every answer is kept.",
                );
                return Fault { troubles, ..fault };
            }
            Refusal::NotComplete(items) => {
                let troubles = items.into_iter().map(|field| Trouble { field, message: "Not answered yet.".into() }).collect();
                let fault = Fault::new(
                    StatusCode::UNPROCESSABLE_ENTITY,
                    "The sheet is not whole yet",
                    "Nothing was sent. Every answer is kept.",
                );
                return Fault { troubles, ..fault };
            }
            Refusal::EditionRaised { changed, .. } => {
                let words = format!("{}. Nothing was sent and every answer is kept. Open your sheet again.", capital(&said));
                let troubles =
                    changed.into_iter().map(|field| Trouble { field, message: "New, or asked otherwise.".into() }).collect();
                return Fault { troubles, ..Fault::new(StatusCode::CONFLICT, "The sheet was changed", words) };
            }
            Refusal::Stale | Refusal::WentOn(_) => (
                StatusCode::CONFLICT,
                "This page is old",
                "Something happened to this car since you opened it. Open it again and look; nothing was recorded.",
            ),
            // A status of its own: a script keeps such a thing for its maker.
            Refusal::NotTheMaker => (
                StatusCode::PRECONDITION_FAILED,
                "This page is somebody else's",
                "Another person has signed in on this device since it was opened, and a sign-off stands under one name. Nothing was \
                 recorded. Open the car again, look, and sign under your own name.",
            ),
            Refusal::NotNow(_) => return Fault::new(StatusCode::CONFLICT, "This cannot be done as things stand", said),
            Refusal::IdTaken => (
                StatusCode::CONFLICT,
                "This page was sent before",
                "What was sent then is kept. Open the page again and send from there.",
            ),
            Refusal::MadeBefore => (
                StatusCode::CONFLICT,
                "A link was made just now by this form",
                "It is good, and no other was made. Open the page again to make another; that ends this one.",
            ),
            Refusal::TooMuch(_) => return Fault::new(StatusCode::PAYLOAD_TOO_LARGE, "This is too much", said),
            Refusal::Busy(words) => return Fault::too_often(&words, BUSY_S),
            Refusal::Store(cause) => return Fault::internal(&cause),
        };
        Fault::new(status, title, words)
    }
}

/// A form with files that did not arrive: too large, or broken on the way.
impl From<MultipartError> for Fault {
    fn from(error: MultipartError) -> Fault {
        if error.status() == StatusCode::PAYLOAD_TOO_LARGE {
            return Fault::new(error.status(), "This is too large", "Send a smaller file. Nothing was changed.");
        }
        Fault::new(StatusCode::BAD_REQUEST, "This did not arrive whole", "Send it again. Nothing was changed.")
    }
}

impl From<crate::store::StoreError> for Fault {
    fn from(error: crate::store::StoreError) -> Fault {
        Fault::from(Refusal::Store(error))
    }
}

impl From<askama::Error> for Fault {
    fn from(error: askama::Error) -> Fault {
        Fault::internal(&error)
    }
}

impl IntoResponse for Fault {
    fn into_response(self) -> Response {
        let page = FaultPage {
            title: &self.title,
            words: &self.words,
            troubles: &self.troubles,
            signs_in: self.status == StatusCode::UNAUTHORIZED,
        };
        let mut response = match render(&page) {
            Ok(html) => (self.status, html).into_response(),
            Err(_) => {
                (self.status, [(header::CONTENT_TYPE, "text/plain; charset=utf-8")], format!("{}\n{}\n", self.title, self.words))
                    .into_response()
            }
        };
        response.extensions_mut().insert(self.said());
        if let Some(seconds) = self.wait_s {
            response.headers_mut().insert(header::RETRY_AFTER, seconds.into());
        }
        response
    }
}

pub(super) async fn no_such_page() -> Fault {
    Fault::from(Refusal::NotHere)
}

/// What another site made the browser send.
pub(super) fn from_elsewhere() -> Response {
    let words = "Your browser sent this on behalf of another site, so nothing was done. Open your private link again and send it \
        from there. If it happens on the club's own pages, the server is reached under another address than it was told: the \
        organizer can set that.";
    Fault::new(StatusCode::FORBIDDEN, "This did not come from here", words).into_response()
}

/// A handler that panicked: the person is told, the log has the cause, the server goes on.
pub(super) fn panicked(cause: Box<dyn Any + Send + 'static>) -> Response {
    let words = cause.downcast_ref::<String>().cloned().or_else(|| cause.downcast_ref::<&str>().map(|text| (*text).to_owned()));
    Fault::internal(&words.unwrap_or_else(|| "a panic without words".into())).into_response()
}

#[cfg(test)]
mod tests {
    use super::*;
    use axum::Router;
    use tokio::io::{AsyncReadExt, AsyncWriteExt};
    use tower_http::catch_panic::CatchPanicLayer;

    async fn breaks() -> StatusCode {
        panic!("a fault of the program")
    }

    /// The answer to a request, head and body, over a wire of its own.
    async fn answer(accept: &str) -> String {
        let pages =
            Router::new().fallback(breaks).layer(CatchPanicLayer::custom(panicked)).layer(axum::middleware::from_fn(as_asked));
        let listener = tokio::net::TcpListener::bind(("127.0.0.1", 0)).await.expect("a port");
        let address = listener.local_addr().expect("an address");
        tokio::spawn(async move { axum::serve(listener, pages).await });
        let mut wire = tokio::net::TcpStream::connect(address).await.expect("the server");
        let asked = format!("GET / HTTP/1.1\r\nhost: club\r\naccept: {accept}\r\nconnection: close\r\n\r\n");
        wire.write_all(asked.as_bytes()).await.expect("sent");
        let mut text = String::new();
        wire.read_to_string(&mut text).await.expect("an answer");
        text
    }

    #[tokio::test]
    async fn a_panic_is_told_as_it_was_asked_and_never_what_broke() {
        let json = answer("application/json").await;
        assert!(json.starts_with("HTTP/1.1 500"), "{json}");
        assert!(json.contains("content-type: application/json") && json.contains("\"title\":\"Something broke here"), "{json}");
        let page = answer("text/html,application/xhtml+xml,application/json;q=0.8").await;
        assert!(page.starts_with("HTTP/1.1 500") && page.contains("<h1>"), "{page}");
        assert!(!json.contains("a fault of the program") && !page.contains("a fault of the program"));
    }
}
