//! Answers that cannot be: a driver's device sends its file, the program says which item is wrong and why, and keeps
//! nothing of it.

use crate::club::{Club, Driver};
use crate::tools::{file_of, heard, listen, submissions};
use reqwest::StatusCode;
use serde_json::{Value as Json, json};

/// Sends a whole sheet with one answer spoilt. The driver must be told which and why, and nothing may be recorded.
async fn is_refused(ines: &Driver<'_>, item: &str, answer: Json, words: &str) {
    let sent = ines.sends(|answers| drop(answers.insert(item.to_owned(), answer.clone()))).await;
    let status = sent.status();
    let said = sent.text().await;
    assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY, "{item} = {answer}: {said}");
    let said: Json = serde_json::from_str(&said).expect("a device is answered in JSON");
    assert!(said["error"].as_str().is_some_and(|text| !text.is_empty()), "a sentence: {said}");
    let about = said["answers"][item][0].as_str().unwrap_or_default();
    assert!(about.contains(words), "{item} = {answer}: the driver is told \"{words}\", not: {said}");
    assert_eq!(ines.club.board_of("27").await, ("pending".into(), "nothing sent".into()), "{item} = {answer}");
}

#[tokio::test]
async fn a_reading_out_of_range_or_in_another_unit_is_named() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let at = |lf: Json| json!({ "at": { "lf": lf, "rf": 9 }, "unit": "mm" });
    is_refused(&ines, "pad-front", at(json!(250)), "250.0 mm cannot be: this lies between 0.0 and 25.0 mm").await;
    is_refused(&ines, "pad-front", at(json!(-0.1)), "cannot be").await;
    is_refused(&ines, "pad-front", at(json!(1e300)), "Type a number").await;
    is_refused(&ines, "pad-front", json!({ "at": { "lf": 9, "rf": 9 }, "unit": "kPa" }), "measured in mm or 1/32 in").await;
    is_refused(&ines, "pad-front", json!({ "at": { "lf": 9, "rf": 9 }, "unit": "furlong" }), "measured in mm").await;
    is_refused(&ines, "pad-front", json!({ "at": { "lf": 9, "rf": 9, "rr": 9 }, "unit": "mm" }), "\"rr\"").await;
    is_refused(&ines, "steering-play", json!({ "value": 10, "unit": 7 }), "does not fit").await;
}

#[tokio::test]
async fn an_answer_of_the_wrong_kind_is_named() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    is_refused(&ines, "pad-front", json!({ "at": { "lf": "nine", "rf": 9 } }), "A number is wanted").await;
    is_refused(&ines, "pad-front", json!({ "at": { "lf": null, "rf": 9 } }), "A number is wanted").await;
    is_refused(&ines, "pad-front", json!({ "at": [9, 9] }), "does not fit").await;
    is_refused(&ines, "pad-front", json!({ "value": 9 }), "under \"at\"").await;
    is_refused(&ines, "lug-nuts-present", json!({ "value": 5 }), "A text is wanted").await;
    is_refused(&ines, "lug-nuts-present", json!({ "value": "maybe" }), "yes or no").await;
    is_refused(&ines, "lug-nuts-present", json!({ "value": "n/a" }), "applies to every car").await;
    is_refused(&ines, "lug-nuts-present", json!({ "value": "yes", "sure": true }), "not a part of an answer").await;
    is_refused(&ines, "lug-nuts-present", json!(null), "An answer is an object").await;
    is_refused(&ines, "lug-nuts-present", json!(["yes"]), "An answer is an object").await;
    is_refused(&ines, "roof", json!({ "value": "glass" }), "one of the answers listed").await;
    is_refused(&ines, "helmet-label", json!({ "value": { "label": "" } }), "A text is wanted").await;
    is_refused(&ines, "helmet-label", json!({ "value": { "label": "SA2020", "colour": "red" } }), "not a part of a label").await;
    is_refused(&ines, "photos", json!({ "value": "yes" }), "with photos").await;
    is_refused(&ines, "photos", json!({ "photo": [4] }), "list of photo ids").await;
}

#[tokio::test]
async fn a_day_or_a_tyre_code_that_cannot_be_is_named() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    is_refused(&ines, "fluid-age", json!({ "value": "2026-02-30" }), "year-month-day").await;
    is_refused(&ines, "fluid-age", json!({ "value": "09/05/2026" }), "year-month-day").await;
    is_refused(&ines, "fluid-age", json!({ "value": "0026-05-01" }), "year-month-day").await;
    is_refused(&ines, "fluid-age", json!({ "value": "2026-05-10" }), "still to come").await;
    let codes = |lf: &str| json!({ "at": { "lf": lf, "rf": "1224", "lr": "1224", "rr": "1224" } });
    for code in ["6024", "0024", "12", "5226", "zz24", "\u{0}"] {
        is_refused(&ines, "tyre-date", codes(code), "").await;
    }
}

#[tokio::test]
async fn a_text_too_long_or_with_signs_that_cannot_be_kept_is_named() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    is_refused(&ines, "tyre-marking", json!({ "value": "x".repeat(81) }), "At most 80 characters; this has 81").await;
    is_refused(&ines, "tyre-marking", json!({ "value": "225\u{7}45" }), "control character").await;
    is_refused(&ines, "tyre-marking", json!({ "value": "225\u{0}45" }), "control character").await;
    is_refused(&ines, "oil-leak", json!({ "value": "yes", "note": "n".repeat(1001) }), "At most 1000 characters").await;
    is_refused(&ines, "oil-leak", json!({ "value": "yes", "note": "dry\u{1b}[2J" }), "control character").await;
}

#[tokio::test]
async fn an_item_that_the_sheet_does_not_have_is_named() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    is_refused(&ines, "wings", json!({ "value": "yes" }), "no such item").await;
    is_refused(&ines, "../oil-leak", json!({ "value": "yes" }), "no such item").await;
}

/// A required photo would else be answered by a word, and another driver's picture would stand as this car's.
#[tokio::test]
async fn a_photo_that_nobody_took_is_not_an_answer() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    is_refused(&ines, "photos", json!({ "photo": ["no-such-photo"] }), "").await;
    is_refused(&ines, "photos", json!({ "photo": [club.new_id()] }), "").await;
}

/// The command line refuses it too: of two answers to one item neither may be lost in silence.
#[tokio::test]
async fn two_answers_to_one_item_are_not_one_answer() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let file = file_of(&ines, |answers| drop(answers.insert("pad-front".into(), json!("HERE")))).await.to_string();
    let twice = r#"{"at":{"lf":2.1,"rf":9}},"pad-front":{"at":{"lf":9,"rf":9}}"#;
    let sent = ines.person.post_bytes(&submissions(&ines), "application/json", file.replace("\"HERE\"", twice)).await;
    assert_eq!(sent.status(), StatusCode::UNPROCESSABLE_ENTITY, "a thin pad may not be hidden behind a second answer");
    assert_eq!(club.board_of("27").await.1, "nothing sent");
}

#[tokio::test]
async fn everything_that_is_missing_is_named_and_nothing_is_sent() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let sent = ines.sends(|answers| ["oil-leak", "pad-rear"].into_iter().for_each(|item| drop(answers.remove(item)))).await;
    assert_eq!(sent.status(), StatusCode::UNPROCESSABLE_ENTITY);
    let said = sent.json().await;
    assert_eq!(said["missing"], json!(["pad-rear", "oil-leak"]), "in the order of the sheet");
    assert_eq!(said["error"], "2 items are not answered yet");
    let one_pad = ines.sends(|answers| answers["pad-front"] = json!({ "at": { "lf": 9 }, "unit": "mm" })).await;
    assert_eq!(one_pad.json().await["missing"], json!(["pad-front"]), "one of two pads is no whole answer");
    assert_eq!(club.board_of("27").await.1, "nothing sent");
}

/// The same text as an old program writes it: one byte a letter.
fn latin_1(text: &str) -> Vec<u8> {
    text.chars().map(|letter| u8::try_from(u32::from(letter)).expect("a letter of latin-1")).collect()
}

#[tokio::test]
async fn a_file_that_is_no_file_of_answers_is_refused_with_a_sentence() {
    listen();
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let good = file_of(&ines, |_| ()).await;
    let without = |key: &str| {
        let mut file = good.clone();
        file.as_object_mut().expect("an object").remove(key);
        file.to_string()
    };
    let with = |key: &str, value: Json| {
        let mut file = good.clone();
        file[key] = value;
        file.to_string()
    };
    let cases: Vec<(&str, Vec<u8>)> = vec![
        ("empty", Vec::new()),
        ("cut short", good.to_string().into_bytes()[..200].to_vec()),
        ("a list", b"[]".to_vec()),
        ("a word", b"\"answers\"".to_vec()),
        ("two files", format!("{good}{good}").into_bytes()),
        ("latin-1", latin_1(&with("answers", json!({ "oil-leak": { "value": "yes", "note": "\u{e9}t\u{e9}" } })))),
        ("UTF-16", good.to_string().encode_utf16().flat_map(u16::to_le_bytes).collect()),
        ("a number beyond all", with("id", json!("X")).replace("\"X\"", "1e999").into_bytes()),
        ("nested without end", "[".repeat(100_000).into_bytes()),
        ("nested answers without end", format!("{{\"answers\":{}", "{\"a\":".repeat(50_000)).into_bytes()),
        ("no id", without("id").into_bytes()),
        ("no seen", without("seen").into_bytes()),
        ("no edition", without("edition").into_bytes()),
        ("no answers", without("answers").into_bytes()),
        ("an id that is a number", with("id", json!(5)).into_bytes()),
        ("an id that is a word", with("id", json!("seven")).into_bytes()),
        ("seen that is a word", with("seen", json!("all")).into_bytes()),
        ("answers in a list", with("answers", json!([])).into_bytes()),
        ("a field that nobody knows", with("force", json!(true)).into_bytes()),
        ("a time that is none", with("made_at", json!("yesterday")).into_bytes()),
    ];
    for (what, bytes) in cases {
        let sent = ines.person.post_bytes(&submissions(&ines), "application/json", bytes).await;
        let status = sent.status();
        assert!([StatusCode::BAD_REQUEST, StatusCode::UNPROCESSABLE_ENTITY].contains(&status), "{what}: {status}");
        let said = sent.json().await;
        assert!(said["error"].as_str().is_some_and(|text| text.len() > 10), "{what}: a sentence, not {said}");
    }
    assert_eq!(club.board_of("27").await.1, "nothing sent", "none of them was taken");
    assert_eq!(heard(), "", "bad input is no fault of the program");
}

#[tokio::test]
async fn another_content_type_is_415_and_too_large_is_413() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let file = file_of(&ines, |_| ()).await.to_string();
    for kind in ["text/plain", "application/xml", "multipart/form-data", "application/octet-stream", ""] {
        let sent = ines.person.post_bytes(&submissions(&ines), kind, file.clone()).await;
        assert_eq!(sent.status(), StatusCode::UNSUPPORTED_MEDIA_TYPE, "sent as \"{kind}\"");
        assert!(!sent.page().await.first("h1").is_empty(), "the page says so");
    }
    let none = ines.person.send(ines.person.client.post(ines.person.url(&submissions(&ines))).body(file)).await;
    assert_eq!(none.status(), StatusCode::UNSUPPORTED_MEDIA_TYPE, "sent as nothing at all");
    for kind in ["application/json", "application/x-www-form-urlencoded"] {
        let sent = ines.person.post_bytes(&submissions(&ines), kind, vec![b' '; 2_000_000]).await;
        assert_eq!(sent.status(), StatusCode::PAYLOAD_TOO_LARGE, "two megabytes as {kind}");
        assert!(sent.text().await.contains("too large"), "it is said in words");
    }
    assert_eq!(club.board_of("27").await.1, "nothing sent");
}

/// A telephone whose clock is off must not break the pages of those who read the history.
#[tokio::test]
async fn a_device_with_a_wild_clock_is_taken_and_its_car_can_still_be_read() {
    let club = Club::open().await;
    let holt = club.inspector("R. Holt").await;
    let ines = club.driver("27").await;
    // Half an hour after the event was made: what says that it is older is not believed.
    club.clock.pass(60);
    for made in ["2026-05-09T06:30:00Z", "1970-01-01T00:00:00Z", "-009999-01-02T01:59:59Z", "9999-12-30T22:00:00Z"] {
        let mut file = file_of(&ines, |_| ()).await;
        file["made_at"] = json!(made);
        assert_eq!(ines.person.post_json(&submissions(&ines), &file).await.status(), StatusCode::CREATED, "made at {made}");
        assert_eq!(ines.person.get(&ines.home()).await.status(), StatusCode::OK, "the driver reads on, made at {made}");
        assert!(holt.opens("27").await.page.text().contains("Ines Okafor"), "the inspector reads on, made at {made}");
        assert!(club.car_page("27").await.text().contains("Ines Okafor"), "the organizer reads on, made at {made}");
    }
    assert!(
        club.car_page("27").await.text().contains("made 07:30 on the device"),
        "a sheet that came late says when it was made"
    );
}
