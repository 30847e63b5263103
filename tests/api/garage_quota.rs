//! Garages have bounds and ends: two from a link, so many bytes each, seen from outside by organizers, and over one day.

use crate::club::{Club, Keeper, Person};
use crate::privacy::on_disk;
use reqwest::StatusCode;
use witnessmark::acts::garage::ends::keep_the_term;
use witnessmark::store::{StoreError, Touch};
use witnessmark::verify::{self, Kept};

const DAY_MIN: i64 = 24 * 60;

async fn opens_another(club: &Club, driver: &crate::club::Driver<'_>) -> crate::club::Answer {
    let form = [("deed", "open".to_owned()), ("id", club.new_id())];
    let form = form.each_ref().map(|(name, text)| (*name, text.as_str()));
    driver.person.post(&format!("{}/garage", driver.home()), &form).await
}

/// The rows of the organizers' table.
async fn rows(club: &Club) -> Vec<String> {
    club.organizer.get("/club/garages").await.page().await.all("table.garages tbody tr")
}

async fn end_path(club: &Club) -> String {
    club.organizer.get("/club/garages").await.page().await.attr("table.garages a[href$='/end']", "href")
}

async fn writes(club: &Club, sql: &'static str) {
    let done = club.house.store.write::<(), StoreError, _>(Touch::Access, move |db| {
        Box::pin(async move { Ok(sqlx::query(sql).execute(&mut **db).await.map(drop)?) })
    });
    done.await.expect("it is written");
}

#[tokio::test]
async fn two_garages_are_opened_from_a_link_and_a_third_is_refused_with_the_way_back() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let first = club.new_id();
    let form = [("deed", "open"), ("id", first.as_str())];
    assert_eq!(ines.person.post(&format!("{}/garage", ines.home()), &form).await.status(), StatusCode::OK);
    let again = ines.person.post(&format!("{}/garage", ines.home()), &form).await;
    assert_eq!(again.status(), StatusCode::SEE_OTHER, "the same page sent twice opens one");
    assert_eq!(opens_another(&club, &ines).await.status(), StatusCode::OK);
    for _ in 0..3 {
        let third = opens_another(&club, &ines).await;
        assert_eq!(third.status(), StatusCode::CONFLICT);
        let text = third.page().await.text();
        assert!(text.contains("Open the one that you have") && text.contains("by its link"), "{text}");
    }
    assert_eq!(rows(&club).await.len(), 2);
    // Somebody else's link, and her own after it was made anew, have two of their own.
    assert_eq!(opens_another(&club, &club.driver("7").await).await.status(), StatusCode::OK);
    assert_eq!(opens_another(&club, &club.driver("27").await).await.status(), StatusCode::OK);
}

#[tokio::test]
async fn a_garage_that_is_full_says_so_at_the_form_and_keeps_what_was_typed() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let keeper = ines.opens_a_garage().await;
    writes(
        &club,
        "insert into garage_change (id, garage_id, place, body, made_at)
         select randomblob(16), id, (select max(place) from garage_change) + 1,
             json_object('kind', 'gear-gone', 'gear', '00000000-0000-7000-8000-000000000000', 'x', printf('%.*c', 7999000, 'x')), 0
         from garage",
    )
    .await;
    let note = "x".repeat(200);
    let form = [("day", "2026-05-09"), ("sessions", "5"), ("minutes", "100"), ("note", note.as_str())];
    let mut full = None;
    for _ in 0..20 {
        let answer = keeper.posts(&format!("/cars/{}/track", keeper.car), &club.new_id(), &form).await;
        if answer.status() != StatusCode::SEE_OTHER {
            full = Some(answer);
            break;
        }
    }
    let full = full.expect("it is full at last");
    assert_eq!(full.status(), StatusCode::PAYLOAD_TOO_LARGE);
    let page = full.page().await;
    assert!(page.first("[role=alert]").contains("at most 8 MB of notes"), "{}", page.text());
    assert_eq!(page.value_of("input[name=note]"), note, "what was typed is still there");
    assert_eq!(page.value_of("input[name=minutes]"), "100");
    assert_eq!(keeper.looks("/keep/garage.json").await.status(), StatusCode::OK, "and the file can be taken");
}

#[tokio::test]
async fn organizers_see_size_and_age_and_the_sheet_and_nothing_that_is_in_it() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let keeper = ines.opens_a_garage().await;
    keeper.has_to("A secret leak").await;
    let page = club.organizer.get("/club/garages").await.page().await;
    let rows = page.all("table.garages tbody tr");
    assert_eq!(rows.len(), 1);
    for words in ["2026-05-09", "Car 27, Ines Okafor, Spring day", "kB", "2028-05-09, if nobody opens it"] {
        assert!(rows[0].contains(words), "{words}: {}", rows[0]);
    }
    let text = club.organizer.get("/club/garages").await.text().await;
    assert!(!text.contains("secret leak") && !text.contains(&keeper.car), "nothing of what is in it");
    for path in [keeper.home(), format!("{}/keep/garage.json", keeper.home())] {
        assert_eq!(club.organizer.get(&path).await.status(), StatusCode::UNAUTHORIZED, "{path} is not theirs");
    }
    let driver = ines.person.cookie(&ines.home());
    assert_eq!(Person::stranger(&club.base).get_with("/club/garages", &driver).await.status(), StatusCode::UNAUTHORIZED);
}

/// Ends the one garage as an organizer does.
async fn is_ended(club: &Club) -> String {
    let path = end_path(club).await;
    let asked = club.organizer.get(&path).await.page().await;
    assert!(asked.text().contains("On 2026-06-08 everything in it is deleted"), "{}", asked.text());
    assert_eq!(club.organizer.post(&path, &[]).await.status(), StatusCode::SEE_OTHER);
    path
}

#[tokio::test]
async fn an_ended_garage_can_be_read_by_its_link_and_is_deleted_after_the_notice() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let keeper = ines.opens_a_garage().await;
    keeper.has_to("Find the oil leak").await;
    let path = is_ended(&club).await;
    assert_eq!(club.organizer.post(&path, &[]).await.status(), StatusCode::SEE_OTHER, "sent twice is once");
    assert_eq!(keeper.looks("").await.status(), StatusCode::UNAUTHORIZED, "its devices are out");

    let back = Person::come_in(&club.base, &keeper.secret).await;
    let home = back.get(&keeper.home()).await.page().await;
    assert!(home.first("[role=alert]").contains("on 2026-06-08 everything in it is deleted"), "{}", home.text());
    let file = back.get(&format!("{}/keep/garage.json", keeper.home())).await.text().await;
    assert!(file.contains("Find the oil leak"), "the file can be taken");
    let form = [("id", club.new_id()), ("what", "suit".into()), ("name", "Blue".into()), ("date-is", "made".into())];
    let form = form.each_ref().map(|(name, text)| (*name, text.as_str()));
    let refused = back.post(&format!("{}/gear", keeper.home()), &form).await;
    assert_eq!(refused.status(), StatusCode::CONFLICT);
    let page = refused.page().await;
    assert!(page.first("[role=alert]").contains("before 8 June 2026"), "{}", page.text());
    assert_eq!(page.value_of("input[name=name]"), "Blue", "what was typed is still there");

    club.clock.pass(29 * DAY_MIN);
    assert_eq!(keep_the_term(&club.house).await.expect("kept"), 0, "within the notice");
    club.clock.pass(DAY_MIN);
    assert_eq!(keep_the_term(&club.house).await.expect("kept"), 1);
    assert_eq!(keep_the_term(&club.house).await.expect("kept"), 0, "once");
    assert_eq!(back.get(&keeper.home()).await.status(), StatusCode::UNAUTHORIZED);
    let database = club.database();
    club.close().await;
    assert!(!on_disk(&club, "Find the oil leak"), "not even in a free page");
    let verdict = verify::database(&database, Kept::nothing()).await.expect("the file can be read");
    assert!(verdict.fits, "{}", verdict.words);
}

#[tokio::test]
async fn a_garage_that_nobody_opens_ends_after_the_clubs_time_and_one_that_is_opened_stays() {
    let club = Club::open().await;
    let (ines, marta) = (club.driver("27").await, club.driver("7").await);
    let (lost, used) = (ines.opens_a_garage().await, marta.opens_a_garage().await);
    let says = Person::stranger(&club.base).get("/privacy").await.page().await.text();
    assert!(says.contains("nobody opens for 24 months is deleted"), "{says}");
    club.clock.pass(300 * DAY_MIN);
    assert_eq!(used.looks("").await.status(), StatusCode::OK, "she is here again");
    club.clock.pass(20 * DAY_MIN);
    // A shorter time deletes nothing before the notice is over.
    // The organizer signs in again: a month is over.
    let organizer = signed_in(&club).await;
    let form = |months: &str| vec![("id".to_owned(), club.new_id()), ("months".to_owned(), months.to_owned())];
    for wrong in ["5", "121", "soon", ""] {
        let fields = form(wrong);
        let fields: Vec<(&str, &str)> = fields.iter().map(|(name, text)| (name.as_str(), text.as_str())).collect();
        let refused = organizer.post("/club/garages/term", &fields).await;
        assert_eq!(refused.status(), StatusCode::UNPROCESSABLE_ENTITY, "{wrong}");
        assert!(refused.page().await.first(".trouble").contains("6 to 120"));
    }
    let fields = form("6");
    let fields: Vec<(&str, &str)> = fields.iter().map(|(name, text)| (name.as_str(), text.as_str())).collect();
    for _ in 0..2 {
        assert_eq!(organizer.post("/club/garages/term", &fields).await.status(), StatusCode::SEE_OTHER, "sent twice is once");
    }
    let page = organizer.get("/club/garages").await.page().await;
    assert_eq!(page.all("details li").len(), 1, "who set it: {}", page.text());
    assert_eq!(keep_the_term(&club.house).await.expect("kept"), 0, "not before the notice is over");
    club.clock.pass(30 * DAY_MIN);
    assert_eq!(keep_the_term(&club.house).await.expect("kept"), 1);
    assert_eq!(Person::stranger(&club.base).get(&format!("/in/{}", lost.secret)).await.status(), StatusCode::UNAUTHORIZED);
    assert_eq!(used.looks("").await.status(), StatusCode::OK, "the other is used");
    let says = used.looks("/keep").await.page().await.text();
    assert!(says.contains("If nobody opens it for 6 months"), "{says}");
}

/// The organizer comes in by name and passphrase, later than a session lasts.
async fn signed_in(club: &Club) -> Person {
    let person = Person::stranger(&club.base);
    let form = [("name", "M. Ashdown"), ("passphrase", crate::club::PASSPHRASE)];
    assert_eq!(person.post("/sign-in", &form).await.status(), StatusCode::SEE_OTHER);
    person
}

#[tokio::test]
async fn erasing_a_driver_takes_the_name_from_the_garage_and_its_deeds_name_nobody() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let keeper = ines.opens_a_garage().await;
    let erase = format!("/club/events/{}/entries/{}/data/erase", club.event, ines.entry);
    assert_eq!(club.organizer.post(&erase, &[("number", "27")]).await.status(), StatusCode::SEE_OTHER);
    assert_eq!(keeper.looks("").await.status(), StatusCode::OK, "the garage is hers, and stays");
    club.clock.pass(2);
    assert!(!keeper.looks("").await.page().await.text().contains("Ines"), "without her name");
    let rows = rows(&club).await;
    assert!(rows[0].contains("Car 27, Spring day; its driver was erased"), "{rows:?}");
    let database = club.database();
    club.close().await;
    assert!(!on_disk(&club, "Ines Okafor"), "nowhere on the disk");
    let verdict = verify::database(&database, Kept::nothing()).await.expect("the file can be read");
    assert!(verdict.fits, "{}", verdict.words);
}

/// Before its maker was noted, a garage's link says whose it is by the name alone.
#[tokio::test]
async fn erasing_a_driver_reaches_a_garage_from_before_its_maker_was_noted() {
    let club = Club::open().await;
    let (ines, marta) = (club.driver("27").await, club.driver("7").await);
    let (keeper, other): (Keeper<'_>, Keeper<'_>) = (ines.opens_a_garage().await, marta.opens_a_garage().await);
    writes(&club, "drop trigger access_deed_stays_as_it_is").await;
    let before = "update access_deed set by_link_id = null, by_device_id = null where what = 'made'
         and link_id in (select id from access_link where garage_id is not null)";
    writes(&club, before).await;
    let erase = format!("/club/events/{}/entries/{}/data/erase", club.event, ines.entry);
    assert_eq!(club.organizer.post(&erase, &[("number", "27")]).await.status(), StatusCode::SEE_OTHER);
    club.clock.pass(2);
    assert!(!keeper.looks("").await.page().await.text().contains("Ines"));
    assert!(other.looks("").await.page().await.text().contains("Marta"), "another's keeps its name");
    assert!(rows(&club).await.iter().all(|row| row.contains("Not noted")));
}
