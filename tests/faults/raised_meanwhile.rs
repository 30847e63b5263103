//! An edition raised while somebody looks at the board: what is kept in memory must be of the new edition.

use crate::club::{Club, sound_answers, until};
use crate::injury::{assert_all_agree, touch};
use jiff::Timestamp;
use reqwest::StatusCode;
use serde_json::json;
use std::sync::atomic::{AtomicU8, Ordering};
use std::sync::{Arc, Condvar, Mutex};
use tokio::sync::oneshot;
use uuid::Uuid;
use witnessmark::acts::board::board;
use witnessmark::acts::enter::enter;
use witnessmark::acts::set_up::CLUB_DAY;
use witnessmark::acts::submit::{Submission, submit};
use witnessmark::acts::{House, Refusal};
use witnessmark::store::club::{self, Edition};
use witnessmark::store::history::{self, Appended, EventKind, Kind, NewEventRecord, NewRecord};
use witnessmark::store::{Touch, event};

/// Holds up whoever reads from the database next, in the middle of the statement: what they read is what was then.
#[derive(Clone, Default)]
struct SlowReader {
    /// 0: nobody is held up; 1: the next one will be; 2: somebody is.
    stage: Arc<AtomicU8>,
    gate: Arc<(Mutex<bool>, Condvar)>,
}

impl SlowReader {
    async fn watch(house: &House) -> SlowReader {
        let slow = SlowReader::default();
        let mut readers = Vec::new();
        for _ in 0..4 {
            let (mut reader, slow) = (house.store.read().await.expect("a reader"), slow.clone());
            let mut db = reader.lock_handle().await.expect("its handle");
            db.set_progress_handler(1, move || {
                if slow.stage.compare_exchange(1, 2, Ordering::SeqCst, Ordering::SeqCst).is_ok() {
                    let (open, opened) = &*slow.gate;
                    let open = opened.wait_while(open.lock().expect("a gate"), |open| !*open);
                    *open.expect("a gate") = false;
                    slow.stage.store(0, Ordering::SeqCst);
                }
                true
            });
            drop(db);
            readers.push(reader);
        }
        slow
    }

    fn hold_the_next(&self) {
        self.stage.store(1, Ordering::SeqCst);
    }

    async fn somebody_is_held(&self) {
        until("somebody reads", async || self.stage.load(Ordering::SeqCst) == 2).await;
    }

    fn let_go(&self) {
        *self.gate.0.lock().expect("a gate") = true;
        self.gate.1.notify_all();
    }
}

#[tokio::test]
async fn a_board_read_while_the_sheet_is_raised_is_not_kept_as_if_it_were_of_the_new_edition() {
    let club = Club::open().await;
    // 2.5 mm: flagged by a sheet that asks for 3 mm, well by one that asks for 2.
    club.driver("27").await.sends(|answers| answers["pad-front"]["at"]["lf"] = json!(2.5)).await;
    let strict = club.organizer.get("/club").await.page().await.value_of("select[name=edition] option");
    let file = CLUB_DAY.replacen("{ at_least = 3, severity = \"fix\"", "{ at_least = 2, severity = \"fix\"", 1);
    club.raise_to(&club.event, &file).await;
    assert_eq!(club.board_of("27").await.0, "pending", "the mild sheet does not mind");
    let event = club.event.parse().expect("an id");
    let shown = club.organizer.get(&format!("/club/events/{event}/sheet?edition={strict}")).await.page().await;

    let slow = SlowReader::watch(&club.house).await;
    // The organizer's session is in memory, the event is not: it was touched.
    touch(&club.house, Touch::Event(event)).await;
    slow.hold_the_next();
    let house = club.house.clone();
    let looks = tokio::spawn(async move { board(&house, event).await.map(|board| board.version) });
    slow.somebody_is_held().await;
    let raise = club.raises_as_shown(&club.event, &shown).await;
    assert_eq!(raise.status(), StatusCode::SEE_OTHER, "the sheet is raised while somebody reads the old one");
    slow.let_go();
    looks.await.expect("a look").expect("a board");
    assert_eq!(club.board_of("27").await.0, "flagged", "the strict sheet asks for 3 mm, and every board from here on says so");
    assert_all_agree(&club, "a sheet raised while the board was read").await;
}

/// Adds the default sheet as another edition.
async fn another_edition(house: &House) -> Uuid {
    let (id, made_at) = (house.new_id(), house.now());
    let edition = Edition { id, number: 0, name: "Again".into(), file: CLUB_DAY.into(), made_at, made_by: "A test".into() };
    let add = house
        .store
        .write::<_, Refusal, _>(Touch::Nothing, move |db| Box::pin(async move { Ok(club::add_edition(db, &edition).await?) }));
    add.await.expect("an edition");
    id
}

/// Raises the event once the door is opened: until then everybody who writes waits behind it.
async fn raise_when_told(house: Arc<House>, event: Uuid, edition: Uuid) -> (oneshot::Sender<()>, tokio::task::JoinHandle<()>) {
    let ((go, told), (tell, begun)) = (oneshot::channel(), oneshot::channel());
    let raise = NewEventRecord {
        id: house.new_id(),
        event,
        kind: EventKind::Raise,
        body: json!({ "to": edition }).to_string(),
        made_at: house.now(),
        maker: None,
        salt: [0; 20],
    };
    let raising = tokio::spawn(async move {
        let raised = house.store.write::<_, Refusal, _>(Touch::Event(event), move |db| {
            Box::pin(async move {
                let _ = tell.send(());
                told.await.expect("it is told");
                event::set_edition(db, event, edition).await?;
                Ok(history::append_to_event(db, &raise).await?)
            })
        });
        assert_eq!(raised.await.expect("a raise"), Appended::New);
    });
    begun.await.expect("it has begun");
    (go, raising)
}

/// The sheet is raised between the look at a submission and its record: the record is not written, and the driver hears why.
#[tokio::test]
async fn a_submission_that_waits_while_the_sheet_is_raised_is_not_written() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let driver = enter(&club.house, &ines.secret, Default::default()).await.unwrap_or_else(|_| panic!("she comes in")).actor;
    let (event, entry) = (club.event.parse().expect("an id"), ines.entry.parse().expect("an id"));
    let old = ines.state().await.edition;
    let new = another_edition(&club.house).await;
    let (go, raising) = raise_when_told(club.house.clone(), event, new).await;
    let (house, id) = (club.house.clone(), club.house.new_id());
    let sheet = Submission { id, seen: Vec::new(), edition: old, made_at: None, answers: Some(sound_answers()) };
    let sent = tokio::spawn(async move { submit(&house, &driver, entry, sheet).await });
    tokio::time::sleep(std::time::Duration::from_millis(200)).await;
    assert!(!sent.is_finished(), "it waits behind the raise");
    go.send(()).expect("somebody waits");
    raising.await.expect("a raise");
    match sent.await.expect("an answer") {
        Err(Refusal::EditionRaised { from: 1, to: 2, .. }) => {}
        other => panic!("the driver hears that the sheet was raised: {other:?}"),
    }
    assert_eq!(club.house.store.count_records().await.expect("a count"), 0, "and nothing was written");
    let records = history::event_records(&mut club.house.store.read().await.expect("a reader"), event).await.expect("records");
    let raise = records.last().expect("the raise");
    assert_eq!((raise.kind, raise.edition), (EventKind::Raise, new), "the raise binds the edition that is in force after it");
}

#[tokio::test]
async fn a_record_that_names_its_edition_is_written_only_while_that_is_in_force_and_a_hold_always() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let driver = enter(&club.house, &ines.secret, Default::default()).await.unwrap_or_else(|_| panic!("she comes in")).actor;
    let (event, entry): (Uuid, Uuid) = (club.event.parse().expect("an id"), ines.entry.parse().expect("an id"));
    let old = ines.state().await.edition;
    let new = another_edition(&club.house).await;
    let (go, raising) = raise_when_told(club.house.clone(), event, new).await;
    go.send(()).expect("somebody waits");
    raising.await.expect("a raise");
    let now: Timestamp = club.house.now();
    let body = json!({ "edition": new, "answers": {} }).to_string();
    let record = |kind: Kind, edition: Option<Uuid>| NewRecord {
        id: club.house.new_id(),
        event,
        entry,
        kind,
        seen: Vec::new(),
        body: if kind == Kind::Hold { "{}".into() } else { body.clone() },
        made_at: now,
        arrived_at: now,
        maker: driver.maker(),
        salt: [1; 20],
        counts: true,
        edition,
    };
    let append = async |record: &NewRecord| {
        club.house.store.append(Touch::Entry { event, entry }, record.clone()).await.expect("an answer")
    };
    assert_eq!(append(&record(Kind::Submission, Some(old))).await, Appended::EditionMoved);
    let sheet = record(Kind::Submission, Some(new));
    assert_eq!(append(&sheet).await, Appended::New);
    assert_eq!(append(&sheet).await, Appended::Again);
    let late = NewRecord { edition: Some(old), ..sheet.clone() };
    assert_eq!(append(&late).await, Appended::Again, "what was written is known again, whatever is in force by then");
    assert_eq!(append(&record(Kind::Hold, None)).await, Appended::New);
    let past = history::of_entry(&mut club.house.store.read().await.expect("a reader"), entry).await.expect("a history");
    assert!(past.records.iter().all(|record| record.edition == Some(new) && record.form == 2), "{past:?}");
}
