//! Devices: browsers that came in by a link or signed in. A cookie's secret lies here as a digest only.

use super::access::{Digest, Link, LinkRow, is_same, span};
use super::deed::{self, About, By, Done};
use super::{StoreError, row};
use jiff::Timestamp;
use sqlx::{FromRow, SqliteConnection};
use uuid::Uuid;

/// A device that is let in, with the link it came by.
#[derive(Clone, Debug)]
pub struct Device {
    pub id: Uuid,
    pub link: Link,
    /// When it was last here: to the hour, and to five minutes where it ends when it is not used.
    pub used_at: Option<Timestamp>,
    /// After how many minutes without use it is out; `None` where it stays until its time is over.
    pub idle_min: Option<i64>,
    /// Whether it is let in; `false` once it was ended, its link was revoked, its time is over or it was not used for too long.
    pub is_in: bool,
    /// Whether the club asks organizers for a passkey, and this one has none yet.
    pub lacks_passkey: bool,
}

/// A device to let in.
#[derive(Clone, Debug)]
pub struct NewDevice {
    pub id: Uuid,
    pub digest: Digest,
    pub link: Uuid,
    /// The garage's device that lets it in, where one does: the two end together.
    pub through: Option<Uuid>,
    /// What kind of machine it is, in a word or two.
    pub kind: String,
    pub from: Timestamp,
    pub to: Timestamp,
    /// After how many minutes without use it is out; `None`: it stays until its time is over.
    pub idle_min: Option<i64>,
    /// Whether its person has just shown who they are.
    pub is_proven: bool,
}

/// A device as a list shows it.
#[derive(Clone, Debug)]
pub struct Listed {
    pub id: Uuid,
    pub link: Uuid,
    pub kind: String,
    pub made_at: Timestamp,
    pub ends_at: Timestamp,
    pub used_at: Option<Timestamp>,
    pub ended_at: Option<Timestamp>,
    /// After how many minutes without use it is out.
    pub idle_min: Option<i64>,
}

impl Listed {
    /// Whether it is still let in, its link being good.
    pub fn is_in(&self, now: Timestamp) -> bool {
        let idle_s = now.as_second() - self.used_at.unwrap_or(self.made_at).as_second();
        self.ended_at.is_none() && self.ends_at > now && self.idle_min.is_none_or(|most| idle_s < most * 60)
    }
}

#[derive(FromRow)]
struct ListedRow {
    id: Vec<u8>,
    link_id: Vec<u8>,
    kind: String,
    made_at: i64,
    ends_at: i64,
    used_at: Option<i64>,
    ended_at: Option<i64>,
    idle_min: Option<i64>,
}

impl ListedRow {
    fn listed(self) -> Result<Listed, StoreError> {
        Ok(Listed {
            id: row::id(&self.id)?,
            link: row::id(&self.link_id)?,
            kind: self.kind,
            made_at: row::time(self.made_at)?,
            ends_at: row::time(self.ends_at)?,
            used_at: self.used_at.map(row::time).transpose()?,
            ended_at: self.ended_at.map(row::time).transpose()?,
            idle_min: self.idle_min,
        })
    }
}

/// Lets a device in by its link.
pub async fn add(db: &mut SqliteConnection, new: &NewDevice) -> Result<(), StoreError> {
    sqlx::query(
        "insert into device (id, digest, link_id, through, kind, made_at, ends_at, used_at, idle_min, proven_at)
         values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
    )
    .bind(&new.id.as_bytes()[..])
    .bind(&new.digest[..])
    .bind(&new.link.as_bytes()[..])
    .bind(new.through.map(|device| device.as_bytes().to_vec()))
    .bind(&new.kind)
    .bind(new.from.as_millisecond())
    .bind(new.to.as_millisecond())
    .bind(new.from.as_millisecond())
    .bind(new.idle_min)
    .bind(new.is_proven.then_some(new.from.as_millisecond()))
    .execute(&mut *db)
    .await?;
    deed::note(db, Done::Used, About::device(new.link, new.id), Some((new.link, new.id)), new.from).await
}

/// The device with this secret where it came in by this link before and was not ended: it stays let in for longer.
pub async fn again(db: &mut SqliteConnection, new: &NewDevice) -> Result<Option<Uuid>, StoreError> {
    let id: Option<Vec<u8>> = sqlx::query_scalar(
        "update device set ends_at = max(ends_at, ?), used_at = ?, through = coalesce(through, ?),
             proven_at = coalesce(?, proven_at)
         where digest = ? and link_id = ? and ended_at is null returning id",
    )
    .bind(new.to.as_millisecond())
    .bind(new.from.as_millisecond())
    .bind(new.through.map(|device| device.as_bytes().to_vec()))
    .bind(new.is_proven.then_some(new.from.as_millisecond()))
    .bind(&new.digest[..])
    .bind(&new.link.as_bytes()[..])
    .fetch_optional(&mut *db)
    .await?;
    let Some(id) = id.as_deref().map(row::id).transpose()? else { return Ok(None) };
    deed::note(db, Done::LetInAgain, About::device(new.link, id), Some((new.link, id)), new.from).await?;
    Ok(Some(id))
}

/// The device with this secret, if it is still let in and its link was not taken back.
pub async fn by_digest(db: &mut SqliteConnection, digest: Digest, now: Timestamp) -> Result<Option<Device>, StoreError> {
    Ok(by_digest_or_ended(db, digest, now).await?.filter(|device| device.is_in))
}

/// The device with this secret, let in or ended.
pub async fn by_digest_or_ended(db: &mut SqliteConnection, digest: Digest, now: Timestamp) -> Result<Option<Device>, StoreError> {
    #[derive(FromRow)]
    struct Row {
        device_id: Vec<u8>,
        device_digest: Vec<u8>,
        device_used_at: Option<i64>,
        device_idle_min: Option<i64>,
        is_in: bool,
        lacks_passkey: bool,
        #[sqlx(flatten)]
        link: LinkRow,
    }
    let (from, to) = span(&digest);
    let rows: Vec<Row> = sqlx::query_as(
        "select device.id as device_id, device.digest as device_digest, device.used_at as device_used_at,
             device.idle_min as device_idle_min,
             (device.ends_at > ?1 and device.ended_at is null and link.revoked_at is null
                 and (device.idle_min is null or coalesce(device.used_at, device.made_at) + device.idle_min * 60000 > ?1)) as is_in,
             (link.role = 'organizer' and exists (select 1 from club where second_factor = 1)
                 and not exists (select 1 from passkey where passkey.link_id = link.id)) as lacks_passkey,
             link.*
         from device join access_link as link on link.id = device.link_id
         where device.digest between ?2 and ?3",
    )
    .bind(now.as_millisecond())
    .bind(from)
    .bind(to)
    .fetch_all(db)
    .await?;
    let Some(row) = rows.into_iter().find(|row| is_same(&row.device_digest, &digest)) else { return Ok(None) };
    let used_at = row.device_used_at.map(row::time).transpose()?;
    let idle_min = row.device_idle_min;
    let (is_in, lacks_passkey) = (row.is_in, row.lacks_passkey);
    Ok(Some(Device { id: row::id(&row.device_id)?, link: row.link.link()?, used_at, idle_min, is_in, lacks_passkey }))
}

/// Whether a device is still let in.
pub async fn is_let_in(db: &mut SqliteConnection, device: Uuid, now: Timestamp) -> Result<bool, StoreError> {
    let count: i64 = sqlx::query_scalar(
        "select count(*) from device join access_link as link on link.id = device.link_id
         where device.id = ?1 and device.ends_at > ?2 and device.ended_at is null and link.revoked_at is null
             and (device.idle_min is null or coalesce(device.used_at, device.made_at) + device.idle_min * 60000 > ?2)",
    )
    .bind(&device.as_bytes()[..])
    .bind(now.as_millisecond())
    .fetch_one(db)
    .await?;
    Ok(count > 0)
}

/// Whether the device with this secret was ended, and by itself: its person signed out, and nobody shut it out.
pub async fn has_left(db: &mut SqliteConnection, digest: Digest, now: Timestamp) -> Result<bool, StoreError> {
    let Some(device) = by_digest_or_ended(db, digest, now).await?.filter(|device| !device.is_in) else { return Ok(false) };
    let by_itself: i64 = sqlx::query_scalar(
        "select count(*) from access_deed where link_id = ? and by_device_id = ? and what = 'device ended'
             and json_extract(says, '$.devices[0].id') = ?",
    )
    .bind(&device.link.id.as_bytes()[..])
    .bind(&device.id.as_bytes()[..])
    .bind(device.id.to_string())
    .fetch_one(db)
    .await?;
    Ok(by_itself > 0)
}

/// Notes that the person on a device has shown who they are.
pub async fn prove(db: &mut SqliteConnection, device: Uuid, at: Timestamp) -> Result<(), StoreError> {
    sqlx::query("update device set proven_at = ? where id = ?")
        .bind(at.as_millisecond())
        .bind(&device.as_bytes()[..])
        .execute(db)
        .await?;
    Ok(())
}

/// When the person on a device last showed who they are.
pub async fn proven_at(db: &mut SqliteConnection, device: Uuid) -> Result<Option<Timestamp>, StoreError> {
    let at: Option<Option<i64>> =
        sqlx::query_scalar("select proven_at from device where id = ?").bind(&device.as_bytes()[..]).fetch_optional(db).await?;
    at.flatten().map(row::time).transpose()
}

/// Notes that a device was here.
pub async fn used(db: &mut SqliteConnection, device: Uuid, at: Timestamp) -> Result<(), StoreError> {
    sqlx::query("update device set used_at = ? where id = ?")
        .bind(at.as_millisecond())
        .bind(&device.as_bytes()[..])
        .execute(db)
        .await?;
    Ok(())
}

/// Ends one device of a link; `false` where there is none that is still in.
pub async fn end(db: &mut SqliteConnection, link: Uuid, device: Uuid, by: By, at: Timestamp) -> Result<bool, StoreError> {
    let done = sqlx::query("update device set ended_at = ? where id = ? and link_id = ? and ended_at is null")
        .bind(at.as_millisecond())
        .bind(&device.as_bytes()[..])
        .bind(&link.as_bytes()[..])
        .execute(&mut *db)
        .await?;
    if done.rows_affected() == 0 {
        return Ok(false);
    }
    deed::note(db, Done::DeviceEnded, About::device(link, device), by, at).await?;
    Ok(true)
}

/// Ends the devices that were let in through this one. By nobody: the club's chain of deeds does not say whose garage it was.
pub async fn end_through(db: &mut SqliteConnection, device: Uuid, at: Timestamp) -> Result<(), StoreError> {
    let sql = "update device set ended_at = ? where through = ? and ended_at is null returning link_id, id";
    let ended: Vec<(Vec<u8>, Vec<u8>)> =
        sqlx::query_as(sql).bind(at.as_millisecond()).bind(&device.as_bytes()[..]).fetch_all(&mut *db).await?;
    for (link, device) in ended {
        deed::note(db, Done::DeviceEnded, About::device(row::id(&link)?, row::id(&device)?), None, at).await?;
    }
    Ok(())
}

/// Those of these entries that a device is still let in to, by a link of the entry.
pub async fn entries_in(db: &mut SqliteConnection, entries: &[Uuid], now: Timestamp) -> Result<Vec<Uuid>, StoreError> {
    let entries: Vec<String> = entries.iter().map(|entry| entry.simple().to_string()).collect();
    let asked = serde_json::to_string(&entries).map_err(|error| StoreError::Unreadable(error.to_string()))?;
    let found: Vec<Vec<u8>> = sqlx::query_scalar(
        "select distinct link.entry_id from access_link as link join device on device.link_id = link.id
         where link.entry_id in (select unhex(value) from json_each(?)) and link.revoked_at is null
             and device.ended_at is null and device.ends_at > ?",
    )
    .bind(asked)
    .bind(now.as_millisecond())
    .fetch_all(db)
    .await?;
    found.iter().map(|id| row::id(id)).collect()
}

/// Ends every device of a link but this one.
pub async fn end_others(db: &mut SqliteConnection, link: Uuid, but: Uuid, at: Timestamp) -> Result<(), StoreError> {
    let sql = "update device set ended_at = ? where link_id = ? and id <> ? and ended_at is null returning id";
    let ended: Vec<Vec<u8>> = sqlx::query_scalar(sql)
        .bind(at.as_millisecond())
        .bind(&link.as_bytes()[..])
        .bind(&but.as_bytes()[..])
        .fetch_all(&mut *db)
        .await?;
    for device in ended {
        deed::note(db, Done::DeviceEnded, About::device(link, row::id(&device)?), Some((link, but)), at).await?;
    }
    Ok(())
}

/// The devices of a link, newest first.
pub async fn of_link(db: &mut SqliteConnection, link: Uuid) -> Result<Vec<Listed>, StoreError> {
    let rows: Vec<ListedRow> = sqlx::query_as("select * from device where link_id = ? order by id desc")
        .bind(&link.as_bytes()[..])
        .fetch_all(db)
        .await?;
    rows.into_iter().map(ListedRow::listed).collect()
}

/// The devices that came in by the links of an event, newest first.
pub async fn of_event(db: &mut SqliteConnection, event: Uuid) -> Result<Vec<Listed>, StoreError> {
    let rows: Vec<ListedRow> = sqlx::query_as(
        "select device.* from device join access_link as link on link.id = device.link_id
         where link.event_id = ? order by device.id desc",
    )
    .bind(&event.as_bytes()[..])
    .fetch_all(db)
    .await?;
    rows.into_iter().map(ListedRow::listed).collect()
}
