//! What is held on a driver: to take away, and to erase.

use super::run;
use crate::acts::Refusal;
use crate::acts::house::KnownEvent;
use crate::acts::personal;
use crate::store::entry::{self, Entry};
use crate::store::event;
use crate::web::Web;
use crate::web::draw::Plate;
use crate::web::error::Fault;
use crate::web::form::{At, Form};
use crate::web::page::{Clock, Page, render};
use crate::web::session::Who;
use askama::Template;
use axum::extract::State;
use axum::http::{StatusCode, header};
use axum::response::{Html, IntoResponse, Redirect, Response};
use uuid::Uuid;

#[derive(Template)]
#[template(path = "organizer/data.html")]
struct Data<'a> {
    known: &'a KnownEvent,
    entry: Entry,
    clock: Clock,
    /// What seems to be the same person's at other events.
    others: Vec<(Entry, String)>,
    trouble: Option<&'static str>,
}

async fn read<'a>(web: &Web, known: &'a KnownEvent, id: Uuid) -> Result<Data<'a>, Fault> {
    let mut db = web.house.store.read().await?;
    let entry = entry::one(&mut db, id).await?.ok_or(Refusal::NotHere)?;
    let mut others = Vec::new();
    if entry.erased_at.is_none() {
        let events = event::all(&mut db).await?;
        for other in entry::of_same_person(&mut db, &entry).await? {
            let of = events.iter().find(|event| event.id == other.event);
            let name = of.map(|event| format!("{}, {}", event.name, event.day)).unwrap_or_default();
            others.push((other, name));
        }
    }
    Ok(Data { known, entry, clock: Clock::of(&known.event), others, trouble: None })
}

pub(super) async fn show(State(web): State<Web>, Who(actor): Who, At((event, id)): At<(Uuid, Uuid)>) -> Page {
    let known = run(&web, &actor, event).await?;
    render(&read(&web, &known, id).await?)
}

pub(super) async fn file(State(web): State<Web>, Who(actor): Who, At((event, id)): At<(Uuid, Uuid)>) -> Result<Response, Fault> {
    let held = personal::give_out(&web.house, &actor, event, id).await?;
    let text = serde_json::to_string_pretty(&held).map_err(|error| crate::store::StoreError::Unreadable(error.to_string()))?;
    let kind = [(header::CONTENT_TYPE, "application/json"), (header::CONTENT_DISPOSITION, "attachment; filename=\"held.json\"")];
    Ok((kind, text).into_response())
}

/// Erases, once the car's number was typed: what is gone is gone.
pub(super) async fn erase(
    State(web): State<Web>,
    Who(actor): Who,
    At((event, id)): At<(Uuid, Uuid)>,
    form: Form,
) -> Result<Response, Fault> {
    let known = run(&web, &actor, event).await?;
    let page = read(&web, &known, id).await?;
    if !form.text("number").eq_ignore_ascii_case(page.entry.number.as_str()) {
        let page = Data { trouble: Some("Type the car's number to show that this is the one."), ..page };
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, Html(page.render()?)).into_response());
    }
    personal::erase(&web.house, &actor, event, id).await?;
    Ok(Redirect::to(&format!("/club/events/{event}/entries/{id}/data")).into_response())
}
