//! A photo for an item: decoded within limits, turned upright, made smaller, written anew. What came in is not kept.

use super::Refusal;
use super::house::House;
use super::refusal::field;
use super::rights::{Actor, Deed, Whose, require};
use super::submit::check_id;
use crate::rules::answer::Typed;
use crate::rules::edition::QUESTION;
use crate::store::Touch;
use crate::store::draft::{self, Draft};
use crate::store::photo::{self, Photo};
use image::codecs::jpeg::JpegEncoder;
use image::{DynamicImage, ImageDecoder, ImageFormat, ImageReader, Limits};
use sqlx::SqliteConnection;
use std::io::Cursor;
use tokio::sync::Semaphore;
use uuid::Uuid;

/// The largest file that is taken, in bytes: a phone's photo has 3 to 8 MB.
pub const LARGEST: usize = 12 * 1024 * 1024;
/// The most photos of an entry.
pub const MOST_PHOTOS: i64 = 60;
/// The longer side of a photo as it is kept, in pixels: a crack can be seen, a season fits on a small disc.
const LONG_SIDE: u32 = 1600;
/// The largest side of a photo that is decoded at all, in pixels.
const LARGEST_SIDE: u32 = 12_000;
/// The most memory that decoding may take, in bytes.
const DECODING: u64 = 256 * 1024 * 1024;

/// Photos are opened one at a time.
static AT_ONCE: Semaphore = Semaphore::const_new(1);

fn too_many() -> Refusal {
    Refusal::TooMuch(format!("an entry has at most {MOST_PHOTOS} photos"))
}

/// A photo on its way in.
pub struct Incoming {
    /// Made on the device, so that a photo whose answer was lost can be sent again and is there once.
    pub id: Option<Uuid>,
    pub file: Vec<u8>,
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
    if incoming.iter().any(|photo| photo.file.len() > LARGEST) {
        return Err(Refusal::TooMuch(format!("a photo has at most {} MB", LARGEST / 1024 / 1024)));
    }
    for id in incoming.iter().filter_map(|photo| photo.id) {
        check_id(id)?;
    }
    if incoming.is_empty() {
        return Ok(());
    }
    // Decoding keeps a core busy for a moment: it must not hold up those who are answered from memory.
    // One at a time: a picture may take a few hundred megabytes while it is open.
    let turn = AT_ONCE.acquire().await.map_err(|_| Refusal::NotNow("The server is about to end.".into()))?;
    // What will be refused is not opened first.
    may_come_in(&mut *house.store.read().await?, &place, &incoming).await?;
    let made_at = house.now();
    let ids: Vec<Uuid> = incoming.iter().map(|photo| photo.id.unwrap_or_else(|| house.new_id())).collect();
    let decode = move || {
        let _turn = turn;
        incoming.into_iter().map(|photo| Ok((photo.id, make_anew(&photo.file)?))).collect::<Result<Vec<_>, NotAPhoto>>()
    };
    let made_anew = tokio::task::spawn_blocking(decode).await.unwrap_or(Err(NotAPhoto::Unreadable))?;
    house
        .write_as(actor, Touch::Nothing, move |db| {
            Box::pin(async move {
                let entry = place.entry;
                let given: Vec<Incoming> = made_anew.iter().map(|(id, _)| Incoming { id: *id, file: Vec::new() }).collect();
                let ItemNow { mut typed, mut listed } = may_come_in(db, &place, &given).await?;
                for (id, (_, (jpeg, width, height))) in ids.into_iter().zip(made_anew) {
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
async fn may_come_in(db: &mut SqliteConnection, place: &Place, incoming: &[Incoming]) -> Result<ItemNow, Refusal> {
    let mut here = Vec::new();
    for id in incoming.iter().filter_map(|photo| photo.id) {
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
    let more = incoming.iter().filter(|photo| photo.id.is_none_or(|id| !listed.contains(&id.to_string()))).count();
    if listed.len() + more > place.most {
        return Err(Refusal::TooMuch(format!("at most {} photos here", place.most)));
    }
    Ok(ItemNow { typed, listed })
}

/// Opens one photo, in its turn.
pub(super) async fn open_one(file: Vec<u8>) -> Result<(Vec<u8>, u32, u32), Refusal> {
    let turn = AT_ONCE.acquire().await.map_err(|_| Refusal::NotNow("The server is about to end.".into()))?;
    let open = move || {
        let _turn = turn;
        make_anew(&file)
    };
    Ok(tokio::task::spawn_blocking(open).await.unwrap_or(Err(NotAPhoto::Unreadable))?)
}

/// Why a file is not taken as a photo.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NotAPhoto {
    Unreadable,
    TooLarge,
}

impl From<NotAPhoto> for Refusal {
    fn from(why: NotAPhoto) -> Refusal {
        match why {
            NotAPhoto::Unreadable => {
                Refusal::Fields(vec![field("photo", "This file is no photo that can be read here: send a JPEG, PNG or WebP.")])
            }
            NotAPhoto::TooLarge => Refusal::TooMuch(format!("a photo has at most {LARGEST_SIDE} pixels a side")),
        }
    }
}

/// Decodes by content, turns upright, shrinks and encodes as JPEG: whatever else was in the file is gone.
pub fn make_anew(file: &[u8]) -> Result<(Vec<u8>, u32, u32), NotAPhoto> {
    let mut reader = ImageReader::new(Cursor::new(file)).with_guessed_format().map_err(|_| NotAPhoto::Unreadable)?;
    if !matches!(reader.format(), Some(ImageFormat::Jpeg | ImageFormat::Png | ImageFormat::WebP)) {
        return Err(NotAPhoto::Unreadable);
    }
    let mut limits = Limits::default();
    limits.max_image_width = Some(LARGEST_SIDE);
    limits.max_image_height = Some(LARGEST_SIDE);
    limits.max_alloc = Some(DECODING);
    reader.limits(limits.clone());
    let why = |error| if matches!(error, image::ImageError::Limits(_)) { NotAPhoto::TooLarge } else { NotAPhoto::Unreadable };
    let mut decoder = reader.into_decoder().map_err(why)?;
    // The reader's limit is for what it needs itself; the picture's own memory is asked for here.
    limits.reserve(decoder.total_bytes()).map_err(why)?;
    let upright = decoder.orientation().map_err(why)?;
    let mut picture = DynamicImage::from_decoder(decoder).map_err(why)?;
    picture.apply_orientation(upright);
    if picture.width().max(picture.height()) > LONG_SIDE {
        picture = picture.thumbnail(LONG_SIDE, LONG_SIDE);
    }
    let picture = picture.into_rgb8();
    let mut jpeg = Vec::new();
    JpegEncoder::new_with_quality(&mut jpeg, 80).encode_image(&picture).map_err(why)?;
    Ok((jpeg, picture.width(), picture.height()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_large_picture_is_made_smaller_and_stays_a_picture() {
        let mut png = Vec::new();
        DynamicImage::new_rgb8(3200, 800).write_to(&mut Cursor::new(&mut png), ImageFormat::Png).unwrap();
        let (jpeg, width, height) = make_anew(&png).unwrap();
        assert_eq!((width, height), (1600, 400));
        assert_eq!(image::guess_format(&jpeg).unwrap(), ImageFormat::Jpeg);
    }

    #[test]
    fn a_page_called_a_photo_is_refused() {
        assert_eq!(make_anew(b"<html><script>alert(1)</script></html>"), Err(NotAPhoto::Unreadable));
        assert_eq!(make_anew(b""), Err(NotAPhoto::Unreadable));
        assert_eq!(make_anew(b"\xFF\xD8\xFF\xE0 cut short"), Err(NotAPhoto::Unreadable));
    }

    #[test]
    fn a_picture_that_unpacks_to_more_than_memory_is_refused_whatever_its_sides() {
        // The head alone says 800 MB: sixteen bits a channel, four channels, ten thousand a side. Whether the rest is there is not
        // looked at before.
        let mut png = Vec::new();
        DynamicImage::new_rgba16(8, 8).write_to(&mut Cursor::new(&mut png), ImageFormat::Png).unwrap();
        png[16..24].copy_from_slice(&[0, 0, 0x27, 0x10, 0, 0, 0x27, 0x10]);
        let mut check = flate2::Crc::new();
        check.update(&png[12..29]);
        png[29..33].copy_from_slice(&check.sum().to_be_bytes());
        assert_eq!(make_anew(&png), Err(NotAPhoto::TooLarge));
    }

    #[test]
    fn a_picture_with_too_long_a_side_is_refused() {
        let mut png = Vec::new();
        DynamicImage::new_luma8(13_000, 10).write_to(&mut Cursor::new(&mut png), ImageFormat::Png).unwrap();
        assert_eq!(make_anew(&png), Err(NotAPhoto::TooLarge));
    }
}
