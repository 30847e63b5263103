//! Organizers: a passphrase that is worth something, sessions that end, several of them, and nobody locked out for good.

use crate::club::{Answer, Club, PASSPHRASE, Person};
use reqwest::StatusCode;
use serde_json::json;

async fn signs_in(person: &Person, name: &str, passphrase: &str) -> Answer {
    person.post("/sign-in", &[("name", name), ("passphrase", passphrase)]).await
}

#[tokio::test]
async fn an_organizer_signs_in_on_another_computer_by_name_and_passphrase() {
    let club = Club::open().await;
    let laptop = Person::stranger(&club.base);
    let refused = laptop.get("/club").await;
    assert_eq!(refused.status(), StatusCode::UNAUTHORIZED);
    assert!(refused.page().await.has("a[href='/sign-in']"), "the way in is shown");
    let inside = signs_in(&laptop, "m. ashdown", PASSPHRASE).await;
    assert_eq!((inside.status(), inside.location()), (StatusCode::SEE_OTHER, "/club".to_owned()));
    assert!(inside.header("set-cookie").contains("Max-Age=2592000"));
    assert_eq!(laptop.get("/club").await.status(), StatusCode::OK);
    let shared = [("name", "M. Ashdown"), ("passphrase", PASSPHRASE), ("shared", "1")];
    let cookie = Person::stranger(&club.base).post("/sign-in", &shared).await.header("set-cookie");
    assert!(cookie.starts_with("witnessmark=") && !cookie.contains("Max-Age"), "it goes with the window: {cookie}");
}

#[tokio::test]
async fn a_wrong_name_and_a_wrong_passphrase_are_answered_alike_and_let_nobody_in() {
    let club = Club::open().await;
    let stranger = Person::stranger(&club.base);
    let mut answers = Vec::new();
    for (name, passphrase) in [
        ("M. Ashdown", "three wet dogs on a ferri"),
        ("M. Ashdown", ""),
        ("M. Ashdown", &"x".repeat(10_000)),
        ("Nobody At All", PASSPHRASE),
        ("", ""),
        ("R. Holt' or 1=1 --", PASSPHRASE),
    ] {
        let answer = signs_in(&stranger, name, passphrase).await;
        assert_eq!(answer.status(), StatusCode::UNPROCESSABLE_ENTITY, "{name}");
        assert_eq!(answer.header("set-cookie"), "", "{name}");
        answers.push(answer.page().await.first(".trouble"));
    }
    assert!(answers.iter().all(|words| words == "The name or the passphrase is not right."), "{answers:?}");
}

#[tokio::test]
async fn a_guesser_is_stopped_while_the_paddock_behind_the_same_address_works_on() {
    let club = Club::open().await;
    let guesser = Person::stranger(&club.base);
    let mut tries = 0;
    let stopped = loop {
        let answer = signs_in(&guesser, "M. Ashdown", &format!("guess number {tries} of many")).await;
        if answer.status() == StatusCode::TOO_MANY_REQUESTS {
            break answer;
        }
        tries += 1;
        assert!(tries <= 12, "a guesser goes on for ever");
    };
    assert!(stopped.header("retry-after").parse::<u32>().is_ok_and(|seconds| seconds <= 60), "it says when to come back");
    assert!(stopped.page().await.text().contains("Too many tries at this name from this network"));
    let ines = club.driver("27").await;
    assert_eq!(ines.sends(|_| ()).await.status(), StatusCode::CREATED, "a driver from the same address sends");
    assert_eq!(club.inspector("R. Holt").await.clears("27").await.status(), StatusCode::SEE_OTHER, "the gate works");
    assert_eq!(club.organizer.get("/club").await.status(), StatusCode::OK, "who is signed in stays so");
}

/// A hundred and fifty phones, one address, last year's links first; then a guesser from there.
#[tokio::test]
async fn a_paddock_with_old_links_is_no_guesser_and_a_guesser_shuts_nobody_out() {
    let club = Club::open().await;
    let phone = Person::stranger(&club.base);
    let guess = |nth: u32| format!("/in/{}", format!("{nth:032}").replace('0', "a").replace('1', "b"));
    for nth in 0..200 {
        assert_eq!(phone.get(&guess(nth)).await.status(), StatusCode::UNAUTHORIZED, "old link {nth}");
    }
    let mut stopped = 0;
    for nth in 200..500 {
        stopped += u32::from(phone.get(&guess(nth)).await.status() == StatusCode::TOO_MANY_REQUESTS);
    }
    assert!(stopped > 150, "only {stopped} of the guesses were stopped");
    let ines = club.driver("27").await;
    assert_eq!(ines.person.get(&ines.home()).await.status(), StatusCode::OK, "a good link from the same address lets in");
}

#[tokio::test]
async fn a_passphrase_is_long_enough_and_none_that_is_tried_first() {
    let club = Club::open().await;
    for (bad, why) in [
        ("short", "of at least 15"),
        ("fourteen chars", "of at least 15"),
        ("passwordpassword1", "among the first"),
        ("qwertyuiopasdfgh", "among the first"),
        ("aaaaaaaaaaaaaaaaaaaa", "among the first"),
        ("M. AshdownM. Ashdown", "among the first"),
        ("witnessmarkwitnessmark", "among the first"),
        (&"long and longer ".repeat(20), "At most 200"),
    ] {
        let form = [("old", PASSPHRASE), ("passphrase", bad)];
        let answer = club.organizer.post("/club/you/passphrase", &form).await;
        assert_eq!(answer.status(), StatusCode::UNPROCESSABLE_ENTITY, "{bad}");
        let said = answer.page().await.first(".trouble");
        assert!(said.contains(why), "{bad}: {said}");
    }
    assert_eq!(signs_in(&Person::stranger(&club.base), "M. Ashdown", PASSPHRASE).await.status(), StatusCode::SEE_OTHER);
}

#[tokio::test]
async fn changing_the_passphrase_asks_for_the_old_one_and_signs_the_other_devices_out() {
    let club = Club::open().await;
    let laptop = Person::stranger(&club.base);
    signs_in(&laptop, "M. Ashdown", PASSPHRASE).await;
    let anew = "a kettle sings in Norwegian";
    let wrong = laptop.post("/club/you/passphrase", &[("old", "not this one, surely"), ("passphrase", anew)]).await;
    assert_eq!(wrong.status(), StatusCode::UNPROCESSABLE_ENTITY);
    assert!(wrong.page().await.text().contains("This is not your passphrase."));
    assert_eq!(club.organizer.get("/club").await.status(), StatusCode::OK, "nothing happened");
    let right = laptop.post("/club/you/passphrase", &[("old", PASSPHRASE), ("passphrase", anew)]).await;
    assert!(right.page().await.text().contains("The new passphrase holds"));
    assert_eq!(club.organizer.get("/club").await.status(), StatusCode::UNAUTHORIZED, "the other device is out");
    assert_eq!(laptop.get("/club").await.status(), StatusCode::OK);
    let old = signs_in(&Person::stranger(&club.base), "M. Ashdown", PASSPHRASE).await;
    assert_eq!(old.status(), StatusCode::UNPROCESSABLE_ENTITY);
}

#[tokio::test]
async fn sessions_are_listed_ended_one_by_one_and_end_by_themselves() {
    let club = Club::open().await;
    let (laptop, library) = (Person::stranger(&club.base), Person::stranger(&club.base));
    signs_in(&laptop, "M. Ashdown", PASSPHRASE).await;
    library.post("/sign-in", &[("name", "M. Ashdown"), ("passphrase", PASSPHRASE), ("shared", "1")]).await;
    let page = laptop.get("/club/you").await.page().await;
    assert_eq!(page.all(".devices li").len(), 3);
    assert_eq!(page.all(".devices li").iter().filter(|line| line.contains("this one")).count(), 1);
    let end = page.attr(".devices form", "action");
    assert_eq!(laptop.post(&end, &[]).await.status(), StatusCode::SEE_OTHER);
    assert_eq!(laptop.get("/club/you").await.page().await.all(".devices li").len(), 2);
    assert_eq!(library.get("/club").await.status(), StatusCode::UNAUTHORIZED, "the newest of the others was ended");
    let out = laptop.post("/club/sign-out", &[]).await;
    assert_eq!((out.status(), out.location()), (StatusCode::SEE_OTHER, "/".to_owned()));
    assert_eq!(laptop.get("/club").await.status(), StatusCode::UNAUTHORIZED);
    assert_eq!(club.organizer.get("/club").await.status(), StatusCode::OK);
    library.post("/sign-in", &[("name", "M. Ashdown"), ("passphrase", PASSPHRASE), ("shared", "1")]).await;
    // In use all the time: nobody is out for being away.
    let passes = async |hours: i64| {
        for _ in 0..hours * 2 {
            club.clock.pass(30);
            club.organizer.get("/club").await;
            library.get("/club/you").await;
        }
    };
    passes(11).await;
    assert_eq!(library.get("/club").await.status(), StatusCode::OK, "a shared computer in use");
    passes(1).await;
    assert_eq!(library.get("/club").await.status(), StatusCode::UNAUTHORIZED, "a shared computer after twelve hours");
    for _ in 0..29 * 4 {
        club.clock.pass(6 * 60);
        assert_eq!(club.organizer.get("/club").await.status(), StatusCode::OK);
    }
    club.clock.pass(11 * 60);
    club.organizer.get("/club").await;
    club.clock.pass(60);
    assert_eq!(club.organizer.get("/club").await.status(), StatusCode::UNAUTHORIZED, "thirty days");
}

#[tokio::test]
async fn a_copied_cookie_is_worth_nothing_after_signing_out() {
    let club = Club::open().await;
    let cookie = club.organizer.cookie("/club");
    club.organizer.post("/club/sign-out", &[]).await;
    assert_eq!(Person::stranger(&club.base).get_with("/club", &cookie).await.status(), StatusCode::UNAUTHORIZED);
}

#[tokio::test]
async fn two_organizers_let_each_other_in_again_and_nobody_lets_themselves_go() {
    let club = Club::open().await;
    let made = club.organizer.post("/club/organizers", &[("name", "L. Ferrant")]).await.page().await;
    assert!(made.has("svg.code"), "as a code to scan, too");
    let ferrant = Person::come_in(&club.base, &made.secret()).await;
    assert_eq!(ferrant.get("/club").await.status(), StatusCode::OK);
    let taken = club.organizer.post("/club/organizers", &[("name", "l. ferrant ")]).await;
    assert_eq!(taken.status(), StatusCode::UNPROCESSABLE_ENTITY, "names tell them apart");
    let page = ferrant.get("/club/organizers").await.page().await;
    let (anew, end) = (page.attr("form[action$='/links']", "action"), page.attr("form[action$='/end']", "action"));
    let secret = ferrant.post(&anew, &[]).await.page().await.secret();
    assert_eq!(club.organizer.get("/club").await.status(), StatusCode::OK, "a new link alone ends nothing");
    let again = Person::stranger(&club.base);
    again.get(&format!("/in/{secret}")).await;
    let sets = [("sets", "passphrase"), ("passphrase", "a kettle sings in Norwegian")];
    assert_eq!(again.post(&format!("/in/{secret}"), &sets).await.status(), StatusCode::SEE_OTHER);
    assert_eq!(club.organizer.get("/club").await.status(), StatusCode::UNAUTHORIZED, "who forgot it may have lost it");
    assert_eq!(again.get("/club").await.status(), StatusCode::OK);
    assert_eq!(ferrant.post(&end, &[]).await.status(), StatusCode::SEE_OTHER);
    assert_eq!(again.get("/club").await.status(), StatusCode::UNAUTHORIZED, "let go");
    let gone = signs_in(&Person::stranger(&club.base), "M. Ashdown", "a kettle sings in Norwegian").await;
    assert_eq!(gone.status(), StatusCode::UNPROCESSABLE_ENTITY);
    let page = ferrant.get("/club/organizers").await.page().await;
    assert!(!page.has("form[action$='/end']"), "the last one has nobody to let go, and not themselves");
}

#[tokio::test]
async fn a_passkey_is_answered_once_and_only_by_who_began() {
    let club = Club::open().await;
    let none = Person::stranger(&club.base).post_json("/sign-in/passkey/begin", &json!({})).await;
    assert_eq!(none.status(), StatusCode::CONFLICT);
    assert!(none.page().await.text().contains("use your passphrase"));
    let without = club.organizer.post_json("/club/you/passkeys/begin", &json!({ "passphrase": "a guess at the laptop" })).await;
    assert_eq!(without.status(), StatusCode::UNPROCESSABLE_ENTITY, "two minutes at an open laptop are not enough");
    let begun = club.organizer.post_json("/club/you/passkeys/begin", &json!({ "passphrase": PASSPHRASE })).await.json().await;
    let options = &begun["options"]["publicKey"];
    assert_eq!(options["rp"]["id"], "localhost");
    assert_eq!(options["authenticatorSelection"]["userVerification"], "required", "a passkey is a person, not a lost key");
    let forged = json!({ "id": begun["id"], "name": "mine", "credential": { "id": "AA", "rawId": "AA", "type": "public-key",
        "response": { "attestationObject": "AA", "clientDataJSON": "AA" }, "extensions": {} } });
    let refused = club.organizer.post_json("/club/you/passkeys", &forged).await;
    assert_eq!(refused.status(), StatusCode::UNPROCESSABLE_ENTITY);
    let replayed = club.organizer.post_json("/club/you/passkeys", &forged).await;
    assert_eq!(replayed.status(), StatusCode::CONFLICT, "a ceremony is answered once");
    for rubbish in ["", "{", "null", "{\"id\":1}"] {
        let answer = club.organizer.post_bytes("/club/you/passkeys", "application/json", rubbish).await;
        assert_eq!(answer.status(), StatusCode::UNPROCESSABLE_ENTITY, "{rubbish}");
    }
}
