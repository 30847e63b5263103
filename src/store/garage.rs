//! Garages: what was noted in them, their photos, the secret of their calendar.

use super::access::Digest;
use super::deed::{self, About, By, Done};
use super::{StoreError, device, row};
use crate::rules::garage::change::{Change, Noted};
use jiff::Timestamp;
use sqlx::SqliteConnection;
use uuid::Uuid;

/// Adds an empty garage.
pub async fn add(db: &mut SqliteConnection, id: Uuid, at: Timestamp) -> Result<(), StoreError> {
    let insert = sqlx::query("insert into garage (id, made_at) values (?, ?)");
    insert.bind(&id.as_bytes()[..]).bind(at.as_millisecond()).execute(db).await?;
    Ok(())
}

/// Notes a change at the garage's end. One that is there already is there already; the answer is whether the id is this garage's.
pub async fn note(db: &mut SqliteConnection, garage: Uuid, noted: &Noted) -> Result<bool, StoreError> {
    let body = serde_json::to_string(&noted.change).map_err(|error| StoreError::Unreadable(error.to_string()))?;
    sqlx::query(
        "insert into garage_change (id, garage_id, place, body, made_at)
         select ?1, ?2, coalesce(max(place), 0) + 1, ?3, ?4 from garage_change where garage_id = ?2
         on conflict (id) do nothing",
    )
    .bind(&noted.id.as_bytes()[..])
    .bind(&garage.as_bytes()[..])
    .bind(&body)
    .bind(noted.at.as_millisecond())
    .execute(&mut *db)
    .await?;
    let same: i64 = sqlx::query_scalar("select count(*) from garage_change where id = ? and garage_id = ? and body = ?")
        .bind(&noted.id.as_bytes()[..])
        .bind(&garage.as_bytes()[..])
        .bind(&body)
        .fetch_one(db)
        .await?;
    Ok(same == 1)
}

/// Whether this change is there already.
pub async fn is_noted(db: &mut SqliteConnection, id: Uuid) -> Result<bool, StoreError> {
    let found: i64 =
        sqlx::query_scalar("select count(*) from garage_change where id = ?").bind(&id.as_bytes()[..]).fetch_one(db).await?;
    Ok(found > 0)
}

/// Everything that was noted in a garage, in the order of its arrival.
pub async fn changes(db: &mut SqliteConnection, garage: Uuid) -> Result<Vec<Noted>, StoreError> {
    Ok(changes_since(db, garage, 0).await?.noted)
}

/// The place of the newest change of a garage; 0 where there is none.
pub async fn last_place(db: &mut SqliteConnection, garage: Uuid) -> Result<i64, StoreError> {
    let asked = sqlx::query_scalar("select coalesce(max(place), 0) from garage_change where garage_id = ?");
    Ok(asked.bind(&garage.as_bytes()[..]).fetch_one(db).await?)
}

/// What was noted after a place.
#[derive(Debug, Default)]
pub struct Since {
    pub noted: Vec<Noted>,
    /// The place of the newest; 0 where there is none.
    pub until: i64,
    /// Bytes of what is stored.
    pub bytes: usize,
}

/// What was noted in a garage after a place.
pub async fn changes_since(db: &mut SqliteConnection, garage: Uuid, place: i64) -> Result<Since, StoreError> {
    // One long text: a message for each row costs more than the reading of it. Every body is JSON, which the table sees to.
    let (packed, until, bytes): (String, i64, i64) = sqlx::query_as(
        "select '[' || coalesce(group_concat('[\"' || lower(hex(id)) || '\",' || made_at || ',' || body || ']' order by place), '')
             || ']', coalesce(max(place), 0), coalesce(sum(octet_length(body)), 0)
         from garage_change where garage_id = ? and place > ?",
    )
    .bind(&garage.as_bytes()[..])
    .bind(place)
    .fetch_one(db)
    .await?;
    let unreadable = |error: serde_json::Error| StoreError::Unreadable(format!("a garage: {error}"));
    let rows: Vec<(Uuid, i64, Change)> = serde_json::from_str(&packed).map_err(unreadable)?;
    let noted = rows.into_iter().map(|(id, at, change)| Ok(Noted { id, at: row::time(at)?, change }));
    let noted = noted.collect::<Result<_, StoreError>>()?;
    Ok(Since { noted, until, bytes: usize::try_from(bytes).unwrap_or(usize::MAX) })
}

/// How many bytes a change takes.
pub fn bytes_of(noted: &Noted) -> usize {
    serde_json::to_string(&noted.change).map_or(0, |body| body.len())
}

/// Keeps the digest of the calendar's secret; `None` ends the calendar.
pub async fn set_calendar(db: &mut SqliteConnection, garage: Uuid, digest: Option<Digest>) -> Result<(), StoreError> {
    sqlx::query("update garage set calendar_digest = ? where id = ?")
        .bind(digest.map(|digest| digest.to_vec()))
        .bind(&garage.as_bytes()[..])
        .execute(db)
        .await?;
    Ok(())
}

/// Whether a garage has a calendar.
pub async fn has_calendar(db: &mut SqliteConnection, garage: Uuid) -> Result<bool, StoreError> {
    let found: i64 = sqlx::query_scalar("select count(*) from garage where id = ? and calendar_digest is not null")
        .bind(&garage.as_bytes()[..])
        .fetch_one(db)
        .await?;
    Ok(found > 0)
}

/// The garage whose calendar has this secret.
pub async fn by_calendar(db: &mut SqliteConnection, digest: Digest) -> Result<Option<Uuid>, StoreError> {
    let (first, last) = super::access::span(&digest);
    let rows: Vec<(Vec<u8>, Vec<u8>)> =
        sqlx::query_as("select id, calendar_digest from garage where calendar_digest between ? and ? and erased_at is null")
            .bind(first)
            .bind(last)
            .fetch_all(db)
            .await?;
    let found = rows.iter().find(|(_, stored)| super::access::is_same(stored, &digest));
    found.map(|(id, _)| row::id(id)).transpose()
}

/// A photo of something in a garage.
pub struct GaragePhoto {
    pub id: Uuid,
    pub garage: Uuid,
    pub jpeg: Vec<u8>,
    pub width: u32,
    pub height: u32,
    pub made_at: Timestamp,
}

/// Keeps a photo; false where the id is another garage's.
pub async fn add_photo(db: &mut SqliteConnection, photo: &GaragePhoto) -> Result<bool, StoreError> {
    sqlx::query(
        "insert into garage_photo (id, garage_id, jpeg, width, height, made_at) values (?, ?, ?, ?, ?, ?)
         on conflict (id) do nothing",
    )
    .bind(&photo.id.as_bytes()[..])
    .bind(&photo.garage.as_bytes()[..])
    .bind(&photo.jpeg)
    .bind(photo.width)
    .bind(photo.height)
    .bind(photo.made_at.as_millisecond())
    .execute(&mut *db)
    .await?;
    Ok(jpeg(db, photo.garage, photo.id).await?.is_some())
}

/// The JPEG of one of a garage's photos.
pub async fn jpeg(db: &mut SqliteConnection, garage: Uuid, id: Uuid) -> Result<Option<Vec<u8>>, StoreError> {
    Ok(sqlx::query_scalar("select jpeg from garage_photo where id = ? and garage_id = ?")
        .bind(&id.as_bytes()[..])
        .bind(&garage.as_bytes()[..])
        .fetch_optional(db)
        .await?)
}

/// How many photos a garage has, and how many bytes they take.
pub async fn photos(db: &mut SqliteConnection, garage: Uuid) -> Result<(i64, i64), StoreError> {
    let asked = sqlx::query_as("select count(*), coalesce(sum(length(jpeg)), 0) from garage_photo where garage_id = ?");
    Ok(asked.bind(&garage.as_bytes()[..]).fetch_one(db).await?)
}

/// Takes everything in a garage away: what was noted, the photos, the names, the links. Nothing of it stays, and who came in to a
/// sheet through it is out.
pub async fn erase(db: &mut SqliteConnection, garage: Uuid, by: By, at: Timestamp) -> Result<(), StoreError> {
    const ALL: [&str; 5] = [
        "update garage set erased_at = ?2, calendar_digest = null where id = ?1",
        "delete from garage_change where garage_id = ?1 and ?2 > 0",
        "delete from garage_photo where garage_id = ?1 and ?2 > 0",
        "update device set ended_at = ?2 where ended_at is null
         and link_id in (select id from access_link where garage_id = ?1)",
        "update access_link set holder = '', holder_salt = null, revoked_at = coalesce(revoked_at, ?2) where garage_id = ?1",
    ];
    for statement in ALL {
        sqlx::query(statement).bind(&garage.as_bytes()[..]).bind(at.as_millisecond()).execute(&mut *db).await?;
    }
    let ids = |rows: Vec<Vec<u8>>| rows.iter().map(|id| row::id(id)).collect::<Result<Vec<_>, _>>();
    let links = sqlx::query_scalar("select id from access_link where garage_id = ?").bind(&garage.as_bytes()[..]);
    let links = ids(links.fetch_all(&mut *db).await?)?;
    let sql = "select id from device where link_id in (select id from access_link where garage_id = ?)";
    let devices = ids(sqlx::query_scalar(sql).bind(&garage.as_bytes()[..]).fetch_all(&mut *db).await?)?;
    for device in &devices {
        device::end_through(db, *device, at).await?;
        let forget = sqlx::query("update device set through = null where through = ?");
        forget.bind(&device.as_bytes()[..]).execute(&mut *db).await?;
    }
    deed::note(db, Done::Erased, About { links, devices, ..About::default() }, by, at).await
}

/// The newest edition of the club's fault guide: its number, its file, who made it and when.
pub async fn guide(db: &mut SqliteConnection) -> Result<Option<(i64, String, String, Timestamp)>, StoreError> {
    let row: Option<(i64, String, String, i64)> =
        sqlx::query_as("select number, file, made_by, made_at from fault_guide order by number desc limit 1")
            .fetch_optional(db)
            .await?;
    row.map(|(number, file, by, at)| Ok((number, file, by, row::time(at)?))).transpose()
}

/// Adds an edition of the fault guide.
pub async fn add_guide(db: &mut SqliteConnection, file: &str, by: &str, at: Timestamp) -> Result<(), StoreError> {
    sqlx::query(
        "insert into fault_guide (number, file, made_at, made_by) select coalesce(max(number), 0) + 1, ?1, ?2, ?3 from fault_guide",
    )
    .bind(file)
    .bind(at.as_millisecond())
    .bind(by)
    .execute(db)
    .await?;
    Ok(())
}
