//! How an organizer signs in: a passphrase, kept as argon2id's own form of a hash, and passkeys, kept as public keys.

use super::{StoreError, row};
use jiff::Timestamp;
use sqlx::{FromRow, SqliteConnection};
use uuid::Uuid;

/// Sets an organizer's passphrase.
pub async fn set_passphrase(db: &mut SqliteConnection, link: Uuid, hash: &str, at: Timestamp) -> Result<(), StoreError> {
    sqlx::query(
        "insert into passphrase (link_id, hash, changed_at) values (?, ?, ?)
         on conflict (link_id) do update set hash = excluded.hash, changed_at = excluded.changed_at",
    )
    .bind(&link.as_bytes()[..])
    .bind(hash)
    .bind(at.as_millisecond())
    .execute(db)
    .await?;
    Ok(())
}

/// The hash of an organizer's passphrase.
pub async fn passphrase(db: &mut SqliteConnection, link: Uuid) -> Result<Option<String>, StoreError> {
    Ok(sqlx::query_scalar("select hash from passphrase where link_id = ?").bind(&link.as_bytes()[..]).fetch_optional(db).await?)
}

/// Whether any organizer can come in without a new link: one who was not taken back and has a passphrase or a device.
pub async fn has_organizer(db: &mut SqliteConnection, now: Timestamp) -> Result<bool, StoreError> {
    let count: i64 = sqlx::query_scalar(
        "select count(*) from access_link as link where role = 'organizer' and revoked_at is null and (
             exists (select 1 from passphrase where passphrase.link_id = link.id)
             or exists (select 1 from device where device.link_id = link.id and ended_at is null and ends_at > ?))",
    )
    .bind(now.as_millisecond())
    .fetch_one(db)
    .await?;
    Ok(count > 0)
}

/// A passkey of an organizer.
#[derive(Clone, Debug)]
pub struct KeptPasskey {
    /// The credential's own id.
    pub id: Vec<u8>,
    pub link: Uuid,
    pub name: String,
    /// The credential as JSON: public key and counter.
    pub credential: String,
    pub made_at: Timestamp,
    pub used_at: Option<Timestamp>,
}

#[derive(FromRow)]
struct PasskeyRow {
    id: Vec<u8>,
    link_id: Vec<u8>,
    name: String,
    credential: String,
    made_at: i64,
    used_at: Option<i64>,
}

impl PasskeyRow {
    fn passkey(self) -> Result<KeptPasskey, StoreError> {
        Ok(KeptPasskey {
            id: self.id,
            link: row::id(&self.link_id)?,
            name: self.name,
            credential: self.credential,
            made_at: row::time(self.made_at)?,
            used_at: self.used_at.map(row::time).transpose()?,
        })
    }
}

/// Keeps a passkey. `false` where its id is kept already.
pub async fn add_passkey(db: &mut SqliteConnection, new: &KeptPasskey) -> Result<bool, StoreError> {
    let done = sqlx::query(
        "insert into passkey (id, link_id, name, credential, made_at) values (?, ?, ?, ?, ?) on conflict (id) do nothing",
    )
    .bind(&new.id)
    .bind(&new.link.as_bytes()[..])
    .bind(&new.name)
    .bind(&new.credential)
    .bind(new.made_at.as_millisecond())
    .execute(db)
    .await?;
    Ok(done.rows_affected() == 1)
}

/// Every passkey of an organizer who was not taken back.
pub async fn passkeys(db: &mut SqliteConnection) -> Result<Vec<KeptPasskey>, StoreError> {
    let rows: Vec<PasskeyRow> = sqlx::query_as(
        "select passkey.* from passkey join access_link as link on link.id = passkey.link_id
         where link.role = 'organizer' and link.revoked_at is null order by passkey.made_at",
    )
    .fetch_all(db)
    .await?;
    rows.into_iter().map(PasskeyRow::passkey).collect()
}

/// Notes a passkey's use, with its counter as it is now.
pub async fn passkey_used(db: &mut SqliteConnection, id: &[u8], credential: &str, at: Timestamp) -> Result<(), StoreError> {
    sqlx::query("update passkey set credential = ?, used_at = ? where id = ?")
        .bind(credential)
        .bind(at.as_millisecond())
        .bind(id)
        .execute(db)
        .await?;
    Ok(())
}

/// Removes every passkey of an organizer.
pub async fn remove_passkeys(db: &mut SqliteConnection, link: Uuid) -> Result<(), StoreError> {
    sqlx::query("delete from passkey where link_id = ?").bind(&link.as_bytes()[..]).execute(db).await?;
    Ok(())
}

/// Removes a passkey of an organizer.
pub async fn remove_passkey(db: &mut SqliteConnection, link: Uuid, id: &[u8]) -> Result<bool, StoreError> {
    let done =
        sqlx::query("delete from passkey where id = ? and link_id = ?").bind(id).bind(&link.as_bytes()[..]).execute(db).await?;
    Ok(done.rows_affected() == 1)
}
