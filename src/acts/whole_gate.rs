//! The whole gate for a device that will be without signal: every car as it stands, or those that changed since it last asked.

use super::Refusal;
use super::house::{House, KnownEvent};
use super::rights::{Actor, Deed, Whose, require};
use super::state::{self, EntryState};
use crate::rules::units::Units;
use crate::store::apart;
use crate::store::entry;
use crate::store::history::{self, Past};
use sha2::{Digest, Sha256};
use std::collections::BTreeMap;
use uuid::Uuid;

/// What a device has: up to which record of the event, by which edition, of how many entries.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Mark {
    pub place: i64,
    /// The hash of the record at that place; empty where there is none yet.
    pub hash: String,
    pub edition: Uuid,
    pub entries: usize,
    /// A digest of what the pages say of the entries themselves: an erased name is in no record.
    pub named: String,
}

/// Cars as they stand, and the mark to ask from next time.
pub struct WholeGate {
    pub mark: Mark,
    pub cars: Vec<EntryState>,
}

/// Twelve figures of a digest over what is shown of the entries beside their records.
fn named(entries: &[entry::Entry]) -> String {
    let mut digest = Sha256::new();
    for text in entries.iter().flat_map(|one| [one.number.as_str(), &one.driver, &one.car, &one.group]) {
        digest.update(text.len().to_be_bytes());
        digest.update(text.as_bytes());
    }
    digest.finalize()[..6].iter().map(|byte| format!("{byte:02x}")).collect()
}

/// The cars that changed since a mark, or all of them: without a mark, where the sheet was raised, where entries came or went,
/// changed or were erased, where the mark is of another history (an older backup was restored).
pub async fn since(
    house: &House,
    actor: &Actor,
    known: &KnownEvent,
    had: Option<Mark>,
    units: &Units,
) -> Result<WholeGate, Refusal> {
    let event = known.event.id;
    require(actor, Deed::WorkTheGate, Whose::Event(event))?;
    let mut db = house.store.read().await?;
    // The place first: what comes in while the rest is read is given once more next time, and never passed over.
    let (place, hash) = history::head(&mut db, event).await?.unwrap_or_default();
    let entries = entry::of_event(&mut db, event).await?;
    let mark = Mark { place, hash, edition: known.edition.id, entries: entries.len(), named: named(&entries) };
    let is_like = |had: &Mark| (had.edition, had.entries, &had.named) == (mark.edition, mark.entries, &mark.named);
    let had = had.filter(is_like);
    let follows = match &had {
        Some(had) => history::has(&mut db, event, had.place, &had.hash).await?,
        None => false,
    };
    let changed = match had.filter(|_| follows) {
        Some(had) => Some(history::entries_after(&mut db, event, had.place).await?),
        None => None,
    };
    let mut histories: BTreeMap<Uuid, Past> = BTreeMap::new();
    match &changed {
        None => histories = history::of_event(&mut db, event).await?,
        Some(changed) => {
            for entry in changed {
                histories.insert(*entry, history::of_entry(&mut db, *entry).await?);
            }
        }
    }
    drop(db);
    let wanted = entries.into_iter().filter(|entry| changed.as_ref().is_none_or(|changed| changed.contains(&entry.id)));
    let wanted: Vec<entry::Entry> = wanted.collect();
    let (known, units) = (known.clone(), *units);
    let read = move || {
        let read = |entry: entry::Entry| {
            let past = histories.remove(&entry.id).unwrap_or_default();
            state::of(&known, entry, past, &units)
        };
        wanted.into_iter().map(read).collect()
    };
    Ok(WholeGate { mark, cars: apart(read).await? })
}
