//! A caller hangs up in the middle: a phone that drops out of the network, a browser that is closed. Whatever became of the
//! deed, the board shows what the history says.

use crate::club::{Club, Person, sound_answers};
use crate::injury::{assert_all_agree, settle};
use crate::neighbours::polled;
use serde_json::json;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpStream;
use witnessmark::acts::enter::enter;
use witnessmark::acts::rights::Actor;
use witnessmark::acts::sign_off::{SignOff, sign_off};
use witnessmark::acts::submit::{Submission, submit};
use witnessmark::store::history;

/// The deed is dropped after its first step or its second, with nothing in memory or all of it: once the writer has it, it is
/// written although nobody waits for the answer.
#[tokio::test]
async fn a_submission_or_hold_whose_maker_hangs_up_is_there_or_not_and_the_board_knows() {
    let club = Club::open().await;
    let (ines, holt) = (club.driver("27").await, club.inspector("R. Holt").await);
    let (driver, gate) = (come_in(&club, &ines.secret).await, come_in(&club, &club.another_link_for(&holt.name).await).await);
    let entry = ines.entry.parse().expect("an id");
    let (mut unheard, mut lost) = (0, 0);
    for nth in 0..24 {
        // The board is in memory before each of them: a stale one would show.
        assert_all_agree(&club, &format!("{nth} hung up")).await;
        let (known, id, steps) = (ines.state().await, club.house.new_id(), 1 + nth % 3);
        let is_hold = nth % 4 == 3;
        let done = if is_hold {
            let reason = "Oil at the gearbox.".to_owned();
            let off = SignOff { id, seen: known.seen, reason, ..SignOff::default() };
            polled(sign_off(&club.house, &gate, entry, off), steps).await
        } else {
            let sheet =
                Submission { id, seen: known.seen, edition: known.edition, made_at: None, answers: Some(sound_answers()) };
            polled(submit(&club.house, &driver, entry, sheet), steps).await
        };
        settle(&club.house).await;
        let mut db = club.house.store.read().await.expect("a reader");
        let records = history::of_entry(&mut db, entry).await.expect("a history").records;
        let there = records.iter().any(|record| record.id == id);
        assert!(there || !done, "what was answered is there");
        unheard += usize::from(there && !done);
        lost += usize::from(!there);
        if there && is_hold {
            assert_eq!(club.board_of("27").await.0, "flagged", "a hold counts although its inspector went away");
        }
    }
    assert_all_agree(&club, "all hung up").await;
    assert!(unheard > 5, "{unheard} were written although nobody waited, {lost} were not: is the test blunt?");
}

async fn come_in(club: &Club, secret: &str) -> Actor {
    enter(&club.house, secret, Default::default())
        .await
        .map(|entered| entered.actor)
        .unwrap_or_else(|_| panic!("the link lets its holder in"))
}

/// Over the wire, byte by byte: the head, half the body, the whole, and gone.
#[tokio::test]
async fn a_phone_that_drops_out_in_the_middle_of_sending_leaves_no_stale_board() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let came_in = Person::stranger(&club.base).get(&format!("/in/{}", ines.secret)).await;
    let cookie = came_in.header("set-cookie").split(';').next().unwrap_or_default().to_owned();
    let host = club.base.trim_start_matches("http://").to_owned();
    for nth in 0..24 {
        let known = ines.state().await;
        let mut answers = sound_answers();
        answers["pad-front"]["at"]["lf"] = json!(if nth % 2 == 0 { 2.1 } else { 9.0 });
        let body = json!({ "id": club.new_id(), "seen": known.seen, "edition": known.edition, "answers": answers }).to_string();
        let head = format!(
            "POST {}/submissions HTTP/1.1\r\nhost: {host}\r\ncookie: {cookie}\r\nsec-fetch-site: same-origin\r\n\
             content-type: application/json\r\ncontent-length: {}\r\n\r\n",
            ines.home(),
            body.len()
        );
        let request = [head.as_bytes(), body.as_bytes()].concat();
        // A third break off within, a third after the last byte, a third after the first byte of the answer.
        let sent = if nth % 3 == 0 { request.len() * (nth + 1) / 25 } else { request.len() };
        let mut line = TcpStream::connect(&host).await.expect("a line");
        line.write_all(&request[..sent]).await.expect("the bytes go out");
        if nth % 3 == 2 {
            let mut first = [0];
            line.read_exact(&mut first).await.expect("an answer begins");
        }
        drop(line);
        settle(&club.house).await;
        assert_all_agree(&club, &format!("phone {nth}, which dropped out after {sent} of {} bytes", request.len())).await;
    }
    let records = ines.state().await;
    assert!(!records.seen.is_empty(), "some of it arrived");
}
