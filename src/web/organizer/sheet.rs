//! The sheet of an event: its edition, the editions there are, and what another would move before it happens.

use super::run;
use crate::acts::Refusal;
use crate::acts::house::KnownEvent;
use crate::acts::preview::{Move, Preview, preview};
use crate::acts::raise_edition::{self, Raise};
use crate::acts::rights::{Actor, Deed, Whose, require};
use crate::rules::answer::Trouble;
use crate::store::club::{self, Edition};
use crate::web::Web;
use crate::web::draw::{Mark, Plate};
use crate::web::error::Fault;
use crate::web::form::{Asked, At, Form};
use crate::web::page::{Clock, Page, count, render};
use crate::web::session::Who;
use crate::web::telling::{Line, raises_of};
use askama::Template;
use axum::extract::State;
use axum::http::{StatusCode, header};
use axum::response::{Html, IntoResponse, Redirect, Response};
use uuid::Uuid;

/// Another edition, with what raising the event to it would move.
struct Other {
    edition: Edition,
    preview: Preview,
    /// The raise's own id: sent twice, it is one.
    new_id: Uuid,
    /// The event was raised, or something happened to a car, since the page was opened.
    is_new: bool,
}

impl Other {
    /// What it comes to, in the first line: the clearances that would be lost.
    fn lead(&self) -> String {
        let (moves, lost) = (&self.preview.moves, self.preview.lost());
        let all: usize = lost.values().sum();
        let groups: Vec<String> = lost.iter().map(|(group, count)| format!("{group} {count}")).collect();
        let lose = match all {
            0 => "No entry loses its clearance.".to_owned(),
            1 => format!("1 entry loses its clearance: {}.", groups.join(", ")),
            _ => format!("{all} entries lose their clearance: {}.", groups.join(", ")),
        };
        let fall = moves.iter().filter(|one| !one.falls_away.is_empty()).count();
        let gain = moves.iter().filter(|one| one.gains_clearance()).count();
        let mut words = vec![lose];
        if fall > 0 {
            words.push(format!("Findings fall away on {}.", count(fall, "car", "cars")));
        }
        if gain > 0 {
            words.push(format!("{} again.", count(gain, "entry is cleared", "entries are cleared")));
        }
        if moves.is_empty() {
            words.push("No entry changes its standing, and none has to answer again.".into());
        }
        words.join(" ")
    }

    /// What changes for one car, in a cell.
    fn why(&self, one: &Move) -> String {
        let mut words = Vec::new();
        words.extend(one.falls_away.iter().map(|why| format!("Falls away: {why}")));
        words.extend(one.comes.iter().cloned());
        words.extend(one.carried.iter().filter(|why| !one.comes.contains(why)).map(|why| format!("Stays open: {why}")));
        words.extend(one.unanswered.iter().map(|name| format!("Not answered: {name}.")));
        words.extend(one.unchecked.iter().map(|name| format!("Not checked by hand: {name}.")));
        words.dedup();
        words.join(" ")
    }
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
    raises: Vec<Line>,
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
        let clock = Clock::of(&known.event);
        let raises = raises_of(known, &clock);
        Ok(SheetPage { clock, known, editions, other: None, pasted, troubles: Vec::new(), raises })
    }

    /// Adds what raising the event to an edition would do.
    async fn with_preview(mut self, web: &Web, actor: &Actor, edition: Uuid, is_new: bool) -> Result<SheetPage<'a>, Fault> {
        let found = self.editions.iter().find(|one| one.id == edition).cloned().ok_or(Refusal::NotHere)?;
        let preview = preview(&web.house, actor, self.known.event.id, edition).await?;
        self.other = Some(Other { edition: found, preview, new_id: web.house.new_id(), is_new });
        Ok(self)
    }
}

pub(super) async fn show(State(web): State<Web>, Who(actor): Who, At(event): At<Uuid>, Asked(asked): Asked) -> Page {
    let known = run(&web, &actor, event).await?;
    let page = SheetPage::read(&web, &known).await?;
    let wanted = asked.text("edition");
    let id = Uuid::parse_str(wanted);
    if !wanted.is_empty() && id.is_err() {
        return Err(Refusal::NotHere.into());
    }
    match id.ok().filter(|id| *id != known.edition.id) {
        Some(id) => render(&page.with_preview(&web, &actor, id, false).await?),
        None => render(&page),
    }
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

/// Raises the event, where the page showed what it would move as it is now; shows it again where not.
pub(super) async fn raise(State(web): State<Web>, Who(actor): Who, At(event): At<Uuid>, form: Form) -> Result<Response, Fault> {
    let known = run(&web, &actor, event).await?;
    let raise = Raise { id: form.id("id")?, edition: form.id("edition")?, shown: form.text("shown").to_owned() };
    let edition = raise.edition;
    match raise_edition::raise_edition(&web.house, &actor, event, raise).await {
        Ok(_) => Ok(Redirect::to(&format!("/club/events/{event}/sheet")).into_response()),
        Err(Refusal::Stale) => {
            let known = web.house.event(known.event.id).await?;
            let page = SheetPage::read(&web, &known).await?.with_preview(&web, &actor, edition, true).await?;
            Ok((StatusCode::CONFLICT, Html(page.render()?)).into_response())
        }
        Err(other) => Err(other.into()),
    }
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
