//! A photo for an item: decoded within limits, turned upright, made smaller, written anew. What came in is not kept.

use super::Refusal;
use super::house::House;
use super::refusal::field;
use super::rights::{Actor, Deed, Whose, require};
use crate::store::Touch;
use crate::store::photo::{self, Photo};
use image::codecs::jpeg::JpegEncoder;
use image::{DynamicImage, ImageDecoder, ImageFormat, ImageReader, Limits};
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

/// Takes photos in, all or none. Gives their ids.
///
/// # Errors
/// [`Refusal::Fields`] where one is no JPEG, PNG or WebP by its content; [`Refusal::TooMuch`] where it is too large.
pub async fn add_photos(house: &House, actor: &Actor, entry: Uuid, files: Vec<Vec<u8>>) -> Result<Vec<Uuid>, Refusal> {
    let known = house.event_of_entry(entry).await?;
    require(actor, Deed::FillIn, Whose::Entry { event: known.event.id, entry })?;
    if files.iter().any(|file| file.len() > LARGEST) {
        return Err(Refusal::TooMuch(format!("a photo has at most {} MB", LARGEST / 1024 / 1024)));
    }
    // Decoding keeps a core busy for a moment: it must not hold up those who are answered from memory.
    // One at a time: a picture may take a few hundred megabytes while it is open.
    let turn = AT_ONCE.acquire().await.map_err(|_| Refusal::NotNow("The server is about to end.".into()))?;
    let so_far = {
        let mut db = house.store.read().await?;
        photo::count(&mut db, entry).await?
    };
    if so_far + files.len() as i64 > MOST_PHOTOS {
        return Err(too_many());
    }
    let decode = move || {
        let _turn = turn;
        files.iter().map(|file| make_anew(file)).collect::<Result<Vec<_>, NotAPhoto>>()
    };
    let made_anew = tokio::task::spawn_blocking(decode).await.unwrap_or(Err(NotAPhoto::Unreadable))?;
    let made_at = house.now();
    let photo = |(jpeg, width, height)| Photo { id: house.new_id(), entry, jpeg, width, height, made_at };
    let photos: Vec<Photo> = made_anew.into_iter().map(photo).collect();
    let ids = photos.iter().map(|photo| photo.id).collect();
    house
        .write_as(actor, Touch::Nothing, move |db| {
            Box::pin(async move {
                if photo::count(db, entry).await? + photos.len() as i64 > MOST_PHOTOS {
                    return Err(too_many());
                }
                for photo in &photos {
                    photo::add(db, photo).await?;
                }
                Ok(())
            })
        })
        .await?;
    Ok(ids)
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
