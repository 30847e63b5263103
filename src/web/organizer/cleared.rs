//! The cleared list: on screen and print for the grid, and as CSV to take away.

use super::roster::download;
use super::run;
use crate::acts::board::{Board, Row, board};
use crate::acts::house::KnownEvent;
use crate::output::csv::line;
use crate::rules::standing::Standing;
use crate::store::history;
use crate::web::Web;
use crate::web::draw::{Mark, Plate};
use crate::web::error::Fault;
use crate::web::form::At;
use crate::web::page::{Clock, Page, long_day, render};
use crate::web::session::Who;
use askama::Template;
use axum::extract::State;
use axum::http::header;
use axum::response::{IntoResponse, Response};
use std::sync::Arc;
use uuid::Uuid;

#[derive(Template)]
#[template(path = "organizer/cleared.html")]
struct Cleared<'a> {
    known: &'a KnownEvent,
    board: Arc<Board>,
    clock: Clock,
    day: String,
    head: Option<(i64, String)>,
    /// From which record on the stronger rule holds.
    strong_from: Option<i64>,
}

impl Cleared<'_> {
    fn of_group(&self, group: &str) -> Vec<&Row> {
        cleared(&self.board).filter(|row| row.entry.group == group).collect()
    }

    fn when(&self, row: &Row) -> String {
        row.word.as_ref().map(|word| self.clock.at(&word.at)).unwrap_or_default()
    }

    fn by<'r>(&self, row: &'r Row) -> &'r str {
        row.word.as_ref().map_or("", |word| word.by.as_str())
    }
}

fn cleared(board: &Board) -> impl Iterator<Item = &Row> {
    board.rows.iter().map(Arc::as_ref).filter(|row| row.standing == Standing::Cleared)
}

pub(super) async fn page(State(web): State<Web>, Who(actor): Who, At(event): At<Uuid>) -> Page {
    let known = run(&web, &actor, event).await?;
    let board = board(&web.house, event).await?;
    let head = head_of(&web, event).await?;
    let strong_from = history::strong_from(&mut *web.house.store.read().await?, event).await?;
    render(&Cleared { head, strong_from, clock: Clock::of(&known.event), day: long_day(&known.event.day), board, known: &known })
}

pub(super) async fn csv(State(web): State<Web>, Who(actor): Who, At(event): At<Uuid>) -> Result<Response, Fault> {
    let known = run(&web, &actor, event).await?;
    let board = board(&web.house, event).await?;
    let clock = Clock::of(&known.event);
    // The head of the history goes along: who holds the list can ask later whether the history still reaches it.
    let head = head_of(&web, event).await?.map(|(_, hash)| hash).unwrap_or_default();
    let mut text = line(["number", "name", "car", "group", "cleared", "by", "head"]);
    for row in cleared(&board) {
        let (at, by) = row.word.as_ref().map(|word| (clock.in_full(&word.at), word.by.clone())).unwrap_or_default();
        let entry = &row.entry;
        text.push_str(&line([entry.number.as_str(), &entry.driver, &entry.car, &entry.group, &at, &by, &head]));
    }
    Ok(download(text, &format!("cleared-{}.csv", known.event.day)))
}

async fn head_of(web: &Web, event: Uuid) -> Result<Option<(i64, String)>, Fault> {
    let mut db = web.house.store.read().await?;
    Ok(history::head(&mut db, event).await?)
}

/// The event's whole history, one record a line, to keep and to verify.
pub(super) async fn history(State(web): State<Web>, Who(actor): Who, At(event): At<Uuid>) -> Result<Response, Fault> {
    let known = run(&web, &actor, event).await?;
    let mut db = web.house.store.read().await?;
    let records = history::sealed(&mut db, Some(event)).await?;
    drop(db);
    let lines = records.iter().map(|record| serde_json::to_string(record).map(|line| line + "\n"));
    let text = lines.collect::<Result<String, _>>().map_err(|error| crate::store::StoreError::Unreadable(error.to_string()))?;
    let kind = (header::CONTENT_TYPE, "application/x-ndjson; charset=utf-8".to_owned());
    let name = format!("attachment; filename=\"history-{}.jsonl\"", known.event.day);
    Ok(([kind, (header::CONTENT_DISPOSITION, name)], text).into_response())
}
