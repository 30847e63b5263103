//! Erasing a person: what the history's triggers allow, and no more.

use super::StoreError;
use super::history::ERASED;
use jiff::Timestamp;
use sqlx::SqliteConnection;
use uuid::Uuid;

/// Erases the driver of an entry. Their name as a maker of records goes with its salt: what stays cannot be guessed back.
pub async fn erase(db: &mut SqliteConnection, entry: Uuid, at: Timestamp) -> Result<(), StoreError> {
    let id = &entry.as_bytes()[..];
    super::access::revoke_links_of_entry(db, entry, at).await?;
    let steps = [
        "delete from draft where entry_id = ?",
        "delete from photo where entry_id = ?",
        "update record set maker = null, maker_salt = null where entry_id = ? and maker_role = 'driver' and maker is not null",
        "update device set kind = '' where link_id in (select id from access_link where entry_id = ?)",
        "update access_link set holder = '' where entry_id = ?",
    ];
    for step in steps {
        sqlx::query(step).bind(id).execute(&mut *db).await?;
    }
    sqlx::query("update entry set driver = ?, mail = '', erased_at = ? where id = ? and erased_at is null")
        .bind(ERASED)
        .bind(at.as_millisecond())
        .bind(id)
        .execute(db)
        .await?;
    Ok(())
}
