//! Making an event: every field that cannot be used is named, and everything typed is still there.

use crate::club::Club;
use reqwest::StatusCode;

const GOOD: [(&str, &str); 5] = [
    ("name", "Autumn day"),
    ("venue", "Dunmere Ring"),
    ("day", "2026-10-03"),
    ("zone", "Europe/London"),
    ("groups", "A 08:50\nB 09:20"),
];

async fn edition(club: &Club) -> String {
    club.organizer.get("/club").await.page().await.value_of("select[name=edition] option")
}

#[tokio::test]
async fn a_field_that_cannot_be_used_is_named_and_the_rest_is_kept() {
    let club = Club::open().await;
    let edition = edition(&club).await;
    let long = "x".repeat(81);
    let thirteen = (b'A'..=b'M').map(|letter| format!("{} 09:00\n", char::from(letter))).collect::<String>();
    for (field, text, words) in [
        ("name", "", "Give the event a name"),
        ("name", long.as_str(), "up to 80 characters"),
        ("name", "Autumn\u{7} day", "hidden character, U+0007"),
        ("venue", "  ", "Say where it is"),
        ("day", "3 October", "year-month-day"),
        ("day", "2026-02-30", "year-month-day"),
        ("day", "1899-01-01", "year-month-day"),
        ("zone", "Middle Earth", "time zone by region and city"),
        ("zone", "../../etc/passwd", "time zone by region and city"),
        ("zone", "", "time zone by region and city"),
        ("groups", "", "at least one run group"),
        ("groups", "A", "Line 1: write the group's name and the time"),
        ("groups", "A 08:50\nB 25:00", "Line 2: 25:00 is no time of day"),
        ("groups", "A 08:50\nA 09:20", "group A is there twice"),
        ("groups", &thirteen, "At most 12 run groups"),
        ("groups", "a name of more than twenty letters 08:50", "1 to 20 characters"),
        ("edition", "", "Choose the sheet edition"),
        ("edition", "latest", "Choose the sheet edition"),
        ("edition", "00000000-0000-0000-0000-000000000000", "Choose the sheet edition"),
    ] {
        let mut form: Vec<(&str, &str)> = GOOD.to_vec();
        form.push(("edition", &edition));
        form.iter_mut().filter(|(name, _)| *name == field).for_each(|pair| pair.1 = text);
        let refused = club.organizer.post("/club/events", &form).await;
        assert_eq!(refused.status(), StatusCode::UNPROCESSABLE_ENTITY, "{field} = {text:?}");
        let page = refused.page().await;
        assert_eq!(page.all(".trouble").len(), 1, "{field} = {text:?}: {:?}", page.all(".trouble"));
        assert!(page.first(".trouble").contains(words), "{field} = {text:?}: {}", page.first(".trouble"));
        for (name, typed) in form.iter().filter(|(name, _)| ["name", "venue", "day", "zone"].contains(name)) {
            assert_eq!(page.value_of(&format!("input[name={name}]")), typed.trim(), "{field} = {text:?}: {name} is kept");
        }
        let groups = form.iter().find(|(name, _)| *name == "groups").map_or("", |(_, text)| text);
        assert_eq!(page.raw("textarea[name=groups]"), groups.trim(), "{field} = {text:?}");
    }
    assert_eq!(club.organizer.get("/club").await.page().await.all("ul.events li").len(), 1, "no event was made");
}

#[tokio::test]
async fn everything_wrong_is_named_at_once() {
    let club = Club::open().await;
    let refused = club.organizer.post("/club/events", &[]).await;
    assert_eq!(refused.status(), StatusCode::UNPROCESSABLE_ENTITY);
    assert_eq!(refused.page().await.all(".trouble").len(), 6, "six fields, six sentences");
}

/// Times on pages are the event's own, whatever the clock of the server: New York is on summer time, UTC-4, in May.
#[tokio::test]
async fn an_event_is_read_on_its_own_clock() {
    let club = Club::open().await;
    let mut form: Vec<(&str, &str)> = GOOD.to_vec();
    let edition = edition(&club).await;
    form.extend([("edition", edition.as_str())]);
    form[2] = ("day", "2026-05-09");
    form[3] = ("zone", "America/New_York");
    let made = club.organizer.post("/club/events", &form).await;
    assert_eq!(made.status(), StatusCode::SEE_OTHER);
    let event = made.location().split('/').nth(3).expect("an id").to_owned();
    let board = club.organizer.get(&format!("/club/events/{event}")).await.page().await;
    assert!(board.first(".fresh").contains("As of 02:00"), "06:00 UTC: {}", board.first(".fresh"));
    assert!(
        club.organizer.get(&format!("/club/events/{}", club.event)).await.page().await.first(".fresh").contains("As of 07:00")
    );
}

#[tokio::test]
async fn an_event_that_is_not_there_has_no_pages() {
    let club = Club::open().await;
    let nowhere = club.new_id();
    for path in ["", "/live", "/roster", "/sheet", "/cleared", "/cleared.csv", &format!("/entries/{}", club.entry("27").await)] {
        let answer = club.organizer.get(&format!("/club/events/{nowhere}{path}")).await;
        assert_eq!(answer.status(), StatusCode::NOT_FOUND, "{path}");
        assert!(!answer.page().await.first("h1").is_empty(), "{path}");
    }
    for (path, form) in [("/links", vec![]), ("/people", vec![("name", "R. Holt")])] {
        assert_eq!(club.organizer.post(&format!("/club/events/{nowhere}{path}"), &form).await.status(), StatusCode::NOT_FOUND);
    }
}
