//! What is held on a driver: handed out whole, erased for good, and the history still verifies.

use crate::club::{Club, Person, minutes};
use crate::tools::png;
use reqwest::StatusCode;
use serde_json::Value as Json;
use witnessmark::acts::personal::{Term, keep_the_term};

/// Ines has typed, added a photo, sent; the gate has cleared her; her link let a device in.
async fn a_full_entry(club: &Club) -> String {
    let ines = club.driver("27").await;
    let (path, picture) = (format!("{}/items/photos/photos", ines.home()), png(64, 48));
    let photo = ines.person.upload(&path, "photo", &[("a.png", "image/png", &picture)]).await;
    assert_eq!(photo.status(), StatusCode::SEE_OTHER);
    ines.sends(|_| ()).await;
    club.inspector("R. Holt").await.clears("27").await;
    ines.types("brakes", &[("pad-front.lf", "8.5"), ("pad-front.unit", "mm")]).await;
    ines.entry.clone()
}

async fn verified(club: &Club) -> Result<usize, String> {
    let history = club.organizer.get(&format!("/club/events/{}/history.jsonl", club.event)).await.text().await;
    let records = history.lines().map(|line| serde_json::from_str(line).expect("a record")).collect::<Vec<_>>();
    let count = records.len();
    witnessmark::rules::chain::verify(records).map(|_| count).map_err(|misfit| misfit.to_string())
}

/// Whether the files of the database hold a text anywhere, free pages and journal among them.
pub fn on_disk(club: &Club, text: impl AsRef<[u8]>) -> bool {
    let text = text.as_ref();
    let files = ["sqlite", "sqlite-wal"].map(|ending| std::fs::read(club.database().with_extension(ending)).unwrap_or_default());
    files.iter().any(|bytes| bytes.windows(text.len()).any(|window| window == text))
}

#[tokio::test]
async fn all_that_is_held_on_a_driver_is_handed_out_as_one_file() {
    let club = Club::open().await;
    let entry = a_full_entry(&club).await;
    let path = format!("/club/events/{}/entries/{entry}/data", club.event);
    assert!(club.organizer.get(&path).await.page().await.has("a[href$='data.json']"));
    let file = club.organizer.get(&format!("{path}.json")).await;
    assert!(file.header("content-disposition").starts_with("attachment"));
    let held: Json = file.json().await;
    assert_eq!(held["entry"]["driver"], "Ines Okafor");
    assert_eq!(held["entry"]["mail"], "ines@example.org");
    assert_eq!(held["links"][0]["devices"][0]["until"], "2026-06-07T23:00:00Z");
    assert_eq!(held["typed_and_not_sent"]["pad-front"]["lf"], "8.5");
    let kinds: Vec<&str> = held["history"].as_array().expect("a list").iter().filter_map(|one| one["kind"].as_str()).collect();
    assert_eq!(kinds, ["submission", "clear"]);
    let photo = held["photos"][0]["jpeg_base64"].as_str().expect("a photo");
    let jpeg = data_encoding::BASE64.decode(photo.as_bytes()).expect("base64");
    assert_eq!(jpeg[..3], [0xFF, 0xD8, 0xFF], "a JPEG that anybody can open");
    assert!(!held.to_string().contains("digest"), "no secret, not even its digest");
}

#[tokio::test]
async fn erased_is_erased_on_the_pages_in_the_files_and_in_the_proof() {
    let club = Club::open().await;
    let entry = a_full_entry(&club).await;
    let before = verified(&club).await.expect("it verifies before");
    let history = club.organizer.get(&format!("/club/events/{}/history.jsonl", club.event)).await;
    assert!(history.text().await.contains("Ines Okafor") && on_disk(&club, "Ines Okafor"));
    let path = format!("/club/events/{}/entries/{entry}/data", club.event);
    let unsure = club.organizer.post(&format!("{path}/erase"), &[("number", "7")]).await;
    assert_eq!(unsure.status(), StatusCode::UNPROCESSABLE_ENTITY, "the wrong car");
    assert_eq!(club.organizer.post(&format!("{path}/erase"), &[("number", "27")]).await.status(), StatusCode::SEE_OTHER);

    assert_eq!(verified(&club).await, Ok(before), "every record is there, and fits");
    for page in [
        "",
        "/roster",
        "/cleared",
        "/cleared.csv",
        "/history.jsonl",
        &format!("/entries/{entry}"),
        &format!("/entries/{entry}/data.json"),
    ] {
        let text = club.organizer.get(&format!("/club/events/{}{page}", club.event)).await.text().await;
        assert!(!text.contains("Ines") && !text.contains("ines@"), "{page} still names her");
    }
    assert_eq!(club.board_of("27").await, ("cleared".into(), "07:00, R. Holt".into()), "the car stands where it stood");
    let held: Json = club.organizer.get(&format!("{path}.json")).await.json().await;
    assert_eq!((held["photos"].clone(), held["typed_and_not_sent"].clone()), (serde_json::json!([]), serde_json::json!({})));
    assert!(club.organizer.get(&path).await.page().await.text().contains("Erased 2026-05-09"));
    club.close().await;
    assert!(!on_disk(&club, "Ines Okafor") && !on_disk(&club, "ines@example.org"), "not on the disk, not even in a free page");
    assert!(on_disk(&club, "Marta Lindqvist"), "the others are");
}

#[tokio::test]
async fn an_erased_driver_is_out_and_gets_no_new_link_by_accident() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let path = format!("/club/events/{}/entries/{}/data/erase", club.event, ines.entry);
    club.organizer.post(&path, &[("number", "27")]).await;
    assert_eq!(ines.person.get(&ines.home()).await.status(), StatusCode::UNAUTHORIZED);
    let made = club.organizer.post(&format!("/club/events/{}/links", club.event), &[("which", "all")]).await.page().await;
    assert_eq!(made.all("code").len(), 3, "the other three");
    let twice = club.organizer.post(&path, &[("number", "27")]).await;
    assert_eq!(twice.status(), StatusCode::SEE_OTHER, "erasing twice changes nothing");
}

#[tokio::test]
async fn the_clubs_term_erases_drivers_by_itself_and_leaves_who_cleared_them() {
    let club = Club::with(None, |web| web.keeping(Term::Days(30))).await;
    a_full_entry(&club).await;
    let says = Person::stranger(&club.base).get("/privacy").await.page().await.text();
    assert!(says.contains("30 days after the event, then they are erased by themselves"), "{says}");
    club.clock.pass(minutes(30 * 24 * 60).as_mins());
    assert_eq!(keep_the_term(&club.house, Term::Days(30)).await.expect("kept"), 0, "the thirtieth day");
    club.clock.pass(24 * 60);
    assert_eq!(keep_the_term(&club.house, Term::UntilErased).await.expect("kept"), 0, "a club without a term");
    assert_eq!(keep_the_term(&club.house, Term::Days(30)).await.expect("kept"), 4);
    assert_eq!(keep_the_term(&club.house, Term::Days(30)).await.expect("kept"), 0, "once");
    club.close().await;
    assert!(!on_disk(&club, "Ines Okafor"));
    assert!(on_disk(&club, "R. Holt"), "who cleared a car answers for it");
}

#[tokio::test]
async fn without_a_term_the_page_says_until_an_organizer_erases() {
    let club = Club::open().await;
    let says = Person::stranger(&club.base).get("/privacy").await.page().await.text();
    assert!(says.contains("until an organizer erases them"), "{says}");
}
