//! Answers in words: beside an item's name stands what was found on the car, never a yes or no that says the opposite.

use crate::club::{Club, Driver, Page};
use reqwest::StatusCode;
use serde_json::json;
use witnessmark::acts::set_up::CLUB_DAY;
use witnessmark::rules::sheet::NOT_APPLICABLE;
use witnessmark::rules::sheet_file;
use witnessmark::store::Touch;
use witnessmark::store::club::{self, Edition};

/// The default sheet as clubs have it in their databases from before its answers had words.
const KEPT: &str = include_str!("../data/club-day-without-meanings.toml");

/// What the answers on a page say, item by item: "Oil leak: Drips".
fn answers(page: &Page) -> Vec<String> {
    let (items, said) = (page.all("dl.answers dt"), page.all("dl.answers dd"));
    assert!(!items.is_empty(), "the answers are on the page: {}", page.text());
    assert_eq!(items.len(), said.len());
    items.iter().zip(said).map(|(item, said)| format!("{item}: {said}")).collect()
}

fn has_no_bare_answer(where_: &str, lines: &[String]) {
    let bare = |line: &&String| {
        let said = line.rsplit(": ").next().unwrap_or_default();
        ["yes", "no", "n/a"].contains(&said.to_lowercase().as_str())
    };
    assert_eq!(lines.iter().find(bare), None, "{where_}: a bare answer");
}

async fn engine(driver: &Driver<'_>) -> Page {
    driver.person.get(&format!("{}/areas/engine", driver.home())).await.page().await
}

async fn at_the_gate(club: &Club, number: &str) -> Page {
    club.inspector("R. Holt").await.opens(number).await.page
}

#[tokio::test]
async fn a_car_that_drips_is_said_to_drip_wherever_its_answers_stand() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let sent = ines.sends(|answers| {
        answers["oil-leak"] = json!({ "value": "no", "note": "from the sump" });
        answers["spacers"] = json!({ "value": "n/a" });
    });
    assert_eq!(sent.await.status(), StatusCode::CREATED);
    for (where_, page) in [("gate", at_the_gate(&club, "27").await), ("organizer", club.car_page("27").await)] {
        let lines = answers(&page);
        assert!(lines.contains(&"Oil leak: Drips from the sump".to_owned()), "{where_}: {lines:?}");
        assert!(lines.contains(&"Disc cracks: Whole".to_owned()), "{where_}: {lines:?}");
        assert!(lines.contains(&"Spacers: Not on this car".to_owned()), "{where_}: {lines:?}");
        has_no_bare_answer(where_, &lines);
    }
    let finding = at_the_gate(&club, "27").await.first("ul.hand li.stop p");
    assert_eq!(finding, "stop Engine oil drips.", "the finding's sentence is as it was");
    let page = engine(&ines).await;
    assert_eq!(page.all("#oil-leak .taps label"), ["Dry", "Drips"]);
    assert!(page.has("#oil-leak input[value=no][checked]"), "what a form sends stays yes and no: kept drafts go on working");
    assert_eq!(page.all("#power-steering-leak .taps label"), ["Dry", "Leaks", "Not on this car"]);
    assert!(page.has("#power-steering-leak input[value='n/a']"));
}

#[tokio::test]
async fn every_button_of_every_area_says_what_is_found() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    for area in sheet_file::read(CLUB_DAY).expect("the default sheet").areas {
        let page = ines.person.get(&format!("{}/areas/{}", ines.home(), area.id)).await.page().await;
        has_no_bare_answer(area.id.as_str(), &page.all(".item .taps label"));
        assert!(!page.text().to_lowercase().contains("not applicable"), "one wording on {}: {NOT_APPLICABLE}", area.id);
    }
}

#[tokio::test]
async fn what_was_tapped_on_two_devices_is_told_apart_by_what_it_means() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let old = engine(&ines).await.value_of("input[name=_was]");
    ines.types("engine", &[("oil-leak", "yes"), ("_was", &old)]).await;
    let met = ines.types("engine", &[("oil-leak", "no"), ("_was", &old)]).await;
    assert_eq!(met.status(), StatusCode::CONFLICT);
    assert_eq!(met.page().await.all("[data-both] .taps label"), ["Here: Drips", "On the other device: Dry"]);
}

/// Adds a file as an edition the way it was added then, past today's reader, and raises the event to it.
async fn raises_to_kept(club: &Club, file: &str) {
    let id = club.house.new_id();
    let made_at = club.house.now();
    let edition = Edition { id, number: 0, name: "Club day".into(), file: file.into(), made_at, made_by: "M. Ashdown".into() };
    let added = club.house.store.write::<_, witnessmark::acts::Refusal, _>(Touch::All, move |db| {
        Box::pin(async move { Ok(club::add_edition(db, &edition).await?) })
    });
    added.await.expect("the row is written");
    let sheet = format!("/club/events/{}/sheet", club.event);
    let preview = club.organizer.get(&format!("{sheet}?edition={id}")).await;
    assert_eq!(preview.status(), StatusCode::OK, "what it would move is shown");
    let raised = club.raises_back_to(&id.to_string()).await;
    assert_eq!(raised.status(), StatusCode::SEE_OTHER, "an edition that is kept can be used");
}

#[tokio::test]
async fn an_edition_from_before_answers_had_words_is_still_shown_and_says_no_opposite() {
    assert!(sheet_file::read(KEPT).is_err(), "the file is one that is refused today");
    let club = Club::open().await;
    raises_to_kept(&club, KEPT).await;
    let ines = club.driver("27").await;
    let sent = ines.sends(|answers| {
        answers["oil-leak"] = json!({ "value": "no" });
        answers["spacers"] = json!({ "value": "n/a" });
    });
    assert_eq!(sent.await.status(), StatusCode::CREATED);
    assert_eq!(club.board_of("27").await.0, "flagged");
    for (where_, page) in [("gate", at_the_gate(&club, "27").await), ("organizer", club.car_page("27").await)] {
        let lines = answers(&page);
        assert!(
            lines.contains(&"Oil leak: No, to \"Is the cardboard under the engine free of oil?\"".to_owned()),
            "{where_}: answer and question together: {lines:?}"
        );
        assert!(lines.contains(&"Spacers: Not on this car".to_owned()), "{where_}: {lines:?}");
        has_no_bare_answer(where_, &lines);
    }
    let taps = engine(&ines).await.all("#oil-leak .taps.tall label");
    assert_eq!(taps.len(), 2, "long words get a row each");
    assert!(taps[1].starts_with("No, to \"Is the cardboard"), "{taps:?}");
    for path in ["", "/sheet", "/cleared", "/cleared.csv", "/roster"] {
        let page = club.organizer.get(&format!("/club/events/{}{path}", club.event)).await;
        assert_eq!(page.status(), StatusCode::OK, "{path} opens with a kept edition");
    }
}

#[tokio::test]
async fn a_sheet_that_does_not_say_what_its_answers_mean_is_refused_with_line_and_key() {
    let club = Club::open().await;
    let line_of = |text: &str, needle: &str| text.lines().position(|line| line == needle).expect("the line") + 1;
    let oil = "yes_means = \"Dry\"\nno_means = \"Drips\"\n";
    let with = |words: &str| {
        let (before, after) = CLUB_DAY.split_at(CLUB_DAY.find("id = \"oil-leak\"").expect("the item"));
        assert!(after.contains(oil));
        format!("{before}{}", after.replacen(oil, words, 1))
    };
    for (words, at, key, says) in [
        ("", "id = \"oil-leak\"", "yes_means", "is missing: a yes-no item says what each answer means"),
        ("yes_means = \"Dry\"\n", "id = \"oil-leak\"", "no_means", "is missing"),
        ("yes_means = \"Yes\"\nno_means = \"Drips\"\n", "id = \"oil-leak\"", "yes_means", "say nothing without the question"),
        ("yes_means = \"Dry\"\nno_means = \"NO\"\n", "id = \"oil-leak\"", "no_means", "say nothing without the question"),
        ("yes_means = \"Dry\"\nno_means = \"dry\"\n", "id = \"oil-leak\"", "no_means", "both answers mean the same"),
        ("yes_means = \"Dry\"\nno_means = \"not on this car\"\n", "id = \"oil-leak\"", "no_means", "not_applicable = true"),
        ("yes_means = \"\"\nno_means = \"Drips\"\n", "yes_means = \"\"", "yes_means", "must not be empty"),
        (
            "yes_means = \"Dry\"\nno_means = \"It drips so much that the card is wet all over\"\n",
            "no_means = \"It drips so much that the card is wet all over\"",
            "no_means",
            "at most 40 characters",
        ),
    ] {
        let file = with(words);
        let path = format!("/club/events/{}/sheet/editions", club.event);
        let refused = club.organizer.post(&path, &[("file", &file)]).await;
        assert_eq!(refused.status(), StatusCode::UNPROCESSABLE_ENTITY, "{words}");
        let said = refused.page().await.first("form .alert");
        let wanted = format!("line {}, item \"oil-leak\", key `{key}`: ", line_of(&file, at));
        assert!(said.starts_with(&wanted) && said.contains(says), "{wanted}{says}: {said}");
    }
}

#[test]
fn a_kept_sheet_is_judged_at_the_terminal_and_a_new_one_is_checked_by_todays_measure() {
    let folder = tempfile::TempDir::new().expect("a folder");
    let path = folder.path().join("sheet.toml");
    std::fs::write(&path, KEPT).expect("a file");
    let path = path.to_string_lossy().into_owned();
    let checked = crate::tools::command(&["sheet", "check", &path], b"");
    assert_eq!(checked.code, Some(2));
    let answers = json!({ "answers": crate::club::sound_answers() }).to_string();
    let judged = crate::tools::command(&["judge", "--sheet", &path, "--on", "2026-05-09"], answers.as_bytes());
    assert_eq!(judged.answer("a kept sheet")["complete"], json!(true));
}
