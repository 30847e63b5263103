//! Signing in and out: a passphrase or a passkey for organizers; out for everybody.

use super::Web;
use super::address::Address;
use super::error::Fault;
use super::form::{Form, Sent};
use super::page::{Page, render};
use super::session::{Called, Who, end_cookie, home_of, set_cookie};
use crate::acts::enter::Entered;
use crate::acts::passkey::{self, Passkeys};
use crate::acts::webauthn::NONE_HERE;
use crate::acts::webauthn::prelude::{PublicKeyCredential, RequestChallengeResponse};
use crate::acts::{Refusal, account, let_out};
use crate::store::club;
use askama::Template;
use axum::Json;
use axum::extract::State;
use axum::http::StatusCode;
use axum::http::header::SET_COOKIE;
use axum::response::{Html, IntoResponse, Redirect, Response};
use serde::{Deserialize, Serialize};
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

/// The answer that lets a device in: its cookie, and the way to its first page.
pub(super) fn let_in(web: &Web, entered: &Entered, shared: bool) -> Response {
    ([(SET_COOKIE, set_cookie(web, entered, shared))], Redirect::to(&home_of(entered.actor.role))).into_response()
}

pub(super) async fn sign_in(
    State(web): State<Web>,
    Address(address): Address,
    Called(caller): Called,
    form: Form,
) -> Result<Response, Fault> {
    let (name, shared) = (form.text("name"), !form.text("shared").is_empty());
    web.limits.passphrase(address, name)?;
    match account::sign_in(&web.house, name, form.raw("passphrase"), shared, caller).await {
        Ok(entered) => Ok(let_in(&web, &entered, shared)),
        Err(Refusal::Fields(troubles)) => {
            let trouble = troubles.into_iter().next().map(|trouble| trouble.message);
            let page = SignIn { name: name.to_owned(), trouble, ..SignIn::read(&web).await? };
            Ok((StatusCode::UNPROCESSABLE_ENTITY, Html(page.render()?)).into_response())
        }
        Err(other) => Err(other.into()),
    }
}

/// Signs this device out.
pub(super) async fn sign_out(State(web): State<Web>, Who(actor): Who) -> Result<Response, Fault> {
    let_out::this_device(&web.house, &actor).await?;
    Ok((end_cookie(&web, actor.role), Redirect::to("/")).into_response())
}

/// A passkey's ceremony that was begun: the id to answer under, and what the browser is asked.
#[derive(Serialize)]
pub(super) struct Begun<T> {
    pub id: Uuid,
    pub options: T,
}

pub(super) fn passkeys_of(web: &Web) -> Result<&Passkeys, Fault> {
    web.passkeys.as_deref().ok_or_else(|| Refusal::NotNow(NONE_HERE.into()).into())
}

pub(super) async fn begin_passkey(
    State(web): State<Web>,
    Address(address): Address,
) -> Result<Json<Begun<RequestChallengeResponse>>, Fault> {
    web.limits.passkey(address)?;
    let (id, options) = passkey::begin_signing_in(&web.house, passkeys_of(&web)?).await?;
    Ok(Json(Begun { id, options }))
}

#[derive(Deserialize)]
pub(super) struct Answered {
    id: Uuid,
    #[serde(default)]
    shared: bool,
    credential: PublicKeyCredential,
}

pub(super) async fn by_passkey(
    State(web): State<Web>,
    Address(address): Address,
    Called(caller): Called,
    Sent(Answered { id, shared, credential }): Sent<Answered>,
) -> Result<Response, Fault> {
    web.limits.passkey(address)?;
    let entered = passkey::finish_signing_in(&web.house, passkeys_of(&web)?, id, &credential, shared, caller).await?;
    Ok((StatusCode::NO_CONTENT, [(SET_COOKIE, set_cookie(&web, &entered, shared))]).into_response())
}
