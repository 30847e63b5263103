//! Files on their way in. They go to the disc as they come, few at a time from one device, for as long as something comes.

use super::Web;
use super::error::Fault;
use crate::acts::picture::Upload;
use crate::acts::rights::Actor;
use axum::extract::Multipart;
use axum::extract::multipart::{Field, MultipartRejection};
use axum::http::StatusCode;
use std::collections::HashMap;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;
use tokio::time::timeout;
use uuid::Uuid;

/// How many files come from one device at a time.
const OF_A_DEVICE: usize = 2;
/// How many from all devices of one link.
const OF_A_LINK: usize = 6;
/// How many in all.
const IN_ALL: usize = 64;
/// How long nothing may come before a file is given up: a phone in the paddock has gaps of some seconds.
pub(super) const PATIENCE: Duration = Duration::from_secs(20);
/// How long a file may take: 12 MB over a line of 20 kB a second.
const LONGEST: Duration = Duration::from_secs(10 * 60);
/// How much of a file is held in memory before it goes to the disc, in bytes.
const AT_ONCE: usize = 256 * 1024;
/// The most parts of a form.
const MOST_PARTS: usize = 40;
/// The most bytes of a part that is no file.
const MOST_TEXT: usize = 1024;

/// What is on its way now.
#[derive(Default)]
pub(super) struct Uploads {
    /// How many, by device and by link; their ids never meet.
    by: Mutex<HashMap<Uuid, usize>>,
}

/// A place among them, given back when it is dropped.
pub(super) struct Place {
    of: Arc<Uploads>,
    ids: [Uuid; 2],
}

impl Uploads {
    fn begin(self: &Arc<Self>, actor: &Actor) -> Result<Place, Fault> {
        let mut by = self.by.lock().unwrap_or_else(PoisonError::into_inner);
        let count = |id: &Uuid| by.get(id).copied().unwrap_or_default();
        // Each counts twice: for its device and for its link.
        let all = by.values().sum::<usize>() / 2;
        if count(&actor.device) >= OF_A_DEVICE || count(&actor.link) >= OF_A_LINK || all >= IN_ALL {
            return Err(Fault::too_often("Other files are on their way from this device.", 5));
        }
        let ids = [actor.device, actor.link];
        ids.iter().for_each(|id| *by.entry(*id).or_default() += 1);
        drop(by);
        Ok(Place { of: self.clone(), ids })
    }
}

impl Drop for Place {
    fn drop(&mut self) {
        let mut by = self.of.by.lock().unwrap_or_else(PoisonError::into_inner);
        for id in &self.ids {
            let left = by.get(id).copied().unwrap_or_default().saturating_sub(1);
            match left {
                0 => drop(by.remove(id)),
                left => drop(by.insert(*id, left)),
            }
        }
    }
}

/// A part of a form with files.
pub(super) enum Part {
    /// A field by its name.
    Text(String, String),
    /// A file of the field `photo`.
    Photo(Upload),
}

/// Takes the parts of a form with photos in. A file without a byte is none.
///
/// The place is held until the photos are opened: what waits for its turn lies on the disc.
pub(super) async fn received(
    web: &Web,
    actor: &Actor,
    form: Result<Multipart, MultipartRejection>,
) -> Result<(Vec<Part>, Place), Fault> {
    let form = form.map_err(|_| Fault::unsupported("A photo is sent as a form with a file."))?;
    let place = web.uploads.begin(actor)?;
    let parts = timeout(LONGEST, parts(web, form)).await.unwrap_or_else(|_| Err(too_slow()))?;
    Ok((parts, place))
}

async fn parts(web: &Web, mut form: Multipart) -> Result<Vec<Part>, Fault> {
    let mut parts = Vec::new();
    while let Some(field) = timeout(web.patience, form.next_field()).await.map_err(|_| too_slow())?? {
        if parts.len() >= MOST_PARTS {
            return Err(Fault::new(StatusCode::UNPROCESSABLE_ENTITY, "This is too much", "A form has at most 40 parts."));
        }
        let name = field.name().unwrap_or_default().to_owned();
        if name == "photo" {
            let upload = spooled(web, field).await?;
            if upload.bytes() > 0 {
                parts.push(Part::Photo(upload));
            }
        } else {
            parts.push(Part::Text(name, text(web, field).await?));
        }
    }
    Ok(parts)
}

async fn spooled(web: &Web, mut field: Field<'_>) -> Result<Upload, Fault> {
    let mut upload = Upload::begin(web.house.store.file())?;
    let mut held: Vec<u8> = Vec::new();
    while let Some(chunk) = timeout(web.patience, field.chunk()).await.map_err(|_| too_slow())?? {
        held.extend_from_slice(&chunk);
        if held.len() >= AT_ONCE {
            upload = upload.add(std::mem::take(&mut held)).await?;
        }
    }
    Ok(if held.is_empty() { upload } else { upload.add(held).await? })
}

async fn text(web: &Web, mut field: Field<'_>) -> Result<String, Fault> {
    let mut held: Vec<u8> = Vec::new();
    while let Some(chunk) = timeout(web.patience, field.chunk()).await.map_err(|_| too_slow())?? {
        if held.len() + chunk.len() > MOST_TEXT {
            return Err(Fault::new(StatusCode::PAYLOAD_TOO_LARGE, "This is too large", "Nothing was changed."));
        }
        held.extend_from_slice(&chunk);
    }
    // What is no text is no id either, and is said so where it is asked for.
    Ok(String::from_utf8(held).unwrap_or_default())
}

fn too_slow() -> Fault {
    let words = "Nothing came for a while, so it was given up. Send it again where the signal is better. Nothing was changed.";
    Fault::new(StatusCode::REQUEST_TIMEOUT, "This did not arrive in time", words)
}
