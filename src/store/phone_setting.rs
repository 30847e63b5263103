//! What organizers set for the phones of an event: a row each time, the newest counts.

use super::{StoreError, row};
use crate::rules::phones::PhoneSetting;
use jiff::Timestamp;
use sqlx::SqliteConnection;
use uuid::Uuid;

/// A setting, by whom it was made and when.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Set {
    pub setting: PhoneSetting,
    pub at: Timestamp,
    pub by: String,
}

/// Every setting of an event, the newest first.
pub async fn of_event(db: &mut SqliteConnection, event: Uuid) -> Result<Vec<Set>, StoreError> {
    let rows: Vec<(i64, i64, i64, String)> = sqlx::query_as(
        "select old_after_min, kept_days, made_at, made_by from phone_setting where event_id = ? order by rowid desc",
    )
    .bind(&event.as_bytes()[..])
    .fetch_all(db)
    .await?;
    let set = |(minutes, days, at, by): (i64, i64, i64, String)| {
        let setting = PhoneSetting::parse(&minutes.to_string(), &days.to_string());
        let setting = setting.map_err(|_| StoreError::Unreadable("a setting of an event's phones".into()))?;
        Ok(Set { setting, at: row::time(at)?, by })
    };
    rows.into_iter().map(set).collect()
}

/// Sets it. Gives `false` where this id is taken: by the same setting sent twice, or by another.
pub async fn add(db: &mut SqliteConnection, id: Uuid, event: Uuid, set: &Set) -> Result<bool, StoreError> {
    let added = sqlx::query(
        "insert into phone_setting (id, event_id, old_after_min, kept_days, made_at, made_by) values (?, ?, ?, ?, ?, ?)
         on conflict (id) do nothing",
    )
    .bind(&id.as_bytes()[..])
    .bind(&event.as_bytes()[..])
    .bind(set.setting.old_after_min())
    .bind(set.setting.kept_days())
    .bind(set.at.as_millisecond())
    .bind(&set.by)
    .execute(db)
    .await?;
    Ok(added.rows_affected() == 1)
}

/// What an id set, if it is taken: event and setting.
pub async fn by_id(db: &mut SqliteConnection, id: Uuid) -> Result<Option<(Uuid, PhoneSetting)>, StoreError> {
    let row: Option<(Vec<u8>, i64, i64)> =
        sqlx::query_as("select event_id, old_after_min, kept_days from phone_setting where id = ?")
            .bind(&id.as_bytes()[..])
            .fetch_optional(db)
            .await?;
    let Some((event, minutes, days)) = row else { return Ok(None) };
    let setting = PhoneSetting::parse(&minutes.to_string(), &days.to_string());
    let setting = setting.map_err(|_| StoreError::Unreadable("a setting of an event's phones".into()))?;
    Ok(Some((row::id(&event)?, setting)))
}
