//! Private links: shown once, one person each, ended by a new one, and out at once when taken back.

use crate::club::{Club, Person};
use crate::tools::{inspector_at, pairs, sign_offs};
use reqwest::StatusCode;

#[tokio::test]
async fn a_link_is_shown_once_and_never_again() {
    let club = Club::open().await;
    let links = format!("/club/events/{}/links", club.event);
    let made = club.organizer.post(&links, &[]).await.page().await;
    let urls = made.all("code");
    assert_eq!(urls.len(), 4, "a link for each driver");
    assert!(urls.iter().all(|url| url.starts_with(&format!("{}/in/", club.base))), "whole, to be sent as they are: {urls:?}");
    let again = club.organizer.post(&links, &[]).await.page().await;
    assert_eq!(again.all("code").len(), 0);
    assert!(again.first("h1").contains("Everybody has a link already"));
    let roster = club.organizer.get(&format!("/club/events/{}/roster", club.event)).await.text().await;
    for url in urls {
        let secret = url.rsplit('/').next().expect("a secret").to_owned();
        assert!(!roster.contains(&secret), "the roster does not show it");
        Person::come_in(&club.base, &secret).await;
    }
}

#[tokio::test]
async fn the_links_can_be_taken_away_as_csv_once() {
    let club = Club::open().await;
    let path = format!("/club/events/{}/links", club.event);
    let file = club.organizer.post(&path, &[("as", "csv")]).await;
    assert!(file.header("content-type").starts_with("text/csv"));
    assert!(file.header("content-disposition").contains("attachment"));
    let lines = file.text().await;
    let secrets: Vec<&str> = lines.lines().skip(1).filter_map(|line| line.trim_end_matches('"').rsplit("/in/").next()).collect();
    assert_eq!(lines.lines().next(), Some(r#""number","name","mail","link""#));
    assert!(lines.contains(r#""27","Ines Okafor","ines@example.org","http"#), "{lines}");
    assert_eq!(secrets.len(), 4);
    for secret in secrets {
        Person::come_in(&club.base, secret.trim()).await;
    }
    assert_eq!(club.organizer.post(&path, &[("as", "csv")]).await.text().await.lines().count(), 1, "only the first line is left");
}

#[tokio::test]
async fn a_new_link_ends_the_old_one_and_its_device_at_once() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    assert_eq!(ines.person.get(&ines.home()).await.status(), StatusCode::OK);
    let finder = Person::come_in(&club.base, &ines.secret).await;
    assert_eq!(finder.get(&ines.home()).await.status(), StatusCode::OK, "who finds the link is in");
    let anew = club.driver("27").await;
    for person in [&ines.person, &finder] {
        assert_eq!(person.get(&ines.home()).await.status(), StatusCode::UNAUTHORIZED, "a device of the old link is out");
        let sent = person.post(&format!("{}/areas/brakes", ines.home()), &[("pad-front.lf", "9")]).await;
        assert_eq!(sent.status(), StatusCode::UNAUTHORIZED, "and cannot type");
    }
    let old = Person::stranger(&club.base).get(&format!("/in/{}", ines.secret)).await;
    assert_eq!(old.status(), StatusCode::UNAUTHORIZED);
    assert_eq!(old.header("set-cookie"), "");
    assert!(old.page().await.text().contains("ask the organizer for a new one"), "it says what to do");
    assert_eq!(anew.person.get(&anew.home()).await.status(), StatusCode::OK, "the new one works");
    let marta = club.driver("7").await;
    assert_eq!(anew.person.get(&anew.home()).await.status(), StatusCode::OK, "another driver's new link ends nobody else's");
    drop(marta);
}

#[tokio::test]
async fn an_inspector_taken_back_is_out_with_the_page_still_open() {
    let club = Club::open().await;
    club.driver("27").await.sends(|_| ()).await;
    let (holt, okoro) = (club.inspector("R. Holt").await, club.inspector("P. Okoro").await);
    let car = holt.opens("27").await;
    let people = format!("/club/events/{}/people", club.event);
    let forms = club.forms_for("R. Holt").await;
    let end = forms.iter().find(|form| form.contains("/people/") && form.ends_with("/end")).expect("can be let go");
    assert_eq!(club.organizer.post(end, &[]).await.status(), StatusCode::SEE_OTHER);
    assert_eq!(holt.person.get(&holt.lane()).await.status(), StatusCode::UNAUTHORIZED);
    assert_eq!(holt.person.get(&car.path).await.status(), StatusCode::UNAUTHORIZED);
    assert_eq!(car.clears().await.status(), StatusCode::FORBIDDEN, "the cookie in hand clears nothing");
    assert_eq!(club.board_of("27").await.0, "pending");
    assert_eq!(club.organizer.post(end, &[]).await.status(), StatusCode::NOT_FOUND, "taken back already");
    assert!(club.organizer.get(&people).await.page().await.text().contains("R. Holt let go 07:00"));
    assert_eq!(okoro.clears("27").await.status(), StatusCode::SEE_OTHER, "the other inspector works on");
}

#[tokio::test]
async fn what_an_inspector_did_before_being_taken_back_stays() {
    let club = Club::open().await;
    club.driver("27").await.sends(|_| ()).await;
    let holt = club.inspector("R. Holt").await;
    holt.clears("27").await;
    let end = club.forms_for("R. Holt").await.into_iter().find(|form| form.contains("/people/") && form.ends_with("/end"));
    assert_eq!(club.organizer.post(&end.expect("can be let go"), &[]).await.status(), StatusCode::SEE_OTHER);
    assert_eq!(club.board_of("27").await, ("cleared".into(), "07:00, R. Holt".into()));
}

#[tokio::test]
async fn an_inspector_of_one_event_sees_nothing_of_another() {
    let club = Club::open().await;
    club.driver("27").await.sends(|_| ()).await;
    let entry = club.entry("27").await;
    let autumn = club.another_event("Autumn day").await;
    let visitor = inspector_at(&club, &autumn, "V. Sitor").await;
    let cookie = visitor.cookie(&format!("/gate/{autumn}"));
    assert_eq!(visitor.get(&format!("/gate/{autumn}")).await.status(), StatusCode::OK, "at home");
    assert_eq!(
        visitor.get(&format!("/gate/{}", club.event)).await.status(),
        StatusCode::UNAUTHORIZED,
        "the browser has no cookie"
    );
    let unknown = visitor.get_with(&format!("/gate/{}", club.new_id()), &cookie).await;
    assert_eq!(unknown.status(), StatusCode::NOT_FOUND);
    let unknown = unknown.text().await;
    let spring = &club.event;
    for path in [
        format!("/gate/{spring}"),
        format!("/gate/{spring}?number=27"),
        format!("/gate/{spring}/live"),
        format!("/gate/{spring}/entries/{entry}"),
        format!("/gate/{autumn}/entries/{entry}"),
        format!("/gate/{autumn}/entries/{}", club.new_id()),
        format!("/gate/{autumn}/entries/{entry}/photos/{}", club.new_id()),
    ] {
        let there = visitor.get_with(&path, &cookie).await;
        assert_eq!(there.status(), StatusCode::NOT_FOUND, "{path}");
        assert_eq!(there.text().await, unknown, "{path} answers as if it were not there at all");
    }
    let holt = club.inspector("R. Holt").await;
    let fields = holt.opens("27").await.all_ticked();
    let mut form = pairs(&fields);
    form.extend([("deed", "hold"), ("reason", "mischief")]);
    for path in [sign_offs(&holt, &entry), format!("/gate/{autumn}/entries/{entry}/sign-offs")] {
        let sent = visitor.post_with(&path, &cookie, &form).await;
        assert_eq!(sent.status(), StatusCode::NOT_FOUND, "{path}");
    }
    assert_eq!(club.board_of("27").await.0, "pending");
}

#[tokio::test]
async fn a_secret_that_is_none_opens_nothing_and_all_answer_alike() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let stranger = Person::stranger(&club.base);
    let upper = ines.secret.to_uppercase();
    let mut answers = Vec::new();
    for secret in ["x", "aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa", &ines.secret[1..], &upper, "%00", "%FF", "..%2F..%2Fclub"] {
        let answer = stranger.get(&format!("/in/{secret}")).await;
        assert!(answer.status().is_client_error(), "{secret}: {}", answer.status());
        assert_eq!(answer.header("set-cookie"), "", "{secret}");
        if answer.status() == StatusCode::UNAUTHORIZED {
            answers.push(answer.text().await);
        }
    }
    assert!(answers.len() >= 4 && answers.iter().all(|answer| *answer == answers[0]), "nobody can tell how near a guess was");
}

#[tokio::test]
async fn an_inspector_without_a_name_gets_no_link_and_the_field_says_so() {
    let club = Club::open().await;
    let path = format!("/club/events/{}/people", club.event);
    for name in ["", "   ", &"x".repeat(61), "R.\u{7}Holt"] {
        let sent = club.organizer.post(&path, &[("role", "inspector"), ("name", name)]).await;
        assert_eq!(sent.status(), StatusCode::UNPROCESSABLE_ENTITY, "{name:?}");
        let page = sent.page().await;
        let words = if name.contains('\u{7}') { "hidden character" } else { "Give the name" };
        assert!(page.first(".trouble").contains(words), "{name:?}");
        assert_eq!(page.all("code").len(), 0, "no link was made");
        assert_eq!(page.value_of("input[name=name]"), name.trim(), "what was typed is still there");
    }
}

/// A driver's link and devices end thirty days after the event: no door stays open for years.
#[tokio::test]
async fn a_device_is_out_when_its_time_is_over() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    club.clock.pass(29 * 24 * 60);
    assert_eq!(ines.person.get(&ines.home()).await.status(), StatusCode::OK);
    club.clock.pass(24 * 60);
    assert_eq!(ines.person.get(&ines.home()).await.status(), StatusCode::UNAUTHORIZED);
    assert_eq!(ines.person.get(&format!("/in/{}", ines.secret)).await.status(), StatusCode::UNAUTHORIZED, "nor by the link");
    let inside = [("name", "M. Ashdown"), ("passphrase", crate::club::PASSPHRASE)];
    assert_eq!(club.organizer.post("/sign-in", &inside).await.status(), StatusCode::SEE_OTHER);
    let anew = club.driver("27").await;
    assert_eq!(anew.person.get(&anew.home()).await.status(), StatusCode::OK, "a new link opens it for a day, to read in it");
}
