//! The marshal's page, under `/grid/{event}`: a car number, and whether that car may go out. It changes nothing.

use super::Web;
use super::doors::Doors;
use super::draw::{Mark, Plate};
use super::error::Fault;
use super::form::{Asked, At, Form};
use super::page::{Clock, Page, long_day, render};
use super::session::Who;
use crate::acts::board::{Board, Row, board};
use crate::acts::house::KnownEvent;
use crate::acts::pass;
use crate::acts::rights::{Actor, Deed, Whose, require};
use crate::rules::standing::Standing;
use crate::store::history::{self, Kind};
use askama::Template;
use axum::Json;
use axum::extract::State;
use axum::response::IntoResponse;
use data_encoding::BASE64URL_NOPAD;
use jiff::tz::TimeZone;
use serde::Serialize;
use std::sync::Arc;
use uuid::Uuid;

pub(super) fn doors() -> Doors {
    Doors::new()
        .get("/{event}", Deed::WatchTheGrid, show)
        .get("/{event}/live", Deed::WatchTheGrid, live)
        .get("/{event}/cars.json", Deed::WatchTheGrid, cars)
        .post("/{event}/sign-out", Deed::WatchTheGrid, super::sign_in::sign_out)
}

#[derive(Template)]
#[template(path = "grid/grid.html")]
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

    fn of_group(&self, group: &str) -> Vec<&Row> {
        self.board.rows.iter().map(Arc::as_ref).filter(|row| row.entry.group == group).collect()
    }
}

/// Why a car does not go out, in a line that can be read out at the window.
pub(super) fn because(row: &Row) -> String {
    match (&row.word, &row.finding) {
        (Some(word), _) if word.kind == Kind::Withdrawal => format!("clearance taken back: {}", word.reason),
        (Some(word), _) if word.kind == Kind::Hold => format!("held at the gate: {}", word.reason),
        (_, Some(finding)) => finding.clone(),
        _ if row.sent == 0 => "no sheet was sent".into(),
        _ if row.missing > 0 => "the sheet is not complete".into(),
        _ if row.by_hand > 0 => "the sheet asks more checks by hand than were made".into(),
        _ => "it has not been through the gate".into(),
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
    render(&page)
}

/// What a marshal's device keeps for when there is no signal: every car, and the key that passes are verified with.
#[derive(Serialize)]
struct List {
    event: Uuid,
    name: String,
    day: String,
    /// The event's public key, base64url.
    key: String,
    /// The place and the hash of the newest record in the event's chain that the list is made from; it may know more. Lists and
    /// passes are older or newer by place. Empty and 0 where there is no record.
    place: i64,
    hash: String,
    /// Whether the event's history goes on from the record that the device asked with. Where it does not (an older backup was
    /// restored), what the device has is worth nothing, however large its place.
    follows: bool,
    /// When this was so, to be shown, and until when passes hold: milliseconds since 1970-01-01 UTC.
    as_of: i64,
    until: i64,
    /// After how long without news a device no longer says "cleared", in milliseconds.
    old_after: i64,
    cars: Vec<Car>,
}

#[derive(Serialize)]
struct Car {
    entry: Uuid,
    number: String,
    driver: String,
    car: String,
    group: String,
    cleared: bool,
    /// Somebody at the gate or the organizer said no: it outranks any pass.
    held: bool,
    because: String,
}

/// Whether the event's history has the record that the device has: `?place=...&hash=...`.
async fn follows(web: &Web, event: Uuid, asked: &Form) -> Result<bool, Fault> {
    let Ok(place) = asked.text("place").parse() else { return Ok(false) };
    let mut db = web.house.store.read().await?;
    Ok(history::has(&mut db, event, place, asked.text("hash")).await?)
}

async fn cars(State(web): State<Web>, Who(actor): Who, At(event): At<Uuid>, Asked(asked): Asked) -> Result<Json<List>, Fault> {
    let known = at_the_grid(&web, &actor, event).await?;
    // The clock first: what is on the board was so at that time at the latest.
    let as_of = web.house.now();
    let key = pass::public_key_of(&web.house, &known).await?;
    let follows = follows(&web, event, &asked).await?;
    let board = board(&web.house, event).await?;
    Ok(Json(List {
        event,
        name: known.event.name.clone(),
        day: long_day(&known.event.day),
        key: BASE64URL_NOPAD.encode(&key),
        place: board.place,
        hash: board.hash.clone(),
        follows,
        as_of: as_of.as_millisecond(),
        until: pass::holds_until(&known).as_millisecond(),
        old_after: i64::from(known.phones.old_after_min()) * 60_000,
        cars: cars_of(&board),
    }))
}

fn cars_of(board: &Board) -> Vec<Car> {
    let car = |row: &Arc<Row>| Car {
        entry: row.entry.id,
        number: row.entry.number.to_string(),
        driver: row.entry.driver.clone(),
        car: row.entry.car.clone(),
        group: row.entry.group.clone(),
        cleared: row.standing == Standing::Cleared,
        held: row.standing != Standing::Cleared
            && row.word.as_ref().is_some_and(|word| matches!(word.kind, Kind::Hold | Kind::Withdrawal)),
        because: if row.standing == Standing::Cleared { String::new() } else { because(row) },
    };
    board.rows.iter().map(car).collect()
}

async fn live(State(web): State<Web>, Who(actor): Who, At(event): At<Uuid>) -> Result<impl IntoResponse, Fault> {
    at_the_grid(&web, &actor, event).await?;
    super::live::changes(&web, &actor, event, None)
}
