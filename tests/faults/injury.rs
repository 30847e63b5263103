//! Ways to hurt the database of a running club, and to look whether anything stayed behind.

use crate::club::{Club, css};
use sqlx::{AssertSqlSafe, SqliteConnection};
use std::collections::BTreeMap;
use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};
use witnessmark::acts::House;
use witnessmark::acts::state;
use witnessmark::rules::chain::Sealed;
use witnessmark::rules::standing::Standing;
use witnessmark::rules::units::Units;
use witnessmark::store::{StoreError, Touch, history};

/// Every row of every table, as text.
pub type Rows = BTreeMap<String, Vec<String>>;

/// All there is: the same before and after means that nothing was changed.
pub async fn everything(house: &House) -> Rows {
    let mut db = house.store.read().await.expect("a reader");
    rows_of_all_tables(&mut db).await
}

pub async fn rows_of_all_tables(db: &mut SqliteConnection) -> Rows {
    let tables: Vec<String> = sqlx::query_scalar("select name from sqlite_master where type = 'table' order by name")
        .fetch_all(&mut *db)
        .await
        .expect("tables");
    let mut all = BTreeMap::new();
    for table in tables {
        let columns: Vec<String> = sqlx::query_scalar("select 'quote(' || name || ')' from pragma_table_info(?)")
            .bind(&table)
            .fetch_all(&mut *db)
            .await
            .expect("columns");
        let select = format!("select {} as row from {table} order by row", columns.join(" || ' ' || "));
        let rows: Vec<String> = sqlx::query_scalar(AssertSqlSafe(select)).fetch_all(&mut *db).await.expect("rows");
        all.insert(table, rows);
    }
    all
}

/// The whole history as it was chained.
pub async fn sealed(house: &House) -> Vec<Sealed> {
    let mut db = house.store.read().await.expect("a reader");
    history::sealed(&mut db, None).await.expect("the history can be read")
}

/// Nothing was changed, but for the tables named. Says which rows came or went, not all there are.
pub fn assert_unchanged(before: &Rows, after: &Rows, but_for: &[&str], why: &str) {
    assert_eq!(before.keys().collect::<Vec<_>>(), after.keys().collect::<Vec<_>>(), "{why}: the tables");
    for (table, rows) in before.iter().filter(|(table, _)| !but_for.contains(&table.as_str())) {
        let other = |rows: &[String], than: &[String]| -> Vec<String> {
            rows.iter().filter(|row| !than.contains(row)).map(|row| row.chars().take(160).collect()).collect()
        };
        let (gone, come) = (other(rows, &after[table]), other(&after[table], rows));
        assert!(rows == &after[table], "{why}: table {table} is not as it was; gone: {gone:?}; come: {come:?}");
    }
}

/// Runs SQL on the one connection that writes, as a deed of its own.
pub async fn on_the_writer(house: &House, sql: &str) -> Result<(), StoreError> {
    let sql = sql.to_owned();
    let run = house.store.write::<(), StoreError, _>(Touch::Nothing, move |db| {
        Box::pin(async move {
            sqlx::raw_sql(AssertSqlSafe(sql)).execute(&mut **db).await?;
            Ok(())
        })
    });
    run.await
}

/// Says that something changed, and changes nothing.
pub async fn touch(house: &House, touch: Touch) {
    house.store.write::<(), StoreError, _>(touch, |_| Box::pin(async { Ok(()) })).await.expect("the writer works");
}

/// Waits until all that was under way when this was called is written and told.
pub async fn settle(house: &House) {
    on_the_writer(house, "select 1").await.expect("the writer still works");
}

/// How a change of a row fails.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Failing {
    /// The statement is undone and nothing else, as when a constraint is broken.
    Statement,
    /// SQLite ends the whole transaction by itself, as it may on a full or broken disk (sqlite.org, "Transaction",
    /// section 2.3, "Response To Errors Within A Transaction").
    Transaction,
}

/// Breaks the n-th change of a row on the connection that writes.
pub struct Breaker<'h> {
    house: &'h House,
    triggers: String,
}

impl<'h> Breaker<'h> {
    pub async fn new(house: &'h House, failing: Failing) -> Breaker<'h> {
        let raise = match failing {
            Failing::Statement => "abort",
            Failing::Transaction => "rollback",
        };
        // Temporary: they are the connection's alone, never get into the file, and are gone when it is opened anew.
        let mut triggers = String::from("create temp table if not exists fault (left integer not null); delete from temp.fault;");
        for table in everything(house).await.keys().filter(|table| !table.starts_with('_')) {
            for change in ["insert", "update", "delete"] {
                triggers += &format!(
                    "create temp trigger if not exists fault_{table}_{change} before {change} on main.{table} begin
                         update fault set left = left - 1;
                         select raise({raise}, 'the disk gave way') where (select left from fault) = 0;
                     end;"
                );
            }
        }
        Breaker { house, triggers }
    }

    /// From now on the n-th change fails; 0 is none.
    pub async fn set(&self, nth: u32) -> Result<(), StoreError> {
        on_the_writer(self.house, &format!("{} insert into temp.fault values ({nth});", self.triggers)).await
    }
}

/// Counts down to an interruption in the middle of a statement.
#[derive(Clone, Default)]
pub struct Interruption(Arc<AtomicI64>);

impl Interruption {
    /// From now on, SQLite is interrupted when it has looked up so many times from its work; 0 is never.
    pub fn after(&self, looks: i64) {
        self.0.store(looks, Ordering::SeqCst);
    }

    /// Whether it has come to it.
    pub fn was(&self) -> bool {
        self.0.load(Ordering::SeqCst) < 0
    }

    fn look(&self) -> bool {
        // From 1 it falls to -1, which stays: one interruption and no more.
        match self.0.load(Ordering::SeqCst) {
            1 => {
                self.0.store(-1, Ordering::SeqCst);
                false
            }
            left if left > 1 => {
                self.0.store(left - 1, Ordering::SeqCst);
                true
            }
            _ => true,
        }
    }

    /// Puts the countdown on a connection.
    pub async fn watch(&self, db: &mut SqliteConnection) -> Result<(), StoreError> {
        let countdown = self.clone();
        db.lock_handle().await?.set_progress_handler(1, move || countdown.look());
        Ok(())
    }

    /// Puts the countdown on the connection that writes.
    pub async fn watch_the_writer(&self, house: &House) {
        let countdown = self.clone();
        let watch =
            house.store.write::<(), StoreError, _>(Touch::Nothing, move |db| Box::pin(async move { countdown.watch(db).await }));
        watch.await.expect("the writer works");
    }
}

/// History, page and board agree for every car: the board shows the rule's word, the cleared list the cleared and no other.
pub async fn assert_all_agree(club: &Club, after: &str) {
    for _ in 0..20 {
        let before = everything(&club.house).await;
        let disagree = disagreements(club).await;
        // Where the history went on while it was read, nothing can be said of what was read.
        if everything(&club.house).await["record"] == before["record"] {
            assert!(disagree.is_empty(), "after {after}: {disagree:#?}");
            return;
        }
    }
    panic!("after {after}: the history does not come to rest");
}

async fn disagreements(club: &Club) -> Vec<String> {
    let event = club.house.event(club.event.parse().expect("an id")).await.expect("the event");
    let board = club.organizer.get(&format!("/club/events/{}", club.event)).await.page().await;
    let list = club.cleared_csv().await;
    let (mut disagree, mut cars) = (Vec::new(), 0);
    for row in board.html.select(&css("tr[data-number]")) {
        let attribute = |name| row.attr(name).unwrap_or_default();
        let number = attribute("data-number");
        let path = row.select(&css("a")).next().and_then(|link| link.attr("href")).expect("a link to the car");
        let entry = path.rsplit('/').next().and_then(|id| id.parse().ok()).expect("an entry");
        let state = state::read(&club.house, &event, entry, &Units::METRIC).await.expect("the history can be read");
        let (word, page) = (state.standing().word(), club.organizer.get(path).await.page().await.first("p.standing b"));
        let on_the_list = list.lines().any(|line| line.starts_with(&format!("\"{number}\",")));
        let said = [attribute("data-standing"), &page, if on_the_list { "cleared" } else { "not cleared" }];
        let agree = said[0] == word && said[1] == word && on_the_list == (state.standing() == Standing::Cleared);
        if !agree {
            disagree.push(format!("car {number} is {word}, but the board, its page and the cleared list say {said:?}"));
        }
        cars += 1;
    }
    let entries = everything(&club.house).await["entry"].len();
    if cars != entries {
        disagree.push(format!("{cars} cars are on the board, {entries} are entered"));
    }
    disagree
}
