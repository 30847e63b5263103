//! The club's garages from outside: size, age, last use, from which sheet each was opened; ending one, and when unused ones end.

use crate::acts::Refusal;
use crate::acts::garage::ends::{self, Garages};
use crate::acts::rights::Actor;
use crate::rules::garage::ends::{FEWEST_MONTHS, GarageTerm, MOST_MONTHS, NOTICE_DAYS, notice_from};
use crate::store::club;
use crate::store::garage_ends::Outline;
use crate::web::Web;
use crate::web::error::Fault;
use crate::web::form::{At, Form};
use crate::web::page::{Page, render, utc_day};
use crate::web::session::Who;
use askama::Template;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{Html, IntoResponse, Redirect, Response};
use jiff::Timestamp;
use uuid::Uuid;

#[derive(Template)]
#[template(path = "organizer/garages.html")]
struct GaragesPage {
    club: String,
    garages: Garages,
    new_id: Uuid,
    months: String,
    trouble: Option<String>,
}

impl GaragesPage {
    fn goes(&self, outline: &Outline) -> String {
        utc_day(&self.garages.goes_at(outline))
    }
}

/// Asks before a garage is ended.
#[derive(Template)]
#[template(path = "organizer/garage_end.html")]
struct EndPage {
    club: String,
    outline: Outline,
    goes_at: Timestamp,
}

impl EndPage {
    fn holds(&self) -> String {
        let (notes, photos) = (self.outline.notes, self.outline.photos);
        let of = |count: u64, one: &str, many: &str| format!("{count} {}", if count == 1 { one } else { many });
        let (note_size, photo_size) = (size(&self.outline.note_bytes), size(&self.outline.photo_bytes));
        format!("{}, {note_size}; {}, {photo_size}", of(notes, "note", "notes"), of(photos, "photo", "photos"))
    }
}

/// Bytes as people say them: "4.1 MB", "380 kB".
fn size(bytes: &u64) -> String {
    let whole = |unit: u64| bytes.div_ceil(unit);
    if *bytes >= 1_000_000 { format!("{:.1} MB", *bytes as f64 / 1e6) } else { format!("{} kB", whole(1000)) }
}

/// From which sheet a garage was opened, in words.
fn from(outline: &Outline) -> String {
    match &outline.made_by {
        None => "Not noted".into(),
        Some(made) if made.driver.is_empty() => format!("Car {}, {}; its driver was erased", made.number, made.event),
        Some(made) => format!("Car {}, {}, {}", made.number, made.driver, made.event),
    }
}

async fn club_name(web: &Web) -> Result<String, Fault> {
    let mut db = web.house.store.read().await?;
    Ok(club::name(&mut db).await?.unwrap_or_else(|| "The club".into()))
}

async fn page(web: &Web, actor: &Actor) -> Result<GaragesPage, Fault> {
    let garages = ends::outlines(&web.house, actor).await?;
    let months = garages.term().months().to_string();
    Ok(GaragesPage { club: club_name(web).await?, garages, new_id: web.house.new_id(), months, trouble: None })
}

pub(super) async fn show(State(web): State<Web>, Who(actor): Who) -> Page {
    render(&page(&web, &actor).await?)
}

pub(super) async fn set_term(State(web): State<Web>, Who(actor): Who, form: Form) -> Result<Response, Fault> {
    match ends::set_term(&web.house, &actor, form.id("id")?, form.text("months")).await {
        Ok(()) => Ok(Redirect::to("/club/garages").into_response()),
        Err(Refusal::Fields(troubles)) if troubles.iter().any(|trouble| trouble.field == "months") => {
            let trouble = troubles.into_iter().next().map(|trouble| trouble.message);
            let months = form.text("months").chars().take(12).collect();
            let page = GaragesPage { months, trouble, ..page(&web, &actor).await? };
            Ok((StatusCode::UNPROCESSABLE_ENTITY, Html(page.render()?)).into_response())
        }
        Err(other) => Err(other.into()),
    }
}

/// Says what ending it does, and asks.
pub(super) async fn ask(State(web): State<Web>, Who(actor): Who, At(which): At<Uuid>) -> Page {
    let garages = ends::outlines(&web.house, &actor).await?;
    let outline = garages.outlines.into_iter().find(|outline| outline.id == which).ok_or(Refusal::NotHere)?;
    let goes_at = outline.closed.map_or(notice_from(web.house.now()), |closed| closed.goes_at);
    render(&EndPage { club: club_name(&web).await?, outline, goes_at })
}

pub(super) async fn end(State(web): State<Web>, Who(actor): Who, At(which): At<Uuid>) -> Result<Redirect, Fault> {
    ends::end(&web.house, &actor, which).await?;
    Ok(Redirect::to("/club/garages"))
}
