//! The club itself, and its tech sheets in their editions.

use super::{StoreError, row};
use jiff::Timestamp;
use sqlx::{FromRow, SqliteConnection};
use uuid::Uuid;

/// The club's name; `None` while the database is new.
pub async fn name(db: &mut SqliteConnection) -> Result<Option<String>, StoreError> {
    Ok(sqlx::query_scalar("select name from club where id = 1").fetch_optional(db).await?)
}

/// Gives the club its name.
pub async fn set_name(db: &mut SqliteConnection, name: &str) -> Result<(), StoreError> {
    sqlx::query("insert into club (id, name) values (1, ?) on conflict (id) do update set name = excluded.name")
        .bind(name)
        .execute(db)
        .await?;
    Ok(())
}

/// Whether the club asks its organizers for a passkey beside the passphrase.
pub async fn asks_second(db: &mut SqliteConnection) -> Result<bool, StoreError> {
    Ok(sqlx::query_scalar("select second_factor from club where id = 1").fetch_optional(db).await?.unwrap_or(false))
}

/// Sets whether the club asks its organizers for a passkey beside the passphrase.
pub async fn set_asks_second(db: &mut SqliteConnection, asks: bool) -> Result<(), StoreError> {
    sqlx::query("update club set second_factor = ? where id = 1").bind(asks).execute(db).await?;
    Ok(())
}

/// A tech sheet as it was given, with its number.
#[derive(Clone, Debug)]
pub struct Edition {
    pub id: Uuid,
    pub number: u32,
    pub name: String,
    pub file: String,
    pub made_at: Timestamp,
    pub made_by: String,
}

#[derive(FromRow)]
struct EditionRow {
    id: Vec<u8>,
    number: u32,
    name: String,
    file: String,
    made_at: i64,
    made_by: String,
}

impl EditionRow {
    fn edition(self) -> Result<Edition, StoreError> {
        let (id, made_at) = (row::id(&self.id)?, row::time(self.made_at)?);
        Ok(Edition { id, number: self.number, name: self.name, file: self.file, made_at, made_by: self.made_by })
    }
}

/// Adds an edition; its number is the next one. Gives the number.
pub async fn add_edition(db: &mut SqliteConnection, edition: &Edition) -> Result<u32, StoreError> {
    Ok(sqlx::query_scalar(
        "insert into edition (id, number, name, file, made_at, made_by)
         values (?, (select coalesce(max(number), 0) + 1 from edition), ?, ?, ?, ?) returning number",
    )
    .bind(&edition.id.as_bytes()[..])
    .bind(&edition.name)
    .bind(&edition.file)
    .bind(edition.made_at.as_millisecond())
    .bind(&edition.made_by)
    .fetch_one(db)
    .await?)
}

/// One edition.
pub async fn edition(db: &mut SqliteConnection, id: Uuid) -> Result<Option<Edition>, StoreError> {
    let row: Option<EditionRow> =
        sqlx::query_as("select * from edition where id = ?").bind(&id.as_bytes()[..]).fetch_optional(db).await?;
    row.map(EditionRow::edition).transpose()
}

/// Every edition, the newest first.
pub async fn editions(db: &mut SqliteConnection) -> Result<Vec<Edition>, StoreError> {
    let rows: Vec<EditionRow> = sqlx::query_as("select * from edition order by number desc").fetch_all(db).await?;
    rows.into_iter().map(EditionRow::edition).collect()
}
