//! A photo taken at the gate: it belongs to the sign-off that names it.

use super::Refusal;
use super::add_photo::LARGEST;
use super::house::House;
use super::picture::{self, Lane, Upload};
use super::rights::{Actor, Deed, Whose, require};
use super::submit::check_id;
use crate::store::Touch;
use crate::store::photo::{self, Photo};
use uuid::Uuid;

/// The most photos of an entry, the driver's among them: the gate has room of its own beyond theirs.
const MOST: i64 = super::add_photo::MOST_PHOTOS + 40;
/// The most photos of a sign-off.
pub const MOST_OF_ONE: usize = 4;

/// Keeps a photo under the id that the device gave it; sent twice, it is there once.
///
/// # Errors
/// [`Refusal::Fields`] for a file that is no photo, [`Refusal::TooMuch`] where it is too large or they are too many,
/// [`Refusal::IdTaken`] where the id is another entry's photo.
pub async fn add(house: &House, actor: &Actor, entry: Uuid, id: Uuid, file: Upload) -> Result<(), Refusal> {
    let known = house.event_of_entry(entry).await?;
    require(actor, Deed::WorkTheGate, Whose::Entry { event: known.event.id, entry })?;
    check_id(id)?;
    if file.bytes() > LARGEST as u64 {
        return Err(Refusal::TooMuch(format!("a photo has at most {} MB", LARGEST / 1024 / 1024)));
    }
    let (jpeg, width, height) = picture::open(actor, Lane::Gate, file).await?;
    let made_at = house.now();
    house
        .write_as(actor, Touch::Nothing, move |db| {
            Box::pin(async move {
                match photo::entry_of(db, id).await? {
                    Some(there) if there == entry => return Ok(()),
                    Some(_) => return Err(Refusal::IdTaken),
                    None => {}
                }
                if photo::count(db, entry).await? >= MOST {
                    return Err(Refusal::TooMuch(format!("an entry has at most {MOST} photos")));
                }
                Ok(photo::add(db, &Photo { id, entry, jpeg, width, height, made_at }).await?)
            })
        })
        .await
}
