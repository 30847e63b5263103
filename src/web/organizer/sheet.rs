//! The sheet of an event: its edition, the editions there are, and what another would move before it happens.

use super::run;
use crate::acts::Refusal;
use crate::acts::house::KnownEvent;
use crate::acts::raise_edition::{self, Move};
use crate::acts::rights::{Deed, Whose, require};
use crate::rules::answer::Trouble;
use crate::store::club::{self, Edition};
use crate::web::Web;
use crate::web::draw::{Mark, Plate};
use crate::web::error::Fault;
use crate::web::form::{Asked, At, Form};
use crate::web::page::{Clock, Page, render};
use crate::web::session::Who;
use askama::Template;
use axum::extract::State;
use axum::http::{StatusCode, header};
use axum::response::{Html, IntoResponse, Redirect, Response};
use uuid::Uuid;

/// Another edition, with what raising the event to it would move.
struct Other {
    edition: Edition,
    moves: Vec<Move>,
}

#[derive(Template)]
#[template(path = "organizer/sheet.html")]
struct SheetPage<'a> {
    known: &'a KnownEvent,
    clock: Clock,
    editions: Vec<Edition>,
    other: Option<Other>,
    pasted: String,
    troubles: Vec<Trouble>,
}

impl<'a> SheetPage<'a> {
    async fn read(web: &Web, known: &'a KnownEvent) -> Result<SheetPage<'a>, Fault> {
        let mut db = web.house.store.read().await?;
        let editions = club::editions(&mut db).await?;
        let pasted = editions
            .iter()
            .find(|edition| edition.id == known.edition.id)
            .map(|edition| edition.file.clone())
            .unwrap_or_default();
        Ok(SheetPage { clock: Clock::of(&known.event), known, editions, other: None, pasted, troubles: Vec::new() })
    }
}

pub(super) async fn show(State(web): State<Web>, Who(actor): Who, At(event): At<Uuid>, Asked(asked): Asked) -> Page {
    let known = run(&web, &actor, event).await?;
    let mut page = SheetPage::read(&web, &known).await?;
    let wanted = asked.text("edition");
    let id = Uuid::parse_str(wanted);
    if !wanted.is_empty() && id.is_err() {
        return Err(Refusal::NotHere.into());
    }
    if let Some(id) = id.ok().filter(|id| *id != known.edition.id) {
        let edition = page.editions.iter().find(|edition| edition.id == id).cloned().ok_or(Refusal::NotHere)?;
        let moves = raise_edition::preview(&web.house, &actor, event, id).await?;
        page.other = Some(Other { edition, moves });
    }
    render(&page)
}

/// Takes a sheet file in as the next edition, and shows what it would move. Nothing is moved yet.
pub(super) async fn add(State(web): State<Web>, Who(actor): Who, At(event): At<Uuid>, form: Form) -> Result<Response, Fault> {
    let known = run(&web, &actor, event).await?;
    // Browsers send the line ends of a text area as CR LF; a sheet is kept with the line ends of its file.
    let file = form.raw("file").replace("\r\n", "\n");
    match raise_edition::add_edition(&web.house, &actor, &file).await {
        Ok(id) => Ok(Redirect::to(&format!("/club/events/{event}/sheet?edition={id}")).into_response()),
        Err(Refusal::Fields(troubles)) => {
            let page = SheetPage { troubles, pasted: file, ..SheetPage::read(&web, &known).await? };
            Ok((StatusCode::UNPROCESSABLE_ENTITY, Html(page.render()?)).into_response())
        }
        Err(other) => Err(other.into()),
    }
}

pub(super) async fn raise(State(web): State<Web>, Who(actor): Who, At(event): At<Uuid>, form: Form) -> Result<Redirect, Fault> {
    raise_edition::raise_edition(&web.house, &actor, event, form.id("edition")?).await?;
    Ok(Redirect::to(&format!("/club/events/{event}/sheet")))
}

/// An edition's file, as it was given.
pub(super) async fn file(State(web): State<Web>, Who(actor): Who, At(id): At<Uuid>) -> Result<Response, Fault> {
    require(&actor, Deed::RunTheClub, Whose::Club)?;
    let mut db = web.house.store.read().await?;
    let edition = club::edition(&mut db, id).await?.ok_or(Refusal::NotHere)?;
    let name = format!("attachment; filename=\"sheet-edition-{}.toml\"", edition.number);
    let kind = [(header::CONTENT_TYPE, "text/plain; charset=utf-8".to_owned()), (header::CONTENT_DISPOSITION, name)];
    Ok((kind, edition.file).into_response())
}
