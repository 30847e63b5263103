//! A picture on its way in: spooled to the disc, looked at before it is opened, opened in its turn, written anew as a small JPEG.

use super::Refusal;
use super::refusal::field;
use super::rights::Actor;
use crate::store::StoreError;
use image::codecs::jpeg::JpegEncoder;
use image::imageops::FilterType;
use image::{DynamicImage, ImageDecoder, ImageFormat, ImageReader, Limits, RgbImage};
use std::collections::HashMap;
use std::fs::File;
use std::io::{BufRead, BufReader, Read, Seek, SeekFrom, Write};
use std::path::Path;
use std::sync::{Arc, LazyLock, Mutex, PoisonError};
use std::time::Duration;
use tokio::sync::{OwnedSemaphorePermit, Semaphore, SemaphorePermit};
use uuid::Uuid;

/// The longer side of a photo as it is kept, in pixels: a crack can be seen, a season fits on a small disc.
const LONG_SIDE: u32 = 1600;
/// The largest side of a photo that is opened at all, in pixels.
const LARGEST_SIDE: u32 = 12_000;
/// The most pixels of a photo that is opened: 4096 by 4096. A phone makes 12 million, and our pages send 2.
const MOST_PIXELS: u64 = 16 * 1024 * 1024;
/// The most memory that opening one may take, in bytes.
const DECODING: u64 = 64 * 1024 * 1024;
/// The most bytes of a photo as it is kept.
const KEPT: usize = 600_000;
/// The qualities that are tried one after the other, in per cent, before a photo is made smaller still.
const QUALITIES: [u8; 4] = [80, 70, 60, 50];
/// How long one may wait for its turn.
const PATIENCE: Duration = Duration::from_secs(25);

/// A file on its way in. It has no name on the disc, so that nothing is left of it whatever happens.
pub struct Upload {
    file: File,
    bytes: u64,
}

impl Upload {
    /// An empty one, beside the database: what is called temporary is memory on some machines.
    ///
    /// # Errors
    /// Where neither there nor among the temporary files one can be made.
    pub fn begin(beside: &Path) -> Result<Upload, Refusal> {
        let file = match beside.parent().filter(|folder| folder.is_dir()).map(tempfile::tempfile_in) {
            Some(Ok(file)) => Ok(file),
            _ => tempfile::tempfile(),
        };
        Ok(Upload { file: file.map_err(no_room)?, bytes: 0 })
    }

    /// How many bytes have come.
    pub fn bytes(&self) -> u64 {
        self.bytes
    }

    /// Puts more at its end.
    ///
    /// # Errors
    /// Where the disc does not take it.
    pub async fn add(mut self, more: Vec<u8>) -> Result<Upload, Refusal> {
        let written = tokio::task::spawn_blocking(move || {
            self.file.write_all(&more).map_err(no_room)?;
            self.bytes += more.len() as u64;
            Ok(self)
        });
        written.await.unwrap_or(Err(Refusal::Store(StoreError::BrokeOff)))
    }

    /// All of it, in memory.
    ///
    /// # Errors
    /// Where the disc does not give it back.
    pub fn read(mut self) -> Result<Vec<u8>, Refusal> {
        let mut bytes = Vec::new();
        self.file.seek(SeekFrom::Start(0)).map_err(no_room)?;
        self.file.read_to_end(&mut bytes).map_err(no_room)?;
        Ok(bytes)
    }

    fn reader(mut self) -> Result<BufReader<File>, NotAPhoto> {
        self.file.seek(SeekFrom::Start(0)).map_err(|_| NotAPhoto::Unreadable)?;
        Ok(BufReader::new(self.file))
    }
}

fn no_room(error: std::io::Error) -> Refusal {
    Refusal::Store(StoreError::NotCommitted(format!("a file on its way in could not be kept: {error}")))
}

/// Where photos wait. The gate does not wait for the paddock.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Lane {
    Gate,
    Paddock,
}

static GATE: Semaphore = Semaphore::const_new(1);
static PADDOCK: Semaphore = Semaphore::const_new(1);

/// By link: of one person's photos one at a time waits for its turn among the others'.
static OWN: LazyLock<Mutex<HashMap<Uuid, Arc<Semaphore>>>> = LazyLock::new(Mutex::default);

/// How many links are remembered before those that wait for nothing are forgotten.
const LINKS_KEPT: usize = 200;

struct Turn {
    _own: OwnedSemaphorePermit,
    _lane: SemaphorePermit<'static>,
}

async fn turn(link: Uuid, lane: Lane) -> Result<Turn, Refusal> {
    let own = {
        let mut all = OWN.lock().unwrap_or_else(PoisonError::into_inner);
        if all.len() >= LINKS_KEPT {
            all.retain(|_, one| Arc::strong_count(one) > 1);
        }
        all.entry(link).or_insert_with(|| Arc::new(Semaphore::new(1))).clone()
    };
    let lane = if lane == Lane::Gate { &GATE } else { &PADDOCK };
    let both = async move {
        let own = own.acquire_owned().await.ok()?;
        Some(Turn { _own: own, _lane: lane.acquire().await.ok()? })
    };
    let waited = tokio::time::timeout(PATIENCE, both).await;
    waited.ok().flatten().ok_or_else(|| Refusal::Busy("Many photos are being opened at this moment.".into()))
}

/// A photo as it is kept: a JPEG of ours, its width and its height.
pub type MadeAnew = (Vec<u8>, u32, u32);

/// Opens a photo in its turn and makes it anew.
///
/// # Errors
/// [`Refusal::Fields`] and [`Refusal::TooMuch`] for what is no photo that can be opened here; [`Refusal::Busy`].
pub async fn open(actor: &Actor, lane: Lane, upload: Upload) -> Result<MadeAnew, Refusal> {
    in_turn(actor, lane, move || make_anew(upload.reader()?)).await
}

/// The same for bytes in memory.
///
/// # Errors
/// As of [`open`].
pub async fn open_bytes(actor: &Actor, lane: Lane, file: Vec<u8>) -> Result<MadeAnew, Refusal> {
    in_turn(actor, lane, move || make_anew(std::io::Cursor::new(file))).await
}

/// Opening keeps a core busy for a moment and takes tens of megabytes. The turn goes along with the work and not with whoever waits
/// for it: hanging up makes no room for more work than there is.
async fn in_turn(
    actor: &Actor,
    lane: Lane,
    work: impl FnOnce() -> Result<MadeAnew, NotAPhoto> + Send + 'static,
) -> Result<MadeAnew, Refusal> {
    let turn = turn(actor.link, lane).await?;
    let opened = tokio::task::spawn_blocking(move || {
        let _turn = turn;
        work()
    });
    Ok(opened.await.unwrap_or(Err(NotAPhoto::Unreadable))?)
}

/// Why a file is not taken as a photo.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NotAPhoto {
    Unreadable,
    /// A side is longer than any camera's.
    TooLong,
    /// It has so many million pixels, and a file of its kind may have so many.
    TooLarge(u64, u64),
}

impl From<NotAPhoto> for Refusal {
    fn from(why: NotAPhoto) -> Refusal {
        match why {
            NotAPhoto::Unreadable => {
                Refusal::Fields(vec![field("photo", "This file is no photo that can be read here: send a JPEG, PNG or WebP.")])
            }
            NotAPhoto::TooLong => Refusal::TooMuch(format!("a photo has at most {LARGEST_SIDE} pixels a side")),
            NotAPhoto::TooLarge(has, most) => Refusal::TooMuch(format!(
                "this photo has {has} megapixels; a photo of its kind has at most {most}. Make it smaller and add it again"
            )),
        }
    }
}

/// Decodes by content, shrinks, turns upright and encodes as JPEG: whatever else was in the file is gone.
///
/// # Errors
/// [`NotAPhoto`]; what is too large is known by the file's head and not opened.
pub fn make_anew<R: BufRead + Seek>(mut file: R) -> Result<MadeAnew, NotAPhoto> {
    let unreadable = |_| NotAPhoto::Unreadable;
    let is_progressive = is_progressive_jpeg(&mut file).unwrap_or(false);
    file.seek(SeekFrom::Start(0)).map_err(|_| NotAPhoto::Unreadable)?;
    let mut reader = ImageReader::new(file).with_guessed_format().map_err(|_| NotAPhoto::Unreadable)?;
    let kind = reader.format();
    if !matches!(kind, Some(ImageFormat::Jpeg | ImageFormat::Png | ImageFormat::WebP)) {
        return Err(NotAPhoto::Unreadable);
    }
    let mut limits = Limits::default();
    (limits.max_image_width, limits.max_image_height) = (Some(LARGEST_SIDE), Some(LARGEST_SIDE));
    limits.max_alloc = Some(DECODING);
    reader.limits(limits);
    let why = |error| if matches!(error, image::ImageError::Limits(_)) { NotAPhoto::TooLong } else { NotAPhoto::Unreadable };
    let mut decoder = reader.into_decoder().map_err(why)?;
    let (width, height) = decoder.dimensions();
    let pixels = u64::from(width) * u64::from(height);
    // A JPEG that comes in passes is kept as coefficients until the last one; a WebP is decoded beside its picture.
    let beside = match kind {
        _ if is_progressive => 6,
        Some(ImageFormat::WebP) => 4,
        _ => 0,
    };
    let of_a_pixel = u64::from(decoder.color_type().bytes_per_pixel()) + beside;
    let most = MOST_PIXELS.min(DECODING / of_a_pixel.max(1));
    if pixels > most {
        return Err(NotAPhoto::TooLarge(pixels.div_ceil(1_000_000), most / 1_000_000));
    }
    let upright = decoder.orientation().map_err(unreadable)?;
    let mut picture = DynamicImage::from_decoder(decoder).map_err(unreadable)?;
    // First smaller, then upright: turning takes a second picture of the same size.
    if picture.width().max(picture.height()) > LONG_SIDE {
        picture = picture.thumbnail(LONG_SIDE, LONG_SIDE);
    }
    picture.apply_orientation(upright);
    within(picture.into_rgb8(), KEPT)
}

/// Encodes a picture in at most so many bytes: less exactly where it must be, and smaller where that is not enough.
fn within(mut picture: RgbImage, most: usize) -> Result<MadeAnew, NotAPhoto> {
    loop {
        for quality in QUALITIES {
            let mut jpeg = Vec::new();
            JpegEncoder::new_with_quality(&mut jpeg, quality).encode_image(&picture).map_err(|_| NotAPhoto::Unreadable)?;
            if jpeg.len() <= most {
                return Ok((jpeg, picture.width(), picture.height()));
            }
        }
        let (width, height) = ((picture.width() * 3 / 4).max(1), (picture.height() * 3 / 4).max(1));
        picture = image::imageops::resize(&picture, width, height, FilterType::Triangle);
    }
}

/// Whether a file is a JPEG that comes in passes, by its frame's head. ITU-T T.81, B.1.1.3: C0 to CF but C4, C8 and CC begin a
/// frame, and C2, C6, CA and CE one in passes.
fn is_progressive_jpeg<R: Read + Seek>(file: &mut R) -> std::io::Result<bool> {
    let mut two = [0; 2];
    file.read_exact(&mut two)?;
    if two != [0xFF, 0xD8] {
        return Ok(false);
    }
    loop {
        file.read_exact(&mut two)?;
        // Any number of FF may stand before a marker.
        while two == [0xFF, 0xFF] {
            file.read_exact(&mut two[1..])?;
        }
        match two {
            [0xFF, 0xC2 | 0xC6 | 0xCA | 0xCE] => return Ok(true),
            [0xFF, 0xC0..=0xC3 | 0xC5..=0xC7 | 0xC9..=0xCB | 0xCD..=0xCF | 0xDA] => return Ok(false),
            [0xFF, _] => {
                file.read_exact(&mut two)?;
                file.seek(SeekFrom::Current(i64::from(u16::from_be_bytes(two)).saturating_sub(2).max(0)))?;
            }
            _ => return Ok(false),
        }
    }
}

#[cfg(test)]
mod tests;
