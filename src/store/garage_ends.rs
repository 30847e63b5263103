//! How large garages are, how old, when they were used; their ends. Of their content nothing is read here.

use super::deed::By;
use super::{StoreError, device, row};
use crate::rules::garage::ends::GarageTerm;
use jiff::Timestamp;
use sqlx::{FromRow, SqliteConnection};
use uuid::Uuid;

/// A garage from outside.
#[derive(Clone, Debug)]
pub struct Outline {
    pub id: Uuid,
    pub made_at: Timestamp,
    /// When a device was last in it, to the hour.
    pub used_at: Timestamp,
    pub notes: u64,
    /// Bytes of all notes.
    pub note_bytes: u64,
    pub photos: u64,
    /// Bytes of all photos.
    pub photo_bytes: u64,
    /// When an organizer ended it, and when it is erased for that.
    pub closed: Option<Closed>,
    /// The sheet that it was opened from; `None` for a garage from before that was noted.
    pub made_by: Option<MadeBy>,
}

/// The sheet that a garage was opened from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct MadeBy {
    /// The driver's name; empty once it was erased.
    pub driver: String,
    pub number: String,
    pub event: String,
}

/// A garage that an organizer ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Closed {
    pub at: Timestamp,
    /// When everything in it is erased.
    pub goes_at: Timestamp,
}

#[derive(FromRow)]
struct OutlineRow {
    id: Vec<u8>,
    made_at: i64,
    used_at: i64,
    notes: i64,
    note_bytes: i64,
    photos: i64,
    photo_bytes: i64,
    closed_at: Option<i64>,
    goes_at: Option<i64>,
    driver: Option<String>,
    number: Option<String>,
    event: Option<String>,
}

fn closed(at: Option<i64>, goes_at: Option<i64>) -> Result<Option<Closed>, StoreError> {
    let Some((at, goes_at)) = at.zip(goes_at) else { return Ok(None) };
    Ok(Some(Closed { at: row::time(at)?, goes_at: row::time(goes_at)? }))
}

impl OutlineRow {
    fn outline(self) -> Result<Outline, StoreError> {
        let made_by = self.number.zip(self.event);
        Ok(Outline {
            id: row::id(&self.id)?,
            made_at: row::time(self.made_at)?,
            used_at: row::time(self.used_at)?,
            notes: self.notes.unsigned_abs(),
            note_bytes: self.note_bytes.unsigned_abs(),
            photos: self.photos.unsigned_abs(),
            photo_bytes: self.photo_bytes.unsigned_abs(),
            closed: closed(self.closed_at, self.goes_at)?,
            made_by: made_by.map(|(number, event)| MadeBy { driver: self.driver.unwrap_or_default(), number, event }),
        })
    }
}

/// Every garage that is not erased, from outside, the newest first.
pub async fn outlines(db: &mut SqliteConnection) -> Result<Vec<Outline>, StoreError> {
    let rows: Vec<OutlineRow> = sqlx::query_as(
        "select garage.id, garage.made_at, garage.closed_at, garage.goes_at,
             coalesce((select max(coalesce(device.used_at, device.made_at)) from device join access_link as own
                 on own.id = device.link_id where own.garage_id = garage.id), garage.made_at) as used_at,
             (select count(*) from garage_change where garage_id = garage.id) as notes,
             (select coalesce(sum(octet_length(body)), 0) from garage_change where garage_id = garage.id) as note_bytes,
             (select count(*) from garage_photo where garage_id = garage.id) as photos,
             (select coalesce(sum(length(jpeg)), 0) from garage_photo where garage_id = garage.id) as photo_bytes,
             maker.holder as driver, entry.number as number, event.name as event
         from garage
         left join access_link as own on own.garage_id = garage.id
         left join access_deed as deed on deed.link_id = own.id and deed.what = 'made'
         left join access_link as maker on maker.id = deed.by_link_id and maker.entry_id is not null
         left join entry on entry.id = maker.entry_id
         left join event on event.id = maker.event_id
         where garage.erased_at is null group by garage.id order by garage.made_at desc, garage.id desc",
    )
    .fetch_all(db)
    .await?;
    rows.into_iter().map(OutlineRow::outline).collect()
}

/// Whether nobody was in a garage after this.
pub async fn is_unused_since(db: &mut SqliteConnection, garage: Uuid, at: Timestamp) -> Result<bool, StoreError> {
    let sql = "select count(*) from device join access_link as own on own.id = device.link_id
         where own.garage_id = ? and max(device.made_at, coalesce(device.used_at, 0)) > ?";
    let later: i64 = sqlx::query_scalar(sql).bind(&garage.as_bytes()[..]).bind(at.as_millisecond()).fetch_one(db).await?;
    Ok(later == 0)
}

/// How many garages were ever opened by a link, those that are erased since among them.
pub async fn made_by(db: &mut SqliteConnection, link: Uuid) -> Result<i64, StoreError> {
    let sql = "select count(*) from access_deed as deed join access_link as made on made.id = deed.link_id
         where deed.by_link_id = ? and deed.what = 'made' and made.garage_id is not null";
    Ok(sqlx::query_scalar(sql).bind(&link.as_bytes()[..]).fetch_one(db).await?)
}

/// Whether an organizer ended the garage; `None` for one that is open. An erased garage takes nothing either: it has no link.
pub async fn closed_of(db: &mut SqliteConnection, garage: Uuid) -> Result<Option<Closed>, StoreError> {
    let row: Option<(Option<i64>, Option<i64>)> = sqlx::query_as("select closed_at, goes_at from garage where id = ?")
        .bind(&garage.as_bytes()[..])
        .fetch_optional(db)
        .await?;
    row.map_or(Ok(None), |(at, goes_at)| closed(at, goes_at))
}

/// Ends a garage: its devices are out, its calendar is off, nothing more is noted, and at `goes_at` it is erased. Its link still
/// lets its driver in, to take the file. `false` where there is none, or it was ended before.
pub async fn close(db: &mut SqliteConnection, garage: Uuid, new: Closed, by: By) -> Result<bool, StoreError> {
    let sql = "update garage set closed_at = ?, goes_at = ?, calendar_digest = null
         where id = ? and erased_at is null and closed_at is null";
    let done = sqlx::query(sql)
        .bind(new.at.as_millisecond())
        .bind(new.goes_at.as_millisecond())
        .bind(&garage.as_bytes()[..])
        .execute(&mut *db)
        .await?;
    if done.rows_affected() == 0 {
        return Ok(false);
    }
    let devices: Vec<(Vec<u8>, Vec<u8>)> = sqlx::query_as(
        "select device.link_id, device.id from device join access_link as own on own.id = device.link_id
         where own.garage_id = ? and device.ended_at is null",
    )
    .bind(&garage.as_bytes()[..])
    .fetch_all(&mut *db)
    .await?;
    for (link, id) in devices {
        let id = row::id(&id)?;
        device::end(db, row::id(&link)?, id, by, new.at).await?;
        device::end_through(db, id, new.at).await?;
    }
    Ok(true)
}

/// A term that was set, by whom and when.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Set {
    pub term: GarageTerm,
    pub at: Timestamp,
    pub by: String,
}

fn term(months: i64) -> Result<GarageTerm, StoreError> {
    GarageTerm::parse(&months.to_string()).map_err(|_| StoreError::Unreadable("the term of garages".into()))
}

/// Every term that was set, the newest first.
pub async fn terms(db: &mut SqliteConnection) -> Result<Vec<Set>, StoreError> {
    let rows: Vec<(i64, i64, String)> =
        sqlx::query_as("select months, made_at, made_by from garage_setting order by rowid desc").fetch_all(db).await?;
    rows.into_iter().map(|(months, at, by)| Ok(Set { term: term(months)?, at: row::time(at)?, by })).collect()
}

/// Sets the term. `false` where this id is taken by another.
pub async fn set_term(db: &mut SqliteConnection, id: Uuid, set: &Set) -> Result<bool, StoreError> {
    let sql = "insert into garage_setting (id, months, made_at, made_by) values (?, ?, ?, ?) on conflict (id) do nothing";
    sqlx::query(sql)
        .bind(&id.as_bytes()[..])
        .bind(set.term.months())
        .bind(set.at.as_millisecond())
        .bind(&set.by)
        .execute(&mut *db)
        .await?;
    let there: i64 =
        sqlx::query_scalar("select months from garage_setting where id = ?").bind(&id.as_bytes()[..]).fetch_one(db).await?;
    Ok(term(there)? == set.term)
}
