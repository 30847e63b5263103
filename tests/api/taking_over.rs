//! Somebody else's open laptop for two minutes: what a session alone can do about who runs the club, which is nothing.

use crate::club::{Answer, Club, PASSPHRASE, Person};
use reqwest::StatusCode;
use serde_json::json;
use witnessmark::acts::rights::Deed;
use witnessmark::web::all_doors;

const THIEFS: &str = "eleven thieves and a ladder";

async fn signs_in(person: &Person, name: &str, passphrase: &str) -> Answer {
    person.post("/sign-in", &[("name", name), ("passphrase", passphrase)]).await
}

/// The links of two organizers: of whoever looks, and of the other one.
async fn links(club: &Club, ferrant: &Person) -> (String, String) {
    let theirs = club.organizer.get("/club/organizers").await.page().await.attr("form[action$='/links']", "action");
    let own = ferrant.get("/club/organizers").await.page().await.attr("form[action$='/links']", "action");
    let id = |path: String| path.split('/').nth(3).expect("an id").to_owned();
    (id(own), id(theirs))
}

#[tokio::test]
async fn a_thief_at_an_open_laptop_changes_nothing_of_who_runs_the_club() {
    let club = Club::open().await;
    let secret = club.organizer.post("/club/organizers", &[("name", "L. Ferrant")]).await.page().await.secret();
    let ferrant = Person::come_in(&club.base, &secret).await;
    let (own, other) = links(&club, &ferrant).await;
    let before = ferrant.get("/club/organizers").await.page().await.all(".people li");
    club.clock.pass(5);
    // The laptop is open and its owner away: the thief has the session, the cookies of its browser, and its history.
    let thief = &club.organizer;
    let mut tried = 0;
    for door in all_doors().iter().filter(|door| door.deed == Deed::ChangeWhoRuns) {
        for link in [&own, &other] {
            let path = door.path.replace("{link}", link).replace("{passkey}", "abcd");
            let form = [("name", "T. Hief"), ("passphrase", THIEFS), ("sets", "passphrase")];
            let answer = match path.as_str() {
                "/club/you/passkeys/begin" => thief.post_json(&path, &json!({})).await,
                // A ceremony is begun by who has shown who they are; there is none to answer.
                "/club/you/passkeys" => {
                    let made = json!({ "id": club.new_id(), "name": "mine", "credential": { "id": "AA", "rawId": "AA",
                        "type": "public-key", "response": { "attestationObject": "AA", "clientDataJSON": "AA" },
                        "extensions": {} } });
                    let answer = thief.post_json(&path, &made).await;
                    assert_eq!(answer.status(), StatusCode::CONFLICT, "{path}");
                    continue;
                }
                _ => thief.post(&path, &form).await,
            };
            assert_eq!(answer.status(), StatusCode::FORBIDDEN, "{path} for an open session");
            let text = answer.page().await.text();
            assert!(
                text.contains("Say who you are") || text.contains("Say the one you have"),
                "{path} says what it wants: {text}"
            );
            tried += 1;
        }
    }
    assert!(tried >= 12, "{tried} doors were tried");
    // The link that the other organizer's browser used, from that browser's history.
    let again = ferrant.post(&format!("/in/{secret}"), &[("sets", "passphrase"), ("passphrase", THIEFS)]).await;
    assert_eq!(again.status(), StatusCode::CONFLICT, "a spent link sets no passphrase");
    // Guesses at the open laptop end soon, and stop nobody elsewhere.
    let mut stopped = false;
    for nth in 0..14 {
        let guess = format!("guess number {nth} at the laptop");
        let answer = thief.post("/club/organizers", &[("name", "T. Hief"), ("proof", &guess)]).await;
        stopped |= answer.status() == StatusCode::TOO_MANY_REQUESTS;
        assert!(stopped || answer.status() == StatusCode::UNPROCESSABLE_ENTITY, "{}", answer.status());
    }
    assert!(stopped, "a guesser at an open laptop goes on for ever");
    let owner = Person::stranger(&club.base);
    assert_eq!(signs_in(&owner, "M. Ashdown", PASSPHRASE).await.status(), StatusCode::SEE_OTHER, "the owner comes in as ever");
    let after = owner.get("/club/organizers").await.page().await;
    assert_eq!(after.all(".people li").len(), before.len(), "nobody was made an organizer");
    assert!(!after.text().contains("T. Hief") && !after.text().contains("let go"), "{}", after.text());
    assert_eq!(signs_in(&Person::stranger(&club.base), "L. Ferrant", PASSPHRASE).await.status(), StatusCode::SEE_OTHER);
    // The owner, who has just signed in, ends the laptop and does what the thief could not.
    let devices = owner.get("/club/you").await.page().await;
    assert_eq!(owner.post(&devices.attr(".devices form", "action"), &[]).await.status(), StatusCode::SEE_OTHER);
    assert_eq!(thief.get("/club").await.status(), StatusCode::UNAUTHORIZED);
    let made = owner.post("/club/organizers", &[("name", "N. Quayle")]).await;
    assert_eq!(made.status(), StatusCode::OK, "signing in is a proof");
}

#[tokio::test]
async fn who_says_their_passphrase_goes_on_with_what_they_had_typed_and_for_five_minutes() {
    let club = Club::open().await;
    club.clock.pass(5);
    let typed = [("name", "L. \"Lea\" Ferrant & Co")];
    let asked = club.organizer.post("/club/organizers", &typed).await.page().await;
    assert_eq!(asked.attr("form[data-proof]", "action"), "/club/organizers");
    assert_eq!(asked.value_of("form[data-proof] [name=name]"), typed[0].1, "nothing typed is lost");
    let wrong = club.organizer.post("/club/organizers", &[typed[0], ("proof", "not this one, surely")]).await;
    assert_eq!(wrong.status(), StatusCode::UNPROCESSABLE_ENTITY);
    let wrong = wrong.page().await;
    assert_eq!(wrong.first(".trouble"), "This is not your passphrase.");
    assert_eq!(wrong.value_of("form[data-proof] [name=name]"), typed[0].1);
    assert!(!wrong.html.html().contains("not this one, surely"), "what was typed as a passphrase is not sent back");
    let right = club.organizer.post("/club/organizers", &[typed[0], ("proof", PASSPHRASE)]).await.page().await;
    assert_eq!(right.secret().len(), 32, "the link is made");
    club.clock.pass(4);
    let soon = club.organizer.post("/club/organizers", &[("name", "N. Quayle")]).await;
    assert!(soon.page().await.has("svg.code"), "it holds for five minutes");
    club.clock.pass(1);
    assert_eq!(club.organizer.post("/club/organizers", &[("name", "R. Thorne")]).await.status(), StatusCode::FORBIDDEN);
    // The clock was put back: a proof of a time to come is none.
    club.clock.pass(-30);
    assert_eq!(club.organizer.post("/club/organizers", &[("name", "R. Thorne")]).await.status(), StatusCode::FORBIDDEN);
    let passphrase = [("old", PASSPHRASE), ("passphrase", "a kettle sings in Norwegian")];
    let changed = club.organizer.post("/club/you/passphrase", &passphrase).await;
    assert!(changed.page().await.text().contains("The new passphrase holds"), "the one they have is a proof");
}

#[tokio::test]
async fn a_proof_is_for_the_device_that_it_was_given_on() {
    let club = Club::open().await;
    club.clock.pass(6);
    let phone = Person::stranger(&club.base);
    signs_in(&phone, "M. Ashdown", PASSPHRASE).await;
    assert_eq!(phone.post("/club/organizers", &[("name", "L. Ferrant")]).await.status(), StatusCode::OK);
    let laptop = club.organizer.post("/club/organizers", &[("name", "N. Quayle")]).await;
    assert_eq!(laptop.status(), StatusCode::FORBIDDEN, "the laptop left open elsewhere has none");
}

#[tokio::test]
async fn a_used_link_answers_its_browser_once_more_and_changes_nothing() {
    let club = Club::open().await;
    let secret = club.organizer.post("/club/organizers", &[("name", "L. Ferrant")]).await.page().await.secret();
    let ferrant = Person::come_in(&club.base, &secret).await;
    let door = format!("/in/{secret}");
    let sets = |passphrase| [("sets", "passphrase"), ("passphrase", passphrase)];
    let phone = Person::stranger(&club.base);
    assert_eq!(signs_in(&phone, "L. Ferrant", PASSPHRASE).await.status(), StatusCode::SEE_OTHER);
    club.clock.pass(9);
    assert_eq!(ferrant.post(&door, &sets(PASSPHRASE)).await.status(), StatusCode::SEE_OTHER, "the answer was lost on the way");
    assert_eq!(phone.get("/club").await.status(), StatusCode::OK, "nobody is signed out by it");
    assert_eq!(ferrant.post(&door, &sets(THIEFS)).await.status(), StatusCode::CONFLICT, "another passphrase");
    assert_eq!(Person::stranger(&club.base).post(&door, &sets(PASSPHRASE)).await.status(), StatusCode::CONFLICT, "no cookie");
    let elsewhere = Person::stranger(&club.base);
    elsewhere.get(&door).await;
    assert_eq!(elsewhere.post(&door, &sets(PASSPHRASE)).await.status(), StatusCode::CONFLICT, "another browser");
    club.clock.pass(1);
    assert_eq!(ferrant.post(&door, &sets(PASSPHRASE)).await.status(), StatusCode::CONFLICT, "ten minutes after");
    assert_eq!(signs_in(&Person::stranger(&club.base), "L. Ferrant", PASSPHRASE).await.status(), StatusCode::SEE_OTHER);
}

#[tokio::test]
async fn a_session_ends_when_nobody_uses_it_and_an_event_day_is_not_interrupted() {
    let club = Club::open().await;
    let library = Person::stranger(&club.base);
    library.post("/sign-in", &[("name", "M. Ashdown"), ("passphrase", PASSPHRASE), ("shared", "1")]).await;
    // A day of sixteen hours with a look now and then; the longest break is eleven hours.
    for minutes in [50, 50, 50] {
        club.clock.pass(minutes);
        assert_eq!(library.get("/club").await.status(), StatusCode::OK, "a shared computer in use");
        assert_eq!(club.organizer.get("/club").await.status(), StatusCode::OK);
    }
    club.clock.pass(61);
    assert_eq!(library.get("/club").await.status(), StatusCode::UNAUTHORIZED, "a shared computer that nobody used for an hour");
    club.clock.pass(10 * 60);
    assert_eq!(club.organizer.get("/club").await.status(), StatusCode::OK, "eleven hours away");
    club.clock.pass(12 * 60);
    assert_eq!(club.organizer.get("/club").await.status(), StatusCode::UNAUTHORIZED, "twelve hours away");
    let owner = Person::stranger(&club.base);
    signs_in(&owner, "M. Ashdown", PASSPHRASE).await;
    assert_eq!(
        owner.get("/club/you").await.page().await.all(".devices li").len(),
        1,
        "the ended ones are not listed as signed in"
    );
}

#[tokio::test]
async fn the_organizers_page_says_who_made_ended_and_signed_in_whom_when_and_from_what() {
    let club = Club::open().await;
    let secret = club.organizer.post("/club/organizers", &[("name", "L. Ferrant")]).await.page().await.secret();
    let ferrant = Person::come_in(&club.base, &secret).await;
    let laptop = Person::stranger(&club.base);
    let agent = "Mozilla/5.0 (Windows NT 10.0; Win64; x64)";
    let form = [("name", "L. Ferrant"), ("passphrase", PASSPHRASE)];
    laptop.send(laptop.client.post(laptop.url("/sign-in")).header("user-agent", agent).form(&form)).await;
    let end = club.organizer.get("/club/organizers").await.page().await.attr("form[action$='/end']", "action");
    club.clock.pass(2);
    assert_eq!(club.organizer.post(&end, &[]).await.status(), StatusCode::SEE_OTHER);
    assert_eq!(ferrant.get("/club").await.status(), StatusCode::UNAUTHORIZED);
    let told = club.organizer.get("/club/organizers").await.page().await.all(".told li");
    for wanted in [
        "2026-05-09 06:02 UTC: L. Ferrant was let go, by M. Ashdown",
        "2026-05-09 06:00 UTC: L. Ferrant signed in, from: Windows computer",
        "2026-05-09 06:00 UTC: L. Ferrant was made an organizer, by M. Ashdown",
        "2026-05-09 06:00 UTC: M. Ashdown was made an organizer, by whoever runs the server",
    ] {
        assert!(told.iter().any(|line| line.starts_with(wanted)), "{wanted}: {told:#?}");
    }
}
