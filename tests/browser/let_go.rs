//! Devices that were ended: everything of theirs goes, what lies beside it stays, and what was never sent waits for its owner.

use crate::browser::{Browser, in_time};
use crate::club::{Club, until};
use crate::grid::clears;
use crate::no_signal_driver::{CUT, comes_in, opens_area, stands};
use crate::wire::Wire;
use std::time::{Duration, Instant};

/// How long the worker waits for an answer before it shows a kept page, less what a clock may be off.
const SIGNAL: Duration = Duration::from_millis(3800);

#[tokio::test(flavor = "multi_thread")]
async fn an_ended_drivers_phone_keeps_its_garage_loses_its_sheet_and_sends_what_was_typed_by_the_next_link() {
    in_time(async {
        let club = Club::open().await;
        let ines = club.driver("27").await;
        let home = ines.home();
        let wire = Wire::to(&club.base).await;
        let phone = Browser::phone("let-go", "driver").await;
        phone.forgives(CUT);
        phone.forgives("401");
        comes_in(&phone, &wire, &ines).await;
        phone.follows("a[href$=\"/garage\"]").await;
        phone.follows("button[value=open]").await;
        phone.follows(".key a.go").await;
        let garage = phone.path().await;
        phone.reloads().await;
        phone.keeps_the_page(&garage).await;
        phone.opens(&format!("{}{home}", wire.base)).await;
        wire.is_cut();
        opens_area(&phone, "tyres").await;
        phone.types("[name=\"tread-depth.lf\"]", "6.5").await;
        phone.sees("#tread-depth .kept-here", "not sent yet").await;
        phone.opens("about:blank").await;
        let ends = format!("/club/events/{}/entries/{}/links/end", club.event, ines.entry);
        assert_eq!(club.organizer.post(&ends, &[]).await.status().as_u16(), 303, "the link is ended");

        // One bar of signal: the kept page comes after a while, and goes when the answer does.
        wire.holds_all();
        let asked = Instant::now();
        phone.opens(&format!("{}{home}", wire.base)).await;
        phone.sees("h2:has(small)", "The sheet").await;
        assert!(asked.elapsed() >= SIGNAL, "the network was waited for: {:?}", asked.elapsed());
        phone.keeps("1-slow").await;
        wire.is_sound();
        phone.sees("h1", "Who are you?").await;
        let words =
            "What was typed here and not sent is still on this device. It is sent once the private link is opened here again.";
        phone.sees("[data-unsent]", words).await;
        phone.keeps("2-who").await;
        // Every address of the sheet says the same, with the garage's cookie in hand; and nothing of it is left.
        for path in [&home, &format!("{home}/areas/tyres"), &format!("{home}/pass"), &format!("{home}/live")] {
            let status = phone.asks(&format!("return fetch('{path}', {{ cache: 'no-store' }}).then((got) => got.status)")).await;
            assert_eq!(status, 401, "{path}");
        }
        until("the sheet's pages are gone", || async { phone.keeps_of(&home).await == 0 }).await;
        assert!(phone.keeps_of("/my/garage/").await > 0, "the garage stays");
        phone.opens(&format!("{}{garage}", wire.base)).await;
        phone.sees(".cars", "Corvane S4").await;
        wire.is_cut();
        phone.opens(&format!("{}{garage}", wire.base)).await;
        phone.sees(".cars", "Corvane S4").await;
        phone.forgives("503");
        phone.opens(&format!("{}{home}", wire.base)).await;
        phone.sees("h1", "No signal").await;
        phone.opens("about:blank").await;
        wire.is_sound();

        // A new link: nobody taps anything.
        let again = club.driver("27").await;
        assert_eq!(stands(&again, "tyres", "tread-depth.lf").await, "", "nothing of it went before");
        phone.opens(&format!("{}/in/{}", wire.base, again.secret)).await;
        until("what was typed goes by itself", || async { stands(&again, "tyres", "tread-depth.lf").await == "6.5" }).await;
        phone.comes("nothing waits any more", "return document.querySelector('.queue').hidden").await;
        phone.closes().await;
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn an_ended_marshals_phone_loses_its_list_by_itself() {
    in_time(async {
        let club = Club::open().await;
        clears(&club, "27").await;
        let wire = Wire::to(&club.base).await;
        let phone = Browser::phone("let-go", "marshal").await;
        phone.forgives(CUT);
        phone.forgives("401");
        phone.has_the_clubs_time(&club).await;
        phone.opens(&format!("{}/in/{}", wire.base, club.link_for("marshal", "Pit exit").await)).await;
        phone.is_ready_for_no_signal().await;
        phone.asks_for("27", "Cleared", "Group B").await;
        assert!(phone.whole_shelf().await.contains("Corvane S4"), "the list is on the phone");
        let end = club.forms_for("Pit exit").await.into_iter().find(|form| form.contains("/people/") && form.ends_with("/end"));
        club.organizer.post(&end.expect("can be ended"), &[]).await;
        phone.sees("h1", "Who are you?").await;
        until("the list is gone", || async { phone.keeps_of("/grid/").await == 0 }).await;
        assert!(!phone.whole_shelf().await.contains("Corvane S4"));
        wire.is_cut();
        phone.forgives("503");
        phone.opens(&format!("{}/grid/{}", wire.base, club.event)).await;
        phone.sees("h1", "No signal").await;
        phone.closes().await;
    })
    .await;
}
