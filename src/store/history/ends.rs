//! The ends of the chains, and what the next record rests on. The writer remembers them, so that a record costs one statement.

use crate::rules::chain::{BoundEdition, BoundEvent, Hash, RosterLine};
use crate::store::{StoreError, row};
use sqlx::{FromRow, SqliteConnection};
use std::collections::HashSet;
use uuid::Uuid;

/// What the next record of an event follows and rests on.
#[derive(Clone, Copy, Debug)]
pub struct EventEnd {
    /// The place of the event's newest record, 0 without one.
    pub place: i64,
    pub hash: Option<Hash>,
    /// The edition in force.
    pub edition: Uuid,
    pub edition_digest: Hash,
    /// Of the event's head.
    pub digest: Hash,
}

/// What the next record of an entry follows and rests on.
#[derive(Clone, Debug)]
pub struct EntryEnd {
    pub hash: Option<Hash>,
    /// How many submissions the entry has.
    pub submissions: u32,
    /// How many bytes their bodies take together.
    pub sheet_bytes: u64,
    /// Of the entry's line on the roster.
    pub digest: Hash,
    /// The ids of the entry's records.
    pub ids: HashSet<Uuid>,
    /// Ids that a record of the entry names as seen and that are not here yet. Only a record of such an id can close a circle.
    pub awaited: HashSet<Uuid>,
}

impl EntryEnd {
    /// A record is there now.
    pub fn take(&mut self, id: Uuid, seen: impl IntoIterator<Item = Uuid>) {
        self.ids.insert(id);
        self.awaited.remove(&id);
        self.awaited.extend(seen.into_iter().filter(|seen| !self.ids.contains(seen)));
    }
}

/// Both, for one record.
#[derive(Clone, Copy, Debug)]
pub struct Ends {
    pub event: EventEnd,
    pub entry_hash: Option<Hash>,
    pub submissions: u32,
    pub sheet_bytes: u64,
    pub entry_digest: Hash,
    /// A record of the entry names the new one as seen.
    pub is_awaited: bool,
}

impl Ends {
    /// For a record of this id.
    pub fn of(event: EventEnd, entry: &EntryEnd, new: Uuid) -> Ends {
        let is_awaited = entry.awaited.contains(&new);
        Ends {
            event,
            entry_hash: entry.hash,
            submissions: entry.submissions,
            sheet_bytes: entry.sheet_bytes,
            entry_digest: entry.digest,
            is_awaited,
        }
    }
}

fn hash(bytes: Option<Vec<u8>>) -> Result<Option<Hash>, StoreError> {
    bytes.map(|bytes| bytes.try_into().map_err(|_| StoreError::Unreadable("a hash".into()))).transpose()
}

fn gone(what: &str) -> StoreError {
    StoreError::Unreadable(format!("{what} of a new record is not here"))
}

/// Reads what the next record of an event follows.
pub async fn read_event_end(db: &mut SqliteConnection, event: Uuid) -> Result<EventEnd, StoreError> {
    #[derive(FromRow)]
    struct End {
        place: i64,
        hash: Option<Vec<u8>>,
        edition_id: Vec<u8>,
        edition_number: i64,
        edition_name: String,
        edition_file: String,
        edition_made_at: i64,
        edition_made_by: String,
        name: String,
        venue: String,
        day: String,
        zone: String,
        made_at: i64,
        groups: String,
    }
    let end: Option<End> = sqlx::query_as(
        "select coalesce((select max(place) from record where event_id = ?1), 0) as place,
                (select hash from record where event_id = ?1 order by place desc limit 1) as hash,
                edition.id as edition_id, edition.number as edition_number, edition.name as edition_name,
                edition.file as edition_file, edition.made_at as edition_made_at, edition.made_by as edition_made_by,
                event.name, event.venue, event.day, event.zone, event.made_at,
                (select json_group_array(json_array(name, first_session))
                 from (select name, first_session from run_group where event_id = ?1 order by name)) as groups
         from event join edition on edition.id = event.edition_id where event.id = ?1",
    )
    .bind(&event.as_bytes()[..])
    .fetch_optional(db)
    .await?;
    let end = end.ok_or_else(|| gone("the event"))?;
    let edition = BoundEdition {
        number: end.edition_number,
        name: &end.edition_name,
        file: &end.edition_file,
        made_at: end.edition_made_at,
        made_by: &end.edition_made_by,
    };
    let groups: Vec<(String, String)> =
        serde_json::from_str(&end.groups).map_err(|error| StoreError::Unreadable(error.to_string()))?;
    let head = BoundEvent {
        id: &event.to_string(),
        name: &end.name,
        venue: &end.venue,
        day: &end.day,
        zone: &end.zone,
        made_at: end.made_at,
        groups: &groups,
    };
    Ok(EventEnd {
        place: end.place,
        hash: hash(end.hash)?,
        edition: row::id(&end.edition_id)?,
        edition_digest: edition.digest(),
        digest: head.digest(),
    })
}

/// Reads what the next record of an entry follows.
pub async fn read_entry_end(db: &mut SqliteConnection, entry: Uuid) -> Result<EntryEnd, StoreError> {
    let digest = roster_digest(db, entry).await?.ok_or_else(|| gone("the entry"))?;
    let mut end = EntryEnd { hash: None, submissions: 0, sheet_bytes: 0, digest, ids: HashSet::new(), awaited: HashSet::new() };
    #[derive(FromRow)]
    struct Kept {
        id: Vec<u8>,
        kind: String,
        seen: String,
        hash: Vec<u8>,
        bytes: i64,
    }
    let rows: Vec<Kept> =
        sqlx::query_as("select id, kind, seen, hash, octet_length(body) as bytes from record where entry_id = ? order by place")
            .bind(&entry.as_bytes()[..])
            .fetch_all(db)
            .await?;
    for Kept { id, kind, seen, hash: last, bytes } in rows {
        end.hash = hash(Some(last))?;
        if kind == "submission" {
            end.submissions += 1;
            end.sheet_bytes += u64::try_from(bytes).unwrap_or_default();
        }
        // A list that cannot be read names nobody.
        end.take(row::id(&id)?, row::ids_from_json(&seen).unwrap_or_default());
    }
    Ok(end)
}

/// The digest of an entry's line on the roster, from its columns.
pub async fn roster_digest(db: &mut SqliteConnection, entry: Uuid) -> Result<Option<Hash>, StoreError> {
    #[derive(FromRow)]
    struct Line {
        event_id: Vec<u8>,
        number: String,
        car: String,
        run_group: String,
        made_at: i64,
        driver_mark: Option<Vec<u8>>,
    }
    let line: Option<Line> =
        sqlx::query_as("select event_id, number, car, run_group, made_at, driver_mark from entry where id = ?")
            .bind(&entry.as_bytes()[..])
            .fetch_optional(db)
            .await?;
    let Some(line) = line else { return Ok(None) };
    let line = RosterLine {
        id: &entry.to_string(),
        event: &row::id(&line.event_id)?.to_string(),
        number: &line.number,
        car: &line.car,
        group: &line.run_group,
        made_at: line.made_at,
        driver_mark: &data_encoding::HEXLOWER.encode(&line.driver_mark.unwrap_or_default()),
    };
    Ok(Some(line.digest()))
}
