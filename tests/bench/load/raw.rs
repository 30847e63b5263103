//! The machine's own limits of writing: the same record into the same table of the same file, with nothing in front.

use super::client::Load;
use super::process::processor_time;
use sqlx::query::Query;
use sqlx::sqlite::{SqliteArguments, SqliteConnectOptions, SqliteJournalMode, SqliteRow, SqliteSynchronous};
use sqlx::{ConnectOptions, Connection, Row, Sqlite, SqliteConnection, ValueRef};
use std::path::Path;
use std::time::{Duration, Instant};

/// How many rows share a transaction.
const GROUP: u64 = 32;

async fn open(file: &Path) -> SqliteConnection {
    // As src/store/mod.rs opens the connection that writes.
    let options = SqliteConnectOptions::new()
        .filename(file)
        .journal_mode(SqliteJournalMode::Wal)
        .synchronous(SqliteSynchronous::Full)
        .foreign_keys(true);
    options.connect().await.expect("the file can be opened")
}

/// Moves what still lies in the log beside a file into the file, so that it can be copied.
pub async fn settle(file: &Path) {
    let mut db = open(file).await;
    sqlx::query("pragma wal_checkpoint(truncate)").execute(&mut db).await.expect("a checkpoint");
    db.close().await.expect("closed");
}

/// How many records a file has.
pub async fn count(file: &Path) -> u64 {
    let count: i64 = sqlx::query_scalar("select count(*) from record where entry_id is not null")
        .fetch_one(&mut open(file).await)
        .await
        .expect("a count");
    count as u64
}

/// A value of a column, as it is bound again.
enum Value {
    Nothing,
    Number(i64),
    Text(String),
    Bytes(Vec<u8>),
}

/// A submission as the program wrote it: the model of all rows that are written here.
struct Model {
    columns: Vec<String>,
    values: Vec<Value>,
    places: i64,
}

impl Model {
    async fn read(db: &mut SqliteConnection) -> Model {
        let newest = "select * from record where kind = 'submission' order by place desc limit 1";
        let row: SqliteRow = sqlx::query(newest).fetch_one(&mut *db).await.expect("a submission");
        let columns: Vec<String> =
            sqlx::query_scalar("select name from pragma_table_info('record')").fetch_all(&mut *db).await.expect("columns");
        let places = sqlx::query_scalar("select max(place) from record").fetch_one(db).await.expect("a place");
        let values = (0..columns.len()).map(|nth| value(&row, nth)).collect();
        Model { columns, values, places }
    }

    /// Binds the model's values, but for the place and the id.
    fn bind(&self, insert: &'static str, place: i64, id: impl Fn(&[u8]) -> Vec<u8>) -> Query<'_, Sqlite, SqliteArguments> {
        self.columns.iter().zip(&self.values).fold(sqlx::query(insert), |query, (column, value)| match (column.as_str(), value) {
            ("id", Value::Bytes(model)) => query.bind(id(model)),
            ("place", _) => query.bind(place),
            (_, Value::Nothing) => query.bind(None::<i64>),
            (_, Value::Number(number)) => query.bind(*number),
            (_, Value::Text(text)) => query.bind(text.as_str()),
            (_, Value::Bytes(bytes)) => query.bind(bytes.as_slice()),
        })
    }

    /// The number of the place's parameter.
    fn place_at(&self) -> usize {
        1 + self.columns.iter().position(|column| column == "place").expect("a place")
    }
}

fn value(row: &SqliteRow, nth: usize) -> Value {
    let raw = row.try_get_raw(nth).expect("a value");
    if raw.is_null() {
        return Value::Nothing;
    }
    match raw.type_info().to_string().as_str() {
        "INTEGER" => Value::Number(row.get(nth)),
        "TEXT" => Value::Text(row.get(nth)),
        _ => Value::Bytes(row.get(nth)),
    }
}

/// In the order of time, as a device's ids are.
fn later(id: &[u8], by: i64) -> Vec<u8> {
    let id = u128::from_be_bytes(id.try_into().expect("16 bytes"));
    (id + ((by as u128) << 48)).to_be_bytes().to_vec()
}

/// One loop that inserts through sqlx, one statement a row, 32 rows a transaction.
pub async fn grouped(file: &Path, span: Duration) -> Load {
    let mut db = open(file).await;
    let model = Model::read(&mut db).await;
    let marks = vec!["?"; model.columns.len()].join(", ");
    let insert = format!("insert into record ({}) values ({marks}) on conflict (id) do nothing", model.columns.join(", "));
    // Static, as the program's own statement is: it is prepared once.
    let insert: &'static str = insert.leak();
    measure(span, async |done| {
        let mut transaction = db.begin_with("begin immediate").await.expect("a transaction");
        for nth in 1..=GROUP as i64 {
            let place = model.places + done as i64 + nth;
            model.bind(insert, place, |id| later(id, place)).execute(&mut *transaction).await.expect("an insert");
        }
        transaction.commit().await.expect("a commit");
    })
    .await
}

/// The same rows, 32 in one statement: what SQLite and the disk can do with nobody to wait for.
pub async fn inside(file: &Path, span: Duration) -> Load {
    let mut db = open(file).await;
    let model = Model::read(&mut db).await;
    let made = model.columns.iter().enumerate().map(|(nth, column)| match column.as_str() {
        "id" => format!("unhex(printf('%032x', ?{} + nth))", model.place_at()),
        "place" => format!("?{} + nth", nth + 1),
        _ => format!("?{}", nth + 1),
    });
    let insert = format!(
        "with recursive rows (nth) as (select 1 union all select nth + 1 from rows where nth < {GROUP})
         insert into record ({}) select {} from rows",
        model.columns.join(", "),
        made.collect::<Vec<_>>().join(", ")
    );
    let insert: &'static str = insert.leak();
    measure(span, async |done| {
        let query = model.bind(insert, model.places + done as i64, |id| id.to_vec());
        query.execute(&mut db).await.expect("an insert");
    })
    .await
}

/// Writes groups for a while; `write(rows so far)` writes one.
async fn measure(span: Duration, mut write: impl AsyncFnMut(u64)) -> Load {
    let (began, before) = (Instant::now(), processor_time("self"));
    let mut rows = 0;
    while began.elapsed() < span {
        write(rows).await;
        rows += GROUP;
    }
    let processor = before.zip(processor_time("self")).map(|(before, after)| after - before);
    Load { answered: rows, seconds: began.elapsed().as_secs_f64(), processor, ..Load::default() }
}
