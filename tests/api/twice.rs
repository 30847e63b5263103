//! Sent twice, sent under an id that is taken, sent with ids that cannot be: nothing is doubled, nothing is mixed up.

use crate::club::{Club, Person};
use crate::tools::{field, file_of, pairs, sign_offs, submissions, with_field};
use reqwest::StatusCode;
use serde_json::{Value as Json, json};

const V4: &str = "8c1f5b0e-3b7a-4e0c-9d55-0b7f2f1a6c11";

async fn records(club: &Club) -> i64 {
    club.house.store.count_records().await.expect("a count")
}

#[tokio::test]
async fn a_file_sent_twice_is_one_submission_and_answered_alike() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let file = file_of(&ines, |_| ()).await;
    let mut answers: Vec<(StatusCode, Json)> = Vec::new();
    for _ in 0..3 {
        let sent = ines.person.post_json(&submissions(&ines), &file).await;
        answers.push((sent.status(), sent.json().await));
        club.clock.pass(5);
    }
    assert_eq!(answers[0], (StatusCode::CREATED, json!({ "id": file["id"] })));
    assert!(answers.iter().all(|answer| *answer == answers[0]), "a device that missed the answer gets the same one: {answers:?}");
    assert_eq!(club.history_of("27").await, ["submission 1 by Ines Okafor (driver)"]);
}

#[tokio::test]
async fn a_thumb_that_taps_send_twice_sends_once() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    ines.sends(|_| ()).await;
    ines.types("brakes", &[("pad-front.lf", "8"), ("pad-front.rf", "8"), ("pad-front.unit", "mm")]).await;
    let form = ines.ready_to_send().await;
    let (one, two) = tokio::join!(ines.sends_form(&form), ines.sends_form(&form));
    for sent in [one, two] {
        assert_eq!((sent.status(), sent.location()), (StatusCode::SEE_OTHER, ines.home()));
    }
    assert_eq!(club.history_of("27").await.len(), 2, "the first sheet and the one tapped twice");
}

#[tokio::test]
async fn one_id_with_other_content_is_refused_and_what_was_sent_stays() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let file = file_of(&ines, |_| ()).await;
    ines.person.post_json(&submissions(&ines), &file).await;
    let mut other = file.clone();
    other["answers"]["pad-front"]["at"]["lf"] = json!(2.1);
    let sent = ines.person.post_json(&submissions(&ines), &other).await;
    assert_eq!(sent.status(), StatusCode::CONFLICT);
    assert!(sent.json().await["error"].as_str().is_some_and(|text| text.contains("belongs to another record")));
    let mut other = file.clone();
    other["seen"] = json!([club.new_id()]);
    assert_eq!(ines.person.post_json(&submissions(&ines), &other).await.status(), StatusCode::CONFLICT, "seen is content too");
    assert_eq!(club.board_of("27").await.0, "pending", "the pad of the second file was not taken");
    assert_eq!(records(&club).await, 1);
}

#[tokio::test]
async fn a_page_sent_again_after_more_was_typed_is_refused_and_the_typed_stays() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    ines.sends(|_| ()).await;
    let pads = |lf| [("pad-front.lf", lf), ("pad-front.rf", "8"), ("pad-front.unit", "mm")];
    ines.types("brakes", &pads("8")).await;
    let form = ines.ready_to_send().await;
    ines.sends_form(&form).await;
    ines.types("brakes", &pads("7.5")).await;
    let again = ines.sends_form(&form).await;
    assert_eq!(again.status(), StatusCode::CONFLICT, "the old page has been sent already");
    assert!(again.page().await.text().contains("Open the page again"), "it says what to do");
    let page = ines.person.get(&format!("{}/areas/brakes", ines.home())).await.page().await;
    assert_eq!(page.value_of("input[name='pad-front.lf']"), "7.5", "what was typed is kept");
    assert_eq!(records(&club).await, 2);
}

#[tokio::test]
async fn an_id_of_another_drivers_record_or_another_kind_of_record_is_taken() {
    let club = Club::open().await;
    let (ines, marta) = (club.driver("27").await, club.driver("7").await);
    let file = file_of(&ines, |_| ()).await;
    ines.person.post_json(&submissions(&ines), &file).await;
    let mut stolen = file_of(&marta, |_| ()).await;
    stolen["id"] = file["id"].clone();
    assert_eq!(marta.person.post_json(&submissions(&marta), &stolen).await.status(), StatusCode::CONFLICT);
    assert_eq!(club.board_of("7").await.1, "nothing sent");
    let holt = club.inspector("R. Holt").await;
    marta.sends(|_| ()).await;
    let car = holt.opens("7").await;
    let fields = with_field(&car.all_ticked(), "id", file["id"].as_str().expect("an id"));
    assert_eq!(car.signs(&fields, "clear", "").await.status(), StatusCode::CONFLICT, "a clear under a submission's id");
    assert_eq!(car.signs(&fields, "hold", "bald tyre").await.status(), StatusCode::CONFLICT, "a hold under a submission's id");
    assert_eq!(club.board_of("7").await.0, "pending");
    assert_eq!(records(&club).await, 2, "the two submissions");
}

/// RFC 9110, 15.5.21: what can be read but not be done with as it is, is 422; 409 (15.5.10) is for the state of the car.
#[tokio::test]
async fn ids_that_no_device_makes_are_refused_as_content_that_cannot_be_used() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let with = |key: &'static str, value: Json| {
        let ines = &ines;
        async move {
            let mut file = file_of(ines, |_| ()).await;
            file[key] = value;
            if key == "itself" {
                file = json!({ "id": file["id"], "seen": [file["id"]], "edition": file["edition"], "answers": file["answers"] });
            }
            let sent = ines.person.post_json(&submissions(ines), &file).await;
            (sent.status(), sent.json().await["error"].as_str().unwrap_or_default().to_owned())
        }
    };
    let many: Vec<String> = (0..600).map(|_| club.new_id()).collect();
    for (what, (status, said)) in [
        ("a UUID of version 4", with("id", json!(V4)).await),
        ("the nil UUID", with("id", json!("00000000-0000-0000-0000-000000000000")).await),
        ("a record that has seen itself", with("itself", json!(true)).await),
        ("a record that has seen 600 others", with("seen", json!(many)).await),
    ] {
        assert!(said.len() > 20, "{what}: a sentence, not \"{said}\"");
        assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY, "{what}: {said}");
    }
    assert_eq!(records(&club).await, 0, "none of them was recorded");
}

#[tokio::test]
async fn an_inspectors_page_with_ids_that_no_page_has_is_refused_and_keeps_what_was_typed() {
    let club = Club::open().await;
    club.driver("27").await.sends(|_| ()).await;
    let holt = club.inspector("R. Holt").await;
    let car = holt.opens("27").await;
    let fields = car.all_ticked();
    let own_id = field(&fields, "id").to_owned();
    let many = (0..600).map(|_| club.new_id()).collect::<Vec<_>>().join(",");
    for (what, name, text) in [("version 4", "id", V4), ("seen itself", "seen", own_id.as_str()), ("600 seen", "seen", &many)] {
        let sent = car.signs(&with_field(&fields, name, text), "hold", "left rear tyre shows cord").await;
        let status = sent.status();
        let page = sent.page().await;
        assert_eq!(page.first("textarea[name=reason]"), "left rear tyre shows cord", "{what}: the reason is still there");
        assert!(page.has(".alert:not(.news)") || page.has(".trouble"), "{what}: the page says what is wrong: {}", page.text());
        assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY, "{what}");
    }
    for (what, name, text) in [("no id", "id", ""), ("a word for an id", "id", "27"), ("garbage seen", "seen", "a,b")] {
        let sent = car.signs(&with_field(&fields, name, text), "hold", "left rear tyre shows cord").await;
        assert_eq!(sent.status(), StatusCode::UNPROCESSABLE_ENTITY, "{what}");
        assert!(sent.page().await.text().contains("Open the page again"), "{what}: it says what to do");
    }
    assert_eq!(records(&club).await, 1, "nothing was recorded");
}

/// product.md: a record that names a `seen` the server does not have waits for it and counts on the safe side meanwhile.
#[tokio::test]
async fn a_submission_that_has_seen_a_record_not_yet_here_counts_on_the_safe_side() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let mut file = file_of(&ines, |answers| answers["pad-front"]["at"]["lf"] = json!(2.1)).await;
    file["seen"] = json!([club.new_id()]);
    assert_eq!(ines.person.post_json(&submissions(&ines), &file).await.status(), StatusCode::CREATED);
    assert_eq!(club.board_of("27").await.0, "flagged", "its thin pad counts at once");
    let holt = club.inspector("R. Holt").await;
    let refused = holt.clears("27").await;
    assert_eq!(refused.status(), StatusCode::CONFLICT, "a clear would rest on a record that nobody here has read");
    let said = refused.page().await.first(".alert:not(.news)");
    assert!(!said.is_empty(), "the inspector is told why");
    assert!(!said.contains("went on since you opened it"), "nothing happened since; to look again does not help: {said}");
    assert_eq!(holt.holds("27", "pads").await.status(), StatusCode::SEE_OTHER, "a hold is always taken");
}

#[tokio::test]
async fn a_hold_that_has_seen_records_not_yet_here_is_taken_and_stands() {
    let club = Club::open().await;
    club.driver("27").await.sends(|_| ()).await;
    let holt = club.inspector("R. Holt").await;
    let car = holt.opens("27").await;
    let seen = format!("{},{}", club.new_id(), club.new_id());
    let fields = with_field(&with_field(&[], "id", &club.new_id()), "seen", &seen);
    assert_eq!(car.signs(&fields, "hold", "smells of fuel").await.status(), StatusCode::SEE_OTHER);
    assert_eq!(club.board_of("27").await, ("flagged".into(), "held 07:00: smells of fuel".into()));
}

#[tokio::test]
async fn a_hold_or_a_clear_tapped_twice_is_one_record() {
    let club = Club::open().await;
    club.driver("27").await.sends(|_| ()).await;
    let holt = club.inspector("R. Holt").await;
    let car = holt.opens("27").await;
    let (one, two) = tokio::join!(car.clears(), car.clears());
    assert_eq!((one.status(), two.status()), (StatusCode::SEE_OTHER, StatusCode::SEE_OTHER), "both taps are answered alike");
    assert_eq!(car.clears().await.status(), StatusCode::SEE_OTHER, "and a third, later");
    assert_eq!(records(&club).await, 2, "one submission, one clear");
    assert_eq!(club.board_of("27").await.0, "cleared");
    let car = holt.opens("27").await;
    car.holds("smells of fuel").await;
    club.clock.pass(1);
    assert_eq!(car.holds("smells of fuel").await.status(), StatusCode::SEE_OTHER);
    assert_eq!(car.holds("smells of oil").await.status(), StatusCode::CONFLICT, "the same page with another reason");
    assert_eq!(records(&club).await, 3);
    assert_eq!(club.board_of("27").await.1, "held 07:00: smells of fuel");
}

/// The id decides for a record's own maker only: the same form from another inspector's browser is not their record.
#[tokio::test]
async fn a_form_copied_to_another_inspector_is_not_taken_as_theirs() {
    let club = Club::open().await;
    club.driver("27").await.sends(|_| ()).await;
    let (holt, okoro) = (club.inspector("R. Holt").await, club.inspector("P. Okoro").await);
    let car = holt.opens("27").await;
    let fields = car.all_ticked();
    car.clears().await;
    let entry = club.entry("27").await;
    let mut form = pairs(&fields);
    form.extend([("deed", "clear"), ("reason", "")]);
    let person: &Person = &okoro.person;
    assert_eq!(person.post(&sign_offs(&okoro, &entry), &form).await.status(), StatusCode::CONFLICT);
    assert_eq!(club.board_of("27").await.1, "07:00, R. Holt");
}
