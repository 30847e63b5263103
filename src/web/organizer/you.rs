//! Oneself: the passphrase, passkeys, and the devices one is signed in on.

use crate::acts::account::FEWEST;
use crate::acts::proof::{self, Proven};
use crate::acts::refusal::field;
use crate::acts::webauthn::prelude::RegisterPublicKeyCredential;
use crate::acts::{Actor, Refusal, account, let_out, passkey};
use crate::rules::answer::Trouble;
use crate::store::account::KeptPasskey;
use crate::store::device::{self, Listed};
use crate::store::{account as kept_account, club};
use crate::web::Web;
use crate::web::error::Fault;
use crate::web::form::{At, Form, Sent};
use crate::web::page::{Page, render};
use crate::web::proof::Shown;
use crate::web::session::Who;
use crate::web::sign_in::{Begun, passkeys_of};
use askama::Template;
use axum::Json;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{Html, IntoResponse, Redirect, Response};
use data_encoding::HEXLOWER_PERMISSIVE;
use serde::Deserialize;
use std::sync::Arc;
use uuid::Uuid;

#[derive(Template)]
#[template(path = "organizer/you.html")]
struct You {
    club: String,
    actor: Arc<Actor>,
    has_passphrase: bool,
    passkeys: Vec<KeptPasskey>,
    devices: Vec<Listed>,
    can_have_passkeys: bool,
    is_plain: bool,
    saved: bool,
    troubles: Vec<Trouble>,
}

impl You {
    async fn read(web: &Web, actor: Arc<Actor>) -> Result<You, Fault> {
        let now = web.house.now();
        let passkeys = passkey::own(&web.house, actor.link).await?;
        let mut db = web.house.store.read().await?;
        let devices = device::of_link(&mut db, actor.link).await?.into_iter().filter(|device| device.is_in(now));
        Ok(You {
            club: club::name(&mut db).await?.unwrap_or_else(|| "The club".into()),
            has_passphrase: kept_account::passphrase(&mut db, actor.link).await?.is_some(),
            devices: devices.collect(),
            passkeys,
            can_have_passkeys: web.passkeys.is_some(),
            is_plain: web.is_plain(),
            saved: false,
            troubles: Vec::new(),
            actor,
        })
    }

    fn trouble(&self, name: &str) -> Option<&str> {
        self.troubles.iter().find(|trouble| trouble.field == name).map(|trouble| trouble.message.as_str())
    }

    fn hex(&self, passkey: &KeptPasskey) -> String {
        HEXLOWER_PERMISSIVE.encode(&passkey.id)
    }
}

pub(super) async fn show(State(web): State<Web>, Who(actor): Who) -> Page {
    render(&You::read(&web, actor).await?)
}

/// Changes the passphrase for who says the one they have, or has shown who they are a moment ago.
pub(super) async fn passphrase(State(web): State<Web>, Who(actor): Who, form: Form) -> Result<Response, Fault> {
    match change(&web, &actor, form.raw("old"), form.raw("passphrase")).await? {
        Ok(()) => Ok(render(&You { saved: true, ..You::read(&web, actor).await? })?.into_response()),
        Err(Refusal::ProofWanted) => {
            let troubles = vec![field("old", "Say the one you have. If you do not know it, use a passkey first.")];
            let page = You { troubles, ..You::read(&web, actor).await? };
            Ok((StatusCode::FORBIDDEN, Html(page.render()?)).into_response())
        }
        Err(Refusal::Fields(troubles)) => {
            let page = You { troubles, ..You::read(&web, actor).await? };
            Ok((StatusCode::UNPROCESSABLE_ENTITY, Html(page.render()?)).into_response())
        }
        Err(other) => Err(other.into()),
    }
}

/// Takes what was typed as the proof, if anything was, and then looks whether there is one.
async fn prove(web: &Web, actor: &Actor, typed: &str) -> Result<Result<Proven, Refusal>, Fault> {
    if !typed.is_empty() {
        web.limits.own_passphrase(actor)?;
        if let Err(refusal) = proof::by_passphrase(&web.house, actor, typed).await {
            return Ok(Err(refusal));
        }
    }
    Ok(proof::require_proof(&web.house, actor).await)
}

async fn change(web: &Web, actor: &Actor, old: &str, new: &str) -> Result<Result<(), Refusal>, Fault> {
    match prove(web, actor, old).await? {
        Ok(proven) => Ok(account::change(&web.house, &proven, new).await),
        Err(Refusal::Fields(troubles)) => {
            let at_old = |trouble: Trouble| Trouble { field: "old".into(), ..trouble };
            Ok(Err(Refusal::Fields(troubles.into_iter().map(at_old).collect())))
        }
        Err(other) => Ok(Err(other)),
    }
}

pub(super) async fn begin_passkey(
    State(web): State<Web>,
    Who(actor): Who,
    Sent(Beginning { passphrase }): Sent<Beginning>,
) -> Result<Json<Begun>, Fault> {
    let proven = prove(&web, &actor, &passphrase).await??;
    let (id, options) = passkey::begin_adding(&web.house, passkeys_of(&web)?, &proven).await?;
    Ok(Json(Begun { id, options }))
}

/// Who begins to add a passkey says the passphrase, if they did not show who they are a moment ago.
#[derive(Deserialize)]
pub(super) struct Beginning {
    #[serde(default)]
    passphrase: String,
}

/// What the browser's authenticator made.
#[derive(Deserialize)]
pub(super) struct MadePasskey {
    id: Uuid,
    name: String,
    credential: RegisterPublicKeyCredential,
}

pub(super) async fn add_passkey(
    State(web): State<Web>,
    Who(actor): Who,
    Sent(MadePasskey { id, name, credential }): Sent<MadePasskey>,
) -> Result<StatusCode, Fault> {
    passkey::finish_adding(&web.house, passkeys_of(&web)?, &actor, id, &name, &credential).await?;
    Ok(StatusCode::NO_CONTENT)
}

pub(super) async fn end_passkey(State(web): State<Web>, At(id): At<String>, shown: Shown) -> Result<Redirect, Fault> {
    let id = HEXLOWER_PERMISSIVE.decode(id.as_bytes()).map_err(|_| Fault::from(Refusal::NotHere))?;
    passkey::remove(&web.house, &shown.proven, id).await?;
    Ok(Redirect::to("/club/you"))
}

pub(super) async fn end_device(State(web): State<Web>, Who(actor): Who, At(device): At<Uuid>) -> Result<Redirect, Fault> {
    let_out::own_device(&web.house, &actor, device).await?;
    Ok(Redirect::to("/club/you"))
}
