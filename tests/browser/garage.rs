//! A driver and the garage on a phone: opened from the sheet, looked after for weeks, and the next sheet done in a third of the taps.

use crate::browser::{Browser, in_time};
use crate::club::{AtGarage, Club, Driver, sound_answers};
use crate::sheet;
use serde_json::json;
use std::sync::atomic::Ordering;

/// Every page of the garage that a driver opens in a usual week.
async fn pages_of(garage: &AtGarage<'_>) -> Vec<String> {
    let car = &garage.car;
    let base = &garage.base;
    let mut pages = vec![base.clone(), car.clone()];
    pages.extend(
        [
            "facts",
            "log",
            "log/import",
            "track",
            "fluids",
            "readings/pad",
            "readings/leak-down",
            "wear",
            "jobs",
            "jobs/new",
            "faults",
        ]
        .map(|page| format!("{car}/{page}")),
    );
    pages.extend(["gear/new", "hours", "keep", "units", "cars/new"].map(|page| format!("{base}/{page}")));
    let day = garage.day("Spring day").await;
    pages.extend([format!("{day}/plan"), day, format!("{car}/days/new")]);
    pages
}

/// A garage in the middle of things.
async fn a_week(garage: &AtGarage<'_>) -> String {
    garage.reads_pads("2026-04-01", ["11.0", "11.0", "9.0", "9.0"], true).await;
    garage.drove("2026-04-05", "4", "80").await;
    garage.reads_pads("2026-04-06", ["9.1", "9.3", "8.4", "8.5"], false).await;
    garage.drove("2026-04-19", "6", "120").await;
    garage.reads_pads("2026-04-20", ["6.0", "6.2", "7.6", "7.7"], false).await;
    let gear = format!("{}/gear", garage.base);
    let helmet = [("what", "helmet"), ("name", "The white one"), ("label", "SA2015"), ("date", "2016-03"), ("date-is", "made")];
    garage.notes(&gear, &helmet).await;
    let pads = garage.job("Front pads", "brakes", "2", &[("found", "They do not last the day.")]).await;
    garage.notes(&format!("{pads}/parts"), &[("name", "Front pads"), ("price", "149"), ("lead", "9"), ("is", "to-order")]).await;
    let leak =
        garage.job("Oil drips at the front", "engine", "3", &[("symptom", "oil-drips"), ("cause", "Cam cover gasket")]).await;
    garage.notes(&format!("{leak}/steps"), &[("say", "Clean it and idle ten minutes")]).await;
    garage.notes(&format!("{leak}/parts"), &[("name", "Gasket"), ("price", "34.50"), ("lead", "2"), ("is", "here")]).await;
    leak
}

#[tokio::test(flavor = "multi_thread")]
async fn the_garages_pages_are_read_at_night_and_tapped_with_gloves() {
    in_time(async {
        let club = Club::open().await;
        let ines = club.driver("27").await;
        let garage = ines.opens_own_garage().await;
        let leak = a_week(&garage).await;
        let mut pages = pages_of(&garage).await;
        pages.extend(["", "/card", "/fault", "/done", "/parts/new"].map(|page| format!("{leak}{page}")));
        let phone = Browser::phone("garage", "driver").await;
        phone.comes_in_by(&club.base, &garage.secret).await;
        crate::legible::looks_through(phone, &club.base, &pages).await;
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn ines_opens_own_garage_from_her_sheet_and_sees_what_stands_in_the_way() {
    in_time(async {
        let club = Club::open().await;
        let ines = club.driver("27").await;
        ines.sends(|answers| answers["pad-front"]["at"]["lf"] = json!(2.1)).await;
        let phone = Browser::phone("garage", "ines").await;
        phone.comes_in_as(&ines).await;
        phone.opens(&format!("{}{}", club.base, ines.home())).await;
        phone.follows("a[href$=\"/garage\"]").await;
        phone.sees("h1", "A garage for your car").await;
        phone.keeps("1-asked").await;
        phone.follows("button[value=open]").await;
        phone.sees("h1", "Keep this link: it is the key").await;
        phone.keeps("2-the-key").await;
        phone.follows(".key a.go").await;
        phone.follows(".cars a").await;
        phone.follows("a.go").await;
        // A finding of the sheet stands in the way, and becomes a job with a tap.
        phone.sees(".todo li", "front left").await;
        phone.keeps("3-not-ready").await;
        phone.follows(".todo a[href*=\"jobs/new\"]").await;
        phone.types("[name=hours]", "2").await;
        phone.follows(".act .go").await;
        phone.sees("h1", "Brake pad").await;
        phone.follows("a[href$=\"/parts/new\"]").await;
        phone.types("[name=name]", "Front pads").await;
        phone.types("[name=lead]", "9").await;
        // A slip of the pen: the words stand at the field, and nothing that was typed is gone.
        phone.types("[name=price]", "a lot").await;
        phone.forgives("422");
        phone.follows(".act .go").await;
        phone.sees("label .trouble", "Type a number").await;
        assert_eq!(phone.value("[name=price]").await, "a lot");
        phone.types("[name=price]", "149").await;
        phone.follows(".act .go").await;
        phone.sees(".order.stop", "Had to be ordered").await;
        phone.keeps("4-too-late").await;
        phone.follows("button[value=here]").await;
        phone.follows("a[href$=\"/done\"]").await;
        phone.types("[name=what]", "New pads, bedded in.").await;
        phone.types("[name=shown_by]", "11.5 mm left and right.").await;
        phone.follows(".act .go").await;
        phone.sees("h1", "Done: Brake pad").await;
        phone.keeps("5-done").await;
        phone.closes().await;
    })
    .await;
}

/// Answers the whole sheet by hand, as for a first event. Gives the taps it took.
async fn fills_in_all(phone: &Browser, club: &Club, driver: &Driver<'_>) -> usize {
    phone.opens(&format!("{}{}", club.base, driver.home())).await;
    let before = phone.tapped.load(Ordering::Relaxed);
    let areas = sheet::typed(&sound_answers());
    phone.follows(".areas a").await;
    for area in &areas {
        assert!(phone.path().await.ends_with(&area.area), "the sheet leads to {}", area.area);
        phone.fills_in(area).await;
        phone.follows(".act .go").await;
    }
    phone.sees("h1", "Everything is answered").await;
    phone.follows(".send .go").await;
    phone.sees("h1", "Sent: show the car at the gate").await;
    phone.tapped.load(Ordering::Relaxed) - before
}

/// Answers the whole sheet from what the garage offers. Gives the taps it took.
async fn confirms_all(phone: &Browser, club: &Club, driver: &Driver<'_>) -> usize {
    phone.opens(&format!("{}{}", club.base, driver.home())).await;
    let before = phone.tapped.load(Ordering::Relaxed);
    phone.follows(".areas a").await;
    for _ in 0..40 {
        if phone.path().await == driver.home() {
            break;
        }
        let has = |css: &str| format!("return document.querySelector('{css}') !== null");
        if phone.asks(&has("button[name=all]")).await == json!(true) {
            phone.follows("button[name=all]").await;
        } else if phone.asks(&has("button[name=item]")).await == json!(true) {
            phone.follows("button[name=item]").await;
        } else {
            phone.follows(".act .go").await;
        }
    }
    phone.sees("h1", "Everything is answered").await;
    phone.follows(".send .go").await;
    phone.sees("h1", "Sent: show the car at the gate").await;
    phone.tapped.load(Ordering::Relaxed) - before
}

#[tokio::test(flavor = "multi_thread")]
async fn the_next_events_sheet_is_confirmed_in_a_third_of_the_taps_of_the_first() {
    in_time(async {
        let mut club = Club::open().await;
        let phone = Browser::phone("garage", "taps").await;
        let (first, secret) = {
            let ines = club.driver("27").await;
            phone.comes_in_as(&ines).await;
            let first = fills_in_all(&phone, &club, &ines).await;
            phone.opens(&format!("{}{}/garage", club.base, ines.home())).await;
            phone.follows("button[value=open]").await;
            (first, ines.secret)
        };
        assert!(!secret.is_empty());
        club.turns_to_event("Summer day", "2026-06-13").await;
        club.clock.pass(28 * 24 * 60);
        club.organizer.signs_in_again("M. Ashdown").await;
        let ines = club.driver("27").await;
        phone.comes_in_as(&ines).await;
        // Which car this is, is asked once; nothing is filled in by that.
        phone.opens(&format!("{}{}/garage", club.base, ines.home())).await;
        phone.follows("button[name=car]").await;
        phone.opens(&format!("{}{}", club.base, ines.home())).await;
        phone.sees("h2:has(small)", "0 of").await;
        phone.opens(&format!("{}{}/areas/wheels", club.base, ines.home())).await;
        phone.sees(".offer", "On 9 May 2026, Spring day").await;
        phone.keeps("offered").await;
        let second = confirms_all(&phone, &club, &ines).await;
        println!("the first sheet took {first} taps, the next {second}");
        assert!(second * 3 <= first, "the first sheet took {first} taps, the next {second}: more than a third");
        phone.closes().await;
    })
    .await;
}

/// In a garage under the house there is often no signal: what was opened is read, and what was typed stays on the page.
#[tokio::test(flavor = "multi_thread")]
async fn the_garage_is_read_without_signal_and_nothing_typed_is_lost() {
    in_time(async {
        let club = Club::open().await;
        let ines = club.driver("27").await;
        let garage = ines.opens_own_garage().await;
        a_week(&garage).await;
        let wire = crate::wire::Wire::to(&club.base).await;
        let phone = Browser::phone("garage", "no-signal").await;
        phone.comes_in_by(&wire.base, &garage.secret).await;
        for page in ["jobs", "readings/tread"] {
            phone.opens(&format!("{}{}/{page}", wire.base, garage.car)).await;
            phone.keeps_the_page(&format!("{}/{page}", garage.car)).await;
        }
        wire.is_cut();
        phone.forgives("ERR_");
        phone.types("[name=lf]", "5.1").await;
        phone.taps(".act .go").await;
        phone.sees(".no-signal", "What you typed stays on this page").await;
        assert_eq!(phone.value("[name=lf]").await, "5.1");
        phone.keeps("no-signal").await;
        wire.is_sound();
        phone.follows(".act .go").await;
        phone.sees(".worn", "Front left").await;
        wire.is_cut();
        phone.opens(&format!("{}{}/jobs", wire.base, garage.car)).await;
        phone.sees(".jobs", "Front pads").await;
        phone.closes().await;
    })
    .await;
}
