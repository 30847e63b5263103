//! Told at the right moment: what was signed can be undone for ten seconds, a refused clear says who did what, photos show
//! themselves, and two tabs of one browser write nothing over in silence.

use crate::browser::{Browser, in_time};
use crate::club::{Club, until};
use crate::gate_offline::at_the_gate;
use crate::no_signal_driver::{comes_in, stands};
use crate::wire::Wire;
use std::path::PathBuf;
use std::time::Duration;
use tempfile::TempDir;

/// A picture that a phone could have taken.
fn picture(folder: &TempDir, name: &str) -> PathBuf {
    let file = folder.path().join(name);
    let rgb = image::RgbImage::from_fn(1200, 900, |x, y| image::Rgb([(x % 256) as u8, (y % 256) as u8, 90]));
    rgb.save(&file).expect("a picture");
    file
}

impl Browser {
    async fn picks(&self, input: &str, file: &std::path::Path) {
        let input = self.element(input).await;
        self.done(input.send_keys(&file.display().to_string()).await, "choosing a photo");
    }

    /// Reads the page in both lights, keeps a picture of each, and finds nothing that falls short.
    async fn is_legible(&self, step: &str) {
        assert_eq!(self.falls_short().await, Vec::<String>::new(), "{step}");
        for (dark, name) in [(true, format!("{step}-dark")), (false, step.to_owned())] {
            self.turns_dark(dark).await;
            self.keeps(&name).await;
        }
    }

    /// Signs a car and looks at the lane, which says so.
    async fn signs_and_looks(&self, number: &str, deed: &str) {
        self.signs_and_goes_on(number, deed).await;
        self.sees(".undo", &format!("Car {number}: {deed}")).await;
    }

    async fn comes_to_the_lane(&self, club: &Club, name: &str) {
        self.comes_in_at_the_gate(&club.inspector(name).await).await;
        self.sees("h1", "gate").await;
        // By then it has heard the server's clock.
        self.sees("[data-held]", "cars on this phone").await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_clear_is_undone_within_ten_seconds_and_everything_typed_is_there_again() {
    in_time(async {
        let club = Club::open().await;
        club.driver("27").await.sends(|answers| answers["pad-front"]["at"]["lf"] = 2.1.into()).await;
        let phone = Browser::phone("told-undo", "inspector").await;
        phone.comes_to_the_lane(&club, "R. Holt").await;
        let folder = TempDir::new().expect("a folder");
        phone.finds("27").await;
        phone.ticks_everything().await;
        phone.types("[name=\"reading-pad-front.lf\"]", "8.5").await;
        phone.taps("#why summary").await;
        phone.types("[name=reason]", "New pads, bedded in.").await;
        phone.picks("[data-photos] input", &picture(&folder, "pads.png")).await;
        phone.picks("[data-photos] input", &picture(&folder, "sill.png")).await;
        phone.sees("[data-count]", "2 photos go with it").await;
        phone.keeps("1-photos").await;
        phone.taps(".thumbs li button").await;
        phone.sees("[data-count]", "1 photo goes with it").await;
        phone.follows(".clear").await;

        phone.sees(".undo", "Car 27: clear").await;
        phone.sees(".undo .left", "Sent in").await;
        phone.sees("[data-aloud]", "Car 27: clear. It is sent in ten seconds.").await;
        phone.is_legible("2-ten-seconds").await;
        assert_eq!(club.history_of("27").await.len(), 1, "nothing is sent yet");
        phone.follows(".undo .back").await;
        phone.sees("[data-back]", "Undone: the clear was not sent. What you ticked and typed is here again.").await;
        assert_eq!(phone.value("[name=\"reading-pad-front.lf\"]").await, "8.5");
        assert_eq!(phone.value("[name=reason]").await, "New pads, bedded in.");
        phone.sees("[data-count]", "1 photo goes with it").await;
        phone.comes("all is ticked", "return [...document.querySelectorAll('[data-must]')].every((box) => box.checked)").await;
        phone.is_legible("3-back").await;
        tokio::time::sleep(Duration::from_secs(11)).await;
        assert_eq!(club.history_of("27").await.len(), 1, "what was undone is never sent");

        // Signed once more, it goes by itself after the ten seconds, and only then is it called recorded.
        phone.follows(".clear").await;
        phone.sees(".undo .left", "Sent in").await;
        tokio::time::sleep(Duration::from_secs(6)).await;
        until("it is sent by itself", || async { club.board_of("27").await.0 == "cleared" }).await;
        phone.sees(".undo.quiet", "Car 27: cleared, 07:00").await;
        phone.sees("[data-aloud]", "Car 27: cleared, 07:00. Recorded.").await;
        phone.is_legible("4-recorded").await;
        assert_eq!(club.history_of("27").await.len(), 2, "once");
        let page = club.car_page("27").await;
        assert_eq!(page.all(".told img").len(), 1, "with its photo");
        phone.closes().await;
    })
    .await;
}

/// Each sign-off has its own ten seconds, and another page of the gate goes on with what is left of them.
#[tokio::test(flavor = "multi_thread")]
async fn the_ten_seconds_go_on_while_the_next_car_is_looked_at_and_end_with_the_page() {
    in_time(async {
        let club = Club::open().await;
        for number in ["7", "12", "27"] {
            club.driver(number).await.sends(|_| ()).await;
        }
        let phone = Browser::phone("told-next", "inspector").await;
        phone.comes_to_the_lane(&club, "R. Holt").await;
        phone.signs_and_looks("7", "hold").await;
        phone.signs_and_looks("27", "clear").await;
        phone.sees(".signed", "Car 7: hold").await;
        phone.done(phone.client.execute("location.reload()", vec![]).await, "a reload");
        phone.sees(".signed", "Car 27: clear").await;
        assert_eq!(club.history_of("27").await.len(), 1, "a reload sends nothing");
        phone.is_legible("1-two").await;
        // On the next car's page nothing is lost by waiting.
        phone.finds("12").await;
        tokio::time::sleep(Duration::from_secs(6)).await;
        until("the hold went by itself", || async { club.board_of("7").await.0 == "flagged" }).await;
        until("and so did the clear", || async { club.board_of("27").await.0 == "cleared" }).await;
        assert!(phone.path().await.contains("/entries/"), "while the page of another car is open");
        phone.follows(&format!("a.do[href=\"/gate/{}\"]", club.event)).await;
        phone.sees(".signed", "Car 7: held, 07:00").await;
        phone.sees(".signed", "Car 27: cleared, 07:00").await;
        // A phone that is put away sends at once: no timer runs in a pocket.
        phone.signs_and_looks("12", "hold").await;
        phone.sees(".undo .left", "Sent in 9 s").await;
        phone.opens("about:blank").await;
        // No page is open that could send it later.
        tokio::time::sleep(Duration::from_secs(4)).await;
        until("the hold was sent with the page", || async { club.board_of("12").await.0 == "flagged" }).await;
        phone.opens(&format!("{}/gate/{}", club.base, club.event)).await;
        phone.sees(".signed", "Car 12: held, 07:00").await;
        phone.has_sent_all().await;
        for number in ["7", "12", "27"] {
            assert_eq!(club.history_of(number).await.len(), 2, "car {number}: once");
        }
        phone.closes().await;
    })
    .await;
}

/// The browser is killed within the ten seconds, without signal. What was signed is on the phone, past its time, and goes.
#[tokio::test(flavor = "multi_thread")]
async fn a_phone_that_dies_within_the_ten_seconds_sends_when_it_is_alive_again() {
    in_time(async {
        let club = Club::open().await;
        club.driver("27").await.sends(|_| ()).await;
        let holt = club.inspector("R. Holt").await;
        let wire = Wire::to(&club.base).await;
        let phone = at_the_gate(&club, &wire, &holt, "told-dies", "inspector").await;
        // A browser writes its cookies to the disc when it is closed, or in its own time.
        let phone = Browser::comes_back(phone.puts_it_away().await).await;
        phone.forgives("ERR_");
        phone.opens(&format!("{}{}", wire.base, holt.lane())).await;
        wire.is_cut();
        phone.signs_and_looks("27", "clear").await;
        let left = phone.dies().await;
        tokio::time::sleep(Duration::from_secs(10)).await;
        wire.is_sound();
        let phone = Browser::comes_back(left).await;
        phone.opens(&format!("{}{}", wire.base, holt.lane())).await;
        phone.sees(".signed", "Car 27: cleared, 07:00").await;
        assert_eq!(club.history_of("27").await[0], "clear by R. Holt (inspector)");
        phone.closes().await;
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn who_signs_out_within_the_ten_seconds_has_sent_first() {
    in_time(async {
        let club = Club::open().await;
        club.driver("27").await.sends(|_| ()).await;
        let phone = Browser::phone("told-out", "inspector").await;
        // The list of the lane may be asked for while the cookie goes.
        phone.forgives("401");
        phone.comes_to_the_lane(&club, "R. Holt").await;
        phone.signs_and_looks("27", "clear").await;
        phone.follows("[data-asks] button").await;
        assert_eq!(phone.path().await, "/");
        assert_eq!(club.history_of("27").await[0], "clear by R. Holt (inspector)");
        phone.closes().await;
    })
    .await;
}

/// "Send now" is for an inspector in a hurry; a hold and a clear of the same car go in the order in which they were signed.
#[tokio::test(flavor = "multi_thread")]
async fn a_second_sign_off_of_a_car_waits_behind_the_first_and_both_go_when_asked() {
    in_time(async {
        let club = Club::open().await;
        club.driver("27").await.sends(|_| ()).await;
        let phone = Browser::phone("told-second", "inspector").await;
        phone.has_the_clubs_time(&club).await;
        phone.comes_to_the_lane(&club, "R. Holt").await;
        phone.signs_and_looks("27", "hold").await;
        phone.finds("27").await;
        phone.sees(".mine", "Your hold of just now is on this device and is sent in a moment. Undo is in the lane.").await;
        phone.ticks_everything().await;
        phone.follows(".clear").await;
        phone.sees(".undo", "Car 27: clear").await;
        assert_eq!(
            phone.asks("return document.querySelectorAll('.undo .back').length").await,
            1,
            "the later one is undone first"
        );
        phone.taps(".undo .now").await;
        phone.has_sent_all().await;
        let told = club.history_of("27").await;
        assert_eq!(told[..2], ["clear by R. Holt (inspector)", "hold by R. Holt (inspector)"]);
        assert_eq!(club.board_of("27").await.0, "cleared");
        phone.closes().await;
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_clear_that_is_refused_says_at_the_top_of_the_lane_who_held_the_car() {
    in_time(async {
        let club = Club::open().await;
        for number in ["7", "27"] {
            club.driver(number).await.sends(|_| ()).await;
        }
        let vane = club.inspector("S. Vane, lane 3").await;
        let phone = Browser::phone("told-refused", "inspector").await;
        phone.forgives("409");
        club.clock.pass(42);
        phone.has_the_clubs_time(&club).await;
        phone.comes_to_the_lane(&club, "R. Holt").await;
        phone.signs_and_looks("27", "clear").await;
        vane.holds("27", "oil on the sill").await;
        phone.asks("scrollTo(0, 9999)").await;
        // It goes after its ten seconds.
        tokio::time::sleep(Duration::from_secs(5)).await;
        phone.sees("[data-told] .alert", "Held 07:42 by S. Vane, lane 3: oil on the sill.").await;
        phone.sees("[data-told] .alert", "Car 27: your clear").await;
        let top = "const box = document.querySelector('[data-told] .alert').getBoundingClientRect(); \
            return box.top >= 0 && box.bottom < innerHeight";
        phone.comes("it is in sight", top).await;
        phone.is_legible("1-refused").await;
        phone.follows("[data-told] .alert a").await;
        phone.sees("[data-back]", "Your clear was not recorded. Held 07:42 by S. Vane, lane 3: oil on the sill.").await;
        phone.sees(".bar-word", "oil on the sill").await;
        phone.sees(".clear", "to check").await;
        phone.keeps("2-car").await;
        phone.follows(&format!("a.do[href=\"/gate/{}\"]", club.event)).await;
        phone.taps("[data-told] .alert button").await;
        phone.comes("it is put away", "return document.querySelector('[data-told]').hidden").await;
        assert_eq!(club.board_of("27").await.0, "flagged");
        phone.closes().await;
    })
    .await;
}

/// The same car in two tabs: what was signed in one is no surprise in the other.
#[tokio::test(flavor = "multi_thread")]
async fn a_car_that_is_open_in_two_tabs_is_not_cleared_over_a_hold_that_the_second_tab_did_not_show() {
    in_time(async {
        let club = Club::open().await;
        club.driver("27").await.sends(|_| ()).await;
        let holt = club.inspector("R. Holt").await;
        let wire = Wire::to(&club.base).await;
        let phone = at_the_gate(&club, &wire, &holt, "told-tabs", "inspector").await;
        phone.finds("27").await;
        let first = phone.client.window().await.expect("a tab");
        let car = phone.path().await;
        phone.opens_a_tab().await;
        phone.opens(&format!("{}{car}", wire.base)).await;
        phone.ticks_everything().await;
        let second = phone.client.window().await.expect("a tab");
        wire.is_cut();
        phone.turns_to(first).await;
        phone.taps(".hold").await;
        phone.types("[name=reason]", "Oil on the sill.").await;
        phone.follows(".hold").await;
        phone.turns_to(second).await;
        phone.sees(".news", "In another tab of this browser you signed: hold of car 27").await;
        assert!(!phone.is_enabled(".clear").await, "nothing is cleared over it");
        phone.keeps("1-other-tab").await;
        wire.is_sound();
        phone.follows(".news a").await;
        until("the hold is sent", || async { club.board_of("27").await.0 == "flagged" }).await;
        assert_eq!(club.history_of("27").await.len(), 2);
        phone.closes().await;
    })
    .await;
}

/// To pick a photo is to add it: whoever goes straight on to the next area has it.
#[tokio::test(flavor = "multi_thread")]
async fn a_photo_that_a_driver_picked_is_added_without_a_further_tap_and_can_be_taken_off() {
    in_time(async {
        let club = Club::open().await;
        let ines = club.driver("27").await;
        let wire = Wire::to(&club.base).await;
        let folder = TempDir::new().expect("a folder");
        let phone = Browser::phone("told-photo", "driver").await;
        comes_in(&phone, &wire, &ines).await;
        let papers = format!("{}{}/areas/papers", wire.base, ines.home());
        wire.is_cut();
        phone.opens(&papers).await;
        phone.picks("#photo-photos input", &picture(&folder, "engine.png")).await;
        phone.sees("#photos figure", "waits").await;
        let is_drawn = "const canvas = document.querySelector('#photos canvas'); \
            return !!canvas && canvas.getContext('2d').getImageData(60, 45, 1, 1).data[3] === 255";
        phone.comes("it shows itself", is_drawn).await;
        phone.is_legible("1-waits").await;
        phone.taps("#photos figure button").await;
        phone.comes("it is off again", "return !document.querySelector('#photos figure')").await;
        phone.picks("#photo-photos input", &picture(&folder, "below.png")).await;
        phone.follows(".bar .back").await;
        phone.sees(".queue", "1 photo waits").await;
        wire.is_sound();
        phone.taps("[data-try]").await;
        phone.comes("nothing waits", "return document.querySelector('.queue').hidden").await;
        phone.opens(&papers).await;
        phone.comes("one is there", "return document.querySelectorAll('#photos img').length === 1").await;
        phone.closes().await;
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn what_is_typed_in_one_tab_shows_in_the_other_and_nothing_is_written_over_in_silence() {
    in_time(async {
        let club = Club::open().await;
        let ines = club.driver("27").await;
        let wire = Wire::to(&club.base).await;
        let phone = Browser::phone("told-two-tabs", "driver").await;
        ines.types("car", &[("brake-kind", "discs")]).await;
        comes_in(&phone, &wire, &ines).await;
        let brakes = format!("{}{}/areas/brakes", wire.base, ines.home());
        phone.opens(&brakes).await;
        let first = phone.client.window().await.expect("a tab");
        phone.opens_a_tab().await;
        phone.opens(&brakes).await;
        let second = phone.client.window().await.expect("a tab");
        let says = |name: &str, text: &str| format!("return document.querySelector('[name=\"{name}\"]').value === '{text}'");
        // As it is typed in the one, it is shown in the other, in either direction.
        phone.turns_to(first.clone()).await;
        phone.types("[name=\"pad-front.lf\"]", "7").await;
        phone.turns_to(second.clone()).await;
        phone.comes("the other tab takes it over", &says("pad-front.lf", "7")).await;
        phone.sees("#pad-front [data-other-tab]", "Typed in another tab of this browser.").await;
        phone.is_legible("1-taken-over").await;
        phone.types("[name=\"pad-rear.lr\"]", "8").await;
        phone.turns_to(first.clone()).await;
        phone.comes("and back", &says("pad-rear.lr", "8")).await;
        until("the server has the one", || async { stands(&ines, "brakes", "pad-front.lf").await == "7" }).await;
        until("and the other", || async { stands(&ines, "brakes", "pad-rear.lr").await == "8" }).await;
        // A browser whose tabs hear nothing of each other: what is kept is compared before it is written.
        let deaf = serde_json::json!({ "source": "delete window.BroadcastChannel" });
        for tab in [first.clone(), second.clone()] {
            phone.turns_to(tab).await;
            phone.devtools("Page.addScriptToEvaluateOnNewDocument", deaf.clone()).await;
            phone.opens(&brakes).await;
            phone.comes("it stands as it was", &says("pad-front.lf", "7")).await;
        }
        phone.turns_to(first.clone()).await;
        phone.types("[name=\"pad-front.lf\"]", "6").await;
        until("the server has it", || async { stands(&ines, "brakes", "pad-front.lf").await == "6" }).await;
        phone.turns_to(second.clone()).await;
        phone.types("[name=\"pad-rear.lr\"]", "9").await;
        phone.comes("what only the first changed is taken over", &says("pad-front.lf", "6")).await;
        until("and not undone", || async { stands(&ines, "brakes", "pad-rear.lr").await == "9" }).await;
        assert_eq!(stands(&ines, "brakes", "pad-front.lf").await, "6");
        phone.turns_to(first).await;
        phone.types("[name=\"pad-rear.lr\"]", "5").await;
        phone.sees("#pad-rear [data-other-tab]", "In another tab: 9. What stands here counts.").await;
        phone.is_legible("2-both").await;
        assert_eq!(phone.value("[name=\"pad-rear.lr\"]").await, "5");
        phone.closes().await;
    })
    .await;
}

/// A reading that is still beyond the limit is refused by the server. What was typed and ticked is there to be put right.
#[tokio::test(flavor = "multi_thread")]
async fn a_clear_that_is_refused_for_a_reading_is_there_again_as_it_was_typed() {
    in_time(async {
        let club = Club::open().await;
        club.driver("27").await.sends(|answers| answers["pad-front"]["at"]["lf"] = 2.1.into()).await;
        let phone = Browser::phone("told-reading", "inspector").await;
        phone.forgives("422");
        phone.has_the_clubs_time(&club).await;
        phone.comes_to_the_lane(&club, "R. Holt").await;
        phone.finds("27").await;
        phone.ticks_everything().await;
        phone.types("[name=\"reading-pad-front.lf\"]", "2.2").await;
        phone.follows(".clear").await;
        phone.sends_now().await;
        phone.sees("[data-told] .alert", "Still: ").await;
        phone.follows("[data-told] .alert a").await;
        phone.sees("[data-back]", "What you ticked and typed is here again.").await;
        assert_eq!(phone.value("[name=\"reading-pad-front.lf\"]").await, "2.2");
        phone.types("[name=\"reading-pad-front.lf\"]", "8.5").await;
        phone.follows(".clear").await;
        phone.sends_now().await;
        phone.sees(".signed", "Car 27: cleared, 07:00").await;
        phone.comes("what was put right is put away", "return !document.querySelector('[data-told] .alert')").await;
        assert_eq!(club.board_of("27").await.0, "cleared");
        phone.closes().await;
    })
    .await;
}
