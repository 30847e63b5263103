//! A clearance taken back after an incident: the driver reads why, the car is flagged, an inspector clears it again.

use crate::club::{Answer, Club, Page, minutes};
use reqwest::StatusCode;

/// The organizer takes a clearance back by the form of an open page.
async fn takes_back(club: &Club, page: &Page, reason: &str) -> Answer {
    let path = format!("/club/events/{}/entries/{}/withdrawals", club.event, club.entry("27").await);
    let hidden = |name: &str| page.value_of(&format!("form[action$=withdrawals] input[name={name}]"));
    let (id, seen) = (hidden("id"), hidden("seen"));
    club.organizer.post(&path, &[("id", &id), ("seen", &seen), ("reason", reason)]).await
}

/// A club where car 27 is cleared at 07:00.
async fn with_a_cleared_car() -> Club {
    let club = Club::open().await;
    club.driver("27").await.sends(|_| ()).await;
    assert_eq!(club.inspector("R. Holt").await.clears("27").await.status(), StatusCode::SEE_OTHER);
    assert_eq!(club.board_of("27").await.0, "cleared");
    club
}

#[tokio::test]
async fn a_clearance_is_taken_back_with_its_reason_and_given_again() {
    let club = with_a_cleared_car().await;
    club.clock.pass(minutes(185).as_mins());
    let taken = takes_back(&club, &club.car_page("27").await, "Spun into the tyre wall at turn 4").await;
    assert_eq!(taken.status(), StatusCode::SEE_OTHER);
    assert_eq!(club.board_of("27").await, ("flagged".into(), "taken back 10:05: Spun into the tyre wall at turn 4".into()));
    assert!(!club.cleared_csv().await.contains("Ines"), "the grid does not let it out");
    let ines = club.driver("27").await;
    let home = ines.looks().await;
    assert_eq!(home.first("h1"), "One thing stands between you and the grid");
    assert!(home.first(".todo").contains("Clearance taken back 10:05 by M. Ashdown Spun into the tyre wall at turn 4"));
    let car = club.inspector("P. Okoro").await;
    let open = car.opens("27").await;
    assert!(open.page.first(".bar-word").contains("Spun into the tyre wall"), "the inspector reads why");
    club.clock.pass(10);
    assert_eq!(open.clears().await.status(), StatusCode::SEE_OTHER);
    assert_eq!(club.board_of("27").await, ("cleared".into(), "10:15, P. Okoro".into()));
    assert_eq!(ines.heading().await, "Cleared for group B");
    let told = club.history_of("27").await;
    let who = ["clear by P. Okoro (inspector)", "withdrawal by M. Ashdown (organizer)", "clear by R. Holt (inspector)"];
    assert_eq!(told[..3], who, "all of it can be read years later");
}

#[tokio::test]
async fn no_clearance_is_taken_back_without_a_reason() {
    let club = with_a_cleared_car().await;
    let page = club.car_page("27").await;
    for (reason, typed) in [("", ""), (" \n ", ""), ("bell\u{7}", "bell\u{7}")] {
        let refused = takes_back(&club, &page, reason).await;
        assert_eq!(refused.status(), StatusCode::UNPROCESSABLE_ENTITY, "{reason:?}");
        let answer = refused.page().await;
        assert!(answer.first(".trouble").contains("Say why"), "{reason:?}: {}", answer.first(".trouble"));
        assert!(answer.has("details[open] form[action$=withdrawals]"), "the form stands open");
        assert_eq!(answer.raw("textarea[name=reason]").trim(), typed, "what was typed is still there");
    }
    let long = "x".repeat(401);
    let refused = takes_back(&club, &page, &long).await;
    assert_eq!(refused.status(), StatusCode::UNPROCESSABLE_ENTITY);
    assert_eq!(refused.page().await.first("textarea[name=reason]"), long);
    assert_eq!(club.board_of("27").await.0, "cleared", "nothing was taken back");
}

#[tokio::test]
async fn a_car_that_was_never_cleared_has_nothing_to_take_back_and_the_organizer_is_told() {
    let club = Club::open().await;
    club.driver("27").await.sends(|_| ()).await;
    let path = format!("/club/events/{}/entries/{}/withdrawals", club.event, club.entry("27").await);
    let form = [("id", &club.new_id()), ("seen", &String::new()), ("reason", &"Went off at turn 4".to_owned())];
    let form: Vec<(&str, &str)> = form.iter().map(|(name, text)| (*name, text.as_str())).collect();
    let refused = club.organizer.post(&path, &form).await;
    assert_eq!(refused.status(), StatusCode::CONFLICT);
    let page = refused.page().await;
    assert_eq!(club.board_of("27").await.0, "pending", "nothing was recorded");
    assert!(page.text().contains("never cleared"), "the page says why it was not done: {}", page.text());
}

#[tokio::test]
async fn a_withdrawal_is_taken_from_an_old_page_and_counts_once() {
    let club = with_a_cleared_car().await;
    let page = club.car_page("27").await;
    club.inspector("P. Okoro").await.clears("27").await;
    for _ in 0..2 {
        assert_eq!(takes_back(&club, &page, "Oil on the track").await.status(), StatusCode::SEE_OTHER);
    }
    assert_eq!(takes_back(&club, &page, "Another reason").await.status(), StatusCode::CONFLICT, "the same page, another reason");
    assert_eq!(club.board_of("27").await.0, "flagged", "it had not seen the second clear; that clear had not seen it either");
    let told = club.history_of("27").await;
    assert_eq!(told.iter().filter(|line| line.starts_with("withdrawal")).count(), 1, "{told:?}");
}

/// A bound on the history's length may stop a mischief-maker; it may never keep a crashed car on the cleared list.
#[tokio::test]
async fn a_full_history_never_keeps_a_clearance_from_being_taken_back() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let mut seen = Vec::new();
    let edition = ines.state().await.edition;
    let answers = crate::club::sound_answers();
    for _ in 0..399 {
        let id = club.new_id();
        let file = serde_json::json!({ "id": id, "seen": seen, "edition": edition, "answers": answers });
        assert_eq!(ines.person.post_json(&format!("{}/submissions", ines.home()), &file).await.status(), StatusCode::CREATED);
        seen = vec![id];
    }
    let holt = club.inspector("R. Holt").await;
    assert_eq!(holt.clears("27").await.status(), StatusCode::SEE_OTHER);
    let taken = takes_back(&club, &club.car_page("27").await, "Spun into the tyre wall at turn 4").await;
    assert_eq!(taken.status(), StatusCode::SEE_OTHER, "the organizer takes it back: {}", taken.page().await.text());
    assert_eq!(club.board_of("27").await.0, "flagged");
    assert_eq!(holt.holds("27", "bent track rod").await.status(), StatusCode::SEE_OTHER, "and a hold is always taken");
}
