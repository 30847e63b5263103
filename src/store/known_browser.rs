//! Browsers in which an organizer signed in before: a try from one of them is counted apart from strangers' tries.

use super::StoreError;
use super::access::{Digest, is_same};
use jiff::{Timestamp, ToSpan};
use sqlx::SqliteConnection;
use uuid::Uuid;

/// How long a browser is known without another signing in: as long as browsers keep a cookie at all.
pub const DAYS: i64 = 400;
/// The most browsers that are known of one organizer; beyond it the one that was away longest is forgotten.
const MOST: i64 = 20;

/// Whether the organizer with this link signed in before in the browser with this secret.
pub async fn is_known(db: &mut SqliteConnection, link: Uuid, digest: &Digest, now: Timestamp) -> Result<bool, StoreError> {
    let since = now.checked_sub((DAYS * 24).hours()).unwrap_or(now);
    let kept: Vec<Vec<u8>> = sqlx::query_scalar("select digest from known_browser where link_id = ? and used_at > ?")
        .bind(&link.as_bytes()[..])
        .bind(since.as_millisecond())
        .fetch_all(db)
        .await?;
    // All of them are compared: how long it takes says nothing of which one it was.
    Ok(kept.iter().fold(false, |found, kept| found | is_same(kept, digest)))
}

/// Whether any organizer signed in before in the browser with this secret.
pub async fn is_anyones(db: &mut SqliteConnection, digest: &Digest, now: Timestamp) -> Result<bool, StoreError> {
    let links: Vec<Vec<u8>> = sqlx::query_scalar("select distinct link_id from known_browser").fetch_all(&mut *db).await?;
    for link in links {
        if is_known(db, super::row::id(&link)?, digest, now).await? {
            return Ok(true);
        }
    }
    Ok(false)
}

/// Keeps a browser in which an organizer signed in, or notes that they did so again.
pub async fn keep(db: &mut SqliteConnection, link: Uuid, digest: &Digest, at: Timestamp) -> Result<(), StoreError> {
    sqlx::query(
        "insert into known_browser (digest, link_id, made_at, used_at) values (?1, ?2, ?3, ?3)
         on conflict (digest) do update set used_at = excluded.used_at where link_id = excluded.link_id",
    )
    .bind(&digest[..])
    .bind(&link.as_bytes()[..])
    .bind(at.as_millisecond())
    .execute(&mut *db)
    .await?;
    sqlx::query(
        "delete from known_browser where link_id = ?1 and digest not in (
             select digest from known_browser where link_id = ?1 order by used_at desc, made_at desc limit ?2)",
    )
    .bind(&link.as_bytes()[..])
    .bind(MOST)
    .execute(db)
    .await?;
    Ok(())
}

/// Forgets every browser of an organizer: who sets a passphrase anew may have lost the old one to somebody.
pub async fn forget(db: &mut SqliteConnection, link: Uuid) -> Result<(), StoreError> {
    sqlx::query("delete from known_browser where link_id = ?").bind(&link.as_bytes()[..]).execute(db).await?;
    Ok(())
}
