//! What happened to a car beyond what a page had in front of its reader: a refused clear says who did what, and when.

use super::house::KnownEvent;
use super::state::{SubmissionBody, reason};
use crate::store::StoreError;
use crate::store::history::{self, Kind, Record};
use jiff::Timestamp;
use sqlx::SqliteConnection;
use std::collections::{BTreeMap, BTreeSet};
use uuid::Uuid;

/// One thing that happened.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Meanwhile {
    /// Its place in the event's chain: older and newer are a matter of this.
    pub place: i64,
    /// When it arrived, to be shown.
    pub at: Timestamp,
    /// Who did it.
    pub by: String,
    pub what: What,
}

/// What happened. A reason may be empty for a clear.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum What {
    Held {
        reason: String,
    },
    Cleared {
        reason: String,
    },
    TakenBack {
        reason: String,
    },
    /// The driver sent a sheet. `changed` is how many answers differ from the sheet before it; `None` where there was none
    /// before, or where one of the two cannot be read.
    Sheet {
        changed: Option<usize>,
    },
    /// The sheet was raised to this edition; `None` where the raise cannot be read.
    Raised {
        to: Option<u32>,
    },
}

/// The most sheets that are compared to say how many answers changed.
const MOST_COMPARED: usize = 10;

/// The records of an entry that are neither in `seen` nor in the past of it, the oldest first.
///
/// # Errors
/// [`StoreError`] where the sheets that are compared cannot be fetched.
pub async fn beyond(db: &mut SqliteConnection, records: Vec<Record>, seen: &[Uuid]) -> Result<Vec<Meanwhile>, StoreError> {
    let known = past_of(&records, seen);
    let (known_sheets, new_sheets): (Vec<&Record>, Vec<&Record>) =
        records.iter().filter(|record| record.kind == Kind::Submission).partition(|record| known.contains(&record.id));
    let compared = known_sheets.iter().rev().take(1).chain(new_sheets.iter().rev().take(MOST_COMPARED));
    let compared = history::with_bodies(db, compared.map(|record| (*record).clone()).collect()).await?;
    let mut records = records;
    for sheet in compared {
        if let Some(record) = records.iter_mut().find(|record| record.id == sheet.id) {
            record.body = sheet.body;
        }
    }
    Ok(told(&records, &known))
}

/// What is in `seen` or in the past of it.
fn past_of(records: &[Record], seen: &[Uuid]) -> BTreeSet<Uuid> {
    let by_id: BTreeMap<Uuid, &Record> = records.iter().map(|record| (record.id, record)).collect();
    let mut known: BTreeSet<Uuid> = BTreeSet::new();
    let mut left: Vec<Uuid> = seen.to_vec();
    while let Some(id) = left.pop() {
        if known.insert(id) {
            left.extend(by_id.get(&id).into_iter().flat_map(|record| &record.seen));
        }
    }
    known
}

fn told(records: &[Record], known: &BTreeSet<Uuid>) -> Vec<Meanwhile> {
    let mut sheet = records.iter().rev().find(|record| record.kind == Kind::Submission && known.contains(&record.id));
    let mut happened = Vec::new();
    for record in records.iter().filter(|record| !known.contains(&record.id)) {
        let what = match record.kind {
            Kind::Hold => What::Held { reason: reason(record) },
            Kind::Clear => What::Cleared { reason: reason(record) },
            Kind::Withdrawal => What::TakenBack { reason: reason(record) },
            Kind::Submission => {
                let before = sheet.replace(record);
                What::Sheet { changed: before.and_then(|before| changed(before, record)) }
            }
        };
        happened.push(Meanwhile { place: record.place, at: record.arrived_at, by: record.maker.name.clone(), what });
    }
    happened
}

/// How many answers differ between two sheets.
fn changed(before: &Record, after: &Record) -> Option<usize> {
    let answers = |record: &Record| Some(serde_json::from_str::<SubmissionBody>(&record.body).ok()?.answers);
    let (before, after) = (answers(before)?, answers(after)?);
    let items: BTreeSet<&String> = before.keys().chain(after.keys()).collect();
    Some(items.into_iter().filter(|item| before.get(*item) != after.get(*item)).count())
}

/// The times the sheet was raised since a page was made by `edition`, the oldest first.
pub fn raised_since(known: &KnownEvent, edition: Option<Uuid>) -> Vec<Meanwhile> {
    if edition == Some(known.edition.id) {
        return Vec::new();
    }
    let leads_away = |raised: &super::raise_edition::Raised| raised.body.as_ref().is_some_and(|body| Some(body.from) == edition);
    // From an edition that no raise names, the newest is what happened.
    let first = known.raises.iter().position(leads_away).unwrap_or(known.raises.len().saturating_sub(1));
    let told = known.raises.iter().skip(first).map(|raised| Meanwhile {
        place: raised.place,
        at: raised.at,
        by: raised.by.clone(),
        what: What::Raised { to: raised.body.as_ref().map(|body| body.to_number) },
    });
    told.collect()
}
