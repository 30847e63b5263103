//! The live page: a stream that says only that something changed. The page then fetches what it may see.

use super::Web;
use crate::store::Touch;
use axum::response::sse::{Event, KeepAlive, Sse};
use std::convert::Infallible;
use std::time::Duration;
use tokio_stream::wrappers::BroadcastStream;
use tokio_stream::wrappers::errors::BroadcastStreamRecvError;
use tokio_stream::{Stream, StreamExt};
use uuid::Uuid;

/// A stream of "changed" with the entry that changed, or with nothing where the whole event did.
///
/// `only` keeps it to one entry: a driver hears of their own car and of no other.
pub(super) fn changes(web: &Web, event: Uuid, only: Option<Uuid>) -> Sse<impl Stream<Item = Result<Event, Infallible>> + use<>> {
    let mine = move |touch: Result<Touch, BroadcastStreamRecvError>| match touch {
        Ok(Touch::Entry { event: of, entry }) if of == event && only.is_none_or(|only| only == entry) => Some(entry.to_string()),
        Ok(Touch::Event(of)) if of == event => Some(String::new()),
        // Too slow to hear all: something changed, no telling what.
        Err(BroadcastStreamRecvError::Lagged(_)) => Some(String::new()),
        Ok(_) => None,
    };
    let told =
        BroadcastStream::new(web.house.watch()).filter_map(mine).map(|entry| Ok(Event::default().event("changed").data(entry)));
    let first = tokio_stream::once(Ok(Event::default().event("open").data("").retry(Duration::from_secs(3))));
    // Without this a graceful shutdown would wait for every open page.
    let closing = web.closing.clone().cancelled_owned();
    let stream = futures_util::StreamExt::take_until(first.chain(told), closing);
    Sse::new(stream).keep_alive(KeepAlive::new().interval(Duration::from_secs(20)))
}
