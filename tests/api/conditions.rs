//! What is asked depends on the car: an open one is asked for its roll bar, one with drums for its shoes.

use crate::club::{Club, Driver, Page};
use reqwest::StatusCode;
use serde_json::json;

async fn area(driver: &Driver<'_>, area: &str) -> Page {
    driver.person.get(&format!("{}/areas/{area}", driver.home())).await.page().await
}

async fn asks(driver: &Driver<'_>, id: &str, item: &str) -> bool {
    area(driver, id).await.has(&format!(":not(template) > section.item#{item}"))
}

#[tokio::test]
async fn an_open_car_is_asked_for_its_bar_and_a_closed_one_is_not() {
    let club = Club::open().await;
    let tomas = club.driver("114B").await;
    assert!(!tomas.looks().await.first("ul.areas").contains("Open car"), "before the roof is answered nothing hangs on it");
    assert_eq!(tomas.types("car", &[("roof", "open"), ("then", "stay")]).await.status(), StatusCode::SEE_OTHER);
    assert!(tomas.looks().await.first("ul.areas").contains("Open car"));
    for item in ["roll-over", "helmet-line"] {
        assert!(asks(&tomas, "open-car", item).await, "{item}");
    }
    tomas.types("open-car", &[("helmet-line", "40"), ("helmet-line.unit", "mm"), ("roll-over", "no")]).await;
    let home = tomas.looks().await;
    assert!(home.first(".todo").contains("40.0 mm. This sheet asks for at least 51.0 mm"), "{}", home.first(".todo"));
    assert!(home.first(".todo").contains("Nothing holds this open car up"));
    tomas.types("car", &[("roof", "closed"), ("then", "stay")]).await;
    let home = tomas.looks().await;
    assert!(!home.first("ul.areas").contains("Open car") && !home.has(".todo"), "a closed car has no such findings");
    tomas.types("car", &[("roof", "open"), ("then", "stay")]).await;
    assert_eq!(area(&tomas, "open-car").await.value_of("input[name=helmet-line]"), "40", "what was typed was kept meanwhile");
}

#[tokio::test]
async fn an_open_car_that_leaves_its_bar_out_is_not_whole() {
    let club = Club::open().await;
    let tomas = club.driver("114B").await;
    let sent = tomas.sends(|answers| answers["roof"] = json!({ "value": "open" })).await;
    assert_eq!(sent.status(), StatusCode::UNPROCESSABLE_ENTITY);
    assert_eq!(sent.json().await["missing"], json!(["roll-over", "helmet-line"]));
    let open = |line: i32| {
        move |answers: &mut serde_json::Map<String, serde_json::Value>| {
            answers["roof"] = json!({ "value": "open" });
            answers.insert("roll-over".into(), json!({ "value": "yes" }));
            answers.insert("helmet-line".into(), json!({ "value": line, "unit": "mm" }));
        }
    };
    assert_eq!(tomas.sends(open(-20)).await.status(), StatusCode::CREATED, "a helmet above the line is minus");
    assert_eq!(club.board_of("114B").await.0, "flagged");
    assert_eq!(tomas.sends(open(51)).await.status(), StatusCode::CREATED);
    assert_eq!(club.board_of("114B").await.0, "pending", "just the limit is enough");
    let car = club.inspector("R. Holt").await;
    assert!(car.opens("114B").await.page.has("input[name='by-hand-helmet-line']"), "measured again at the gate");
    assert!(!club.board_of("27").await.1.contains("helmet"));
}

#[tokio::test]
async fn drums_at_the_rear_are_asked_for_shoes_instead_of_pads() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    for (kind, pads, shoes, disc) in [
        ("discs", true, false, true),
        ("rear-drums", false, true, true),
        ("drums", false, true, false),
        ("discs", true, false, true),
    ] {
        ines.types("car", &[("brake-kind", kind), ("then", "stay")]).await;
        let asked = [
            asks(&ines, "brakes", "pad-rear").await,
            asks(&ines, "brakes", "shoe-rear").await,
            asks(&ines, "brakes", "disc-front").await,
        ];
        assert_eq!(asked, [pads, shoes, disc], "{kind}");
    }
    let sent = ines.sends(|answers| answers["brake-kind"] = json!({ "value": "rear-drums" })).await;
    assert_eq!(sent.json().await["missing"], json!(["shoe-rear"]), "the pads that are not there are not asked for");
}

#[tokio::test]
async fn an_answer_to_what_is_not_asked_flags_nobody_and_is_shown_to_nobody() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let thin = json!({ "at": { "lr": 0.5, "rr": 0.5 }, "unit": "mm" });
    assert_eq!(ines.sends(|answers| drop(answers.insert("shoe-rear".into(), thin))).await.status(), StatusCode::CREATED);
    assert_eq!(club.board_of("27").await.0, "pending", "a car with discs has no shoes");
    let holt = club.inspector("R. Holt").await;
    assert!(!holt.opens("27").await.page.text().contains("Brake shoe"));
}

/// The page is filled in by a script too: it learns whether other items follow from an answer.
#[tokio::test]
async fn a_page_that_is_being_filled_in_is_told_that_more_follows() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let says = |fields: &'static [(&'static str, &'static str)]| {
        let request = ines.person.client.post(ines.person.url(&format!("{}/areas/cabin", ines.home())));
        ines.person.send(request.header("accept", "application/json").form(fields))
    };
    let said = says(&[("loose-items", "yes")]).await.json().await;
    assert!(said["verdicts"]["extinguisher-service"].is_null(), "nothing is asked of an extinguisher yet: {said}");
    assert!(said["verdicts"]["loose-items"].as_str().is_some_and(|html| html.contains("In order")), "{said}");
    let said = says(&[("extinguisher-mount", "yes")]).await.json().await;
    assert!(said["verdicts"]["extinguisher-service"].is_string(), "an extinguisher has a date of service: {said}");
    let said = says(&[("extinguisher-service", "soon")]).await.json().await;
    assert!(said["troubles"]["extinguisher-service"].as_str().is_some_and(|words| words.contains("year-month-day")), "{said}");
}

#[tokio::test]
async fn an_area_that_the_sheet_does_not_have_is_not_there() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    for id in ["wings", "Brakes", "brakes%20", "..", "%00"] {
        let path = format!("{}/areas/{id}", ines.home());
        assert!(ines.person.get(&path).await.status().is_client_error(), "{id}");
        assert!(ines.person.post(&path, &[("pad-front.lf", "9")]).await.status().is_client_error(), "{id}");
    }
}
