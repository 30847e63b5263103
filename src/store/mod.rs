//! The store: SQLite, and nothing else in the program knows SQL.
//!
//! Readers share a pool. All writing goes through one door, [`Store::write`] and its fast lane [`Store::append`]: a single
//! writer takes all that waits, puts it into one `BEGIN IMMEDIATE` and answers each only after the commit.

pub mod access;
pub mod account;
mod apart;
mod baseline;
pub mod club;
pub mod deed;
pub mod device;
pub mod draft;
pub mod entry;
pub mod event;
pub mod event_key;
pub mod form_used;
pub mod garage;
pub mod garage_ends;
pub mod history;
pub mod known_browser;
pub mod log;
pub mod personal;
pub mod phone_setting;
pub mod photo;
mod private;
pub mod proof;
pub mod row;
mod writer;

pub use apart::apart;
pub use baseline::Chance;
pub use writer::{Listener, Touch, Writing};

use crate::rules::chain::Sealed;
use sqlx::migrate::{MigrateError, Migrator};
use sqlx::pool::PoolConnection;
use sqlx::sqlite::{SqliteConnectOptions, SqliteJournalMode, SqlitePoolOptions, SqliteSynchronous};
use sqlx::{ConnectOptions, Connection, Sqlite, SqliteConnection, SqlitePool};
use std::path::{Path, PathBuf};
use std::time::Duration;

static MIGRATIONS: Migrator = sqlx::migrate!();

/// How many connections read at the same time.
const READERS: u32 = 4;

/// Why the store could not do what it was asked.
#[derive(Debug, thiserror::Error)]
pub enum StoreError {
    #[error("the database answered: {0}")]
    Database(#[from] sqlx::Error),
    #[error("a stored value cannot be read: {0}")]
    Unreadable(String),
    #[error("the transaction could not be finished: {0}")]
    NotCommitted(String),
    #[error("the store is closed")]
    Closed,
    #[error("a deed broke off in the middle")]
    BrokeOff,
}

impl StoreError {
    /// Whether a unique or primary key was met: sqlx does not name the constraint, so this is asked here, once.
    pub fn is_taken(&self) -> bool {
        matches!(self, StoreError::Database(sqlx::Error::Database(error)) if error.is_unique_violation())
    }
}

/// Why a database file could not be opened.
#[derive(Debug, thiserror::Error)]
pub enum OpenError {
    #[error(
        "{path}: this database was written by a newer Witnessmark (its step {version} is not known here). Start the newer program, or restore a backup made by this one."
    )]
    Newer { path: PathBuf, version: i64 },
    #[error("{path}: {source}")]
    Private { path: PathBuf, source: std::io::Error },
    #[error("{path}: {source}")]
    Database { path: PathBuf, source: sqlx::Error },
    #[error("{path}: the database could not be brought up to date: {source}")]
    Migration { path: PathBuf, source: MigrateError },
    #[error("{path}: what was written before could not be brought under the stronger rule: {source}")]
    Baseline { path: PathBuf, source: StoreError },
}

/// One club's database.
#[derive(Clone)]
pub struct Store {
    readers: SqlitePool,
    writer: writer::Writer,
    options: SqliteConnectOptions,
}

impl Store {
    /// Opens the database file, makes it if it is not there, and brings it up to date. It is private to this user from then on.
    ///
    /// # Errors
    /// [`OpenError::Newer`] where the file was written by a later version, [`OpenError::Private`] where it cannot be made; otherwise
    /// what SQLite says.
    pub async fn open(path: &Path, listener: Listener) -> Result<Store, OpenError> {
        private::keep(path).map_err(|source| OpenError::Private { path: path.to_owned(), source })?;
        let database = |source| OpenError::Database { path: path.to_owned(), source };
        let options = SqliteConnectOptions::new()
            .filename(path)
            .create_if_missing(true)
            .journal_mode(SqliteJournalMode::Wal)
            .synchronous(SqliteSynchronous::Full)
            .foreign_keys(true)
            // What is erased on request is written over, not only unlinked.
            .pragma("secure_delete", "on")
            .busy_timeout(Duration::from_secs(10));
        let mut connection: SqliteConnection = options.connect().await.map_err(database)?;
        MIGRATIONS.run(&mut connection).await.map_err(|source| match source {
            MigrateError::VersionMissing(version) | MigrateError::VersionTooNew(version, _) => {
                OpenError::Newer { path: path.to_owned(), version }
            }
            source => OpenError::Migration { path: path.to_owned(), source },
        })?;
        let readers = SqlitePoolOptions::new()
            .max_connections(READERS)
            .connect_with(options.clone().read_only(true).create_if_missing(false))
            .await
            .map_err(database)?;
        Ok(Store { readers, writer: writer::Writer::start(connection, listener), options })
    }

    /// Binds what an older file has and its records do not bind yet: see `baseline.rs`.
    ///
    /// # Errors
    /// What the database says; nothing is changed then.
    pub async fn bind_what_is_there(&self, chance: Chance) -> Result<(), StoreError> {
        let is_wanted = baseline::is_wanted(&mut *self.read().await?).await?;
        match is_wanted {
            true => self.write(Touch::All, move |db| Box::pin(async move { baseline::bind(db, chance).await })).await,
            false => Ok(()),
        }
    }

    /// The database's file.
    pub fn file(&self) -> &Path {
        self.options.get_filename()
    }

    /// A connection to read with: it sees all that was committed before, and cannot write.
    pub async fn read(&self) -> Result<PoolConnection<Sqlite>, StoreError> {
        Ok(self.readers.acquire().await?)
    }

    /// Empties the journal into the database file. What was erased is written over in the file, but the journal keeps old pages
    /// until it is emptied.
    ///
    /// # Errors
    /// What SQLite says; [`StoreError::NotCommitted`] where readers held the journal for longer than the database waits.
    pub async fn tidy(&self) -> Result<(), StoreError> {
        let mut db = self.options.clone().connect().await?;
        let (busy, _, _): (i64, i64, i64) = sqlx::query_as("pragma wal_checkpoint(truncate)").fetch_one(&mut db).await?;
        db.close().await?;
        if busy == 0 { Ok(()) } else { Err(StoreError::NotCommitted("the journal is in use".into())) }
    }

    /// Ends the writer after all that waits is written. Later writes are refused.
    pub async fn close(&self) {
        self.readers.close().await;
        self.writer.close().await;
    }
}

/// The whole history of a database file as it was hashed, read without changing anything in the file.
///
/// # Errors
/// What SQLite says, or a value that cannot be read.
pub async fn sealed_records(path: &Path) -> Result<Vec<Sealed>, StoreError> {
    let mut db = SqliteConnectOptions::new().filename(path).read_only(true).connect().await?;
    history::sealed(&mut db, None).await
}
