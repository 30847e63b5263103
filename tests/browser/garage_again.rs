//! A page of the garage that is sent more than once: opened again from what the phone kept, tapped twice, sent again after an
//! answer was lost. And a browser that signs out of the garage.

use crate::browser::{Browser, in_time};
use crate::club::{AtGarage, Club};
use crate::wire::Wire;
use serde_json::json;
use sqlx::AssertSqlSafe;

/// One field of all that was noted of a kind, in order of arrival, with the ids of the changes.
async fn noted(garage: &AtGarage<'_>, kind: &str, field: &str) -> Vec<(String, String)> {
    let file = garage.driver.person.get(&format!("{}/keep/garage.json", garage.base)).await.json().await;
    let all = file["changes"].as_array().expect("a list").clone();
    let of_kind = all.into_iter().filter(|one| one["change"]["kind"] == kind);
    let text = |json: &serde_json::Value| json.as_str().expect("a text").to_owned();
    of_kind.map(|one| (text(&one["change"][field]), text(&one["id"]))).collect()
}

/// The notes of all that was driven.
async fn notes(garage: &AtGarage<'_>) -> Vec<String> {
    noted(garage, "track", "note").await.into_iter().map(|(note, _)| note).collect()
}

/// Sends a form that arrives, and whose answer does not come back.
async fn types_and_loses(phone: &Browser, wire: &Wire, field: &str) {
    phone.types(field, "Lost").await;
    wire.loses_answers();
    phone.taps(".act .go").await;
    while wire.lost() == 0 {
        tokio::time::sleep(crate::hands::GLANCE).await;
    }
    phone.comes("the browser's own error page", "return !document.querySelector('form.blanks')").await;
    wire.is_sound();
}

/// A phone in the garage that keeps the page on which time on track is noted. Gives that page's address.
async fn phone_with_a_kept_page(story: &'static str, garage: &AtGarage<'_>, wire: &Wire) -> (Browser, String) {
    let phone = Browser::phone(story, "driver").await;
    phone.comes_in_by(&wire.base, &garage.secret).await;
    let path = format!("{}/track", garage.car);
    phone.opens(&format!("{}{path}", wire.base)).await;
    phone.keeps_the_page(&path).await;
    phone.forgives("ERR_");
    let url = format!("{}{path}", wire.base);
    (phone, url)
}

const PAGES_ID: &str = "return document.querySelector('form.blanks [name=id]').value";

/// In the garage under the house there is no signal: the page is opened from what is kept, filled in, and sent at the door. Then the
/// same again for the next session.
#[tokio::test(flavor = "multi_thread")]
async fn a_kept_page_that_is_opened_twice_makes_a_record_each_time() {
    in_time(async {
        let club = Club::open().await;
        let ines = club.driver("27").await;
        let garage = ines.opens_own_garage().await;
        let wire = Wire::to(&club.base).await;
        let (phone, url) = phone_with_a_kept_page("garage-again", &garage, &wire).await;
        // The copy that is kept was asked for by the worker, and has an id of its own.
        wire.is_cut();
        phone.opens(&url).await;
        let id = phone.asks(PAGES_ID).await;
        let opens_without_signal = async |note: &str| {
            wire.is_cut();
            phone.opens(&url).await;
            assert_eq!(phone.asks(PAGES_ID).await, id, "it is the kept page");
            phone.types("[name=note]", note).await;
            wire.is_sound();
        };
        for note in ["In the wet", "In the dry"] {
            opens_without_signal(note).await;
            phone.follows(".act .go").await;
            phone.sees(".log", note).await;
        }
        // Without help of a script the page's own id goes: it is used once, and the second time the text comes back.
        let as_it_is = "document.querySelector('form.blanks').submit()";
        opens_without_signal("By hand").await;
        phone.asks(as_it_is).await;
        phone.sees(".log", "By hand").await;
        opens_without_signal("By hand, later").await;
        phone.forgives("409");
        phone.asks(as_it_is).await;
        phone.sees(".alert", "sent before").await;
        assert_eq!(phone.value("[name=note]").await, "By hand, later");
        assert_ne!(phone.asks(PAGES_ID).await, id);
        phone.keeps("sent-before").await;
        phone.follows(".act .go").await;
        phone.sees(".log", "By hand, later").await;
        assert_eq!(notes(&garage).await, ["In the wet", "In the dry", "By hand", "By hand, later"]);
        let all = noted(&garage, "track", "note").await;
        assert_eq!(json!(all[2].1), id, "the page's own id was there for who has no script");
        assert!(all.iter().filter(|(_, other)| json!(other) == id).count() == 1);
        phone.closes().await;
    })
    .await;
}

/// A double tap is one sending, and so is one whose answer was lost; after an answer the way back leads to a new one.
#[tokio::test(flavor = "multi_thread")]
async fn a_sending_is_one_however_often_it_is_tapped_and_though_its_answer_is_lost() {
    in_time(async {
        let club = Club::open().await;
        let ines = club.driver("27").await;
        let garage = ines.opens_own_garage().await;
        let wire = Wire::to(&club.base).await;
        let (phone, url) = phone_with_a_kept_page("garage-tapped", &garage, &wire).await;
        phone.types("[name=note]", "Once").await;
        wire.holds_posts();
        // Twice at once, and again while it is on its way: the browser's driver says nothing while a page is waited for.
        let taps = "const go = document.querySelector('.act .go'); go.click(); go.click();
            for (const later of [1000, 1300]) setTimeout(() => go.click(), later)";
        phone.asks(taps).await;
        while !wire.post_waits() {
            tokio::time::sleep(crate::hands::GLANCE).await;
        }
        tokio::time::sleep(std::time::Duration::from_millis(1600)).await;
        wire.is_sound();
        phone.sees(".log", "Once").await;
        assert_eq!(notes(&garage).await, ["Once"]);

        // Where the form has the address that it is sent to, the way back leads past it.
        let (gear, lost) = (format!("{}{}/gear/new", wire.base, garage.base), ["Once", "Lost"]);
        phone.opens(&url).await;
        types_and_loses(&phone, &wire, "[name=note]").await;
        assert_eq!(notes(&garage).await, lost, "it arrived");
        for then in [&lost[..], &["Once", "Lost", "Lost"]] {
            phone.opens(&url).await;
            phone.types("[name=note]", "Lost").await;
            phone.follows(".act .go").await;
            phone.sees(".log", "Lost").await;
            assert_eq!(notes(&garage).await, then);
        }
        // Elsewhere it leads to the form.
        phone.opens(&gear).await;
        types_and_loses(&phone, &wire, "[name=name]").await;
        assert_eq!(noted(&garage, "gear", "name").await.len(), 1, "it arrived");
        for then in [1, 2] {
            phone.done(phone.client.back().await, "going back");
            phone.types("[name=name]", "Lost").await;
            phone.follows(".act .go").await;
            phone.sees("h1", "One car").await;
            assert_eq!(noted(&garage, "gear", "name").await.len(), then);
        }
        phone.closes().await;
    })
    .await;
}

/// A shared computer: the sheet was opened by the club's link, the garage from the sheet.
#[tokio::test(flavor = "multi_thread")]
async fn who_signs_out_of_the_garage_leaves_nothing_of_its_sheets_in_the_browser() {
    in_time(async {
        let club = Club::open().await;
        let ines = club.driver("27").await;
        let phone = Browser::phone("garage-left", "driver").await;
        phone.comes_in_as(&ines).await;
        phone.opens(&format!("{}{}", club.base, ines.home())).await;
        phone.sees("[data-ready]", "opens without signal").await;
        phone.follows("a[href$=\"/garage\"]").await;
        phone.follows("button[value=open]").await;
        phone.follows(".key a.go").await;
        let garage = phone.path().await;
        assert!(phone.keeps_of("/my/").await > 5, "the sheet is on the device");
        let devices = async || {
            let sql = "select count(*) from device join access_link as link on link.id = device.link_id
                where link.role = 'driver' and device.ended_at is null";
            let mut db = club.house.store.read().await.expect("a reader");
            sqlx::query_scalar::<_, i64>(AssertSqlSafe(sql)).fetch_one(&mut *db).await.expect("a count")
        };
        let before = devices().await;
        phone.sees("form[data-sheets]", "Sign out of the garage and its sheets").await;
        phone.keeps("asked").await;
        phone.follows("form[data-sheets] button").await;
        assert_eq!(phone.path().await, "/");
        assert_eq!(devices().await, before - 1, "the sheet's device is ended, though it came by the club's link");
        assert_eq!(phone.keeps_of("/my/").await, json!(0), "no page of either is kept");
        phone.forgives("401");
        for path in [&ines.home(), &garage] {
            phone.opens(&format!("{}{path}", club.base)).await;
            phone.sees("h1", "Who are you?").await;
        }
        phone.closes().await;
    })
    .await;
}
