//! A device that was ended: a hold from it still counts, and nothing else does. Where JSON is asked, JSON is answered.

use crate::club::{Answer, Club, Inspector, Person};
use crate::tools::pairs;
use reqwest::StatusCode;
use serde_json::Value as Json;

/// How a device can end.
#[derive(Clone, Copy, Debug)]
enum End {
    Device,
    Link,
    /// The second midnight after the event.
    Time,
}

/// A sign-off that is on an inspector's phone and was not sent yet.
struct Kept {
    path: String,
    fields: Vec<(String, String)>,
}

async fn keeps(holt: &Inspector<'_>, number: &str, deed: &str) -> Kept {
    let car = holt.opens(number).await;
    let mut fields = car.all_ticked();
    fields.extend([("deed", deed), ("reason", "Oil at the gearbox.")].map(|(name, text)| (name.to_owned(), text.to_owned())));
    Kept { path: format!("{}/sign-offs", car.path), fields }
}

/// Sends it as the phone's script does, with a cookie in hand: a browser drops it when its time is over.
async fn sends(base: &str, cookie: &str, kept: &Kept) -> Answer {
    let phone = Person::stranger(base);
    let request = phone.client.post(phone.url(&kept.path)).header("accept", "application/json").header("cookie", cookie);
    phone.send(request.form(&pairs(&kept.fields))).await
}

async fn ends(club: &Club, end: End) {
    let part = match end {
        End::Device => "/devices/",
        End::Link => "/people/",
        End::Time => {
            club.clock.pass(3 * 24 * 60);
            return club.organizer.signs_in_again("M. Ashdown").await;
        }
    };
    let form = club.forms_for("R. Holt").await.into_iter().find(|form| form.contains(part) && form.ends_with("/end"));
    assert_eq!(club.organizer.post(&form.expect("can be ended"), &[]).await.status(), StatusCode::SEE_OTHER);
}

async fn says_who_are_you(answer: Answer, what: &str) {
    assert_eq!(answer.status(), StatusCode::UNAUTHORIZED, "{what}");
    assert!(answer.header("content-type").starts_with("application/json"), "{what}");
    let said = answer.json().await;
    assert_eq!(said["title"], "Who are you?", "{what}: {said}");
    assert!(said["error"].as_str().is_some_and(|words| words.contains("private link")), "{what}: {said}");
}

#[tokio::test]
async fn a_hold_from_an_ended_device_counts_and_a_clear_does_not() {
    for end in [End::Device, End::Link, End::Time] {
        let club = Club::open().await;
        for number in ["7", "27"] {
            club.driver(number).await.sends(|_| ()).await;
        }
        let holt = club.inspector("R. Holt").await;
        let cookie = holt.person.cookie(&holt.lane());
        let (clear, hold) = (keeps(&holt, "27", "clear").await, keeps(&holt, "7", "hold").await);
        ends(&club, end).await;
        let refused = sends(&club.base, &cookie, &clear).await;
        assert_eq!(refused.status(), StatusCode::FORBIDDEN, "a clear, {end:?}");
        assert_eq!(refused.json().await["title"], "This device was ended", "{end:?}");
        assert_eq!(club.board_of("27").await.0, "pending", "{end:?}");
        for nth in ["sent", "sent again"] {
            assert_eq!(sends(&club.base, &cookie, &hold).await.status(), StatusCode::CREATED, "a hold, {nth}, {end:?}");
        }
        assert_eq!(club.board_of("7").await.0, "flagged", "{end:?}");
        let history = club.history_of("7").await;
        assert_eq!(history.len(), 2, "{end:?}: {history:?}");
        assert!(history[0].starts_with("hold by R. Holt (inspector)"), "{history:?}");
        let lane = Person::stranger(&club.base);
        let asked = lane.client.get(lane.url(&holt.lane())).header("accept", "application/json").header("cookie", &cookie);
        says_who_are_you(lane.send(asked).await, &format!("the phone is still out, {end:?}")).await;
    }
}

/// A clear that arrived while the device was in, and whose answer was lost, is there: the phone may know it.
#[tokio::test]
async fn a_clear_that_arrived_before_the_end_is_answered_as_before_when_it_is_sent_again() {
    let club = Club::open().await;
    club.driver("27").await.sends(|_| ()).await;
    let holt = club.inspector("R. Holt").await;
    let cookie = holt.person.cookie(&holt.lane());
    let clear = keeps(&holt, "27", "clear").await;
    assert_eq!(sends(&club.base, &cookie, &clear).await.status(), StatusCode::CREATED);
    ends(&club, End::Device).await;
    assert_eq!(sends(&club.base, &cookie, &clear).await.status(), StatusCode::CREATED);
    assert_eq!((club.board_of("27").await.0.as_str(), club.history_of("27").await.len()), ("cleared", 2));
}

#[tokio::test]
async fn an_ended_device_reads_nothing_of_a_car_and_reaches_no_other_event() {
    let mut club = Club::open().await;
    club.driver("7").await.sends(|_| ()).await;
    let (cookie, hold) = {
        let holt = club.inspector("R. Holt").await;
        (holt.person.cookie(&holt.lane()), keeps(&holt, "7", "hold").await)
    };
    ends(&club, End::Link).await;
    let phone = Person::stranger(&club.base);
    let without_reason: Vec<_> = hold.fields.iter().filter(|(name, _)| name != "reason").cloned().collect();
    let refused = phone.post_with(&hold.path, &cookie, &pairs(&without_reason)).await;
    assert_eq!(refused.status(), StatusCode::UNPROCESSABLE_ENTITY, "what cannot be a hold is refused with the reason");
    let page = refused.page().await.text();
    assert!(page.contains("Say why the car is held") && !page.contains("Lindqvist"), "not the car's page: {page}");
    let (spring, entry) = (club.event.clone(), club.entry("7").await);
    club.turns_to_event("Autumn day", "2026-09-12").await;
    let (autumn, there) = (club.event.clone(), club.entry("7").await);
    let nobody = club.new_id();
    for (what, event, entry) in [
        ("another event's car", &autumn, &there),
        ("its car under another event", &autumn, &entry),
        ("another event's car under its own", &spring, &there),
        ("nobody's car", &spring, &nobody),
    ] {
        let hold = Kept { path: format!("/gate/{event}/entries/{entry}/sign-offs"), fields: hold.fields.clone() };
        says_who_are_you(sends(&club.base, &cookie, &hold).await, what).await;
    }
    let photos = hold.path.replace("/sign-offs", "/photos");
    assert_eq!(phone.post_with(&photos, &cookie, &[]).await.status(), StatusCode::UNAUTHORIZED, "no photo");
}

#[tokio::test]
async fn an_ended_drivers_or_marshals_device_holds_no_car() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    ines.sends(|_| ()).await;
    let marshal = Person::come_in(&club.base, &club.link_for("marshal", "Pit exit").await).await;
    let holt = club.inspector("R. Holt").await;
    let hold = keeps(&holt, "27", "hold").await;
    let cookies = [
        ("a driver", ines.person.cookie(&ines.home())),
        ("a marshal", marshal.cookie(&format!("/grid/{}", club.event))),
        ("nobody", format!("witnessmark={}", "a".repeat(32))),
    ];
    club.clock.pass(40 * 24 * 60);
    for (who, cookie) in &cookies {
        says_who_are_you(sends(&club.base, cookie, &hold).await, who).await;
    }
    assert_eq!(club.house.store.count_records().await.expect("a count"), 1, "the driver's sheet and nothing else");
}

/// A fault as a script gets it: its status, its title, its words.
async fn fault(answer: Answer, status: StatusCode, what: &str) -> Json {
    assert_eq!(answer.status(), status, "{what}");
    assert!(answer.header("content-type").starts_with("application/json"), "{what}: {}", answer.header("content-type"));
    assert_eq!(answer.header("x-content-type-options"), "nosniff", "{what}: the headers that keep it safe");
    let said = answer.json().await;
    let words = ["title", "error"].map(|name| said[name].as_str().unwrap_or_default().len());
    assert!(words.iter().all(|length| *length > 3), "{what}: {said}");
    said
}

#[tokio::test]
async fn where_json_is_asked_every_fault_is_json() {
    let club = Club::open().await;
    let holt = club.inspector("R. Holt").await;
    let me = &holt.person;
    let get = |path: &str| me.client.get(me.url(path)).header("accept", "application/json, text/plain;q=0.5");
    let post = |path: &str| me.client.post(me.url(path)).header("accept", "application/json");
    fault(me.send(get("/club")).await, StatusCode::UNAUTHORIZED, "the guard").await;
    fault(me.send(get("/no/such/page")).await, StatusCode::NOT_FOUND, "no page").await;
    fault(me.send(get("/static/old/none.css")).await, StatusCode::NOT_FOUND, "no file").await;
    let nobody = format!("{}/entries/{}", holt.lane(), club.new_id());
    fault(me.send(get(&nobody)).await, StatusCode::NOT_FOUND, "no car").await;
    let method = me.client.put(me.url(&holt.lane())).header("accept", "application/json");
    fault(me.send(method).await, StatusCode::METHOD_NOT_ALLOWED, "no such method").await;
    let elsewhere = post("/sign-in").header("sec-fetch-site", "cross-site").form(&[("name", "x")]);
    fault(me.send(elsewhere).await, StatusCode::FORBIDDEN, "another site's form").await;
    let path = format!("{}/entries/{}/sign-offs", holt.lane(), club.entry("27").await);
    let long = format!("reason={}", "x".repeat(700_000));
    let large = post(&path).header("content-type", "application/x-www-form-urlencoded").body(long);
    fault(me.send(large).await, StatusCode::PAYLOAD_TOO_LARGE, "too large").await;
    let broken = post(&path).form(&[("deed", "hold"), ("id", "27")]);
    let said = fault(me.send(broken).await, StatusCode::UNPROCESSABLE_ENTITY, "no id").await;
    assert!(said["error"].as_str().is_some_and(|words| words.contains("hidden fields")), "the reason is in it: {said}");
    fault(me.send(post(&path).json(&serde_json::json!({}))).await, StatusCode::UNSUPPORTED_MEDIA_TYPE, "no form").await;
    let page = me.get("/no/such/page").await;
    assert!(page.header("content-type").starts_with("text/html"), "a person gets a page");
    let packed = get("/club").header("accept-encoding", "gzip");
    fault(me.send(packed).await, StatusCode::UNAUTHORIZED, "a page that would have been packed").await;
}

#[tokio::test]
async fn a_guesser_who_asks_for_json_is_told_when_to_come_back() {
    let club = Club::open().await;
    let guesser = Person::stranger(&club.base);
    for _ in 0..400 {
        let request =
            guesser.client.get(guesser.url("/in/aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa")).header("accept", "application/json");
        let answer = guesser.send(request).await;
        if answer.status() == StatusCode::TOO_MANY_REQUESTS {
            assert!(answer.header("retry-after").parse::<u64>().is_ok_and(|seconds| seconds > 0));
            fault(answer, StatusCode::TOO_MANY_REQUESTS, "too often").await;
            return;
        }
    }
    panic!("400 wrong links were answered");
}

/// The phone went to the next inspector before it had signal again.
#[tokio::test]
async fn a_sign_off_that_says_another_maker_than_is_signed_in_is_refused_and_its_maker_can_send_it() {
    let club = Club::open().await;
    for number in ["7", "27"] {
        club.driver(number).await.sends(|_| ()).await;
    }
    let (holt, vane) = (club.inspector("R. Holt").await, club.inspector("S. Vane").await);
    for (number, deed) in [("7", "hold"), ("27", "clear")] {
        let mut kept = keeps(&holt, number, deed).await;
        let maker = holt.opens(number).await.page.value_of("input[name=maker_link]");
        assert_ne!(maker, vane.opens(number).await.page.value_of("input[name=maker_link]"));
        kept.fields.push(("maker_link".into(), maker));
        let refused = sends(&club.base, &vane.person.cookie(&vane.lane()), &kept).await;
        assert_eq!(refused.status(), StatusCode::PRECONDITION_FAILED, "a {deed}");
        assert_eq!(refused.json().await["title"], "This page is somebody else's", "a {deed}");
        assert_eq!(club.history_of(number).await.len(), 1, "a {deed}: nothing was recorded");
        let taken = sends(&club.base, &holt.person.cookie(&holt.lane()), &kept).await;
        assert_eq!(taken.status(), StatusCode::CREATED, "a {deed}");
        assert_eq!(club.history_of(number).await[0], format!("{deed} by R. Holt (inspector)"));
        let odd = Kept { fields: vec![("maker_link".into(), "not an id".into())], path: kept.path.clone() };
        let odd = Kept { fields: [kept.fields[..3].to_vec(), odd.fields].concat(), path: odd.path };
        assert!(sends(&club.base, &holt.person.cookie(&holt.lane()), &odd).await.status().is_client_error(), "no id");
    }
}
