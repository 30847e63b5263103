//! A refused clear says who did what meanwhile, in the event's times: to a script and on the page.

use crate::club::{Club, OpenCar};
use crate::tools::{pairs, sheet_with_a_new_item, sheet_with_thicker_pads};
use reqwest::StatusCode;
use serde_json::json;

/// Clears from an old page, as the phone's script does and as a form: neither is recorded. Gives what the script is told, and
/// checks that the page begins with the same.
async fn is_told(car: &OpenCar<'_>) -> String {
    let person = &car.inspector.person;
    let mut fields = car.all_ticked();
    fields.push(("deed".into(), "clear".into()));
    let path = format!("{}/sign-offs", car.path);
    let request = person.client.post(person.url(&path)).header("accept", "application/json");
    let refused = person.send(request.form(&pairs(&fields))).await;
    assert_eq!(refused.status(), StatusCode::CONFLICT);
    let told = refused.json().await["error"].as_str().unwrap_or_default().to_owned();
    let refused = car.clears().await;
    assert_eq!(refused.status(), StatusCode::CONFLICT);
    let page = refused.page().await;
    let alert = page.first("main > .alert[role=alert]:not(.news)");
    assert_eq!(alert, format!("{told} Nothing was recorded. Below is how it stands now: look again."));
    told
}

#[tokio::test]
async fn a_hold_that_came_meanwhile_is_told_with_its_time_maker_and_reason() {
    let club = Club::open().await;
    club.driver("27").await.sends(|_| ()).await;
    let (holt, vane) = (club.inspector("R. Holt").await, club.inspector("S. Vane, lane 3").await);
    let car = holt.opens("27").await;
    club.clock.pass(42);
    vane.holds("27", "oil on the sill").await;
    assert_eq!(is_told(&car).await, "Held 07:42 by S. Vane, lane 3: oil on the sill.");
    assert_eq!(club.history_of("27").await.len(), 2, "the sheet and the hold");
}

#[tokio::test]
async fn a_new_sheet_that_came_meanwhile_is_told_with_how_much_changed() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    ines.sends(|_| ()).await;
    let holt = club.inspector("R. Holt").await;
    let car = holt.opens("27").await;
    club.clock.pass(40);
    let two = |answers: &mut serde_json::Map<String, serde_json::Value>| {
        answers["pad-front"]["at"]["lf"] = json!(7.5);
        answers["tyre-date"]["at"]["rr"] = json!("1023");
    };
    ines.sends(two).await;
    assert_eq!(is_told(&car).await, "A new sheet came 07:40: 2 answers changed.");
    club.clock.pass(2);
    ines.sends(two).await;
    let told = "A new sheet came 07:42: no answer changed. A new sheet came 07:40: 2 answers changed.";
    assert_eq!(is_told(&car).await, told, "the newest first");
}

#[tokio::test]
async fn a_clear_and_its_end_that_came_meanwhile_are_told() {
    let club = Club::open().await;
    club.driver("27").await.sends(|_| ()).await;
    let (holt, vane) = (club.inspector("R. Holt").await, club.inspector("S. Vane").await);
    let car = holt.opens("27").await;
    club.clock.pass(41);
    assert_eq!(vane.clears("27").await.status(), StatusCode::SEE_OTHER);
    assert_eq!(is_told(&car).await, "Cleared 07:41 by S. Vane.");
    club.clock.pass(3);
    let page = club.car_page("27").await;
    let hidden = |name: &str| page.value_of(&format!("form[action$=withdrawals] input[name={name}]"));
    let path = format!("/club/events/{}/entries/{}/withdrawals", club.event, club.entry("27").await);
    let form = [("id", hidden("id")), ("seen", hidden("seen")), ("reason", "Spun at turn 4!".to_owned())];
    let form: Vec<(&str, &str)> = form.iter().map(|(name, text)| (*name, text.as_str())).collect();
    assert_eq!(club.organizer.post(&path, &form).await.status(), StatusCode::SEE_OTHER);
    assert_eq!(is_told(&car).await, "Clearance taken back 07:44 by M. Ashdown: Spun at turn 4! Cleared 07:41 by S. Vane.");
}

#[tokio::test]
async fn a_sheet_that_was_raised_meanwhile_is_told_with_its_edition() {
    let club = Club::open().await;
    club.driver("27").await.sends(|_| ()).await;
    let holt = club.inspector("R. Holt").await;
    let car = holt.opens("27").await;
    club.clock.pass(30);
    club.raise_to(&club.event, &sheet_with_a_new_item()).await;
    assert_eq!(is_told(&car).await, "The sheet was raised to edition 2, 07:30.");
    // The raise that the page was made after is no news.
    let car = holt.opens("27").await;
    club.clock.pass(1);
    club.raise_to(&club.event, &sheet_with_thicker_pads()).await;
    assert_eq!(is_told(&car).await, "The sheet was raised to edition 3, 07:31.");
}

/// What a script hears of a sign-off that is taken: the time by the event's clocks, however often it is sent.
#[tokio::test]
async fn a_sign_off_that_is_recorded_is_answered_with_the_time_at_which_it_arrived_first() {
    let club = Club::open().await;
    club.driver("27").await.sends(|_| ()).await;
    let holt = club.inspector("R. Holt").await;
    let mut fields = holt.opens("27").await.all_ticked();
    fields.push(("deed".into(), "clear".into()));
    let path = format!("{}/sign-offs", holt.opens("27").await.path);
    for _ in 0..2 {
        let request = holt.person.client.post(holt.person.url(&path)).header("accept", "application/json");
        let taken = holt.person.send(request.form(&pairs(&fields))).await;
        assert_eq!(taken.status(), StatusCode::CREATED);
        assert_eq!(taken.json().await, json!({ "at": "07:00" }));
        club.clock.pass(5);
    }
}
