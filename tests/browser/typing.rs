//! Filling in an area with script: the verdict comes while typing, and what was typed is never taken away.

use crate::browser::{Browser, in_time};
use crate::club::{Club, until};
use crate::people::organizer_link;
use crate::wire::Wire;

#[tokio::test(flavor = "multi_thread")]
async fn the_verdict_comes_while_marta_types_and_nothing_typed_is_lost() {
    in_time(async {
        let club = Club::open().await;
        let marta = club.driver("7").await;
        let phone = Browser::phone("typing", "driver").await;
        phone.comes_in_as(&marta).await;
        phone.opens(&format!("{}{}/areas/tyres", club.base, marta.home())).await;
        phone.marks_the_page().await;

        phone.types("[name=\"tread-depth.lf\"]", "1.2").await;
        phone.sees("[data-verdict=tread-depth]", "1.2 mm").await;
        phone.types("[name=\"tread-depth.rf\"]", "6").await;
        phone.sees("[data-verdict=tread-depth]", "Still to measure: rear left, rear right").await;
        phone.keeps("1-verdict").await;
        phone.types("[name=\"tread-depth.lf\"]", "abc").await;
        phone.sees("[data-trouble=\"tread-depth.lf\"]", "Type a number in mm").await;
        assert_eq!(phone.value("[name=\"tread-depth.lf\"]").await, "abc", "what was typed stays while it is wrong");
        phone.was_not_reloaded().await;

        // Sent all the same: the page comes back with everything that was typed.
        phone.forgives("422");
        phone.types("[name=\"tyre-date.lr\"]", "5399").await;
        phone.types("[name=\"tyre-marking\"]", "225/45 R17 94W").await;
        phone.follows(".act .go").await;
        phone.sees(".alert", "cannot be used yet").await;
        for (field, typed) in
            [("tread-depth.lf", "abc"), ("tread-depth.rf", "6"), ("tyre-date.lr", "5399"), ("tyre-marking", "225/45 R17 94W")]
        {
            assert_eq!(phone.value(&format!("[name=\"{field}\"]")).await, typed, "{field} is as Marta typed it");
        }
        phone.taps("#tread-depth h2").await;
        phone.keeps("2-trouble").await;
        phone.keeps_whole("2-trouble-whole").await;
        phone.follows(".bar .back").await;
        phone.sees(".troubled", "Tyre tread").await;
        phone.keeps_whole("3-cannot-be-read").await;
        phone.closes().await;
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn what_an_organizer_typed_stands_again_when_the_form_is_refused() {
    in_time(async {
        let club = Club::open().await;
        let clubhouse = Browser::desktop("typing", "organizer").await;
        clubhouse.forgives("422");
        clubhouse.opens(&organizer_link(&club, &club.base).await).await;
        clubhouse.taps("details summary").await;
        clubhouse.types("[name=name]", "Long day").await;
        clubhouse.types("[name=venue]", "Ferrow Hill").await;
        clubhouse.types("[name=zone]", "Mars/Base").await;
        clubhouse.types("[name=groups]", "A 08:50").await;
        clubhouse.keeps("1-new-event").await;
        clubhouse.follows(".stack .go").await;
        assert_eq!(clubhouse.value("[name=name]").await, "Long day");
        assert_eq!(clubhouse.value("[name=venue]").await, "Ferrow Hill");
        assert_eq!(clubhouse.value("[name=zone]").await, "Mars/Base");
        assert_eq!(clubhouse.value("[name=groups]").await, "A 08:50");
        clubhouse.keeps("2-refused").await;
        clubhouse.opens(&format!("{}/club/events/{}/roster", club.base, club.event)).await;
        let lines = "number,name,car,group,mail\n31,Owen Pell,Tarn Coupe,Z,";
        clubhouse.types("[name=text]", lines).await;
        clubhouse.follows("form[enctype] .go").await;
        clubhouse.sees(".alert", "Nothing was taken in").await;
        assert_eq!(clubhouse.value("[name=text]").await, lines, "the pasted lines stand again");
        clubhouse.keeps("3-roster-refused").await;
        clubhouse.closes().await;
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_reading_that_was_put_right_is_not_overtaken_by_the_old_one_on_a_slow_line() {
    in_time(async {
        let club = Club::open().await;
        let marta = club.driver("7").await;
        let wire = Wire::to(&club.base).await;
        let phone = Browser::phone("slow-line", "driver").await;
        phone.opens(&format!("{}/in/{}", wire.base, marta.secret)).await;
        phone.opens(&format!("{}{}/areas/tyres", wire.base, marta.home())).await;
        wire.holds_the_next_post();
        phone.types("[name=\"tread-depth.lf\"]", "1.2").await;
        phone.taps("h1").await;
        until("the first reading is under way", || async { wire.post_waits() }).await;
        phone.types("[name=\"tread-depth.lf\"]", "6").await;
        // The second reading may go ahead of the first or wait for it; either way it is the one that counts in the end.
        phone.taps("h1").await;
        let verdict = phone.sees("[data-verdict=tread-depth]", "Still to measure: front right");
        let _ = tokio::time::timeout(std::time::Duration::from_secs(2), verdict).await;
        wire.is_sound();
        let answered = || {
            wire.asked().iter().filter(|asked| asked.is_post && asked.path.ends_with("/areas/tyres") && asked.bytes > 0).count()
        };
        until("both readings arrived", || async { answered() == 2 }).await;
        let page = marta.person.get(&format!("{}/areas/tyres", marta.home())).await.page().await;
        assert_eq!(page.value_of("[name=\"tread-depth.lf\"]"), "6", "the server has the reading that stands in the form");
        let verdict = phone.asks("return document.querySelector('[data-verdict=tread-depth]').innerText").await;
        assert!(!verdict.to_string().contains("1.2 mm"), "the verdict is of the reading that stands in the form: {verdict}");
        phone.closes().await;
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_note_typed_while_the_next_item_is_fetched_is_not_wiped_off() {
    in_time(async {
        let club = Club::open().await;
        let marta = club.driver("7").await;
        let wire = Wire::to(&club.base).await;
        let phone = Browser::phone("slow-line", "driver").await;
        phone.opens(&format!("{}/in/{}", wire.base, marta.secret)).await;
        phone.opens(&format!("{}{}/areas/exhaust", wire.base, marta.home())).await;
        wire.holds_posts();
        // An answer that brings another item, and at once a note on it.
        phone.answers("exhaust-leak", "yes").await;
        until("the answer is under way", || async { wire.post_waits() }).await;
        phone.taps("#exhaust-leak .note summary").await;
        phone.types("[name=\"exhaust-leak.note\"]", "New gasket").await;
        wire.is_sound();
        phone.element("[name=exhaust-mounts]").await;
        assert_eq!(phone.value("[name=\"exhaust-leak.note\"]").await, "New gasket", "the note stands as it was typed");
        phone.closes().await;
    })
    .await;
}
