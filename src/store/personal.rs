//! Erasing a person: what the history's triggers allow, and no more.

use super::deed::{self, About, By, Done};
use super::history::ERASED;
use super::{StoreError, row};
use crate::rules::chain::ErasedEntry;
use jiff::Timestamp;
use sqlx::SqliteConnection;
use uuid::Uuid;

/// Erases the driver of an entry. Their name goes with its salt wherever it stands: the marks that stay cannot be guessed back.
pub async fn erase(db: &mut SqliteConnection, entry: Uuid, by: By, at: Timestamp) -> Result<(), StoreError> {
    let id = &entry.as_bytes()[..];
    super::access::revoke_links_of_entry(db, entry, by, at).await?;
    let garages = forget_in_garages(db, entry).await?;
    let steps = [
        "delete from draft where entry_id = ?",
        "delete from photo where entry_id = ?",
        "update record set maker = null, maker_salt = null where entry_id = ? and maker_role = 'driver' and maker is not null",
        "update device set kind = '', through = null where link_id in (select id from access_link where entry_id = ?)",
        "update access_link set holder = '', holder_salt = null where entry_id = ?",
    ];
    for step in steps {
        sqlx::query(step).bind(id).execute(&mut *db).await?;
    }
    let sql = "update entry set driver = ?, driver_salt = null, mail = '', erased_at = ? where id = ? and erased_at is null";
    let erased = sqlx::query(sql).bind(ERASED).bind(at.as_millisecond()).bind(id).execute(&mut *db).await?;
    if erased.rows_affected() == 0 {
        return Ok(());
    }
    let links: Vec<Vec<u8>> =
        sqlx::query_scalar("select id from access_link where entry_id = ?").bind(id).fetch_all(&mut *db).await?;
    let links = links.into_iter().chain(garages).collect::<Vec<_>>();
    let links = links.iter().map(|link| row::id(link)).collect::<Result<Vec<_>, _>>()?;
    let erased = Some(ErasedEntry { id: entry.to_string(), at: at.as_millisecond() });
    deed::note(db, Done::Erased, About { links, erased, ..About::default() }, by, at).await
}

/// Takes the driver's name from the links of garages that were opened from the entry's sheet. The garage itself stays: it is the
/// driver's own. Of a garage from before its maker was noted, the name says whose it is.
async fn forget_in_garages(db: &mut SqliteConnection, entry: Uuid) -> Result<Vec<Vec<u8>>, StoreError> {
    let sql = "update access_link set holder = '', holder_salt = null
         where garage_id is not null and holder = (select driver from entry where id = ?1) and holder <> '' and exists (
             select 1 from access_deed as deed left join access_link as maker on maker.id = deed.by_link_id
             where deed.link_id = access_link.id and deed.what = 'made'
                 and (deed.by_link_id is null or maker.entry_id = ?1))
         returning id";
    Ok(sqlx::query_scalar(sql).bind(&entry.as_bytes()[..]).fetch_all(db).await?)
}
