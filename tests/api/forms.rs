//! What every form has in common: other content types are 415, too much is 413, other encodings are 422, and words that
//! come from a person stand on a page as words.

use crate::club::{Club, Person};
use crate::tools::png;
use reqwest::StatusCode;

/// Every form of the three roles, with whether it takes a file.
fn forms<'p>(club: &'p Club, driver: &'p Person, inspector: &'p Person, entry: &str) -> Vec<(&'p Person, String, bool)> {
    let event = &club.event;
    vec![
        (driver, format!("/my/{entry}/areas/brakes"), false),
        (driver, format!("/my/{entry}/units"), false),
        (driver, format!("/my/{entry}/submissions"), false),
        (driver, format!("/my/{entry}/items/photos/photos"), true),
        (inspector, format!("/gate/{event}/entries/{entry}/sign-offs"), false),
        (&club.organizer, "/club/events".into(), false),
        (&club.organizer, format!("/club/events/{event}/roster"), true),
        (&club.organizer, format!("/club/events/{event}/links"), false),
        (&club.organizer, format!("/club/events/{event}/people"), false),
        (&club.organizer, format!("/club/events/{event}/sheet"), false),
        (&club.organizer, format!("/club/events/{event}/sheet/editions"), false),
        (&club.organizer, format!("/club/events/{event}/entries/{entry}/withdrawals"), false),
    ]
}

#[tokio::test]
async fn what_is_not_sent_as_a_form_is_415_everywhere() {
    let club = Club::open().await;
    let (ines, holt) = (club.driver("27").await, club.inspector("R. Holt").await);
    for (person, path, takes_a_file) in forms(&club, &ines.person, &holt.person, &ines.entry) {
        for kind in ["text/plain", "application/xml", "image/png", "x"] {
            let sent = person.post_bytes(&path, kind, "name=x").await;
            assert_eq!(sent.status(), StatusCode::UNSUPPORTED_MEDIA_TYPE, "{path} as {kind}");
            assert!(sent.page().await.first("p:not(.brand)").contains("form"), "{path} as {kind}: it says what is wanted");
        }
        if takes_a_file {
            let sent = person.post(&path, &[("name", "x")]).await;
            assert_eq!(sent.status(), StatusCode::UNSUPPORTED_MEDIA_TYPE, "{path} as a form without a file");
        } else {
            let sent = person.upload(&path, "photo", &[("a.png", "image/png", &png(2, 2))]).await;
            assert_eq!(sent.status(), StatusCode::UNSUPPORTED_MEDIA_TYPE, "{path} with a file");
        }
    }
}

#[tokio::test]
async fn a_form_too_large_is_413_everywhere() {
    let club = Club::open().await;
    let (ines, holt) = (club.driver("27").await, club.inspector("R. Holt").await);
    let form = format!("name={}", "x".repeat(14_000_000));
    for (person, path, takes_a_file) in forms(&club, &ines.person, &holt.person, &ines.entry) {
        if takes_a_file {
            continue;
        }
        let sent = person.post_bytes(&path, "application/x-www-form-urlencoded", form.clone()).await;
        assert_eq!(sent.status(), StatusCode::PAYLOAD_TOO_LARGE, "{path}");
        assert!(sent.page().await.text().contains("too large"), "{path}");
    }
}

#[tokio::test]
async fn other_encodings_and_nul_are_422_everywhere_and_change_nothing() {
    let club = Club::open().await;
    let (ines, holt) = (club.driver("27").await, club.inspector("R. Holt").await);
    ines.sends(|_| ()).await;
    holt.clears("27").await;
    let id = club.new_id();
    for (person, path, takes_a_file) in forms(&club, &ines.person, &holt.person, &ines.entry) {
        if takes_a_file {
            continue;
        }
        for text in ["J%F6rg", "J\u{f6}rg", "%ED%A0%80", "a%00b"] {
            let text: Vec<u8> =
                text.chars().map(|letter| u8::try_from(u32::from(letter)).expect("a letter of latin-1")).collect();
            let body = [format!("id={id}&seen=&edition={id}&deed=hold&as=&name=").as_bytes(), &text, b"&reason=", &text].concat();
            let sent = person.post_bytes(&path, "application/x-www-form-urlencoded", body).await;
            assert_eq!(sent.status(), StatusCode::UNPROCESSABLE_ENTITY, "{path}: {}", String::from_utf8_lossy(&text));
            assert!(sent.page().await.text().contains("type it again"), "{path}: it says what to do");
        }
    }
    assert_eq!(club.board_of("27").await.0, "cleared", "nothing was held or taken back");
    assert_eq!(club.house.store.count_records().await.expect("a count"), 2);
}

/// Names, notes and reasons are words of people, some of whom are clever.
#[tokio::test]
async fn what_people_write_is_shown_as_words_and_never_as_marks_of_the_page() {
    let club = Club::open().await;
    const CLEVER: &str = "</textarea><script>alert(1)</script><img src=x onerror=alert(2)>\"'";
    let roster = format!("number,name,car,group\n66,\"{0}\",\"{0}\",A\n", "<script>alert(1)</script>'");
    assert_eq!(club.take_roster(&roster).await.status(), StatusCode::SEE_OTHER);
    let driver = club.driver("66").await;
    driver
        .sends(|answers| {
            answers["oil-leak"]["note"] = serde_json::json!(CLEVER);
            answers["tyre-marking"]["value"] = serde_json::json!("<b>225</b>");
            answers["pad-front"]["at"]["lf"] = serde_json::json!(2.1);
        })
        .await;
    driver.types("engine", &[("coolant-leak.note", CLEVER)]).await;
    driver.types("brakes", &[("pad-front.lf", "\"><script>alert(1)</script>")]).await;
    let holt = club.inspector("<script>alert(1)</script>").await;
    holt.holds("66", CLEVER).await;
    let car = holt.opens("66").await;
    let long = format!("{CLEVER}{}", "x".repeat(400));
    let came_back = car.holds(&long).await.page().await;
    assert_eq!(came_back.raw("textarea[name=reason]"), long, "letter by letter");
    let (event, entry) = (&club.event, &driver.entry);
    let mut pages = vec![(came_back, "the page that came back".to_owned())];
    for (person, path) in [
        (&club.organizer, format!("/club/events/{event}")),
        (&club.organizer, format!("/club/events/{event}?find=</script><script>alert(1)</script>")),
        (&club.organizer, format!("/club/events/{event}/roster")),
        (&club.organizer, format!("/club/events/{event}/entries/{entry}")),
        (&holt.person, holt.lane()),
        (&holt.person, format!("{}?number=<script>", holt.lane())),
        (&holt.person, car.path.clone()),
        (&driver.person, driver.home()),
        (&driver.person, format!("{}/areas/engine", driver.home())),
        (&driver.person, format!("{}/areas/brakes", driver.home())),
    ] {
        pages.push((person.get(&path).await.page().await, path));
    }
    for (page, what) in pages {
        assert!(!page.has("script:not([src])") && !page.has("img[onerror]") && !page.has("dd b, h1 b"), "{what}");
    }
}
