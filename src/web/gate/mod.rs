//! The inspector's pages, under `/gate/{event}`: who waits, and one car at a time.

mod car;
mod lane;
mod meanwhile;
mod open_items;
mod pages;

use super::Web;
use super::doors::Doors;
use super::error::Fault;
use super::form::At;
use super::session::Who;
use crate::acts::house::KnownEvent;
use crate::acts::rights::{Actor, Deed, Whose, require};
use axum::extract::State;
use axum::response::IntoResponse;
use uuid::Uuid;

/// The largest photo, sent as a form.
const PHOTO: usize = crate::acts::add_photo::LARGEST + 64 * 1024;

pub(super) fn doors() -> Doors {
    Doors::new()
        .get("/{event}", Deed::WorkTheGate, lane::lane)
        .get("/{event}/live", Deed::WorkTheGate, live)
        .get("/{event}/pages.json", Deed::WorkTheGate, pages::pages)
        .get("/{event}/units", Deed::WorkTheGate, super::units::show)
        .post("/{event}/units", Deed::WorkTheGate, super::units::choose)
        .get("/{event}/entries/{entry}", Deed::WorkTheGate, car::show)
        .post_even_ended("/{event}/entries/{entry}/sign-offs", Deed::WorkTheGate, car::sign_off)
        .post_file("/{event}/entries/{entry}/photos", Deed::WorkTheGate, PHOTO, car::add_photo)
        .get("/{event}/entries/{entry}/photos/{photo}", Deed::WorkTheGate, car::photo)
        .post("/{event}/sign-out", Deed::WorkTheGate, super::sign_in::sign_out)
}

/// The event, for an inspector of it.
async fn at_the_gate(web: &Web, actor: &Actor, event: Uuid) -> Result<KnownEvent, Fault> {
    require(actor, Deed::WorkTheGate, Whose::Event(event))?;
    Ok(web.house.event(event).await?)
}

async fn live(State(web): State<Web>, Who(actor): Who, At(event): At<Uuid>) -> Result<impl IntoResponse, Fault> {
    at_the_gate(&web, &actor, event).await?;
    super::live::changes(&web, &actor, event, None)
}
