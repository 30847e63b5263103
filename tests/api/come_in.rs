//! One-time links: an inspector's phone is let in once, whoever else has the link is told, and a lost phone is a small matter.

use crate::club::{Club, PASSPHRASE, Person, minutes};
use reqwest::StatusCode;

#[tokio::test]
async fn a_one_time_link_lets_one_phone_in_and_tells_the_second_holder_that_it_is_used() {
    let club = Club::open().await;
    let secret = club.link_for("inspector", "R. Holt").await;
    let holt = Person::come_in(&club.base, &secret).await;
    assert_eq!(holt.get(&format!("/gate/{}", club.event)).await.status(), StatusCode::OK);
    let second = Person::stranger(&club.base);
    let told = second.get(&format!("/in/{secret}")).await;
    assert_eq!(told.status(), StatusCode::CONFLICT);
    let words = told.page().await.text();
    assert!(words.contains("It has let a device in already") && words.contains("tell the organizer now"), "{words}");
    assert_eq!(second.post(&format!("/in/{secret}"), &[]).await.status(), StatusCode::CONFLICT, "nor by a post");
}

/// Mail programs and chat programs look at a link before a person does.
#[tokio::test]
async fn a_program_that_looks_at_a_link_does_not_spend_it() {
    let club = Club::open().await;
    let secret = club.link_for("inspector", "R. Holt").await;
    for _ in 0..5 {
        let seen = Person::stranger(&club.base).get(&format!("/in/{secret}")).await;
        assert_eq!(seen.status(), StatusCode::OK);
        assert!(seen.page().await.text().contains("R. Holt 's phone for the gate?"));
    }
    Person::come_in(&club.base, &secret).await;
}

/// The phone has sent its tap, the server has let it in, and the answer never arrives: it taps again.
#[tokio::test]
async fn a_phone_whose_answer_was_lost_on_the_way_taps_again_and_is_in() {
    let club = Club::open().await;
    let secret = club.link_for("inspector", "R. Holt").await;
    let door = format!("/in/{secret}");
    let phone = Person::stranger(&club.base);
    phone.get(&door).await;
    let first = phone.post(&door, &[]).await.header("set-cookie");
    let again = phone.post(&door, &[]).await;
    assert_eq!((again.status(), again.header("set-cookie")), (StatusCode::SEE_OTHER, first), "the same device, let in once");
    let devices = club.forms_for("R. Holt").await.into_iter().filter(|form| form.contains("/devices/")).count();
    assert_eq!(devices, 1);
    let other = Person::stranger(&club.base);
    assert_eq!(other.post(&door, &[]).await.status(), StatusCode::CONFLICT, "a browser that never looked");
}

#[tokio::test]
async fn two_who_tap_the_same_link_at_the_same_instant_are_not_both_let_in() {
    let club = Club::open().await;
    for _ in 0..10 {
        let secret = club.link_for("inspector", &club.new_id()).await;
        let door = format!("/in/{secret}");
        let (one, other) = (Person::stranger(&club.base), Person::stranger(&club.base));
        tokio::join!(one.get(&door), other.get(&door));
        let (first, second) = tokio::join!(one.post(&door, &[]), other.post(&door, &[]));
        let mut ends = [first.status(), second.status()];
        ends.sort();
        assert_eq!(ends, [StatusCode::SEE_OTHER, StatusCode::CONFLICT]);
    }
}

#[tokio::test]
async fn a_lost_phone_is_ended_and_a_new_one_comes_in_under_the_same_name() {
    let club = Club::open().await;
    club.driver("27").await.sends(|_| ()).await;
    let holt = club.inspector("R. Holt").await;
    let car = holt.opens("27").await;
    let end = club.forms_for("R. Holt").await.into_iter().find(|form| form.contains("/devices/")).expect("the phone is listed");
    assert_eq!(club.organizer.post(&end, &[]).await.status(), StatusCode::SEE_OTHER);
    assert_eq!(holt.person.get(&holt.lane()).await.status(), StatusCode::UNAUTHORIZED, "out at once");
    assert_eq!(car.clears().await.status(), StatusCode::FORBIDDEN, "whoever found it clears nothing");
    assert_eq!(club.board_of("27").await.0, "pending");
    assert_eq!(club.organizer.post(&end, &[]).await.status(), StatusCode::NOT_FOUND, "it is ended already");
    let anew = Person::come_in(&club.base, &club.another_link_for("R. Holt").await).await;
    assert_eq!(anew.get(&holt.lane()).await.status(), StatusCode::OK);
    let people = club.organizer.get(&format!("/club/events/{}/people", club.event)).await.page().await;
    assert_eq!(people.all(".people > li > b").iter().filter(|name| *name == "R. Holt").count(), 1, "one person, two phones");
}

#[tokio::test]
async fn a_second_phone_of_an_inspector_leaves_the_first_in() {
    let club = Club::open().await;
    let holt = club.inspector("R. Holt").await;
    let unused = club.another_link_for("R. Holt").await;
    let newer = club.another_link_for("R. Holt").await;
    assert_eq!(Person::stranger(&club.base).get(&format!("/in/{unused}")).await.status(), StatusCode::UNAUTHORIZED);
    let second = Person::come_in(&club.base, &newer).await;
    for phone in [&holt.person, &second] {
        assert_eq!(phone.get(&holt.lane()).await.status(), StatusCode::OK);
    }
}

#[tokio::test]
async fn a_gate_phone_is_out_when_the_event_is_over() {
    let club = Club::open().await;
    let holt = club.inspector("R. Holt").await;
    let unused = club.link_for("inspector", "Late Comer").await;
    club.clock.pass(40 * 60);
    assert_eq!(holt.person.get(&holt.lane()).await.status(), StatusCode::OK, "Sunday evening");
    club.clock.pass(2 * 60);
    assert_eq!(holt.person.get(&holt.lane()).await.status(), StatusCode::UNAUTHORIZED);
    assert_eq!(Person::stranger(&club.base).get(&format!("/in/{unused}")).await.status(), StatusCode::UNAUTHORIZED);
}

#[tokio::test]
async fn a_marshals_link_shows_the_cars_on_several_phones_and_changes_nothing() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    ines.sends(|_| ()).await;
    let holt = club.inspector("R. Holt").await;
    holt.clears("27").await;
    holt.holds("7", "Oil at the gearbox.").await;
    let secret = club.link_for("marshal", "Pit exit").await;
    let grid = format!("/grid/{}", club.event);
    for _ in 0..2 {
        let marshal = Person::come_in(&club.base, &secret).await;
        let says = async |number: &str| {
            let page = marshal.get(&format!("{grid}?number={number}")).await.page().await;
            (page.first("[data-answer] h1"), page.first("[data-answer] .big"))
        };
        assert_eq!(says("27").await, ("27 Cleared".into(), "Group B".into()));
        assert_eq!(says("7").await, ("7 Not cleared".into(), "held at the gate: Oil at the gearbox.".into()));
        assert_eq!(says("12").await, ("12 Not cleared".into(), "no sheet was sent".into()));
        assert_eq!(says("114b").await.0, "114B Not cleared");
        assert_eq!(says("99").await, ("No car 99".into(), "It is not entered in this event.".into()));
        let cookie = marshal.cookie(&grid);
        let sign_offs = format!("/gate/{}/entries/{}/sign-offs", club.event, ines.entry);
        let form = [("id", club.new_id()), ("seen", String::new()), ("deed", "hold".into()), ("reason", "mischief".into())];
        let form: Vec<(&str, &str)> = form.iter().map(|(name, text)| (*name, text.as_str())).collect();
        assert_eq!(marshal.post_with(&sign_offs, &cookie, &form).await.status(), StatusCode::UNAUTHORIZED);
    }
    assert_eq!(club.board_of("27").await.0, "cleared");
}

#[tokio::test]
async fn on_another_day_the_marshals_page_says_so_above_everything() {
    let club = Club::open().await;
    let marshal = Person::come_in(&club.base, &club.link_for("marshal", "Pit exit").await).await;
    let grid = format!("/grid/{}", club.event);
    assert!(!marshal.get(&grid).await.page().await.has(".alert"));
    club.clock.pass(minutes(17 * 60).as_mins());
    assert!(marshal.get(&grid).await.page().await.first(".alert").contains("Saturday 9 May 2026"), "it is Sunday");
}

#[tokio::test]
async fn every_drivers_link_is_ended_or_made_anew_at_once() {
    let club = Club::open().await;
    let (ines, marta) = (club.driver("27").await, club.driver("7").await);
    ines.types("brakes", &[("pad-front.lf", "9"), ("pad-front.unit", "mm")]).await;
    let links = format!("/club/events/{}/links", club.event);
    let made = club.organizer.post(&links, &[("which", "all"), ("as", "csv")]).await.text().await;
    assert_eq!(made.lines().count(), 5, "four drivers");
    for driver in [&ines, &marta] {
        assert_eq!(driver.person.get(&driver.home()).await.status(), StatusCode::UNAUTHORIZED);
    }
    let line = made.lines().find(|line| line.starts_with("\"27\",")).expect("car 27");
    let anew = Person::come_in(&club.base, line.rsplit("/in/").next().expect("a secret").trim_matches('"')).await;
    let page = anew.get(&format!("{}/areas/brakes", ines.home())).await.page().await;
    assert_eq!(page.value_of("input[name='pad-front.lf']"), "9", "what was typed stays");
    assert_eq!(club.organizer.post(&format!("{links}/end"), &[]).await.status(), StatusCode::SEE_OTHER);
    assert_eq!(anew.get(&ines.home()).await.status(), StatusCode::UNAUTHORIZED);
    let one = format!("/club/events/{}/entries/{}/links/end", club.event, ines.entry);
    let again = club.driver("27").await;
    assert_eq!(club.organizer.post(&one, &[]).await.status(), StatusCode::SEE_OTHER);
    assert_eq!(again.person.get(&again.home()).await.status(), StatusCode::UNAUTHORIZED, "one by one, too");
}

#[tokio::test]
async fn the_set_up_link_is_made_anew_until_somebody_has_used_it() {
    use witnessmark::acts::set_up::set_up;
    let folder = tempfile::TempDir::new().expect("a folder");
    let path = folder.path().join("club.sqlite");
    let house = std::sync::Arc::new(witnessmark::acts::House::open(&path, crate::club::Still::new()).await.expect("a database"));
    let lost = set_up(&house, "Seven Fells", "M. Ashdown").await.expect("a set-up").expect("a link");
    let found = set_up(&house, "Another name", "M. Ashdown").await.expect("a set-up").expect("a link again: nobody has used it");
    let listener = witnessmark::listen::bind(([127, 0, 0, 1], 0).into()).expect("a port");
    let base = format!("http://localhost:{}", listener.local_addr().expect("an address").port());
    let web = witnessmark::web::Web::new(house.clone(), &base);
    crate::club::serve(listener, web.clone());
    let gone = Person::stranger(&base).get(&format!("/in/{}", lost.secret)).await;
    assert_eq!(gone.status(), StatusCode::UNAUTHORIZED, "the lost one lets nobody in");
    let ashdown = Person::come_in(&base, &found.secret).await;
    assert_eq!(ashdown.get("/club").await.page().await.first(".where"), "Seven Fells", "the club keeps its first name");
    assert!(set_up(&house, "Seven Fells", "M. Ashdown").await.expect("a set-up").is_none(), "from now on there is none");
    let used = Person::stranger(&base).get(&format!("/in/{}", found.secret)).await;
    assert_eq!(used.status(), StatusCode::CONFLICT);
    let again = Person::stranger(&base);
    again.get(&format!("/in/{}", found.secret)).await;
    let sets = [("sets", "passphrase"), ("passphrase", PASSPHRASE)];
    assert!(again.post(&format!("/in/{}", found.secret), &sets).await.status().is_client_error(), "nobody sets it again");
}
