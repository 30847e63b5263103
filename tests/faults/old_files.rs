//! Files that come from elsewhere in time: a newer program's, one that was in use for a season, one that is no database.

use crate::club::{Club, Person};
use crate::injury::{Rows, assert_unchanged, everything, rows_of_all_tables};
use crate::server::program;
use reqwest::StatusCode;
use sqlx::sqlite::SqliteConnectOptions;
use sqlx::{ConnectOptions, SqliteConnection};
use std::path::Path;
use std::sync::Arc;
use witnessmark::acts::House;
use witnessmark::acts::board::board;
use witnessmark::acts::set_up::set_up;
use witnessmark::rules::chain::{Sealed, hex};
use witnessmark::store::{OpenError, history};
use witnessmark::verify::{self, Kept, Verdict};
use witnessmark::web::{Web, router};

/// A club after a day: one car cleared, one flagged, one waiting, one that typed and did not send.
async fn after_a_day() -> Club {
    let club = Club::open().await;
    let holt = club.inspector("R. Holt").await;
    for (number, pad) in [("7", 9.0), ("12", 2.1), ("27", 9.0)] {
        let driver = club.driver(number).await;
        let sent = driver.sends(|answers| answers["pad-front"]["at"]["lf"] = pad.into()).await;
        assert_eq!(sent.status(), StatusCode::CREATED);
    }
    assert_eq!(holt.clears("7").await.status(), StatusCode::SEE_OTHER);
    club.driver("114B").await.types("brakes", &[("pedal-firm", "yes")]).await;
    club
}

async fn open_raw(database: &Path) -> SqliteConnection {
    SqliteConnectOptions::new().filename(database).foreign_keys(true).connect().await.expect("the file can be opened")
}

async fn rows(database: &Path) -> Rows {
    rows_of_all_tables(&mut open_raw(database).await).await
}

#[tokio::test]
async fn a_season_s_file_opened_anew_has_everything_and_lets_everybody_in_as_before() {
    let club = after_a_day().await;
    let (ines, secret) = (club.entry("27").await, club.driver("27").await.secret);
    let before = everything(&club.house).await;
    let event = club.event.parse().expect("an id");
    let standings = |board: &witnessmark::acts::board::Board| -> Vec<String> {
        board.rows.iter().map(|row| format!("{} {}", row.entry.number, row.standing)).collect()
    };
    let then = standings(&board(&club.house, event).await.expect("a board"));
    assert_eq!(then, ["7 cleared", "12 flagged", "27 pending", "114B pending"]);
    let path = club.database();
    club.close().await;

    let house = Arc::new(House::open(&path, club.clock.clone()).await.expect("the file opens again"));
    assert_unchanged(&before, &everything(&house).await, &[], "opened again");
    assert_eq!(standings(&board(&house, event).await.expect("a board")), then, "every car stands where it stood");
    assert!(set_up(&house, "Another club", "Nobody").await.expect("a set-up").is_none(), "a club in use is not set up again");
    assert_unchanged(&before, &everything(&house).await, &[], "started again");

    let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.expect("a port");
    let base = format!("http://localhost:{}", listener.local_addr().expect("an address").port());
    let web = Web::new(house.clone(), &base);
    tokio::spawn(async move { axum::serve(listener, router(web)).await });
    let driver = Person::come_in(&base, &secret).await;
    assert_eq!(driver.get(&format!("/my/{ines}")).await.status(), StatusCode::OK, "an old link still lets its driver in");
    house.close().await;
}

/// A club that was set up with the first release: its links and devices must be what they were.
#[tokio::test]
async fn a_file_of_the_first_release_is_brought_up_to_date_with_everybody_in_it() {
    let club = after_a_day().await;
    let (driver, gate) = (club.driver("7").await, club.inspector("S. Vane").await);
    let (cookie, gate_cookie) = (driver.person.cookie(&driver.home()), gate.person.cookie(&gate.lane()));
    let path = club.database();
    club.close().await;
    let old = made_by(&path, 1).await;
    let house = Arc::new(House::open(&old, club.clock.clone()).await.expect("the steps are made"));
    let foreign: Vec<(String, i64, String, i64)> = {
        let mut db = house.store.read().await.expect("a reader");
        sqlx::query_as("pragma foreign_key_check").fetch_all(&mut *db).await.expect("an answer")
    };
    assert_eq!(foreign, [], "every device and record still has its link");
    let board = board(&house, club.event.parse().expect("an id")).await.expect("a board");
    let standings: Vec<String> = board.rows.iter().map(|row| format!("{} {}", row.entry.number, row.standing)).collect();
    assert_eq!(standings, ["7 cleared", "12 flagged", "27 pending", "114B pending"]);
    for (cookie, role) in [(&cookie, "driver"), (&gate_cookie, "inspector")] {
        let actor = house.actor(cookie.trim_start_matches("witnessmark=")).await.expect("an answer");
        assert_eq!(actor.map(|actor| actor.role.word()), Some(role), "the device is still let in");
    }
    assert!(set_up(&house, "Another club", "Nobody").await.expect("a set-up").is_none(), "the organizer is still signed in");
    let entered = witnessmark::acts::enter::enter(&house, &driver.secret, Default::default()).await;
    assert!(entered.is_ok(), "a link handed out then is good until it is taken back");
    house.close().await;
}

/// The club as it was before there were garages, with everything that a club had then.
#[tokio::test]
async fn a_file_from_before_garages_is_brought_up_to_date_and_nothing_in_it_is_another() {
    let club = after_a_day().await;
    let (driver, gate) = (club.driver("7").await, club.inspector("S. Vane").await);
    let marshal = Person::come_in(&club.base, &club.link_for("marshal", "Pit exit").await).await;
    let unused = club.link_for("inspector", "L. Ate").await;
    let passkey = "insert into passkey (id, link_id, name, credential, made_at)
        select x'c0ffee', id, 'A laptop', '{}', 1 from access_link where role = 'organizer'";
    sqlx::query(passkey).execute(&mut open_raw(&club.database()).await).await.expect("a passkey");
    let cookies = [
        (driver.person.cookie(&driver.home()), "driver"),
        (gate.person.cookie(&gate.lane()), "inspector"),
        (marshal.cookie(&format!("/grid/{}", club.event)), "marshal"),
        (club.organizer.cookie("/club"), "organizer"),
    ];
    let path = club.database();
    club.close().await;
    // A file from before has no proofs and no known browsers: people give them anew. Its events' keys have no ids of their own.
    let unproven =
        "update device set proven_at = null; delete from known_browser; update pass_key set id = event_id, public = null";
    sqlx::raw_sql(unproven).execute(&mut open_raw(&path).await).await.expect("as it was before");
    let before = rows(&path).await;
    let old = made_by(&path, 3).await;
    assert!(!rows(&old).await.contains_key("garage"), "it is a file from before");

    let house = Arc::new(House::open(&old, club.clock.clone()).await.expect("the step is made"));
    let foreign: Vec<(String, i64, String, i64)> = {
        let mut db = house.store.read().await.expect("a reader");
        sqlx::query_as("pragma foreign_key_check").fetch_all(&mut *db).await.expect("an answer")
    };
    assert_eq!(foreign, [], "every device, deed, passphrase, passkey and record still has its link");
    let after = everything(&house).await;
    // What step 5 adds to is held against its own rule in the test below.
    let bound = ["_sqlx_migrations", "record", "access_deed", "access_link", "entry", "photo"];
    assert_unchanged(&before, &after, &bound, "brought up to date");
    assert_eq!((after["passkey"].len(), after["passphrase"].len()), (1, 1));
    assert_eq!(schema(&old).await, schema(&path).await, "the file is as a new one, triggers and indexes too");
    for (cookie, role) in &cookies {
        let actor = house.actor(cookie.trim_start_matches("witnessmark=")).await.expect("an answer");
        assert_eq!(actor.map(|actor| actor.role.word()), Some(*role), "the device is still let in");
    }
    let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.expect("a port");
    let base = format!("http://localhost:{}", listener.local_addr().expect("an address").port());
    let web = Web::new(house.clone(), &base);
    tokio::spawn(async move { axum::serve(listener, router(web)).await });
    let ashdown = Person::stranger(&base);
    let signed_in = ashdown.post("/sign-in", &[("name", "M. Ashdown"), ("passphrase", crate::club::PASSPHRASE)]).await;
    assert_eq!(signed_in.status(), StatusCode::SEE_OTHER, "the passphrase is what it was");
    assert!(ashdown.get("/club/you").await.page().await.text().contains("A laptop"), "and the passkey is listed");
    let late = Person::come_in(&base, &unused).await;
    assert_eq!(late.get(&format!("/gate/{}", club.event)).await.status(), StatusCode::OK, "a link that nobody had used is good");
    let again = Person::come_in(&base, &driver.secret).await;
    let opened = again.post(&format!("{}/garage", driver.home()), &[("id", &club.new_id()), ("deed", "open")]).await;
    assert_eq!(opened.status(), StatusCode::OK, "and a driver opens a garage in it");
    house.close().await;
}

/// A driver who was erased, a person who was let go: what was before stays so, and is bound from the baseline on.
#[tokio::test]
async fn a_file_from_before_records_bound_what_they_rest_on_gets_a_baseline_and_verifies() {
    let club = after_a_day().await;
    let erase = format!("/club/events/{}/entries/{}/data/erase", club.event, club.entry("27").await);
    assert_eq!(club.organizer.post(&erase, &[("number", "27")]).await.status(), StatusCode::SEE_OTHER);
    let path = club.database();
    club.close().await;
    let old = made_by(&path, 4).await;
    let before = verified(&old, Kept::nothing()).await;
    assert!(before.fits && before.words.contains("is from before"), "its chain fits before it is opened: {}", before.words);
    let kept = Kept::read(&before.words).expect("heads");
    let records = count_of_records(&old).await;

    let house = Arc::new(House::open(&old, club.clock.clone()).await.expect("the step is made"));
    let event = club.event.parse().expect("an id");
    let standings: Vec<String> =
        board(&house, event).await.expect("a board").rows.iter().map(|row| row.standing.to_string()).collect();
    assert_eq!(standings, ["cleared", "flagged", "pending", "pending"]);
    let opened = {
        let mut db = house.store.read().await.expect("a reader");
        history::event_records(&mut db, event).await.expect("the event's records")
    };
    assert_eq!(opened.len(), 1);
    assert!(opened[0].maker.is_none() && opened[0].body.contains("\"baseline\":true"), "{opened:?}");
    house.close().await;
    let bound = rows(&old).await;
    let house = House::open(&old, club.clock.clone()).await.expect("opened again");
    house.close().await;
    assert_unchanged(&bound, &rows(&old).await, &[], "opened again, it is bound already");

    let after = verified(&old, kept).await;
    assert!(after.fits, "{}", after.words);
    let words = format!("from record {} on, records also bind the sheet, the event and the roster", records + 1);
    assert!(after.words.contains(&words), "it says from where on: {}", after.words);
    let sealed = witnessmark::store::sealed_records(&old).await.expect("the records");
    assert_eq!(sealed.iter().filter(|record| record.form == 1).count(), records, "what was sealed before stays as it was");
    for (sql, what) in [
        ("update event set day = '2026-05-10'", "venue, day, zone"),
        ("update entry set car = 'Another' where number = '7'", "the roster line of car 7"),
        ("update access_link set revoked_at = null, holder = 'R. Halt' where role = 'inspector'", "link"),
        ("update edition set file = file || '#'", "edition"),
    ] {
        let copy = old.with_file_name("copy.sqlite");
        std::fs::copy(&old, &copy).expect("a copy");
        sqlx::query(sqlx::AssertSqlSafe(sql)).execute(&mut open_raw(&copy).await).await.expect("a change");
        let verdict = verified(&copy, Kept::nothing()).await;
        assert!(!verdict.fits && verdict.words.contains(what), "{sql}: {}", verdict.words);
    }
}

async fn verified(path: &Path, kept: Kept) -> Verdict {
    verify::database(path, kept).await.expect("the file can be read")
}

async fn count_of_records(path: &Path) -> usize {
    let count: i64 =
        sqlx::query_scalar("select count(*) from record").fetch_one(&mut open_raw(path).await).await.expect("a count");
    count as usize
}

/// What the file's tables, triggers and indexes are.
async fn schema(path: &Path) -> Vec<String> {
    let sql = "select type || ' ' || name || ': ' || coalesce(sql, '') from sqlite_master order by 1";
    sqlx::query_scalar(sql).fetch_all(&mut open_raw(path).await).await.expect("an answer")
}

/// The same club in a file as an earlier release made it: so many of the steps, and their columns.
async fn made_by(path: &Path, count: usize) -> std::path::PathBuf {
    let steps = path.with_file_name("steps");
    std::fs::create_dir(&steps).expect("a folder");
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("migrations");
    let mut all: Vec<_> = std::fs::read_dir(&folder).expect("steps").map(|file| file.expect("a step").file_name()).collect();
    all.sort();
    for step in all.iter().take(count) {
        std::fs::copy(folder.join(step), steps.join(step)).expect("a step");
    }
    let old = path.with_file_name("old.sqlite");
    // Whatever rests on whatever: all of it is there in the end.
    let open = SqliteConnectOptions::new().filename(&old).create_if_missing(true).foreign_keys(false);
    let mut db = open.connect().await.expect("a new file");
    sqlx::migrate::Migrator::new(steps.as_path()).await.expect("steps").run(&mut db).await.expect("that release's tables");
    sqlx::query("attach ? as late").bind(path.to_string_lossy()).execute(&mut db).await.expect("the club");
    let tables = "select name from main.sqlite_master where type = 'table' and name not like '\\_%' escape '\\'
                  and name <> 'record'";
    let tables: Vec<String> = sqlx::query_scalar(tables).fetch_all(&mut db).await.expect("that release's tables");
    for table in tables.iter().filter(|table| !table.starts_with("sqlite_")) {
        let columns: Vec<String> = sqlx::query_scalar("select name from pragma_table_info(?, 'main')")
            .bind(table)
            .fetch_all(&mut db)
            .await
            .expect("that release's columns");
        let columns = columns.join(", ");
        let of_then =
            if table == "access_deed" { "where what not in ('let in again', 'spent', 'erased', 'baseline')" } else { "" };
        // Step 10 gave the keys of passes another table.
        let from = if table == "event_key" { "pass_key" } else { table };
        let copy = format!("insert into main.{table} ({columns}) select {columns} from late.{from} {of_then}");
        sqlx::query(sqlx::AssertSqlSafe(copy)).execute(&mut db).await.expect("the rows");
    }
    seal_as_before(&mut db, path).await;
    old
}

/// Writes the entries' records as a release before step 5 did: in places of their own, hashed by the first rule.
async fn seal_as_before(db: &mut SqliteConnection, late: &Path) {
    let mut before: Vec<Sealed> = Vec::new();
    let late = witnessmark::store::sealed_records(late).await.expect("the records");
    for now in late.into_iter().filter(|record| record.entry.is_some()) {
        let last = before.last().filter(|last| last.event == now.event);
        let (place, event_before) = (last.map_or(1, |last| last.place + 1), last.map(|last| last.hash.clone()));
        let entry_before = before.iter().rev().find(|other| other.entry == now.entry).map(|other| other.hash.clone());
        let (edition, edition_digest, event_digest, entry_digest) = (None, None, None, None);
        let bound = Sealed { edition, edition_digest, event_digest, entry_digest, ..now };
        let mut then = Sealed { form: 1, place, event_before, entry_before, ..bound };
        then.hash = hex(&then.reckon());
        let blob = |text: &Option<String>| text.as_ref().map(|hex| data_encoding::HEXLOWER.decode(hex.as_bytes()).expect("hex"));
        sqlx::query(
            "insert into main.record (id, event_id, entry_id, place, kind, seen, body, number, made_at, arrived_at, maker,
                 maker_salt, maker_mark, maker_role, link_id, device_id, counts, entry_before, event_before, hash)
             select id, event_id, entry_id, ?2, kind, seen, body, number, made_at, arrived_at, maker, maker_salt, maker_mark,
                 maker_role, link_id, device_id, counts, ?3, ?4, ?5 from late.record where id = ?1",
        )
        .bind(&uuid::Uuid::parse_str(&then.id).expect("an id").as_bytes()[..])
        .bind(then.place as i64)
        .bind(blob(&then.entry_before))
        .bind(blob(&then.event_before))
        .bind(blob(&Some(then.hash.clone())))
        .execute(&mut *db)
        .await
        .expect("a record of before");
        before.push(then);
    }
}

#[tokio::test]
async fn a_file_of_a_newer_program_is_refused_in_words_and_left_as_it_is() {
    let club = after_a_day().await;
    let path = club.database();
    club.close().await;
    let newer = "insert into _sqlx_migrations (version, description, installed_on, success, checksum, execution_time)
                 values (9999, 'a step of next year', '2027-01-01 00:00:00', 1, x'00', 1)";
    sqlx::query(newer).execute(&mut open_raw(&path).await).await.expect("a newer program was here");
    let before = rows(&path).await;
    match House::open(&path, club.clock.clone()).await.err() {
        Some(error @ OpenError::Newer { version: 9999, .. }) => {
            let words = error.to_string();
            assert!(words.contains("newer Witnessmark") && words.contains("backup"), "it says what to do: {words}");
            assert!(words.contains("club.sqlite") && words.contains("9999"), "it names file and step: {words}");
        }
        other => panic!("a newer file is not opened, whatever happens: {other:?}"),
    }
    let serve = program().arg("serve").arg("--database").arg(&path).args(["--listen", "127.0.0.1:0"]).output();
    let serve = serve.expect("the program runs");
    assert!(!serve.status.success(), "the program does not serve a newer file");
    let words = String::from_utf8_lossy(&serve.stderr);
    assert!(words.contains("newer Witnessmark") && !words.contains("panicked"), "it ends in words: {words}");
    assert!(serve.stdout.is_empty(), "nobody is given a link to it");
    assert_unchanged(&before, &rows(&path).await, &[], "refused");
}

#[tokio::test]
async fn a_file_whose_steps_are_not_the_released_ones_is_refused_and_left_as_it_is() {
    let club = after_a_day().await;
    let path = club.database();
    club.close().await;
    let forged = "update _sqlx_migrations set checksum = x'00' where version = 1";
    sqlx::query(forged).execute(&mut open_raw(&path).await).await.expect("somebody changed a step");
    let before = rows(&path).await;
    let error = House::open(&path, club.clock.clone()).await.err().expect("it is not opened");
    assert!(matches!(error, OpenError::Migration { .. }), "{error:?}");
    assert!(error.to_string().contains("club.sqlite"), "it names the file: {error}");
    assert_unchanged(&before, &rows(&path).await, &[], "refused");
}

#[tokio::test]
async fn a_file_that_is_no_database_is_refused_in_words_and_left_as_it_is() {
    let folder = tempfile::TempDir::new().expect("a folder");
    let path = folder.path().join("holiday.jpg");
    let bytes = b"\xFF\xD8\xFF\xE0 a picture of a beach, long enough to be read as the head of something ".repeat(20);
    std::fs::write(&path, &bytes).expect("a file");
    let serve = program().arg("serve").arg("--database").arg(&path).args(["--listen", "127.0.0.1:0"]).output();
    let serve = serve.expect("the program runs");
    let words = String::from_utf8_lossy(&serve.stderr);
    assert!(!serve.status.success() && words.contains("holiday.jpg") && !words.contains("panicked"), "it says so: {words}");
    assert_eq!(std::fs::read(&path).expect("the file"), bytes, "and leaves it alone");
}

/// The history's triggers are in the file: whoever opens it with another tool meets them too.
#[tokio::test]
async fn a_record_can_be_neither_changed_nor_removed_by_anybody() {
    let club = after_a_day().await;
    let path = club.database();
    let before = rows(&path).await;
    let mut db = open_raw(&path).await;
    for columns in [
        "kind = 'hold'",
        "body = '{}'",
        "form = 1",
        "edition_digest = x'00'",
        "arrived_at = 0",
        "seen = '[]'",
        "counts = 0",
        "hash = x'00'",
        "place = 99",
    ] {
        let sql = format!("update record set {columns}");
        let refused = sqlx::query(sqlx::AssertSqlSafe(sql)).execute(&mut db).await.err().map(|error| error.to_string());
        assert!(refused.is_some_and(|words| words.contains("history is append-only")), "nobody sets {columns}");
    }
    let other_name = "update record set maker = 'Somebody else'";
    assert!(sqlx::query(other_name).execute(&mut db).await.is_err(), "nobody puts another name to it");
    for sql in ["delete from record", "delete from entry", "delete from device", "delete from access_link"] {
        assert!(sqlx::query(sql).execute(&mut db).await.is_err(), "nobody may {sql}: a record rests on it");
    }
    // A record put in a second time is refused or passed over: either is well, as long as it is there once.
    let again = "insert into record select * from record where kind = 'clear'";
    let _ = sqlx::query(again).execute(&mut db).await;
    assert_unchanged(&before, &rows(&path).await, &[], "after all that was tried");
}

/// The organizer ends the program in the evening and copies the one file to a stick: nothing may lie beside it in a log.
#[tokio::test]
async fn a_program_that_ended_well_leaves_everything_in_the_one_file() {
    let club = after_a_day().await;
    let before = everything(&club.house).await;
    let path = club.database();
    club.close().await;
    let stick = tempfile::TempDir::new().expect("a stick");
    let copy = stick.path().join("copied.sqlite");
    std::fs::copy(&path, &copy).expect("the file is copied");
    assert_unchanged(&before, &rows(&copy).await, &[], "the file copied without its log");
}

/// "Insert or replace" removes the old row without a delete that a trigger would hear of (sqlite.org, "REPLACE").
#[tokio::test]
async fn a_record_is_not_written_over_by_another_of_its_id() {
    let club = after_a_day().await;
    let path = club.database();
    let before = rows(&path).await;
    let mut db = open_raw(&path).await;
    let columns: Vec<String> =
        sqlx::query_scalar("select name from pragma_table_info('record')").fetch_all(&mut db).await.expect("columns");
    let forged: Vec<&str> = columns.iter().map(|name| if name == "kind" { "'hold'" } else { name.as_str() }).collect();
    let sql = format!(
        "insert or replace into record ({}) select {} from record where kind = 'clear'",
        columns.join(", "),
        forged.join(", ")
    );
    // Refused or passed over: either is well, as long as the record stays.
    let _ = sqlx::query(sqlx::AssertSqlSafe(sql)).execute(&mut db).await;
    assert_unchanged(&before, &rows(&path).await, &[], "a clear that somebody tried to turn into a hold");
    // Nor by one of another id in its place, which is as unique.
    let forged: Vec<&str> = columns.iter().map(|name| if name == "id" { "randomblob(16)" } else { name.as_str() }).collect();
    let sql = format!("insert or replace into record ({}) select {} from record", columns.join(", "), forged.join(", "));
    let _ = sqlx::query(sqlx::AssertSqlSafe(sql)).execute(&mut db).await;
    assert_unchanged(&before, &rows(&path).await, &[], "records whose place somebody tried to take");
}
