//! The inspector's pages, under `/gate/{event}`: who waits, and one car at a time.

mod car;
mod lane;

use super::Web;
use super::error::Fault;
use super::form::At;
use super::session::Who;
use crate::acts::house::KnownEvent;
use crate::acts::rights::{Actor, Deed, Whose, require};
use axum::Router;
use axum::extract::State;
use axum::response::IntoResponse;
use axum::routing::{get, post};
use uuid::Uuid;

pub(super) fn routes() -> Router<Web> {
    Router::new()
        .route("/{event}", get(lane::lane))
        .route("/{event}/live", get(live))
        .route("/{event}/units", get(super::units::show).post(super::units::choose))
        .route("/{event}/entries/{entry}", get(car::show))
        .route("/{event}/entries/{entry}/sign-offs", post(car::sign_off))
        .route("/{event}/entries/{entry}/photos/{photo}", get(car::photo))
}

/// The event, for an inspector of it.
async fn at_the_gate(web: &Web, actor: &Actor, event: Uuid) -> Result<KnownEvent, Fault> {
    require(actor, Deed::WorkTheGate, Whose::Event(event))?;
    Ok(web.house.event(event).await?)
}

async fn live(State(web): State<Web>, Who(actor): Who, At(event): At<Uuid>) -> Result<impl IntoResponse, Fault> {
    at_the_gate(&web, &actor, event).await?;
    Ok(super::live::changes(&web, &actor, event, None))
}
