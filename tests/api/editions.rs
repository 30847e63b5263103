//! Editions of the sheet: what raising would move is read before it happens; old answers are never changed by it.

use crate::club::{Answer, Club, Page};
use crate::tools::{changed_sheet, sheet_with_a_new_item, sheet_with_thicker_pads};
use reqwest::StatusCode;
use witnessmark::acts::set_up::CLUB_DAY;

/// Adds a sheet and opens the page that says what it would move.
async fn adds(club: &Club, file: &str) -> Page {
    let added = sends(club, file).await;
    assert_eq!(added.status(), StatusCode::SEE_OTHER);
    club.organizer.get(&added.location()).await.page().await
}

async fn sends(club: &Club, file: &str) -> Answer {
    club.organizer.post(&format!("/club/events/{}/sheet/editions", club.event), &[("file", file)]).await
}

async fn raises(club: &Club, shown: &Page) -> Answer {
    club.raises_as_shown(&club.event, shown).await
}

/// Cars 7 and 27 sent and 27 cleared; 12 sent with a thin pad; 114B sent nothing.
async fn a_morning() -> Club {
    let club = Club::open().await;
    club.driver("7").await.sends(|_| ()).await;
    club.driver("12").await.sends(|answers| answers["pad-front"]["at"]["lf"] = serde_json::json!(2.1)).await;
    club.driver("27").await.sends(|_| ()).await;
    club.inspector("R. Holt").await.clears("27").await;
    club
}

async fn board(club: &Club) -> Vec<String> {
    let mut standings = Vec::new();
    for number in ["7", "12", "27", "114B"] {
        standings.push(club.board_of(number).await.0);
    }
    standings
}

#[tokio::test]
async fn what_would_move_and_why_is_read_before_it_happens() {
    let club = a_morning().await;
    let shown = adds(&club, &sheet_with_a_new_item()).await;
    assert!(shown.first("section.alert h2").contains("edition 2"));
    assert_eq!(
        shown.all("section.alert tbody tr"),
        [
            "7 pending pending Not answered: Tow eye arrow.",
            "12 flagged flagged Not answered: Tow eye arrow.",
            "27 cleared pending Not answered: Tow eye arrow.",
        ],
        "each entry that moves, and 114B is not among them"
    );
    assert_eq!(board(&club).await, ["pending", "flagged", "cleared", "pending"], "nothing has moved yet");
    assert!(club.cleared_csv().await.contains("\"27\","), "the grid still has it");
    let ines = club.driver("27").await;
    assert_eq!(ines.heading().await, "Cleared for group B");
    assert_eq!(raises(&club, &shown).await.status(), StatusCode::SEE_OTHER);
    assert_eq!(board(&club).await, ["pending", "flagged", "pending", "pending"]);
    assert_eq!(club.board_of("27").await.1, "1 item not answered");
    assert!(!club.cleared_csv().await.contains("\"27\","));
    assert_eq!(ines.heading().await, "1 thing is left to look at");
}

#[tokio::test]
async fn a_stricter_limit_flags_who_no_longer_keeps_it() {
    let club = a_morning().await;
    let shown = adds(&club, &sheet_with_thicker_pads()).await;
    let rows = shown.all("section.alert tbody tr");
    assert_eq!(rows.len(), 3, "12 was flagged for one pad and would be for two: {rows:?}");
    assert!(
        rows[2].starts_with("27 cleared flagged Brake pad, front left: ") && rows[2].contains("at least 12.0 mm"),
        "{rows:?}"
    );
    raises(&club, &shown).await;
    assert_eq!(board(&club).await, ["flagged", "flagged", "flagged", "pending"]);
    let holt = club.inspector("R. Holt").await;
    assert_eq!(holt.clears("27").await.status(), StatusCode::SEE_OTHER, "an inspector who sees new pads clears it");
}

#[tokio::test]
async fn an_edition_that_moves_nobody_says_so() {
    let club = a_morning().await;
    let shown = adds(&club, &changed_sheet("name = \"Club day\"", "name = \"Club day, new words\"")).await;
    assert!(shown.first("section.alert").contains("No entry changes its standing"));
    raises(&club, &shown).await;
    assert_eq!(board(&club).await, ["pending", "flagged", "cleared", "pending"]);
}

#[tokio::test]
async fn old_answers_are_never_changed_by_a_new_edition() {
    let club = a_morning().await;
    let before = club.car_page("27").await.all("dl.answers dd");
    let records = |page: &Page| -> Vec<String> {
        page.all("ol.told li").into_iter().filter(|line| !line.starts_with("sheet raised")).collect()
    };
    let history = records(&club.car_page("27").await);
    let first = club.organizer.get(&format!("/club/events/{}/sheet", club.event)).await.page().await;
    let first = first.attr("ul.plain a[href^='/club/editions/']", "href").rsplit('/').next().expect("an id").to_owned();
    raises(&club, &adds(&club, &sheet_with_a_new_item()).await).await;
    let after = club.car_page("27").await;
    assert_eq!(records(&after), history, "every record is the same, word for word");
    let raised = after.first("ol.told li b");
    assert_eq!(raised, "sheet raised from edition 1 to 2 by M. Ashdown", "and the raise is told beside them");
    let after = after.all("dl.answers dd");
    assert_eq!(after.len(), before.len() + 1);
    assert!(before.iter().all(|answer| after.contains(answer)), "every answer stands as it was sent");
    let back = club.raises_back_to(&first).await;
    assert_eq!(back.status(), StatusCode::SEE_OTHER, "the organizer thinks better of it");
    assert_eq!(board(&club).await, ["pending", "flagged", "cleared", "pending"], "the clearance had only rested");
    assert_eq!(club.car_page("27").await.all("dl.answers dd"), before);
}

#[tokio::test]
async fn a_sheet_with_a_fault_names_line_and_key_and_keeps_what_was_pasted() {
    let club = Club::open().await;
    let line_of = |text: &str, needle: &str| text.lines().position(|line| line.contains(needle)).expect("the line") + 1;
    let misspelt = changed_sheet("by_hand = \"Every lug nut", "byhand = \"Every lug nut");
    let twice = changed_sheet("id = \"lug-torque\"", "id = \"torque-asked\"");
    let unit = changed_sheet("unit = \"N.m\"\npossible = [0, 1000]", "unit = \"furlong\"\npossible = [0, 1000]");
    let forward = changed_sheet("item = \"brake-kind\", is = [\"discs\"]", "item = \"drivers-word\", is = [\"yes\"]");
    for (file, line, words) in [
        (&misspelt, line_of(&misspelt, "byhand ="), "item \"lug-nuts-present\", key `byhand`"),
        (&unit, line_of(&unit, "furlong"), "item \"lug-torque\", key `unit`"),
        (&twice, line_of(&twice, "name = \"Wheel torque\"") - 1, "key `id`: another item has this id"),
        (&forward, line_of(&forward, "\"drivers-word\", is"), "no earlier item has the id \"drivers-word\""),
    ] {
        let refused = sends(&club, file).await;
        assert_eq!(refused.status(), StatusCode::UNPROCESSABLE_ENTITY);
        let page = refused.page().await;
        let said = page.first("form .alert");
        assert!(said.starts_with(&format!("line {line}, ")), "line {line}: {said}");
        assert!(said.contains(words), "{words}: {said}");
        assert_eq!(page.raw("textarea[name=file]").trim_end(), file.trim_end(), "what was pasted is still there");
    }
    let editions = club.organizer.get(&format!("/club/events/{}/sheet", club.event)).await.page().await;
    assert_eq!(editions.all("ul.plain a[href^='/club/editions/']").len(), 1, "none was added");
}

#[tokio::test]
async fn what_is_no_sheet_at_all_is_refused_with_its_line() {
    let club = Club::open().await;
    for (file, words) in [
        ("", "is missing"),
        ("name = \"Club day\"\nabout = \"A sheet\"\n", "a sheet has at least one area"),
        ("name = \"Club day\nabout = \"A sheet\"\n", "line 1"),
        ("<html>", "line 1"),
        ("name = \"Club\u{7} day\"", "line 1"),
    ] {
        let refused = sends(&club, file).await;
        assert_eq!(refused.status(), StatusCode::UNPROCESSABLE_ENTITY, "{file:?}");
        let said = refused.page().await.first("form .alert");
        assert!(said.contains(words), "{file:?}: {said}");
    }
    let large = format!("{CLUB_DAY}\n# {}\n", "x".repeat(600_000));
    let refused = sends(&club, &large).await;
    assert_eq!(refused.status(), StatusCode::UNPROCESSABLE_ENTITY);
    assert!(refused.page().await.first("form .alert").contains("at most 512 kB"));
    assert_eq!(sends(&club, &"x".repeat(3_000_000)).await.status(), StatusCode::PAYLOAD_TOO_LARGE);
}

/// "What was asked can be read years later": the file with its comments, blank lines and last line end.
#[tokio::test]
async fn an_editions_file_is_given_back_byte_for_byte() {
    let club = Club::open().await;
    for file in [
        sheet_with_a_new_item(),
        format!("\n\n# a club's own words, with \u{e9} and \u{1f697}\n{CLUB_DAY}"),
        format!("{CLUB_DAY}\n\n\n# the end"),
    ] {
        let shown = adds(&club, &file).await;
        let edition = shown.value_of("section.alert input[name=edition]");
        let given = club.organizer.get(&format!("/club/editions/{edition}")).await;
        assert_eq!(given.status(), StatusCode::OK);
        assert!(given.header("content-type").starts_with("text/plain"));
        assert!(given.header("content-disposition").contains("attachment"));
        let given = String::from_utf8(given.bytes().await).expect("UTF-8");
        let at = given.bytes().zip(file.bytes()).position(|(one, other)| one != other);
        assert!(given == file, "{} bytes of {}; first difference at {at:?}", given.len(), file.len());
    }
}

/// A browser sends the lines of a text area with CR LF; the sheet is kept with the line ends of its file.
#[tokio::test]
async fn a_sheet_pasted_in_a_browser_keeps_its_line_ends_and_line_numbers() {
    let club = Club::open().await;
    let shown = adds(&club, &CLUB_DAY.replace('\n', "\r\n")).await;
    let edition = shown.value_of("section.alert input[name=edition]");
    let given = club.organizer.get(&format!("/club/editions/{edition}")).await.text().await;
    assert_eq!(given.trim_end(), CLUB_DAY.trim_end());
    let below_blank_lines = format!("\n\n{}", changed_sheet("kind = \"choice\"", "kind = \"choise\""));
    let line = below_blank_lines.lines().position(|line| line.contains("choise")).expect("the line") + 1;
    let said = sends(&club, &below_blank_lines).await.page().await.first("form .alert");
    assert!(said.starts_with(&format!("line {line}, ")), "blank lines at the top are lines too: {said}, not line {line}");
}

#[tokio::test]
async fn an_edition_that_is_not_there_moves_nothing() {
    let club = a_morning().await;
    let path = format!("/club/events/{}/sheet", club.event);
    let nowhere = club.new_id();
    assert_eq!(club.organizer.get(&format!("{path}?edition={nowhere}")).await.status(), StatusCode::NOT_FOUND);
    let raise = [("id", club.new_id()), ("edition", nowhere.clone()), ("shown", String::new())];
    let raise: Vec<(&str, &str)> = raise.iter().map(|(name, text)| (*name, text.as_str())).collect();
    assert_eq!(club.organizer.post(&path, &raise).await.status(), StatusCode::NOT_FOUND);
    assert_eq!(club.organizer.post(&path, &[("edition", "two")]).await.status(), StatusCode::UNPROCESSABLE_ENTITY);
    assert_eq!(club.organizer.post(&path, &[]).await.status(), StatusCode::UNPROCESSABLE_ENTITY);
    assert_eq!(club.organizer.get(&format!("/club/editions/{nowhere}")).await.status(), StatusCode::NOT_FOUND);
    let garbled = club.organizer.get(&format!("{path}?edition=two")).await;
    assert!(garbled.status().is_client_error());
    let said = garbled.text().await;
    assert!(!said.contains("deserialize"), "a person reads it, in a person's words: {said}");
    assert_eq!(board(&club).await, ["pending", "flagged", "cleared", "pending"]);
}
