//! A photo for an item: opened in its turn and made anew. What came in is not kept.

use super::Refusal;
use super::house::House;
use super::picture::{self, Lane, Upload};
use super::rights::{Actor, Deed, Whose, require};
use super::submit::check_id;
use crate::rules::answer::Typed;
use crate::rules::edition::QUESTION;
use crate::store::Touch;
use crate::store::draft::{self, Draft};
use crate::store::photo::{self, Photo};
use sqlx::SqliteConnection;
use uuid::Uuid;

/// The largest file that is taken, in bytes: a phone's photo has 3 to 8 MB.
pub const LARGEST: usize = 12 * 1024 * 1024;
/// The most photos of an entry: each is kept in 600 kB, so that they take 36 MB.
pub const MOST_PHOTOS: i64 = 60;
fn too_many() -> Refusal {
    Refusal::TooMuch(format!("an entry has at most {MOST_PHOTOS} photos"))
}

/// A photo on its way in.
pub struct Incoming {
    /// Made on the device, so that a photo whose answer was lost can be sent again and is there once.
    pub id: Option<Uuid>,
    pub file: Upload,
}

/// What an item has of photos.
pub struct Place {
    pub entry: Uuid,
    pub item: String,
    /// Which question it asks: [`crate::rules::edition::question`].
    pub question: String,
    /// The most photos of the item.
    pub most: usize,
    /// What was sent last for the item: it stands where nothing is typed.
    pub sent: Typed,
}

/// Takes photos in for an item, all or none; one that is here already is here already.
///
/// # Errors
/// [`Refusal::Fields`] where one is no JPEG, PNG or WebP by its content; [`Refusal::TooMuch`] where it is too large or they are
/// too many; [`Refusal::IdTaken`] where the id is another entry's photo.
pub async fn add_photos(house: &House, actor: &Actor, place: Place, incoming: Vec<Incoming>) -> Result<(), Refusal> {
    let known = house.event_of_entry(place.entry).await?;
    require(actor, Deed::FillIn, Whose::Entry { event: known.event.id, entry: place.entry })?;
    if incoming.iter().any(|photo| photo.file.bytes() > LARGEST as u64) {
        return Err(Refusal::TooMuch(format!("a photo has at most {} MB", LARGEST / 1024 / 1024)));
    }
    for id in incoming.iter().filter_map(|photo| photo.id) {
        check_id(id)?;
    }
    if incoming.is_empty() {
        return Ok(());
    }
    // What will be refused is not opened first.
    let given: Vec<Option<Uuid>> = incoming.iter().map(|photo| photo.id).collect();
    may_come_in(&mut *house.store.read().await?, &place, &given).await?;
    let made_at = house.now();
    let ids: Vec<Uuid> = given.iter().map(|id| id.unwrap_or_else(|| house.new_id())).collect();
    let mut made_anew = Vec::new();
    for photo in incoming {
        made_anew.push(picture::open(actor, Lane::Paddock, photo.file).await?);
    }
    house
        .write_as(actor, Touch::Nothing, move |db| {
            Box::pin(async move {
                let entry = place.entry;
                let ItemNow { mut typed, mut listed } = may_come_in(db, &place, &given).await?;
                for (id, (jpeg, width, height)) in ids.into_iter().zip(made_anew) {
                    photo::add(db, &Photo { id, entry, jpeg, width, height, made_at }).await?;
                    if !listed.contains(&id.to_string()) {
                        listed.push(id.to_string());
                    }
                }
                typed.insert("photo".into(), listed.join(" "));
                Ok(draft::keep(db, entry, &Draft::from([(place.item, typed)]), made_at).await?)
            })
        })
        .await
}

/// What is typed for the item, with its photos.
struct ItemNow {
    typed: Typed,
    listed: Vec<String>,
}

/// Whether these photos may come in, as things stand.
async fn may_come_in(db: &mut SqliteConnection, place: &Place, incoming: &[Option<Uuid>]) -> Result<ItemNow, Refusal> {
    let mut here = Vec::new();
    for id in incoming.iter().flatten().copied() {
        match photo::entry_of(db, id).await? {
            Some(entry) if entry == place.entry => here.push(id),
            Some(_) => return Err(Refusal::IdTaken),
            None => {}
        }
    }
    if photo::count(db, place.entry).await? + (incoming.len() - here.len()) as i64 > MOST_PHOTOS {
        return Err(too_many());
    }
    let kept = draft::of_entry(db, place.entry).await?.remove(&place.item);
    let is_for_it = |typed: &Typed| typed.get(QUESTION).is_none_or(|asked| *asked == place.question);
    let mut typed = kept.filter(is_for_it).unwrap_or_else(|| place.sent.clone());
    typed.insert(QUESTION.into(), place.question.clone());
    let listed: Vec<String> =
        typed.get("photo").map(|ids| ids.split_whitespace().map(str::to_owned).collect()).unwrap_or_default();
    let more = incoming.iter().filter(|given| given.is_none_or(|id| !listed.contains(&id.to_string()))).count();
    if listed.len() + more > place.most {
        return Err(Refusal::TooMuch(format!("at most {} photos here", place.most)));
    }
    Ok(ItemNow { typed, listed })
}
