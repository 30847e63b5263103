//! Noting in a garage: the one way in which anything in it changes.

use super::books::{Book, book};
use crate::acts::Refusal;
use crate::acts::house::House;
use crate::acts::rights::{Actor, Deed, Whose, require};
use crate::acts::submit::check_id;
use crate::rules::garage::change::{Change, Noted};
use crate::rules::garage::fold::NotTaken;
use crate::rules::words::capital;
use crate::store::{Touch, garage, garage_ends};
use jiff::Timestamp;
use sha2::{Digest, Sha256};
use sqlx::SqliteConnection;
use std::sync::Arc;
use uuid::Uuid;

/// A change with the id that its maker gave it.
pub type Noting = (Uuid, Change);

impl From<NotTaken> for Refusal {
    fn from(not: NotTaken) -> Refusal {
        match not {
            NotTaken::NotHere => Refusal::NotHere,
            NotTaken::TooMany(_) => Refusal::TooMuch(not.to_string()),
            NotTaken::Circle(_) | NotTaken::Done | NotTaken::Open => Refusal::NotNow(format!("{}.", capital(&not.to_string()))),
        }
    }
}

/// Notes changes, all or none. What is noted already is noted already.
///
/// # Errors
/// [`Refusal::NotHere`] for a thing that is not in this garage, [`Refusal::IdTaken`] where an id is another change's.
pub async fn note(house: &House, actor: &Actor, id: Uuid, changes: Vec<Noting>) -> Result<(), Refusal> {
    let known = Known::read(house, actor, id).await?;
    for (change, _) in &changes {
        check_id(*change)?;
    }
    let at = house.now();
    house.write_as(actor, Touch::Nothing, move |db| Box::pin(async move { known.note(db, id, at, changes).await })).await
}

/// The most bytes of a garage's notes: 20,000 notes of ten years have about four million.
const MOST_BYTES: usize = 8_000_000;

/// A garage as it was a moment ago. Reading all of it takes a while, and the one connection that writes is everybody's: there
/// only what came since is read.
pub(super) struct Known {
    book: Book,
}

impl Known {
    pub(super) async fn read(house: &House, actor: &Actor, id: Uuid) -> Result<Known, Refusal> {
        require(actor, Deed::KeepGarage, Whose::Garage(id))?;
        Ok(Known { book: Arc::unwrap_or_clone(book(house, id).await?) })
    }

    /// Notes changes in the deed's transaction. Whether the garage takes them is asked here: two phones may be at it.
    pub(super) async fn note(
        mut self,
        db: &mut SqliteConnection,
        id: Uuid,
        at: Timestamp,
        changes: Vec<Noting>,
    ) -> Result<(), Refusal> {
        if let Some(closed) = garage_ends::closed_of(db, id).await? {
            return Err(Refusal::NotNow(format!(
                "An organizer ended this garage: nothing more can be noted in it. Take the file of everything with you before {}.",
                closed.goes_at.strftime("%-d %B %Y")
            )));
        }
        self.book.add(garage::changes_since(db, id, self.book.until).await?);
        for (change_id, change) in changes {
            let new = Noted { id: change_id, at, change };
            let again = garage::is_noted(db, change_id).await?;
            if !again {
                self.book.garage.takes(&new.change)?;
                self.book.bytes += garage::bytes_of(&new);
                if self.book.bytes > MOST_BYTES {
                    let words =
                        "a garage holds at most 8 MB of notes, which years of them do not reach; nothing of this was kept";
                    return Err(Refusal::TooMuch(words.into()));
                }
            }
            if !garage::note(db, id, &new).await? {
                return Err(Refusal::IdTaken);
            }
            if !again {
                self.book.garage.add(&new);
            }
        }
        Ok(())
    }
}

/// An id made of what is said, so that the same, said twice, is one. It bears the marks of version 7.
pub fn id_made_of(said: &[&[u8]]) -> Uuid {
    let digest: [u8; 32] = said.iter().fold(Sha256::new(), |so_far, part| so_far.chain_update(part)).finalize().into();
    let mut bytes = [0; 16];
    bytes.copy_from_slice(&digest[..16]);
    (bytes[6], bytes[8]) = ((bytes[6] & 0x0f) | 0x70, (bytes[8] & 0x3f) | 0x80);
    Uuid::from_bytes(bytes)
}
