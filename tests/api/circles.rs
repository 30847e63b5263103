//! Records that would, over others, have seen themselves: the door takes none of them, whoever sends them.

use crate::club::{Club, Driver, Inspector, sound_answers};
use reqwest::StatusCode;
use serde_json::json;

async fn sends(driver: &Driver<'_>, id: &str, seen: &[&str]) -> crate::club::Answer {
    let edition = driver.state().await.edition;
    let body = json!({ "id": id, "seen": seen, "edition": edition, "answers": sound_answers() });
    driver.person.post_json(&format!("{}/submissions", driver.home()), &body).await
}

#[tokio::test]
async fn two_submissions_that_name_each_other_are_not_both_taken() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let (first, second) = (club.new_id(), club.new_id());
    assert_eq!(sends(&ines, &first, &[&second]).await.status(), StatusCode::CREATED, "what it has seen may still be on its way");
    let refused = sends(&ines, &second, &[&first]).await;
    assert_eq!(refused.status(), StatusCode::UNPROCESSABLE_ENTITY);
    assert_eq!(
        sends(&ines, &first, &[&second]).await.status(),
        StatusCode::CREATED,
        "the first one sent again is answered as before"
    );
    assert_eq!(sends(&ines, &second, &[]).await.status(), StatusCode::CREATED, "under its own id it may come without");
    for number in ["7", "12", "27"] {
        assert_eq!(club.board_of(number).await.0, "pending", "the board is there for everybody");
    }
}

#[tokio::test]
async fn a_circle_over_several_records_is_not_closed_and_not_after_a_restart_either() {
    let mut club = Club::open().await;
    let (a, b, c) = (club.new_id(), club.new_id(), club.new_id());
    let (secret, entry) = {
        let ines = club.driver("27").await;
        assert_eq!(sends(&ines, &b, &[&a]).await.status(), StatusCode::CREATED);
        assert_eq!(sends(&ines, &c, &[&b]).await.status(), StatusCode::CREATED);
        (ines.secret.clone(), ines.entry.clone())
    };
    club.stops().await;
    club.starts_again().await;
    let person = crate::club::Person::come_in(&club.base, &secret).await;
    let ines = Driver { person, club: &club, entry, number: "27".into(), secret };
    assert_eq!(sends(&ines, &a, &[&c]).await.status(), StatusCode::UNPROCESSABLE_ENTITY, "a has seen c, b, a");
    assert_eq!(sends(&ines, &a, &[&a]).await.status(), StatusCode::UNPROCESSABLE_ENTITY, "nor itself");
    assert_eq!(sends(&ines, &club.new_id(), &[&c]).await.status(), StatusCode::CREATED, "any other goes on");
}

/// A sign-off by an inspector's device, with an id and what it says it has seen.
async fn holds(holt: &Inspector<'_>, id: &str, seen: &str) -> StatusCode {
    let car = holt.opens("27").await;
    car.signs(&[("id".into(), id.into()), ("seen".into(), seen.into())], "hold", "oil under the gearbox").await.status()
}

#[tokio::test]
async fn an_inspector_closes_no_circle_with_two_holds() {
    let club = Club::open().await;
    club.driver("27").await.sends(|_| ()).await;
    let holt = club.inspector("R. Holt").await;
    let (first, second) = (club.new_id(), club.new_id());
    assert_eq!(holds(&holt, &first, &second).await, StatusCode::SEE_OTHER, "a hold is taken whatever it has seen");
    assert_eq!(holds(&holt, &second, &first).await, StatusCode::UNPROCESSABLE_ENTITY);
    assert_eq!(club.board_of("27").await.0, "flagged");
}
