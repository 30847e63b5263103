//! What raising an event to another edition would do, car by car, before it happens: which clearances would be lost, which findings
//! would fall away or come, what would have to be answered or checked by hand anew.

use super::Refusal;
use super::house::{House, KnownEvent};
use super::rights::{Actor, Deed, Whose, require};
use super::state::{self, EntryState};
use crate::rules::chain::{digest, hex};
use crate::rules::edition::reworded;
use crate::rules::judge::Finding;
use crate::rules::standing::Standing;
use crate::rules::units::Units;
use crate::rules::words::ItemId;
use crate::store::apart;
use crate::store::entry::{self, Entry};
use crate::store::history;
use serde::{Deserialize, Serialize};
use serde_json::{Value as Json, json};
use sqlx::SqliteConnection;
use std::collections::BTreeMap;
use uuid::Uuid;

/// What another edition would do to one entry.
#[derive(Clone, Debug)]
pub struct Move {
    pub entry: Entry,
    pub from: Standing,
    pub to: Standing,
    /// Stop and fix findings that are open now and would not be.
    pub falls_away: Vec<String>,
    /// Stop and fix findings that would be open and are not now.
    pub comes: Vec<String>,
    /// Findings that would stay open because the edition could not judge their answers.
    pub carried: Vec<String>,
    /// Names of items that would have to be answered anew.
    pub unanswered: Vec<String>,
    /// Names of checks by hand that a clear would still need, where the car has been through the gate.
    pub unchecked: Vec<String>,
}

impl Move {
    /// Whether the car would lose its clearance.
    pub fn loses_clearance(&self) -> bool {
        self.from == Standing::Cleared && self.to != Standing::Cleared
    }

    /// Whether the car would gain one: it had it by that edition before.
    pub fn gains_clearance(&self) -> bool {
        self.from != Standing::Cleared && self.to == Standing::Cleared
    }
}

/// What raising an event to an edition would do.
#[derive(Clone, Debug, Default)]
pub struct Preview {
    /// Entries that anything would change for, numbers in order.
    pub moves: Vec<Move>,
    /// Names of items that are asked in other words: their old answers count.
    pub reworded: Vec<String>,
}

/// A move as the raise's record tells it.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Moved {
    pub entry: Uuid,
    pub number: String,
    pub from: String,
    pub to: String,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub falls_away: Vec<String>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub comes: Vec<String>,
}

impl Preview {
    /// How many clearances would be lost, by run group.
    pub fn lost(&self) -> BTreeMap<&str, usize> {
        let mut lost = BTreeMap::new();
        for one in self.moves.iter().filter(|one| one.loses_clearance()) {
            *lost.entry(one.entry.group.as_str()).or_default() += 1;
        }
        lost
    }

    /// The moves as the raise's record tells them.
    pub fn moved(&self) -> Vec<Moved> {
        let moved = |one: &Move| Moved {
            entry: one.entry.id,
            number: one.entry.number.to_string(),
            from: one.from.word().into(),
            to: one.to.word().into(),
            falls_away: one.falls_away.clone(),
            comes: one.comes.clone(),
        };
        self.moves.iter().map(moved).collect()
    }

    /// Stands for all that a page of this preview shows: a raise says by it what its maker had in front of them.
    pub fn digest(&self) -> String {
        let shown = |one: &Move| {
            let words = [&one.falls_away, &one.comes, &one.carried, &one.unanswered, &one.unchecked];
            json!([one.entry.id, one.from.word(), one.to.word(), words])
        };
        let all: Vec<Json> = self.moves.iter().map(shown).collect();
        hex(&digest(Json::Array(all).to_string().as_bytes()))
    }
}

/// What raising an event to an edition would do, before it happens.
///
/// # Errors
/// [`Refusal::NotHere`] for an edition or event that is not there.
pub async fn preview(house: &House, actor: &Actor, event: Uuid, edition: Uuid) -> Result<Preview, Refusal> {
    require(actor, Deed::RunTheEvent, Whose::Event(event))?;
    let now = house.event(event).await?;
    let mut db = house.store.read().await?;
    let then = now.judged_by(house.edition(&mut db, edition).await?);
    read(&mut db, &now, &then).await
}

/// The same on a connection of the caller's, in the transaction that raises.
pub(super) async fn read(db: &mut SqliteConnection, now: &KnownEvent, then: &KnownEvent) -> Result<Preview, Refusal> {
    let mut histories = history::of_event(db, now.event.id).await?;
    let entries = entry::of_event(db, now.event.id).await?;
    let (was, will) = (now.clone(), then.clone());
    let moves = move || {
        let move_of = |entry: Entry| {
            let past = histories.remove(&entry.id).unwrap_or_default();
            let before = state::of(&was, entry.clone(), past.clone(), &Units::METRIC);
            move_of(&will, before, state::of(&will, entry, past, &Units::METRIC))
        };
        entries.into_iter().filter_map(move_of).collect()
    };
    let moves = apart(moves).await?;
    let reworded = reworded(&now.edition.sheet, &then.edition.sheet).into_iter().map(|item| item.name.clone()).collect();
    Ok(Preview { moves, reworded })
}

/// What differs between an entry as it is and as it would be; `None` where nothing does.
fn move_of(then: &KnownEvent, before: EntryState, after: EntryState) -> Option<Move> {
    let (was, will) = (before.open_findings(), after.open_findings());
    let is_among = |finding: &Finding, others: &[&Finding]| {
        others.iter().any(|other| other.item == finding.item && other.place == finding.place)
    };
    let only = |these: &[&Finding], others: &[&Finding]| -> Vec<String> {
        these.iter().filter(|finding| !is_among(finding, others)).map(|finding| finding.why.clone()).collect()
    };
    let carried = will.iter().filter(|finding| finding.carried_from.is_some()).map(|finding| finding.why.clone()).collect();
    let name = |id: &ItemId| then.edition.sheet.item(id.as_str()).map_or_else(|| id.to_string(), |item| item.name.clone());
    let missing = |state: &EntryState| -> Vec<_> {
        state.in_force.iter().flat_map(|sent| sent.judged.missing.iter().map(|(item, _)| item.clone())).collect()
    };
    let unchecked = |state: &EntryState| -> Vec<_> {
        if state.judgement.is_seen_whole { state.judgement.by_hand_left.iter().cloned().collect() } else { Vec::new() }
    };
    let same_words = {
        let words = |found: &[&Finding]| found.iter().map(|finding| (finding.why.clone(), finding.severity)).collect::<Vec<_>>();
        words(&was) == words(&will)
    };
    let nothing = before.standing() == after.standing()
        && same_words
        && missing(&before) == missing(&after)
        && unchecked(&before) == unchecked(&after);
    if nothing {
        return None;
    }
    Some(Move {
        from: before.standing(),
        to: after.standing(),
        falls_away: only(&was, &will),
        comes: only(&will, &was),
        carried,
        unanswered: missing(&after).iter().map(name).collect(),
        unchecked: unchecked(&after).iter().map(name).collect(),
        entry: after.entry.clone(),
    })
}
