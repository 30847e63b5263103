//! The proof, tried column by column: whatever a clearance rests on is changed in a club's file, or taken out of it, and `verify`
//! must name a misfit. The columns are those of the file's own tables: a new one fails here until it is in one of the lists.

use crate::bound_columns::{BOUND, NO_CLEARANCE};
use crate::club::Club;
use crate::full_club::made;
use sqlx::sqlite::SqliteConnectOptions;
use sqlx::{AssertSqlSafe, ConnectOptions, Connection, SqliteConnection};
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use witnessmark::verify::{self, Kept, Verdict};

/// A club's file in the hands of somebody with every tool, and the heads that were kept outside.
struct Taken {
    file: PathBuf,
    heads: String,
    _folder: tempfile::TempDir,
}

async fn open(file: &Path) -> SqliteConnection {
    let options = SqliteConnectOptions::new().filename(file).foreign_keys(false).pragma("ignore_check_constraints", "on");
    options.connect().await.expect("the file can be opened")
}

async fn run(file: &Path, sql: &str) -> bool {
    let mut db = open(file).await;
    let done = sqlx::raw_sql(AssertSqlSafe(sql.to_owned())).execute(&mut db).await;
    db.close().await.expect("closed");
    done.map(|done| done.rows_affected() > 0).unwrap_or_else(|error| panic!("{sql}: {error}"))
}

async fn verified(file: &Path, heads: &str) -> Verdict {
    let kept = if heads.is_empty() { Kept::nothing() } else { Kept::read(heads).expect("heads") };
    verify::database(file, kept).await.expect("the file can be read")
}

impl Taken {
    async fn from(club: &Club) -> Taken {
        club.close().await;
        let folder = tempfile::TempDir::new().expect("a folder");
        let file = folder.path().join("taken.sqlite");
        std::fs::copy(club.database(), &file).expect("a copy");
        let whole = verified(&file, "").await;
        assert!(whole.fits, "as the program wrote it, it fits: {}", whole.words);
        let mut db = open(&file).await;
        sqlx::query("pragma journal_mode = delete").execute(&mut db).await.expect("one file");
        let triggers: Vec<String> = sqlx::query_scalar("select name from sqlite_master where type = 'trigger'")
            .fetch_all(&mut db)
            .await
            .expect("triggers");
        db.close().await.expect("closed");
        for trigger in triggers {
            run(&file, &format!("drop trigger {trigger}")).await;
        }
        let again = verified(&file, &whole.words).await;
        assert!(again.fits, "against its own heads it fits: {}", again.words);
        Taken { file, heads: whole.words, _folder: folder }
    }

    /// What verify says of a copy in which this was done; `None` where it changed nothing.
    async fn after(&self, sql: &str, heads: &str) -> Option<Verdict> {
        let copy = self.file.with_file_name("copy.sqlite");
        std::fs::copy(&self.file, &copy).expect("a copy");
        match run(&copy, sql).await {
            true => Some(verified(&copy, heads).await),
            false => None,
        }
    }

    async fn ask(&self, sql: &str) -> Vec<String> {
        sqlx::query_scalar(AssertSqlSafe(sql.to_owned())).fetch_all(&mut open(&self.file).await).await.expect("an answer")
    }

    /// The tables and columns of the file.
    async fn columns(&self) -> BTreeSet<(String, String)> {
        let mut all = BTreeSet::new();
        let tables = "select name from sqlite_master where type = 'table' and name not like 'sqlite\\_%' escape '\\'";
        for table in self.ask(tables).await {
            let columns = self.ask(&format!("select name from pragma_table_info('{table}')")).await;
            all.extend(columns.into_iter().map(|column| (table.clone(), column)));
        }
        all
    }
}

fn is_exempt(table: &str, column: &str) -> bool {
    NO_CLEARANCE.iter().any(|(name, of, _)| *name == table && (*of == "*" || *of == column))
}

fn is_bound(table: &str, column: &str) -> bool {
    BOUND.iter().any(|(name, columns)| *name == table && columns.contains(&column))
}

/// Another value of the same type, and nothing where there was something, or something where there was nothing.
const CHANGES: [&str; 2] = [
    "case typeof(COLUMN)
         when 'integer' then case when COLUMN in (0, 1) and 'NAME' in ('counts', 'once') then 1 - COLUMN else COLUMN + 1000 end
         when 'text' then COLUMN || 'x'
         when 'blob' then unhex(substr(hex(COLUMN), 3) || '5a')
         else SOMETHING end",
    "case when COLUMN is null then SOMETHING else null end",
];

#[tokio::test(flavor = "multi_thread")]
async fn whatever_a_clearance_rests_on_is_changed_and_named() {
    let taken = Taken::from(&made().await).await;
    let (mut tried, mut nothing, mut unnoticed) = (0, 0, Vec::new());
    for (table, column) in taken.columns().await {
        assert!(
            is_exempt(&table, &column) != is_bound(&table, &column),
            "{table}.{column}: a column stands in one of the two lists of bound_columns.rs"
        );
        if is_exempt(&table, &column) {
            continue;
        }
        let kind = taken.ask(&format!("select type from pragma_table_info('{table}') where name = '{column}'")).await;
        let needed = format!("select cast(\"notnull\" or pk as text) from pragma_table_info('{table}') where name = '{column}'");
        let needed = taken.ask(&needed).await == ["1"];
        let quoted = format!("\"{column}\"");
        let something = match kind[0].to_lowercase().as_str() {
            "integer" => "1",
            "text" => "'x'",
            _ => "x'0198c0de00007000800000000000000a'",
        };
        for rowid in taken.ask(&format!("select cast(rowid as text) from {table}")).await {
            for change in &CHANGES[..if needed { 1 } else { 2 }] {
                let value = change.replace("COLUMN", &quoted).replace("NAME", &column).replace("SOMETHING", something);
                let is_other = format!("{quoted} is not ({value})");
                let sql = format!("update {table} set {quoted} = {value} where rowid = {rowid} and {is_other}");
                match taken.after(&sql, &taken.heads).await {
                    Some(verdict) if verdict.fits => unnoticed.push(sql),
                    Some(_) => {}
                    None => nothing += 1,
                }
                tried += 1;
            }
        }
    }
    assert_eq!(unnoticed, [""; 0], "changed, and nobody noticed");
    for sql in ["update entry set mail = 'x@example.org'", "update photo set width = width + 1", "update club set name = 'x'"] {
        let verdict = taken.after(sql, &taken.heads).await.expect("a change");
        assert!(verdict.fits, "no clearance rests on it, and verify says so: {sql}: {}", verdict.words);
    }
    println!("{tried} changes of columns were tried, {nothing} of them changed nothing");
    assert!(tried > 800 && nothing * 10 < tried, "{tried} tried, {nothing} changed nothing: is the test blunt?");
}

#[tokio::test(flavor = "multi_thread")]
async fn every_row_that_is_taken_out_is_named() {
    let taken = Taken::from(&made().await).await;
    let (mut tried, mut unnoticed) = (0, Vec::new());
    for (table, _) in BOUND {
        for rowid in taken.ask(&format!("select cast(rowid as text) from {table}")).await {
            let sql = format!("delete from {table} where rowid = {rowid}");
            let verdict = taken.after(&sql, &taken.heads).await.expect("a row less");
            unnoticed.extend(verdict.fits.then_some(sql));
            tried += 1;
        }
    }
    assert_eq!(unnoticed, [""; 0], "taken out, and nobody noticed");
    println!("{tried} rows were taken out, one at a time");
    assert!(tried > 80, "{tried} rows: is the test blunt?");
}

#[tokio::test(flavor = "multi_thread")]
async fn an_end_that_was_cut_off_is_named_by_the_heads_that_were_kept() {
    let taken = Taken::from(&made().await).await;
    let event =
        taken.ask("select lower(hex(event_id)) from record group by event_id order by count(*) desc limit 1").await.remove(0);
    let count: i64 = taken.ask(&format!("select cast(count(*) as text) from record where event_id = x'{event}'")).await[0]
        .parse()
        .expect("a count");
    assert!(count > 25, "{count} records");
    let cut = format!("delete from record where event_id = x'{event}' and place > {}", count - 20);
    let named = taken.after(&cut, &taken.heads).await.expect("records less");
    assert!(!named.fits && named.words.contains("does not reach the head"), "{}", named.words);
    let head =
        taken.ask(&format!("select lower(hex(hash)) from record where event_id = x'{event}' order by place desc limit 1")).await;
    let copy = taken.file.with_file_name("copy.sqlite");
    let printed = verify::database(&copy, Kept::nothing().and_head(&head[0])).await.expect("a verdict");
    assert!(!printed.fits && printed.words.contains(&head[0]), "nor is the head of the printed list: {}", printed.words);
    let deeds = taken.after("delete from access_deed where id > (select max(id) - 3 from access_deed)", &taken.heads).await;
    assert!(!deeds.expect("deeds less").fits, "the deeds of access have a head too");
}

/// Whoever takes an event out with all that speaks of it leaves its head in what was kept, and links that are gone.
#[tokio::test(flavor = "multi_thread")]
async fn an_event_that_is_gone_and_a_file_that_is_empty_are_named() {
    let taken = Taken::from(&made().await).await;
    let events = taken.ask("select lower(hex(id)) from event order by id").await;
    assert_eq!(events.len(), 2);
    for event in &events {
        let of_entry = format!("select id from entry where event_id = x'{event}'");
        let sql = format!(
            "delete from photo where entry_id in ({of_entry}); delete from draft where entry_id in ({of_entry});
             delete from record where event_id = x'{event}'; delete from entry where event_id = x'{event}';
             delete from device where link_id in (select id from access_link where event_id = x'{event}');
             delete from access_link where event_id = x'{event}'; delete from pass_key where event_id = x'{event}';
             delete from run_group where event_id = x'{event}'; delete from event where id = x'{event}'"
        );
        let verdict = taken.after(&sql, &taken.heads).await.expect("an event less");
        let id = uuid::Uuid::parse_str(event).expect("an id").to_string();
        assert!(!verdict.fits && verdict.words.contains(&id), "event {id} is missed: {}", verdict.words);
    }
    let bare = format!("delete from record where event_id = x'{}'", events[0]);
    let verdict = taken.after(&bare, "").await.expect("records less");
    assert!(!verdict.fits && verdict.words.contains("has no record"), "an event without a record: {}", verdict.words);
    let gone = format!("delete from event where id = x'{}'", events[0]);
    let verdict = taken.after(&gone, "").await.expect("an event less");
    assert!(!verdict.fits && verdict.words.contains("is gone, and its records are there"), "{}", verdict.words);

    let tables: BTreeSet<String> =
        taken.columns().await.into_iter().map(|(table, _)| table).filter(|table| !table.starts_with('_')).collect();
    let all: String = tables.iter().map(|table| format!("delete from {table};")).collect();
    let verdict = taken.after(&all, "").await.expect("nothing is left");
    assert!(!verdict.fits && verdict.words.contains("there is no event"), "an empty file: {}", verdict.words);
    let verdict = verified(&taken.file.with_file_name("copy.sqlite"), &taken.heads).await;
    assert_eq!(verdict.words.matches("does not reach the head").count(), 3, "two events and the deeds: {}", verdict.words);
}
