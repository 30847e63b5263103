//! Noting in a garage: the one way in which anything in it changes.

use crate::acts::Refusal;
use crate::acts::house::House;
use crate::acts::rights::{Actor, Deed, Whose, require};
use crate::acts::submit::check_id;
use crate::rules::garage::book::Garage;
use crate::rules::garage::change::{Change, Noted};
use crate::rules::garage::fold::NotTaken;
use crate::store::{Touch, garage};
use uuid::Uuid;

/// A change with the id that its maker gave it.
pub type Noting = (Uuid, Change);

impl From<NotTaken> for Refusal {
    fn from(not: NotTaken) -> Refusal {
        match not {
            NotTaken::NotHere => Refusal::NotHere,
            NotTaken::TooMany(_) => Refusal::TooMuch(not.to_string()),
            NotTaken::Circle(_) | NotTaken::Done | NotTaken::Open => Refusal::NotNow(capital(&not.to_string())),
        }
    }
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    let first = letters.next().map(|first| first.to_uppercase().collect::<String>()).unwrap_or_default();
    format!("{first}{}.", letters.as_str())
}

/// Notes changes, all or none. What is noted already is noted already.
///
/// Whether the garage takes them is asked in the transaction that writes them: two phones may be at it.
///
/// # Errors
/// [`Refusal::NotHere`] for a thing that is not in this garage, [`Refusal::IdTaken`] where an id is another change's.
pub async fn note(house: &House, actor: &Actor, id: Uuid, changes: Vec<Noting>) -> Result<(), Refusal> {
    require(actor, Deed::KeepGarage, Whose::Garage(id))?;
    for (change, _) in &changes {
        check_id(*change)?;
    }
    let at = house.now();
    house
        .write_as(actor, Touch::Nothing, move |db| {
            Box::pin(async move {
                let mut noted = garage::changes(db, id).await?;
                for (change_id, change) in changes {
                    let new = Noted { id: change_id, at, change };
                    let again = garage::is_noted(db, change_id).await?;
                    if !again {
                        Garage::of(&noted).takes(&new.change)?;
                    }
                    if !garage::note(db, id, &new).await? {
                        return Err(Refusal::IdTaken);
                    }
                    if !again {
                        noted.push(new);
                    }
                }
                Ok(())
            })
        })
        .await
}
