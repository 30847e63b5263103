//! A form that changes who runs the club is taken from somebody who has shown who they are within the last five minutes. Who has not
//! is asked on a page that holds what they had typed, and goes on to where they were going.

use super::Web;
use super::error::Fault;
use super::form::{Form, Sent};
use super::page::render;
use super::session::Who;
use super::sign_in::{Answered, Begun, passkeys_of};
use crate::acts::proof::{self, MINUTES, Proven};
use crate::acts::{Actor, Refusal, passkey};
use crate::store::{account, club};
use askama::Template;
use axum::Json;
use axum::extract::{FromRequest, FromRequestParts, OriginalUri, Request, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use std::sync::Arc;

/// The field in which the passphrase is asked for.
const FIELD: &str = "proof";

/// A form from somebody who has shown who they are.
pub(super) struct Shown {
    pub proven: Proven,
    pub form: Form,
}

#[derive(Template)]
#[template(path = "organizer/proof.html")]
struct SayWho {
    club: String,
    actor: Arc<Actor>,
    /// Where the form was going: a path of ours, for it came here.
    path: String,
    /// What was typed, to be sent again.
    fields: Vec<(String, String)>,
    has_passphrase: bool,
    has_passkey: bool,
    trouble: Option<String>,
}

impl FromRequest<Web> for Shown {
    type Rejection = Response;

    async fn from_request(request: Request, web: &Web) -> Result<Shown, Response> {
        let (mut parts, body) = request.into_parts();
        let Who(actor) = Who::from_request_parts(&mut parts, web).await.map_err(IntoResponse::into_response)?;
        let Ok(OriginalUri(asked)) = OriginalUri::from_request_parts(&mut parts, web).await;
        let form = Form::from_request(Request::from_parts(parts, body), web).await.map_err(IntoResponse::into_response)?;
        match take(web, &actor, &form).await {
            Ok(proven) => Ok(Shown { proven, form }),
            Err(refusal) => Err(ask(web, actor, &form, asked.path(), refusal).await.into_response()),
        }
    }
}

/// Takes the passphrase that came along, if any, and then looks whether there is a proof.
async fn take(web: &Web, actor: &Actor, form: &Form) -> Result<Proven, NoProof> {
    let typed = form.raw(FIELD);
    if !typed.is_empty() {
        web.limits.own_passphrase(actor).map_err(NoProof::Fault)?;
        proof::by_passphrase(&web.house, actor, typed).await.map_err(NoProof::Refusal)?;
    }
    proof::require_proof(&web.house, actor).await.map_err(NoProof::Refusal)
}

/// Why there is no proof.
enum NoProof {
    Refusal(Refusal),
    Fault(Fault),
}

/// The page that asks, or the refusal where asking would not help.
async fn ask(web: &Web, actor: Arc<Actor>, form: &Form, path: &str, why: NoProof) -> Result<Response, Fault> {
    let (status, trouble) = match why {
        NoProof::Refusal(Refusal::ProofWanted) => (StatusCode::FORBIDDEN, None),
        NoProof::Refusal(Refusal::Fields(troubles)) => {
            (StatusCode::UNPROCESSABLE_ENTITY, troubles.into_iter().next().map(|trouble| trouble.message))
        }
        NoProof::Refusal(other) => return Err(other.into()),
        NoProof::Fault(fault) => return Err(fault),
    };
    let mut db = web.house.store.read().await?;
    let passkeys = account::passkeys(&mut db).await?;
    let page = SayWho {
        club: club::name(&mut db).await?.unwrap_or_else(|| "The club".into()),
        path: path.to_owned(),
        fields: form.pairs().filter(|(name, _)| *name != FIELD).map(|(name, text)| (name.into(), text.into())).collect(),
        has_passphrase: account::passphrase(&mut db, actor.link).await?.is_some(),
        has_passkey: web.passkeys.is_some() && passkeys.iter().any(|one| one.link == actor.link),
        trouble,
        actor,
    };
    Ok((status, render(&page)?).into_response())
}

/// Asks for one of the person's own passkeys.
pub(super) async fn begin(State(web): State<Web>, Who(actor): Who) -> Result<Json<Begun>, Fault> {
    web.limits.own_passphrase(&actor)?;
    let (id, options) = passkey::begin_proof(&web.house, passkeys_of(&web)?, &actor).await?;
    Ok(Json(Begun { id, options }))
}

/// Takes a passkey's answer as the proof.
pub(super) async fn finish(
    State(web): State<Web>,
    Who(actor): Who,
    Sent(Answered { id, credential, .. }): Sent<Answered>,
) -> Result<StatusCode, Fault> {
    passkey::finish_proof(&web.house, passkeys_of(&web)?, &actor, id, &credential).await?;
    Ok(StatusCode::NO_CONTENT)
}
