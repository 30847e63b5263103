//! Photos of an item: taken in, shown to those who may see the entry.

use super::Mine;
use crate::acts::Refusal;
use crate::acts::add_photo::{Incoming, Place, add_photos};
use crate::acts::refusal::field;
use crate::acts::rights::{Deed, Whose, require};
use crate::rules::edition::question;
use crate::rules::sheet::Kind;
use crate::store::photo;
use crate::web::Web;
use crate::web::error::Fault;
use crate::web::form::{At, Chosen};
use crate::web::session::Who;
use crate::web::upload::{self, Part};
use axum::extract::multipart::MultipartRejection;
use axum::extract::{Multipart, State};
use axum::http::header;
use axum::response::{IntoResponse, Redirect, Response};
use uuid::Uuid;

/// Takes photos in and puts their ids to the item's draft. A device may give each its id, before its file.
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
    let asked = mine.known.edition.sheet.item(&item);
    let (most, question) = match asked.map(|item| (item, &item.kind)) {
        Some((item, Kind::Photo { most })) => (*most, question(item)),
        _ => return Err(Refusal::NotNow("This item takes no photo.".into()).into()),
    };
    let (mut photos, mut id) = (Vec::new(), None);
    let (parts, _place) = upload::received(&web, &actor, form).await?;
    for part in parts {
        match part {
            Part::Text(name, text) if name == "id" => {
                let no_id = |_| Refusal::Fields(vec![field("id", "This is no id.")]);
                id = Some(Uuid::parse_str(&text).map_err(no_id)?);
            }
            Part::Photo(file) => photos.push(Incoming { id: id.take(), file }),
            Part::Text(..) => {}
        }
    }
    let sent = mine.sent().remove(&item).unwrap_or_default();
    let place = Place { entry, item: item.clone(), question, most, sent };
    // All or none: a form that is refused leaves no photo behind that counts against the car.
    add_photos(&web.house, &actor, place, photos).await?;
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
