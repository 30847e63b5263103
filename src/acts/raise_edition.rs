//! Raising an event to another edition of the sheet: first what it would move and why, then the deed.

use super::Refusal;
use super::house::{House, KnownEvent};
use super::refusal::field;
use super::rights::{Actor, Deed, Whose, require};
use super::state;
use crate::rules::sheet_file;
use crate::rules::standing::Standing;
use crate::rules::units::Units;
use crate::store::club::{self, Edition};
use crate::store::entry::{self, Entry};
use crate::store::{Touch, event, history};
use uuid::Uuid;

/// Adds a sheet file as the club's next edition. Gives its id.
///
/// # Errors
/// [`Refusal::Fields`] with the line and key of what is wrong in the file.
pub async fn add_edition(house: &House, actor: &Actor, file: &str) -> Result<Uuid, Refusal> {
    require(actor, Deed::RunTheClub, Whose::Club)?;
    let sheet = sheet_file::read(file).map_err(|error| Refusal::Fields(vec![field("file", error.to_string())]))?;
    let id = house.new_id();
    let edition =
        Edition { id, number: 0, name: sheet.name, file: file.to_owned(), made_at: house.now(), made_by: actor.name.clone() };
    house.write_as(actor, Touch::Nothing, move |db| Box::pin(async move { Ok(club::add_edition(db, &edition).await?) })).await?;
    Ok(id)
}

/// An entry whose standing another edition would move.
pub struct Move {
    pub entry: Entry,
    pub from: Standing,
    pub to: Standing,
    /// In words: what is not answered, what is found.
    pub why: Vec<String>,
}

/// What raising the event to an edition would do, before it happens.
pub async fn preview(house: &House, actor: &Actor, event_id: Uuid, edition: Uuid) -> Result<Vec<Move>, Refusal> {
    require(actor, Deed::RunTheEvent, Whose::Event(event_id))?;
    let now = house.event(event_id).await?;
    let mut db = house.store.read().await?;
    let then = KnownEvent { event: now.event.clone(), edition: house.edition(&mut db, edition).await? };
    let entries = entry::of_event(&mut db, event_id).await?;
    let mut histories = history::of_event(&mut db, event_id).await?;
    drop(db);
    let mut moves = Vec::new();
    for entry in entries {
        let records = histories.remove(&entry.id).unwrap_or_default().records;
        let before = state::of(&now, entry.clone(), records.clone(), &Units::METRIC)?;
        let after = state::of(&then, entry.clone(), records, &Units::METRIC)?;
        let complete = |state: &state::EntryState| state.in_force.iter().all(|sent| sent.judged.is_complete());
        if before.standing() != after.standing() || complete(&before) != complete(&after) {
            moves.push(Move { entry, from: before.standing(), to: after.standing(), why: reasons(&then, &after) });
        }
    }
    Ok(moves)
}

fn reasons(then: &KnownEvent, after: &state::EntryState) -> Vec<String> {
    let mut why: Vec<String> = after.open_findings().into_iter().map(|finding| finding.why.clone()).collect();
    for (item, _) in after.in_force.iter().flat_map(|sent| &sent.judged.missing) {
        let name = then.edition.sheet.item(item.as_str()).map_or(item.as_str(), |item| item.name.as_str());
        why.push(format!("Not answered: {name}."));
    }
    why.sort();
    why.dedup();
    why
}

/// Raises the event to the edition. Every entry is judged by it from now on.
pub async fn raise_edition(house: &House, actor: &Actor, event_id: Uuid, edition: Uuid) -> Result<(), Refusal> {
    require(actor, Deed::RunTheEvent, Whose::Event(event_id))?;
    house.event(event_id).await?;
    {
        let mut db = house.store.read().await?;
        house.edition(&mut db, edition).await?;
    }
    house
        .write_as(actor, Touch::Event(event_id), move |db| {
            Box::pin(async move { Ok(event::set_edition(db, event_id, edition).await?) })
        })
        .await
}
