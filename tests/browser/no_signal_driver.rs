//! A driver without signal: the sheet opens, what is typed is safe on the phone, and what is sent arrives once.

use crate::browser::{Browser, Kind, in_time_or_told_again, tell_in_both};
use crate::club::{Club, Driver, sound_answers, until};
use crate::sheet::{self, AreaAnswers};
use crate::wire::Wire;
use reqwest::StatusCode;

/// What the browser itself says of requests that do not get through.
pub const CUT: &str = "net::ERR_";

/// A driver whose sheet is typed but for these areas. Gives the answers of all.
pub async fn all_but(driver: &Driver<'_>, left: &[&str]) -> Vec<AreaAnswers> {
    let areas = sheet::typed(&sound_answers());
    for area in areas.iter().filter(|area| !left.contains(&area.area.as_str())) {
        let kept = driver.types(&area.area, &area.form()).await;
        assert_eq!(kept.status(), StatusCode::SEE_OTHER, "{} is kept", area.area);
    }
    areas
}

/// Comes in by the private link, and waits until the whole sheet is on the phone.
pub async fn comes_in(phone: &Browser, wire: &Wire, driver: &Driver<'_>) {
    phone.forgives(CUT);
    phone.opens(&format!("{}/in/{}", wire.base, driver.secret)).await;
    phone.sees("[data-ready]", "opens without signal").await;
}

pub async fn opens_area(phone: &Browser, area: &str) {
    phone.follows(&format!(".areas a[href$=\"/areas/{area}\"]")).await;
}

/// What the server has of an answer.
pub async fn stands(driver: &Driver<'_>, area: &str, field: &str) -> String {
    let page = driver.person.get(&format!("{}/areas/{area}", driver.home())).await.page().await;
    page.value_of(&format!("[name=\"{field}\"]"))
}

tell_in_both!(a_sheet_filled_in_and_sent_without_signal_arrives_once_when_the_signal_returns);

async fn a_sheet_filled_in_and_sent_without_signal_arrives_once_when_the_signal_returns(kind: Kind) {
    in_time_or_told_again(|| async {
        let club = Club::open().await;
        let ines = club.driver("27").await;
        let areas = all_but(&ines, &["brakes", "exhaust"]).await;
        let wire = Wire::to(&club.base).await;
        let phone = kind.phone("no-signal", "driver").await;
        comes_in(&phone, &wire, &ines).await;
        wire.is_cut();
        opens_area(&phone, "brakes").await;
        phone.fills_in_without_signal(sheet::of(&areas, "brakes")).await;
        phone.sees(".queue", "1 area waits for signal").await;
        phone.keeps("1-typed").await;
        phone.reloads().await;
        phone.shows(sheet::of(&areas, "brakes")).await;
        phone.sees("#pad-front .kept-here", "Kept on this device, not sent yet").await;
        phone.keeps("2-reloaded").await;
        phone.follows(".act .go").await;
        phone.follows(".bar .back").await;
        opens_area(&phone, "exhaust").await;
        // The item that hangs on the first comes without the server.
        phone.fills_in_without_signal(sheet::of(&areas, "exhaust")).await;
        phone.follows(".bar .back").await;
        phone.sees(".queue", "2 areas wait for signal").await;
        phone.taps(".send-later .go").await;
        phone.sees(".queue", "Not sent yet").await;
        phone.keeps_whole("3-sent-without-signal").await;
        let page = phone.asks("return document.body.innerText").await;
        assert!(!page.as_str().is_some_and(|text| text.contains("Sent:")), "nothing says that it is sent: {page}");
        assert_eq!(club.history_of("27").await, Vec::<String>::new(), "and it is not");
        phone.reloads().await;
        phone.sees(".queue", "Not sent yet").await;

        wire.is_sound();
        phone.taps("[data-try]").await;
        phone.sees("h1", "Sent: show the car at the gate").await;
        phone.comes("nothing waits any more", "return document.querySelector('.queue').hidden").await;
        phone.keeps("4-sent").await;
        assert_eq!(club.history_of("27").await.len(), 1, "one submission");
        let first = sheet::of(&areas, "brakes").form()[0];
        assert_eq!(ines.heading().await, "Sent: show the car at the gate", "and every answer was in it: {first:?}");
        phone.closes().await;
    })
    .await;
}

tell_in_both!(a_draft_outlives_a_dead_battery_and_goes_by_itself_when_the_phone_is_on_again);

async fn a_draft_outlives_a_dead_battery_and_goes_by_itself_when_the_phone_is_on_again(kind: Kind) {
    in_time_or_told_again(|| async {
        let club = Club::open().await;
        let ines = club.driver("27").await;
        let wire = Wire::to(&club.base).await;
        let phone = kind.phone("no-signal-battery", "driver").await;
        comes_in(&phone, &wire, &ines).await;
        // The days before: the phone was used and put away in order.
        let phone = Browser::comes_back(phone.puts_it_away().await).await;
        wire.is_cut();
        phone.opens(&format!("{}{}/areas/tyres", wire.base, ines.home())).await;
        phone.types("[name=\"tread-depth.lf\"]", "6.5").await;
        phone.types("[name=\"tread-depth.rf\"]", "6.4").await;
        tokio::time::sleep(std::time::Duration::from_secs(1)).await;
        let phone = Browser::comes_back(phone.dies().await).await;
        phone.forgives(CUT);
        phone.opens(&format!("{}{}/areas/tyres", wire.base, ines.home())).await;
        phone.sees("#tread-depth .kept-here", "not sent yet").await;
        assert_eq!(phone.value("[name=\"tread-depth.lf\"]").await, "6.5");
        assert_eq!(phone.value("[name=\"tread-depth.rf\"]").await, "6.4", "the last keystroke before the battery died");
        phone.keeps("1-on-again").await;
        assert_eq!(stands(&ines, "tyres", "tread-depth.lf").await, "", "the server knows nothing of it yet");
        wire.is_sound();
        // Nobody taps anything: it goes by itself.
        phone.sees("[data-verdict=tread-depth]", "Still to measure").await;
        until("the last keystroke too", || async { stands(&ines, "tyres", "tread-depth.rf").await == "6.4" }).await;
        phone.closes().await;
    })
    .await;
}

tell_in_both!(an_area_that_hangs_on_an_answer_opens_without_signal);

async fn an_area_that_hangs_on_an_answer_opens_without_signal(kind: Kind) {
    in_time_or_told_again(|| async {
        let club = Club::open().await;
        let tomas = club.driver("114B").await;
        let wire = Wire::to(&club.base).await;
        let phone = kind.phone("no-signal-open-car", "driver").await;
        comes_in(&phone, &wire, &tomas).await;
        wire.is_cut();
        opens_area(&phone, "car").await;
        phone.answers("roof", "open").await;
        phone.follows(".bar .back").await;
        opens_area(&phone, "open-car").await;
        phone.answers("roll-over", "yes").await;
        phone.keeps("1-open-car").await;
        phone.follows(".bar .back").await;
        phone.sees(".queue", "2 areas wait for signal").await;
        wire.is_sound();
        phone.taps("[data-try]").await;
        phone.comes("the page is made anew", "return document.querySelector('.queue').hidden").await;
        until("both are there", || async {
            let page = tomas.person.get(&format!("{}/areas/open-car", tomas.home())).await.page().await;
            page.has("input[name=roll-over][value=yes][checked]")
        })
        .await;
        phone.closes().await;
    })
    .await;
}

tell_in_both!(a_phone_without_a_worker_and_without_a_database_keeps_what_was_typed_too);

async fn a_phone_without_a_worker_and_without_a_database_keeps_what_was_typed_too(kind: Kind) {
    in_time_or_told_again(|| async {
        let club = Club::open().await;
        let ines = club.driver("27").await;
        let wire = Wire::to(&club.base).await;
        let phone = kind.phone("no-signal-plain", "driver").await;
        phone.forgives(CUT);
        // As over plain http on the club's own network, and in an old browser.
        let old = "Object.defineProperty(window, 'indexedDB', { value: undefined }); \
            Object.defineProperty(Navigator.prototype, 'serviceWorker', { value: undefined }); \
            Object.defineProperty(Navigator.prototype, 'locks', { value: undefined })";
        phone.runs_first(old).await;
        phone.opens(&format!("{}/in/{}", wire.base, ines.secret)).await;
        phone.opens(&format!("{}{}/areas/tyres", wire.base, ines.home())).await;
        wire.is_cut();
        phone.types("[name=\"tread-depth.lf\"]", "6.5").await;
        phone.taps(".act .go").await;
        phone.sees(".queue", "Kept on this device, not sent yet").await;
        assert!(phone.path().await.ends_with("/areas/tyres"), "without a worker there is no page to go on to");
        phone.keeps("1-stays").await;
        wire.is_sound();
        // The page was left without its answer having gone: it is on the device still.
        phone.opens(&format!("{}/privacy", wire.base)).await;
        phone.opens(&format!("{}{}/areas/tyres", wire.base, ines.home())).await;
        phone.sees("[data-verdict=tread-depth]", "Still to measure").await;
        assert_eq!(phone.value("[name=\"tread-depth.lf\"]").await, "6.5");
        until("the server has it", || async { stands(&ines, "tyres", "tread-depth.lf").await == "6.5" }).await;
        phone.closes().await;
    })
    .await;
}
