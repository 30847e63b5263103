//! What happened to a car meanwhile, in sentences with the event's times.

use crate::acts::meanwhile::{Meanwhile, What};
use crate::web::error::Fault;
use crate::web::page::{Clock, count};
use axum::http::StatusCode;

/// "Held 10:42 by S. Vane: oil on the sill."; the newest first. Where nothing is known, that something happened.
pub(super) fn told(happened: &[Meanwhile], clock: &Clock) -> String {
    if happened.is_empty() {
        return "Something happened to this car since you opened it.".into();
    }
    happened.iter().map(|one| sentence(one, clock)).collect::<Vec<_>>().join(" ")
}

fn sentence(one: &Meanwhile, clock: &Clock) -> String {
    let at = clock.at(&one.at);
    match &one.what {
        What::Held { reason } => with_reason(format!("Held {at} by {}", one.by), reason),
        What::Cleared { reason } => with_reason(format!("Cleared {at} by {}", one.by), reason),
        What::TakenBack { reason } => with_reason(format!("Clearance taken back {at} by {}", one.by), reason),
        What::Sheet { changed: None } => format!("A sheet came {at}."),
        What::Sheet { changed: Some(0) } => format!("A new sheet came {at}: no answer changed."),
        What::Sheet { changed: Some(many) } => {
            format!("A new sheet came {at}: {} changed.", count(*many, "answer", "answers"))
        }
        What::Raised { to: Some(edition) } => format!("The sheet was raised to edition {edition}, {at}."),
        What::Raised { to: None } => format!("The sheet was raised, {at}."),
    }
}

fn with_reason(words: String, reason: &str) -> String {
    let reason = reason.trim();
    let end = if reason.ends_with(['.', '!', '?']) { "" } else { "." };
    if reason.is_empty() { format!("{words}.") } else { format!("{words}: {reason}{end}") }
}

/// The answer to a script.
pub(super) fn fault(happened: &[Meanwhile], clock: &Clock) -> Fault {
    Fault::new(StatusCode::CONFLICT, "This page is old", told(happened, clock))
}
