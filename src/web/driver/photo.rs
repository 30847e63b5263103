//! Photos of an item: taken in, shown to those who may see the entry.

use super::Mine;
use crate::acts::Refusal;
use crate::acts::add_photo::add_photos;
use crate::acts::fill_in;
use crate::acts::rights::{Deed, Whose, require};
use crate::rules::sheet::Kind;
use crate::store::draft::Draft;
use crate::store::photo;
use crate::web::Web;
use crate::web::error::Fault;
use crate::web::form::{At, Chosen};
use crate::web::session::Who;
use axum::extract::multipart::MultipartRejection;
use axum::extract::{Multipart, State};
use axum::http::header;
use axum::response::{IntoResponse, Redirect, Response};
use uuid::Uuid;

/// Takes one photo in and puts its id to the item's draft.
pub(super) async fn add(
    State(web): State<Web>,
    Who(actor): Who,
    At((entry, item)): At<(Uuid, String)>,
    Chosen(units): Chosen,
    form: Result<Multipart, MultipartRejection>,
) -> Result<Response, Fault> {
    let mine = Mine::of(&web, &actor, entry, &units).await?;
    let area = mine.known.edition.sheet.areas.iter().find(|area| area.items.iter().any(|other| other.id.as_str() == item));
    let area = area.ok_or(Refusal::NotHere)?;
    let most = match mine.known.edition.sheet.item(&item).map(|item| &item.kind) {
        Some(Kind::Photo { most }) => *most,
        _ => return Err(Refusal::NotNow("This item takes no photo.".into()).into()),
    };
    let mut typed = mine.filled.draft.get(&item).cloned().unwrap_or_default();
    let mut ids: Vec<String> =
        typed.get("photo").map(|ids| ids.split_whitespace().map(str::to_owned).collect()).unwrap_or_default();
    let mut form = form.map_err(|_| Fault::unsupported("A photo is sent as a form with a file."))?;
    let mut files = Vec::new();
    while let Some(part) = form.next_field().await? {
        let is_photo = part.name() == Some("photo");
        let bytes = part.bytes().await?;
        if is_photo && !bytes.is_empty() {
            files.push(bytes.to_vec());
        }
    }
    // All or none: a form that is refused leaves no photo behind that counts against the car.
    if ids.len() + files.len() > most {
        return Err(Refusal::TooMuch(format!("at most {most} photos here")).into());
    }
    ids.extend(add_photos(&web.house, &actor, entry, files).await?.iter().map(Uuid::to_string));
    typed.insert("photo".into(), ids.join(" "));
    fill_in::keep(&web.house, &actor, entry, Draft::from([(item.clone(), typed)])).await?;
    Ok(Redirect::to(&format!("/my/{entry}/areas/{}#{item}", area.id)).into_response())
}

pub(super) async fn show(State(web): State<Web>, Who(actor): Who, At((entry, id)): At<(Uuid, Uuid)>) -> Result<Response, Fault> {
    let known = web.house.event_of_entry(entry).await?;
    require(&actor, Deed::FillIn, Whose::Entry { event: known.event.id, entry })?;
    jpeg(&web, entry, id).await
}

/// The bytes of a photo, as a picture and as nothing else.
pub(in crate::web) async fn jpeg(web: &Web, entry: Uuid, id: Uuid) -> Result<Response, Fault> {
    let mut db = web.house.store.read().await?;
    let jpeg = photo::jpeg(&mut db, entry, id).await?.ok_or(Refusal::NotHere)?;
    let kind = [(header::CONTENT_TYPE, "image/jpeg"), (header::CACHE_CONTROL, "private, max-age=86400")];
    Ok((kind, jpeg).into_response())
}
