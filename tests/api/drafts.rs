//! A sheet typed on two devices is not merged in silence, and what a device sends twice is there once.

use crate::club::{Answer, Club, Driver, css};
use crate::tools::{png, submissions};
use reqwest::StatusCode;
use serde_json::{Value as Json, json};

fn brakes(driver: &Driver<'_>) -> String {
    format!("{}/areas/brakes", driver.home())
}

/// The hidden field of the area's page as it is now.
async fn was(driver: &Driver<'_>) -> String {
    driver.person.get(&brakes(driver)).await.page().await.value_of("input[name=_was]")
}

fn pads<'a>(lf: &'a str, was: &'a str) -> Vec<(&'static str, &'a str)> {
    vec![("pad-front.lf", lf), ("pad-front.unit", "mm"), ("_was", was)]
}

async fn stands(driver: &Driver<'_>, field: &str) -> String {
    driver.person.get(&brakes(driver)).await.page().await.value_of(&format!("input[name='{field}']"))
}

/// As the page's script sends it.
async fn by_script(driver: &Driver<'_>, fields: &[(&str, &str)]) -> (StatusCode, Json) {
    let request = driver.person.client.post(driver.person.url(&brakes(driver))).header("accept", "application/json");
    let answer = driver.person.send(request.form(fields)).await;
    (answer.status(), answer.json().await)
}

#[tokio::test]
async fn a_page_older_than_what_another_device_typed_writes_nothing_over_and_shows_both() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    ines.types("brakes", &pads("9", "")).await;
    let old = was(&ines).await;
    // The laptop goes ahead, the phone's page is old.
    ines.types("brakes", &pads("6", &old)).await;
    let mut fields = pads("7", &old);
    fields.extend([("pedal-firm", "yes"), ("pad-front.note", "left inner")]);
    let sent = ines.types("brakes", &fields).await;
    assert_eq!(sent.status(), StatusCode::CONFLICT);
    let page = sent.page().await;
    assert!(page.text().contains("Here: front left 7 mm, note: left inner"), "{}", page.text());
    assert!(page.text().contains("On the other device: front left 6 mm"), "{}", page.text());
    assert_eq!(stands(&ines, "pad-front.lf").await, "6", "nothing is written over");
    assert!(
        ines.person.get(&brakes(&ines)).await.page().await.has("input[name=pedal-firm][value=yes][checked]"),
        "the rest is kept"
    );

    // The page's own form, with each of its two choices; without one it asks again.
    let hidden = |name: &str| page.value_of(&format!("[data-both] input[name='{name}']"));
    let choices = css("[data-both] input[type=radio]");
    let values: Vec<String> = page.html.select(&choices).filter_map(|tap| tap.attr("value").map(str::to_owned)).collect();
    let form: Vec<(String, String)> = ["_was", "pad-front.lf", "pad-front.unit", "pad-front.note"]
        .iter()
        .map(|name| ((*name).to_owned(), hidden(name)))
        .collect();
    let choose = async |choice: Option<&str>| -> Answer {
        let mut fields: Vec<(&str, &str)> = form.iter().map(|(name, text)| (name.as_str(), text.as_str())).collect();
        fields.extend(choice.map(|choice| ("_choose.pad-front", choice)));
        ines.types("brakes", &fields).await
    };
    assert_eq!(choose(None).await.status(), StatusCode::CONFLICT, "without a choice it asks again");
    assert_eq!(choose(Some(&values[1])).await.status(), StatusCode::SEE_OTHER);
    assert_eq!(stands(&ines, "pad-front.lf").await, "6", "the other device's was chosen");
    assert_eq!(choose(Some(&values[0])).await.status(), StatusCode::SEE_OTHER);
    assert_eq!(stands(&ines, "pad-front.lf").await, "7", "this device's was chosen");
    assert_eq!(stands(&ines, "pad-front.unit").await, "mm");
}

#[tokio::test]
async fn a_choice_against_what_the_driver_did_not_see_is_asked_again() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let old = was(&ines).await;
    ines.types("brakes", &pads("6", &old)).await;
    let page = ines.types("brakes", &pads("7", &old)).await.page().await;
    let here = page.attr("[data-both] input[value^='here=']", "value");
    ines.types("brakes", &pads("5", &was(&ines).await)).await;
    let mut fields = pads("7", &old);
    fields.push(("_choose.pad-front", &here));
    assert_eq!(ines.types("brakes", &fields).await.status(), StatusCode::CONFLICT, "there it is 5 by now, and not 6");
    assert_eq!(stands(&ines, "pad-front.lf").await, "5");
}

#[tokio::test]
async fn the_same_page_twice_is_no_conflict_and_the_next_keystroke_goes_on() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let old = was(&ines).await;
    let (status, first) = by_script(&ines, &pads("7", &old)).await;
    assert_eq!(status, StatusCode::OK);
    // The answer was lost: the device sends the same again, from the page it has.
    let (status, again) = by_script(&ines, &pads("7", &old)).await;
    assert_eq!((status, &again["was"]), (StatusCode::OK, &first["was"]));
    let now = again["was"].as_str().expect("marks");
    assert_ne!(now, old);
    let (status, _) = by_script(&ines, &pads("6.5", now)).await;
    assert_eq!(status, StatusCode::OK);
    assert_eq!(stands(&ines, "pad-front.lf").await, "6.5");
}

#[tokio::test]
async fn a_page_that_did_not_touch_an_item_leaves_it_as_the_other_device_typed_it_and_says_so() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    ines.types("brakes", &pads("9", "")).await;
    let old = was(&ines).await;
    ines.types("brakes", &pads("6", &old)).await;
    let mut fields = pads("9", &old);
    fields.push(("pedal-firm", "yes"));
    let (status, said) = by_script(&ines, &fields).await;
    assert_eq!(status, StatusCode::OK);
    assert_eq!(said["elsewhere"], json!("Typed on another device meanwhile: Brake pad"));
    // Sent again with the marks it was given: an old reading in an old form does not come back that way either.
    let mut fields = pads("9", said["was"].as_str().expect("marks"));
    fields.push(("pedal-firm", "no"));
    by_script(&ines, &fields).await;
    assert_eq!(stands(&ines, "pad-front.lf").await, "6");
    let page = ines.types("brakes", &pads("9", &old)).await;
    assert_eq!(page.status(), StatusCode::OK, "without script the page comes back and says it");
    assert!(page.page().await.first(".alert").contains("Typed on another device meanwhile"));
}

#[tokio::test]
async fn what_was_sent_counts_as_what_stood_there() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    ines.sends(|answers| answers["pad-front"]["at"]["lf"] = json!(8)).await;
    let old = was(&ines).await;
    assert_eq!(ines.types("brakes", &pads("7", &old)).await.status(), StatusCode::SEE_OTHER, "the page showed what was sent");
    assert_eq!(ines.types("brakes", &pads("6", &old)).await.status(), StatusCode::CONFLICT, "and it is old now");
}

#[tokio::test]
async fn marks_that_no_page_has_are_a_conflict_and_no_way_in() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    ines.types("brakes", &pads("8", "")).await;
    for marks in ["pad-front=", "pad-front=0", "pad-front=zzzz", "pad-front=0 pad-front=1"] {
        let sent = ines.types("brakes", &pads("7", marks)).await;
        assert_eq!(sent.status(), StatusCode::CONFLICT, "{marks}");
    }
    assert_eq!(stands(&ines, "pad-front.lf").await, "8");
}

/// Sends a photo as a device does, under an id of its own.
async fn adds(driver: &Driver<'_>, id: &str, grey: u32) -> StatusCode {
    let part = reqwest::multipart::Part::bytes(png(grey, 8)).file_name("photo.jpg");
    let form = reqwest::multipart::Form::new().text("id", id.to_owned()).part("photo", part);
    let path = driver.person.url(&format!("{}/items/photos/photos", driver.home()));
    driver.person.send(driver.person.client.post(path).multipart(form)).await.status()
}

async fn photos(driver: &Driver<'_>) -> Vec<String> {
    let page = driver.person.get(&format!("{}/areas/papers", driver.home())).await.page().await;
    let pictures = css(".photos img");
    page.html.select(&pictures).filter_map(|img| img.attr("src")?.rsplit('/').next().map(str::to_owned)).collect()
}

#[tokio::test]
async fn a_photo_sent_twice_is_there_once_even_where_no_more_fit() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let ids: Vec<String> = (0..3).map(|_| club.new_id()).collect();
    for id in &ids {
        assert_eq!(adds(&ines, id, 8).await, StatusCode::SEE_OTHER);
    }
    for id in &ids {
        assert_eq!(adds(&ines, id, 8).await, StatusCode::SEE_OTHER, "it is here already, and takes no place");
    }
    assert_eq!(photos(&ines).await, ids);
    assert_eq!(adds(&ines, &club.new_id(), 8).await, StatusCode::PAYLOAD_TOO_LARGE, "a fourth is one too many");
    assert_eq!(photos(&ines).await.len(), 3);
}

#[tokio::test]
async fn two_photos_sent_at_the_same_moment_are_both_there() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let (one, other) = (club.new_id(), club.new_id());
    let both = tokio::join!(adds(&ines, &one, 8), adds(&ines, &other, 9));
    assert_eq!(both, (StatusCode::SEE_OTHER, StatusCode::SEE_OTHER));
    assert_eq!(photos(&ines).await.len(), 2, "neither wrote the other out of the list");
}

#[tokio::test]
async fn an_id_of_another_cars_photo_or_of_no_device_is_refused() {
    let club = Club::open().await;
    let (ines, marta) = (club.driver("27").await, club.driver("7").await);
    let id = club.new_id();
    assert_eq!(adds(&ines, &id, 8).await, StatusCode::SEE_OTHER);
    assert_eq!(adds(&marta, &id, 8).await, StatusCode::CONFLICT);
    assert_eq!(photos(&marta).await.len(), 0, "another car's photo is not shown by its id");
    for id in ["", "photo", "9b1deb4d-3b7d-4bad-9bdd-2b0d7b3dcb6d"] {
        assert_eq!(adds(&marta, id, 8).await, StatusCode::UNPROCESSABLE_ENTITY, "{id:?}");
    }
}

/// What the device's queue sends: a record of the tap, for what was kept here as it was typed.
async fn tap(driver: &Driver<'_>) -> Json {
    let known = driver.state().await;
    json!({ "id": driver.club.new_id(), "seen": known.seen, "edition": known.edition, "made_at": "2026-05-09T05:30:00Z" })
}

#[tokio::test]
async fn a_tap_that_is_sent_again_after_more_was_typed_is_answered_as_before() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    ines.sends(|_| ()).await;
    let tap = tap(&ines).await;
    for lf in ["7", "6"] {
        let was = was(&ines).await;
        let mut fields = pads(lf, &was);
        fields.push(("pad-front.rf", "8"));
        ines.types("brakes", &fields).await;
        let sent = ines.person.post_json(&submissions(&ines), &tap).await;
        assert_eq!(sent.status(), StatusCode::CREATED, "{lf}");
        assert_eq!(sent.json().await["id"], tap["id"]);
    }
    assert_eq!(club.history_of("27").await.len(), 2, "the first sheet, and one of this tap");
    assert!(ines.heading().await.contains("Everything is answered"), "what was typed since waits to be sent");
}

#[tokio::test]
async fn a_tap_on_a_sheet_that_is_not_whole_is_told_what_is_missing_and_where() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    ines.types("brakes", &pads("7", "")).await;
    let sent = ines.person.post_json(&submissions(&ines), &tap(&ines).await).await;
    assert_eq!(sent.status(), StatusCode::UNPROCESSABLE_ENTITY);
    let said = sent.json().await;
    let href = said["mend"]["href"].as_str().expect("where it is mended");
    assert_eq!(ines.person.get(href).await.status(), StatusCode::OK, "{href}");
    let first = said["missing"][0].as_str().expect("an item");
    assert!(href.ends_with(&format!("#{first}")), "{said}");
}
