//! Photos: re-encoded JPEGs that belong to an entry.

use super::{StoreError, row};
use crate::rules::chain;
use jiff::Timestamp;
use sqlx::SqliteConnection;
use std::collections::BTreeMap;
use uuid::Uuid;

/// A picture that was decoded and written anew by us.
#[derive(Clone, Debug)]
pub struct Photo {
    pub id: Uuid,
    pub entry: Uuid,
    pub jpeg: Vec<u8>,
    pub width: u32,
    pub height: u32,
    pub made_at: Timestamp,
}

/// Keeps a photo.
pub async fn add(db: &mut SqliteConnection, photo: &Photo) -> Result<(), StoreError> {
    sqlx::query(
        "insert into photo (id, entry_id, jpeg, width, height, made_at, digest) values (?, ?, ?, ?, ?, ?, ?)
         on conflict (id) do nothing",
    )
    .bind(&photo.id.as_bytes()[..])
    .bind(&photo.entry.as_bytes()[..])
    .bind(&photo.jpeg)
    .bind(photo.width)
    .bind(photo.height)
    .bind(photo.made_at.as_millisecond())
    .bind(&chain::digest(&photo.jpeg)[..])
    .execute(db)
    .await?;
    Ok(())
}

/// How many photos an entry has.
pub async fn count(db: &mut SqliteConnection, entry: Uuid) -> Result<i64, StoreError> {
    Ok(sqlx::query_scalar("select count(*) from photo where entry_id = ?").bind(&entry.as_bytes()[..]).fetch_one(db).await?)
}

/// The entry that a photo belongs to, if it is here.
pub async fn entry_of(db: &mut SqliteConnection, id: Uuid) -> Result<Option<Uuid>, StoreError> {
    let entry: Option<Vec<u8>> =
        sqlx::query_scalar("select entry_id from photo where id = ?").bind(&id.as_bytes()[..]).fetch_optional(db).await?;
    entry.map(|entry| row::id(&entry)).transpose()
}

/// The ids of an entry's photos.
pub async fn ids(db: &mut SqliteConnection, entry: Uuid) -> Result<Vec<Uuid>, StoreError> {
    let ids: Vec<Vec<u8>> =
        sqlx::query_scalar("select id from photo where entry_id = ?").bind(&entry.as_bytes()[..]).fetch_all(db).await?;
    ids.iter().map(|id| row::id(id)).collect()
}

/// The entry's photos, each with the SHA-256 of its JPEG in hexadecimal figures.
pub async fn digests(db: &mut SqliteConnection, entry: Uuid) -> Result<BTreeMap<Uuid, String>, StoreError> {
    let rows: Vec<(Vec<u8>, String)> =
        sqlx::query_as("select id, lower(hex(digest)) from photo where entry_id = ? and digest is not null")
            .bind(&entry.as_bytes()[..])
            .fetch_all(db)
            .await?;
    rows.into_iter().map(|(id, digest)| Ok((row::id(&id)?, digest))).collect()
}

/// The JPEG of one of an entry's photos.
pub async fn jpeg(db: &mut SqliteConnection, entry: Uuid, id: Uuid) -> Result<Option<Vec<u8>>, StoreError> {
    Ok(sqlx::query_scalar("select jpeg from photo where id = ? and entry_id = ?")
        .bind(&id.as_bytes()[..])
        .bind(&entry.as_bytes()[..])
        .fetch_optional(db)
        .await?)
}
