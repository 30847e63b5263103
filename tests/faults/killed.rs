//! The process is killed in the middle of everything, fifty times. What was answered is there, once, and nothing else.

use crate::dice::Dice;
use crate::load::{CARS, Deed, Fate, Paddock, Tell};
use crate::server::{Server, program};
use sqlx::sqlite::SqliteConnectOptions;
use sqlx::{ConnectOptions, SqliteConnection};
use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use std::process::Stdio;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex};
use std::time::Duration;
use tokio::sync::Notify;
use tokio::task::JoinSet;
use uuid::Uuid;
use witnessmark::acts::house::{KnownEdition, KnownEvent};
use witnessmark::acts::state::{self, EntryState};
use witnessmark::rules::units::Units;
use witnessmark::rules::{chain, sheet_file};
use witnessmark::store::history::{self, Past, Record};
use witnessmark::store::{club, entry, event};

/// How often the process is killed.
const ROUNDS: u64 = 50;
const SEED: u64 = 20_260_509;

/// What everybody remembers of what they sent and were told.
#[derive(Default)]
struct Book {
    deeds: BTreeMap<Uuid, (Deed, Fate)>,
}

impl Book {
    fn count(&self, wanted: impl Fn(Fate) -> bool) -> usize {
        self.deeds.values().filter(|(_, fate)| wanted(*fate)).count()
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn fifty_kills_lose_no_answered_record_and_leave_every_standing_as_the_rule_says() {
    let folder = tempfile::TempDir::new().expect("a folder");
    let database = folder.path().join("club.sqlite");
    let mut dice = Dice::new(SEED);
    let mut server = Server::start(&database);
    let paddock = Arc::new(Paddock::set_up(&server.base, &server.first_secret()).await);
    let mut book = Book::default();
    let mut last = Vec::new();
    for round in 1..=ROUNDS {
        let states = check(&database, &server, &paddock, &book, round).await;
        send_again(&server, &paddock, &mut book, &last, &mut dice, round).await;
        assert_eq!(count(&database).await, in_book(&database, &book).await, "round {round}: what is there is what was sent");
        last = load_until_killed(server, &paddock, &mut book, &states, &mut dice).await;
        server = Server::start(&database);
    }
    check(&database, &server, &paddock, &book, ROUNDS + 1).await;
    let everything: Vec<Uuid> = book.deeds.keys().copied().collect();
    send_again(&server, &paddock, &mut book, &everything, &mut dice, ROUNDS + 1).await;
    check(&database, &server, &paddock, &book, ROUNDS + 1).await;
    let (answered, refused) = (book.count(|fate| fate == Fate::Answered), book.count(|fate| matches!(fate, Fate::Refused(_))));
    eprintln!(
        "{ROUNDS} kills; {answered} records answered, {refused} refused, {} never answered",
        book.deeds.len() - answered - refused
    );
    assert!(answered > 600 && refused > 100, "the paddock was busy: {answered} answered, {refused} refused");
}

/// Everybody sends and signs off at once; the process is killed at a moment that nobody chose. Gives what was under way.
async fn load_until_killed(
    server: Server,
    paddock: &Arc<Paddock>,
    book: &mut Book,
    states: &BTreeMap<Uuid, EntryState>,
    dice: &mut Dice,
) -> Vec<Uuid> {
    let (wanted, pause) = (dice.between(1, 40), Duration::from_micros(dice.between(0, 15_000)));
    // In every other round the blow falls in the very moment of an answer: what was answered too early would be lost.
    let at_once = dice.once_in(2);
    let (server, told, answers) = (Arc::new(server), Arc::new(Mutex::new(Vec::new())), Arc::new(AtomicU64::new(0)));
    let enough = Arc::new(Notify::new());
    let tell: Tell = {
        let (server, told, enough) = (server.clone(), told.clone(), enough.clone());
        Arc::new(move |deed, fate| {
            if fate == Fate::Answered && answers.fetch_add(1, Ordering::SeqCst) + 1 == wanted {
                if at_once {
                    server.kill();
                }
                enough.notify_one();
            }
            told.lock().expect("a list").push((deed, fate));
        })
    };
    let mut people = JoinSet::new();
    for (nth, car) in paddock.cars.iter().enumerate() {
        // Every fourth car is sent for from two phones that do not know of each other.
        for _ in 0..if nth.is_multiple_of(4) { 2 } else { 1 } {
            let (paddock, car, server, tell) = (paddock.clone(), car.clone(), server.clone(), tell.clone());
            let heads = states.get(&car.entry).map(|state| state.judgement.heads.clone()).unwrap_or_default();
            let dice = dice.hand_over();
            people.spawn(async move { paddock.keep_on(&server.base, &car, heads, dice, tell).await });
        }
    }
    enough.notified().await;
    if !at_once {
        // A moment that nobody chose: between two answers, before, in or after a commit.
        tokio::time::sleep(pause).await;
    }
    server.kill();
    people.join_all().await;
    let told = std::mem::take(&mut *told.lock().expect("a list"));
    let ids = told.iter().map(|(deed, _)| deed.id).collect();
    book.deeds.extend(told.into_iter().map(|(deed, fate)| (deed.id, (deed, fate))));
    ids
}

/// Phones send again what they are not sure of, and what they are sure of too, sixteen at a time.
async fn send_again(server: &Server, paddock: &Arc<Paddock>, book: &mut Book, last: &[Uuid], dice: &mut Dice, round: u64) {
    let mut again: Vec<(Deed, Fate)> = last.iter().filter_map(|id| book.deeds.get(id).cloned()).collect();
    again.retain(|(_, fate)| *fate == Fate::Answered || (*fate == Fate::Unanswered && dice.once_in(2)));
    let base: Arc<str> = server.base.as_str().into();
    for some in again.chunks(16) {
        let mut phones = JoinSet::new();
        for (deed, before) in some.iter().cloned() {
            let (paddock, base) = (paddock.clone(), base.clone());
            phones.spawn(async move { (paddock.send(&base, &deed).await, before, deed) });
        }
        for (fate, before, deed) in phones.join_all().await {
            assert_ne!(fate, Fate::Unanswered, "round {round}: the server is up, yet it says nothing to {deed:?}");
            if before == Fate::Answered {
                assert_eq!(fate, before, "round {round}: a {} that was answered is answered again: {deed:?}", deed.kind);
            }
            book.deeds.insert(deed.id, (deed, fate));
        }
    }
}

/// Reads the file beside the running program and holds it against the book and the board. Gives where every car stands.
async fn check(database: &Path, server: &Server, paddock: &Paddock, book: &Book, round: u64) -> BTreeMap<Uuid, EntryState> {
    let mut db = reader(database).await;
    let whole: Vec<String> = sqlx::query_scalar("pragma integrity_check").fetch_all(&mut db).await.expect("a check");
    assert_eq!(whole, ["ok"], "round {round}: the file is whole");
    let strays = sqlx::query("pragma foreign_key_check").fetch_all(&mut db).await.expect("a check");
    assert!(strays.is_empty(), "round {round}: every record belongs to an entry and a device");

    let chain = chain::verify(history::sealed(&mut db, None).await.expect("the history can be read"));
    assert!(
        chain.is_ok(),
        "round {round}: the chain of the history is whole: {}",
        chain.err().map(|misfit| misfit.to_string()).unwrap_or_default()
    );

    let pasts = history::of_event(&mut db, paddock.event).await.expect("the history can be read");
    assert!(pasts.values().all(|past| past.unreadable.is_empty()), "round {round}: every record can be read");
    let records: Vec<Record> = pasts.into_values().flat_map(|past| past.records).collect();
    let there: BTreeMap<Uuid, &Record> = records.iter().map(|record| (record.id, record)).collect();
    assert_eq!(there.len(), records.len(), "round {round}: no record is there twice");
    for (deed, fate) in book.deeds.values() {
        let found = there.get(&deed.id);
        match fate {
            Fate::Answered => {
                let found = found.unwrap_or_else(|| panic!("round {round}: an answered {} is lost: {deed:?}", deed.kind));
                assert_eq!((found.entry, found.kind.word()), (deed.entry, deed.kind), "round {round}: the record is as sent");
            }
            Fate::Refused(status) => {
                assert!((400..500).contains(status), "round {round}: a live server broke: {status} to {deed:?}");
                assert!(found.is_none(), "round {round}: a {} that was refused with {status} is there: {deed:?}", deed.kind);
            }
            Fate::Unanswered => {}
        }
    }
    if let Some(stranger) = there.keys().find(|id| !book.deeds.contains_key(id)) {
        panic!("round {round}: nobody sent record {stranger}");
    }
    let states = states_by_the_rule(&mut db, paddock.event, records).await;
    let board: BTreeMap<String, String> = paddock.board(&server.base).await.into_iter().collect();
    assert_eq!(board.len(), CARS, "round {round}: every car is on the board");
    for car in &paddock.cars {
        let state = &states[&car.entry];
        assert_eq!(
            board[&car.number],
            state.standing().word(),
            "round {round}: the board says of car {} what the rule says of its {} records",
            car.number,
            state.records.len()
        );
        let mut numbers: Vec<u32> = state.records.iter().filter_map(|record| record.number).collect();
        numbers.sort_unstable();
        let counted: Vec<u32> = (1..=numbers.len() as u32).collect();
        assert_eq!(numbers, counted, "round {round}: the submissions of car {} are numbered without a gap", car.number);
    }
    states
}

/// Where every entry stands, computed anew from the file.
async fn states_by_the_rule(db: &mut SqliteConnection, id: Uuid, records: Vec<Record>) -> BTreeMap<Uuid, EntryState> {
    let event = event::one(db, id).await.expect("an event").expect("the event is there");
    let edition = club::edition(db, event.edition).await.expect("an edition").expect("the edition is there");
    let sheet = sheet_file::read(&edition.file).expect("the sheet can be read");
    let edition = KnownEdition { id: edition.id, number: edition.number, sheet };
    let known = KnownEvent::new(Arc::new(event), Arc::new(edition), []);
    let mut histories: BTreeMap<Uuid, Past> = BTreeMap::new();
    for record in records {
        histories.entry(record.entry).or_default().records.push(record);
    }
    let mut states = BTreeMap::new();
    for entry in entry::of_event(db, id).await.expect("the entries") {
        let (id, history) = (entry.id, histories.remove(&entry.id).unwrap_or_default());
        states.insert(id, state::of(&known, entry, history, &Units::METRIC));
    }
    states
}

async fn reader(database: &Path) -> SqliteConnection {
    SqliteConnectOptions::new().filename(database).read_only(true).connect().await.expect("the file can be read")
}

async fn count(database: &Path) -> usize {
    let count: i64 = sqlx::query_scalar("select count(*) from record where entry_id is not null")
        .fetch_one(&mut reader(database).await)
        .await
        .expect("a count");
    count as usize
}

/// How many records there should be: all that were answered, and of those never answered the ones that are there.
async fn in_book(database: &Path, book: &Book) -> usize {
    let ids: Vec<Vec<u8>> = sqlx::query_scalar("select id from record where entry_id is not null")
        .fetch_all(&mut reader(database).await)
        .await
        .expect("ids");
    let there: BTreeSet<Uuid> = ids.iter().filter_map(|id| Uuid::from_slice(id).ok()).collect();
    book.deeds
        .values()
        .filter(|(deed, fate)| *fate == Fate::Answered || (*fate == Fate::Unanswered && there.contains(&deed.id)))
        .count()
}

/// The first start makes the file, its tables, the sheet and the first organizer. It is killed on the way, again and again.
#[tokio::test]
async fn a_first_start_killed_on_the_way_is_made_good_by_the_next() {
    let mut dice = Dice::new(SEED);
    for round in 1..=12 {
        let folder = tempfile::TempDir::new().expect("a folder");
        let database = folder.path().join("club.sqlite");
        let mut serve = program();
        serve.arg("serve").arg("--database").arg(&database).args(["--listen", "127.0.0.1:0"]);
        let mut first = serve.stdout(Stdio::null()).stderr(Stdio::null()).spawn().expect("the program can be started");
        // A moment that nobody chose: a first start takes about ten milliseconds.
        std::thread::sleep(Duration::from_micros(dice.between(500, 20_000)));
        first.kill().expect("it can be killed");
        first.wait().expect("it has ended");
        let second = Server::start(&database);
        let first_page = reqwest::get(&second.base).await.expect("the second start answers");
        assert!(first_page.status().is_success(), "round {round}: {}", first_page.status());
        let mut db = reader(&database).await;
        let whole: Vec<String> = sqlx::query_scalar("pragma integrity_check").fetch_all(&mut db).await.expect("a check");
        assert_eq!(whole, ["ok"], "round {round}: the file is whole");
        let made = "select (select count(*) from club), (select count(*) from edition),
                           (select count(*) from access_link where role = 'organizer')";
        let made: (i64, i64, i64) = sqlx::query_as(made).fetch_one(&mut db).await.expect("counts");
        assert_eq!(made, (1, 1, 1), "round {round}: one club, one sheet, one organizer");
    }
}
