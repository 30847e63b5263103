//! Reading histories. Sheets are large and most of them are past: a submission's body is read only where it is in force.

use super::{Kind, Past, Record, RecordRow};
use crate::rules::graph::Graph;
use crate::rules::standing::in_force;
use crate::store::{StoreError, apart, row};
use jiff::Timestamp;
use sqlx::sqlite::SqliteRow;
use sqlx::{FromRow, Row as _, SqliteConnection};
use std::collections::{BTreeMap, BTreeSet, HashMap};
use uuid::Uuid;

/// More rows than these are read apart.
const MANY: usize = 100;

/// All columns of a record, a submission's body left out.
macro_rules! without_sheets {
    ($where:literal) => {
        concat!(
            "select id, event_id, entry_id, place, kind, seen, case kind when 'submission' then '' else body end as body, number,
                 made_at, arrived_at, maker, maker_salt, maker_mark, maker_role, link_id, device_id, counts, form, edition_id,
                 edition_digest, event_digest, entry_digest, entry_before, event_before, hash
             from record where ",
            $where,
            " order by place"
        )
    };
}

/// The history of an entry, without the bodies of submissions that are not in force.
pub async fn of_entry(db: &mut SqliteConnection, entry: Uuid) -> Result<Past, StoreError> {
    let past = rows_of_entry(db, entry).await?;
    with_sheets(db, past).await
}

/// The same as it was at a time: what arrived later is left out.
pub async fn of_entry_until(db: &mut SqliteConnection, entry: Uuid, until: Timestamp) -> Result<Past, StoreError> {
    let mut past = rows_of_entry(db, entry).await?;
    past.records.retain(|record| record.arrived_at <= until);
    with_sheets(db, past).await
}

/// The history of an entry with every body.
pub async fn whole_of_entry(db: &mut SqliteConnection, entry: Uuid) -> Result<Past, StoreError> {
    let rows =
        sqlx::query("select * from record where entry_id = ? order by place").bind(&entry.as_bytes()[..]).fetch_all(db).await?;
    in_order(rows.len(), move || rows.iter().fold(Past::default(), taken)).await
}

/// Does some work on so many rows: apart, where they are many.
async fn in_order<T: Send + 'static>(rows: usize, work: impl FnOnce() -> T + Send + 'static) -> Result<T, StoreError> {
    if rows > MANY { apart(work).await } else { Ok(work()) }
}

async fn rows_of_entry(db: &mut SqliteConnection, entry: Uuid) -> Result<Past, StoreError> {
    let rows = sqlx::query(without_sheets!("entry_id = ?")).bind(&entry.as_bytes()[..]).fetch_all(db).await?;
    in_order(rows.len(), move || rows.iter().fold(Past::default(), taken)).await
}

/// The histories of the entries of an event, as [`of_entry`] gives them. A row whose entry cannot be read stands under the nil id.
pub async fn of_event(db: &mut SqliteConnection, event: Uuid) -> Result<BTreeMap<Uuid, Past>, StoreError> {
    let rows = sqlx::query(without_sheets!("event_id = ? and entry_id is not null"))
        .bind(&event.as_bytes()[..])
        .fetch_all(&mut *db)
        .await?;
    let (mut pasts, wanted) = in_order(rows.len(), move || {
        let mut pasts: BTreeMap<Uuid, Past> = BTreeMap::new();
        for row in &rows {
            let entry: Option<Uuid> = row.try_get::<Vec<u8>, _>("entry_id").ok().and_then(|id| row::id(&id).ok());
            let past = pasts.entry(entry.unwrap_or_default()).or_default();
            *past = taken(std::mem::take(past), row);
        }
        let wanted: Vec<Uuid> = pasts.values_mut().flat_map(find_sheets).collect();
        (pasts, wanted)
    })
    .await?;
    let mut bodies = bodies_of(db, &wanted).await?;
    let wanted: BTreeSet<Uuid> = wanted.into_iter().collect();
    pasts.values_mut().for_each(|past| take_sheets(past, &wanted, &mut bodies));
    Ok(pasts)
}

/// A history with one row more. One that cannot be read is a sentence.
fn taken(mut past: Past, row: &SqliteRow) -> Past {
    match RecordRow::from_row(row).map_err(StoreError::from).and_then(RecordRow::record) {
        Ok(record) => past.records.push(record),
        Err(error) => {
            let place = row.try_get::<i64, _>("place").map_or_else(|_| "?".into(), |place| place.to_string());
            past.unreadable.push(cannot_be_read(&place, &error));
        }
    }
    past
}

fn cannot_be_read(place: &dyn std::fmt::Display, error: &dyn std::fmt::Display) -> String {
    format!("The record in place {place} of the event cannot be read: {error}.")
}

/// Builds the graph and gives the submissions in force.
fn find_sheets(past: &mut Past) -> Vec<Uuid> {
    let graph = Graph::new(past.records.iter().map(|record| (record.id, record.seen.iter().copied())));
    let sheets = past.records.iter().filter(|record| record.kind == Kind::Submission);
    let places: Vec<usize> = sheets.filter_map(|record| graph.place(&record.id)).collect();
    let newest = in_force(&graph, places).into_iter().map(|place| graph.id(place)).collect();
    past.graph = Some(graph);
    newest
}

/// The history with the bodies of the submissions in force.
async fn with_sheets(db: &mut SqliteConnection, mut past: Past) -> Result<Past, StoreError> {
    let (mut past, wanted) = in_order(past.records.len(), move || {
        let wanted = find_sheets(&mut past);
        (past, wanted)
    })
    .await?;
    let mut bodies = bodies_of(db, &wanted).await?;
    take_sheets(&mut past, &wanted.into_iter().collect(), &mut bodies);
    Ok(past)
}

/// Puts the bodies to their records. A record whose body is no text cannot be read.
fn take_sheets(past: &mut Past, wanted: &BTreeSet<Uuid>, bodies: &mut HashMap<Uuid, Result<String, String>>) {
    let mut unreadable = Vec::new();
    past.records.retain_mut(|record| match wanted.contains(&record.id).then(|| bodies.remove(&record.id)) {
        None => true,
        Some(Some(Ok(body))) => {
            record.body = body;
            true
        }
        Some(found) => {
            let error = found.and_then(Result::err).unwrap_or_else(|| "its body is not there".into());
            unreadable.push(cannot_be_read(&record.place, &error));
            false
        }
    });
    if !unreadable.is_empty() {
        // It has a record that is not among these.
        past.graph = None;
        past.unreadable.append(&mut unreadable);
    }
}

/// Bodies by the id of their record; a sentence for one that is no text.
async fn bodies_of(db: &mut SqliteConnection, ids: &[Uuid]) -> Result<HashMap<Uuid, Result<String, String>>, StoreError> {
    if ids.is_empty() {
        return Ok(HashMap::new());
    }
    let listed = serde_json::Value::from(ids.iter().map(|id| id.simple().to_string()).collect::<Vec<_>>()).to_string();
    let rows = sqlx::query(
        "select record.id, record.body from json_each(?) as wanted cross join record on record.id = unhex(wanted.value)",
    )
    .bind(listed)
    .fetch_all(db)
    .await?;
    let read = |row: &SqliteRow| {
        let id = row::id(&row.try_get::<Vec<u8>, _>("id")?)?;
        Ok((id, row.try_get::<String, _>("body").map_err(|error| StoreError::from(error).to_string())))
    };
    rows.iter().map(read).collect()
}

/// These records, each with its body where it can be read.
pub async fn with_bodies(db: &mut SqliteConnection, mut records: Vec<Record>) -> Result<Vec<Record>, StoreError> {
    let ids: Vec<Uuid> = records.iter().filter(|record| record.body.is_empty()).map(|record| record.id).collect();
    let mut bodies = bodies_of(db, &ids).await?;
    for record in &mut records {
        if let Some(Ok(body)) = bodies.remove(&record.id) {
            record.body = body;
        }
    }
    Ok(records)
}

/// The body of a record of an entry; `None` where there is no such record.
pub async fn body(db: &mut SqliteConnection, entry: Uuid, id: Uuid) -> Result<Option<String>, StoreError> {
    Ok(sqlx::query_scalar("select body from record where id = ? and entry_id = ?")
        .bind(&id.as_bytes()[..])
        .bind(&entry.as_bytes()[..])
        .fetch_optional(db)
        .await?)
}

/// When a record of an entry arrived; `None` where there is no such record.
pub async fn arrived_at(db: &mut SqliteConnection, entry: Uuid, id: Uuid) -> Result<Option<Timestamp>, StoreError> {
    let at: Option<i64> = sqlx::query_scalar("select arrived_at from record where id = ? and entry_id = ?")
        .bind(&id.as_bytes()[..])
        .bind(&entry.as_bytes()[..])
        .fetch_optional(db)
        .await?;
    at.map(row::time).transpose()
}
