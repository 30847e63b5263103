//! Let go in the middle of a deed: a request that was on its way when its maker was let go does nothing more.

use crate::club::{Club, minutes};
use crate::tools::pairs;
use reqwest::StatusCode;
use std::io::{Read, Write};
use std::net::TcpStream;

/// Begins a post and keeps its last byte back; gives the socket, and what is missing.
fn begins(base: &str, path: &str, cookie: &str, body: &str) -> (TcpStream, u8) {
    let host = base.trim_start_matches("http://");
    let mut socket = TcpStream::connect(host).expect("the server");
    let head = format!(
        "POST {path} HTTP/1.1\r\nhost: {host}\r\ncookie: {cookie}\r\nsec-fetch-site: same-origin\r\nconnection: close\r\n\
         content-type: application/x-www-form-urlencoded\r\ncontent-length: {}\r\n\r\n",
        body.len()
    );
    socket.write_all(head.as_bytes()).and_then(|()| socket.write_all(&body.as_bytes()[..body.len() - 1])).expect("sent");
    socket.flush().expect("sent");
    (socket, body.as_bytes()[body.len() - 1])
}

fn ends((mut socket, last): (TcpStream, u8)) -> String {
    socket.write_all(&[last]).expect("sent");
    let mut answer = String::new();
    socket.read_to_string(&mut answer).expect("an answer");
    answer.lines().next().unwrap_or_default().to_owned()
}

fn form(fields: &[(&str, &str)]) -> String {
    form_urlencoded::Serializer::new(String::new()).extend_pairs(fields).finish()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_clear_that_was_on_its_way_when_the_inspector_was_let_go_clears_nothing_and_a_hold_holds() {
    let club = Club::open().await;
    for number in ["7", "27"] {
        club.driver(number).await.sends(|_| ()).await;
    }
    let holt = club.inspector("R. Holt").await;
    let cookie = holt.person.cookie(&holt.lane());
    let on_its_way = async |number: &str, deed: &str| {
        let car = holt.opens(number).await;
        let fields = car.all_ticked();
        let mut fields = pairs(&fields);
        fields.extend([("deed", deed), ("reason", "Oil at the gearbox.")]);
        begins(&club.base, &format!("{}/sign-offs", car.path), &cookie, &form(&fields))
    };
    let (clear, hold) = (on_its_way("27", "clear").await, on_its_way("7", "hold").await);
    // The server has read both heads and waits for the rest.
    tokio::time::sleep(std::time::Duration::from_millis(200)).await;
    let end = club.forms_for("R. Holt").await.into_iter().find(|form| form.contains("/people/") && form.ends_with("/end"));
    assert_eq!(club.organizer.post(&end.expect("can be let go"), &[]).await.status(), StatusCode::SEE_OTHER);
    assert_eq!(ends(clear), "HTTP/1.1 403 Forbidden");
    assert_eq!(club.board_of("27").await.0, "pending", "nobody cleared it who may");
    assert_eq!(ends(hold), "HTTP/1.1 303 See Other", "a hold is on the safe side");
    assert_eq!(club.board_of("7").await.0, "flagged");
}

#[tokio::test(flavor = "multi_thread")]
async fn what_a_driver_sends_while_being_erased_does_not_bring_the_name_back() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let cookie = ines.person.cookie(&ines.home());
    ines.sends(|_| ()).await;
    let typed = begins(&club.base, &format!("{}/areas/brakes", ines.home()), &cookie, "pad-front.lf=9&pad-front.unit=mm");
    let fields = ines.ready_to_send().await;
    let fields: Vec<(&str, &str)> = fields.iter().map(|(name, text)| (name.as_str(), text.as_str())).collect();
    let sent = begins(&club.base, &format!("{}/submissions", ines.home()), &cookie, &form(&fields));
    tokio::time::sleep(std::time::Duration::from_millis(200)).await;
    let path = format!("/club/events/{}/entries/{}/data", club.event, ines.entry);
    assert_eq!(club.organizer.post(&format!("{path}/erase"), &[("number", "27")]).await.status(), StatusCode::SEE_OTHER);
    assert_eq!(ends(typed), "HTTP/1.1 401 Unauthorized");
    // What was typed is gone already: there is nothing to send.
    assert!(ends(sent).starts_with("HTTP/1.1 4"));
    let held = club.organizer.get(&format!("{path}.json")).await.text().await;
    assert!(!held.contains("Ines") && held.contains("\"typed_and_not_sent\": {}"), "{held}");
    assert_eq!(club.history_of("27").await.len(), 1);
}

#[tokio::test]
async fn two_organizers_who_let_each_other_go_at_once_leave_one() {
    let club = Club::open().await;
    let secret = club.organizer.post("/club/organizers", &[("name", "L. Ferrant")]).await.page().await.secret();
    let ferrant = crate::club::Person::come_in(&club.base, &secret).await;
    let end_of = async |person: &crate::club::Person| {
        person.get("/club/organizers").await.page().await.attr("form[action$='/end']", "action")
    };
    let (first, second) = (end_of(&club.organizer).await, end_of(&ferrant).await);
    let (one, other) = tokio::join!(club.organizer.post(&first, &[]), ferrant.post(&second, &[]));
    let mut ends = [one.status(), other.status()];
    ends.sort();
    assert_eq!(ends, [StatusCode::SEE_OTHER, StatusCode::UNAUTHORIZED], "the later of the two was let go already");
    club.clock.pass(minutes(1).as_mins());
    let left = [club.organizer.get("/club").await.status(), ferrant.get("/club").await.status()];
    assert_eq!(left.iter().filter(|status| **status == StatusCode::OK).count(), 1);
}

/// Who makes a link for an inspector could use it themselves: it must show.
#[tokio::test]
async fn a_links_own_history_says_who_made_it_and_when_it_was_used() {
    let club = Club::open().await;
    let holt = club.inspector("R. Holt").await;
    club.another_link_for("R. Holt").await;
    let page = club.organizer.get(&format!("/club/events/{}/people", club.event)).await.page().await;
    assert_eq!(
        page.all(".people details li"),
        ["07:00 made anew by M. Ashdown", "07:00 used", "07:00 made by M. Ashdown"],
        "the newest first"
    );
    drop(holt);
    let two = [("role", "inspector"), ("name", "r. holt")];
    let refused = club.organizer.post(&format!("/club/events/{}/people", club.event), &two).await;
    assert_eq!(refused.status(), StatusCode::UNPROCESSABLE_ENTITY, "two of one name could not be told apart in a record");
    let neither = [("role", "steward"), ("name", "S. Teward")];
    let refused = club.organizer.post(&format!("/club/events/{}/people", club.event), &neither).await;
    assert_eq!(refused.status(), StatusCode::UNPROCESSABLE_ENTITY);
}

#[tokio::test]
async fn an_inspector_who_taps_the_link_again_on_the_same_phone_is_let_on() {
    let club = Club::open().await;
    let secret = club.link_for("inspector", "R. Holt").await;
    let phone = crate::club::Person::come_in(&club.base, &secret).await;
    let again = phone.get(&format!("/in/{secret}")).await;
    assert_eq!((again.status(), again.location()), (StatusCode::SEE_OTHER, format!("/gate/{}", club.event)));
    let devices = club.forms_for("R. Holt").await.into_iter().filter(|form| form.contains("/devices/")).count();
    assert_eq!(devices, 1, "it is the same device");
    let ines = club.driver("27").await;
    for _ in 0..3 {
        ines.person.get(&format!("/in/{}", ines.secret)).await;
    }
    let held = club.organizer.get(&format!("/club/events/{}/entries/{}/data.json", club.event, ines.entry)).await.json().await;
    assert_eq!(held["links"][0]["devices"].as_array().map(Vec::len), Some(1), "a driver who taps the mail's link every day, too");
}
