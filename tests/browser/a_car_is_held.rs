//! The day's second walk: a sound sheet, a car that is held at the gate, put right in the lane, and cleared after all.

use crate::browser::{Browser, in_time};
use crate::club::Club;
use crate::people::{board, row};
use reqwest::StatusCode;

#[tokio::test(flavor = "multi_thread")]
async fn jonas_is_held_for_a_drop_of_coolant_and_everybody_reads_why_until_he_is_cleared() {
    in_time(async {
        let club = Club::open().await;
        let (jonas, holt) = (club.driver("12").await, club.inspector("R. Holt, lane 2").await);
        assert_eq!(jonas.sends(|_| ()).await.status(), StatusCode::CREATED, "Jonas has sent a sound sheet");
        let clubhouse = Browser::desktop("held", "organizer").await;
        let phone = Browser::phone("held", "driver").await;
        let lane = Browser::phone("held", "inspector").await;
        clubhouse.opens_the_board(&club).await;
        clubhouse.marks_the_page().await;
        phone.comes_in_as(&jonas).await;
        phone.sees("h1", "Sent: show the car at the gate").await;

        lane.comes_in_at_the_gate(&holt).await;
        lane.finds("12").await;
        lane.marks_the_page().await;
        lane.taps(".hold").await;
        lane.comes("the reason is asked for", "return document.activeElement.name === 'reason'").await;
        lane.was_not_reloaded().await;
        lane.keeps("1-why").await;
        assert_eq!(club.board_of("12").await.0, "pending", "a hold without a reason is not sent");
        lane.types("[name=reason]", "Coolant drops from the hose at the radiator.").await;
        lane.keeps("2-reason").await;
        lane.follows(".hold").await;
        lane.sends_now().await;

        clubhouse.sees(&row("12"), "flagged").await;
        clubhouse.sees(&row("12"), "held 07:00: Coolant drops").await;
        clubhouse.keeps("3-held").await;
        phone.sees(".news", "Something changed at the gate").await;
        phone.follows(".news a").await;
        phone.sees("h1", "One thing stands between you and the grid").await;
        phone.sees(".todo .hold", "Coolant drops from the hose at the radiator.").await;
        phone.keeps("4-held").await;

        // Ten minutes later, in the lane: the clamp is tight, the hose is dry.
        club.clock.pass(10);
        lane.finds("12").await;
        lane.sees(".bar-word", "Held 07:00 by R. Holt, lane 2").await;
        lane.keeps("5-comes-back").await;
        lane.ticks_everything().await;
        lane.follows(".clear").await;
        lane.sends_now().await;
        clubhouse.sees(&row("12"), "cleared").await;
        clubhouse.sees(&row("12"), "07:10, R. Holt, lane 2").await;
        clubhouse.was_not_reloaded().await;

        clubhouse.follows(&format!("{} a", row("12"))).await;
        clubhouse.sees(".told", "Coolant drops").await;
        clubhouse.keeps("6-history").await;
        clubhouse.opens(&format!("{}/cleared", board(&club))).await;
        clubhouse.sees("[data-news-here]", "Jonas Achterberg").await;
        assert!(club.cleared_csv().await.contains("\"12\",\"Jonas Achterberg\""), "the list to take away has the car as well");
        phone.follows(".news a").await;
        phone.sees("h1", "Cleared for group A").await;
        phone.closes().await;
        lane.closes().await;
        clubhouse.closes().await;
    })
    .await;
}
