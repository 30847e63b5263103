//! An old phone on a bad network, measured and not asserted: four times slower, 400 ms there and back, 400 kbit/s. By name:
//! `cargo test --test browser slow_phone -- --ignored --nocapture`, on a machine that does nothing else.

use crate::browser::{Browser, in_time};
use crate::club::Club;
use serde_json::json;

/// From the tap on a link until the page's field can be typed into, in milliseconds.
const UNTIL_USABLE: &str = "return new Promise((resolve) => { \
    const look = () => document.querySelector(arguments[0]) && document.readyState !== 'loading' \
        ? resolve(Math.round(performance.now())) : setTimeout(look, 20); look(); })";

#[tokio::test(flavor = "multi_thread")]
#[ignore = "a measurement: it wants a machine of its own"]
async fn the_first_form_the_second_visit_and_a_search_on_an_old_phone_with_a_bad_network() {
    in_time(async {
        let club = Club::open().await;
        let ines = club.driver("27").await;
        let phone = Browser::phone("slow", "driver").await;
        phone.devtools("Network.enable", json!({})).await;
        let network = json!({ "offline": false, "latency": 400, "downloadThroughput": 50_000, "uploadThroughput": 50_000 });
        phone.devtools("Network.emulateNetworkConditions", network).await;
        phone.devtools("Emulation.setCPUThrottlingRate", json!({ "rate": 4 })).await;
        let usable = async |what: &str, field: &str| {
            let script = UNTIL_USABLE.replace("arguments[0]", &format!("{field:?}"));
            println!("{what}: {} ms", phone.asks(&script).await);
        };
        phone.opens(&format!("{}/in/{}", club.base, ines.secret)).await;
        usable("the first page by the private link, after its redirect", ".areas a").await;
        phone.opens(&format!("{}{}/areas/brakes", club.base, ines.home())).await;
        usable("the first form", "[data-fill] input").await;
        phone.opens(&format!("{}{}/areas/brakes", club.base, ines.home())).await;
        usable("the form a second time", "[data-fill] input").await;
        phone.closes().await;
    })
    .await;
}
