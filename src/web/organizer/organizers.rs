//! The club's organizers: who they are, another one, a new link for one who is locked out.

use crate::acts::rights::{Deed, Whose, require};
use crate::acts::{Actor, Refusal, hand_out, let_out, proof};
use crate::store::access::{self, Link};
use crate::store::deed::{self, NotedOfOrganizer};
use crate::store::{account, club, device};
use crate::web::Web;
use crate::web::code::Code;
use crate::web::error::Fault;
use crate::web::form::At;
use crate::web::page::{Page, render};
use crate::web::proof::Shown;
use crate::web::session::Who;
use askama::Template;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{Html, IntoResponse, Redirect, Response};
use std::sync::Arc;
use uuid::Uuid;

/// How many of the newest deeds the page shows. All of them are in the club's file.
const MOST_NOTED: u32 = 100;

/// An organizer, and how they can come in.
struct Organizer {
    link: Link,
    has_passphrase: bool,
    passkeys: usize,
    devices: usize,
}

#[derive(Template)]
#[template(path = "organizer/organizers.html")]
struct Organizers {
    club: String,
    actor: Arc<Actor>,
    organizers: Vec<Organizer>,
    /// Whether the club asks for a passkey beside the passphrase; `None` where browsers have no passkeys.
    asks_second: Option<bool>,
    /// What was done with their links and devices, the newest first.
    noted: Vec<NotedOfOrganizer>,
    /// A link just made: whose, and what it is.
    made: Option<(String, String)>,
    name: String,
    trouble: Option<String>,
}

impl Organizers {
    /// A deed in words: who did it, and from what, where that is not said already.
    fn in_words(&self, noted: &NotedOfOrganizer) -> String {
        let by = match &noted.by {
            None => ", by whoever runs the server".to_owned(),
            Some(by) if *by == noted.holder => String::new(),
            Some(by) => format!(", by {by}"),
        };
        let from = if noted.from.is_empty() { String::new() } else { format!(", from: {}", noted.from) };
        format!("{}{by}{from}", words_of(&noted.what))
    }

    async fn read(web: &Web, actor: Arc<Actor>) -> Result<Organizers, Fault> {
        require(&actor, Deed::RunTheClub, Whose::Club)?;
        let now = web.house.now();
        let mut db = web.house.store.read().await?;
        let passkeys = account::passkeys(&mut db).await?;
        let mut organizers = Vec::new();
        for link in access::organizers(&mut db).await? {
            organizers.push(Organizer {
                has_passphrase: account::passphrase(&mut db, link.id).await?.is_some(),
                passkeys: passkeys.iter().filter(|passkey| passkey.link == link.id).count(),
                devices: device::of_link(&mut db, link.id).await?.iter().filter(|device| device.is_in(now)).count(),
                link,
            });
        }
        let club = club::name(&mut db).await?.unwrap_or_else(|| "The club".into());
        let asks_second = web.passkeys.is_some().then_some(club::asks_second(&mut db).await?);
        let noted = deed::notes_of_organizers(&mut db, MOST_NOTED).await?;
        Ok(Organizers { club, actor, organizers, asks_second, noted, made: None, name: String::new(), trouble: None })
    }
}

/// What a deed is called on the page.
fn words_of(what: &str) -> &str {
    match what {
        "made" => "was made an organizer",
        "made anew" => "got a new link",
        "used" => "signed in",
        "let in again" => "came in again",
        "spent" => "set a first passphrase",
        "device ended" => "was signed out on a device",
        "taken back" => "was let go",
        other => other,
    }
}

pub(super) async fn show(State(web): State<Web>, Who(actor): Who) -> Page {
    render(&Organizers::read(&web, actor).await?)
}

pub(super) async fn add(State(web): State<Web>, Who(actor): Who, shown: Shown) -> Result<Response, Fault> {
    let name = shown.form.text("name");
    match hand_out::to_organizer(&web.house, &shown.proven, name).await {
        Ok(out) => {
            let made = Some((out.link.holder.clone(), web.link(&out.secret)));
            Ok(render(&Organizers { made, ..Organizers::read(&web, actor).await? })?.into_response())
        }
        Err(Refusal::Fields(troubles)) => {
            let trouble = troubles.into_iter().next().map(|trouble| trouble.message);
            let page = Organizers { name: name.to_owned(), trouble, ..Organizers::read(&web, actor).await? };
            Ok((StatusCode::UNPROCESSABLE_ENTITY, Html(page.render()?)).into_response())
        }
        Err(other) => Err(other.into()),
    }
}

pub(super) async fn link_anew(State(web): State<Web>, Who(actor): Who, At(link): At<Uuid>, shown: Shown) -> Page {
    let out = hand_out::to_organizer_anew(&web.house, &shown.proven, link).await?;
    let made = Some((out.link.holder.clone(), web.link(&out.secret)));
    render(&Organizers { made, ..Organizers::read(&web, actor).await? })
}

pub(super) async fn end(State(web): State<Web>, At(link): At<Uuid>, shown: Shown) -> Result<Redirect, Fault> {
    let_out::organizer(&web.house, &shown.proven, link).await?;
    Ok(Redirect::to("/club/organizers"))
}

/// Sets whether the club asks its organizers for a passkey beside the passphrase.
pub(super) async fn ask_second(State(web): State<Web>, shown: Shown) -> Result<Redirect, Fault> {
    proof::ask_second(&web.house, &shown.proven, shown.form.text("asks") == "1").await?;
    Ok(Redirect::to("/club/organizers"))
}
