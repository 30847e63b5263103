//! The cleared list as it is printed for the grid.

use crate::browser::{Browser, in_time};
use crate::club::Club;
use crate::people::board;
use serde_json::json;

#[tokio::test(flavor = "multi_thread")]
async fn the_marshal_gets_a_printed_list_with_the_cars_and_the_caution_and_nothing_to_tap() {
    in_time(async {
        let club = Club::open().await;
        let holt = club.inspector("R. Holt, lane 2").await;
        for number in ["7", "27", "114B"] {
            club.driver(number).await.sends(|_| ()).await;
            holt.clears(number).await;
        }
        let clubhouse = Browser::desktop("on-paper", "organizer").await;
        clubhouse.opens_the_board(&club).await;
        clubhouse.opens(&format!("{}/cleared", board(&club))).await;
        clubhouse.keeps("1-on-screen").await;
        // A4 upright is 794 px wide at 96 dots an inch; a device set to dark still prints black on white.
        let sheet = json!({ "width": 794, "height": 1123, "deviceScaleFactor": 1, "mobile": false });
        clubhouse.devtools("Emulation.setDeviceMetricsOverride", sheet).await;
        let dark = json!([{ "name": "prefers-color-scheme", "value": "dark" }]);
        clubhouse.devtools("Emulation.setEmulatedMedia", json!({ "media": "print", "features": dark })).await;
        clubhouse.keeps("2-printed").await;
        let shown = clubhouse
            .asks("return [...document.querySelectorAll('nav, button, a.go, input, select')].filter((e) => e.checkVisibility()).length")
            .await;
        assert_eq!(shown, 0, "nothing to tap is printed");
        let colours = "const style = getComputedStyle(document.body); return [style.color, style.backgroundColor]";
        assert_eq!(clubhouse.asks(colours).await, json!(["rgb(0, 0, 0)", "rgb(255, 255, 255)"]), "black on white");
        let text = clubhouse.asks("return document.body.innerText").await.as_str().unwrap_or_default().to_owned();
        for words in ["Cleared: 3 of 4", "Spring day", "9 May 2026", "Ines Okafor", "114B", "R. Holt, lane 2", "no guarantee"] {
            assert!(text.contains(words), "\"{words}\" is on the paper:\n{text}");
        }
        assert!(!text.contains("Jonas Achterberg"), "who is not cleared is not on it");
        clubhouse.closes().await;
    })
    .await;
}
