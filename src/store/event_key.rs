//! The key an event's passes are signed with.

use super::StoreError;
use jiff::Timestamp;
use sqlx::SqliteConnection;
use uuid::Uuid;

/// The secret key of an event, if it has one yet.
pub async fn of_event(db: &mut SqliteConnection, event: Uuid) -> Result<Option<[u8; 32]>, StoreError> {
    let key: Option<Vec<u8>> = sqlx::query_scalar("select secret from event_key where event_id = ?")
        .bind(&event.as_bytes()[..])
        .fetch_optional(db)
        .await?;
    key.map(|key| key.try_into().map_err(|_| StoreError::Unreadable("an event's key".into()))).transpose()
}

/// Gives an event its key, unless it has one: the one it has is given back.
pub async fn add(db: &mut SqliteConnection, event: Uuid, key: [u8; 32], at: Timestamp) -> Result<[u8; 32], StoreError> {
    sqlx::query("insert into event_key (event_id, secret, made_at) values (?, ?, ?) on conflict (event_id) do nothing")
        .bind(&event.as_bytes()[..])
        .bind(&key[..])
        .bind(at.as_millisecond())
        .execute(&mut *db)
        .await?;
    Ok(of_event(db, event).await?.unwrap_or(key))
}
