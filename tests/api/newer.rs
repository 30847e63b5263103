//! What is newer is told by the place in the event's chain. The server's clock is put right by two hours, backwards, and nothing
//! that is shown goes back with it.

use crate::club::{Club, Driver, Person};
use crate::passes::address_in;
use serde_json::{Value as Json, json};
use witnessmark::rules::pass::Pass;

/// A quartz clock that ran two hours fast is put right.
const BACK: i64 = -120;

async fn marshal(club: &Club) -> Person {
    Person::come_in(&club.base, &club.link_for("marshal", "Pit exit").await).await
}

/// The marshal's list; `asked` says what the device has: `?place=3&hash=...`.
async fn list(club: &Club, marshal: &Person, asked: &str) -> Json {
    marshal.get(&format!("/grid/{}/cars.json{asked}", club.event)).await.json().await
}

fn place(list: &Json) -> i64 {
    list["place"].as_i64().expect("a place")
}

fn car<'l>(list: &'l Json, number: &str) -> &'l Json {
    list["cars"].as_array().and_then(|cars| cars.iter().find(|car| car["number"] == number)).expect("a car")
}

async fn pass_of(driver: &Driver<'_>) -> Pass {
    Pass::read(address_in(driver).await.rsplit('/').next().expect("a pass")).expect("a pass")
}

#[tokio::test]
async fn a_hold_after_the_clock_was_put_back_makes_a_newer_list() {
    let club = Club::open().await;
    let marshal = marshal(&club).await;
    let nothing = list(&club, &marshal, "").await;
    // The event was made and its roster taken in.
    assert_eq!(place(&nothing), 2, "no record of a car yet");
    club.driver("27").await.sends(|_| ()).await;
    club.inspector("R. Holt").await.clears("27").await;
    let cleared = list(&club, &marshal, "").await;
    assert_eq!((place(&cleared), &car(&cleared, "27")["cleared"]), (4, &json!(true)));
    assert_eq!(cleared["hash"].as_str().map(str::len), Some(64), "SHA-256 in hexadecimal");
    club.clock.pass(BACK);
    club.inspector("S. Pare").await.holds("27", "Smoke from the left rear.").await;
    let held = list(&club, &marshal, "").await;
    assert!(held["as_of"].as_i64() < cleared["as_of"].as_i64(), "by the clock it is older");
    assert_eq!((place(&held), &car(&held, "27")["cleared"], &car(&held, "27")["held"]), (5, &json!(false), &json!(true)));
}

#[tokio::test]
async fn a_device_is_told_whether_the_history_goes_on_from_what_it_has() {
    let club = Club::open().await;
    let marshal = marshal(&club).await;
    club.driver("27").await.sends(|_| ()).await;
    let old = list(&club, &marshal, "").await;
    club.inspector("R. Holt").await.clears("27").await;
    let hash = old["hash"].as_str().expect("a hash");
    let rows = [
        (format!("?place=3&hash={hash}"), true, "an earlier record of this history"),
        (format!("?place=4&hash={hash}"), false, "a hash that is at another place"),
        (format!("?place=9&hash={hash}"), false, "further than the history goes: an older backup was restored"),
        (format!("?place=3&hash={}", "0".repeat(64)), false, "another history"),
        ("?place=0&hash=".to_owned(), true, "every history goes on from its beginning"),
        ("?place=undefined&hash=undefined".to_owned(), false, "a list of before there were places"),
        (String::new(), false, "nothing"),
    ];
    for (asked, follows, what) in rows {
        let got = list(&club, &marshal, &asked).await;
        assert_eq!((&got["follows"], place(&got)), (&json!(follows), 4), "{what}");
    }
}

#[tokio::test]
async fn a_pass_is_newer_than_the_list_before_its_clear_and_older_than_the_list_after_a_hold_whatever_the_clock_says() {
    let club = Club::open().await;
    let (marshal, ines) = (marshal(&club).await, club.driver("27").await);
    ines.sends(|_| ()).await;
    let before = list(&club, &marshal, "").await;
    club.clock.pass(BACK);
    club.inspector("R. Holt").await.clears("27").await;
    let pass = pass_of(&ines).await;
    assert!(i64::from(pass.place) > place(&before), "the clear came after that list");
    let same = list(&club, &marshal, "").await;
    assert!(i64::from(pass.place) <= place(&same), "a list that knows all that the pass rests on counts");
    club.clock.pass(BACK);
    club.inspector("S. Pare").await.holds("27", "Oil at the gearbox.").await;
    let held = list(&club, &marshal, "").await;
    assert!(held["as_of"].as_i64().expect("a time") < i64::from(pass.made_min) * 60_000, "by the clock the pass is newer");
    assert!(place(&held) > i64::from(pass.place));
}

#[tokio::test]
async fn the_lane_is_in_the_order_in_which_cars_came_and_shows_the_time() {
    let club = Club::open().await;
    club.driver("27").await.sends(|_| ()).await;
    club.clock.pass(BACK);
    club.driver("7").await.sends(|_| ()).await;
    let holt = club.inspector("R. Holt").await;
    let lane = holt.person.get(&holt.lane()).await.page().await;
    let numbers = lane.all("[data-car]");
    let (first, second) = (&numbers[0], &numbers[1]);
    assert!(first.contains("27") && first.contains("07:00"), "{numbers:?}");
    assert!(second.contains('7') && second.contains("05:00"), "whoever came later waits behind: {numbers:?}");
}

/// The gate's pages on a device: what changed since its mark, or everything where the mark is of another history.
#[tokio::test]
async fn a_mark_that_is_not_of_this_history_brings_every_page() {
    let club = Club::open().await;
    let holt = club.inspector("R. Holt").await;
    club.driver("27").await.sends(|_| ()).await;
    let pages = async |mark: &str| {
        let asked = form_urlencoded::Serializer::new(String::new()).append_pair("mark", mark).finish();
        let got = holt.person.get(&format!("{}/pages.json?{asked}", holt.lane())).await.json().await;
        (got["pages"].as_array().map_or(0, Vec::len), got["mark"].as_str().expect("a mark").to_owned())
    };
    let (all, mark) = pages("").await;
    assert_eq!((all, pages(&mark).await.0), (4, 0), "all four cars, and then nothing is new");
    club.clock.pass(BACK);
    club.driver("7").await.sends(|_| ()).await;
    assert_eq!(pages(&mark).await.0, 1, "one car changed, and the clock does not matter");
    let parts: Vec<&str> = mark.split(' ').collect();
    let [place, hash, edition, entries, named, version] = parts[..] else { panic!("six parts: {mark}") };
    let rest = format!("{edition} {entries} {named} {version}");
    let other = "0".repeat(64);
    let rows = [
        (format!("{place} {edition} {entries}"), "a mark of before marks had a hash"),
        (format!("{place} {hash} {edition} {entries}"), "a mark of before it had the entries' names and the program's version"),
        (format!("{place} {other} {rest}"), "another history"),
        (format!("9 {hash} {rest}"), "an older backup was restored"),
        (format!("{place} {hash} {edition} {entries} {other} {version}"), "a driver was erased since"),
        (format!("{place} {hash} {edition} {entries} {named} 0lder"), "pages of another version of the program"),
        (format!("{place} {hash} {rest} more"), "no mark at all"),
    ];
    for (mark, what) in rows {
        assert_eq!(pages(&mark).await.0, 4, "{what}");
    }
}

/// A telephone whose clock says 2020, or tomorrow, dates nothing falsely.
#[tokio::test]
async fn a_devices_time_that_cannot_be_is_not_recorded() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    ines.sends(|_| ()).await;
    club.clock.pass(60);
    let holt = club.inspector("R. Holt").await;
    let rows = [
        ("2026-05-09T06:20:00Z", ", made 07:20 on the device", "40 minutes without signal"),
        ("2020-05-09T06:20:00Z", "", "years ago"),
        ("2026-05-09T05:59:00Z", "", "before there was the event"),
        ("2026-05-10T06:20:00Z", "", "tomorrow"),
    ];
    for (made, said, what) in rows {
        let car = holt.opens("27").await;
        let mut fields: Vec<_> = car.all_ticked().into_iter().filter(|(name, _)| name == "id" || name == "seen").collect();
        fields.push(("made_at".into(), made.into()));
        car.signs(&fields, "hold", what).await;
        let note = club.car_page("27").await.first("ol.told li");
        assert_eq!(note.contains(", made "), !said.is_empty(), "{what}: {note}");
        assert!(note.contains(said) && note.contains("2026-05-09 08:00:00"), "{what}: {note}");
    }
}
