//! The same forms in a browser that runs no script: a tap more here and there, and nothing missing.

use crate::browser::{Browser, in_time};
use crate::club::Club;
use crate::people::board;
use crate::wire::Wire;
use crate::{club, sheet};
use reqwest::StatusCode;
use serde_json::json;

#[tokio::test(flavor = "multi_thread")]
async fn ines_fills_in_sends_and_is_cleared_with_scripts_switched_off() {
    in_time(async {
        let club = Club::open().await;
        let (ines, holt) = (club.driver("27").await, club.inspector("R. Holt").await);
        let mut answers = club::sound_answers();
        answers["pad-front"]["at"]["lf"] = json!(2.1);
        let areas = sheet::typed(&answers);
        for area in areas.iter().filter(|area| area.area != "brakes") {
            let kept = ines.types(&area.area, &area.form()).await;
            assert_eq!(kept.status(), StatusCode::SEE_OTHER, "{} is kept", area.area);
        }

        let wire = Wire::to(&club.base).await;
        let phone = Browser::phone("without-script", "driver").await;
        phone.runs_no_scripts().await;
        phone.opens(&format!("{}/in/{}", wire.base, ines.secret)).await;
        phone.follows("a[href$=\"/areas/brakes\"]").await;
        phone.fills_in(sheet::of(&areas, "brakes")).await;
        phone.keeps("1-typed").await;
        phone.follows(".act .go").await;
        phone.sees("[data-verdict=pad-front]", "2.1 mm").await;
        phone.sees("[data-verdict=pad-front]", "at least 3.0 mm").await;
        assert!(phone.path().await.ends_with("/areas/brakes"), "there is something to see here before going on");
        phone.keeps("2-verdict").await;
        phone.types("[name=\"pad-front.lf\"]", "9").await;
        phone.follows(".act .go").await;
        phone.follows(".bar .back").await;
        phone.sees("h1", "Everything is answered: send it to the gate").await;
        phone.keeps("3-ready").await;
        phone.follows(".send .go").await;
        phone.sees("h1", "Sent: show the car at the gate").await;

        phone.comes_in_by(&wire.base, &club.another_link_for(&holt.name).await).await;
        phone.finds("27").await;
        phone.forgives("422");
        // Without script Clear is open from the start; the server keeps it shut, and what was ticked stays ticked.
        phone.taps(".hand label").await;
        phone.follows(".clear").await;
        phone.sees(".alert:not(.news)", "Not cleared yet").await;
        phone.keeps("4-not-cleared-yet").await;
        assert_eq!(club.board_of("27").await.0, "pending", "a clear without its checks is none");
        let ticked = phone.asks("return document.querySelectorAll('[data-must]:checked').length").await;
        assert_eq!(ticked, 1, "what was ticked stays ticked");
        phone.taps(".hand label").await;
        phone.ticks_everything().await;
        phone.follows(".clear").await;
        phone.sees("h1", "Nobody waits").await;
        assert_eq!(club.board_of("27").await.0, "cleared");
        let scripts: Vec<_> = wire.asked().into_iter().filter(|asked| asked.is_script()).collect();
        assert!(scripts.is_empty(), "no script was even asked for: {scripts:?}");
        phone.closes().await;
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn an_organizer_narrows_the_board_with_scripts_switched_off() {
    in_time(async {
        let club = Club::open().await;
        let clubhouse = Browser::desktop("without-script", "organizer").await;
        clubhouse.runs_no_scripts().await;
        clubhouse.opens_the_board(&club).await;
        clubhouse.types("#find", "okafor").await;
        clubhouse.follows(".find button").await;
        let rows = "return [...document.querySelectorAll('[data-number]')].map((row) => row.dataset.number)";
        assert_eq!(clubhouse.asks(rows).await, json!(["27"]), "one driver is called Okafor");
        clubhouse.keeps("1-narrowed").await;
        clubhouse.opens(&format!("{}/cleared", board(&club))).await;
        clubhouse.sees("h1", "Cleared: 0 of 4").await;
        clubhouse.closes().await;
    })
    .await;
}
