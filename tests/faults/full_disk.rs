//! The disk fills up in the middle of the day and is freed again.

use crate::club::{Club, sound_answers};
use crate::injury::{assert_all_agree, everything, on_the_writer, sealed};
use crate::server::{Server, program};
use reqwest::StatusCode;
use serde_json::{Value as Json, json};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU32, Ordering};
use witnessmark::acts::House;
use witnessmark::rules::chain;
use witnessmark::store::{StoreError, Touch};

/// SQLite's own limit of pages stands for the disk: an insert fails with "database or disk is full".
#[tokio::test]
async fn a_driver_is_told_that_the_disk_is_full_and_sends_again_when_there_is_room() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let mut answered = 0;
    let body = loop {
        let known = ines.state().await;
        let body: Json = json!({ "id": club.new_id(), "seen": known.seen, "edition": known.edition, "answers": sound_answers() });
        // Again and again: a writer that opened its file anew has no limit any more.
        on_the_writer(&club.house, "pragma max_page_count = 1").await.expect("a limit: SQLite takes what it has already");
        let answer = ines.person.post_json(&format!("{}/submissions", ines.home()), &body).await;
        if answer.status() == StatusCode::INTERNAL_SERVER_ERROR {
            assert_eq!(answer.json().await["error"], "something broke here, not at your end");
            break body;
        }
        assert_eq!(answer.status(), StatusCode::CREATED);
        answered += 1;
        assert!(answered < 300, "the disk never fills up: is the test blunt?");
    };
    let there = async || club.house.store.count_records().await.expect("a count");
    assert_eq!(there().await, answered, "what was refused is not there");
    assert_all_agree(&club, "a full disk").await;
    if let Err(error) = on_the_writer(&club.house, "pragma max_page_count = 1000000").await {
        panic!("there is room again, but nobody can write any more: {error}");
    }
    let again = ines.person.post_json(&format!("{}/submissions", ines.home()), &body).await;
    assert_eq!(again.status(), StatusCode::CREATED, "the same sheet, sent again, is taken");
    assert_eq!(there().await, answered + 1);
    assert!(chain::verify(sealed(&club.house).await).is_ok(), "the chain goes on where it was");
    assert_all_agree(&club, "a disk with room again").await;
}

/// The commit itself fails, as it does when the log cannot be written: nobody in the group is told that it was kept.
#[tokio::test]
async fn a_commit_that_fails_is_told_to_all_who_waited_for_it_and_the_next_one_holds() {
    let club = Club::open().await;
    let (ines, holt) = (club.driver("27").await, club.inspector("R. Holt").await);
    for nth in 0..6 {
        let before = everything(&club.house).await;
        let fails = CommitFails::watch(&club.house).await;
        fails.next();
        let (what, status) = match nth % 3 {
            0 => ("a submission", ines.sends(|_| ()).await.status()),
            1 => ("a hold", holt.holds("27", "Oil at the gearbox.").await.status()),
            _ => ("answers typed", ines.types("brakes", &[("pedal-firm", "yes")]).await.status()),
        };
        assert_eq!(fails.count(), 1, "{what}: its commit was made to fail");
        assert_eq!(status, StatusCode::INTERNAL_SERVER_ERROR, "{what} whose commit failed");
        crate::injury::assert_unchanged(&before, &everything(&club.house).await, &[], &format!("{what} whose commit failed"));
        assert_all_agree(&club, &format!("{what} whose commit failed")).await;
        let sent = ines.sends(|_| ()).await.status();
        assert_eq!(sent, StatusCode::CREATED, "the next driver sends as if nothing had been");
        assert!(chain::verify(sealed(&club.house).await).is_ok(), "and the chain goes on");
    }
}

/// Makes commits fail on the connection that writes.
struct CommitFails {
    next: Arc<AtomicBool>,
    count: Arc<AtomicU32>,
}

impl CommitFails {
    async fn watch(house: &House) -> CommitFails {
        let (next, count) = (Arc::new(AtomicBool::new(false)), Arc::new(AtomicU32::new(0)));
        let (asked, counted) = (next.clone(), count.clone());
        let watch = house.store.write::<(), StoreError, _>(Touch::Nothing, move |db| {
            Box::pin(async move {
                db.lock_handle().await?.set_commit_hook(move || {
                    let fails = asked.swap(false, Ordering::SeqCst);
                    counted.fetch_add(u32::from(fails), Ordering::SeqCst);
                    !fails
                });
                Ok(())
            })
        });
        watch.await.expect("a hook");
        CommitFails { next, count }
    }

    fn next(&self) {
        self.next.store(true, Ordering::SeqCst);
    }

    fn count(&self) -> u32 {
        self.count.load(Ordering::SeqCst)
    }
}

/// The real program, with the operating system's limit on a file's size for the full disk. It is lifted while it runs.
#[cfg(target_os = "linux")]
#[tokio::test]
async fn the_program_lives_through_a_full_disk_and_takes_sheets_again_when_there_is_room() {
    use crate::dice::Dice;
    use crate::load::{Fate, Paddock};
    use std::process::Command;

    let folder = tempfile::TempDir::new().expect("a folder");
    let database = folder.path().join("club.sqlite");
    let mut shell = Command::new("sh");
    // 5000 blocks of 512 bytes; the signal that says so is ignored, so that writing fails as it does on a full disk.
    shell.args(["-c", "trap '' XFSZ; ulimit -S -f 5000; exec \"$0\" \"$@\""]).arg(program().get_program());
    shell.arg("serve").arg("--database").arg(&database).args(["--listen", "127.0.0.1:0"]);
    let server = Server::start_as(shell);
    let paddock = Paddock::set_up(&server.base, &server.first_secret()).await;
    let mut dice = Dice::new(7);
    let mut answered = Vec::new();
    let refused = 'full: loop {
        for car in &paddock.cars {
            let deed = paddock.submission(car, &[], &mut dice);
            match paddock.send(&server.base, &deed).await {
                Fate::Answered => answered.push(deed),
                Fate::Refused(500) => break 'full deed,
                other => panic!("a full disk ends in {other:?}"),
            }
        }
        assert!(answered.len() < 4000, "the disk never fills up: is the test blunt?");
    };
    let still_read = paddock.board(&server.base).await;
    assert_eq!(still_read.len(), paddock.cars.len(), "the board can be read while nothing can be written");
    let room = Command::new("prlimit").arg(format!("--pid={}", server.process_id())).arg("--fsize=unlimited:").status();
    assert!(room.is_ok_and(|status| status.success()), "the limit can be lifted");
    let told = paddock.send(&server.base, &refused).await;
    assert_eq!(told, Fate::Answered, "there is room again: the same sheet, sent again, is taken");
    for deed in &answered {
        assert_eq!(paddock.send(&server.base, deed).await, Fate::Answered, "what was answered before is there");
    }
    drop(server);
    let verified = program().arg("verify").arg("--database").arg(&database).output().expect("the history is verified");
    assert!(verified.status.success(), "the chain is whole: {}", String::from_utf8_lossy(&verified.stdout));
}
