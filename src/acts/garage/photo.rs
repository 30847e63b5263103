//! A photo for a line of the log or a job: re-encoded as all photos are, kept with the garage.

use super::note::{Known, id_made_of};
use crate::acts::Refusal;
use crate::acts::add_photo::LARGEST;
use crate::acts::house::House;
use crate::acts::picture::{self, Lane};
use crate::acts::rights::{Actor, Deed, Whose, require};
use crate::rules::garage::change::Change;
use crate::store::Touch;
use crate::store::garage::{self, GaragePhoto};
use uuid::Uuid;

/// The most photos of a garage.
const MOST: i64 = 300;
/// The most bytes of a garage's photos: 300 of an ordinary size.
const MOST_BYTES: i64 = 90_000_000;

/// Keeps a photo of a line of the log or of a job. The same file sent twice is there once: its ids are made of what is in it.
///
/// # Errors
/// [`Refusal::Fields`] for a file that is no photo, [`Refusal::TooMuch`] where it is too large or they are too many.
pub async fn add(house: &House, actor: &Actor, id: Uuid, of: Uuid, file: Vec<u8>) -> Result<(), Refusal> {
    let known = Known::read(house, actor, id).await?;
    if file.len() > LARGEST {
        return Err(Refusal::TooMuch(format!("a photo has at most {} MB", LARGEST / 1024 / 1024)));
    }
    let [photo, noted] = ["photo", "noted"].map(|what| id_made_of(&[id.as_bytes(), of.as_bytes(), what.as_bytes(), &file]));
    let (jpeg, width, height) = picture::open_bytes(actor, Lane::Paddock, file).await?;
    let made_at = house.now();
    house
        .write_as(actor, Touch::Nothing, move |db| {
            Box::pin(async move {
                if garage::jpeg(db, id, photo).await?.is_some() {
                    return Ok(());
                }
                let (count, bytes) = garage::photos(db, id).await?;
                if count >= MOST || bytes + i64::try_from(jpeg.len()).unwrap_or(i64::MAX) > MOST_BYTES {
                    let most = MOST_BYTES / 1_000_000;
                    return Err(Refusal::TooMuch(format!("a garage has at most {MOST} photos, of {most} MB together")));
                }
                let new = GaragePhoto { id: photo, garage: id, jpeg, width, height, made_at };
                if !garage::add_photo(db, &new).await? {
                    return Err(Refusal::IdTaken);
                }
                known.note(db, id, made_at, vec![(noted, Change::Photo { of, photo })]).await
            })
        })
        .await
}

/// The JPEG of one of the garage's photos.
pub async fn jpeg(house: &House, actor: &Actor, id: Uuid, photo: Uuid) -> Result<Vec<u8>, Refusal> {
    require(actor, Deed::KeepGarage, Whose::Garage(id))?;
    let mut db = house.store.read().await?;
    garage::jpeg(&mut db, id, photo).await?.ok_or(Refusal::NotHere)
}
