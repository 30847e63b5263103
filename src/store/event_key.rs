//! The keys that an event's passes are signed with: a row each, the newest counts.

use super::{StoreError, row};
use crate::rules::pass::public_key;
use jiff::Timestamp;
use sqlx::SqliteConnection;
use uuid::Uuid;

/// A key to add.
#[derive(Clone, Debug)]
pub struct NewKey {
    pub id: Uuid,
    pub event: Uuid,
    pub secret: [u8; 32],
    pub at: Timestamp,
    /// The organizer who had it made anew; `None` for an event's first.
    pub by: Option<String>,
}

/// A key that an organizer had made anew.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct MadeAnew {
    pub at: Timestamp,
    pub by: String,
}

/// The secret and the public key of a row.
type Halves = (Option<Vec<u8>>, Option<Vec<u8>>);

fn key(bytes: Vec<u8>) -> Result<[u8; 32], StoreError> {
    bytes.try_into().map_err(|_| StoreError::Unreadable("an event's key".into()))
}

/// The secret key of an event; `None` where it has none yet, or its last one has ended.
///
/// # Errors
/// What the database says, or a key that cannot be read.
pub async fn of_event(db: &mut SqliteConnection, event: Uuid) -> Result<Option<[u8; 32]>, StoreError> {
    let newest: Option<Option<Vec<u8>>> =
        sqlx::query_scalar("select secret from pass_key where event_id = ? order by rowid desc limit 1")
            .bind(&event.as_bytes()[..])
            .fetch_optional(db)
            .await?;
    newest.flatten().map(key).transpose()
}

/// The public key of an event, of its newest key, ended or not; `None` where it has none yet.
///
/// # Errors
/// As [`of_event`].
pub async fn public_of_event(db: &mut SqliteConnection, event: Uuid) -> Result<Option<[u8; 32]>, StoreError> {
    let newest: Option<Halves> =
        sqlx::query_as("select secret, public from pass_key where event_id = ? order by rowid desc limit 1")
            .bind(&event.as_bytes()[..])
            .fetch_optional(db)
            .await?;
    match newest {
        Some((_, Some(public))) => key(public).map(Some),
        Some((Some(secret), None)) => Ok(Some(public_key(&key(secret)?))),
        _ => Ok(None),
    }
}

/// Gives an event its first key, unless it has one that has not ended: the one it has is given back.
///
/// # Errors
/// As [`of_event`].
pub async fn add_first(db: &mut SqliteConnection, new: &NewKey) -> Result<[u8; 32], StoreError> {
    if let Some(there) = of_event(db, new.event).await? {
        return Ok(there);
    }
    add(db, new).await?;
    Ok(new.secret)
}

/// Adds a key, which is the event's from now on. Gives `false` where this id is taken: the same key was asked for before.
///
/// # Errors
/// What the database says.
pub async fn add(db: &mut SqliteConnection, new: &NewKey) -> Result<bool, StoreError> {
    let added = sqlx::query(
        "insert into pass_key (id, event_id, secret, public, made_at, made_by) values (?, ?, ?, ?, ?, ?)
         on conflict (id) do nothing",
    )
    .bind(&new.id.as_bytes()[..])
    .bind(&new.event.as_bytes()[..])
    .bind(&new.secret[..])
    .bind(&public_key(&new.secret)[..])
    .bind(new.at.as_millisecond())
    .bind(&new.by)
    .execute(db)
    .await?;
    Ok(added.rows_affected() == 1)
}

/// Whose key has this id, if it is taken.
///
/// # Errors
/// What the database says.
pub async fn event_of(db: &mut SqliteConnection, id: Uuid) -> Result<Option<Uuid>, StoreError> {
    let event: Option<Vec<u8>> =
        sqlx::query_scalar("select event_id from pass_key where id = ?").bind(&id.as_bytes()[..]).fetch_optional(db).await?;
    event.map(|event| row::id(&event)).transpose()
}

/// Ends the keys of an event but one: their secrets are erased. Gives how many ended.
///
/// # Errors
/// As [`of_event`].
pub async fn end(db: &mut SqliteConnection, event: Uuid, but: Option<Uuid>) -> Result<usize, StoreError> {
    let but = but.unwrap_or_default();
    let rows: Vec<(Vec<u8>, Vec<u8>)> =
        sqlx::query_as("select id, secret from pass_key where event_id = ? and id <> ? and secret is not null")
            .bind(&event.as_bytes()[..])
            .bind(&but.as_bytes()[..])
            .fetch_all(&mut *db)
            .await?;
    let ended = rows.len();
    for (id, secret) in rows {
        sqlx::query("update pass_key set public = ?, secret = null where id = ?")
            .bind(&public_key(&key(secret)?)[..])
            .bind(id)
            .execute(&mut *db)
            .await?;
    }
    Ok(ended)
}

/// The events whose newest key has not ended.
///
/// # Errors
/// What the database says.
pub async fn events_with_one(db: &mut SqliteConnection) -> Result<Vec<Uuid>, StoreError> {
    let events: Vec<Vec<u8>> =
        sqlx::query_scalar("select distinct event_id from pass_key where secret is not null").fetch_all(db).await?;
    events.iter().map(|event| row::id(event)).collect()
}

/// The keys of an event that an organizer had made anew, the newest first.
///
/// # Errors
/// What the database says.
pub async fn made_anew(db: &mut SqliteConnection, event: Uuid) -> Result<Vec<MadeAnew>, StoreError> {
    let rows: Vec<(i64, String)> = sqlx::query_as(
        "select made_at, made_by from pass_key where event_id = ? and made_by is not null order by rowid desc limit 20",
    )
    .bind(&event.as_bytes()[..])
    .fetch_all(db)
    .await?;
    rows.into_iter().map(|(at, by)| Ok(MadeAnew { at: row::time(at)?, by })).collect()
}
