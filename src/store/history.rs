//! The history of an entry and of its event: append-only, held by triggers. Nothing here changes or removes a record.

mod append;
mod ends;
mod raw;
mod read;

pub use append::{append, append_to_event, is_same_body};
pub(super) use ends::{Ends, EntryEnd, EventEnd, read_entry_end, read_event_end, roster_digest};
pub(super) use raw::Row as RecordRow;
pub use read::{arrived_at, body, of_entry, of_entry_until, of_event, whole_of_entry, with_bodies};

use super::{Store, StoreError, row};
use crate::rules::chain::Sealed;
use crate::rules::graph::Graph;
use jiff::Timestamp;
use sqlx::{FromRow, SqliteConnection};
use std::collections::BTreeSet;
use uuid::Uuid;

/// The most submissions an entry may have: a season's worth of mending at one event, and a bound on mischief. What the gate
/// and the organizer do is never kept out: a car can be held and a clearance taken back whatever its driver sent.
pub const MOST_SUBMISSIONS: u32 = 400;

/// The most bytes that the submissions of an entry may take together: twice what all of them take that a full sheet with some
/// notes makes.
pub const MOST_BYTES: u64 = 16 * 1024 * 1024;

/// The most records that a submission may name as seen and that are not here: they come later, from a phone without signal.
pub const MOST_ON_THEIR_WAY: usize = 20;

/// The most submissions of an entry that may be in force at once: each is judged at every look. Two or three phones make two or
/// three, a phone gone mad makes dozens.
pub const MOST_IN_FORCE: usize = 64;

/// What a record of an entry is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    Submission,
    Clear,
    Hold,
    Withdrawal,
}

impl Kind {
    pub const ALL: [Kind; 4] = [Kind::Submission, Kind::Clear, Kind::Hold, Kind::Withdrawal];

    /// The word in the column and on the page.
    pub fn word(self) -> &'static str {
        match self {
            Kind::Submission => "submission",
            Kind::Clear => "clear",
            Kind::Hold => "hold",
            Kind::Withdrawal => "withdrawal",
        }
    }

    /// Reads the word.
    pub fn parse(word: &str) -> Option<Kind> {
        Kind::ALL.into_iter().find(|kind| kind.word() == word)
    }
}

/// What a record of the event itself is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum EventKind {
    /// The event was made; or, in a file from before there were such records, what it was when they began.
    Opened,
    /// A roster was taken in.
    Roster,
    /// The event was raised to another edition of the sheet.
    Raise,
}

impl EventKind {
    pub const ALL: [EventKind; 3] = [EventKind::Opened, EventKind::Roster, EventKind::Raise];

    /// The word in the column and on the page.
    pub fn word(self) -> &'static str {
        match self {
            EventKind::Opened => "opened",
            EventKind::Roster => "roster",
            EventKind::Raise => "raise",
        }
    }

    /// Reads the word.
    pub fn parse(word: &str) -> Option<EventKind> {
        EventKind::ALL.into_iter().find(|kind| kind.word() == word)
    }
}

/// Who made a record, on what.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Maker {
    pub name: String,
    pub role: String,
    pub link: Uuid,
    pub device: Uuid,
}

/// A record as its maker hands it over.
#[derive(Clone, Debug)]
pub struct NewRecord {
    pub id: Uuid,
    pub event: Uuid,
    pub entry: Uuid,
    pub kind: Kind,
    pub seen: Vec<Uuid>,
    /// JSON; its form belongs to the act that makes and reads it.
    pub body: String,
    pub made_at: Timestamp,
    pub arrived_at: Timestamp,
    pub maker: Maker,
    /// Goes into the hash with the maker's name, so that an erased name cannot be guessed back.
    pub salt: [u8; 20],
    pub counts: bool,
    /// The edition its maker acted by: where it is not in force any more, nothing is written. `None`: any edition will do.
    pub edition: Option<Uuid>,
}

/// A record of the event itself, to be written.
#[derive(Clone, Debug)]
pub struct NewEventRecord {
    pub id: Uuid,
    pub event: Uuid,
    pub kind: EventKind,
    /// JSON; its form belongs to the act that makes and reads it.
    pub body: String,
    pub made_at: Timestamp,
    /// `None` for what the program itself or whoever runs the server does.
    pub maker: Option<Maker>,
    /// As in [`NewRecord`].
    pub salt: [u8; 20],
}

/// A record of the event itself as it stands in the history.
#[derive(Clone, Debug, PartialEq)]
pub struct EventRecord {
    pub place: i64,
    pub id: Uuid,
    pub kind: EventKind,
    pub body: String,
    pub made_at: Timestamp,
    pub arrived_at: Timestamp,
    pub maker: Option<Maker>,
    /// The edition in force once it was done, with its digest and the digest of the event's head, in hexadecimal figures.
    pub edition: Uuid,
    pub edition_digest: String,
    pub event_digest: String,
}

/// A record as it stands in the history.
#[derive(Clone, Debug, PartialEq)]
pub struct Record {
    /// 1, 2, 3 ... in the event, in order of arrival: older and newer are a matter of this and never of a clock.
    pub place: i64,
    /// 1: sealed by the rule of before; 2: it also binds edition, event and roster line.
    pub form: u8,
    /// The edition that was in force when it arrived; `None` in records of form 1.
    pub edition: Option<Uuid>,
    /// The digest of that edition, in hexadecimal figures; `None` in records of form 1.
    pub edition_digest: Option<String>,
    pub id: Uuid,
    pub entry: Uuid,
    pub kind: Kind,
    pub seen: Vec<Uuid>,
    /// Empty for a submission that is not in force, unless it was asked for: see [`of_entry`].
    pub body: String,
    pub number: Option<u32>,
    pub made_at: Timestamp,
    pub arrived_at: Timestamp,
    pub maker: Maker,
    pub counts: bool,
}

/// An entry's history, in order of arrival. One row that cannot be read never hides the others.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Past {
    pub records: Vec<Record>,
    /// A sentence for each row that cannot be read. What such a row says is unknown: nobody may be shown as cleared over it.
    pub unreadable: Vec<String>,
    /// The graph of these records, where it was built to find out which submissions are in force.
    pub graph: Option<Graph<Uuid>>,
}

impl Past {
    /// Whether reading it keeps a core busy for longer than an answer may: it is done apart then. A sheet in force takes 0.1 ms.
    pub fn is_large(&self) -> bool {
        let bytes: usize = self.records.iter().map(|record| record.body.len()).sum();
        self.records.len() > 60 || bytes > 100_000
    }
}

/// What became of a record that was handed over.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Appended {
    New,
    /// It was there already, with the same content: sending twice changes nothing.
    Again,
    /// Its id is taken by another record: nothing was written.
    IdTaken,
    /// The entry's history is full: nothing was written.
    Full,
    /// The entry's submissions would take more room than there is: nothing was written.
    TooHeavy,
    /// It names more records that are not here than can be on their way: nothing was written.
    SeesUnknown,
    /// Too many submissions that do not know of each other would be in force: nothing was written.
    TooManyInForce,
    /// Its maker's device is not let in any more: nothing was written.
    NotLetIn,
    /// The event is judged by another edition than its maker acted by: nothing was written.
    EditionMoved,
    /// It would have seen itself, over others: nothing was written.
    Circle,
}

/// What stands in place of a name that was erased.
pub const ERASED: &str = "name erased";

/// Every record of the database as it was hashed, event by event in the order of the chain.
pub async fn sealed(db: &mut SqliteConnection, event: Option<Uuid>) -> Result<Vec<Sealed>, StoreError> {
    let rows: Vec<RecordRow> = sqlx::query_as("select * from record where ?1 is null or event_id = ?1 order by event_id, place")
        .bind(event.map(|event| event.as_bytes().to_vec()))
        .fetch_all(db)
        .await?;
    rows.into_iter().map(RecordRow::sealed).collect()
}

/// The head of an event's chain: its newest record's place and hash.
pub async fn head(db: &mut SqliteConnection, event: Uuid) -> Result<Option<(i64, String)>, StoreError> {
    let row: Option<(i64, Vec<u8>)> =
        sqlx::query_as("select place, hash from record where event_id = ? order by place desc limit 1")
            .bind(&event.as_bytes()[..])
            .fetch_optional(db)
            .await?;
    Ok(row.map(|(place, hash)| (place, data_encoding::HEXLOWER.encode(&hash))))
}

/// The editions that submissions of an event were given to, or that clears of it were made by.
pub async fn editions_named(db: &mut SqliteConnection, event: Uuid) -> Result<Vec<Uuid>, StoreError> {
    let texts: Vec<Option<String>> = sqlx::query_scalar(
        "select distinct json_extract(body, '$.edition') from record
         where event_id = ?1 and kind = 'submission' and json_valid(body)
         union select distinct lower(hex(edition_id)) from record where event_id = ?1 and edition_id is not null",
    )
    .bind(&event.as_bytes()[..])
    .fetch_all(db)
    .await?;
    // A body that names none is unreadable by itself: the entry's state says so.
    let ids: BTreeSet<Uuid> = texts.into_iter().flatten().filter_map(|text| Uuid::parse_str(&text).ok()).collect();
    Ok(ids.into_iter().collect())
}

/// Whether an event's chain has the record with this hash at this place. Place 0 is where every chain begins: it has no hash.
///
/// A copy that was made from another history, or from one that an older backup has replaced, is told by it.
pub async fn has(db: &mut SqliteConnection, event: Uuid, place: i64, hash: &str) -> Result<bool, StoreError> {
    if place == 0 {
        return Ok(hash.is_empty());
    }
    let there: Option<Vec<u8>> = sqlx::query_scalar("select hash from record where event_id = ? and place = ?")
        .bind(&event.as_bytes()[..])
        .bind(place)
        .fetch_optional(db)
        .await?;
    Ok(there.is_some_and(|there| data_encoding::HEXLOWER.encode(&there) == hash))
}

/// The place from which on the event's records also bind the sheet, the event and the roster; `None` while none does. The first
/// record of the event itself is the first that does.
pub async fn strong_from(db: &mut SqliteConnection, event: Uuid) -> Result<Option<i64>, StoreError> {
    Ok(sqlx::query_scalar("select min(place) from record where event_id = ? and entry_id is null")
        .bind(&event.as_bytes()[..])
        .fetch_one(db)
        .await?)
}

/// The entries of an event that have a record after this place.
pub async fn entries_after(db: &mut SqliteConnection, event: Uuid, place: i64) -> Result<Vec<Uuid>, StoreError> {
    let ids: Vec<Vec<u8>> =
        sqlx::query_scalar("select distinct entry_id from record where event_id = ? and place > ? and entry_id is not null")
            .bind(&event.as_bytes()[..])
            .bind(place)
            .fetch_all(db)
            .await?;
    ids.iter().map(|id| row::id(id)).collect()
}

/// The records of the event itself, in order. A row that cannot be read is left out; `witnessmark verify` names it.
pub async fn event_records(db: &mut SqliteConnection, event: Uuid) -> Result<Vec<EventRecord>, StoreError> {
    let rows = sqlx::query("select * from record where event_id = ? and entry_id is null order by place")
        .bind(&event.as_bytes()[..])
        .fetch_all(db)
        .await?;
    Ok(rows.iter().filter_map(|row| RecordRow::from_row(row).ok()?.event_record().ok()).collect())
}

impl Store {
    /// How many records the entries have: a check after a fall, and the foot of an export.
    pub async fn count_records(&self) -> Result<i64, StoreError> {
        let mut db = self.read().await?;
        Ok(sqlx::query_scalar("select count(*) from record where entry_id is not null").fetch_one(&mut *db).await?)
    }
}

/// Whether a record of this id is there.
pub async fn has_record(db: &mut SqliteConnection, id: Uuid) -> Result<bool, StoreError> {
    Ok(sqlx::query_scalar("select exists (select 1 from record where id = ?)").bind(&id.as_bytes()[..]).fetch_one(db).await?)
}
