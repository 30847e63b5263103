//! The live page: a stream that says only that something changed. The page then fetches what it may see.

use super::Web;
use super::error::Fault;
use crate::acts::{Actor, House};
use crate::store::Touch;
use axum::response::sse::{Event, KeepAlive, Sse};
use std::collections::HashMap;
use std::convert::Infallible;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;
use tokio_stream::wrappers::BroadcastStream;
use tokio_stream::wrappers::errors::BroadcastStreamRecvError;
use tokio_stream::{Stream, StreamExt};
use uuid::Uuid;

/// What a touch means to one listener.
enum Heard {
    Changed(String),
    Nothing,
    /// The listener's device is no longer let in: the stream ends.
    Out,
}

/// What is told in place of an entry where the whole event changed. An event without any data is dropped by browsers (WHATWG HTML,
/// "server-sent events", dispatch of an empty data buffer).
const ALL: &str = "all";

/// The most streams of one device. A browser has one for all its tabs, or one for the tab in front.
const MOST_STREAMS: usize = 12;

/// The streams that each device has open.
#[derive(Default)]
pub(super) struct Streams(Mutex<HashMap<Uuid, usize>>);

/// One stream, given back when it is dropped.
struct Listens {
    streams: Arc<Streams>,
    device: Uuid,
}

impl Streams {
    fn with<T>(&self, look: impl FnOnce(&mut HashMap<Uuid, usize>) -> T) -> T {
        look(&mut self.0.lock().unwrap_or_else(PoisonError::into_inner))
    }

    fn begin(self: &Arc<Streams>, device: Uuid) -> Result<Listens, Fault> {
        let has_place = self.with(|open| {
            let here = open.entry(device).or_default();
            let has_place = *here < MOST_STREAMS;
            *here += usize::from(has_place);
            has_place
        });
        let too_many = || Fault::too_often("This device has too many live pages open. Close some.", 30);
        has_place.then(|| Listens { streams: self.clone(), device }).ok_or_else(too_many)
    }
}

impl Drop for Listens {
    fn drop(&mut self) {
        self.streams.with(|open| {
            if let Some(here) = open.get_mut(&self.device) {
                *here -= 1;
                if *here == 0 {
                    open.remove(&self.device);
                }
            }
        });
    }
}

/// A stream of "changed" with the entry that changed, or with "all" where the whole event did.
///
/// `only` keeps it to one entry: a driver hears of their own car and of no other. It ends when the listener's link is taken
/// back and when the server closes.
///
/// # Errors
/// 429 where the device has as many streams as one may have.
pub(super) fn changes(
    web: &Web,
    actor: &Arc<Actor>,
    event: Uuid,
    only: Option<Uuid>,
) -> Result<Sse<impl Stream<Item = Result<Event, Infallible>> + use<>>, Fault> {
    let listens = web.streams.begin(actor.device)?;
    let (house, actor) = (web.house.clone(), actor.clone());
    let heard = BroadcastStream::new(web.house.watch()).then(move |touch| {
        let (house, actor) = (house.clone(), actor.clone());
        async move { hear(&house, &actor, touch, event, only).await }
    });
    let told = heard.take_while(|heard| !matches!(heard, Heard::Out)).filter_map(|heard| match heard {
        Heard::Changed(entry) => Some(Ok(Event::default().event("changed").data(entry))),
        Heard::Nothing | Heard::Out => None,
    });
    let first = tokio_stream::once(Ok(Event::default().event("open").data("").retry(Duration::from_secs(3))));
    // Without this a graceful shutdown would wait for every open page.
    let closing = web.closing.clone().cancelled_owned();
    let stream = futures_util::StreamExt::take_until(first.chain(told), closing);
    let stream = stream.map(move |event| {
        let _open = &listens;
        event
    });
    Ok(Sse::new(stream).keep_alive(KeepAlive::new().interval(Duration::from_secs(20))))
}

async fn hear(
    house: &House,
    actor: &Actor,
    touch: Result<Touch, BroadcastStreamRecvError>,
    event: Uuid,
    only: Option<Uuid>,
) -> Heard {
    match touch {
        Ok(Touch::Entry { event: of, entry }) if of == event && only.is_none_or(|only| only == entry) => {
            Heard::Changed(entry.to_string())
        }
        Ok(Touch::Event(of)) if of == event => Heard::Changed(ALL.to_owned()),
        // Who cannot be asked for is let go too: the page comes back, and is asked who it is.
        Ok(Touch::All) if house.is_let_in(actor).await.unwrap_or(false) => Heard::Changed(ALL.to_owned()),
        Ok(Touch::All) => Heard::Out,
        Ok(Touch::Access) if !house.is_let_in(actor).await.unwrap_or(false) => Heard::Out,
        // Too slow to hear all: something changed, no telling what, and perhaps the listener is out.
        Err(BroadcastStreamRecvError::Lagged(_)) if house.is_let_in(actor).await.unwrap_or(false) => {
            Heard::Changed(ALL.to_owned())
        }
        Err(BroadcastStreamRecvError::Lagged(_)) => Heard::Out,
        Ok(_) => Heard::Nothing,
    }
}
