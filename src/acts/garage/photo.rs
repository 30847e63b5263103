//! A photo for a line of the log or a job: re-encoded as all photos are, kept with the garage.

use crate::acts::Refusal;
use crate::acts::add_photo::{LARGEST, open_one};
use crate::acts::house::House;
use crate::acts::rights::{Actor, Deed, Whose, require};
use crate::acts::submit::check_id;
use crate::store::Touch;
use crate::store::garage::{self, GaragePhoto};
use uuid::Uuid;

/// The most photos of a garage.
const MOST: i64 = 300;

/// Keeps a photo under the id that its maker gave it; sent twice, it is there once.
///
/// # Errors
/// [`Refusal::Fields`] for a file that is no photo, [`Refusal::TooMuch`] where it is too large or they are too many.
pub async fn add(house: &House, actor: &Actor, id: Uuid, photo: Uuid, file: Vec<u8>) -> Result<(), Refusal> {
    require(actor, Deed::KeepGarage, Whose::Garage(id))?;
    check_id(photo)?;
    if file.len() > LARGEST {
        return Err(Refusal::TooMuch(format!("a photo has at most {} MB", LARGEST / 1024 / 1024)));
    }
    let (jpeg, width, height) = open_one(file).await?;
    let made_at = house.now();
    house
        .write_as(actor, Touch::Nothing, move |db| {
            Box::pin(async move {
                let is_here = garage::jpeg(db, id, photo).await?.is_some();
                if !is_here && garage::photos(db, id).await? >= MOST {
                    return Err(Refusal::TooMuch(format!("a garage has at most {MOST} photos")));
                }
                let new = GaragePhoto { id: photo, garage: id, jpeg, width, height, made_at };
                if garage::add_photo(db, &new).await? { Ok(()) } else { Err(Refusal::IdTaken) }
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
