//! What goes wrong on the way: answers that are lost, a server that starts anew, a sheet that moved on, two devices.

use crate::browser::{Browser, in_time_or_told_again};
use crate::club::{Club, css, sound_answers, until};
use crate::no_signal_driver::{all_but, comes_in, opens_area, stands};
use crate::sheet;
use crate::wire::Wire;
use std::io::Cursor;
use witnessmark::acts::set_up::CLUB_DAY;

/// The photos that the server shows of the car's papers.
async fn photos(driver: &crate::club::Driver<'_>) -> Vec<String> {
    let page = driver.person.get(&format!("{}/areas/papers", driver.home())).await.page().await;
    let pictures = css(".photos img");
    page.html.select(&pictures).filter_map(|img| img.attr("src").map(str::to_owned)).collect()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_photo_taken_without_signal_is_made_smaller_waits_and_is_there_once_though_its_answer_is_lost() {
    in_time_or_told_again(|| async {
        let club = Club::open().await;
        let ines = club.driver("27").await;
        let wire = Wire::to(&club.base).await;
        let folder = tempfile::TempDir::new().expect("a folder");
        let file = folder.path().join("engine.png");
        let mut png = Cursor::new(Vec::new());
        image::DynamicImage::new_rgb8(3200, 800).write_to(&mut png, image::ImageFormat::Png).expect("a picture");
        std::fs::write(&file, png.into_inner()).expect("a file");
        let phone = Browser::phone("no-signal-photo", "driver").await;
        comes_in(&phone, &wire, &ines).await;
        wire.is_cut();
        opens_area(&phone, "papers").await;
        let input = phone.element("#photo-photos input[type=file]").await;
        phone.done(input.send_keys(&file.display().to_string()).await, "choosing a photo");
        phone.sees("#photos figure", "waits").await;
        phone.sees(".queue", "1 photo waits for signal").await;
        phone.keeps("1-waits").await;
        phone.done(phone.client.refresh().await, "a reload without signal");
        phone.sees("#photos figure", "waits").await;
        assert_eq!(photos(&ines).await.len(), 0);

        wire.loses_answers();
        phone.taps("[data-try]").await;
        until("the photo arrived and its answer was lost", || async { wire.lost() > 0 }).await;
        until("the server has it", || async { photos(&ines).await.len() == 1 }).await;
        phone.sees("#photos figure", "waits").await;
        wire.is_sound();
        phone.taps("[data-try]").await;
        phone
            .comes(
                "it waits no more",
                "return !document.querySelector('#photos figure') && !!document.querySelector('#photos img')",
            )
            .await;
        let there = photos(&ines).await;
        assert_eq!(there.len(), 1, "sent twice, there once");
        let jpeg = ines.person.get(&there[0]).await.bytes().await;
        let picture = image::load_from_memory(&jpeg).expect("a picture");
        assert_eq!((picture.width(), picture.height()), (1600, 400));
        phone.keeps("2-there").await;
        phone.closes().await;
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_sheet_whose_answer_is_lost_is_sent_again_and_is_there_once() {
    in_time_or_told_again(|| async {
        let club = Club::open().await;
        let ines = club.driver("27").await;
        all_but(&ines, &[]).await;
        let wire = Wire::to(&club.base).await;
        let phone = Browser::phone("no-signal-answer-lost", "driver").await;
        comes_in(&phone, &wire, &ines).await;
        wire.loses_answers();
        phone.taps(".send .go").await;
        until("the sheet arrived and its answer was lost", || async { wire.lost() > 0 }).await;
        phone.sees(".queue", "Not sent yet").await;
        assert_eq!(club.history_of("27").await.len(), 1, "the server has it, and the phone cannot know");
        // More is typed before the phone hears of it: the tap is answered as it was.
        ines.types("papers", &[("drivers-word.note", "all by myself"), ("drivers-word", "yes")]).await;
        wire.is_sound();
        phone.taps("[data-try]").await;
        phone.comes("it waits no more", "return document.querySelector('.queue').hidden").await;
        assert_eq!(club.history_of("27").await.len(), 1, "sent twice, there once");
        phone.closes().await;
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_server_that_is_started_anew_finds_all_that_waited() {
    in_time_or_told_again(|| async {
        let mut club = Club::open().await;
        let (entry, home, secret) = {
            let ines = club.driver("27").await;
            all_but(&ines, &["brakes"]).await;
            (ines.entry.clone(), ines.home(), ines.secret.clone())
        };
        let areas = sheet::typed(&sound_answers());
        let wire = Wire::to(&club.base).await;
        let phone = Browser::phone("no-signal-restart", "driver").await;
        phone.forgives("net::ERR_");
        phone.opens(&format!("{}/in/{secret}", wire.base)).await;
        phone.sees("[data-ready]", "opens without signal").await;
        club.stops().await;
        opens_area(&phone, "brakes").await;
        phone.fills_in_without_signal(sheet::of(&areas, "brakes")).await;
        phone.follows(".bar .back").await;
        phone.taps(".send-later .go").await;
        phone.sees(".queue", "Not sent yet").await;
        club.starts_again().await;
        phone.taps("[data-try]").await;
        phone.sees("h1", "Sent: show the car at the gate").await;
        assert_eq!(club.history_of("27").await.len(), 1, "{entry} at {home}");
        phone.closes().await;
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn what_a_phone_and_a_laptop_typed_is_shown_side_by_side_and_chosen() {
    in_time_or_told_again(|| async {
        let club = Club::open().await;
        let ines = club.driver("27").await;
        let wire = Wire::to(&club.base).await;
        let phone = Browser::phone("no-signal-both", "driver").await;
        phone.forgives("409");
        ines.types("car", &[("brake-kind", "discs")]).await;
        for (choice, counts) in [("here=", "7"), ("there", "6")] {
            ines.types("brakes", &[("pad-front.lf", "9"), ("pad-front.unit", "mm")]).await;
            comes_in(&phone, &wire, &ines).await;
            wire.is_cut();
            opens_area(&phone, "brakes").await;
            phone.types("[name=\"pad-front.lf\"]", "7").await;
            phone.types("[name=\"pad-rear.lr\"]", "8").await;
            ines.types("brakes", &[("pad-front.lf", "6"), ("pad-front.unit", "mm")]).await;
            phone.follows(".bar .back").await;
            phone.sees(".queue", "1 area waits for signal").await;
            wire.is_sound();
            phone.taps("[data-try]").await;
            phone.sees(".queue", "typed on another device too").await;
            // The page is loaded again with what the server has: a picture of a page that is going hangs the browser's driver.
            tokio::time::sleep(std::time::Duration::from_millis(1500)).await;
            phone.sees(".queue", "typed on another device too").await;
            phone.keeps("1-two-devices").await;
            assert_eq!(stands(&ines, "brakes", "pad-front.lf").await, "6", "nothing is written over in silence");
            assert_eq!(stands(&ines, "brakes", "pad-rear.lr").await, "8", "what only the phone typed is there");
            phone.follows(".queue a").await;
            assert_eq!(phone.value("[name=\"pad-front.lf\"]").await, "7", "and nothing is lost on the phone");
            phone.taps(".queue [data-try]").await;
            phone.follows("[data-see-both] button").await;
            phone.sees("main", "Here: front left 7 mm").await;
            phone.sees("main", "On the other device: front left 6 mm").await;
            phone.keeps("2-both").await;
            phone.taps(&format!("label:has(> [value^=\"{choice}\"])")).await;
            phone.follows(".act .go").await;
            until("the choice is kept", || async { stands(&ines, "brakes", "pad-front.lf").await == counts }).await;
            phone.opens(&format!("{}{}", wire.base, ines.home())).await;
            phone.comes("nothing waits", "return document.querySelector('.queue').hidden").await;
            phone.opens(&format!("{}{}/areas/brakes", wire.base, ines.home())).await;
            assert_eq!(phone.value("[name=\"pad-front.lf\"]").await, counts);
        }
        phone.closes().await;
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_sheet_that_is_refused_stays_on_the_phone_and_says_why_and_where_it_is_mended() {
    in_time_or_told_again(|| async {
        let club = Club::open().await;
        let ines = club.driver("27").await;
        let areas = all_but(&ines, &["brakes", "exhaust"]).await;
        let typed =
            sheet::of(&areas, "brakes").form().iter().find(|(name, _)| *name == "pad-front.lf").map_or("", |(_, text)| text);
        let wire = Wire::to(&club.base).await;
        let phone = Browser::phone("no-signal-refused", "driver").await;
        phone.forgives("409");
        phone.forgives("422");
        comes_in(&phone, &wire, &ines).await;
        wire.is_cut();
        opens_area(&phone, "brakes").await;
        phone.fills_in_without_signal(sheet::of(&areas, "brakes")).await;
        phone.follows(".bar .back").await;
        phone.taps(".send-later .go").await;
        phone.sees(".queue", "Not sent yet").await;
        wire.is_sound();
        phone.taps("[data-try]").await;
        phone.sees(".queue", "Not sent: 1 item is not answered yet.").await;
        phone.keeps("1-not-whole").await;
        assert_eq!(club.history_of("27").await, Vec::<String>::new());
        phone.follows(".queue a").await;
        assert!(phone.path().await.ends_with("/areas/exhaust"), "the link leads to what is missing");
        phone.fills_in(sheet::of(&areas, "exhaust")).await;
        phone.follows(".bar .back").await;

        // Whole at last, and the organizer raises the sheet while the phone has no signal.
        phone.sees("h1", "Everything is answered").await;
        wire.is_cut();
        phone.taps(".send .go").await;
        phone.sees(".queue", "Not sent yet").await;
        let raised = CLUB_DAY.replacen("[[area.item]]\nid = \"drivers-word\"", NEW_ITEM, 1);
        assert_ne!(raised, CLUB_DAY, "the default sheet has the driver's word");
        club.raise_to(&club.event, &raised).await;
        wire.is_sound();
        phone.taps("[data-try]").await;
        phone.sees(".queue", "Not sent: The sheet was raised from edition 1 to edition 2").await;
        phone.keeps("2-raised").await;
        assert_eq!(club.history_of("27").await, Vec::<String>::new());
        assert_eq!(stands(&ines, "brakes", "pad-front.lf").await, typed, "every answer is kept");
        phone.taps("[data-unsend]").await;
        phone.comes("nothing waits", "return document.querySelector('.queue').hidden").await;
        phone.closes().await;
    })
    .await;
}

const NEW_ITEM: &str = r#"[[area.item]]
id = "tow-eye-marked"
name = "Tow eye arrow"
ask = "Does an arrow of tape point at the tow eye?"
check = "Stand five steps away: it is seen at once."
kind = "yes-no"
yes_means = "Arrow on"
no_means = "No arrow"
right = "yes"
severity = "fix"
why = "No arrow points at the tow eye."
mend = "Stick on an arrow of bright tape."
source = "common practice, no source"

[[area.item]]
id = "drivers-word""#;
