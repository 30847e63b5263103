//! A driver's phone without room: with signal all goes, and without it nothing is called kept that is not.

use crate::browser::{Browser, in_time};
use crate::club::{Club, css, until};
use crate::no_signal_driver::{CUT, all_but, comes_in, stands};
use crate::wire::Wire;
use serde_json::json;

/// Nothing more can be kept in the database from here on. Local storage has room of its own. A browser asks for its room when it
/// starts, and takes a new word on it before the first writing.
async fn is_full(phone: &Browser, base: &str) {
    phone.devtools("Storage.overrideQuotaForOrigin", json!({ "origin": base, "quotaSize": 1 })).await;
}

/// Nothing more can be kept in local storage either.
const FILLS: &str = "for (let size = 1 << 22, n = 0; size > 0; n += 1) \
    try { localStorage.setItem('filler ' + Date.now() + n, 'x'.repeat(size)); } catch { size >>= 1; } return true";

#[tokio::test(flavor = "multi_thread")]
async fn a_drivers_full_phone_sends_all_with_signal_and_says_what_it_cannot_keep_without() {
    in_time(async {
        let club = Club::open().await;
        let ines = club.driver("27").await;
        all_but(&ines, &[]).await;
        let wire = Wire::to(&club.base).await;
        let folder = tempfile::TempDir::new().expect("a folder");
        let file = folder.path().join("engine.png");
        image::RgbImage::from_pixel(900, 600, image::Rgb([40, 90, 160])).save(&file).expect("a picture");
        let phone = Browser::phone("full-phone", "driver").await;
        comes_in(&phone, &wire, &ines).await;
        // Typed without signal while there was room.
        let tyres = format!("{}{}/areas/tyres", wire.base, ines.home());
        phone.opens(&tyres).await;
        wire.is_cut();
        phone.types("[name=\"tread-depth.lf\"]", "6.1").await;
        phone.sees("#tread-depth .kept-here", "Kept on this device, not sent yet").await;
        let phone = Browser::comes_back(phone.puts_it_away().await).await;
        phone.forgives(CUT);
        is_full(&phone, &wire.base).await;

        // With signal all goes, and nothing of it comes again.
        wire.is_sound();
        phone.opens(&tyres).await;
        until("what was typed before goes", || async { stands(&ines, "tyres", "tread-depth.lf").await == "6.1" }).await;
        phone.types("[name=\"tread-depth.lf\"]", "6.2").await;
        until("what is typed goes", || async { stands(&ines, "tyres", "tread-depth.lf").await == "6.2" }).await;
        phone.reloads().await;
        assert_eq!(phone.value("[name=\"tread-depth.lf\"]").await, "6.2");
        let papers = format!("{}{}/areas/papers", wire.base, ines.home());
        phone.opens(&papers).await;
        let input = phone.element("#photo-photos input[type=file]").await;
        phone.done(input.send_keys(&file.display().to_string()).await, "choosing a photo");
        let photos = async || {
            let page = ines.person.get(&format!("{}/areas/papers", ines.home())).await.page().await;
            page.html.select(&css(".photos img")).count()
        };
        until("the photo goes", || async { photos().await == 1 }).await;
        phone.opens(&format!("{}{}", wire.base, ines.home())).await;
        phone.follows(".send .go").await;
        phone.sees("h1", "Sent: show the car at the gate").await;
        assert_eq!(club.history_of("27").await.len(), 1);
        assert_eq!(stands(&ines, "tyres", "tread-depth.lf").await, "6.2", "nothing older came after it");

        // Without signal local storage keeps it.
        phone.opens(&tyres).await;
        wire.is_cut();
        phone.types("[name=\"tread-depth.lf\"]", "6.3").await;
        phone.sees("#tread-depth .kept-here", "Kept on this device, not sent yet").await;
        phone.reloads().await;
        phone.comes("it is kept", "return document.querySelector('[name=\"tread-depth.lf\"]').value === '6.3'").await;

        // No room anywhere: nothing is called kept, and the page is not left for the next by itself.
        phone.asks(FILLS).await;
        phone.opens(&format!("{}{}/areas/brakes", wire.base, ines.home())).await;
        phone.types("[name=\"pad-front.rf\"]", "8.4").await;
        phone.sees("#pad-front .kept-here", "No room to keep it on this device").await;
        phone.sees(".queue", "stay on this page until it is sent").await;
        phone.keeps("1-no-room").await;
        phone.taps(".act .go").await;
        tokio::time::sleep(std::time::Duration::from_millis(600)).await;
        assert!(phone.path().await.ends_with("/areas/brakes"), "what is nowhere else is not left");
        assert_eq!(phone.value("[name=\"pad-front.rf\"]").await, "8.4");
        wire.is_sound();
        phone.taps(".queue [data-try]").await;
        until("it goes", || async { stands(&ines, "brakes", "pad-front.rf").await == "8.4" }).await;
        until("and what local storage kept", || async { stands(&ines, "tyres", "tread-depth.lf").await == "6.3" }).await;

        // The sheet itself, in the same way.
        phone.opens(&format!("{}{}", wire.base, ines.home())).await;
        phone.sees(".send .go", "Send again").await;
        wire.is_cut();
        phone.asks(FILLS).await;
        phone.taps(".send .go").await;
        phone.sees(".queue", "no room to keep").await;
        phone.keeps("2-not-sent").await;
        wire.is_sound();
        phone.taps(".queue [data-try]").await;
        until("the sheet is there", || async { club.history_of("27").await.len() == 2 }).await;
        phone.closes().await;
    })
    .await;
}
