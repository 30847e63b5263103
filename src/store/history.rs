//! The history of an entry: append-only, held by triggers. Nothing here changes or removes a record.

use super::row;
use super::{Store, StoreError};
use jiff::Timestamp;
use sqlx::{FromRow, SqliteConnection};
use uuid::Uuid;

/// The most records an entry's history may have: a season's worth of mending at one event, and a bound on mischief.
pub const MOST_RECORDS: i64 = 400;

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
    pub entry: Uuid,
    pub kind: Kind,
    pub seen: Vec<Uuid>,
    /// JSON; its form belongs to the act that makes and reads it.
    pub body: String,
    pub made_at: Timestamp,
    pub arrived_at: Timestamp,
    pub maker: Maker,
    pub counts: bool,
}

/// A record as it stands in the history.
#[derive(Clone, Debug, PartialEq)]
pub struct Record {
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
}

#[derive(FromRow)]
struct Row {
    id: Vec<u8>,
    entry_id: Vec<u8>,
    kind: String,
    seen: String,
    body: String,
    number: Option<u32>,
    made_at: i64,
    arrived_at: i64,
    maker: String,
    maker_role: String,
    link_id: Vec<u8>,
    device_id: Vec<u8>,
    counts: bool,
}

impl Row {
    fn record(self) -> Result<Record, StoreError> {
        Ok(Record {
            id: row::id(&self.id)?,
            entry: row::id(&self.entry_id)?,
            kind: Kind::parse(&self.kind).ok_or_else(|| StoreError::Unreadable(format!("the kind {}", self.kind)))?,
            seen: row::ids_from_json(&self.seen)?,
            body: self.body,
            number: self.number,
            made_at: row::time(self.made_at)?,
            arrived_at: row::time(self.arrived_at)?,
            maker: Maker {
                name: self.maker,
                role: self.maker_role,
                link: row::id(&self.link_id)?,
                device: row::id(&self.device_id)?,
            },
            counts: self.counts,
        })
    }
}

/// Adds a record; the caller holds the transaction.
pub async fn append(db: &mut SqliteConnection, new: &NewRecord) -> Result<Appended, StoreError> {
    let (id, entry) = (new.id.into_bytes(), new.entry.into_bytes());
    let written = sqlx::query(
        "insert into record (id, entry_id, kind, seen, body, number, made_at, arrived_at, maker, maker_role, link_id, device_id, counts)
         select ?1, ?2, ?3, ?4, ?5,
                case when ?3 = 'submission' then (select count(*) + 1 from record where entry_id = ?2 and kind = ?3) end,
                ?6, ?7, ?8, ?9, ?10, ?11, ?12
         where (select count(*) from record where entry_id = ?2) < ?13
         on conflict (id) do nothing",
    )
    .bind(&id[..])
    .bind(&entry[..])
    .bind(new.kind.word())
    .bind(row::ids_to_json(&new.seen))
    .bind(&new.body)
    .bind(new.made_at.as_millisecond())
    .bind(new.arrived_at.as_millisecond())
    .bind(&new.maker.name)
    .bind(&new.maker.role)
    .bind(&new.maker.link.as_bytes()[..])
    .bind(&new.maker.device.as_bytes()[..])
    .bind(new.counts)
    .bind(MOST_RECORDS)
    .execute(&mut *db)
    .await?;
    if written.rows_affected() == 1 {
        return Ok(Appended::New);
    }
    let Some(there) = one(db, new.id).await? else { return Ok(Appended::Full) };
    let same = there.entry == new.entry
        && there.kind == new.kind
        && row::ids_to_json(&there.seen) == row::ids_to_json(&new.seen)
        && there.body == new.body
        && there.maker.link == new.maker.link;
    Ok(if same { Appended::Again } else { Appended::IdTaken })
}

async fn one(db: &mut SqliteConnection, id: Uuid) -> Result<Option<Record>, StoreError> {
    let row: Option<Row> =
        sqlx::query_as("select * from record where id = ?").bind(&id.as_bytes()[..]).fetch_optional(db).await?;
    row.map(Row::record).transpose()
}

/// The whole history of an entry, in order of arrival.
pub async fn of_entry(db: &mut SqliteConnection, entry: Uuid) -> Result<Vec<Record>, StoreError> {
    let rows: Vec<Row> = sqlx::query_as("select * from record where entry_id = ? order by arrived_at, id")
        .bind(&entry.as_bytes()[..])
        .fetch_all(db)
        .await?;
    rows.into_iter().map(Row::record).collect()
}

/// The histories of all entries of an event, in order of arrival.
pub async fn of_event(db: &mut SqliteConnection, event: Uuid) -> Result<Vec<Record>, StoreError> {
    let rows: Vec<Row> = sqlx::query_as(
        "select record.* from record join entry on entry.id = record.entry_id
         where entry.event_id = ? order by record.arrived_at, record.id",
    )
    .bind(&event.as_bytes()[..])
    .fetch_all(db)
    .await?;
    rows.into_iter().map(Row::record).collect()
}

impl Store {
    /// How many records the whole history has: a check after a fall, and the foot of an export.
    pub async fn count_records(&self) -> Result<i64, StoreError> {
        let mut db = self.read().await?;
        Ok(sqlx::query_scalar("select count(*) from record").fetch_one(&mut *db).await?)
    }
}
