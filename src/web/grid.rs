//! The marshal's page, under `/grid/{event}`: a car number, and whether that car may go out. It changes nothing.

use super::Web;
use super::doors::Doors;
use super::draw::{Mark, Plate};
use super::error::Fault;
use super::form::{Asked, At};
use super::page::{Clock, Page, long_day, render};
use super::session::Who;
use crate::acts::board::{Board, Row, board};
use crate::acts::house::KnownEvent;
use crate::acts::rights::{Actor, Deed, Whose, require};
use crate::rules::standing::Standing;
use crate::store::history::Kind;
use askama::Template;
use axum::extract::State;
use axum::response::IntoResponse;
use jiff::tz::TimeZone;
use std::sync::Arc;
use uuid::Uuid;

pub(super) fn doors() -> Doors {
    Doors::new().get("/{event}", Deed::WatchTheGrid, show).get("/{event}/live", Deed::WatchTheGrid, live).post(
        "/{event}/sign-out",
        Deed::WatchTheGrid,
        super::sign_in::sign_out,
    )
}

#[derive(Template)]
#[template(path = "grid/grid.html", blocks = ["news"])]
struct Grid<'a> {
    known: &'a KnownEvent,
    actor: &'a Actor,
    board: Arc<Board>,
    clock: Clock,
    wanted: String,
    /// Said above all else on a day that is not the event's.
    other_day: Option<String>,
}

impl Grid<'_> {
    fn found(&self) -> Option<&Row> {
        self.board.rows.iter().map(Arc::as_ref).find(|row| row.entry.number.as_str() == self.wanted)
    }

    /// Why a car does not go out, in a line that can be read out at the window.
    fn because(&self, row: &Row) -> String {
        match (&row.word, &row.finding) {
            (Some(word), _) if word.kind == Kind::Withdrawal => format!("clearance taken back: {}", word.reason),
            (Some(word), _) if word.kind == Kind::Hold => format!("held at the gate: {}", word.reason),
            (_, Some(finding)) => finding.clone(),
            _ if row.sent == 0 => "no sheet was sent".into(),
            _ if row.missing > 0 => "the sheet is not complete".into(),
            _ => "it has not been through the gate".into(),
        }
    }

    fn of_group(&self, group: &str) -> Vec<&Row> {
        self.board.rows.iter().map(Arc::as_ref).filter(|row| row.entry.group == group).collect()
    }
}

async fn at_the_grid(web: &Web, actor: &Actor, event: Uuid) -> Result<KnownEvent, Fault> {
    require(actor, Deed::WatchTheGrid, Whose::Event(event))?;
    Ok(web.house.event(event).await?)
}

async fn show(State(web): State<Web>, Who(actor): Who, At(event): At<Uuid>, Asked(asked): Asked) -> Page {
    let known = at_the_grid(&web, &actor, event).await?;
    let board = board(&web.house, event).await?;
    let zone = TimeZone::get(&known.event.zone).unwrap_or(TimeZone::UTC);
    let today = web.house.now().to_zoned_datetime(zone).date();
    let other_day = (today != known.event.day).then(|| format!("This is the list for {}.", long_day(&known.event.day)));
    let wanted = asked.text("number").to_ascii_uppercase().chars().take(8).collect();
    let page = Grid { clock: Clock::of(&known.event), known: &known, actor: &actor, board, wanted, other_day };
    if asked.text("part") == "news" { render(&page.as_news()) } else { render(&page) }
}

async fn live(State(web): State<Web>, Who(actor): Who, At(event): At<Uuid>) -> Result<impl IntoResponse, Fault> {
    at_the_grid(&web, &actor, event).await?;
    Ok(super::live::changes(&web, &actor, event, None))
}
