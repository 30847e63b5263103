//! Working an answer out beside its field: the readings are kept, and the answer and its verdict come from them.

use crate::club::Club;
use reqwest::StatusCode;
use serde_json::json;

#[tokio::test]
async fn a_driver_works_out_whether_the_tyres_carry_the_axle() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let form = [
        ("tyre-rating.w.units", "metric"),
        ("tyre-rating.w.marking", "205/55R16 91W"),
        ("tyre-rating.w.axle_load_kg", "1100"),
        ("tyre-rating.w.top_speed_kmh", "210"),
    ];
    ines.types("tyres", &form).await;
    let page = ines.person.get(&format!("{}/areas/tyres", ines.home())).await.page().await;
    assert_eq!(
        page.first("[data-verdict=tyre-rating]"),
        "In order",
        "load index 91 is 615 kg, two tyres carry 1230 kg (ISO 4000-1)"
    );
    assert_eq!(page.value_of("input[name=\"tyre-rating.w.axle_load_kg\"]"), "1100", "the reading stays in its field");
    let heavier = [form[0], form[1], ("tyre-rating.w.axle_load_kg", "1300"), form[3]];
    ines.types("tyres", &heavier).await;
    let page = ines.person.get(&format!("{}/areas/tyres", ines.home())).await.page().await;
    let verdict = page.first("[data-verdict=tyre-rating]");
    assert!(verdict.starts_with("fix") && verdict.contains("1300"), "1300 kg are more than 1230 kg: {verdict}");
}

#[tokio::test]
async fn a_reading_that_cannot_be_is_named_at_its_field_and_kept() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let answer = ines.types("tyres", &[("tyre-rating.w.marking", "205/55 banana")]).await;
    assert_eq!(answer.status(), StatusCode::UNPROCESSABLE_ENTITY);
    let page = answer.page().await;
    assert_eq!(page.value_of("input[name=\"tyre-rating.w.marking\"]"), "205/55 banana", "what was typed stays");
    assert!(!page.first("[data-trouble=\"tyre-rating.w.marking\"]").is_empty(), "the field says what is wrong");
}

#[tokio::test]
async fn a_measured_boiling_point_outranks_the_age_of_the_fluid() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let old = json!({ "value": "2025-06-01" });
    ines.sends(|answers| answers["fluid-age"] = old).await;
    assert_eq!(club.board_of("27").await.0, "flagged", "eleven months, six are allowed");
    let measured = json!({ "worked": { "grade": "DOT 4", "flushed": "2025-06-01", "measured_boil_c": 224 } });
    ines.sends(|answers| answers["fluid-age"] = measured).await;
    assert_eq!(club.board_of("27").await.0, "pending", "224 \u{b0}C measured: the age no longer holds the car");
    let boiled = json!({ "worked": { "grade": "DOT 4", "flushed": "2026-04-01", "measured_boil_c": 150 } });
    ines.sends(|answers| answers["fluid-age"] = boiled).await;
    assert_eq!(club.board_of("27").await.0, "flagged", "fresh by the log, but it boils at 150 \u{b0}C");
}

#[tokio::test]
async fn the_inspector_sees_the_readings_behind_an_answer() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let worked = json!({ "worked": { "marking": "205/55R16 91W", "axle_load_kg": 1100, "top_speed_kmh": 210 } });
    assert_eq!(ines.sends(|answers| answers["tyre-rating"] = worked).await.status(), StatusCode::CREATED);
    let page = club.inspector("R. Holt").await.opens("27").await.page.text();
    assert!(page.contains("Worked out:") && page.contains("205/55R16 91W") && page.contains("1100 kg"), "{page}");
}

#[tokio::test]
async fn american_readings_give_the_same_answer() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let form = [
        ("tyre-rating.w.units", "us"),
        ("tyre-rating.w.marking", "205/55R16 91W"),
        ("tyre-rating.w.axle_load_kg", "2866"),
        ("tyre-rating.w.top_speed_kmh", "130"),
    ];
    ines.types("tyres", &form).await;
    let page = ines.person.get(&format!("{}/areas/tyres", ines.home())).await.page().await;
    let verdict = page.first("[data-verdict=tyre-rating]");
    assert!(verdict.starts_with("fix"), "2866 lb are 1300 kg, more than 1230 kg: {verdict}");
}

#[tokio::test]
async fn an_answer_beside_readings_that_say_otherwise_does_not_count() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let lie = json!({ "value": "yes", "worked": { "marking": "205/55R16 91W", "axle_load_kg": 1300, "top_speed_kmh": 210 } });
    ines.sends(|answers| answers["tyre-rating"] = lie).await;
    assert_eq!(club.board_of("27").await.0, "flagged", "the readings say no, whatever stands beside them");
}

#[tokio::test]
async fn readings_of_a_worksheet_that_is_not_the_items_are_refused() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let foreign = ines.sends(|answers| answers["lug-nuts-present"]["worked"] = json!({ "code": "1224" })).await;
    assert_eq!(foreign.status(), StatusCode::UNPROCESSABLE_ENTITY, "lug nuts have no worksheet");
    let unknown =
        ines.sends(|answers| answers["tyre-rating"]["worked"] = json!({ "marking": "205/55R16 91W", "colour": "red" })).await;
    assert_eq!(unknown.status(), StatusCode::UNPROCESSABLE_ENTITY, "a reading that the worksheet does not know");
}
