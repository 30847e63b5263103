//! An entry's state: its history read, the rule applied, what is shown of it.

use super::Refusal;
use super::house::{House, KnownEvent};
use crate::rules::answer::{self, Answers};
use crate::rules::judge::{Finding, Judged, judge};
use crate::rules::sheet::Sheet;
use crate::rules::standing::{self, Deed, Judgement, Standing};
use crate::rules::units::Units;
use crate::rules::words::ItemId;
use crate::store::StoreError;
use crate::store::entry::{self, Entry};
use crate::store::history::{self, Kind, Record};
use jiff::Timestamp;
use jiff::civil::Date;
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value as Json};
use std::collections::{BTreeMap, BTreeSet, HashMap};
use uuid::Uuid;

/// What a submission's body holds.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct SubmissionBody {
    pub edition: Uuid,
    pub answers: Map<String, Json>,
    /// SHA-256 of each photo that an answer names. Left out where there are none, as in records of before.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub photo_digests: BTreeMap<Uuid, String>,
}

/// What a sign-off's or withdrawal's body holds.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct WordBody {
    #[serde(default)]
    pub reason: String,
    /// Items whose finding was seen put right (clear), or that the hold is about.
    #[serde(default)]
    pub items: BTreeSet<String>,
    /// Items checked by hand.
    #[serde(default)]
    pub by_hand: BTreeSet<String>,
    /// Photos taken at the gate. Left out where there are none, as in the records of before there were any.
    #[serde(default, skip_serializing_if = "BTreeSet::is_empty")]
    pub photos: BTreeSet<Uuid>,
    /// SHA-256 of each of them.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub photo_digests: BTreeMap<Uuid, String>,
}

/// A submission read by the edition in force.
#[derive(Clone, Debug)]
pub struct Sent {
    pub id: Uuid,
    pub number: u32,
    pub arrived_at: Timestamp,
    pub answers: Answers,
    pub judged: Judged,
}

/// Where an entry stands, and all it rests on.
#[derive(Clone, Debug)]
pub struct EntryState {
    pub entry: Entry,
    pub records: Vec<Record>,
    pub judgement: Judgement<Uuid>,
    /// The submissions in force, the oldest first; usually one.
    pub in_force: Vec<Sent>,
    /// Since when a submission waits that no sign-off has seen.
    pub waits_since: Option<Timestamp>,
}

/// Answers of a stored submission, as far as this sheet still asks for them.
pub fn read_answers(sheet: &Sheet, answers: &Map<String, Json>) -> Answers {
    let read = |item: &crate::rules::sheet::Item| {
        // They were checked against the calendar when they arrived; the judge holds them against the event's day.
        let answer = answer::from_json(item, answers.get(item.id.as_str())?, Date::MAX).ok()??;
        Some((item.id.clone(), answer))
    };
    sheet.items().filter_map(read).collect()
}

/// Reads an entry's history and applies the rule.
///
/// # Errors
/// [`StoreError::Unreadable`] where a stored record has a form it cannot have: never shown as a standing.
pub fn of(known: &KnownEvent, entry: Entry, records: Vec<Record>, units: &Units) -> Result<EntryState, StoreError> {
    let mut graph = Vec::with_capacity(records.len());
    let mut submissions = Vec::new();
    let older = seen_by_submissions(&records);
    for record in &records {
        let deed = match record.kind {
            // The rule asks nothing of a submission that is not in force: a season's history costs what its last sheet costs.
            Kind::Submission if older.contains(&record.id) => Deed::Submission { complete: false, open: BTreeSet::new() },
            Kind::Submission => {
                let body: SubmissionBody = body_of(record)?;
                let answers = read_answers(&known.edition.sheet, &body.answers);
                let judged = judge(&known.edition.sheet, &answers, known.event.day, units);
                let deed = Deed::Submission { complete: judged.is_complete(), open: judged.open_items() };
                let number = record.number.unwrap_or_default();
                submissions.push(Sent { id: record.id, number, arrived_at: record.arrived_at, answers, judged });
                deed
            }
            Kind::Clear => Deed::Clear { closes: closes(record)?, counts: record.counts },
            Kind::Hold => Deed::Hold,
            Kind::Withdrawal => Deed::Withdrawal,
        };
        graph.push(standing::Record { id: record.id, seen: record.seen.iter().copied().collect(), deed });
    }
    let judgement = standing::standing(graph).map_err(|error| StoreError::Unreadable(format!("a history: {error}")))?;
    let in_force: Vec<Sent> = submissions.into_iter().filter(|sent| judgement.in_force.contains(&sent.id)).collect();
    let waits_since = waits_since(&records, &in_force);
    Ok(EntryState { entry, records, judgement, in_force, waits_since })
}

/// Everything that a submission has seen, over others too: what is in it and a submission is not in force.
fn seen_by_submissions(records: &[Record]) -> BTreeSet<Uuid> {
    let by_id: HashMap<Uuid, &Record> = records.iter().map(|record| (record.id, record)).collect();
    let submissions = records.iter().filter(|record| record.kind == Kind::Submission);
    let mut todo: Vec<Uuid> = submissions.flat_map(|record| record.seen.iter().copied()).collect();
    let mut seen = BTreeSet::new();
    while let Some(id) = todo.pop() {
        if seen.insert(id) {
            todo.extend(by_id.get(&id).into_iter().flat_map(|record| record.seen.iter().copied()));
        }
    }
    seen
}

/// Reads an entry of an event with its history and applies the rule.
///
/// # Errors
/// [`Refusal::NotHere`] for an entry of another event.
pub async fn read(house: &House, known: &KnownEvent, id: Uuid, units: &Units) -> Result<EntryState, Refusal> {
    let mut db = house.store.read().await?;
    let entry = entry::one(&mut db, id).await?.filter(|entry| entry.event == known.event.id).ok_or(Refusal::NotHere)?;
    let records = history::of_entry(&mut db, id).await?.records;
    drop(db);
    Ok(of(known, entry, records, units)?)
}

fn closes(record: &Record) -> Result<BTreeSet<ItemId>, StoreError> {
    Ok(word_body(record)?.items.iter().filter_map(|item| ItemId::parse(item)).collect())
}

/// The words of a sign-off or withdrawal.
pub fn word_body(record: &Record) -> Result<WordBody, StoreError> {
    body_of(record)
}

fn body_of<T: for<'de> Deserialize<'de>>(record: &Record) -> Result<T, StoreError> {
    serde_json::from_str(&record.body).map_err(|error| StoreError::Unreadable(format!("record {}: {error}", record.id)))
}

/// A submission in force waits for the gate until a sign-off has seen it.
fn waits_since(records: &[Record], in_force: &[Sent]) -> Option<Timestamp> {
    let seen_at_the_gate = |id: &Uuid| {
        records.iter().filter(|record| matches!(record.kind, Kind::Clear | Kind::Hold)).any(|record| reaches(records, record, id))
    };
    in_force.iter().filter(|sent| sent.judged.is_complete() && !seen_at_the_gate(&sent.id)).map(|sent| sent.arrived_at).min()
}

fn reaches(records: &[Record], from: &Record, id: &Uuid) -> bool {
    let (mut todo, mut done) = (vec![from], BTreeSet::new());
    while let Some(record) = todo.pop() {
        if record.seen.contains(id) {
            return true;
        }
        if done.insert(record.id) {
            todo.extend(record.seen.iter().filter_map(|seen| records.iter().find(|other| other.id == *seen)));
        }
    }
    false
}

impl EntryState {
    /// The entry's id.
    pub fn id(&self) -> Uuid {
        self.entry.id
    }

    pub fn standing(&self) -> Standing {
        self.judgement.standing
    }

    /// The submission that pages show: the newest in force.
    pub fn shown(&self) -> Option<&Sent> {
        self.in_force.last()
    }

    /// Stop and fix findings of the submissions in force that no counting clear has closed.
    pub fn open_findings(&self) -> Vec<&Finding> {
        let open = |finding: &&Finding| finding.severity.holds_the_car() && self.judgement.still_open.contains(&finding.item);
        let mut found: Vec<&Finding> = Vec::new();
        for finding in self.in_force.iter().flat_map(|sent| &sent.judged.findings).filter(open) {
            if !found.contains(&finding) {
                found.push(finding);
            }
        }
        found.sort_by_key(|finding| std::cmp::Reverse(finding.severity));
        found
    }

    /// A hold or withdrawal that no clear has answered, the newest first.
    pub fn standing_bars(&self) -> Vec<&Record> {
        use standing::Because::{HoldStands, WithdrawalStands};
        let stands = |record: &&Record| {
            let because = &self.judgement.because;
            because.contains(&HoldStands(record.id)) || because.contains(&WithdrawalStands(record.id))
        };
        self.records.iter().rev().filter(stands).collect()
    }

    /// The clear that clears the entry.
    pub fn clearance(&self) -> Option<&Record> {
        let id = self.judgement.cleared_by?;
        self.records.iter().find(|record| record.id == id)
    }
}
