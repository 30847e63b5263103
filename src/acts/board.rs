//! The board: every entry of an event at a glance, kept in memory and made anew only for what was touched.

use super::Refusal;
use super::house::{House, KnownEvent};
use super::state::{self, EntryState, Waits};
use crate::rules::standing::Standing;
use crate::rules::strip::{AreaStrip, strip};
use crate::rules::units::Units;
use crate::store::entry::{self, Entry};
use crate::store::history::{self, Kind};
use crate::store::{Touch, apart};
use jiff::Timestamp;
use std::collections::{BTreeSet, HashMap};
use std::sync::{Arc, Mutex, PoisonError};
use uuid::Uuid;

/// One entry on the board.
#[derive(Clone, Debug)]
pub struct Row {
    pub entry: Entry,
    pub standing: Standing,
    pub strip: Vec<AreaStrip>,
    pub waits: Option<Waits>,
    /// How many submissions were sent.
    pub sent: u32,
    /// The newest sign-off or withdrawal that says why the entry stands where it does.
    pub word: Option<Word>,
    /// The gravest open finding, where nobody at the gate has said anything.
    pub finding: Option<String>,
    /// How many of the newest submission's required items are not answered in the edition in force.
    pub missing: usize,
    /// How many checks by hand the edition in force asks that the car's clear lacks.
    pub by_hand: usize,
}

/// A sign-off or withdrawal in short.
#[derive(Clone, Debug)]
pub struct Word {
    pub kind: Kind,
    pub at: Timestamp,
    pub by: String,
    pub reason: String,
}

/// All entries of an event, numbers in order.
#[derive(Clone, Debug)]
pub struct Board {
    pub rows: Vec<Arc<Row>>,
    /// When it was made, to be shown.
    pub as_of: Timestamp,
    /// The place and the hash of the event's newest record when it was made; 0 and empty where there was none. What the board
    /// shows is at least as new.
    pub place: i64,
    pub hash: String,
    /// The edition by which its entries are judged.
    pub edition: Uuid,
    /// Differs whenever anything on the board may differ.
    pub version: u64,
}

impl Board {
    /// How many entries stand there, of one run group or of all.
    pub fn count(&self, standing: Standing, group: Option<&str>) -> usize {
        self.rows.iter().filter(|row| row.standing == standing && group.is_none_or(|group| row.entry.group == group)).count()
    }

    /// Those who wait at the gate, oldest first.
    pub fn waiting(&self) -> Vec<&Row> {
        let mut rows: Vec<&Row> = self.rows.iter().map(Arc::as_ref).filter(|row| row.waits.is_some()).collect();
        rows.sort_by_key(|row| row.waits.map(|waits| waits.place));
        rows
    }
}

#[derive(Default)]
struct Kept {
    board: Option<Arc<Board>>,
    /// Entries touched since.
    touched: BTreeSet<Uuid>,
    /// Goes up with every touch.
    version: u64,
}

/// The boards of the events that somebody looked at.
#[derive(Default)]
pub struct Boards {
    kept: Mutex<HashMap<Uuid, Kept>>,
}

impl Boards {
    fn with<T>(&self, event: Uuid, look: impl FnOnce(&mut Kept) -> T) -> T {
        let mut kept = self.kept.lock().unwrap_or_else(PoisonError::into_inner);
        look(kept.entry(event).or_default())
    }

    fn all(&self, mut change: impl FnMut(&mut Kept)) {
        self.kept.lock().unwrap_or_else(PoisonError::into_inner).values_mut().for_each(&mut change);
    }

    pub(super) fn forget(&self, touch: Touch) {
        match touch {
            Touch::Nothing | Touch::Access => {}
            Touch::All => self.all(|kept| {
                kept.version += 1;
                kept.board = None;
            }),
            Touch::Entry { event, entry } => self.with(event, |kept| {
                kept.version += 1;
                kept.touched.insert(entry);
            }),
            Touch::Event(event) => self.with(event, |kept| {
                kept.version += 1;
                kept.board = None;
            }),
        }
    }
}

/// The board of an event as it is now.
///
/// # Errors
/// [`Refusal::NotHere`] for an event that is not there.
pub async fn board(house: &House, event: Uuid) -> Result<Arc<Board>, Refusal> {
    // The version first: whatever is touched from here on, the edition too, leaves this board marked as old.
    let (old, mut touched, version) = house.boards.with(event, |kept| (kept.board.clone(), kept.touched.clone(), kept.version));
    if let Some(board) = &old
        && touched.is_empty()
    {
        return Ok(board.clone());
    }
    let (known, place, hash) = house.event_now(event).await?;
    let old = old.filter(|old| old.edition == known.edition.id);
    if let Some(old) = &old {
        // A record that was committed in this moment may not be told of yet: the place promises it, so its row is made anew too.
        let mut db = house.store.read().await?;
        touched.extend(history::entries_after(&mut db, event, old.place).await?);
    }
    let rows = match old {
        Some(old) if touched.len() < 40 => some_anew(house, &known, &old, &touched).await?,
        _ => all_anew(house, &known).await?,
    };
    let board = Arc::new(Board { rows, as_of: house.now(), place, hash, edition: known.edition.id, version });
    house.boards.with(event, |kept| {
        if kept.version == version {
            kept.touched.clear();
            kept.board = Some(board.clone());
        }
    });
    Ok(board)
}

async fn all_anew(house: &House, known: &KnownEvent) -> Result<Vec<Arc<Row>>, Refusal> {
    let mut db = house.store.read().await?;
    let entries = entry::of_event(&mut db, known.event.id).await?;
    let mut histories = history::of_event(&mut db, known.event.id).await?;
    drop(db);
    let known = known.clone();
    let rows = move || {
        let row = |entry: Entry| {
            let past = histories.remove(&entry.id).unwrap_or_default();
            Arc::new(row_of(&known, &state::of(&known, entry, past, &Units::METRIC)))
        };
        entries.into_iter().map(row).collect()
    };
    // A hundred cars take some milliseconds: others are answered meanwhile.
    Ok(apart(rows).await?)
}

async fn some_anew(house: &House, known: &KnownEvent, old: &Board, touched: &BTreeSet<Uuid>) -> Result<Vec<Arc<Row>>, Refusal> {
    let mut db = house.store.read().await?;
    let mut rows = old.rows.clone();
    for row in rows.iter_mut().filter(|row| touched.contains(&row.entry.id)) {
        let past = history::of_entry(&mut db, row.entry.id).await?;
        *row = Arc::new(row_of(known, &state::of_any(known, row.entry.clone(), past, &Units::METRIC).await?));
    }
    Ok(rows)
}

fn row_of(known: &KnownEvent, state: &EntryState) -> Row {
    let open = &state.judgement.still_open;
    let sheet = &known.edition.sheet;
    let word = match state.standing() {
        Standing::Cleared => state.clearance(),
        _ => state.standing_bars().first().copied(),
    };
    let word = word.map(|record| Word {
        kind: record.kind,
        at: record.arrived_at,
        by: record.maker.name.clone(),
        reason: state::reason(record),
    });
    Row {
        entry: state.entry.clone(),
        standing: state.standing(),
        strip: match state.shown() {
            Some(sent) => strip(sheet, &sent.answers, &sent.judged, Some(open)),
            None => strip(sheet, &Default::default(), &Default::default(), None),
        },
        waits: state.waits,
        sent: state.records.iter().filter(|record| record.kind == Kind::Submission).count() as u32,
        word,
        finding: match state.unreadable() {
            Some(_) => Some("something of this car's history cannot be read: ask the organizer".into()),
            None => state.open_findings().first().map(|finding| finding.why.clone()),
        },
        missing: state.shown().map_or(0, |sent| sent.judged.missing.len()),
        by_hand: if state.judgement.is_seen_whole { state.judgement.by_hand_left.len() } else { 0 },
    }
}
