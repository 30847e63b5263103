//! What a phone keeps has an owner, an age and an end: a phone goes from hand to hand, and lies in a drawer afterwards.

use crate::browser::{Browser, in_time};
use crate::club::Club;
use crate::gate_offline::at_the_gate;
use crate::grid::clears;
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
        // Three days later, a year behind: nothing of it was the phone's to know.
        club.clock.pass(3 * 24 * 60);
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
        is_full(&phone, &wire.base).await;
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
