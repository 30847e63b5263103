//! In the garage, sent twice is noted once; and what was noted stays as it is.

use crate::club::{Club, Driver, Keeper, job};
use crate::tools::png;
use reqwest::{Method, StatusCode};
use sqlx::ConnectOptions;
use sqlx::sqlite::SqliteConnectOptions;
use std::collections::BTreeSet;
use witnessmark::web::all_doors;

/// A post of the garage as its page would send it: the door, with real things in it, and the form.
pub struct Post {
    pub door: &'static str,
    pub path: String,
    pub form: Vec<(String, String)>,
}

/// What the posts made, for those that come after.
#[derive(Default)]
pub struct Ids {
    work: String,
    part: String,
    gear: String,
    step: String,
}

impl Ids {
    /// The new thing has the id under which it was sent.
    pub fn learn(&mut self, door: &str, id: String) {
        match door {
            "/cars/{car}/jobs" => self.work = id,
            "/jobs/{job}/parts" => self.part = id,
            "/gear" => self.gear = id,
            "/jobs/{job}/steps" => self.step = id,
            _ => {}
        }
    }
}

/// A post's door, path and form.
type Row<'f> = (&'static str, String, Vec<(&'f str, &'f str)>);

/// Every post of the garage that notes something, in an order in which all of them can be done.
pub async fn all_posts(keeper: &Keeper<'_>, nth: usize, ids: &Ids) -> Option<Post> {
    let Ids { work, part, gear, step } = ids;
    let (car, day) = (&keeper.car, "2026-05-09");
    let symptom = {
        let list = keeper.looks_at_car("/faults").await.page().await.attr("ul.jobs a", "href");
        list.split("symptom=").nth(1).and_then(|rest| rest.split('&').next()).expect("a symptom").to_owned()
    };
    let with_symptom = [job("Find the oil leak").as_slice(), &[("symptom", symptom.as_str())]].concat();
    let outcome = match nth {
        9 => keeper.looks(&format!("/jobs/{work}/fault")).await.page().await.attr("[name=outcome]", "value"),
        _ => String::new(),
    };
    let line = keeper.own_lines().await.into_iter().next().unwrap_or_default();
    let hours = ["monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday"].map(|day| (day, "2"));
    let pack = match nth {
        17 => {
            keeper.looks_at_car(&format!("/days/{}", keeper.day().await)).await.page().await.attr("input[name^='pack.']", "name")
        }
        _ => String::new(),
    };
    let own_day = keeper.day().await;
    let table = "day,what,place,value,unit,note\n2026-05-01,tread,lf,6.1,mm,\n2026-05-01,track-time,,20,min,\n2026-05-01,track-time,,20,min,\n";
    let all: [Row<'_>; 28] = [
        ("/hours", "/hours".into(), hours.to_vec()),
        ("/gear", "/gear".into(), vec![("what", "helmet"), ("name", "The white one"), ("label", "SA2020")]),
        ("/gear/{gear}", format!("/gear/{gear}"), vec![("what", "helmet"), ("name", "The white one"), ("label", "SA2015")]),
        ("/gear/{gear}/gone", format!("/gear/{gear}/gone"), vec![]),
        ("/cars", "/cars".into(), vec![("name", "The other car")]),
        ("/cars/{car}/facts", format!("/cars/{car}/facts"), vec![("name", "Red one"), ("mass", "1200"), ("roof", "closed")]),
        ("/cars/{car}/jobs", format!("/cars/{car}/jobs"), job("Find the oil leak").to_vec()),
        ("/jobs/{job}/card", format!("/jobs/{work}/card"), with_symptom),
        ("/jobs/{job}/steps", format!("/jobs/{work}/steps"), vec![("say", "Clean it")]),
        ("/jobs/{job}/fault", format!("/jobs/{work}/fault"), vec![("outcome", &outcome)]),
        ("/jobs/{job}/parts", format!("/jobs/{work}/parts"), vec![("name", "A seal"), ("lead", "5"), ("price", "12.5")]),
        (
            "/jobs/{job}/parts/{part}",
            format!("/jobs/{work}/parts/{part}"),
            vec![("name", "Two seals"), ("lead", "4"), ("is", "to-order")],
        ),
        ("/jobs/{job}/parts/{part}/state", format!("/jobs/{work}/parts/{part}/state"), vec![("is", "ordered")]),
        ("/jobs/{job}/parts/{part}/gone", format!("/jobs/{work}/parts/{part}/gone"), vec![]),
        ("/jobs/{job}/done", format!("/jobs/{work}/done"), vec![("what", "New seal."), ("shown_by", "Dry after 10 min.")]),
        ("/jobs/{job}/reopen", format!("/jobs/{work}/reopen"), vec![("why", "It drips again.")]),
        (
            "/cars/{car}/days",
            format!("/cars/{car}/days"),
            vec![("name", "Hill"), ("day", "2026-06-01"), ("sessions", "4"), ("session_min", "15")],
        ),
        ("/cars/{car}/days/{day}/packed", format!("/cars/{car}/days/{own_day}/packed"), vec![(&pack, "1")]),
        (
            "/cars/{car}/days/{day}/plan",
            format!("/cars/{car}/days/{own_day}/plan"),
            vec![("sessions", "5"), ("session_min", "15")],
        ),
        ("/cars/{car}/readings/{kind}", format!("/cars/{car}/readings/pad"), vec![("day", day), ("lf", "9"), ("unit", "mm")]),
        ("/cars/{car}/log/{line}/strike", format!("/cars/{car}/log/{line}/strike"), vec![]),
        ("/cars/{car}/track", format!("/cars/{car}/track"), vec![("day", day), ("sessions", "5"), ("minutes", "100")]),
        ("/cars/{car}/fluids", format!("/cars/{car}/fluids"), vec![("day", day), ("fluid", "brake-fluid"), ("grade", "DOT 4")]),
        ("/cars/{car}/log/import", format!("/cars/{car}/log/import"), vec![("text", table)]),
        ("/jobs/{job}/steps/{step}/gone", format!("/jobs/{work}/steps/{step}/gone"), vec![]),
        ("/jobs/{job}/gone", format!("/jobs/{work}/gone"), vec![("car", car)]),
        ("/cars/{car}/days/{day}/gone", format!("/cars/{car}/days/{own_day}/gone"), vec![]),
        ("/cars/{car}/gone", format!("/cars/{car}/gone"), vec![]),
    ];
    let (door, path, form) = all.into_iter().nth(nth)?;
    Some(Post { door, path, form: form.into_iter().map(|(name, text)| (name.to_owned(), text.to_owned())).collect() })
}

impl Keeper<'_> {
    /// The day that came with the sheet.
    async fn day(&self) -> String {
        let file = self.file().await;
        let changes = file["changes"].as_array().expect("a list");
        let day = changes.iter().find(|one| one["change"]["kind"] == "day").expect("a day");
        day["change"]["track_day"].as_str().expect("an id").to_owned()
    }
}

#[tokio::test]
async fn every_post_of_the_garage_sent_twice_notes_once() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let keeper = ines.opens_a_garage().await;
    let mut ids = Ids::default();
    let mut seen = BTreeSet::new();
    let mut nth = 0;
    while let Some(post) = all_posts(&keeper, nth, &ids).await {
        let (id, before) = (club.new_id(), keeper.kinds().await.len());
        let form: Vec<(&str, &str)> = post.form.iter().map(|(name, text)| (name.as_str(), text.as_str())).collect();
        let first = keeper.posts(&post.path, &id, &form).await;
        let (status, to) = (first.status(), first.location());
        assert_eq!(status, StatusCode::SEE_OTHER, "{}: {}", post.path, first.page().await.text());
        let noted = keeper.file().await;
        assert!(keeper.kinds().await.len() > before, "{} notes something", post.path);
        club.clock.pass(1);
        let again = keeper.posts(&post.path, &id, &form).await;
        let answered = (again.status(), again.location());
        // What is gone or closed by the first answers that it is not there; a page that is there leads to the same place.
        let is_gone = answered.0 == StatusCode::NOT_FOUND && post.path.ends_with("/gone");
        assert!(answered == (status, to) || is_gone, "{} sent twice: {answered:?}: {}", post.path, again.page().await.text());
        assert_eq!(keeper.file().await, noted, "{} sent twice notes once", post.path);
        ids.learn(post.door, id);
        seen.insert(post.door);
        nth += 1;
    }
    let rest = [
        "/photos-of/{of}",
        "/worksheets/{name}",
        "/units",
        "/keep/link",
        "/keep/calendar",
        "/keep/devices/{device}/end",
        "/keep/take-away",
        "/sign-out",
    ];
    let doors = all_doors().into_iter().filter(|door| door.method == Method::POST);
    let left: Vec<String> = doors
        .filter_map(|door| door.path.strip_prefix("/my/garage/{garage}").map(str::to_owned))
        .filter(|door| !seen.contains(door.as_str()) && !rest.contains(&door.as_str()))
        .collect();
    assert_eq!(left, Vec::<String>::new(), "a new post of the garage belongs in this test");
}

#[tokio::test]
async fn a_photo_or_a_worksheet_sent_twice_is_there_once() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let keeper = ines.opens_a_garage().await;
    let work = keeper.has_to("Find the oil leak").await;
    let path = format!("{}/photos-of/{work}", keeper.home());
    for _ in 0..2 {
        let (one, two) = (png(64, 48), png(48, 64));
        let files = [("a.png", "image/png", one.as_slice()), ("b.png", "image/png", two.as_slice())];
        assert_eq!(keeper.person.upload(&path, "photo", &files).await.status(), StatusCode::SEE_OTHER);
    }
    assert_eq!(keeper.kinds().await, ["car", "day", "brought", "job", "photo", "photo"], "two photos, each once");
    let page = keeper.looks("/worksheets/tyre-pressure").await;
    assert_eq!(page.status(), StatusCode::CONFLICT, "an empty worksheet has nothing to keep");
    assert!(page.page().await.text().contains("not worked out yet"));
    let query = "units=metric&cold_kpa=2&cold_c=20&hot_kpa=2.6&target_hot_kpa=2.4";
    let way = keeper.person.get(&format!("/my/garage/worksheets/tyre-pressure?{query}")).await;
    assert_eq!(
        way.location(),
        format!("{}/worksheets/tyre-pressure?{query}", keeper.home()),
        "a worksheet leads to one's own garage"
    );
    let shown = keeper.person.get(&way.location()).await.page().await;
    let (id, car) = (shown.value_of("input[name=id]"), keeper.car.as_str());
    let form = [("query", query), ("car", car), ("place", "lf"), ("day", "2026-05-09")];
    for _ in 0..2 {
        let kept = keeper.posts("/worksheets/tyre-pressure", &id, &form).await;
        assert_eq!(kept.status(), StatusCode::SEE_OTHER, "{}", kept.page().await.text());
    }
    let kinds = keeper.kinds().await;
    assert_eq!(kinds[6..], ["readings", "readings"], "cold and hot, each once");
    let form = [("query", "code.lf=1224"), ("car", car), ("day", "2026-05-09")];
    let nothing = keeper.posts("/worksheets/tyre-date", &club.new_id(), &form).await;
    assert!(nothing.status().is_client_error(), "{}: what has nothing for a log is not said to be kept", nothing.status());
    assert_eq!(keeper.kinds().await.len(), 8);
}

/// A new car for a sheet, tapped twice, was two cars.
#[tokio::test]
async fn a_sheet_brought_twice_is_one_day_of_one_car() {
    let club = Club::open().await;
    let (ines, marta) = (club.driver("27").await, club.driver("7").await);
    let keeper = ines.opens_a_garage().await;
    // Marta's car is hers as well: her link is opened in the browser that is in the garage.
    ines.person.uses_link(&marta.secret).await;
    let door = format!("{}/garage", marta.home());
    let page = ines.person.get(&door).await.page().await;
    let id = page.value_of("input[name=id]");
    let form = [("id", id.as_str()), ("car", "new")];
    let (one, two) = tokio::join!(ines.person.post(&door, &form), ines.person.post(&door, &form));
    assert_eq!((one.status(), two.status()), (StatusCode::SEE_OTHER, StatusCode::SEE_OTHER));
    ines.person.post(&door, &form).await;
    assert_eq!(keeper.kinds().await, ["car", "day", "brought", "car", "day", "brought"]);
    let there = ines.person.get(&door).await;
    assert!(there.location().contains("/cars/"), "it leads to the car that it was brought to");
}

#[tokio::test]
async fn garage_json_holds_everything_that_was_noted() {
    let club = Club::open().await;
    let ines: Driver<'_> = club.driver("27").await;
    let keeper = ines.opens_a_garage().await;
    let work = keeper.has_to("Find the oil leak").await;
    keeper.notes(&format!("/jobs/{work}/steps"), &[("say", "Clean the sump")]).await;
    keeper.notes_of_car("/readings/pad", &[("day", "2026-05-09"), ("lf", "8.75"), ("unit", "mm"), ("note", "thin end")]).await;
    let answer = keeper.looks("/keep/garage.json").await;
    assert!(answer.header("content-disposition").starts_with("attachment"));
    let file = answer.json().await;
    let noted = file["changes"].as_array().expect("a list");
    assert_eq!(noted.len(), 6);
    assert_eq!(noted[3]["change"]["card"]["title"], "Find the oil leak");
    assert_eq!(noted[4]["change"]["say"], "Clean the sump");
    assert_eq!(noted[5]["change"]["readings"]["at"]["lf"], 8.75);
    assert_eq!(noted[5]["change"]["readings"]["note"], "thin end");
    assert!(!file.to_string().contains("digest"), "no secret, not even its digest");
}

/// Whoever opens the file with another tool meets the triggers too.
#[tokio::test]
async fn what_was_noted_can_be_neither_changed_nor_removed_nor_written_over() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let keeper = ines.opens_a_garage().await;
    keeper.has_to("Find the oil leak").await;
    let before = keeper.file().await;
    let open = SqliteConnectOptions::new().filename(club.database()).foreign_keys(true);
    let mut db = open.connect().await.expect("the file can be opened");
    for sql in [
        "update garage_change set body = '{}'",
        "update garage_change set made_at = 0",
        "update garage_change set place = place + 100",
        "delete from garage_change",
        "delete from garage_change where place = 1",
    ] {
        let refused = sqlx::query(sql).execute(&mut db).await.err().map(|error| error.to_string());
        assert!(refused.is_some_and(|words| words.contains("what was noted stays")), "{sql}");
    }
    assert!(sqlx::query("delete from garage").execute(&mut db).await.is_err(), "its links and changes rest on it");
    for sql in [
        "insert or replace into garage_change select id, garage_id, place, '{\"kind\":\"car-gone\",\"car\":\"\"}', made_at from garage_change",
        "insert or replace into garage_change select randomblob(16), garage_id, place, body, 0 from garage_change",
    ] {
        // Refused or passed over: either is well, as long as what was noted stays.
        let _ = sqlx::query(sql).execute(&mut db).await;
    }
    assert_eq!(keeper.file().await, before);
}
