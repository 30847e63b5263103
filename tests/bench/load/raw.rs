//! The machine's own limit: the same record inserted through sqlx by one loop, 32 a transaction, no savepoint.

use sqlx::sqlite::{SqliteConnectOptions, SqliteJournalMode, SqliteSynchronous};
use sqlx::{ConnectOptions, Connection};
use std::path::Path;
use std::sync::Arc;
use std::time::{Duration, Instant};
use uuid::Uuid;
use witnessmark::store::Store;

const GROUP: usize = 32;

/// Inserts a second, into a table of the program's own form (its indexes and triggers too) in a file beside the club's.
#[expect(clippy::disallowed_methods, reason = "a measurement wants ids as a device makes them")]
pub async fn inserts(folder: &Path, span: Duration, body: &str) -> f64 {
    let path = folder.join("raw.sqlite");
    for ending in ["", "-wal", "-shm"] {
        let _ = std::fs::remove_file(folder.join(format!("raw.sqlite{ending}")));
    }
    Store::open(&path, Arc::new(|_| ())).await.expect("a database").close().await;
    let options = SqliteConnectOptions::new()
        .filename(&path)
        .journal_mode(SqliteJournalMode::Wal)
        .synchronous(SqliteSynchronous::Full)
        // There is no event and no entry in this file; the look-ups would cost the raw measure a little more.
        .foreign_keys(false);
    let mut db = options.connect().await.expect("a connection");
    let ids: Vec<Uuid> = (0..7).map(|_| Uuid::now_v7()).collect();
    let began = Instant::now();
    let mut count = 0u32;
    while began.elapsed() < span {
        let mut transaction = db.begin_with("BEGIN IMMEDIATE").await.expect("a transaction");
        for _ in 0..GROUP {
            count += 1;
            sqlx::query(
                "insert into record (id, event_id, entry_id, place, kind, seen, body, number, made_at, arrived_at, maker, maker_salt,
                     maker_mark, maker_role, link_id, device_id, counts, entry_before, event_before, hash)
                 values (?, ?, ?, ?, 'submission', '[]', ?, 1, 1, 1, 'Ines Okafor', ?, ?, 'driver', ?, ?, 1, ?, ?, ?)",
            )
            .bind(&Uuid::now_v7().as_bytes()[..])
            .bind(&ids[0].as_bytes()[..])
            .bind(&ids[1 + count as usize % 4].as_bytes()[..])
            .bind(count)
            .bind(body)
            .bind("00112233445566778899aabbccddeeff00112233")
            .bind(&[7u8; 32][..])
            .bind(&ids[5].as_bytes()[..])
            .bind(&ids[6].as_bytes()[..])
            .bind(&[8u8; 32][..])
            .bind(&[9u8; 32][..])
            .bind(&[10u8; 32][..])
            .execute(&mut *transaction)
            .await
            .expect("an insert");
        }
        transaction.commit().await.expect("a commit");
    }
    let seconds = began.elapsed().as_secs_f64();
    db.close().await.expect("closed");
    f64::from(count) / seconds
}
