//! The roster: entries from a file, and the drivers' private links.

use super::links::{For, Made, links_csv, show_links};
use super::{again, run};
use crate::acts::Refusal;
use crate::acts::hand_out::{self, Drivers, HandedOut};
use crate::acts::house::KnownEvent;
use crate::acts::take_roster::{COLUMNS, take_roster};
use crate::rules::answer::Trouble;
use crate::store::access::{self, Link};
use crate::store::entry::{self, Entry};
use crate::web::Web;
use crate::web::draw::Plate;
use crate::web::error::Fault;
use crate::web::form::{At, Form};
use crate::web::page::{Clock, Page, render};
use crate::web::session::Who;
use askama::Template;
use axum::extract::multipart::MultipartRejection;
use axum::extract::{Multipart, State};
use axum::http::{StatusCode, header};
use axum::response::{Html, IntoResponse, Redirect, Response};
use uuid::Uuid;

#[derive(Template)]
#[template(path = "organizer/roster.html")]
struct Roster<'a> {
    known: &'a KnownEvent,
    clock: Clock,
    entries: Vec<Entry>,
    links: Vec<Link>,
    troubles: Vec<Trouble>,
    /// What was sent, shown again when it could not be used.
    pasted: String,
    new_id: Uuid,
}

impl Roster<'_> {
    async fn read<'a>(web: &Web, known: &'a KnownEvent) -> Result<Roster<'a>, Fault> {
        let mut db = web.house.store.read().await?;
        let entries = entry::of_event(&mut db, known.event.id).await?;
        let links = access::links_of_event(&mut db, known.event.id).await?;
        let (clock, new_id) = (Clock::of(&known.event), web.house.new_id());
        Ok(Roster { clock, known, entries, links, troubles: Vec::new(), pasted: String::new(), new_id })
    }

    fn good_link(&self, entry: &Entry) -> Option<&Link> {
        self.links.iter().find(|link| link.entry == Some(entry.id) && link.revoked_at.is_none())
    }

    fn with_link(&self) -> usize {
        self.entries.iter().filter(|entry| self.good_link(entry).is_some()).count()
    }

    fn without_link(&self) -> usize {
        self.entries.iter().filter(|entry| entry.erased_at.is_none() && self.good_link(entry).is_none()).count()
    }
}

pub(super) async fn show(State(web): State<Web>, Who(actor): Who, At(event): At<Uuid>) -> Page {
    let known = run(&web, &actor, event).await?;
    render(&Roster::read(&web, &known).await?)
}

/// Takes a roster, as a file or as pasted text.
pub(super) async fn take(
    State(web): State<Web>,
    Who(actor): Who,
    At(event): At<Uuid>,
    form: Result<Multipart, MultipartRejection>,
) -> Result<Response, Fault> {
    let known = run(&web, &actor, event).await?;
    let mut form = form.map_err(|_| Fault::unsupported("The roster is sent as a form with a file or pasted text."))?;
    let mut file = Vec::new();
    while let Some(part) = form.next_field().await? {
        let bytes = part.bytes().await?;
        if !bytes.iter().all(u8::is_ascii_whitespace) {
            file = bytes.to_vec();
        }
    }
    match take_roster(&web.house, &actor, event, file.clone()).await {
        Ok(_) => Ok(Redirect::to(&format!("/club/events/{event}/roster")).into_response()),
        Err(Refusal::Fields(troubles)) => {
            let pasted = String::from_utf8_lossy(&file).into_owned();
            let page = Roster { troubles, pasted, ..Roster::read(&web, &known).await? };
            Ok((StatusCode::UNPROCESSABLE_ENTITY, Html(page.render()?)).into_response())
        }
        Err(other) => Err(other.into()),
    }
}

fn made_of(web: &Web, made: Vec<(Entry, HandedOut)>) -> Vec<Made> {
    made.into_iter().map(|(entry, out)| Made::of(web, out).for_entry(entry)).collect()
}

/// Makes a link for every entry that has none, or for all anew. They can be read this once.
pub(super) async fn make_links(
    State(web): State<Web>,
    Who(actor): Who,
    At(event): At<Uuid>,
    form: Form,
) -> Result<Response, Fault> {
    let known = run(&web, &actor, event).await?;
    let drivers = if form.text("which") == "all" { Drivers::All } else { Drivers::WithoutLink };
    let id = again::id_of(&form, &[b"links", form.text("which").as_bytes()]);
    let made = hand_out::to_drivers_by(&web.house, &actor, event, drivers, id).await;
    again::or_ask(&web, &known, (&form, format!("/club/events/{event}/links"), "roster"), made, |made| {
        let made = made_of(&web, made);
        if form.text("as") == "csv" {
            return Ok(download(links_csv(&made), "links.csv"));
        }
        Ok(show_links(&known, made, For::Drivers)?.into_response())
    })
}

/// A new link for one entry; the old one ends.
pub(super) async fn link_anew(
    State(web): State<Web>,
    Who(actor): Who,
    At((event, entry)): At<(Uuid, Uuid)>,
    form: Form,
) -> Result<Response, Fault> {
    let known = run(&web, &actor, event).await?;
    let id = again::id_of(&form, &[b"link", entry.as_bytes()]);
    let made = hand_out::to_drivers_by(&web.house, &actor, event, Drivers::One(entry), id).await;
    again::or_ask(&web, &known, (&form, format!("/club/events/{event}/entries/{entry}/links"), "roster"), made, |made| {
        Ok(show_links(&known, made_of(&web, made), For::Drivers)?.into_response())
    })
}

/// Takes one driver's link back; their devices are out.
pub(super) async fn end_link(
    State(web): State<Web>,
    Who(actor): Who,
    At((event, entry)): At<(Uuid, Uuid)>,
) -> Result<Redirect, Fault> {
    hand_out::take_back_drivers(&web.house, &actor, event, Some(entry)).await?;
    Ok(Redirect::to(&format!("/club/events/{event}/roster")))
}

/// Takes every driver's link back.
pub(super) async fn end_links(State(web): State<Web>, Who(actor): Who, At(event): At<Uuid>) -> Result<Redirect, Fault> {
    hand_out::take_back_drivers(&web.house, &actor, event, None).await?;
    Ok(Redirect::to(&format!("/club/events/{event}/roster")))
}

/// Gives a file to keep.
pub(super) fn download(text: String, name: &str) -> Response {
    let kind = (header::CONTENT_TYPE, "text/csv; charset=utf-8".to_owned());
    ([kind, (header::CONTENT_DISPOSITION, format!("attachment; filename=\"{name}\""))], text).into_response()
}
