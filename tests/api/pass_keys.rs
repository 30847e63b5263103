//! The keys of passes: they end with their event, can be made anew, and no pass outlives its event.

use crate::club::{Club, Driver, Person};
use crate::passes::address_in;
use reqwest::StatusCode;
use serde_json::Value as Json;
use witnessmark::acts::pass::end_keys_of_past_events;
use witnessmark::rules::pass::Pass;
use witnessmark::store::event_key;

async fn cleared(club: &Club) -> Driver<'_> {
    let ines = club.driver("27").await;
    ines.sends(|_| ()).await;
    club.inspector("R. Holt").await.clears("27").await;
    ines
}

async fn text_of(driver: &Driver<'_>) -> String {
    address_in(driver).await.rsplit('/').next().expect("a pass").to_owned()
}

async fn secret_key(club: &Club) -> Option<[u8; 32]> {
    let mut db = club.house.store.read().await.expect("the store");
    event_key::of_event(&mut db, club.event.parse().expect("an id")).await.expect("an answer")
}

async fn shown(club: &Club, pass: &str) -> StatusCode {
    Person::stranger(&club.base).get(&format!("/P/{pass}")).await.status()
}

async fn list_of(marshal: &Person, club: &Club) -> Json {
    marshal.get(&format!("/grid/{}/cars.json", club.event)).await.json().await
}

async fn makes_anew(club: &Club, id: &str) -> StatusCode {
    club.organizer.post(&format!("/club/events/{}/passes/anew", club.event), &[("id", id)]).await.status()
}

/// Somebody who copied the club's file has the key, and signs with it whatever they like.
#[tokio::test]
async fn a_pass_signed_with_the_genuine_key_and_valid_for_centuries_is_answered_as_nothing_at_all() {
    let club = Club::open().await;
    let ines = cleared(&club).await;
    let pass = text_of(&ines).await;
    let key = secret_key(&club).await.expect("the event's key");
    let genuine = Pass::read(&pass).expect("a pass");
    assert_eq!(shown(&club, &genuine.seal(&key)).await, StatusCode::OK, "the key is the genuine one");
    for until_min in [genuine.until_min + 1, u32::MAX] {
        let forged = Pass { until_min, ..genuine.clone() }.seal(&key);
        assert_eq!(shown(&club, &forged).await, StatusCode::NOT_FOUND, "until {until_min}");
    }
}

#[tokio::test]
async fn passes_made_anew_leave_the_old_ones_false_and_reach_the_marshals_list() {
    let club = Club::open().await;
    let ines = cleared(&club).await;
    let marshal = Person::come_in(&club.base, &club.link_for("marshal", "Pit exit").await).await;
    let (old, old_key, old_list) =
        (text_of(&ines).await, secret_key(&club).await.expect("a key"), list_of(&marshal, &club).await);
    let page = club.organizer.get(&format!("/club/events/{}/people", club.event)).await.page().await;
    let id = page.value_of("#passes input[name=id]");
    assert_eq!(makes_anew(&club, &id).await, StatusCode::SEE_OTHER);
    let (new, new_list) = (text_of(&ines).await, list_of(&marshal, &club).await);
    assert_eq!((shown(&club, &old).await, shown(&club, &new).await), (StatusCode::NOT_FOUND, StatusCode::OK));
    assert_ne!(old_list["key"], new_list["key"], "the list carries the new key");
    let forged = Pass::read(&new).expect("a pass").seal(&old_key);
    assert_eq!(shown(&club, &forged).await, StatusCode::NOT_FOUND, "a new pass sealed with the old key");
    let says = club.organizer.get(&format!("/club/events/{}/people", club.event)).await.page().await;
    assert!(says.first("#passes details").contains("M. Ashdown"), "it says who made them anew");
    // Sent twice, it is made once.
    assert_eq!(makes_anew(&club, &id).await, StatusCode::SEE_OTHER);
    assert_eq!(list_of(&marshal, &club).await["key"], new_list["key"]);
}

#[tokio::test]
async fn the_key_is_erased_when_the_event_is_over_and_its_passes_are_over_and_not_false() {
    let club = Club::open().await;
    let ines = cleared(&club).await;
    let pass = text_of(&ines).await;
    assert_eq!(end_keys_of_past_events(&club.house).await.expect("a sweep"), 0, "the event is not over");
    club.clock.pass(24 * 60);
    assert_eq!(end_keys_of_past_events(&club.house).await.expect("a sweep"), 1);
    assert_eq!(end_keys_of_past_events(&club.house).await.expect("a sweep"), 0, "once");
    assert_eq!(secret_key(&club).await, None);
    let page = Person::stranger(&club.base).get(&format!("/P/{pass}")).await.page().await;
    assert_eq!(page.first(".verdict h1"), "27 Over");
    let forged = Pass::read(&pass).expect("a pass").seal(&[9; 32]);
    assert_eq!(shown(&club, &forged).await, StatusCode::NOT_FOUND, "a false one is false after the event too");
    club.organizer.signs_in_again("M. Ashdown").await;
    assert_eq!(makes_anew(&club, &club.new_id()).await, StatusCode::CONFLICT, "none is made any more");
}

/// The page of a pass is for everybody who scans it: it says where the car stands, and no word that an inspector typed.
#[tokio::test]
async fn a_stranger_with_a_pass_learns_the_standing_and_no_reason() {
    let club = Club::open().await;
    let ines = cleared(&club).await;
    let path = format!("/P/{}", text_of(&ines).await);
    let anybody = Person::stranger(&club.base);
    club.inspector("R. Holt").await.holds("27", "Smells of wine, ask about the licence.").await;
    let held = anybody.get(&path).await.page().await;
    assert_eq!(held.first(".verdict h1"), "27 Not cleared");
    assert!(!held.text().contains("wine") && !held.text().contains("Holt"), "{}", held.text());
    ines.sends(|answers| answers["pad-front"]["at"]["lf"] = 2.1.into()).await;
    let flagged = anybody.get(&path).await.page().await;
    assert!(!flagged.text().contains("2.1") && !flagged.text().contains("pad"), "{}", flagged.text());
}
