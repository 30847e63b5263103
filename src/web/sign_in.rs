//! Signing in and out: a passphrase or a passkey for organizers; out for everybody.

use super::Web;
use super::address::Address;
use super::error::Fault;
use super::form::{Form, Sent};
use super::page::{Page, render};
use super::session::{Called, KNOWN, Who, end_cookie, home_of, set_cookie};
use crate::acts::account::{self, Came, Typed};
use crate::acts::enter::Entered;
use crate::acts::passkey::{self, Passkeys};
use crate::acts::passphrase::Lane;
use crate::acts::webauthn::NONE_HERE;
use crate::acts::webauthn::prelude::PublicKeyCredential;
use crate::acts::{Refusal, let_out};
use crate::store::log::{self, Security, Way};
use crate::store::{club, known_browser};
use askama::Template;
use axum::Json;
use axum::extract::State;
use axum::http::header::SET_COOKIE;
use axum::http::{HeaderMap, StatusCode};
use axum::response::{Html, IntoResponse, Redirect, Response};
use serde::{Deserialize, Serialize};
use std::net::IpAddr;
use uuid::Uuid;

#[derive(Template)]
#[template(path = "front/sign_in.html")]
struct SignIn {
    club: String,
    name: String,
    trouble: Option<String>,
    can_have_passkeys: bool,
    is_plain: bool,
}

impl SignIn {
    async fn read(web: &Web) -> Result<SignIn, Fault> {
        let mut db = web.house.store.read().await?;
        let club = club::name(&mut db).await?.unwrap_or_else(|| "The club".into());
        let can_have_passkeys = web.passkeys.is_some();
        Ok(SignIn { club, name: String::new(), trouble: None, can_have_passkeys, is_plain: web.is_plain() })
    }
}

pub(super) async fn show(State(web): State<Web>) -> Page {
    render(&SignIn::read(&web).await?)
}

/// The headers that let a device in: its cookie, and an organizer's browser the one by which it is known from now on.
fn cookies_of(web: &Web, entered: &Entered, shared: bool) -> HeaderMap {
    let known = entered.known.as_deref().map(|secret| known_cookie(web, secret));
    let mut headers = HeaderMap::new();
    for cookie in std::iter::once(set_cookie(web, entered, shared)).chain(known) {
        // A cookie of ours is plain text; one that were not would be left out.
        if let Ok(cookie) = cookie.parse() {
            headers.append(SET_COOKIE, cookie);
        }
    }
    headers
}

/// The header by which a browser is known at the door from now on. It lets nobody in: a try from it is counted by itself.
fn known_cookie(web: &Web, secret: &str) -> String {
    let seconds = known_browser::DAYS * 24 * 3600;
    let secure = if web.is_https() { "; Secure" } else { "" };
    format!("{KNOWN}={secret}; Path=/sign-in; Max-Age={seconds}; HttpOnly; SameSite=Lax{secure}")
}

/// The answer that lets a device in, and the way to its first page.
pub(super) fn let_in(web: &Web, entered: &Entered, shared: bool) -> Response {
    (cookies_of(web, entered, shared), Redirect::to(&home_of(entered.actor.role))).into_response()
}

/// Tells the log that somebody signed in.
fn tell(entered: &Entered, way: Way, kind: &str, address: IpAddr, lane: Lane) {
    let (link, device) = (entered.actor.link, entered.actor.device);
    log::tell(Security::SignedIn { way, link, device, kind, address, is_known_browser: lane == Lane::Known });
}

pub(super) async fn sign_in(
    State(web): State<Web>,
    Address(address): Address,
    Called(caller): Called,
    form: Form,
) -> Result<Response, Fault> {
    let typed = Typed { name: form.text("name"), passphrase: form.raw("passphrase"), shared: !form.text("shared").is_empty() };
    let door = account::at_the_door(&web.house, typed.name, &caller).await?;
    let lane = web.limits.passphrase(address, typed.name, door.known.as_ref())?;
    let (kind, is_known_name) = (caller.kind.clone(), door.is_somebody());
    match account::sign_in(&web.house, door, lane, typed, caller).await {
        Ok(Came::In(entered)) => {
            tell(&entered, Way::Passphrase, &kind, address, lane);
            Ok(let_in(&web, &entered, typed.shared))
        }
        Ok(Came::AsksPasskey(half)) => {
            log::tell(Security::SecondAsked { link: half.link(), address });
            let (id, options) = passkey::begin_second(&web.house, passkeys_of(&web)?, *half).await?;
            let SignIn { club, .. } = SignIn::read(&web).await?;
            Ok(render(&Second { club, id, options: options.to_string() })?.into_response())
        }
        Err(Refusal::Fields(troubles)) => {
            let is_known_browser = lane == Lane::Known;
            log::tell(Security::NotSignedIn { way: Way::Passphrase, is_known_name, kind: &kind, address, is_known_browser });
            let trouble = troubles.into_iter().next().map(|trouble| trouble.message);
            let page = SignIn { name: typed.name.to_owned(), trouble, ..SignIn::read(&web).await? };
            Ok((StatusCode::UNPROCESSABLE_ENTITY, Html(page.render()?)).into_response())
        }
        Err(other) => Err(other.into()),
    }
}

/// Asks for a passkey beside the passphrase, which was right.
#[derive(Template)]
#[template(path = "front/second.html")]
struct Second {
    club: String,
    id: Uuid,
    /// What the browser is asked, as JSON.
    options: String,
}

/// Takes the passkey that the club asks for beside the passphrase.
pub(super) async fn second(
    State(web): State<Web>,
    Address(address): Address,
    Called(caller): Called,
    Sent(Answered { id, credential, .. }): Sent<Answered>,
) -> Result<Response, Fault> {
    let lane = web.limits.passkey(address, account::known_browser(&web.house, &caller).await?.as_ref())?;
    let kind = caller.kind.clone();
    match passkey::finish_second(&web.house, passkeys_of(&web)?, id, &credential, caller).await {
        Ok((entered, shared)) => {
            tell(&entered, Way::Passkey, &kind, address, lane);
            Ok((StatusCode::NO_CONTENT, cookies_of(&web, &entered, shared)).into_response())
        }
        Err(refusal) => {
            tell_not(&kind, address, lane);
            Err(refusal.into())
        }
    }
}

/// Tells the log that a passkey let nobody in.
fn tell_not(kind: &str, address: IpAddr, lane: Lane) {
    let is_known_browser = lane == Lane::Known;
    log::tell(Security::NotSignedIn { way: Way::Passkey, is_known_name: false, kind, address, is_known_browser });
}

/// Signs this device out.
pub(super) async fn sign_out(State(web): State<Web>, Who(actor): Who) -> Result<Response, Fault> {
    let_out::this_device(&web.house, &actor).await?;
    Ok((end_cookie(&web, actor.role), Redirect::to("/")).into_response())
}

/// A passkey's ceremony that was begun: the id to answer under, and what the browser is asked.
#[derive(Serialize)]
pub(super) struct Begun {
    pub id: Uuid,
    pub options: serde_json::Value,
}

pub(super) fn passkeys_of(web: &Web) -> Result<&Passkeys, Fault> {
    web.passkeys.as_deref().ok_or_else(|| Refusal::NotNow(NONE_HERE.into()).into())
}

pub(super) async fn begin_passkey(
    State(web): State<Web>,
    Address(address): Address,
    Called(caller): Called,
) -> Result<Json<Begun>, Fault> {
    let lane = web.limits.passkey(address, account::known_browser(&web.house, &caller).await?.as_ref())?;
    let (id, options) = passkey::begin_signing_in(&web.house, passkeys_of(&web)?, lane).await?;
    Ok(Json(Begun { id, options }))
}

/// What the browser's authenticator says to a ceremony.
#[derive(Deserialize)]
pub(super) struct Answered {
    pub id: Uuid,
    #[serde(default)]
    pub shared: bool,
    pub credential: PublicKeyCredential,
}

pub(super) async fn by_passkey(
    State(web): State<Web>,
    Address(address): Address,
    Called(caller): Called,
    Sent(Answered { id, shared, credential }): Sent<Answered>,
) -> Result<Response, Fault> {
    let lane = web.limits.passkey(address, account::known_browser(&web.house, &caller).await?.as_ref())?;
    let kind = caller.kind.clone();
    match passkey::finish_signing_in(&web.house, passkeys_of(&web)?, id, &credential, shared, caller).await {
        Ok(entered) => {
            tell(&entered, Way::Passkey, &kind, address, lane);
            Ok((StatusCode::NO_CONTENT, cookies_of(&web, &entered, shared)).into_response())
        }
        Err(refusal) => {
            tell_not(&kind, address, lane);
            Err(refusal.into())
        }
    }
}
