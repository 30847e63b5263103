//! Pages that stay open: old ones say so, fresh ones keep up, and seven tabs of one browser share one stream.

use crate::browser::{Browser, in_time};
use crate::club::{Club, until};
use crate::people::{board, organizer_link, row};
use crate::wire::Wire;
use reqwest::StatusCode;
use serde_json::json;

#[tokio::test(flavor = "multi_thread")]
async fn a_car_sent_again_while_holt_looks_at_it_shuts_clear_on_the_spot() {
    in_time(async {
        let club = Club::open().await;
        let (ines, holt) = (club.driver("27").await, club.inspector("R. Holt").await);
        ines.sends(|_| ()).await;
        let lane = Browser::phone("stale", "inspector").await;
        lane.comes_in_at_the_gate(&holt).await;
        lane.finds("27").await;
        lane.ticks_everything().await;
        assert!(lane.is_enabled(".clear").await, "every check is made");

        // Another car's news is not this car's.
        assert_eq!(club.driver("12").await.sends(|_| ()).await.status(), StatusCode::CREATED);
        ines.sends(|answers| answers["pad-front"]["at"]["lf"] = json!(2.1)).await;
        lane.sees(".news", "This page is old").await;
        assert!(!lane.is_enabled(".clear").await, "Clear is shut the moment the page is old");
        lane.taps(".hand label").await;
        lane.taps(".hand label").await;
        assert!(!lane.is_enabled(".clear").await, "and no tick opens it again");
        lane.asks("scrollTo(0, 0)").await;
        lane.keeps("1-old").await;
        lane.follows(".news a").await;
        lane.sees(".hand .fix", "2.1 mm").await;
        lane.keeps("2-looks-again").await;
        lane.closes().await;
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_car_page_that_was_cut_off_while_the_driver_sent_again_says_that_it_may_be_old() {
    in_time(async {
        let club = Club::open().await;
        let (ines, holt) = (club.driver("27").await, club.inspector("R. Holt").await);
        ines.sends(|_| ()).await;
        let wire = Wire::to(&club.base).await;
        let lane = Browser::phone("cut-off", "inspector").await;
        // A broken connection is told in the console; that is no fault of the page.
        lane.forgives("net::ERR_");
        lane.comes_in_by(&wire.base, &club.another_link_for(&holt.name).await).await;
        lane.finds("27").await;
        until("the page listens", || async { wire.asked().iter().any(|asked| asked.is_stream()) }).await;
        lane.ticks_everything().await;
        wire.is_cut();
        ines.sends(|answers| answers["pad-front"]["at"]["lf"] = json!(2.1)).await;
        wire.forgets();
        wire.is_sound();
        until_within_ten_seconds(|| wire.asked().iter().any(|asked| asked.is_stream() && asked.bytes > 0)).await;
        lane.sees(".news", "old").await;
        assert!(!lane.is_enabled(".clear").await, "what happened meanwhile is not known here: Clear is shut");
        lane.closes().await;
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_board_whose_stream_comes_up_late_still_shows_what_happened_meanwhile() {
    in_time(async {
        let club = Club::open().await;
        let ines = club.driver("27").await;
        let wire = Wire::to(&club.base).await;
        let clubhouse = Browser::desktop("late", "organizer").await;
        clubhouse.opens(&organizer_link(&club, &wire.base).await).await;
        wire.holds_streams();
        clubhouse.opens(&format!("{}/club/events/{}", wire.base, club.event)).await;
        clubhouse.sees(&row("27"), "nothing sent").await;
        ines.sends(|_| ()).await;
        wire.is_sound();
        until("the stream is open", || async { wire.asked().iter().any(|asked| asked.is_stream() && asked.bytes > 0) }).await;
        clubhouse.sees(&row("27"), "waits since").await;
        clubhouse.closes().await;
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_board_that_lost_its_connection_says_so_and_catches_up() {
    in_time(async {
        let club = Club::open().await;
        let ines = club.driver("27").await;
        let wire = Wire::to(&club.base).await;
        let clubhouse = Browser::desktop("cut-off", "organizer").await;
        clubhouse.forgives("net::ERR_");
        clubhouse.opens(&organizer_link(&club, &wire.base).await).await;
        clubhouse.opens(&format!("{}/club/events/{}", wire.base, club.event)).await;
        until("the page listens", || async { wire.asked().iter().any(|asked| asked.is_stream() && asked.bytes > 0) }).await;
        wire.is_cut();
        clubhouse.sees(".fresh", "no connection: this may be old").await;
        clubhouse.keeps("1-no-connection").await;
        ines.sends(|_| ()).await;
        wire.is_sound();
        clubhouse.sees(&row("27"), "waits since").await;
        clubhouse.comes("the warning goes", "return document.querySelector('[data-stale]').hidden").await;
        clubhouse.closes().await;
    })
    .await;
}

/// HTTP/1.1 gives a browser six connections to a host: were each tab to hold one, the seventh would never load.
#[tokio::test(flavor = "multi_thread")]
async fn seven_tabs_of_the_board_all_load_and_all_hear_over_one_stream() {
    in_time(async {
        let club = Club::open().await;
        let ines = club.driver("27").await;
        let wire = Wire::to(&club.base).await;
        let clubhouse = Browser::desktop("tabs", "organizer").await;
        clubhouse.opens(&organizer_link(&club, &wire.base).await).await;
        let address = format!("{}/club/events/{}", wire.base, club.event);
        for nth in 1..=7 {
            if nth > 1 {
                clubhouse.opens_a_tab().await;
            }
            clubhouse.opens(&address).await;
            clubhouse.sees(&row("27"), "nothing sent").await;
            clubhouse.marks_the_page().await;
        }
        until("the tabs listen", || async { wire.asked().iter().any(|asked| asked.is_stream() && asked.bytes > 0) }).await;
        ines.sends(|_| ()).await;
        for tab in clubhouse.tabs().await {
            clubhouse.turns_to(tab).await;
            clubhouse.sees(&row("27"), "waits since").await;
            clubhouse.was_not_reloaded().await;
        }
        let streams = wire.asked().iter().filter(|asked| asked.is_stream()).count();
        assert_eq!(streams, 1, "seven tabs share one stream: {:?}", wire.asked());
        clubhouse.closes().await;
    })
    .await;
}

/// Some phones' browsers have no shared workers: there only the tab in front listens.
#[tokio::test(flavor = "multi_thread")]
async fn seven_tabs_of_the_lane_load_on_a_phone_without_shared_workers() {
    in_time(async {
        let club = Club::open().await;
        let (ines, holt) = (club.driver("27").await, club.inspector("R. Holt").await);
        let wire = Wire::to(&club.base).await;
        let lane = Browser::phone("tabs", "inspector").await;
        for nth in 1..=7 {
            if nth > 1 {
                lane.opens_a_tab().await;
            }
            let without = json!({ "source": "delete globalThis.SharedWorker" });
            lane.devtools("Page.addScriptToEvaluateOnNewDocument", without).await;
            lane.comes_in_by(&wire.base, &club.another_link_for(&holt.name).await).await;
            lane.sees("h1", "Nobody waits").await;
        }
        ines.sends(|_| ()).await;
        lane.sees("h1", "1 car waits at the gate").await;
        lane.closes().await;
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_board_come_back_to_with_the_back_button_is_live_again() {
    in_time(async {
        let club = Club::open().await;
        let (ines, jonas) = (club.driver("27").await, club.driver("12").await);
        let clubhouse = Browser::desktop("back", "organizer").await;
        clubhouse.opens_the_board(&club).await;
        clubhouse.follows(&format!("{} a", row("27"))).await;
        jonas.sends(|_| ()).await;
        let back = clubhouse.client.back().await;
        clubhouse.done(back, "going back");
        assert_eq!(clubhouse.path().await, board(&club).trim_start_matches(&club.base), "the board is there again");
        clubhouse.sees(&row("12"), "waits since").await;
        ines.sends(|_| ()).await;
        clubhouse.sees(&row("27"), "waits since").await;
        clubhouse.closes().await;
    })
    .await;
}

/// A browser tries a broken stream again after three seconds, so this takes longer than other things that are waited for.
async fn until_within_ten_seconds(mut is_so: impl FnMut() -> bool) {
    let end = tokio::time::Instant::now() + crate::browser::PATIENCE;
    while !is_so() {
        assert!(tokio::time::Instant::now() < end, "the stream did not come up again");
        tokio::time::sleep(std::time::Duration::from_millis(40)).await;
    }
}
