//! Events and their run groups.

use super::writer::Writing;
use super::{StoreError, row};
use jiff::Timestamp;
use jiff::civil::{Date, Time};
use sqlx::{FromRow, SqliteConnection};
use uuid::Uuid;

/// One day at one place, judged by one edition of the sheet.
#[derive(Clone, Debug)]
pub struct Event {
    pub id: Uuid,
    pub name: String,
    pub venue: String,
    pub day: Date,
    /// An IANA time zone name, checked when the event was made.
    pub zone: String,
    pub edition: Uuid,
    pub made_at: Timestamp,
    /// In the order of their first sessions.
    pub groups: Vec<RunGroup>,
}

/// Cars that go out together.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RunGroup {
    pub name: String,
    /// On the event's own clock.
    pub first_session: Time,
}

#[derive(FromRow)]
struct EventRow {
    id: Vec<u8>,
    name: String,
    venue: String,
    day: String,
    zone: String,
    edition_id: Vec<u8>,
    made_at: i64,
    groups: String,
}

impl EventRow {
    fn event(self) -> Result<Event, StoreError> {
        let groups: Vec<(String, String)> =
            serde_json::from_str(&self.groups).map_err(|error| StoreError::Unreadable(error.to_string()))?;
        Ok(Event {
            id: row::id(&self.id)?,
            name: self.name,
            venue: self.venue,
            day: row::day(&self.day)?,
            zone: self.zone,
            edition: row::id(&self.edition_id)?,
            made_at: row::time(self.made_at)?,
            groups: groups
                .into_iter()
                .map(|(name, at)| Ok(RunGroup { name, first_session: row::clock(&at)? }))
                .collect::<Result<_, StoreError>>()?,
        })
    }
}

/// One statement for an event with its groups: every statement crosses to SQLite's thread and back.
const EVENT: &str = "select event.*, (
        select json_group_array(json_array(name, first_session))
        from (select name, first_session from run_group where event_id = event.id order by first_session, name)
    ) as groups from event";

/// Makes an event with its groups.
pub async fn add(db: &mut SqliteConnection, event: &Event) -> Result<(), StoreError> {
    sqlx::query("insert into event (id, name, venue, day, zone, edition_id, made_at) values (?, ?, ?, ?, ?, ?, ?)")
        .bind(&event.id.as_bytes()[..])
        .bind(&event.name)
        .bind(&event.venue)
        .bind(event.day.to_string())
        .bind(&event.zone)
        .bind(&event.edition.as_bytes()[..])
        .bind(event.made_at.as_millisecond())
        .execute(&mut *db)
        .await?;
    for group in &event.groups {
        sqlx::query("insert into run_group (event_id, name, first_session) values (?, ?, ?)")
            .bind(&event.id.as_bytes()[..])
            .bind(&group.name)
            .bind(group.first_session.strftime("%H:%M").to_string())
            .execute(&mut *db)
            .await?;
    }
    Ok(())
}

/// One event.
pub async fn one(db: &mut SqliteConnection, id: Uuid) -> Result<Option<Event>, StoreError> {
    let row: Option<EventRow> = sqlx::query_as(sqlx::AssertSqlSafe(format!("{EVENT} where event.id = ?")))
        .bind(&id.as_bytes()[..])
        .fetch_optional(db)
        .await?;
    row.map(EventRow::event).transpose()
}

/// Every event, the latest day first.
pub async fn all(db: &mut SqliteConnection) -> Result<Vec<Event>, StoreError> {
    let rows: Vec<EventRow> =
        sqlx::query_as(sqlx::AssertSqlSafe(format!("{EVENT} order by event.day desc, event.id desc"))).fetch_all(db).await?;
    rows.into_iter().map(EventRow::event).collect()
}

/// The edition by which an event's entries are judged.
pub async fn edition_of(db: &mut SqliteConnection, event: Uuid) -> Result<Option<Uuid>, StoreError> {
    let id: Option<Vec<u8>> =
        sqlx::query_scalar("select edition_id from event where id = ?").bind(&event.as_bytes()[..]).fetch_optional(db).await?;
    id.as_deref().map(row::id).transpose()
}

/// Sets the edition by which an event's entries are judged. A record of the event must say so in the same transaction.
pub async fn set_edition(db: &mut Writing, event: Uuid, edition: Uuid) -> Result<(), StoreError> {
    db.forget_event(event);
    sqlx::query("update event set edition_id = ? where id = ?")
        .bind(&edition.as_bytes()[..])
        .bind(&event.as_bytes()[..])
        .execute(&mut **db)
        .await?;
    Ok(())
}
