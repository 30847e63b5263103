//! An edition raised while somebody looks at the board: what is kept in memory must be of the new edition.

use crate::club::{Club, until};
use crate::injury::{assert_all_agree, touch};
use reqwest::StatusCode;
use serde_json::json;
use std::sync::atomic::{AtomicU8, Ordering};
use std::sync::{Arc, Condvar, Mutex};
use witnessmark::acts::House;
use witnessmark::acts::board::board;
use witnessmark::acts::set_up::CLUB_DAY;
use witnessmark::store::Touch;

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
