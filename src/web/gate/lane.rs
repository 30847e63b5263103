//! The lane: who waits, oldest first, and every car by its number.

use super::at_the_gate;
use crate::acts::Actor;
use crate::acts::board::{Board, Row, board};
use crate::acts::house::KnownEvent;
use crate::rules::standing::Standing;
use crate::web::Web;
use crate::web::draw::{Mark, Plate, Strip};
use crate::web::error::Fault;
use crate::web::form::{Asked, At};
use crate::web::page::{Clock, count, render};
use crate::web::session::Who;
use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Redirect, Response};
use std::sync::Arc;
use uuid::Uuid;

#[derive(Template)]
#[template(path = "gate/lane.html", blocks = ["news"])]
struct Lane<'a> {
    known: &'a KnownEvent,
    actor: &'a Actor,
    board: Arc<Board>,
    clock: Clock,
    heading: String,
    /// When this page was made, in milliseconds since 1970-01-01 UTC.
    made: i64,
    /// What was looked for and not found.
    not_found: Option<String>,
}

impl Lane<'_> {
    fn waiting(&self) -> Vec<&Row> {
        self.board.waiting()
    }

    fn since(&self, row: &Row) -> String {
        row.waits.map(|waits| self.clock.at(&waits.since)).unwrap_or_default()
    }

    /// What is said of a car that waits: its gravest finding, or nothing.
    fn remark(&self, row: &Row) -> String {
        match (&row.word, &row.finding) {
            (Some(word), _) => format!("held {}: {}", self.clock.at(&word.at), word.reason),
            (None, Some(finding)) => finding.clone(),
            (None, None) => String::new(),
        }
    }
}

pub(super) async fn lane(
    State(web): State<Web>,
    Who(actor): Who,
    At(event): At<Uuid>,
    Asked(asked): Asked,
) -> Result<Response, Fault> {
    let known = at_the_gate(&web, &actor, event).await?;
    let board = board(&web.house, event).await?;
    let wanted = asked.text("number").to_ascii_uppercase();
    let found = board.rows.iter().find(|row| !wanted.is_empty() && row.entry.number.as_str() == wanted);
    if let Some(row) = found {
        return Ok(Redirect::to(&format!("/gate/{event}/entries/{}", row.entry.id)).into_response());
    }
    let waiting = board.waiting().len();
    let heading = match waiting {
        0 => "Nobody waits".to_owned(),
        _ => format!("{} at the gate", count(waiting, "car waits", "cars wait")),
    };
    let not_found = (!wanted.is_empty()).then(|| wanted.chars().take(8).collect());
    let made = web.house.now().as_millisecond();
    let page = Lane { clock: Clock::of(&known.event), known: &known, actor: &actor, board, heading, not_found, made };
    if asked.text("part") == "news" {
        return Ok(render(&page.as_news())?.into_response());
    }
    Ok(render(&page)?.into_response())
}
