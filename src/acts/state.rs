//! An entry's state: its history read, the rule applied, what is shown of it.

use super::Refusal;
use super::closing::closes;
use super::house::{House, KnownEvent};
use crate::rules::answer::{Answers, is_asked};
use crate::rules::edition::read_and_judge;
use crate::rules::graph::Graph;
use crate::rules::judge::{Finding, Judged};
use crate::rules::sheet::Item;
use crate::rules::standing::{self, Deed, Judgement, Standing};
use crate::rules::units::Units;
use crate::rules::words::ItemId;
use crate::store::entry::{self, Entry};
use crate::store::history::{self, Kind, Past, Record};
use crate::store::{StoreError, apart};
use jiff::Timestamp;
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value as Json};
use std::collections::{BTreeMap, BTreeSet};
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
    /// The inspector's own readings of items whose finding was seen put right, each as an answers file has it.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub readings: BTreeMap<String, Json>,
    /// What the inspector saw of an item whose finding was put right, in a sentence.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub seen_as: BTreeMap<String, String>,
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
    pub place: i64,
    pub arrived_at: Timestamp,
    /// The edition that it was given to.
    pub edition: Uuid,
    /// The answers as they were sent.
    pub stored: Map<String, Json>,
    pub answers: Answers,
    pub judged: Judged,
}

/// A submission that waits for the gate.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Waits {
    /// Its place in the event's chain: who waits longest is a matter of this.
    pub place: i64,
    /// When it arrived, to be shown.
    pub since: Timestamp,
}

/// Where an entry stands, and all it rests on.
#[derive(Clone, Debug)]
pub struct EntryState {
    pub entry: Entry,
    pub records: Vec<Record>,
    pub judgement: Judgement<Uuid>,
    /// The submissions in force, the oldest first; usually one.
    pub in_force: Vec<Sent>,
    /// The hand checks that the edition in force asks of this car.
    pub by_hand: BTreeSet<ItemId>,
    pub waits: Option<Waits>,
}

/// Reads an entry's history and applies the rule. A history that cannot be read whole is never cleared, and says why: one bad car
/// never stops the others.
pub fn of(known: &KnownEvent, entry: Entry, past: Past, units: &Units) -> EntryState {
    let Past { records, mut unreadable, graph } = past;
    let built = || Graph::new(records.iter().map(|record| (record.id, record.seen.iter().copied())));
    let graph = graph.unwrap_or_else(built);
    let place = |record: &Record| graph.place(&record.id);
    let submissions: Vec<usize> = records.iter().filter(|record| record.kind == Kind::Submission).filter_map(place).collect();
    let newest: BTreeSet<Uuid> = standing::in_force(&graph, submissions).into_iter().map(|place| graph.id(place)).collect();
    let mut in_force = Vec::new();
    for record in records.iter().filter(|record| newest.contains(&record.id)) {
        match Sent::read(known, record, units) {
            Ok(sent) => in_force.push(sent),
            Err(error) => unreadable.push(error.to_string()),
        }
    }
    let by_hand = asked_by_hand(known, &in_force);
    let by_id: BTreeMap<Uuid, &Sent> = in_force.iter().map(|sent| (sent.id, sent)).collect();
    let mut deeds = vec![Deed::Hold; graph.len()];
    for record in &records {
        if let Some(place) = place(record) {
            deeds[place] = deed_of(known, record, by_id.get(&record.id).copied(), &in_force, &graph);
        }
    }
    let judgement = standing::standing_in(&graph, &deeds, &by_hand).with_unreadable(unreadable);
    let waits = waits(&judgement, &in_force, &records, &graph);
    EntryState { entry, records, judgement, in_force, by_hand, waits }
}

/// As [`of`]; apart from the threads that answer where there is much to read.
///
/// # Errors
/// [`StoreError::BrokeOff`] where the work panicked.
pub async fn of_any(known: &KnownEvent, entry: Entry, past: Past, units: &Units) -> Result<EntryState, StoreError> {
    if !past.is_large() {
        return Ok(of(known, entry, past, units));
    }
    let (known, units) = (known.clone(), *units);
    apart(move || of(&known, entry, past, &units)).await
}

impl Sent {
    /// Reads a submission by the edition in force.
    ///
    /// # Errors
    /// [`StoreError::Unreadable`] where its body has a form it cannot have.
    fn read(known: &KnownEvent, record: &Record, units: &Units) -> Result<Sent, StoreError> {
        let body: SubmissionBody = body_of(record)?;
        let given = known.given_to(body.edition);
        let (answers, judged) = read_and_judge(&known.edition.sheet, given, &body.answers, known.event.day, units);
        Ok(Sent {
            id: record.id,
            number: record.number.unwrap_or_default(),
            place: record.place,
            arrived_at: record.arrived_at,
            edition: body.edition,
            stored: body.answers,
            answers,
            judged,
        })
    }
}

/// What a record does, as far as the rule looks at it. The rule asks nothing of a submission that is not in force: a season's
/// history costs what its last sheet costs. One in force that cannot be read is not complete.
fn deed_of(known: &KnownEvent, record: &Record, sent: Option<&Sent>, in_force: &[Sent], graph: &Graph<Uuid>) -> Deed {
    match record.kind {
        Kind::Submission => match sent {
            Some(sent) => Deed::Submission { complete: sent.judged.is_complete(), open: sent.judged.open_items() },
            None => Deed::Submission { complete: false, open: BTreeSet::new() },
        },
        Kind::Clear => match word_body(record) {
            Ok(words) => Deed::Clear {
                closes: closes(known, record, &words, in_force, graph),
                by_hand: words.by_hand.iter().filter_map(|item| ItemId::parse(item)).collect(),
                counts: record.counts,
            },
            Err(_) => Deed::Clear { closes: BTreeSet::new(), by_hand: BTreeSet::new(), counts: false },
        },
        Kind::Hold => Deed::Hold,
        Kind::Withdrawal => Deed::Withdrawal,
    }
}

/// The hand checks of the edition in force on items that any submission in force is asked.
fn asked_by_hand(known: &KnownEvent, in_force: &[Sent]) -> BTreeSet<ItemId> {
    let sheet = &known.edition.sheet;
    let asked = |item: &&Item| item.by_hand.is_some() && in_force.iter().any(|sent| is_asked(sheet, item, &sent.answers));
    sheet.items().filter(asked).map(|item| item.id.clone()).collect()
}

/// A complete submission in force waits for the gate until a sign-off has seen it; also where one has and the car is pending all
/// the same, because a new edition asks more of its clear, say.
fn waits(judgement: &Judgement<Uuid>, in_force: &[Sent], records: &[Record], graph: &Graph<Uuid>) -> Option<Waits> {
    let signed = records.iter().filter(|record| matches!(record.kind, Kind::Clear | Kind::Hold));
    let seen = graph.seen_by(signed.filter_map(|record| graph.place(&record.id)));
    let is_pending = judgement.standing == Standing::Pending;
    let waits = |sent: &&Sent| {
        let unseen = graph.place(&sent.id).is_some_and(|place| !seen.contains(place));
        sent.judged.is_complete() && (unseen || is_pending)
    };
    let first = in_force.iter().filter(waits).min_by_key(|sent| sent.place);
    first.map(|sent| Waits { place: sent.place, since: sent.arrived_at })
}

/// Reads an entry of an event with its history and applies the rule.
///
/// # Errors
/// [`Refusal::NotHere`] for an entry of another event.
pub async fn read(house: &House, known: &KnownEvent, id: Uuid, units: &Units) -> Result<EntryState, Refusal> {
    let mut db = house.store.read().await?;
    let entry = entry::one(&mut db, id).await?.filter(|entry| entry.event == known.event.id).ok_or(Refusal::NotHere)?;
    let past = history::of_entry(&mut db, id).await?;
    drop(db);
    Ok(of_any(known, entry, past, units).await?)
}

/// The words of a sign-off or withdrawal.
///
/// # Errors
/// [`StoreError::Unreadable`] where the body has a form it cannot have.
pub fn word_body(record: &Record) -> Result<WordBody, StoreError> {
    body_of(record)
}

/// The reason of a sign-off or withdrawal, as far as it can be read.
pub fn reason(record: &Record) -> String {
    word_body(record).map_or_else(|_| "(its words cannot be read)".into(), |words| words.reason)
}

fn body_of<T: for<'de> Deserialize<'de>>(record: &Record) -> Result<T, StoreError> {
    serde_json::from_str(&record.body).map_err(|error| StoreError::Unreadable(format!("record {}: {error}", record.id)))
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

    /// Why the history cannot be read whole, where it cannot.
    pub fn unreadable(&self) -> Option<&str> {
        self.judgement.because.iter().find_map(|because| match because {
            standing::Because::Unreadable(what) => Some(what.as_str()),
            _ => None,
        })
    }

    /// Stop and fix findings of the submissions in force that no counting clear has closed, the gravest first.
    pub fn open_findings(&self) -> Vec<&Finding> {
        let open = |finding: &&Finding| finding.severity.holds_the_car() && self.judgement.still_open.contains(&finding.item);
        let (mut told, mut found) = (BTreeSet::new(), Vec::new());
        for finding in self.in_force.iter().flat_map(|sent| &sent.judged.findings).filter(open) {
            let Finding { item, place, severity, why, mend, source, carried_from } = finding;
            if told.insert((item, place, severity, why, mend, source, carried_from)) {
                found.push(finding);
            }
        }
        found.sort_by_key(|finding| std::cmp::Reverse(finding.severity));
        found
    }

    /// The hand checks that a clear must carry now. Where nothing happened to the car since a clear but that the sheet asks more,
    /// only what it asks more is left; after a new submission, a hold or a withdrawal, and to clear a cleared car once more,
    /// everything is looked at again.
    pub fn by_hand_now(&self) -> &BTreeSet<ItemId> {
        let only_more = self.judgement.is_seen_whole && self.standing() != Standing::Cleared;
        if only_more { &self.judgement.by_hand_left } else { &self.by_hand }
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
