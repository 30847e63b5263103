//! A sheet that was opened through a garage ends with it: by signing out, by ending the device from another one, by taking the
//! garage away. A sheet that was opened by the club's link is another matter.

use crate::club::{Club, Driver, Keeper, Person};
use reqwest::StatusCode;
use sqlx::AssertSqlSafe;
use uuid::Uuid;
use witnessmark::verify::{self, Kept};

/// A laptop that is in the garage by its link, and opened the sheet through it. Gives the cookie of the sheet.
async fn a_laptop(keeper: &Keeper<'_>, ines: &Driver<'_>) -> (Person, String) {
    let laptop = Person::come_in(&keeper.club.base, &keeper.secret).await;
    let cookie = opens_the_sheet(&laptop, keeper, ines).await;
    (laptop, cookie)
}

async fn opens_the_sheet(person: &Person, keeper: &Keeper<'_>, ines: &Driver<'_>) -> String {
    let opened = person.get(&format!("{}/sheets/{}", keeper.home(), ines.entry)).await;
    assert_eq!((opened.status(), opened.location()), (StatusCode::SEE_OTHER, ines.home()));
    let cookie = opened.header("set-cookie").split(';').next().unwrap_or_default().to_owned();
    assert_eq!(is_in(person, ines, &cookie).await, StatusCode::OK, "the sheet is open");
    cookie
}

/// What the sheet says to who has this cookie.
async fn is_in(person: &Person, ines: &Driver<'_>, cookie: &str) -> StatusCode {
    person.get_with(&ines.home(), cookie).await.status()
}

async fn ask(club: &Club, sql: &str) -> Vec<String> {
    let mut db = club.house.store.read().await.expect("a reader");
    sqlx::query_scalar(AssertSqlSafe(sql.to_owned())).fetch_all(&mut *db).await.expect("an answer")
}

/// Ends one of the garage's other devices, the newest first.
async fn ends_another(keeper: &Keeper<'_>, from: &Person, nth: usize) -> StatusCode {
    let page = from.get(&format!("{}/keep", keeper.home())).await.page().await;
    let forms = crate::club::css("form[action$='/end']");
    let ends: Vec<&str> = page.html.select(&forms).filter_map(|form| form.attr("action")).collect();
    let end = ends[nth].to_owned();
    drop(page);
    from.post(&end, &[]).await.status()
}

#[tokio::test]
async fn who_signs_out_of_a_garage_leaves_no_sheet_open_in_that_browser() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let keeper = ines.opens_a_garage().await;
    let (laptop, cookie) = a_laptop(&keeper, &ines).await;
    let home = laptop.get(&keeper.home()).await.page().await;
    assert!(home.first("form[action$='/sign-out'] button").contains("and its sheets"), "the button says so");
    assert_eq!(home.attr("form[data-sheets]", "data-sheets"), ines.entry, "and its script knows them");
    let out = laptop.post(&format!("{}/sign-out", keeper.home()), &[]).await;
    assert_eq!((out.status(), out.location()), (StatusCode::SEE_OTHER, "/".into()));
    let taken = out.headers("set-cookie");
    for path in ["/my".to_owned(), ines.home()] {
        let ends = format!("witnessmark=; Path={path}; Max-Age=0; HttpOnly; SameSite=Lax");
        assert!(taken.contains(&ends), "{path}: {taken:?}");
    }
    assert_eq!(laptop.get(&ines.home()).await.status(), StatusCode::UNAUTHORIZED, "the browser has no cookie left");
    assert_eq!(is_in(&laptop, &ines, &cookie).await, StatusCode::UNAUTHORIZED, "and who copied it is out too");
    assert_eq!(ines.person.get(&ines.home()).await.status(), StatusCode::OK, "her own browser is in her sheet");
    assert_eq!(ines.person.get(&keeper.home()).await.status(), StatusCode::OK, "and in her garage");
    // She comes in again as before.
    a_laptop(&keeper, &ines).await;
}

#[tokio::test]
async fn a_device_that_is_ended_from_another_is_out_of_the_sheets_that_it_opened_through_the_garage() {
    let club = Club::open().await;
    let (ines, marta) = (club.driver("27").await, club.driver("7").await);
    let (keeper, other) = (ines.opens_a_garage().await, marta.opens_a_garage().await);
    let (laptop, cookie) = a_laptop(&keeper, &ines).await;
    let (tablet, of_tablet) = a_laptop(&keeper, &ines).await;
    let device =
        "select lower(hex(garage.id)) from device join device as garage on garage.id = device.through order by device.id";
    let device = Uuid::parse_str(&ask(&club, device).await[0]).expect("an id");
    let anothers = other.person.post(&format!("{}/keep/devices/{device}/end", other.home()), &[]).await;
    assert_eq!(anothers.status(), StatusCode::NOT_FOUND, "a device of another garage");
    assert_eq!(is_in(&laptop, &ines, &cookie).await, StatusCode::OK, "nor is anything of it ended by that");
    let end = format!("{}/keep/devices/{device}/end", keeper.home());
    assert_eq!(keeper.person.post(&end, &[]).await.status(), StatusCode::SEE_OTHER);
    assert_eq!(laptop.get(&keeper.home()).await.status(), StatusCode::UNAUTHORIZED, "it is out of the garage");
    assert_eq!(is_in(&laptop, &ines, &cookie).await, StatusCode::UNAUTHORIZED, "and of the sheet, at once");
    assert_eq!(laptop.get(&ines.home()).await.status(), StatusCode::UNAUTHORIZED);
    assert_eq!(is_in(&tablet, &ines, &of_tablet).await, StatusCode::OK, "another device of hers stays");
    assert_eq!(ines.person.get(&ines.home()).await.status(), StatusCode::OK);
}

/// The browser has the sheet by the club's link and is in the garage beside it.
#[tokio::test]
async fn a_sheet_opened_by_the_clubs_link_stays_where_its_garage_is_ended_from_elsewhere_and_goes_where_it_is_signed_out() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let keeper = ines.opens_a_garage().await;
    assert_eq!(ends_another(&keeper, &keeper.person, 0).await, StatusCode::SEE_OTHER);
    assert_eq!(ines.person.get(&ines.home()).await.status(), StatusCode::OK, "the sheet stays");
    assert_eq!(ines.person.get(&keeper.home()).await.status(), StatusCode::UNAUTHORIZED, "the garage is shut");

    ines.person.uses_link(&keeper.secret).await;
    assert_eq!(ines.person.get(&keeper.home()).await.status(), StatusCode::OK);
    let out = ines.person.post(&format!("{}/sign-out", keeper.home()), &[]).await;
    assert!(out.headers("set-cookie").iter().any(|cookie| cookie.contains(&format!("Path={};", ines.home()))));
    assert_eq!(ines.person.get(&ines.home()).await.status(), StatusCode::UNAUTHORIZED, "who signs out leaves the whole browser");
    assert_eq!(ines.person.uses_link(&ines.secret).await.status(), StatusCode::SEE_OTHER, "and comes in again by the link");
    assert_eq!(ines.person.get(&ines.home()).await.status(), StatusCode::OK);
}

#[tokio::test]
async fn a_garage_that_is_taken_away_ends_every_sheet_that_was_opened_through_it_and_no_other() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let keeper = ines.opens_a_garage().await;
    let (laptop, cookie) = a_laptop(&keeper, &ines).await;
    let own = opens_the_sheet(&keeper.person, &keeper, &ines).await;
    assert_eq!(ask(&club, "select hex(through) from device where through is not null").await.len(), 2);
    keeper.person.post(&format!("{}/keep/take-away", keeper.home()), &[("word", "everything")]).await;
    for (person, cookie) in [(&laptop, &cookie), (&keeper.person, &own)] {
        assert_eq!(is_in(person, &ines, cookie).await, StatusCode::UNAUTHORIZED, "it came in through the garage");
    }
    assert_eq!(ines.person.get(&ines.home()).await.status(), StatusCode::OK, "she came in by the club's link");
    let left = ask(&club, "select hex(through) from device where through is not null").await;
    assert_eq!(left, [""; 0], "nor does anything say any more which device was whose");
}

/// Before a device knew through which it came, the garage's browser had opened sheets already.
#[tokio::test]
async fn a_sheet_from_before_ends_with_the_garage_once_it_was_opened_through_it_again() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let keeper = ines.opens_a_garage().await;
    let (laptop, cookie) = a_laptop(&keeper, &ines).await;
    let forget = "update device set through = null";
    club.house
        .store
        .write::<_, witnessmark::store::StoreError, _>(witnessmark::store::Touch::Access, move |db| {
            Box::pin(async move { Ok(sqlx::query(forget).execute(&mut **db).await.map(drop)?) })
        })
        .await
        .expect("as before");
    assert_eq!(opens_the_sheet(&laptop, &keeper, &ines).await, cookie, "the same way in");
    laptop.post(&format!("{}/sign-out", keeper.home()), &[]).await;
    assert_eq!(is_in(&laptop, &ines, &cookie).await, StatusCode::UNAUTHORIZED);
}

/// The club's chain of deeds has the end of every device, and does not say whose garage it was.
#[tokio::test]
async fn the_deeds_that_end_a_garages_sheets_are_by_nobody_and_verify() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let keeper = ines.opens_a_garage().await;
    let (laptop, _) = a_laptop(&keeper, &ines).await;
    a_laptop(&keeper, &ines).await;
    laptop.post(&format!("{}/sign-out", keeper.home()), &[]).await;
    keeper.person.post(&format!("{}/keep/take-away", keeper.home()), &[("word", "everything")]).await;
    let deeds = "select iif(by_link_id is null, 'nobody', hex(by_link_id)) from access_deed where what = 'device ended'
        and link_id in (select id from access_link where role = 'driver')";
    assert_eq!(ask(&club, deeds).await, ["nobody", "nobody"], "one by the sign-out, one when it was taken away");
    let said = "select says from access_deed where instr(says, '\"through\"') > 0";
    assert_eq!(ask(&club, said).await, [""; 0]);
    let garage = ask(&club, "select lower(hex(id)) from access_link where role = 'garage'").await;
    let id = Uuid::parse_str(&garage[0]).expect("an id").to_string();
    let both = format!("select says from access_deed where instr(says, '{id}') > 0 and instr(says, '{}') > 0", ines.entry);
    assert_eq!(ask(&club, &both).await, [""; 0], "no deed names the garage beside the entry");
    let path = club.database();
    club.close().await;
    let verdict = verify::database(&path, Kept::nothing()).await.expect("the file can be read");
    assert!(verdict.fits, "{}", verdict.words);
}

/// The club erases a driver: the device keeps no trace of the garage either.
#[tokio::test]
async fn an_erased_drivers_device_says_no_more_through_which_garage_it_came() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let keeper = ines.opens_a_garage().await;
    a_laptop(&keeper, &ines).await;
    let erase = format!("/club/events/{}/entries/{}/data/erase", club.event, ines.entry);
    assert_eq!(club.organizer.post(&erase, &[("number", "27")]).await.status(), StatusCode::SEE_OTHER);
    assert_eq!(ask(&club, "select hex(through) from device where through is not null").await, [""; 0]);
    assert_eq!(keeper.looks("").await.status(), StatusCode::OK, "the garage is hers, and stays");
}

/// Signed out is not shut out: the links that a person holds let the same browser in again.
#[tokio::test]
async fn who_signed_out_comes_in_again_in_the_same_browser() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let keeper = ines.opens_a_garage().await;
    let (laptop, _) = a_laptop(&keeper, &ines).await;
    for _ in 0..2 {
        laptop.post(&format!("{}/sign-out", ines.home()), &[]).await;
        assert_eq!(laptop.get(&ines.home()).await.status(), StatusCode::UNAUTHORIZED, "out of the sheet, and in the garage");
        opens_the_sheet(&laptop, &keeper, &ines).await;
    }
    laptop.post(&format!("{}/sign-out", keeper.home()), &[]).await;
    assert_eq!(laptop.uses_link(&keeper.secret).await.status(), StatusCode::SEE_OTHER, "by the garage's link");
    opens_the_sheet(&laptop, &keeper, &ines).await;
    ines.person.post(&format!("{}/sign-out", ines.home()), &[]).await;
    assert_eq!(ines.person.uses_link(&ines.secret).await.status(), StatusCode::SEE_OTHER, "by the sheet's link");
    assert_eq!(ines.person.get(&ines.home()).await.status(), StatusCode::OK);

    // A phone that was lost is another matter: whoever has it finds the link in it, and it stays shut out.
    assert_eq!(ends_another(&keeper, &keeper.person, 0).await, StatusCode::SEE_OTHER);
    for person in [&laptop, &ines.person] {
        let still_in = person.get(&keeper.home()).await.status() == StatusCode::OK;
        let again = person.uses_link(&keeper.secret).await.status();
        assert_eq!(again, if still_in { StatusCode::SEE_OTHER } else { StatusCode::UNAUTHORIZED });
    }
    assert_eq!(laptop.get(&keeper.home()).await.status(), StatusCode::UNAUTHORIZED, "the newest of her other devices");
    assert_eq!(laptop.get(&ines.home()).await.status(), StatusCode::UNAUTHORIZED);
}
