//! Sending: the form of the driver's first page, or a device's own file of answers.

use super::{Mine, Submission};
use crate::acts::submit::submit;
use crate::acts::{Actor, Refusal};
use crate::rules::strict_json;
use crate::rules::units::Units;
use crate::store::apart;
use crate::store::history::Kind;
use crate::web::Web;
use crate::web::error::Fault;
use crate::web::form::{At, Chosen, Form};
use crate::web::session::Who;
use axum::Json;
use axum::body::Bytes;
use axum::extract::{FromRequest, Request, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Redirect, Response};
use jiff::Timestamp;
use serde::Deserialize;
use serde_json::{Map, Value as Json_, json};
use uuid::Uuid;

/// More bytes than these are read apart.
const LARGE: usize = 128 * 1024;

/// A submission that carries its answers, as a device sends it.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Carried {
    id: Uuid,
    seen: Vec<Uuid>,
    edition: Uuid,
    made_at: Option<Timestamp>,
    /// Nothing where the device had its answers kept here as they were typed: then what is kept is what is sent.
    answers: Option<Map<String, Json_>>,
}

pub(super) async fn send(
    State(web): State<Web>,
    Who(actor): Who,
    At(entry): At<Uuid>,
    Chosen(units): Chosen,
    request: Request,
) -> Result<Response, Fault> {
    let kind = request.headers().get(header::CONTENT_TYPE).and_then(|value| value.to_str().ok()).unwrap_or_default();
    if kind.starts_with("application/json") {
        let bytes = Bytes::from_request(request, &web).await.map_err(Fault::body)?;
        return Ok(carried(&web, &actor, entry, &units, bytes).await);
    }
    let form = Form::from_request(request, &web).await?;
    let given =
        Submission { id: form.id("id")?, seen: form.ids("seen")?, edition: form.id("edition")?, made_at: None, answers: None };
    keep_what_stands(&web, &actor, entry, &units).await?;
    submit(&web.house, &actor, entry, given).await?;
    Ok(Redirect::to(&format!("/my/{entry}")).into_response())
}

/// The page shows what was sent last where nothing is typed; what is sent must be what the page showed.
async fn keep_what_stands(web: &Web, actor: &Actor, entry: Uuid, units: &Units) -> Result<(), Fault> {
    let mine = Mine::of(web, actor, entry, units).await?;
    Ok(crate::acts::fill_in::let_stand(&web.house, actor, entry, mine.sent()).await?)
}

async fn carried(web: &Web, actor: &Actor, entry: Uuid, units: &Units, bytes: Bytes) -> Response {
    let read = |bytes: &[u8]| strict_json::read(bytes).and_then(serde_json::from_value);
    // What a sheet takes is read in half a millisecond; what is larger must not hold up others.
    let carried = match bytes.len() > LARGE {
        true => apart(move || read(&bytes)).await,
        false => Ok(read(&bytes)),
    };
    let carried: Carried = match carried.unwrap_or_else(|error| Err(serde::de::Error::custom(error))) {
        Ok(carried) => carried,
        Err(error) => return said(StatusCode::UNPROCESSABLE_ENTITY, json!({ "error": error.to_string() })),
    };
    let id = carried.id;
    match take(web, actor, entry, units, carried).await {
        Ok(()) => said(StatusCode::CREATED, json!({ "id": id })),
        Err(fault) => fault,
    }
}

async fn take(web: &Web, actor: &Actor, entry: Uuid, units: &Units, carried: Carried) -> Result<(), Response> {
    let Carried { id, seen, edition, made_at, answers } = carried;
    // The sheet is read only where it is needed: a paddock sends its answers with it, all within a quarter of an hour.
    let read = || async { Mine::of(web, actor, entry, units).await.map_err(IntoResponse::into_response) };
    if answers.is_none() {
        // The id is made at the driver's tap. One that is here has arrived, whatever was typed since: the tap is answered alike.
        if read().await?.state.records.iter().any(|record| record.id == id && record.kind == Kind::Submission) {
            return Ok(());
        }
        keep_what_stands(web, actor, entry, units).await.map_err(IntoResponse::into_response)?;
    }
    let Err(refusal) = submit(&web.house, actor, entry, Submission { id, seen, edition, made_at, answers }).await else {
        return Ok(());
    };
    let body = refused(&refusal, &read().await?);
    Err(said(Fault::from(refusal).status, body))
}

fn said(status: StatusCode, body: Json_) -> Response {
    (status, Json(body)).into_response()
}

/// A refusal for a program: the sentence, the items or fields it is about, and where the first of them is mended.
fn refused(refusal: &Refusal, mine: &Mine) -> Json_ {
    let mut body = json!({ "error": refusal.to_string() });
    let first = match refusal {
        Refusal::Answers(items) => items.keys().next(),
        Refusal::NotComplete(items) => items.first(),
        _ => None,
    };
    let areas = &mine.known.edition.sheet.areas;
    let place = first.and_then(|id| Some((areas.iter().find(|area| area.items.iter().any(|item| item.id.as_str() == id))?, id)));
    if let Some((area, item)) = place {
        let name = mine.known.edition.sheet.item(item).map(|item| item.name.as_str());
        body["mend"] = json!({ "href": format!("/my/{}/areas/{}#{item}", mine.state.entry.id, area.id), "name": name });
    }
    match refusal {
        Refusal::Answers(items) => {
            let items: Map<String, Json_> = items
                .iter()
                .map(|(item, troubles)| (item.clone(), json!(troubles.iter().map(|t| &t.message).collect::<Vec<_>>())))
                .collect();
            body["answers"] = Json_::Object(items);
        }
        Refusal::NotComplete(items) => body["missing"] = json!(items),
        Refusal::Fields(troubles) => {
            body["fields"] = troubles.iter().map(|trouble| (trouble.field.clone(), json!(trouble.message))).collect();
        }
        Refusal::EditionRaised { changed, .. } => body["changed"] = json!(changed),
        Refusal::Store(_) => body["error"] = json!("something broke here, not at your end"),
        _ => {}
    }
    body
}
