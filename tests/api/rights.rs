//! What is not yours is not there: another driver's entry, another role's pages, and an id that nobody has answer alike.

use crate::club::{Club, Driver, Person};
use crate::tools::{file_of, png, submissions};
use reqwest::StatusCode;

/// Every page of an entry that only its driver may read.
fn pages_of(entry: &str, id: &str) -> [String; 4] {
    [format!("/my/{entry}"), format!("/my/{entry}/live"), format!("/my/{entry}/areas/brakes"), format!("/my/{entry}/photos/{id}")]
}

async fn cookie_of(driver: &Driver<'_>) -> String {
    Person::cookie_by(&driver.club.base, &driver.secret).await
}

#[tokio::test]
async fn a_driver_finds_nothing_of_another_drivers_entry() {
    let club = Club::open().await;
    let (ines, marta) = (club.driver("27").await, club.driver("7").await);
    let cookie = cookie_of(&marta).await;
    let (nobody, id) = (club.new_id(), club.new_id());
    for (theirs, unknown) in pages_of(&ines.entry, &id).into_iter().zip(pages_of(&nobody, &id)) {
        let (theirs, unknown) = (marta.person.get_with(&theirs, &cookie).await, marta.person.get_with(&unknown, &cookie).await);
        assert_eq!((theirs.status(), unknown.status()), (StatusCode::NOT_FOUND, StatusCode::NOT_FOUND));
        assert_eq!(theirs.text().await, unknown.text().await, "the two cannot be told apart");
    }
}

#[tokio::test]
async fn a_driver_cannot_type_or_send_or_add_a_photo_for_another() {
    let club = Club::open().await;
    let (ines, marta) = (club.driver("27").await, club.driver("7").await);
    let cookie = cookie_of(&marta).await;
    let typed = [("pad-front.lf", "9"), ("pad-front.rf", "9"), ("pad-front.unit", "mm")];
    let sent = marta.person.post_with(&format!("{}/areas/brakes", ines.home()), &cookie, &typed).await;
    assert_eq!(sent.status(), StatusCode::NOT_FOUND);
    let file = file_of(&ines, |_| ()).await;
    let to = |path: String| marta.person.client.post(marta.person.url(&path)).header("cookie", &cookie);
    assert_eq!(marta.person.send(to(submissions(&ines)).json(&file)).await.status(), StatusCode::NOT_FOUND);
    let form = [("id", club.new_id()), ("seen", String::new()), ("edition", file["edition"].as_str().unwrap_or("").to_owned())];
    assert_eq!(marta.person.send(to(submissions(&ines)).form(&form)).await.status(), StatusCode::NOT_FOUND);
    let picture = reqwest::multipart::Form::new().part("photo", reqwest::multipart::Part::bytes(png(8, 8)).file_name("a.png"));
    let path = format!("{}/items/photos/photos", ines.home());
    assert_eq!(marta.person.send(to(path).multipart(picture)).await.status(), StatusCode::NOT_FOUND);
    let page = ines.person.get(&format!("{}/areas/brakes", ines.home())).await.page().await;
    assert_eq!(page.value_of("input[name='pad-front.lf']"), "", "nothing was typed for her");
    assert_eq!(club.board_of("27").await.1, "nothing sent");
}

/// The same car number at two events: a link is for one entry, not for a person.
#[tokio::test]
async fn a_drivers_link_is_for_one_event() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let autumn = club.another_event("Autumn day").await;
    let form = reqwest::multipart::Form::new().text("text", "number,name,car,group\n27,Ines Okafor,Corvane S4,B\n");
    let roster = format!("/club/events/{autumn}/roster");
    club.organizer.send(club.organizer.client.post(club.organizer.url(&roster)).multipart(form)).await;
    let page = club.organizer.get(&roster).await.page().await;
    let entry = page.attr("table.cars tbody a", "href").rsplit('/').next().expect("an id").to_owned();
    assert_ne!(entry, ines.entry);
    let there = ines.person.get_with(&format!("/my/{entry}"), &cookie_of(&ines).await).await;
    assert_eq!(there.status(), StatusCode::NOT_FOUND);
    let mixed = format!("/club/events/{autumn}/entries/{}", ines.entry);
    assert_eq!(club.organizer.get(&mixed).await.status(), StatusCode::NOT_FOUND, "an entry under another event is not there");
    let form = [("id", club.new_id()), ("seen", String::new()), ("reason", "mischief".to_owned())];
    let form: Vec<(&str, &str)> = form.iter().map(|(name, text)| (*name, text.as_str())).collect();
    assert_eq!(club.organizer.post(&format!("{mixed}/withdrawals"), &form).await.status(), StatusCode::NOT_FOUND);
    assert_eq!(club.organizer.post(&format!("{mixed}/links"), &[]).await.status(), StatusCode::NOT_FOUND);
    assert_eq!(ines.person.get(&ines.home()).await.status(), StatusCode::OK, "her link did not end");
}

#[tokio::test]
async fn nobody_reaches_the_pages_of_another_role() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let holt = club.inspector("R. Holt").await;
    let (event, entry) = (&club.event, &ines.entry);
    let (driver, inspector) = (cookie_of(&ines).await, holt.person.cookie(&holt.lane()));
    let organizers = [
        "/club".to_owned(),
        format!("/club/events/{event}"),
        format!("/club/events/{event}/live"),
        format!("/club/events/{event}/roster"),
        format!("/club/events/{event}/sheet"),
        format!("/club/events/{event}/entries/{entry}"),
        format!("/club/events/{event}/cleared"),
        format!("/club/events/{event}/cleared.csv"),
    ];
    let inspectors = [holt.lane(), format!("{}/live", holt.lane()), format!("{}/entries/{entry}", holt.lane())];
    let stranger = Person::stranger(&club.base);
    for path in &organizers {
        assert_eq!(stranger.get_with(path, &driver).await.status(), StatusCode::UNAUTHORIZED, "a driver at {path}");
        assert_eq!(stranger.get_with(path, &inspector).await.status(), StatusCode::UNAUTHORIZED, "an inspector at {path}");
        assert_eq!(stranger.get(path).await.status(), StatusCode::UNAUTHORIZED, "a stranger at {path}");
    }
    for path in &inspectors {
        assert_eq!(stranger.get_with(path, &driver).await.status(), StatusCode::UNAUTHORIZED, "a driver at {path}");
        assert_eq!(stranger.get(path).await.status(), StatusCode::UNAUTHORIZED, "a stranger at {path}");
    }
    for path in pages_of(entry, &club.new_id()) {
        let page = stranger.get_with(&path, &inspector).await;
        assert_eq!(page.status(), StatusCode::UNAUTHORIZED, "an inspector at {path}");
        assert_eq!(stranger.get(&path).await.status(), StatusCode::UNAUTHORIZED, "a stranger at {path}");
    }
}

#[tokio::test]
async fn no_deed_is_done_with_another_roles_cookie() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    ines.sends(|_| ()).await;
    let holt = club.inspector("R. Holt").await;
    holt.clears("27").await;
    let (event, entry) = (&club.event, &ines.entry);
    let (driver, inspector) = (cookie_of(&ines).await, holt.person.cookie(&holt.lane()));
    let id = club.new_id();
    let withdrawal: Vec<(&str, &str)> = ["id", "edition"]
        .map(|name| (name, id.as_str()))
        .into_iter()
        .chain([("seen", ""), ("reason", "mischief"), ("deed", "hold"), ("name", "X"), ("file", "x")])
        .collect();
    let stranger = Person::stranger(&club.base);
    let deeds = [
        "/club/events".to_owned(),
        format!("/club/events/{event}/links"),
        format!("/club/events/{event}/people"),
        format!("/club/events/{event}/sheet"),
        format!("/club/events/{event}/sheet/editions"),
        format!("/club/events/{event}/people/{id}/end"),
        format!("/club/events/{event}/links/end"),
        format!("/club/events/{event}/entries/{entry}/withdrawals"),
        format!("/club/events/{event}/entries/{entry}/links"),
    ];
    for path in &deeds {
        for (who, cookie) in [("a driver", &driver), ("an inspector", &inspector)] {
            assert_eq!(stranger.post_with(path, cookie, &withdrawal).await.status(), StatusCode::UNAUTHORIZED, "{who} at {path}");
        }
        assert_eq!(stranger.post_with(path, "", &withdrawal).await.status(), StatusCode::UNAUTHORIZED, "a stranger at {path}");
    }
    let gate = format!("/gate/{event}/entries/{entry}/sign-offs");
    assert_eq!(stranger.post_with(&gate, &driver, &withdrawal).await.status(), StatusCode::UNAUTHORIZED, "a driver at the gate");
    assert_eq!(club.board_of("27").await.0, "cleared", "nothing was done");
    assert_eq!(club.history_of("27").await.len(), 2);
}
