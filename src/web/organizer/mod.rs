//! The organizer's pages, under `/club`: events, board, roster and links, sheet, cars, the cleared list.

mod board;
mod car;
mod cleared;
mod events;
mod roster;
mod sheet;

use super::Web;
use super::error::Fault;
use super::form::At;
use super::session::Who;
use crate::acts::house::KnownEvent;
use crate::acts::rights::{Actor, Deed, Whose, require};
use axum::Router;
use axum::extract::{DefaultBodyLimit, State};
use axum::response::IntoResponse;
use axum::routing::{get, post};
use std::sync::Arc;
use uuid::Uuid;

pub(super) fn routes() -> Router<Web> {
    let kept = Arc::new(super::wire::KeptPages::default());
    let upload = DefaultBodyLimit::max(crate::rules::sheet_file::LARGEST * 3 + 64 * 1024);
    Router::new()
        .route("/", get(events::list))
        .route("/events", post(events::make))
        .route("/units", get(super::units::show).post(super::units::choose))
        .route("/events/{event}", get(board::board))
        .route("/events/{event}/live", get(live))
        .route("/events/{event}/roster", get(roster::show).post(roster::take).layer(upload))
        .route("/events/{event}/links", post(roster::make_links))
        .route("/events/{event}/links/{link}/end", post(roster::end_link))
        .route("/events/{event}/inspectors", post(roster::make_inspector))
        .route("/events/{event}/sheet", get(sheet::show).post(sheet::raise).layer(upload))
        .route("/events/{event}/sheet/editions", post(sheet::add).layer(upload))
        .route("/editions/{edition}", get(sheet::file))
        .route("/events/{event}/entries/{entry}", get(car::show))
        .route("/events/{event}/entries/{entry}/withdrawals", post(car::withdraw))
        .route("/events/{event}/entries/{entry}/links", post(roster::link_anew))
        .route("/events/{event}/entries/{entry}/photos/{photo}", get(car::photo))
        .route("/events/{event}/cleared", get(cleared::page))
        .route("/events/{event}/cleared.csv", get(cleared::csv))
        .route("/events/{event}/history.jsonl", get(cleared::history))
        .layer(axum::Extension(kept))
}

/// The event, for an organizer.
async fn run(web: &Web, actor: &Actor, event: Uuid) -> Result<KnownEvent, Fault> {
    require(actor, Deed::RunTheEvent, Whose::Event(event))?;
    Ok(web.house.event(event).await?)
}

async fn live(State(web): State<Web>, Who(actor): Who, At(event): At<Uuid>) -> Result<impl IntoResponse, Fault> {
    run(&web, &actor, event).await?;
    Ok(super::live::changes(&web, &actor, event, None))
}
