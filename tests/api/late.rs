//! Late: the sheet was raised to another edition while a driver was still filling in the old one.

use crate::club::Club;
use crate::tools::{file_of, sheet_with_a_new_item, submissions};
use reqwest::StatusCode;
use serde_json::json;
use witnessmark::acts::set_up::CLUB_DAY;

#[tokio::test]
async fn a_device_that_sends_by_the_old_edition_is_told_what_changed() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let file = file_of(&ines, |_| ()).await;
    club.raise_to(&club.event, &sheet_with_a_new_item()).await;
    let sent = ines.person.post_json(&submissions(&ines), &file).await;
    assert_eq!(sent.status(), StatusCode::CONFLICT);
    let said = sent.json().await;
    assert_eq!(said["changed"], json!(["Tow eye arrow"]), "the one new question is named");
    assert!(said["error"].as_str().is_some_and(|text| text.contains("edition 1 to edition 2")), "{said}");
    assert_eq!(club.board_of("27").await.1, "nothing sent");
}

#[tokio::test]
async fn a_page_of_the_old_edition_is_told_what_changed_and_every_answer_is_kept() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    ines.sends(|_| ()).await;
    ines.types("brakes", &[("pad-front.lf", "7.7"), ("pad-front.rf", "7.9"), ("pad-front.unit", "mm")]).await;
    let form = ines.ready_to_send().await;
    club.raise_to(&club.event, &sheet_with_a_new_item()).await;
    let sent = ines.sends_form(&form).await;
    assert_eq!(sent.status(), StatusCode::CONFLICT);
    let said = sent.page().await.text();
    assert!(said.contains("every answer is kept"), "{said}");
    let brakes = ines.person.get(&format!("{}/areas/brakes", ines.home())).await.page().await;
    assert_eq!(brakes.value_of("input[name='pad-front.lf']"), "7.7", "typed and not yet sent: kept");
    assert_eq!(brakes.value_of("input[name='pad-front.rf']"), "7.9");
    assert!(ines.looks().await.first("h1").contains("1 thing is left"), "only the new question is left");
    ines.types("papers", &[("tow-eye-marked", "yes")]).await;
    assert_eq!(ines.sends_form(&ines.ready_to_send().await).await.status(), StatusCode::SEE_OTHER, "answered, it can be sent");
    assert!(said.contains("Tow eye arrow"), "the driver is told which question is new: {said}");
}

/// "Nothing was sent" would be false: it was, and its answer got lost on the way to a phone at the far end of the paddock.
#[tokio::test]
async fn a_file_that_arrived_before_the_sheet_was_raised_is_answered_as_before_when_it_is_sent_again() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let file = file_of(&ines, |_| ()).await;
    assert_eq!(ines.person.post_json(&submissions(&ines), &file).await.status(), StatusCode::CREATED);
    club.raise_to(&club.event, &sheet_with_a_new_item()).await;
    let again = ines.person.post_json(&submissions(&ines), &file).await;
    assert_eq!(again.status(), StatusCode::CREATED, "the same record, the same answer: {}", again.text().await);
    let history = club.history_of("27").await;
    assert_eq!(history.iter().filter(|line| line.starts_with("submission")).count(), 1, "{history:?}");
}

#[tokio::test]
async fn an_edition_that_nobody_knows_is_not_an_old_one() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let mut file = file_of(&ines, |_| ()).await;
    file["edition"] = json!(club.new_id());
    let sent = ines.person.post_json(&submissions(&ines), &file).await;
    assert!(sent.status().is_client_error(), "{}", sent.status());
    assert!(sent.json().await["error"].as_str().is_some_and(|text| text.len() > 10));
    assert_eq!(club.board_of("27").await.1, "nothing sent");
}

/// The same text added again is an edition of its own, but it asks nothing else.
#[tokio::test]
async fn an_edition_that_asks_the_same_says_that_nothing_changed() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let file = file_of(&ines, |_| ()).await;
    club.raise_to(&club.event, CLUB_DAY).await;
    let sent = ines.person.post_json(&submissions(&ines), &file).await;
    assert_eq!(sent.status(), StatusCode::CONFLICT);
    assert_eq!(sent.json().await["changed"], json!([]));
}
