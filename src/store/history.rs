//! The history of an entry: append-only, held by triggers. Nothing here changes or removes a record.

use super::row;
use super::writer::Writing;
use super::{Store, StoreError};
use crate::rules::chain::{Hash, Sealed, hex, mark_of};
use jiff::Timestamp;
use sqlx::sqlite::SqliteRow;
use sqlx::{FromRow, Row as _, SqliteConnection};
use std::collections::BTreeMap;
use uuid::Uuid;

/// The most submissions an entry may have: a season's worth of mending at one event, and a bound on mischief. What the gate
/// and the organizer do is never kept out: a car can be held and a clearance taken back whatever its driver sent.
pub const MOST_SUBMISSIONS: u32 = 400;

/// What a record is.
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
}

impl Past {
    fn take(&mut self, row: Result<Record, String>) {
        match row {
            Ok(record) => self.records.push(record),
            Err(sentence) => self.unreadable.push(sentence),
        }
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
    /// Its maker's device is not let in any more: nothing was written.
    NotLetIn,
}

#[derive(FromRow)]
struct Row {
    id: Vec<u8>,
    event_id: Vec<u8>,
    entry_id: Vec<u8>,
    place: i64,
    kind: String,
    seen: String,
    body: String,
    number: Option<u32>,
    made_at: i64,
    arrived_at: i64,
    maker: Option<String>,
    maker_salt: Option<String>,
    maker_mark: Vec<u8>,
    maker_role: String,
    link_id: Vec<u8>,
    device_id: Vec<u8>,
    counts: bool,
    entry_before: Option<Vec<u8>>,
    event_before: Option<Vec<u8>>,
    hash: Vec<u8>,
}

/// What stands in place of a name that was erased.
pub const ERASED: &str = "name erased";

impl Row {
    fn record(self) -> Result<Record, StoreError> {
        Ok(Record {
            place: self.place,
            form: 1,
            edition: None,
            edition_digest: None,
            id: row::id(&self.id)?,
            entry: row::id(&self.entry_id)?,
            kind: Kind::parse(&self.kind).ok_or_else(|| StoreError::Unreadable(format!("the kind {}", self.kind)))?,
            seen: row::ids_from_json(&self.seen)?,
            body: self.body,
            number: self.number,
            made_at: row::time(self.made_at)?,
            arrived_at: row::time(self.arrived_at)?,
            maker: Maker {
                name: self.maker.unwrap_or_else(|| ERASED.into()),
                role: self.maker_role,
                link: row::id(&self.link_id)?,
                device: row::id(&self.device_id)?,
            },
            counts: self.counts,
        })
    }

    fn sealed(self) -> Result<Sealed, StoreError> {
        let hash = |bytes: &[u8]| bytes.iter().map(|byte| format!("{byte:02x}")).collect::<String>();
        Ok(Sealed {
            place: u64::try_from(self.place).map_err(|_| StoreError::Unreadable("a place".into()))?,
            id: row::id(&self.id)?.to_string(),
            event: row::id(&self.event_id)?.to_string(),
            entry: row::id(&self.entry_id)?.to_string(),
            kind: self.kind,
            seen: row::ids_from_json(&self.seen)?.iter().map(Uuid::to_string).collect(),
            body: self.body,
            number: self.number,
            made_at: self.made_at,
            arrived_at: self.arrived_at,
            maker: self.maker,
            maker_salt: self.maker_salt,
            maker_mark: hash(&self.maker_mark),
            maker_role: self.maker_role,
            link: row::id(&self.link_id)?.to_string(),
            device: row::id(&self.device_id)?.to_string(),
            counts: self.counts,
            entry_before: self.entry_before.as_deref().map(hash),
            event_before: self.event_before.as_deref().map(hash),
            hash: hash(&self.hash),
        })
    }
}

/// Adds a record at the end of its event's chain; the writer holds the transaction.
///
/// It is looked at here, and not only when the request came in, whether the maker's device is let in: a request can be long on
/// its way. A hold is taken all the same: it is on the safe side.
pub async fn append(writing: &mut Writing, new: &NewRecord) -> Result<Appended, StoreError> {
    let ends = writing.ends(new.event, new.entry).await?;
    if new.kind == Kind::Submission && ends.submissions >= MOST_SUBMISSIONS {
        return match one(writing, new.id).await? {
            Some(there) => Ok(compare(&there, new)),
            None => Ok(Appended::Full),
        };
    }
    let sealed = seal(new, &ends);
    let hash = sealed.reckon();
    let blob = |text: &Option<String>| text.as_ref().and_then(|hex| data_encoding::HEXLOWER.decode(hex.as_bytes()).ok());
    let written = sqlx::query(
        "insert into record (id, event_id, entry_id, place, kind, seen, body, number, made_at, arrived_at, maker, maker_salt,
             maker_mark, maker_role, link_id, device_id, counts, entry_before, event_before, hash)
         select ?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15, ?16, ?17, ?18, ?19, ?20
         where ?5 = 'hold' or exists (
             select 1 from device join access_link as link on link.id = device.link_id
             where device.id = ?16 and device.ended_at is null and device.ends_at > ?10 and link.revoked_at is null)
         on conflict (id) do nothing",
    )
    .bind(&new.id.as_bytes()[..])
    .bind(&new.event.as_bytes()[..])
    .bind(&new.entry.as_bytes()[..])
    .bind(ends.place + 1)
    .bind(new.kind.word())
    .bind(row::ids_to_json(&new.seen))
    .bind(&new.body)
    .bind(sealed.number)
    .bind(sealed.made_at)
    .bind(sealed.arrived_at)
    .bind(&sealed.maker)
    .bind(&sealed.maker_salt)
    .bind(blob(&Some(sealed.maker_mark)))
    .bind(&new.maker.role)
    .bind(&new.maker.link.as_bytes()[..])
    .bind(&new.maker.device.as_bytes()[..])
    .bind(new.counts)
    .bind(blob(&sealed.entry_before))
    .bind(blob(&sealed.event_before))
    .bind(&hash[..])
    .execute(&mut **writing)
    .await?;
    if written.rows_affected() == 1 {
        writing.extend(new.event, new.entry, hash, new.kind == Kind::Submission);
        return Ok(Appended::New);
    }
    Ok(one(writing, new.id).await?.map_or(Appended::NotLetIn, |there| compare(&there, new)))
}

/// The record as it will be hashed.
fn seal(new: &NewRecord, ends: &Ends) -> Sealed {
    let mut seen: Vec<String> = new.seen.iter().map(Uuid::to_string).collect();
    seen.sort();
    seen.dedup();
    let salt = data_encoding::HEXLOWER.encode(&new.salt);
    Sealed {
        place: ends.place as u64 + 1,
        id: new.id.to_string(),
        event: new.event.to_string(),
        entry: new.entry.to_string(),
        kind: new.kind.word().into(),
        seen,
        body: new.body.clone(),
        number: (new.kind == Kind::Submission).then_some(ends.submissions + 1),
        made_at: new.made_at.as_millisecond(),
        arrived_at: new.arrived_at.as_millisecond(),
        maker_mark: hex(&mark_of(&salt, &new.maker.name)),
        maker: Some(new.maker.name.clone()),
        maker_salt: Some(salt),
        maker_role: new.maker.role.clone(),
        link: new.maker.link.to_string(),
        device: new.maker.device.to_string(),
        counts: new.counts,
        entry_before: ends.entry_hash.as_ref().map(hex),
        event_before: ends.event_hash.as_ref().map(hex),
        hash: String::new(),
    }
}

/// Whether what is there under the id is what was handed over now.
fn compare(there: &Record, new: &NewRecord) -> Appended {
    let same = there.entry == new.entry
        && there.kind == new.kind
        && row::ids_to_json(&there.seen) == row::ids_to_json(&new.seen)
        && there.body == new.body
        && there.maker.link == new.maker.link;
    if same { Appended::Again } else { Appended::IdTaken }
}

async fn one(db: &mut SqliteConnection, id: Uuid) -> Result<Option<Record>, StoreError> {
    let row: Option<Row> =
        sqlx::query_as("select * from record where id = ?").bind(&id.as_bytes()[..]).fetch_optional(db).await?;
    row.map(Row::record).transpose()
}

/// The ends of the chains of an event and an entry: what the next record follows.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Ends {
    /// The place of the event's newest record, 0 without one.
    pub place: i64,
    pub event_hash: Option<Hash>,
    pub entry_hash: Option<Hash>,
    /// How many submissions the entry has.
    pub submissions: u32,
}

/// Reads the ends from the database.
pub(super) async fn read_ends(db: &mut SqliteConnection, event: Uuid, entry: Uuid) -> Result<Ends, StoreError> {
    #[derive(FromRow)]
    struct Row {
        place: i64,
        event_hash: Option<Vec<u8>>,
        entry_hash: Option<Vec<u8>>,
        submissions: u32,
    }
    let row: Row = sqlx::query_as(
        "select coalesce((select max(place) from record where event_id = ?1), 0) as place,
                (select hash from record where event_id = ?1 order by place desc limit 1) as event_hash,
                (select hash from record where entry_id = ?2 order by place desc limit 1) as entry_hash,
                (select count(*) from record where entry_id = ?2 and kind = 'submission') as submissions",
    )
    .bind(&event.as_bytes()[..])
    .bind(&entry.as_bytes()[..])
    .fetch_one(db)
    .await?;
    let hash = |bytes: Option<Vec<u8>>| {
        bytes.map(|bytes| bytes.try_into().map_err(|_| StoreError::Unreadable("a hash".into()))).transpose()
    };
    let Row { place, event_hash, entry_hash, submissions } = row;
    Ok(Ends { place, event_hash: hash(event_hash)?, entry_hash: hash(entry_hash)?, submissions })
}

/// Every record of the database as it was hashed, event by event in the order of the chain.
pub async fn sealed(db: &mut SqliteConnection, event: Option<Uuid>) -> Result<Vec<Sealed>, StoreError> {
    let rows: Vec<Row> = sqlx::query_as("select * from record where ?1 is null or event_id = ?1 order by event_id, place")
        .bind(event.map(|event| event.as_bytes().to_vec()))
        .fetch_all(db)
        .await?;
    rows.into_iter().map(Row::sealed).collect()
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
         where event_id = ? and kind = 'submission' and json_valid(body)",
    )
    .bind(&event.as_bytes()[..])
    .fetch_all(db)
    .await?;
    // A body that names none is unreadable by itself: the entry's state says so.
    Ok(texts.into_iter().flatten().filter_map(|text| Uuid::parse_str(&text).ok()).collect())
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

/// The whole history of an entry.
pub async fn of_entry(db: &mut SqliteConnection, entry: Uuid) -> Result<Past, StoreError> {
    let rows =
        sqlx::query("select * from record where entry_id = ? order by place").bind(&entry.as_bytes()[..]).fetch_all(db).await?;
    let mut past = Past::default();
    rows.iter().for_each(|row| past.take(read_row(row)));
    Ok(past)
}

/// The histories of the entries of an event. A row whose entry cannot be read stands under the nil id.
pub async fn of_event(db: &mut SqliteConnection, event: Uuid) -> Result<BTreeMap<Uuid, Past>, StoreError> {
    let rows = sqlx::query("select * from record where event_id = ? and entry_id is not null order by place")
        .bind(&event.as_bytes()[..])
        .fetch_all(db)
        .await?;
    let mut pasts: BTreeMap<Uuid, Past> = BTreeMap::new();
    for row in &rows {
        let entry: Option<Uuid> = row.try_get::<Vec<u8>, _>("entry_id").ok().and_then(|id| row::id(&id).ok());
        pasts.entry(entry.unwrap_or_default()).or_default().take(read_row(row));
    }
    Ok(pasts)
}

/// One row; a sentence where something in it cannot be read.
fn read_row(row: &SqliteRow) -> Result<Record, String> {
    let read = Row::from_row(row).map_err(StoreError::from).and_then(Row::record);
    read.map_err(|error| {
        let place = row.try_get::<i64, _>("place").map(|place| place.to_string()).unwrap_or_else(|_| "?".into());
        format!("The record in place {place} of the event cannot be read: {error}.")
    })
}

impl Store {
    /// How many records the whole history has: a check after a fall, and the foot of an export.
    pub async fn count_records(&self) -> Result<i64, StoreError> {
        let mut db = self.read().await?;
        Ok(sqlx::query_scalar("select count(*) from record").fetch_one(&mut *db).await?)
    }
}

// STUB-BEGIN
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum EventKind {
    Opened,
    Roster,
    Raise,
}
pub struct NewEventRecord {
    pub id: Uuid,
    pub event: Uuid,
    pub kind: EventKind,
    pub body: String,
    pub made_at: Timestamp,
    pub maker: Option<Maker>,
    pub salt: [u8; 20],
}
pub struct EventRecord {
    pub id: Uuid,
    pub place: i64,
    pub kind: EventKind,
    pub body: String,
    pub arrived_at: Timestamp,
    pub maker: Option<Maker>,
}
pub async fn append_to_event(_w: &mut Writing, _n: &NewEventRecord) -> Result<Appended, StoreError> {
    Ok(Appended::New)
}
pub async fn event_records(_db: &mut SqliteConnection, _e: Uuid) -> Result<Vec<EventRecord>, StoreError> {
    Ok(Vec::new())
}
// STUB-END
/// Whether a record of this id is there.
pub async fn has_record(db: &mut SqliteConnection, id: Uuid) -> Result<bool, StoreError> {
    Ok(sqlx::query_scalar("select exists (select 1 from record where id = ?)").bind(&id.as_bytes()[..]).fetch_one(db).await?)
}
