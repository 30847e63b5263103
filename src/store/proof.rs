//! A club's file read for verification: row by row, in one snapshot, without changing anything in it.
//!
//! Digests are computed here from the columns; what they must be is compared in `src/verify.rs`. A row that cannot be decoded is
//! handed over as a sentence, like any other misfit.

use super::deed::{DeviceRow, LinkRow};
use super::history::RecordRow;
use super::{StoreError, row};
use crate::rules::chain::{BoundEdition, BoundEvent, DeviceClaim, Earlier, LinkClaim, RosterLine, Sealed, digest, hex};
use futures_util::TryStreamExt;
use sqlx::sqlite::{SqliteConnectOptions, SqliteRow};
use sqlx::{ConnectOptions, FromRow, Row, SqliteConnection};
use std::path::Path;

/// A file under verification.
pub struct Proof {
    db: SqliteConnection,
    is_bound: bool,
}

/// What is read of a row, or a sentence why it cannot be.
pub type Read<T> = Result<T, String>;

/// An event's row.
pub struct EventLine {
    pub id: String,
    pub edition: String,
    pub digest: String,
}

/// An edition's row.
pub struct EditionLine {
    pub id: String,
    pub number: i64,
    pub digest: String,
}

/// An entry's row.
#[derive(Debug)]
pub struct EntryLine {
    pub id: String,
    pub number: String,
    pub number_order: i64,
    pub driver: String,
    pub driver_salt: Option<String>,
    pub driver_mark: String,
    pub erased_at: Option<i64>,
    /// Of the whole line.
    pub digest: String,
}

/// A deed's row.
pub struct DeedLine {
    pub place: i64,
    pub link: Option<String>,
    pub what: String,
    pub by: Option<(String, String)>,
    pub at: i64,
    /// Claim, hash of the deed before, hash; `None` for a deed from before the chain.
    pub chained: Option<(String, Option<String>, String)>,
}

/// A photo's row.
pub struct PhotoLine {
    pub id: String,
    pub entry: String,
    /// As its column says.
    pub noted: Option<String>,
    /// Of the JPEG as it is.
    pub digest: String,
}

/// The columns of a record in a file from before records bound what they rest on.
const BEFORE: &str = "select *, 1 as form, null as edition_id, null as edition_digest, null as event_digest,
    null as entry_digest from record where event_id = ? order by place";

fn text(id: &[u8]) -> Result<String, StoreError> {
    Ok(row::id(id)?.to_string())
}

fn lower(bytes: &[u8]) -> String {
    data_encoding::HEXLOWER.encode(bytes)
}

fn read<T>(row: &SqliteRow, what: &str, read: impl FnOnce(&SqliteRow) -> Result<T, StoreError>) -> Read<T> {
    read(row).map_err(|error| format!("{what} cannot be read: {error}"))
}

impl Proof {
    /// Opens a file.
    ///
    /// # Errors
    /// What SQLite says.
    pub async fn open(path: &Path) -> Result<Proof, StoreError> {
        let mut db = SqliteConnectOptions::new().filename(path).read_only(true).disable_statement_logging().connect().await?;
        sqlx::query("begin").execute(&mut db).await?;
        let is_bound: bool = sqlx::query_scalar("select exists (select 1 from pragma_table_info('record') where name = 'form')")
            .fetch_one(&mut db)
            .await?;
        Ok(Proof { db, is_bound })
    }

    /// Whether the file has the columns that bind what records rest on. A file from before has its chain and no more.
    pub fn is_bound(&self) -> bool {
        self.is_bound
    }

    async fn each(&mut self, sql: &'static str, mut take: impl FnMut(&SqliteRow)) -> Result<(), StoreError> {
        let mut rows = sqlx::query(sql).fetch(&mut self.db);
        while let Some(row) = rows.try_next().await? {
            take(&row);
        }
        Ok(())
    }

    /// The ids of all events that have a row or a record, as they lie in the file.
    pub async fn event_ids(&mut self) -> Result<Vec<Vec<u8>>, StoreError> {
        Ok(sqlx::query_scalar("select id from event union select event_id from record order by 1")
            .fetch_all(&mut self.db)
            .await?)
    }

    /// An event's row; `None` where there is none.
    pub async fn event(&mut self, id: &[u8]) -> Result<Option<Read<EventLine>>, StoreError> {
        let groups: Vec<(String, String)> =
            sqlx::query_as("select name, first_session from run_group where event_id = ? order by name")
                .bind(id)
                .fetch_all(&mut self.db)
                .await?;
        let row = sqlx::query("select * from event where id = ?").bind(id).fetch_optional(&mut self.db).await?;
        let line = |row: &SqliteRow| {
            let (id, edition): (Vec<u8>, Vec<u8>) = (row.try_get("id")?, row.try_get("edition_id")?);
            let (name, venue): (String, String) = (row.try_get("name")?, row.try_get("venue")?);
            let (day, zone): (String, String) = (row.try_get("day")?, row.try_get("zone")?);
            let (id, made_at) = (text(&id)?, row.try_get("made_at")?);
            let head =
                BoundEvent { id: &id, name: &name, venue: &venue, day: &day, zone: &zone, made_at, groups: &groups }.digest();
            Ok(EventLine { edition: text(&edition)?, digest: hex(&head), id })
        };
        Ok(row.map(|row| read(&row, "the event's row", line)))
    }

    /// The records of an event, in order.
    pub async fn records(&mut self, event: &[u8], mut take: impl FnMut(Read<Sealed>)) -> Result<(), StoreError> {
        let sql = if self.is_bound { "select * from record where event_id = ? order by place" } else { BEFORE };
        let mut rows = sqlx::query(sql).bind(event).fetch(&mut self.db);
        while let Some(row) = rows.try_next().await? {
            let place = row.try_get::<i64, _>("place").unwrap_or_default();
            let sealed = |row: &SqliteRow| RecordRow::from_row(row).map_err(StoreError::from).and_then(RecordRow::sealed);
            take(read(&row, &format!("the record in place {place}"), sealed));
        }
        Ok(())
    }

    /// Every edition of the sheet.
    pub async fn editions(&mut self, mut take: impl FnMut(Read<EditionLine>)) -> Result<(), StoreError> {
        let line = |row: &SqliteRow| {
            let (id, number): (Vec<u8>, i64) = (row.try_get("id")?, row.try_get("number")?);
            let (name, file, made_by): (&str, &str, &str) = (row.try_get("name")?, row.try_get("file")?, row.try_get("made_by")?);
            let edition = BoundEdition { number, name, file, made_at: row.try_get("made_at")?, made_by };
            Ok(EditionLine { id: text(&id)?, number, digest: hex(&edition.digest()) })
        };
        self.each("select * from edition order by number", |row| take(read(row, "an edition's row", line))).await
    }

    /// The entries of an event.
    pub async fn entries(&mut self, event: &[u8]) -> Result<Vec<Read<EntryLine>>, StoreError> {
        let rows = sqlx::query("select * from entry where event_id = ? order by id").bind(event).fetch_all(&mut self.db).await?;
        Ok(rows.iter().map(|row| read(row, "an entry's row", entry_line)).collect())
    }

    /// Entries of no event.
    pub async fn stray_entries(&mut self) -> Result<Vec<String>, StoreError> {
        let sql = "select lower(hex(id)) from entry where event_id not in (select id from event)";
        Ok(sqlx::query_scalar(sql).fetch_all(&mut self.db).await?)
    }

    /// Every deed of access, in order.
    pub async fn deeds(&mut self, mut take: impl FnMut(Read<DeedLine>)) -> Result<(), StoreError> {
        self.each("select * from access_deed order by id", |row| take(read(row, "a deed of access", deed_line))).await
    }

    /// The deeds that were noted before there was a chain.
    pub async fn earlier(&mut self) -> Result<Earlier, StoreError> {
        super::baseline::earlier(&mut self.db).await
    }

    /// Every link as it is, and whether its holder's name and salt belong together.
    pub async fn links(&mut self, mut take: impl FnMut(Read<(LinkClaim, bool)>)) -> Result<(), StoreError> {
        let claim = |row: &SqliteRow| {
            let row = LinkRow::from_row(row)?;
            let claim = row.claim()?;
            let fits = claim.holder.is_some() || row.holder.is_empty();
            Ok((claim, fits))
        };
        self.each("select * from access_link order by id", |row| take(read(row, "a link's row", claim))).await
    }

    /// Every device as it is.
    pub async fn devices(&mut self, mut take: impl FnMut(Read<DeviceClaim>)) -> Result<(), StoreError> {
        let claim = |row: &SqliteRow| DeviceRow::from_row(row)?.claim();
        self.each("select * from device order by id", |row| take(read(row, "a device's row", claim))).await
    }

    /// Every photo of an entry.
    pub async fn photos(&mut self, mut take: impl FnMut(Read<PhotoLine>)) -> Result<(), StoreError> {
        let line = |row: &SqliteRow| {
            let (id, entry): (Vec<u8>, Vec<u8>) = (row.try_get("id")?, row.try_get("entry_id")?);
            let (jpeg, noted): (&[u8], Option<&[u8]>) = (row.try_get("jpeg")?, row.try_get("digest")?);
            Ok(PhotoLine { id: text(&id)?, entry: text(&entry)?, noted: noted.map(lower), digest: hex(&digest(jpeg)) })
        };
        self.each("select id, entry_id, jpeg, digest from photo", |row| take(read(row, "a photo's row", line))).await
    }
}

fn entry_line(row: &SqliteRow) -> Result<EntryLine, StoreError> {
    let (id, event, mark): (Vec<u8>, Vec<u8>, Option<Vec<u8>>) =
        (row.try_get("id")?, row.try_get("event_id")?, row.try_get("driver_mark")?);
    let (number, car, group): (String, &str, &str) = (row.try_get("number")?, row.try_get("car")?, row.try_get("run_group")?);
    let (id, event, driver_mark) = (text(&id)?, text(&event)?, lower(&mark.unwrap_or_default()));
    let made_at = row.try_get("made_at")?;
    let line = RosterLine { id: &id, event: &event, number: &number, car, group, made_at, driver_mark: &driver_mark };
    Ok(EntryLine {
        digest: hex(&line.digest()),
        number_order: row.try_get("number_order")?,
        driver: row.try_get("driver")?,
        driver_salt: row.try_get("driver_salt")?,
        erased_at: row.try_get("erased_at")?,
        id,
        number,
        driver_mark,
    })
}

fn deed_line(row: &SqliteRow) -> Result<DeedLine, StoreError> {
    let id = |column: &str| -> Result<Option<String>, StoreError> {
        row.try_get::<Option<Vec<u8>>, _>(column)?.as_deref().map(text).transpose()
    };
    let says: Option<String> = row.try_get("says")?;
    let (before, hash): (Option<Vec<u8>>, Option<Vec<u8>>) = (row.try_get("before")?, row.try_get("hash")?);
    let chained = match (says, hash) {
        (None, None) => None,
        (says, hash) => Some((says.unwrap_or_default(), before.as_deref().map(lower), lower(&hash.unwrap_or_default()))),
    };
    let by = match (id("by_link_id")?, id("by_device_id")?) {
        (Some(link), Some(device)) => Some((link, device)),
        (None, None) => None,
        _ => return Err(StoreError::Unreadable("who did it: a link without a device, or a device without a link".into())),
    };
    Ok(DeedLine {
        place: row.try_get("id")?,
        link: id("link_id")?,
        what: row.try_get("what")?,
        by,
        at: row.try_get("at")?,
        chained,
    })
}
