//! Noting in a garage: the one way in which anything in it changes.

use crate::acts::Refusal;
use crate::acts::house::House;
use crate::acts::rights::{Actor, Deed, Whose, require};
use crate::acts::submit::check_id;
use crate::rules::garage::book::Garage;
use crate::rules::garage::change::{Change, Noted};
use crate::rules::garage::fold::NotTaken;
use crate::rules::words::capital;
use crate::store::{Touch, garage};
use jiff::Timestamp;
use sha2::{Digest, Sha256};
use sqlx::SqliteConnection;
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

/// A garage as it was a moment ago. Reading all of it takes a while, and the one connection that writes is everybody's: there
/// only what came since is read.
pub(super) struct Known {
    garage: Garage,
    /// The place of its newest change.
    until: i64,
}

impl Known {
    pub(super) async fn read(house: &House, actor: &Actor, id: Uuid) -> Result<Known, Refusal> {
        require(actor, Deed::KeepGarage, Whose::Garage(id))?;
        let mut db = house.store.read().await?;
        let noted = garage::changes(&mut db, id).await?;
        // Places are 1, 2, 3: none is ever taken out.
        let until = i64::try_from(noted.len()).unwrap_or(i64::MAX);
        Ok(Known { garage: Garage::of(&noted), until })
    }

    /// Notes changes in the deed's transaction. Whether the garage takes them is asked here: two phones may be at it.
    pub(super) async fn note(
        mut self,
        db: &mut SqliteConnection,
        id: Uuid,
        at: Timestamp,
        changes: Vec<Noting>,
    ) -> Result<(), Refusal> {
        garage::changes_since(db, id, self.until).await?.iter().for_each(|noted| self.garage.add(noted));
        for (change_id, change) in changes {
            let new = Noted { id: change_id, at, change };
            let again = garage::is_noted(db, change_id).await?;
            if !again {
                self.garage.takes(&new.change)?;
            }
            if !garage::note(db, id, &new).await? {
                return Err(Refusal::IdTaken);
            }
            if !again {
                self.garage.add(&new);
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
