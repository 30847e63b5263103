//! Bringing an older file under the stronger rule: what there is when it is opened is bound from then on.
//!
//! Records, links and devices from before are not bound by what was written then. A first record of each event, and a first deed
//! of access, say that they are such a *baseline*, and list what they found.

use super::deed::{self, About, Done};
use super::history::{self, EventKind, NewEventRecord};
use super::writer::Writing;
use super::{StoreError, row};
use crate::rules::chain::{Baseline, Earlier, ErasedEntry, digest, driver_mark, hex};
use jiff::Timestamp;
use serde_json::json;
use sqlx::SqliteConnection;
use uuid::Uuid;

/// Time and chance, as the house has them.
pub struct Chance {
    pub now: Timestamp,
    pub id: Box<dyn FnMut() -> Uuid + Send>,
    pub secret: Box<dyn FnMut() -> [u8; 20] + Send>,
}

impl Chance {
    fn salt(&mut self) -> String {
        data_encoding::HEXLOWER.encode(&(self.secret)())
    }
}

/// Whether anything in the file is not bound yet.
pub async fn is_wanted(db: &mut SqliteConnection) -> Result<bool, StoreError> {
    Ok(sqlx::query_scalar(
        "select exists (select 1 from photo where digest is null)
             or exists (select 1 from entry where driver_mark is null)
             or exists (select 1 from access_link where holder_salt is null and holder <> '')
             or exists (select 1 from event where not exists (
                 select 1 from record where record.event_id = event.id and record.entry_id is null and record.kind = 'opened'))
             or (exists (select 1 from access_link) and not exists (select 1 from access_deed where hash is not null))",
    )
    .fetch_one(db)
    .await?)
}

/// Binds what is not bound yet.
pub async fn bind(db: &mut Writing, mut chance: Chance) -> Result<(), StoreError> {
    name_photos(db).await?;
    salt_drivers(db, &mut chance).await?;
    salt_holders(db, &mut chance).await?;
    begin_deeds(db, chance.now).await?;
    let events: Vec<Vec<u8>> = sqlx::query_scalar(
        "select id from event where not exists (
             select 1 from record where record.event_id = event.id and record.entry_id is null and record.kind = 'opened')
         order by id",
    )
    .fetch_all(&mut **db)
    .await?;
    for event in events {
        begin_event(db, row::id(&event)?, &mut chance).await?;
    }
    Ok(())
}

async fn name_photos(db: &mut Writing) -> Result<(), StoreError> {
    let ids: Vec<Vec<u8>> = sqlx::query_scalar("select id from photo where digest is null").fetch_all(&mut **db).await?;
    for id in ids {
        let jpeg: Vec<u8> = sqlx::query_scalar("select jpeg from photo where id = ?").bind(&id).fetch_one(&mut **db).await?;
        let set = sqlx::query("update photo set digest = ? where id = ?");
        set.bind(&digest(&jpeg)[..]).bind(&id).execute(&mut **db).await?;
    }
    Ok(())
}

/// A driver who was erased before has no salt either: the mark stands for nobody who could be guessed.
async fn salt_drivers(db: &mut Writing, chance: &mut Chance) -> Result<(), StoreError> {
    let entries: Vec<(Vec<u8>, String, bool)> =
        sqlx::query_as("select id, driver, erased_at is not null from entry where driver_mark is null")
            .fetch_all(&mut **db)
            .await?;
    for (id, driver, is_erased) in entries {
        let salt = chance.salt();
        let mark = driver_mark(&salt, &driver);
        let set = sqlx::query("update entry set driver_salt = ?, driver_mark = ? where id = ?");
        set.bind((!is_erased).then_some(salt)).bind(&mark[..]).bind(&id).execute(&mut **db).await?;
    }
    Ok(())
}

async fn salt_holders(db: &mut Writing, chance: &mut Chance) -> Result<(), StoreError> {
    let links: Vec<Vec<u8>> =
        sqlx::query_scalar("select id from access_link where holder_salt is null and holder <> ''").fetch_all(&mut **db).await?;
    for id in links {
        let set = sqlx::query("update access_link set holder_salt = ? where id = ?");
        set.bind(chance.salt()).bind(&id).execute(&mut **db).await?;
    }
    Ok(())
}

/// The first deed of the chain: every link and device as they are, and a digest over the deeds of before.
async fn begin_deeds(db: &mut Writing, now: Timestamp) -> Result<(), StoreError> {
    let (has_links, is_begun): (bool, bool) =
        sqlx::query_as("select exists (select 1 from access_link), exists (select 1 from access_deed where hash is not null)")
            .fetch_one(&mut **db)
            .await?;
    if is_begun || !has_links {
        return Ok(());
    }
    let erased: Vec<(Vec<u8>, i64)> =
        sqlx::query_as("select id, erased_at from entry where erased_at is not null order by id").fetch_all(&mut **db).await?;
    let erased = erased.into_iter().map(|(id, at)| Ok(ErasedEntry { id: row::id(&id)?.to_string(), at }));
    let erased = erased.collect::<Result<Vec<_>, StoreError>>()?;
    let baseline = Some(Baseline { earlier: earlier(db).await?, erased });
    let ids = |rows: Vec<Vec<u8>>| rows.iter().map(|id| row::id(id)).collect::<Result<Vec<_>, _>>();
    let links = ids(sqlx::query_scalar("select id from access_link order by id").fetch_all(&mut **db).await?)?;
    let devices = ids(sqlx::query_scalar("select id from device order by id").fetch_all(&mut **db).await?)?;
    deed::note(db, Done::Baseline, About { links, devices, baseline, ..About::default() }, None, now).await
}

/// The deeds that were noted before there was a chain.
pub(super) async fn earlier(db: &mut SqliteConnection) -> Result<Earlier, StoreError> {
    type Columns = (Option<String>, Option<String>, Option<String>, Option<String>, Option<String>, Option<String>);
    let rows: Vec<Columns> = sqlx::query_as(
        "select cast(id as text), lower(hex(link_id)), what, lower(hex(by_link_id)), lower(hex(by_device_id)), cast(at as text)
         from access_deed where hash is null order by id",
    )
    .fetch_all(db)
    .await?;
    Ok(rows
        .into_iter()
        .fold(Earlier::none(), |earlier, (id, link, what, by, device, at)| earlier.and(&[id, link, what, by, device, at])))
}

async fn begin_event(db: &mut Writing, event: Uuid, chance: &mut Chance) -> Result<(), StoreError> {
    let entries: Vec<Vec<u8>> = sqlx::query_scalar("select id from entry where event_id = ? order by id")
        .bind(&event.as_bytes()[..])
        .fetch_all(&mut **db)
        .await?;
    let mut listed = Vec::with_capacity(entries.len());
    for entry in &entries {
        let entry = row::id(entry)?;
        let digest = history::roster_digest(db, entry).await?;
        listed.push(json!({ "id": entry, "digest": digest.as_ref().map(hex).unwrap_or_default() }));
    }
    let new = NewEventRecord {
        id: (chance.id)(),
        event,
        kind: EventKind::Opened,
        body: json!({ "baseline": true, "entries": listed }).to_string(),
        made_at: chance.now,
        maker: None,
        salt: [0; 20],
    };
    history::append_to_event(db, &new).await?;
    Ok(())
}
