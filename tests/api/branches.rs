//! Two submissions that do not know of each other: from two telephones without signal, say. Both are in force and the
//! worse counts, until a new one has seen both (product.md, the one rule).

use crate::club::{Club, Driver};
use crate::tools::{file_of, submissions};
use reqwest::StatusCode;
use serde_json::{Map, Value as Json, json};

/// Sends a file whose maker had seen nothing.
async fn sends_blind(driver: &Driver<'_>, change: impl FnOnce(&mut Map<String, Json>)) {
    let mut file = file_of(driver, change).await;
    file["seen"] = json!([]);
    assert_eq!(driver.person.post_json(&submissions(driver), &file).await.status(), StatusCode::CREATED);
}

fn thin_pad(answers: &mut Map<String, Json>) {
    answers["pad-front"]["at"]["lf"] = json!(2.1);
}

#[tokio::test]
async fn the_worse_of_two_counts_in_whatever_order_they_arrive() {
    for thin_first in [true, false] {
        let club = Club::open().await;
        let ines = club.driver("27").await;
        if thin_first {
            sends_blind(&ines, thin_pad).await;
            club.clock.pass(1);
            sends_blind(&ines, |_| ()).await;
        } else {
            sends_blind(&ines, |_| ()).await;
            club.clock.pass(1);
            sends_blind(&ines, thin_pad).await;
        }
        let (standing, why) = club.board_of("27").await;
        assert_eq!(standing, "flagged", "thin pad first: {thin_first}");
        assert!(why.contains("2.1 mm"), "thin pad first: {thin_first}: {why}");
        assert!(club.car_page("27").await.text().contains("2 submissions that do not know of each other are in force"));
        let page = club.inspector("R. Holt").await;
        assert!(page.opens("27").await.page.has("input[name='closes-pad-front']"), "the inspector is shown the worse");
    }
}

#[tokio::test]
async fn a_clear_that_has_seen_both_clears_and_one_that_has_seen_one_does_not() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    sends_blind(&ines, |_| ()).await;
    let holt = club.inspector("R. Holt").await;
    let saw_one = holt.opens("27").await;
    sends_blind(&ines, thin_pad).await;
    assert_eq!(saw_one.clears().await.status(), StatusCode::CONFLICT);
    assert_eq!(club.board_of("27").await.0, "flagged");
    let saw_both = holt.opens("27").await;
    assert_eq!(saw_both.clears().await.status(), StatusCode::SEE_OTHER);
    assert_eq!(club.board_of("27").await.0, "cleared");
    sends_blind(&ines, |answers| answers["pad-rear"]["at"]["lr"] = json!(2.5)).await;
    assert_eq!(club.board_of("27").await.0, "flagged", "a third that nobody has seen");
}

#[tokio::test]
async fn a_new_submission_that_has_seen_both_ends_the_fork() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    sends_blind(&ines, thin_pad).await;
    sends_blind(&ines, |_| ()).await;
    let form = ines.ready_to_send().await;
    let seen = crate::tools::field(&form, "seen");
    assert_eq!(seen.split(',').count(), 2, "the driver's page has seen both: {seen}");
    assert_eq!(ines.sends_form(&form).await.status(), StatusCode::SEE_OTHER, "it can be sent although nothing changed");
    assert_eq!(club.board_of("27").await, ("pending".into(), "waits since 07:00".into()));
    assert!(!club.car_page("27").await.text().contains("do not know of each other"));
    assert_eq!(club.inspector("R. Holt").await.clears("27").await.status(), StatusCode::SEE_OTHER);
}

/// One says the roof is open, the other that it is closed: until that is settled the straight edge is laid over the bar.
#[tokio::test]
async fn the_checks_by_hand_are_those_of_both() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    sends_blind(&ines, |answers| {
        answers["roof"] = json!({ "value": "open" });
        answers.insert("roll-over".into(), json!({ "value": "yes" }));
        answers.insert("helmet-line".into(), json!({ "value": 60, "unit": "mm" }));
    })
    .await;
    let holt = club.inspector("R. Holt").await;
    assert!(holt.opens("27").await.page.has("input[name='by-hand-helmet-line']"), "an open car is measured by hand");
    club.clock.pass(1);
    sends_blind(&ines, |_| ()).await;
    let car = holt.opens("27").await;
    assert!(car.page.has("input[name='by-hand-helmet-line']"), "it still is: both sheets are in force, the worse counts");
}

/// Any number of forks: a telephone gone mad, or a driver in a temper. The gate must still be able to stop the car.
#[tokio::test]
async fn a_history_with_sixty_forks_can_still_be_held_and_mended() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    for _ in 0..60 {
        sends_blind(&ines, |_| ()).await;
    }
    let holt = club.inspector("R. Holt").await;
    assert_eq!(holt.holds("27", "which sheet is right?").await.status(), StatusCode::SEE_OTHER, "a hold is always taken");
    assert_eq!(club.board_of("27").await.0, "flagged");
    let form = ines.ready_to_send().await;
    assert_eq!(ines.sends_form(&form).await.status(), StatusCode::SEE_OTHER, "the driver sends one that has seen them all");
    assert_eq!(holt.clears("27").await.status(), StatusCode::SEE_OTHER, "and the gate clears it");
}
