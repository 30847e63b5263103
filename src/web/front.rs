//! The front door: the first page, coming in by a link, what is kept of people and why.

use super::Web;
use super::address::Address;
use super::doors::Doors;
use super::error::Fault;
use super::form::{At, Form};
use super::limits::Limited;
use super::page::{Page, long_day, render};
use super::session::{Called, door_cookie, home_of};
use super::sign_in::{self, let_in};
use crate::acts::account::FEWEST;
use crate::acts::enter::{Caller, digest_of, enter, find, look, secret_text};
use crate::acts::personal::Term;
use crate::acts::rights::{Deed, Role};
use crate::acts::{Refusal, account};
use crate::store::access::Link;
use crate::store::{club, garage_ends};
use askama::Template;
use axum::extract::State;
use axum::http::header::SET_COOKIE;
use axum::http::{Method, StatusCode};
use axum::response::{Html, IntoResponse, Response};
use std::net::IpAddr;

pub(super) fn doors() -> Doors {
    Doors::new()
        .get("/", Deed::LookIn, first)
        .get("/in/{secret}", Deed::LookIn, come_in)
        .post("/in/{secret}", Deed::LookIn, use_link)
        .get("/sign-in", Deed::LookIn, sign_in::show)
        .post("/sign-in", Deed::LookIn, sign_in::sign_in)
        .post("/sign-in/passkey/begin", Deed::LookIn, sign_in::begin_passkey)
        .post("/sign-in/passkey", Deed::LookIn, sign_in::by_passkey)
        .post("/sign-in/second", Deed::LookIn, sign_in::second)
        .get("/P/{pass}", Deed::LookIn, super::pass::show)
        .get("/privacy", Deed::LookIn, privacy)
        .get("/alive", Deed::LookIn, alive)
}

#[derive(Template)]
#[template(path = "front/first.html")]
struct First {
    club: Option<String>,
}

async fn first(State(web): State<Web>) -> Page {
    let mut db = web.house.store.read().await?;
    render(&First { club: club::name(&mut db).await? })
}

/// A one-time link that was opened and not used yet.
#[derive(Template)]
#[template(path = "front/come_in.html")]
struct ComeIn {
    club: String,
    link: Link,
    /// The event, for who is let in to one.
    event: Option<String>,
    is_plain: bool,
    trouble: Option<String>,
    /// The part of the site that is emptied on this device first, for who is let in to an event; else empty.
    part: String,
}

impl ComeIn {
    async fn of(web: &Web, link: Link) -> Result<ComeIn, Fault> {
        let event = match link.event {
            Some(id) => {
                let known = web.house.event(id).await?;
                Some(format!("{}, {}", known.event.name, long_day(&known.event.day)))
            }
            None => None,
        };
        let mut db = web.house.store.read().await?;
        let club = club::name(&mut db).await?.unwrap_or_else(|| "The club".into());
        let part = Role::of_link(&link).filter(|role| role.event().is_some()).map(home_of).unwrap_or_default();
        Ok(ComeIn { club, link, event, is_plain: web.is_plain(), trouble: None, part })
    }
}

/// Opens a link. A driver's sheet lets this browser in at once; a one-time link asks first, for a program that looks at links in mail
/// would spend it.
async fn come_in(
    State(web): State<Web>,
    method: Method,
    Address(address): Address,
    Called(caller): Called,
    At(secret): At<String>,
) -> Result<Response, Fault> {
    if method == Method::HEAD {
        // Programs that look at links in mail ask like this. Nobody is let in by it, and a wrong link is a guess all the same.
        let is_link = find(&web.house, &secret).await;
        return is_link.map(|_| StatusCode::OK.into_response()).map_err(|refusal| wrong(&web, address, refusal));
    }
    let door = caller.door.clone().filter(|door| digest_of(door).is_some());
    let door = door.unwrap_or_else(|| secret_text(web.house.new_secret()));
    let caller = Caller { door: Some(door.clone()), ..caller };
    let mut response = match look(&web.house, &secret).await {
        // A garage's link would put this browser out of the garage it is in: it asks as well.
        Ok(link) if link.once || link.garage.is_some() => render(&ComeIn::of(&web, link).await?)?.into_response(),
        Ok(link) => {
            web.limits.opening(link.id)?;
            let_in(&web, &enter(&web.house, &secret, caller).await?, false)
        }
        Err(Refusal::Spent) => used_up(&web, &secret, caller).await?,
        Err(refusal) => return Err(wrong(&web, address, refusal)),
    };
    // Whoever looks again keeps the secret they were given: the answer to their first try may be on its way.
    if let Ok(cookie) = door_cookie(&web, &door).parse() {
        response.headers_mut().append(SET_COOKIE, cookie);
    }
    Ok(response)
}

/// A one-time link that was used: by this browser, which is let in again, or by another.
async fn used_up(web: &Web, secret: &str, caller: Caller) -> Result<Response, Fault> {
    let link = find(&web.house, secret).await?;
    if link.role != "organizer"
        && let Ok(entered) = enter(&web.house, secret, caller).await
    {
        return Ok(let_in(web, &entered, false));
    }
    let home = Role::of_link(&link).map(home_of).unwrap_or_default();
    let page = UsedUp { home: if link.role == "organizer" { "/sign-in".into() } else { home } };
    Ok((StatusCode::CONFLICT, Html(page.render()?)).into_response())
}

/// Says that a one-time link was used, and where its holder finds what it led to.
#[derive(Template)]
#[template(path = "front/used_up.html")]
struct UsedUp {
    home: String,
}

/// A link that lets nobody in is counted as a guess.
fn wrong(web: &Web, address: IpAddr, refusal: Refusal) -> Fault {
    match refusal {
        Refusal::WhoAreYou => web.limits.guess(Limited::Link, address).err().unwrap_or_else(|| Refusal::WhoAreYou.into()),
        other => other.into(),
    }
}

/// Uses a one-time link: this device is let in and no other. An organizer sets a passphrase with it.
async fn use_link(
    State(web): State<Web>,
    Address(address): Address,
    Called(caller): Called,
    At(secret): At<String>,
    form: Form,
) -> Result<Response, Fault> {
    let caller = Caller { door: caller.door.filter(|door| digest_of(door).is_some()), ..caller };
    if caller.door.is_none() {
        let words = "This browser keeps no cookies: allow them for this site, and open your link again.";
        return Err(Refusal::NotNow(words.into()).into());
    }
    let passphrase = form.raw("passphrase");
    let used = if passphrase.is_empty() && form.text("sets").is_empty() {
        enter(&web.house, &secret, caller).await
    } else {
        account::set_up(&web.house, &secret, passphrase, caller).await
    };
    match used {
        Ok(entered) => Ok(let_in(&web, &entered, false)),
        Err(Refusal::Fields(troubles)) => {
            let link = look(&web.house, &secret).await?;
            let trouble = troubles.into_iter().next().map(|trouble| trouble.message);
            let page = ComeIn { trouble, ..ComeIn::of(&web, link).await? };
            Ok((StatusCode::UNPROCESSABLE_ENTITY, Html(page.render()?)).into_response())
        }
        Err(refusal) => Err(wrong(&web, address, refusal)),
    }
}

#[derive(Template)]
#[template(path = "front/privacy.html")]
struct Privacy {
    club: String,
    term: Term,
    /// Months without use after which a garage is deleted.
    garage_months: u16,
}

async fn privacy(State(web): State<Web>) -> Page {
    let mut db = web.house.store.read().await?;
    let club = club::name(&mut db).await?.unwrap_or_else(|| "the club".into());
    let garage_months = garage_ends::terms(&mut db).await?.first().map(|set| set.term).unwrap_or_default().months();
    render(&Privacy { club, term: web.term, garage_months })
}

/// For a watchdog: answers once the database can be read.
async fn alive(State(web): State<Web>) -> Result<&'static str, Fault> {
    let mut db = web.house.store.read().await?;
    club::name(&mut db).await?;
    Ok("alive\n")
}
