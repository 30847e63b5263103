//! Every car's page in one answer, for a device that will be without signal. They are the same pages that are opened one by one:
//! there is no second way in which a car could be shown.

use super::at_the_gate;
use super::car::whole_page;
use crate::acts::state::EntryState;
use crate::acts::whole_gate::{Mark, since};
use crate::store::apart;
use crate::web::Web;
use crate::web::assets;
use crate::web::error::Fault;
use crate::web::form::{Asked, At, Chosen, Form};
use crate::web::page::Clock;
use crate::web::session::Who;
use axum::Json;
use axum::extract::State;
use serde::Serialize;
use uuid::Uuid;

#[derive(Serialize)]
pub(super) struct Pages {
    /// Handed back next time: then only what changed since comes.
    mark: String,
    /// Whether these are all cars of the event.
    whole: bool,
    /// How many cars the event has.
    cars: usize,
    /// When this was so, in milliseconds since 1970-01-01 UTC.
    as_of: i64,
    /// The same by the event's own clock, to be shown.
    at: String,
    pages: Vec<CarPage>,
}

#[derive(Serialize)]
struct CarPage {
    path: String,
    html: String,
}

/// A mark as it was handed out; one that cannot be read is none, and everything comes.
fn mark_of(asked: &Form) -> Option<Mark> {
    let parts: Vec<&str> = asked.text("mark").split(' ').collect();
    let [place, hash, edition, entries, named, program] = parts[..] else { return None };
    // Pages of another version of the program name other scripts.
    if program != assets::version() {
        return None;
    }
    let (edition, entries) = (edition.parse().ok()?, entries.parse().ok()?);
    Some(Mark { place: place.parse().ok()?, hash: hash.to_owned(), edition, entries, named: named.to_owned() })
}

pub(super) async fn pages(
    State(web): State<Web>,
    Who(actor): Who,
    At(event): At<Uuid>,
    Chosen(units): Chosen,
    Asked(asked): Asked,
) -> Result<Json<Pages>, Fault> {
    let known = at_the_gate(&web, &actor, event).await?;
    let now = web.house.now();
    let had = mark_of(&asked);
    let gate = since(&web.house, &actor, &known, had, &units).await?;
    let Mark { place, hash, edition, entries: cars, named } = gate.mark;
    let mark = format!("{place} {hash} {edition} {cars} {named} {}", assets::version());
    let at = Clock::of(&known.event).at(&now);
    // A whole gate is a hundred pages: others are answered while they are made.
    let make = move || {
        let page = |state: &EntryState| {
            let path = format!("/gate/{event}/entries/{}", state.id());
            Ok(CarPage { html: whole_page(&web, &actor, &known, state, &units)?, path })
        };
        gate.cars.iter().map(page).collect::<Result<Vec<_>, Fault>>()
    };
    let pages = apart(make).await??;
    Ok(Json(Pages { mark, whole: pages.len() == cars, cars, as_of: now.as_millisecond(), at, pages }))
}
