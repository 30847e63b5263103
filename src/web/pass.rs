//! What anybody sees who scans a pass with a phone's own camera: where that car stands now, and not what the pass says.

use super::Web;
use super::draw::{Mark, Plate};
use super::form::At;
use super::page::{Clock, Page, long_day, render};
use crate::acts::board::{Row, board};
use crate::acts::house::KnownEvent;
use crate::acts::pass::look;
use crate::rules::standing::Standing;
use askama::Template;
use axum::extract::State;
use std::sync::Arc;
use uuid::Uuid;

#[derive(Template)]
#[template(path = "front/pass.html")]
struct Shown {
    known: KnownEvent,
    row: Arc<Row>,
    day: String,
    as_of: String,
    is_over: bool,
}

pub(super) async fn show(State(web): State<Web>, At(text): At<String>) -> Page {
    let shown = look(&web.house, &text).await?;
    let entry = Uuid::from_bytes(shown.pass.entry);
    let board = board(&web.house, shown.known.event.id).await?;
    let row = board.rows.iter().find(|row| row.entry.id == entry).cloned().ok_or(crate::acts::Refusal::NotHere)?;
    let as_of = Clock::of(&shown.known.event).at(&web.house.now());
    render(&Shown { day: long_day(&shown.known.event.day), known: shown.known, row, as_of, is_over: shown.is_over })
}
