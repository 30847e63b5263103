//! What a phone keeps has an owner, an age and an end: a phone goes from hand to hand, and lies in a drawer afterwards.

use crate::browser::{Browser, in_time};
use crate::club::{Club, until};
use crate::gate_offline::at_the_gate;
use crate::grid::clears;
use crate::kept::{COPIES, UNSENT};
use crate::wire::Wire;

/// A gate has one phone and two inspectors. What the first signed without signal stays theirs.
#[tokio::test(flavor = "multi_thread")]
async fn what_one_inspector_signed_without_signal_is_never_sent_as_the_next_ones() {
    in_time(async {
        let club = Club::open().await;
        for number in ["7", "27"] {
            club.driver(number).await.sends(|_| ()).await;
        }
        let (holt, vane) = (club.inspector("R. Holt").await, club.inspector("S. Vane").await);
        let wire = Wire::to(&club.base).await;
        let phone = at_the_gate(&club, &wire, &holt, "shelf-hands", "inspector").await;
        wire.is_cut();
        phone.signs("7", "clear").await;
        phone.signs("27", "hold").await;
        phone.taps("[data-asks] button").await;
        for words in ["Not recorded yet: ", "clear of car 7", "hold of car 27", "they stay on this device under your name"] {
            phone.sees("[data-leave]", words).await;
        }
        phone.keeps("1-asked").await;
        phone.taps("[data-leave] button:last-of-type").await;
        phone.sees("[data-leave]", "No signal: this device is still signed in").await;

        phone.opens("about:blank").await;
        wire.is_sound();
        phone.comes_in_by(&wire.base, &club.another_link_for(&vane.name).await).await;
        phone.sees(".bar", "S. Vane").await;
        phone
            .sees(".queue", "Car 27: R. Holt's hold is not recorded. It is sent when R. Holt signs in on this device again.")
            .await;
        phone.sees(".waits-here", "R. Holt's clear waits on this device").await;
        phone.keeps("2-anothers").await;
        // Whatever makes a phone send: its lane opened anew, and a sign-off of the person who has it now.
        phone.holds_the_gate(&club.event).await;
        phone.opens(&format!("{}{}", wire.base, vane.lane())).await;
        phone.finds("27").await;
        phone.sees(".mine", "R. Holt's hold of just now is on this device and waits for R. Holt to sign in here again.").await;
        phone.sees(".safe", "You sign as S. Vane").await;
        phone.opens(&format!("{}{}", wire.base, vane.lane())).await;
        phone.signs("12", "hold").await;
        assert_eq!(club.history_of("12").await, ["hold by S. Vane (inspector)"]);
        for number in ["7", "27"] {
            assert_eq!(club.history_of(number).await.len(), 1, "car {number}: the sheet and nothing else");
        }
        phone.follows("[data-asks] button").await;
        phone.opens(&format!("{}{}", wire.base, vane.lane())).await;
        phone.sees("[data-unsent]", "R. Holt's hold is not recorded: it waits on this device").await;
        assert_eq!(club.history_of("27").await.len(), 1, "nor by the page of a device that was signed out");

        phone.comes_in_by(&wire.base, &club.another_link_for(&holt.name).await).await;
        phone.has_sent_all().await;
        assert_eq!(club.history_of("7").await[0], "clear by R. Holt (inspector)");
        assert_eq!(club.history_of("27").await[0], "hold by R. Holt (inspector)");
        phone.closes().await;
    })
    .await;
}

/// A phone three hours behind, at the pit exit, out of signal. "Cleared" is said of what was heard lately and of nothing else.
#[tokio::test(flavor = "multi_thread")]
async fn a_marshals_old_green_is_no_green_whatever_the_phones_clock_says() {
    const BEHIND: i64 = -3 * 60;
    in_time(async {
        let club = Club::open().await;
        clears(&club, "27").await;
        let wire = Wire::to(&club.base).await;
        let phone = Browser::phone("shelf-clock", "marshal").await;
        phone.forgives("ERR_");
        phone.forgives("503");
        phone.has_a_clock_off_by(&club, BEHIND).await;
        phone.opens(&format!("{}/in/{}", wire.base, club.link_for("marshal", "Pit exit").await)).await;
        phone.is_ready_for_no_signal().await;
        phone.asks_for("27", "Cleared", "Group B").await;
        phone.sees(".verdict.whole [data-age]", "News of just now.").await;
        phone.next().await;
        wire.is_cut();
        let grid = format!("{}/grid/{}", wire.base, club.event);
        club.clock.pass(14);
        phone.has_a_clock_off_by(&club, BEHIND).await;
        phone.opens(&grid).await;
        phone.asks_for("27", "Cleared", "Group B").await;
        club.clock.pass(116);
        phone.has_a_clock_off_by(&club, BEHIND).await;
        phone.opens(&grid).await;
        phone.asks_for("27", "Was cleared 2 h ago", "Ask the gate").await;
        phone.sees(".verdict.whole [data-age]", "2 hours ago").await;
        let looks = "const card = document.querySelector('.verdict.whole'); \
            return [card.classList.contains('cleared'), card.querySelectorAll('.mark').length, !!card.querySelector('.mark.pending')]";
        assert_eq!(phone.asks(looks).await, serde_json::json!([false, 1, true]), "neither the mark nor the look of a clearance");
        phone.keeps("1-was-cleared").await;
        phone.next().await;
        let plate = "const link = document.querySelector('[data-list] a.cleared'); return link.ariaLabel + ' ' + \
            link.querySelector('.mark').checkVisibility({ visibilityProperty: true })";
        assert_eq!(phone.asks(plate).await, "Car 27 false", "nor on the plates");
        phone.asks_for("12", "Not cleared", "no sheet was sent").await;
        // Somebody puts the clock back: no age can be told.
        phone.has_a_clock_off_by(&club, BEHIND - 24 * 60).await;
        phone.opens(&grid).await;
        phone.asks_for("27", "Ask the gate", "This phone's clock is wrong").await;
        phone.sees("[data-age]", "this phone's clock is wrong").await;
        phone.keeps("2-wrong-clock").await;
        // The day after, a phone behind: nothing of it is to be known.
        club.clock.pass(24 * 60);
        phone.has_a_clock_off_by(&club, BEHIND).await;
        phone.opens(&grid).await;
        phone.asks_for("27", "The event is over", "This list was for Saturday 9 May 2026").await;
        phone.keeps("3-over").await;
        phone.closes().await;
    })
    .await;
}

/// Gives the page's origin so little room that nothing more can be kept. Local storage has room of its own.
async fn is_full(phone: &Browser, base: &str) {
    phone.devtools("Storage.overrideQuotaForOrigin", serde_json::json!({ "origin": base, "quotaSize": 1 })).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_full_phone_shows_what_the_server_says_and_swallows_no_sign_off() {
    in_time(async {
        let club = Club::open().await;
        for number in ["7", "12", "27"] {
            club.driver(number).await.sends(|_| ()).await;
        }
        let (holt, vane) = (club.inspector("R. Holt").await, club.inspector("S. Vane").await);
        let wire = Wire::to(&club.base).await;
        let phone = at_the_gate(&club, &wire, &holt, "shelf-full", "inspector").await;
        // Put away and taken out again: how much room there is, a browser asks when it starts.
        let phone = Browser::comes_back(phone.puts_it_away().await).await;
        phone.forgives("ERR_");
        is_full(&phone, &wire.base).await;
        phone.opens(&format!("{}{}", wire.base, holt.lane())).await;
        // With signal: the page that cannot be kept is shown, and not the kept one of before.
        vane.holds("27", "Oil on the sill.").await;
        phone.finds("27").await;
        phone.sees(".standing", "flagged").await;
        phone.opens(&format!("{}{}", wire.base, holt.lane())).await;
        phone.signs("7", "hold").await;
        assert_eq!(club.history_of("7").await[0], "hold by R. Holt (inspector)");
        // Without: local storage has room.
        wire.is_cut();
        phone.signs("12", "clear").await;
        phone.sees(".queue", "1 sign-off waits on this device for signal: 12").await;
        wire.is_sound();
        phone.taps(".queue button").await;
        phone.has_sent_all().await;
        assert_eq!(club.board_of("12").await.0, "cleared");
        // No room anywhere: what cannot be kept is sent directly.
        let fills = "for (let size = 1 << 22, n = 0; size > 0; n += 1) \
            try { localStorage.setItem('filler ' + n, 'x'.repeat(size)); } catch { size >>= 1; } return true";
        phone.asks(fills).await;
        phone.signs("27", "hold").await;
        phone.sees(".signed", "no room to keep it, so it was sent at once, without Undo").await;
        assert_eq!(club.history_of("27").await[0], "hold by R. Holt (inspector)");
        // And where that fails too, it is said, and nothing typed is lost.
        wire.is_cut();
        phone.finds("114B").await;
        phone.taps(".hold").await;
        phone.types("[name=reason]", "A wheel nut is missing.").await;
        phone.taps(".hold").await;
        phone.sees("[data-lost]", "this hold is not recorded. Try again where there is signal.").await;
        phone.keeps("1-no-room").await;
        assert_eq!(phone.value("[name=reason]").await, "A wheel nut is missing.");
        wire.is_sound();
        phone.follows(".hold").await;
        assert_eq!(club.history_of("114B").await, ["hold by R. Holt (inspector)"]);
        phone.closes().await;
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_browsers_database_that_opens_and_never_answers_is_done_without() {
    in_time(async {
        let club = Club::open().await;
        club.driver("27").await.sends(|_| ()).await;
        let holt = club.inspector("R. Holt").await;
        let wire = Wire::to(&club.base).await;
        let phone = at_the_gate(&club, &wire, &holt, "shelf-dumb", "inspector").await;
        let dumb = "const none = () => ({}); IDBDatabase.prototype.transaction = () => \
            ({ objectStore: () => ({ get: none, getAll: none, getAllKeys: none, put: none, delete: none }), abort: none })";
        phone.devtools("Page.addScriptToEvaluateOnNewDocument", serde_json::json!({ "source": dumb })).await;
        phone.opens(&format!("{}{}", wire.base, holt.lane())).await;
        wire.is_cut();
        phone.signs("27", "hold").await;
        phone.sees(".queue", "1 sign-off waits on this device for signal: 27").await;
        wire.is_sound();
        phone.taps(".queue button").await;
        phone.has_sent_all().await;
        assert_eq!(club.history_of("27").await[0], "hold by R. Holt (inspector)");
        phone.closes().await;
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn the_lane_says_what_the_phone_holds_and_every_person_who_comes_in_has_all_of_it() {
    in_time(async {
        let club = Club::open().await;
        let (holt, vane) = (club.inspector("R. Holt").await, club.inspector("S. Vane").await);
        let wire = Wire::to(&club.base).await;
        let phone = at_the_gate(&club, &wire, &holt, "shelf-holds", "inspector").await;
        phone.sees("[data-held]", "4 of 4 cars on this phone, 07:00.").await;
        phone.keeps("1-holds").await;
        phone.follows("[data-asks] button").await;
        assert_eq!(phone.keeps_of("/gate/").await, 0, "signed out, it keeps nothing");
        for inspector in [&holt, &vane] {
            phone.comes_in_by(&wire.base, &club.another_link_for(&inspector.name).await).await;
            phone.sees("[data-held]", "4 of 4 cars on this phone, 07:00.").await;
            // Four cars, the lane, the record of the part.
            assert_eq!(phone.keeps_of("/gate/").await, 6, "{}", inspector.name);
            assert!(!phone.whole_shelf().await.contains(if inspector.name == "S. Vane" { "R. Holt" } else { "S. Vane" }));
        }
        // The browser threw pages away: the mark does not say more than is there.
        phone.changes_the_shelf(COPIES, &format!("page /gate/{}/entries/", club.event), "value = null").await;
        phone.opens(&format!("{}{}", wire.base, vane.lane())).await;
        phone.sees("[data-held]", "4 of 4 cars on this phone, 07:00.").await;
        // A second tab on a car; the organizer ends the phone: both go.
        phone.opens_a_tab().await;
        phone.opens(&format!("{}{}", wire.base, vane.lane())).await;
        phone.finds("27").await;
        let end = club.forms_for("S. Vane").await.into_iter().find(|form| form.contains("/people/") && form.ends_with("/end"));
        club.organizer.post(&end.expect("can be ended"), &[]).await;
        for tab in phone.tabs().await {
            phone.turns_to(tab).await;
            phone.sees("h1", "Who are you?").await;
        }
        assert_eq!(phone.keeps_of("/gate/").await, 0, "{:?}", phone.shelf_names("/gate/").await);
        assert!(!phone.whole_shelf().await.contains("Okafor"), "no driver's name is left");
        phone.closes().await;
    })
    .await;
}

/// The mark says up to where the gate is whole. An erased name is in no record, and goes from the phone all the same.
#[tokio::test(flavor = "multi_thread")]
async fn a_driver_who_is_erased_goes_from_the_gates_phone_too() {
    in_time(async {
        let club = Club::open().await;
        let ines = club.driver("27").await;
        ines.sends(|_| ()).await;
        let (name, entry) = ("Ines Okafor", ines.entry.clone());
        let holt = club.inspector("R. Holt").await;
        let wire = Wire::to(&club.base).await;
        let phone = at_the_gate(&club, &wire, &holt, "shelf-erased", "inspector").await;
        assert!(phone.whole_shelf().await.contains(name), "{name} is on the phone");
        let erase = format!("/club/events/{}/entries/{entry}/data/erase", club.event);
        let erased = club.organizer.post(&erase, &[("number", "27")]).await;
        assert_eq!(erased.status().as_u16(), 303, "{}", erased.page().await.text());
        phone.comes("the name leaves the open page", &format!("return !document.body.innerText.includes('{name}')")).await;
        for _ in 0..200 {
            if !phone.whole_shelf().await.contains(name) {
                return phone.closes().await;
            }
            tokio::time::sleep(crate::hands::GLANCE).await;
        }
        panic!("{name} stays on the phone");
    })
    .await;
}

/// Lets so many days pass for the worker, whose clock no page can set: what it heard of the server's is changed, and it starts anew.
async fn days_pass_for_the_worker(phone: &Browser, days: i64) {
    phone.changes_the_shelf(UNSENT, "clock of the worker", &format!("value.ahead += {}", days * 86_400_000)).await;
    phone.devtools("ServiceWorker.enable", serde_json::json!({})).await;
    phone.devtools("ServiceWorker.stopAllWorkers", serde_json::json!({})).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn what_a_phone_keeps_of_an_event_ends_when_the_organizer_says_and_what_waits_when_nobody_can_send_it() {
    for (typed, days) in [(None, 1), (Some("0"), 0), (Some("4"), 4)] {
        in_time(async {
            let club = Club::open().await;
            club.driver("27").await.sends(|_| ()).await;
            if let Some(kept) = typed {
                club.sets_phones("15", kept).await;
            }
            let holt = club.inspector("R. Holt").await;
            let wire = Wire::to(&club.base).await;
            let phone = at_the_gate(&club, &wire, &holt, "shelf-end", "inspector").await;
            let lane = format!("{}{}", wire.base, holt.lane());
            wire.is_cut();
            phone.signs("27", "hold").await;
            phone.opens("about:blank").await;
            // The event's day is today: on its last day, and the day after that.
            for (pass, is_there) in [(days, true), (1, false)] {
                phone.opens(&lane).await;
                days_pass_for_the_worker(&phone, pass).await;
                phone.opens(&lane).await;
                if is_there {
                    phone.sees(".bar", "R. Holt").await;
                } else {
                    phone.forgives("503");
                    phone.sees("h1", "No signal").await;
                }
            }
            until("the pages are gone", || async { phone.keeps_of("/gate/").await == 0 }).await;
            assert!(!phone.whole_shelf().await.contains("Okafor"));
            phone.keeps("1-over").await;
            // The hold waits on until the links of the gate have ended: the night after the next day.
            if days == 0 {
                assert_eq!(phone.shelf_names("sign-off ").await.len(), 1);
                days_pass_for_the_worker(&phone, 2).await;
                phone.opens(&lane).await;
            }
            until("the hold ends too", || async { phone.shelf_names("sign-off ").await.is_empty() }).await;
            phone.closes().await;
        })
        .await;
    }
}

/// Whoever reads a kept page reads it under the same policy as on the wire.
#[tokio::test(flavor = "multi_thread")]
async fn kept_pages_carry_the_headers_that_they_came_with() {
    in_time(async {
        let club = Club::open().await;
        let (holt, ines) = (club.inspector("R. Holt").await, club.driver("27").await);
        let wire = Wire::to(&club.base).await;
        let phone = at_the_gate(&club, &wire, &holt, "shelf-headers", "inspector").await;
        phone.opens(&format!("{}/in/{}", wire.base, ines.secret)).await;
        phone.sees("[data-ready]", "opens without signal").await;
        let on_the_wire = club.organizer.get("/club").await;
        let names =
            ["content-security-policy", "x-content-type-options", "referrer-policy", "permissions-policy", "x-frame-options"];
        let wanted = names.map(|name| (name, on_the_wire.header(name).to_owned()));
        assert!(wanted.iter().all(|(_, value)| !value.is_empty()), "{wanted:?}");
        wire.is_cut();
        let pages: Vec<String> = phone.shelf_names("page /").await.iter().map(|name| name[5..].to_owned()).collect();
        assert!(pages.len() > 10, "{pages:?}");
        for path in pages {
            let script = format!(
                "return fetch('{path}').then(async (page) => [page.status, (await page.text()).startsWith('<!doctype html>'), \
                 Object.fromEntries(page.headers)])"
            );
            let answer = phone.asks(&script).await;
            assert_eq!((&answer[0], &answer[1]), (&serde_json::json!(200), &serde_json::json!(true)), "{path}");
            for (name, value) in &wanted {
                assert_eq!(answer[2][name], **value, "{path}: {name}");
            }
        }
        phone.closes().await;
    })
    .await;
}

/// Whoever runs the day says when a green is old.
#[tokio::test(flavor = "multi_thread")]
async fn the_organizer_says_after_how_long_without_news_a_cleared_is_old() {
    in_time(async {
        let club = Club::open().await;
        clears(&club, "27").await;
        let laptop = Browser::desktop("shelf-setting", "organizer").await;
        laptop.opens(&crate::people::organizer_link(&club, &club.base).await).await;
        let people = format!("{}/club/events/{}/people", club.base, club.event);
        laptop.forgives("422");
        laptop.opens(&people).await;
        assert_eq!(laptop.value("[name=old_after]").await, "15");
        laptop.types("[name=old_after]", "0").await;
        laptop.types("[name=kept_days]", "31").await;
        laptop.follows("#phones button").await;
        laptop.sees("#phones .trouble", "Give whole minutes, 1 to 240.").await;
        assert_eq!(laptop.value("[name=kept_days]").await, "31", "what was typed stays");
        laptop.keeps("1-refused").await;
        laptop.types("[name=old_after]", "40").await;
        laptop.types("[name=kept_days]", "3").await;
        laptop.follows("#phones button").await;
        assert_eq!((laptop.value("[name=old_after]").await, laptop.value("[name=kept_days]").await), ("40".into(), "3".into()));
        laptop.taps("#phones summary").await;
        laptop.sees("#phones details", "40 min, 3 days").await;
        laptop.keeps("2-set").await;
        laptop.closes().await;

        let wire = Wire::to(&club.base).await;
        let phone = Browser::phone("shelf-setting", "marshal").await;
        phone.forgives("ERR_");
        phone.forgives("503");
        phone.has_the_clubs_time(&club).await;
        phone.opens(&format!("{}/in/{}", wire.base, club.link_for("marshal", "Pit exit").await)).await;
        phone.is_ready_for_no_signal().await;
        phone.asks_for("27", "Cleared", "Group B").await;
        wire.is_cut();
        for (minutes, title) in [(39, "Cleared"), (1, "Was cleared 40 min ago")] {
            club.clock.pass(minutes);
            phone.has_the_clubs_time(&club).await;
            phone.opens(&format!("{}/grid/{}", wire.base, club.event)).await;
            phone.asks_for("27", title, "").await;
        }
        phone.closes().await;
    })
    .await;
}
