//! Drafts: what a driver has typed, as typed. The only thing here that is written over.

use super::StoreError;
use crate::rules::answer::Typed;
use jiff::Timestamp;
use sqlx::SqliteConnection;
use std::collections::BTreeMap;
use uuid::Uuid;

/// What was typed so far, by item.
pub type Draft = BTreeMap<String, Typed>;

/// The draft of an entry.
pub async fn of_entry(db: &mut SqliteConnection, entry: Uuid) -> Result<Draft, StoreError> {
    let packed: Option<String> = sqlx::query_scalar("select json_group_object(item, json(typed)) from draft where entry_id = ?")
        .bind(&entry.as_bytes()[..])
        .fetch_optional(db)
        .await?
        .flatten();
    match packed {
        None => Ok(Draft::new()),
        Some(text) => serde_json::from_str(&text).map_err(|error| StoreError::Unreadable(format!("a draft: {error}"))),
    }
}

/// Keeps what was typed for some items. An item that was emptied is kept empty: it no longer stands as it was sent.
pub async fn keep(db: &mut SqliteConnection, entry: Uuid, typed: &Draft, at: Timestamp) -> Result<(), StoreError> {
    let over = "insert into draft (entry_id, item, typed, changed_at) select ?1, key, value, ?3 from json_each(?2) where true
         on conflict (entry_id, item) do update set typed = excluded.typed, changed_at = excluded.changed_at";
    write(db, over, entry, typed, at).await
}

/// Keeps this for the items where nothing is kept; what is typed stays.
pub async fn keep_where_nothing_is(
    db: &mut SqliteConnection,
    entry: Uuid,
    typed: &Draft,
    at: Timestamp,
) -> Result<(), StoreError> {
    let beside = "insert into draft (entry_id, item, typed, changed_at) select ?1, key, value, ?3 from json_each(?2) where true
         on conflict (entry_id, item) do nothing";
    write(db, beside, entry, typed, at).await
}

/// Says of what is typed for an item, in all entries of an event, which question it was typed for, where nothing says so yet.
pub async fn mark(db: &mut SqliteConnection, event: Uuid, item: &str, question: &str) -> Result<(), StoreError> {
    sqlx::query(
        "update draft set typed = json_set(typed, '$.q', ?3) where item = ?2 and json_extract(typed, '$.q') is null
         and entry_id in (select id from entry where event_id = ?1)",
    )
    .bind(&event.as_bytes()[..])
    .bind(item)
    .bind(question)
    .execute(db)
    .await?;
    Ok(())
}

async fn write(
    db: &mut SqliteConnection,
    statement: &'static str,
    entry: Uuid,
    typed: &Draft,
    at: Timestamp,
) -> Result<(), StoreError> {
    let packed = serde_json::to_string(typed).map_err(|error| StoreError::Unreadable(error.to_string()))?;
    let asked = sqlx::query(statement).bind(&entry.as_bytes()[..]).bind(packed).bind(at.as_millisecond());
    asked.execute(db).await?;
    Ok(())
}
