//! Entries: one driver with one car and one car number in one event.

use super::{StoreError, history, row};
use crate::rules::chain::{driver_mark, hex};
use crate::rules::words::CarNumber;
use jiff::Timestamp;
use sqlx::{FromRow, SqliteConnection};
use uuid::Uuid;

#[derive(Clone, Debug)]
pub struct Entry {
    pub id: Uuid,
    pub event: Uuid,
    pub number: CarNumber,
    pub driver: String,
    pub car: String,
    pub group: String,
    pub mail: String,
    pub made_at: Timestamp,
    /// When the driver's name and mail were erased.
    pub erased_at: Option<Timestamp>,
}

#[derive(FromRow)]
struct EntryRow {
    id: Vec<u8>,
    event_id: Vec<u8>,
    number: String,
    driver: String,
    car: String,
    run_group: String,
    mail: String,
    made_at: i64,
    erased_at: Option<i64>,
}

impl EntryRow {
    fn entry(self) -> Result<Entry, StoreError> {
        Ok(Entry {
            id: row::id(&self.id)?,
            event: row::id(&self.event_id)?,
            number: CarNumber::parse(&self.number).map_err(|error| StoreError::Unreadable(error.to_string()))?,
            driver: self.driver,
            car: self.car,
            group: self.run_group,
            mail: self.mail,
            made_at: row::time(self.made_at)?,
            erased_at: self.erased_at.map(row::time).transpose()?,
        })
    }
}

/// Adds an entry; the salt goes into the commitment to the driver's name. Gives the digest of its line on the roster, in
/// hexadecimal figures: a record of the event must name it in the same transaction.
pub async fn add(db: &mut SqliteConnection, entry: &Entry, salt: [u8; 20]) -> Result<String, StoreError> {
    let salt = data_encoding::HEXLOWER.encode(&salt);
    let mark = driver_mark(&salt, &entry.driver);
    sqlx::query(
        "insert into entry (id, event_id, number, number_order, driver, car, run_group, mail, made_at, driver_salt, driver_mark)
         values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
    )
    .bind(&entry.id.as_bytes()[..])
    .bind(&entry.event.as_bytes()[..])
    .bind(entry.number.as_str())
    .bind(entry.number.order())
    .bind(&entry.driver)
    .bind(&entry.car)
    .bind(&entry.group)
    .bind(&entry.mail)
    .bind(entry.made_at.as_millisecond())
    .bind(salt)
    .bind(&mark[..])
    .execute(&mut *db)
    .await?;
    let digest = history::roster_digest(db, entry.id).await?;
    digest.as_ref().map(hex).ok_or_else(|| StoreError::Unreadable("an entry that was just added".into()))
}

/// Entries of events that seem to be the same person's: by mail, or by name where there is no mail. The newest first.
pub async fn of_same_person(db: &mut SqliteConnection, entry: &Entry) -> Result<Vec<Entry>, StoreError> {
    let rows: Vec<EntryRow> = sqlx::query_as(
        "select * from entry where id <> ?1 and erased_at is null
         and ((?2 <> '' and lower(mail) = lower(?2)) or lower(driver) = lower(?3)) order by id desc limit 200",
    )
    .bind(&entry.id.as_bytes()[..])
    .bind(&entry.mail)
    .bind(&entry.driver)
    .fetch_all(db)
    .await?;
    rows.into_iter().map(EntryRow::entry).collect()
}

/// One entry.
pub async fn one(db: &mut SqliteConnection, id: Uuid) -> Result<Option<Entry>, StoreError> {
    let row: Option<EntryRow> =
        sqlx::query_as("select * from entry where id = ?").bind(&id.as_bytes()[..]).fetch_optional(db).await?;
    row.map(EntryRow::entry).transpose()
}

/// The entries of an event, numbers in order.
pub async fn of_event(db: &mut SqliteConnection, event: Uuid) -> Result<Vec<Entry>, StoreError> {
    let rows: Vec<EntryRow> = sqlx::query_as("select * from entry where event_id = ? order by number_order, number")
        .bind(&event.as_bytes()[..])
        .fetch_all(db)
        .await?;
    rows.into_iter().map(EntryRow::entry).collect()
}
