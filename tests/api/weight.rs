//! What one driver's link can cost the club: each kind of mischief is bounded, and what a driver honestly sends never meets a bound.

use crate::club::{Answer, Club, Driver, sound_answers};
use crate::tools::submissions;
use reqwest::StatusCode;
use serde_json::{Map, Value as Json, json};

/// Sends a whole sheet under an id, having seen these, with a reading of its own.
async fn sends(driver: &Driver<'_>, (id, nth): (&str, u32), seen: &[String], note: &str) -> Answer {
    let edition = driver.club.house.event(driver.club.event.parse().expect("an id")).await.expect("the event").edition.id;
    let mut answers: Map<String, Json> = sound_answers();
    answers["pad-front"]["at"]["lf"] = json!(7.0 + f64::from(nth) / 1000.0);
    if !note.is_empty() {
        answers.values_mut().for_each(|answer| answer["note"] = json!(note));
    }
    let body = json!({ "id": id, "seen": seen, "edition": edition, "answers": answers });
    driver.person.post_json(&submissions(driver), &body).await
}

#[tokio::test]
async fn a_sheet_names_what_the_car_has_and_about_twenty_that_are_on_their_way() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let unknown = |count: usize| (0..count).map(|_| club.new_id()).collect::<Vec<_>>();
    let first = club.new_id();
    assert_eq!(sends(&ines, (&first, 0), &unknown(20), "").await.status(), StatusCode::CREATED);
    let refused = sends(&ines, (&club.new_id(), 1), &unknown(21), "").await;
    assert_eq!(refused.status(), StatusCode::UNPROCESSABLE_ENTITY);
    assert!(refused.json().await["fields"]["seen"].as_str().is_some_and(|words| words.contains("Open the page again")));
    let mut known_and_unknown = unknown(20);
    known_and_unknown.push(first);
    assert_eq!(sends(&ines, (&club.new_id(), 2), &known_and_unknown, "").await.status(), StatusCode::CREATED);
}

#[tokio::test]
async fn sheets_that_do_not_know_of_each_other_are_taken_up_to_a_bound_and_a_new_page_goes_on() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    for nth in 0..64 {
        assert_eq!(sends(&ines, (&club.new_id(), nth), &[], "").await.status(), StatusCode::CREATED, "sheet {nth}");
    }
    let refused = sends(&ines, (&club.new_id(), 64), &[], "").await;
    assert_eq!(refused.status(), StatusCode::CONFLICT);
    assert!(refused.json().await["error"].as_str().is_some_and(|words| words.contains("Open the page again")));
    assert_eq!(ines.sends(|_| ()).await.status(), StatusCode::CREATED, "a page that shows them all puts one in their place");
    assert_eq!(ines.state().await.seen.len(), 1);
}

/// The worst that the door lets in: every sheet names every one before it.
#[tokio::test]
async fn a_full_history_is_looked_at_without_reading_its_old_sheets() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let mut seen: Vec<String> = Vec::new();
    for nth in 0..120 {
        let id = club.new_id();
        assert_eq!(sends(&ines, (&id, nth), &seen, "").await.status(), StatusCode::CREATED, "sheet {nth}");
        seen.push(id);
    }
    let event = club.house.event(club.event.parse().expect("an id")).await.expect("the event");
    let entry = ines.entry.parse().expect("an id");
    let units = witnessmark::rules::units::Units::METRIC;
    let state = witnessmark::acts::state::read(&club.house, &event, entry, &units).await.expect("the entry");
    let bodies: Vec<&str> = state.records.iter().map(|record| record.body.as_str()).filter(|body| !body.is_empty()).collect();
    assert_eq!((state.records.len(), bodies.len(), state.in_force.len()), (120, 1, 1), "one sheet is in force: one is read");
    assert!(club.inspector("R. Holt").await.clears("27").await.status().is_redirection(), "the gate does its work as ever");
    assert_eq!(club.board_of("27").await.0, "cleared");
}

#[tokio::test]
async fn a_sheet_is_as_long_as_its_questions_can_need_and_its_longest_answer_is_named() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let told = sends(&ines, (&club.new_id(), 0), &[], &"n".repeat(1000)).await;
    assert_eq!(told.status(), StatusCode::CREATED, "a full note at every item: {}", told.text().await);
    // Four bytes a character, as a picture of a spanner has.
    let refused = sends(&ines, (&club.new_id(), 1), &[], &"\u{1F527}".repeat(1000)).await;
    assert_eq!(refused.status(), StatusCode::UNPROCESSABLE_ENTITY);
    let said = refused.json().await;
    let words = said["answers"].as_object().and_then(|items| items.values().next()).map(Json::to_string).unwrap_or_default();
    assert!(words.contains("say it in fewer words"), "{said}");
    assert_eq!(club.history_of("27").await.len(), 1, "nothing of it was taken");
}

#[tokio::test]
async fn the_sheets_of_a_car_take_sixteen_megabytes_together_and_the_gate_goes_on() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let (mut seen, mut sent) = (Vec::new(), 0);
    let refused = loop {
        let id = club.new_id();
        let answer = sends(&ines, (&id, sent), &seen, &"n".repeat(1000)).await;
        if answer.status() != StatusCode::CREATED {
            break answer;
        }
        (seen, sent) = (vec![id], sent + 1);
    };
    assert_eq!(refused.status(), StatusCode::PAYLOAD_TOO_LARGE);
    assert!(sent > 180, "{sent} of the longest sheets fit");
    assert!(refused.json().await["error"].as_str().is_some_and(|words| words.contains("16 MB")));
    let holt = club.inspector("R. Holt").await;
    assert_eq!(holt.holds("27", "which of these is it?").await.status(), StatusCode::SEE_OTHER, "a hold is always taken");
    assert_eq!(holt.clears("27").await.status(), StatusCode::SEE_OTHER);
}

async fn typed(driver: &Driver<'_>) -> witnessmark::store::draft::Draft {
    let mut db = driver.club.house.store.read().await.expect("a reader");
    witnessmark::store::draft::of_entry(&mut db, driver.entry.parse().expect("an id")).await.expect("what is typed")
}

#[tokio::test]
async fn a_draft_keeps_the_fields_that_its_items_have() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let junk: Vec<(String, String)> = (0..2000).map(|nth| (format!("pad-front.junk-{nth}"), "x".repeat(100))).collect();
    let mut form: Vec<(&str, &str)> = junk.iter().map(|(name, text)| (name.as_str(), text.as_str())).collect();
    form.extend([("pad-front.lf", "7.7"), ("pad-front.unit", "mm"), ("pad-front.note", "new ones"), ("pad-front.lr", "3")]);
    assert!(!ines.types("brakes", &form).await.status().is_server_error());
    let kept = typed(&ines).await.remove("pad-front").expect("the item was typed");
    let names: Vec<&str> = kept.keys().map(String::as_str).filter(|name| *name != "q").collect();
    assert_eq!(names, ["lf", "note", "unit"], "front pads are not read at the rear left, and nowhere at junk");
}

#[tokio::test]
async fn a_draft_has_room_for_every_note_and_not_for_a_library() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let sheet = witnessmark::rules::sheet_file::read(witnessmark::acts::set_up::CLUB_DAY).expect("the default sheet");
    let mut refused = 0;
    for area in &sheet.areas {
        let notes: Vec<(String, String)> =
            area.items.iter().map(|item| (format!("{}.note", item.id), "n".repeat(16_000))).collect();
        let form: Vec<(&str, &str)> = notes.iter().map(|(name, text)| (name.as_str(), text.as_str())).collect();
        let answer = ines.types(area.id.as_str(), &form).await;
        refused += usize::from(answer.status() == StatusCode::PAYLOAD_TOO_LARGE);
    }
    let bytes: usize = typed(&ines).await.values().flatten().map(|(name, text)| name.len() + text.len()).sum();
    assert!(refused > 0 && bytes <= 256 * 1024, "{refused} areas refused, {bytes} bytes kept");
    for area in &sheet.areas {
        let notes: Vec<(String, String)> =
            area.items.iter().map(|item| (format!("{}.note", item.id), "n".repeat(1000))).collect();
        let form: Vec<(&str, &str)> = notes.iter().map(|(name, text)| (name.as_str(), text.as_str())).collect();
        let answer = ines.types(area.id.as_str(), &form).await;
        assert!(answer.status().is_redirection(), "{}: {}", area.id, answer.status());
    }
}

/// A figure of this process from the system's own table, in megabytes.
fn memory(name: &str) -> u64 {
    let table = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = table.lines().find(|line| line.starts_with(name)).unwrap_or_default();
    line.split_whitespace().nth(1).and_then(|kilobytes| kilobytes.parse::<u64>().ok()).unwrap_or_default() / 1024
}

async fn looks(club: &Club, ines: &Driver<'_>, what: &str) {
    let mut times = Vec::new();
    for _ in 0..5 {
        let began = std::time::Instant::now();
        ines.looks().await;
        times.push(began.elapsed());
    }
    let began = std::time::Instant::now();
    club.car_page("27").await;
    times.sort();
    println!(
        "{what}: a driver's look {:.0?} (middle of 5), the organizer's {:.0?}, memory {} MB, at its peak {} MB",
        times[2],
        began.elapsed(),
        memory("VmRSS"),
        memory("VmHWM")
    );
}

/// By name: `cargo test --release --test api what_a_look_costs -- --ignored --nocapture --test-threads 1`.
#[tokio::test]
#[ignore = "a measurement, told by name"]
async fn what_a_look_costs_at_each_bound() {
    {
        let club = Club::open().await;
        let ines = club.driver("27").await;
        looks(&club, &ines, "nothing sent").await;
        ines.sends(|_| ()).await;
        looks(&club, &ines, "one sheet").await;
        for nth in 0..63 {
            let edition = ines.state().await.edition;
            let mut answers = sound_answers();
            answers["pad-front"]["at"]["lf"] = json!(1.0 + f64::from(nth) / 1000.0);
            let body = json!({ "id": club.new_id(), "seen": [], "edition": edition, "answers": answers });
            assert_eq!(ines.person.post_json(&submissions(&ines), &body).await.status(), StatusCode::CREATED);
        }
        looks(&club, &ines, "64 sheets in force").await;
    }
    {
        let club = Club::open().await;
        let ines = club.driver("27").await;
        let mut seen = Vec::new();
        for nth in 0..400 {
            let id = club.new_id();
            assert_eq!(sends(&ines, (&id, nth), &seen, "").await.status(), StatusCode::CREATED);
            seen.push(id);
        }
        looks(&club, &ines, "400 sheets, each naming all before it").await;
    }
    {
        let club = Club::open().await;
        let ines = club.driver("27").await;
        let mut seen = Vec::new();
        for nth in 0..190 {
            let id = club.new_id();
            assert_eq!(sends(&ines, (&id, nth), &seen, &"n".repeat(1000)).await.status(), StatusCode::CREATED);
            seen = vec![id];
        }
        looks(&club, &ines, "16 MB of sheets").await;
    }
}
