//! Private links and the devices that came in by them. Secrets lie here as digests only.

use super::{StoreError, row};
use jiff::Timestamp;
use sqlx::{FromRow, SqliteConnection};
use uuid::Uuid;

/// A secret's SHA-256: all that is kept of it.
pub type Digest = [u8; 32];

/// A private link, with whom and what it is for.
#[derive(Clone, Debug)]
pub struct Link {
    pub id: Uuid,
    pub role: String,
    pub event: Option<Uuid>,
    pub entry: Option<Uuid>,
    pub holder: String,
    pub made_at: Timestamp,
    pub revoked_at: Option<Timestamp>,
}

/// A device that is let in: by which link, until when.
#[derive(Clone, Debug)]
pub struct Device {
    pub id: Uuid,
    pub link: Link,
}

#[derive(FromRow)]
struct LinkRow {
    id: Vec<u8>,
    role: String,
    event_id: Option<Vec<u8>>,
    entry_id: Option<Vec<u8>>,
    holder: String,
    made_at: i64,
    revoked_at: Option<i64>,
}

impl LinkRow {
    fn link(self) -> Result<Link, StoreError> {
        Ok(Link {
            id: row::id(&self.id)?,
            role: self.role,
            event: self.event_id.as_deref().map(row::id).transpose()?,
            entry: self.entry_id.as_deref().map(row::id).transpose()?,
            holder: self.holder,
            made_at: row::time(self.made_at)?,
            revoked_at: self.revoked_at.map(row::time).transpose()?,
        })
    }
}

/// Keeps a new link by its secret's digest.
pub async fn add_link(db: &mut SqliteConnection, link: &Link, digest: Digest) -> Result<(), StoreError> {
    sqlx::query("insert into access_link (id, digest, role, event_id, entry_id, holder, made_at) values (?, ?, ?, ?, ?, ?, ?)")
        .bind(&link.id.as_bytes()[..])
        .bind(&digest[..])
        .bind(&link.role)
        .bind(link.event.as_ref().map(|id| id.as_bytes().to_vec()))
        .bind(link.entry.as_ref().map(|id| id.as_bytes().to_vec()))
        .bind(&link.holder)
        .bind(link.made_at.as_millisecond())
        .execute(db)
        .await?;
    Ok(())
}

/// The link with this secret, revoked or not.
pub async fn link_by_digest(db: &mut SqliteConnection, digest: Digest) -> Result<Option<Link>, StoreError> {
    let row: Option<LinkRow> =
        sqlx::query_as("select id, role, event_id, entry_id, holder, made_at, revoked_at from access_link where digest = ?")
            .bind(&digest[..])
            .fetch_optional(db)
            .await?;
    row.map(LinkRow::link).transpose()
}

/// The links of an event, newest first.
pub async fn links_of_event(db: &mut SqliteConnection, event: Uuid) -> Result<Vec<Link>, StoreError> {
    let rows: Vec<LinkRow> = sqlx::query_as(
        "select id, role, event_id, entry_id, holder, made_at, revoked_at from access_link where event_id = ? order by id desc",
    )
    .bind(&event.as_bytes()[..])
    .fetch_all(db)
    .await?;
    rows.into_iter().map(LinkRow::link).collect()
}

/// Takes back the links of an entry that are still good. Gives how many there were.
pub async fn revoke_links_of_entry(db: &mut SqliteConnection, entry: Uuid, at: Timestamp) -> Result<u64, StoreError> {
    let done = sqlx::query("update access_link set revoked_at = ? where entry_id = ? and revoked_at is null")
        .bind(at.as_millisecond())
        .bind(&entry.as_bytes()[..])
        .execute(db)
        .await?;
    Ok(done.rows_affected())
}

/// Takes back one link of an event.
pub async fn revoke_link(db: &mut SqliteConnection, event: Uuid, link: Uuid, at: Timestamp) -> Result<bool, StoreError> {
    let done = sqlx::query("update access_link set revoked_at = ? where id = ? and event_id = ? and revoked_at is null")
        .bind(at.as_millisecond())
        .bind(&link.as_bytes()[..])
        .bind(&event.as_bytes()[..])
        .execute(db)
        .await?;
    Ok(done.rows_affected() == 1)
}

/// Lets a device in.
pub async fn add_device(
    db: &mut SqliteConnection,
    device: Uuid,
    digest: Digest,
    link: Uuid,
    from: Timestamp,
    to: Timestamp,
) -> Result<(), StoreError> {
    sqlx::query("insert into device (id, digest, link_id, made_at, ends_at) values (?, ?, ?, ?, ?)")
        .bind(&device.as_bytes()[..])
        .bind(&digest[..])
        .bind(&link.as_bytes()[..])
        .bind(from.as_millisecond())
        .bind(to.as_millisecond())
        .execute(db)
        .await?;
    Ok(())
}

/// The device with this secret, if it is still let in and its link was not taken back.
pub async fn device_by_digest(db: &mut SqliteConnection, digest: Digest, now: Timestamp) -> Result<Option<Device>, StoreError> {
    #[derive(FromRow)]
    struct Row {
        device_id: Vec<u8>,
        #[sqlx(flatten)]
        link: LinkRow,
    }
    let row: Option<Row> = sqlx::query_as(
        "select device.id as device_id, link.id, link.role, link.event_id, link.entry_id, link.holder, link.made_at, link.revoked_at
         from device join access_link as link on link.id = device.link_id
         where device.digest = ? and device.ends_at > ? and link.revoked_at is null",
    )
    .bind(&digest[..])
    .bind(now.as_millisecond())
    .fetch_optional(db)
    .await?;
    row.map(|row| Ok(Device { id: row::id(&row.device_id)?, link: row.link.link()? })).transpose()
}

/// Whether a device is still let in.
pub async fn is_let_in(db: &mut SqliteConnection, device: Uuid, now: Timestamp) -> Result<bool, StoreError> {
    let count: i64 = sqlx::query_scalar(
        "select count(*) from device join access_link as link on link.id = device.link_id
         where device.id = ? and device.ends_at > ? and link.revoked_at is null",
    )
    .bind(&device.as_bytes()[..])
    .bind(now.as_millisecond())
    .fetch_one(db)
    .await?;
    Ok(count > 0)
}

/// Whether any organizer can get in: on a new database none can.
pub async fn has_organizer(db: &mut SqliteConnection) -> Result<bool, StoreError> {
    let count: i64 = sqlx::query_scalar("select count(*) from access_link where role = 'organizer' and revoked_at is null")
        .fetch_one(db)
        .await?;
    Ok(count > 0)
}
