//! Ids of forms that were used: a form that is sent again does nothing more.

use super::StoreError;
use jiff::{Timestamp, ToSpan};
use sqlx::SqliteConnection;
use uuid::Uuid;

/// Days that an id is kept: a page that stays open for longer is opened anew.
const KEPT_DAYS: i64 = 30;

/// Notes that a form was used. `false` where it was used before.
pub async fn note(db: &mut SqliteConnection, id: Uuid, at: Timestamp) -> Result<bool, StoreError> {
    let old = at.checked_sub((KEPT_DAYS * 24).hours()).unwrap_or(at);
    sqlx::query("delete from form_used where used_at < ?").bind(old.as_millisecond()).execute(&mut *db).await?;
    let added = sqlx::query("insert into form_used (id, used_at) values (?, ?) on conflict (id) do nothing")
        .bind(&id.as_bytes()[..])
        .bind(at.as_millisecond())
        .execute(db)
        .await?;
    Ok(added.rows_affected() == 1)
}
