//! Coming in: an inspector's phone by the code on the organizer's screen, a lost phone, a passkey, a marshal at the pit exit.

use crate::browser::{Browser, Window, in_time};
use crate::club::{Club, PASSPHRASE, Person};
use crate::people::organizer_link;

/// Reads the code on the page as a phone's camera would, by a reader that is not ours.
async fn reads_the_code(browser: &Browser) -> String {
    let picture = browser.picture().await;
    let grey = image::load_from_memory(&picture).expect("a picture").to_luma8();
    let (width, height) = (grey.width() as usize, grey.height() as usize);
    let mut seen = rqrr::PreparedImage::prepare_from_greyscale(width, height, |x, y| grey.get_pixel(x as u32, y as u32).0[0]);
    let grids = seen.detect_grids();
    assert_eq!(grids.len(), 1, "{}: one code is on the page", browser.who);
    grids[0].decode().expect("the code can be read").1
}

#[tokio::test(flavor = "multi_thread")]
async fn an_inspectors_phone_is_let_in_by_the_code_on_the_organizers_screen_and_ended_when_it_is_lost() {
    in_time(async {
        let club = Club::open().await;
        club.driver("27").await.sends(|_| ()).await;
        let laptop = Browser::desktop("coming-in", "organizer").await;
        laptop.opens(&organizer_link(&club, &club.base).await).await;
        laptop.opens(&format!("{}/club/events/{}/people", club.base, club.event)).await;
        laptop.types("section:first-child [name=name]", "R. Holt").await;
        laptop.follows("section:first-child .go").await;
        laptop.sees("h1", "Take this now: it is shown this once").await;
        laptop.keeps("1-link").await;
        let url = reads_the_code(&laptop).await;

        let phone = Browser::phone("coming-in", "inspector").await;
        phone.opens(&url).await;
        phone.sees("h1", "Is this R. Holt's phone for the gate?").await;
        phone.keeps("2-is-this-you").await;
        phone.follows("form button").await;
        phone.sees("h1", "1 car waits at the gate").await;
        phone.keeps("3-lane").await;

        let finder = Browser::phone("coming-in", "finder").await;
        finder.forgives("409");
        finder.opens(&url).await;
        finder.sees("main", "tell the organizer now").await;
        finder.keeps("4-used").await;
        finder.closes().await;

        laptop.follows("a.do").await;
        laptop.sees(".devices li", "in since").await;
        laptop.keeps("5-devices").await;
        laptop.follows(".devices button").await;
        laptop.sees(".devices li", "ended").await;
        laptop.keeps("6-ended").await;
        laptop.closes().await;

        phone.forgives("401");
        // The page that was open leaves by itself.
        phone.sees("h1", "Who are you?").await;
        phone.keeps("7-out").await;
        phone.closes().await;
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn an_organizer_sets_a_passphrase_adds_a_passkey_and_signs_in_with_it() {
    in_time(async {
        let club = Club::open().await;
        let secret = club.organizer.post("/club/organizers", &[("name", "L. Ferrant")]).await.page().await.secret();
        for window in [Window::Desktop, Window::Phone] {
            let browser = match window {
                Window::Desktop => Browser::desktop("passkey", "organizer").await,
                Window::Phone => Browser::phone("passkey", "organizer-phone").await,
            };
            browser.has_an_authenticator().await;
            if window == Window::Desktop {
                browser.opens(&format!("{}/in/{secret}", club.base)).await;
                browser.sees("h1", "Welcome, L. Ferrant").await;
                browser.forgives("422");
                browser.types("[name=passphrase]", "passwordpassword").await;
                browser.follows(".go").await;
                browser.sees(".trouble", "among the first that a guesser tries").await;
                browser.keeps("1-too-easy").await;
                browser.types("[name=passphrase]", PASSPHRASE).await;
                browser.follows(".go").await;
            } else {
                browser.opens(&format!("{}/sign-in", club.base)).await;
                browser.types("[name=name]", "L. Ferrant").await;
                browser.types("[name=passphrase]", PASSPHRASE).await;
                browser.keeps("2-sign-in").await;
                browser.follows("form .go").await;
            }
            browser.sees("h1", "Events").await;
            browser.opens(&format!("{}/club/you", club.base)).await;
            browser.types("#passkey-passphrase", PASSPHRASE).await;
            browser.types("#passkey-name", "my phone").await;
            browser.follows("[data-passkey-add] button").await;
            browser.sees("main", "my phone").await;
            browser.keeps_whole("3-you").await;
            browser.follows("form[action=\"/club/sign-out\"] button").await;
            browser.forgives("401");
            browser.opens(&format!("{}/club", club.base)).await;
            browser.sees("h1", "Who are you?").await;
            browser.follows("a[href=\"/sign-in\"]").await;
            browser.follows("[data-passkey-sign-in] button").await;
            browser.sees("h1", "Events").await;
            shows_who_they_are_with_a_passkey(&browser, &club).await;
            browser.closes().await;
        }
        let page = club.organizer.get("/club/organizers").await.page().await;
        assert!(page.text().contains("2 passkeys"), "{}", page.text());
    })
    .await;
}

/// Six minutes on, being signed in is not enough to make an organizer: the page asks, and goes on with what was typed.
async fn shows_who_they_are_with_a_passkey(browser: &Browser, club: &Club) {
    club.clock.pass(6);
    let name = format!("N. Quayle {}", club.new_id());
    browser.forgives("403");
    browser.opens(&format!("{}/club/organizers", club.base)).await;
    browser.types("[name=name]", &name).await;
    browser.follows("form.inline .go").await;
    browser.sees("h1", "Say who you are").await;
    browser.keeps_whole("5-say-who").await;
    browser.follows("[data-passkey-proof] button").await;
    browser.sees(".alert", &format!("It lets {name} set a passphrase")).await;
    browser.keeps_whole("6-organizers").await;
}

/// A club that asks for both: the passphrase alone opens nothing, and who has no passkey adds one before anything else.
#[tokio::test(flavor = "multi_thread")]
async fn a_club_asks_its_organizers_for_a_passkey_beside_the_passphrase() {
    in_time(async {
        let club = Club::open().await;
        let early = club.organizer.post("/club/organizers/second", &[("asks", "1")]).await;
        assert_eq!(early.status(), reqwest::StatusCode::CONFLICT, "nobody locks themselves out");
        let browser = Browser::desktop("both", "organizer").await;
        browser.has_an_authenticator().await;
        signs_in(&browser, &club).await;
        browser.sees("h1", "Events").await;
        adds_a_passkey(&browser, &club).await;
        browser.opens(&format!("{}/club/organizers", club.base)).await;
        browser.follows("form[action$=\"/second\"] button").await;
        browser.sees("main", "with passphrase and passkey").await;
        let secret = club.organizer.post("/club/organizers", &[("name", "L. Ferrant")]).await.page().await.secret();

        browser.follows("nav [href=\"/club/you\"]").await;
        browser.follows("form[action=\"/club/sign-out\"] button").await;
        signs_in(&browser, &club).await;
        browser.sees("h1", "Now your passkey").await;
        browser.keeps("1-now-your-passkey").await;
        browser.forgives("401");
        browser.opens(&format!("{}/club", club.base)).await;
        browser.sees("h1", "Who are you?").await;
        signs_in(&browser, &club).await;
        browser.follows("[data-passkey-second] button").await;
        browser.sees("h1", "Events").await;
        browser.closes().await;

        // A passphrase alone, right as it is: no session, and no proof either.
        let thief = Person::stranger(&club.base);
        let right = thief.post("/sign-in", &[("name", "M. Ashdown"), ("passphrase", PASSPHRASE)]).await;
        assert!(right.headers("set-cookie").is_empty(), "a passphrase alone signs nobody in");
        club.clock.pass(6);
        let proof = club.organizer.post("/club/organizers", &[("name", "T. Hief"), ("proof", PASSPHRASE)]).await;
        assert_eq!(proof.status(), reqwest::StatusCode::UNPROCESSABLE_ENTITY, "a passphrase alone is no proof");
        let ferrant = Person::come_in(&club.base, &secret).await;
        let sent_on = ferrant.get("/club").await;
        assert_eq!((sent_on.status().as_u16(), sent_on.location().as_str()), (303, "/club/you"), "a passkey first");
        assert!(ferrant.get("/club/you").await.page().await.text().contains("Add one here before anything else"));
        let early = ferrant.post("/club/organizers", &[("name", "T. Hief")]).await;
        assert_eq!(early.status(), reqwest::StatusCode::FORBIDDEN, "and nobody is made an organizer before it");
    })
    .await;
}

async fn signs_in(browser: &Browser, club: &Club) {
    browser.opens(&format!("{}/sign-in", club.base)).await;
    browser.types("[name=name]", "M. Ashdown").await;
    browser.types("[name=passphrase]", PASSPHRASE).await;
    browser.follows("form .go").await;
}

async fn adds_a_passkey(browser: &Browser, club: &Club) {
    browser.opens(&format!("{}/club/you", club.base)).await;
    browser.types("#passkey-passphrase", PASSPHRASE).await;
    browser.types("#passkey-name", "my key").await;
    browser.follows("[data-passkey-add] button").await;
    browser.sees("main", "my key").await;
}

/// Somebody who has no passkey of this club's, and somebody who closes the browser's own window.
#[tokio::test(flavor = "multi_thread")]
async fn a_passkey_that_is_not_the_clubs_lets_nobody_in() {
    in_time(async {
        let club = Club::open().await;
        let browser = Browser::desktop("passkey", "stranger").await;
        browser.has_an_authenticator().await;
        browser.forgives("409");
        browser.opens(&format!("{}/sign-in", club.base)).await;
        browser.taps("[data-passkey-sign-in] button").await;
        browser.sees("[data-passkey-words]", "No organizer has a passkey here yet").await;
        browser.keeps("4-none").await;
        assert_eq!(browser.path().await, "/sign-in");
        browser.closes().await;
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_marshal_asks_for_two_cars_and_sees_a_clearance_go_while_looking() {
    in_time(async {
        let club = Club::open().await;
        club.driver("27").await.sends(|_| ()).await;
        let holt = club.inspector("R. Holt").await;
        holt.clears("27").await;
        let phone = Browser::phone("grid", "marshal").await;
        phone.has_the_clubs_time(&club).await;
        phone.opens(&format!("{}/in/{}", club.base, club.link_for("marshal", "Pit exit").await)).await;
        phone.sees("[data-fresh]", "News of").await;
        phone.types("#number", "27").await;
        phone.taps(".find button").await;
        phone.sees(".verdict h1", "Cleared").await;
        phone.sees(".verdict .big", "Group B").await;
        phone.keeps("1-cleared").await;
        phone.marks_the_page().await;
        holt.holds("27", "Smoke from the left rear.").await;
        phone.sees(".verdict h1", "Not cleared").await;
        phone.sees(".verdict .big", "Smoke from the left rear.").await;
        phone.was_not_reloaded().await;
        phone.keeps("2-taken-back").await;
        phone.taps(".verdict button").await;
        phone.types("#number", "12").await;
        phone.taps(".find button").await;
        phone.sees(".verdict .big", "no sheet was sent").await;
        phone.closes().await;
    })
    .await;
}
