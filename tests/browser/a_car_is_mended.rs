//! The day's first walk: typed, flagged, mended, cleared; the board follows without a reload and the cleared list has the car.

use crate::browser::{Browser, Kind, in_time, tell_in_both};
use crate::club::{Club, sound_answers};
use crate::measure::is_as_said;
use crate::people::{board, row};
use crate::sheet;
use serde_json::json;

tell_in_both!(ines_types_her_sheet_is_flagged_mends_and_is_cleared_while_the_board_follows);

async fn ines_types_her_sheet_is_flagged_mends_and_is_cleared_while_the_board_follows(kind: Kind) {
    in_time(async {
        let club = Club::open().await;
        let (ines, holt) = (club.driver("27").await, club.inspector("R. Holt").await);
        let clubhouse = Browser::desktop("mended", "organizer").await;
        let phone = kind.phone("mended", "driver").await;

        clubhouse.opens_the_board(&club).await;
        clubhouse.marks_the_page().await;
        clubhouse.sees(&row("27"), "nothing sent").await;
        phone.comes_in_as(&ines).await;
        phone.sees("h1", "things are left to look at").await;
        is_as_said(&clubhouse).await;
        is_as_said(&phone).await;
        phone.keeps("1-nothing-typed").await;

        types_the_sheet_with_a_thin_pad(&phone).await;
        phone.sees("h1", "One thing stands between you and the grid").await;
        phone.sees(".todo .fix", "2.1 mm").await;
        phone.keeps("4-typed").await;
        phone.follows(".send .go").await;

        clubhouse.sees(&row("27"), "flagged").await;
        clubhouse.sees(&row("27"), "Brake pad, front left: 2.1 mm").await;
        clubhouse.keeps("5-flagged").await;
        phone.keeps("5-flagged").await;

        phone.follows(".todo .do").await;
        assert!(phone.path().await.ends_with("/areas/brakes"), "the finding leads to where it is answered again");
        phone.types("[name=\"pad-front.lf\"]", "9,5").await;
        phone.sees("[data-verdict=pad-front]", "In order").await;
        phone.follows(".bar .back").await;
        phone.sees(".send .go", "Send again: 1 answer changed").await;
        phone.keeps("6-mended").await;
        phone.follows(".send .go").await;
        phone.sees("h1", "Sent: show the car at the gate").await;
        clubhouse.sees(&row("27"), "pending").await;
        clubhouse.sees(&row("27"), "waits since").await;

        let lane = kind.phone("mended", "inspector").await;
        lane.comes_in_at_the_gate(&holt).await;
        lane.sees("h1", "1 car waits at the gate").await;
        lane.keeps("7-lane").await;
        lane.finds("27").await;
        lane.sees(".clear", "to check").await;
        assert!(!lane.is_enabled(".clear").await, "Clear is shut before the checks are made");
        lane.keeps("8-car").await;
        lane.keeps_whole("8-car-whole").await;
        lane.ticks_everything().await;
        assert!(lane.is_enabled(".clear").await, "Clear opens when every check is made");
        lane.keeps("9-checked").await;
        lane.follows(".clear").await;
        lane.sends_now().await;
        lane.sees("h1", "Nobody waits").await;
        lane.keeps("10-nobody-waits").await;

        clubhouse.sees(&row("27"), "cleared").await;
        clubhouse.sees(&row("27"), "07:00, R. Holt").await;
        clubhouse.sees(".n.cleared", "1").await;
        clubhouse.was_not_reloaded().await;
        clubhouse.keeps("11-cleared").await;
        clubhouse.opens(&format!("{}/cleared", board(&club))).await;
        clubhouse.sees("[data-news-here]", "Ines Okafor").await;
        clubhouse.keeps("12-cleared-list").await;
        assert!(club.cleared_csv().await.contains("\"27\",\"Ines Okafor\""), "the list to take away has the car as well");

        phone.sees(".news", "Something changed at the gate").await;
        phone.keeps("13-news").await;
        phone.follows(".news a").await;
        phone.sees("h1", "Cleared for group B").await;
        phone.keeps("14-cleared").await;
        phone.closes().await;
        lane.closes().await;
        clubhouse.closes().await;
    })
    .await;
}

/// Types every answer of the sheet, area after area, at the pages themselves.
async fn types_the_sheet_with_a_thin_pad(phone: &Browser) {
    let mut answers = sound_answers();
    answers["pad-front"]["at"]["lf"] = json!(2.1);
    let areas = sheet::typed(&answers);
    phone.follows(".areas a").await;
    for answers in &areas {
        let path = phone.path().await;
        assert!(path.ends_with(&format!("/areas/{}", answers.area)), "{} comes next, not {path}", answers.area);
        phone.marks_the_page().await;
        if answers.area == "tyres" {
            phone.keeps_whole("2-tyres-empty").await;
        }
        phone.fills_in(answers).await;
        if answers.area == "brakes" {
            phone.sees("[data-verdict=pad-front]", "2.1 mm").await;
            phone.sees("[data-verdict=pad-front]", "at least 3.0 mm").await;
            phone.was_not_reloaded().await;
            phone.taps("#pad-front h2").await;
            phone.keeps("3-thin-pad").await;
        }
        phone.follows(".act .go").await;
    }
}
