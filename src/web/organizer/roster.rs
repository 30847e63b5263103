//! The roster: entries from a file, private links, inspectors.

use super::run;
use crate::acts::Refusal;
use crate::acts::hand_out::{self, HandedOut};
use crate::acts::house::KnownEvent;
use crate::acts::take_roster::{COLUMNS, take_roster};
use crate::output::csv::line;
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
    name: String,
    name_trouble: Option<String>,
}

impl Roster<'_> {
    async fn read<'a>(web: &Web, known: &'a KnownEvent) -> Result<Roster<'a>, Fault> {
        let mut db = web.house.store.read().await?;
        let entries = entry::of_event(&mut db, known.event.id).await?;
        let links = access::links_of_event(&mut db, known.event.id).await?;
        Ok(Roster {
            clock: Clock::of(&known.event),
            known,
            entries,
            links,
            troubles: Vec::new(),
            pasted: String::new(),
            name: String::new(),
            name_trouble: None,
        })
    }

    fn good_link(&self, entry: &Entry) -> Option<&Link> {
        self.links.iter().find(|link| link.entry == Some(entry.id) && link.revoked_at.is_none())
    }

    fn inspectors(&self) -> Vec<&Link> {
        self.links.iter().filter(|link| link.role == "inspector").collect()
    }

    fn without_link(&self) -> usize {
        self.entries.iter().filter(|entry| self.good_link(entry).is_none()).count()
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
    match take_roster(&web.house, &actor, event, &file).await {
        Ok(_) => Ok(Redirect::to(&format!("/club/events/{event}/roster")).into_response()),
        Err(Refusal::Fields(troubles)) => {
            let pasted = String::from_utf8_lossy(&file).into_owned();
            let page = Roster { troubles, pasted, ..Roster::read(&web, &known).await? };
            Ok((StatusCode::UNPROCESSABLE_ENTITY, Html(page.render()?)).into_response())
        }
        Err(other) => Err(other.into()),
    }
}

/// A link just made, with whom it is for.
struct Made {
    number: String,
    name: String,
    mail: String,
    url: String,
}

#[derive(Template)]
#[template(path = "organizer/links.html")]
struct Links<'a> {
    known: &'a KnownEvent,
    made: Vec<Made>,
    role: &'static str,
    /// The links as a CSV file, to copy into a mail program.
    csv: String,
}

fn show_links(known: &KnownEvent, made: Vec<Made>, role: &'static str) -> Page {
    let csv = links_csv(&made);
    render(&Links { known, made, role, csv })
}

fn links_csv(made: &[Made]) -> String {
    let rows = made.iter().map(|one| line([&one.number, &one.name, &one.mail, &one.url]));
    std::iter::once(line(["number", "name", "mail", "link"])).chain(rows).collect()
}

fn made_of(web: &Web, made: Vec<(Entry, HandedOut)>) -> Vec<Made> {
    let made = made.into_iter();
    made.map(|(entry, out)| Made {
        number: entry.number.to_string(),
        name: entry.driver,
        mail: entry.mail,
        url: web.link(&out.secret),
    })
    .collect()
}

/// Makes a link for every entry that has none. They can be read this once.
pub(super) async fn make_links(
    State(web): State<Web>,
    Who(actor): Who,
    At(event): At<Uuid>,
    form: Form,
) -> Result<Response, Fault> {
    let known = run(&web, &actor, event).await?;
    let made = made_of(&web, hand_out::to_drivers(&web.house, &actor, event, None).await?);
    if form.text("as") == "csv" {
        return Ok(download(links_csv(&made), "links.csv"));
    }
    Ok(show_links(&known, made, "driver")?.into_response())
}

/// Gives a file to keep.
pub(super) fn download(text: String, name: &str) -> Response {
    let kind = (header::CONTENT_TYPE, "text/csv; charset=utf-8".to_owned());
    ([kind, (header::CONTENT_DISPOSITION, format!("attachment; filename=\"{name}\""))], text).into_response()
}

/// A new link for one entry; the old one ends.
pub(super) async fn link_anew(State(web): State<Web>, Who(actor): Who, At((event, entry)): At<(Uuid, Uuid)>) -> Page {
    let known = run(&web, &actor, event).await?;
    let made = hand_out::to_drivers(&web.house, &actor, event, Some(entry)).await?;
    show_links(&known, made_of(&web, made), "driver")
}

pub(super) async fn make_inspector(
    State(web): State<Web>,
    Who(actor): Who,
    At(event): At<Uuid>,
    form: Form,
) -> Result<Response, Fault> {
    let known = run(&web, &actor, event).await?;
    match hand_out::to_inspector(&web.house, &actor, event, form.text("name")).await {
        Ok(out) => {
            let made = Made { number: String::new(), name: out.link.holder, mail: String::new(), url: web.link(&out.secret) };
            Ok(show_links(&known, vec![made], "inspector")?.into_response())
        }
        Err(Refusal::Fields(troubles)) => {
            let name_trouble = troubles.into_iter().next().map(|trouble| trouble.message);
            let page = Roster { name: form.text("name").to_owned(), name_trouble, ..Roster::read(&web, &known).await? };
            Ok((StatusCode::UNPROCESSABLE_ENTITY, Html(page.render()?)).into_response())
        }
        Err(other) => Err(other.into()),
    }
}

pub(super) async fn end_link(
    State(web): State<Web>,
    Who(actor): Who,
    At((event, link)): At<(Uuid, Uuid)>,
) -> Result<Redirect, Fault> {
    hand_out::take_back(&web.house, &actor, event, link).await?;
    Ok(Redirect::to(&format!("/club/events/{event}/roster")))
}
