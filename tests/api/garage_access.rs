//! A garage is its driver's: who gets in, who is out again, and that nobody of the club and no other driver reaches it.

use crate::club::{Club, Driver, Person, job, link_on};
use crate::privacy::on_disk;
use crate::tools::png;
use reqwest::StatusCode;
use sqlx::SqliteConnection;
use uuid::Uuid;
use witnessmark::web::all_doors;

/// Where the default sheet asks for the wheel torque, which a garage knows.
async fn torque_at(driver: &Driver<'_>) -> String {
    let sheet = witnessmark::rules::sheet_file::read(witnessmark::acts::set_up::CLUB_DAY).expect("the default sheet");
    let area = sheet.areas.iter().find(|area| area.items.iter().any(|item| item.id.as_str() == "torque-asked"));
    format!("{}/areas/{}", driver.home(), area.expect("the default sheet asks for the torque").id)
}

async fn text_of(db: &mut SqliteConnection, sql: &'static str) -> Vec<String> {
    sqlx::query_scalar(sql).fetch_all(db).await.expect("an answer")
}

/// The link that holds a garage open, and its devices, as the database knows them: no page of the club shows them.
async fn inside(club: &Club) -> (String, Vec<String>) {
    let mut db = club.house.store.read().await.expect("a reader");
    let links = text_of(&mut db, "select hex(id) from access_link where role = 'garage'").await;
    let devices = "select hex(device.id) from device join access_link on access_link.id = link_id where role = 'garage'";
    (links.into_iter().next().expect("a garage's link"), text_of(&mut db, devices).await)
}

#[tokio::test]
async fn an_organizer_who_makes_a_drivers_link_anew_sees_the_sheet_and_nothing_of_the_garage() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let keeper = ines.opens_a_garage().await;
    keeper.notes_of_car("/facts", &[("name", "The Corvane"), ("torque-asked", "117")]).await;
    let torque = torque_at(&ines).await;
    let offered = ines.person.get(&torque).await.page().await;
    assert!(offered.first("p.offer").contains("117"), "the driver's own browser is offered it: {}", offered.text());

    let links = format!("/club/events/{}/entries/{}/links", club.event, ines.entry);
    let secret = club.organizer.post(&links, &[]).await.page().await.secret();
    let ashdown = Person::come_in(&club.base, &secret).await;
    let page = ashdown.get(&torque).await.page().await;
    assert!(!page.has("p.offer") && !page.text().contains("117"), "whoever has the sheet's link has no offers by it");
    assert_eq!(ashdown.post(&format!("{torque}/still"), &[("all", "1")]).await.status(), StatusCode::SEE_OTHER);
    assert!(!ashdown.get(&torque).await.text().await.contains("117"), "nor does confirming what is not shown give it away");
    let door = ashdown.get(&format!("{}/garage", ines.home())).await.text().await;
    assert!(!door.contains("The Corvane") && !door.contains(&keeper.garage), "the way to a garage shows none");
    let cookie = ashdown.cookie(&ines.home());
    for path in ["", "/keep", "/keep/garage.json", &format!("/cars/{}", keeper.car)] {
        let path = format!("{}{path}", keeper.home());
        assert_eq!(ashdown.get(&path).await.status(), StatusCode::UNAUTHORIZED, "{path}");
        assert_eq!(ashdown.get_with(&path, &cookie).await.status(), StatusCode::UNAUTHORIZED, "{path}");
        assert_eq!(
            club.organizer.get_with(&path, &club.organizer.cookie("/club")).await.status(),
            StatusCode::UNAUTHORIZED,
            "{path}"
        );
    }
    let data = format!("/club/events/{}/entries/{}/data.json", club.event, ines.entry);
    assert!(!club.organizer.get(&data).await.text().await.contains(&keeper.garage), "what the club holds on her has no garage");

    // The driver, with the new link in the browser that is in the garage, is offered it again.
    ines.person.uses_link(&secret).await;
    assert!(ines.person.get(&torque).await.page().await.first("p.offer").contains("117"));
    ines.person.post(&format!("{torque}/still"), &[("item", "torque-asked")]).await;
    assert_eq!(ines.person.get(&torque).await.page().await.value_of("input[name='torque-asked']"), "117");
}

/// Whoever has the sheet's link may open a garage of their own, and it has nothing of the driver's.
#[tokio::test]
async fn a_second_garage_from_the_same_sheet_is_empty_but_for_the_sheet() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let keeper = ines.opens_a_garage().await;
    keeper.has_to("Mend the secret thing").await;
    let again = Person::come_in(&club.base, &ines.secret).await;
    let door = format!("{}/garage", ines.home());
    let taken = again.post(&door, &[("id", &keeper.garage), ("deed", "open")]).await;
    assert_eq!(
        (taken.status(), taken.location()),
        (StatusCode::SEE_OTHER, door.clone()),
        "under her garage's id there is no way in"
    );
    assert_eq!(taken.header("set-cookie"), "", "nor is it handed out");
    let opened = again.post(&door, &[("id", &club.new_id()), ("deed", "open")]).await;
    let other = link_on(&opened.page().await);
    let other = Person::come_in(&club.base, &other).await;
    assert_eq!(other.get_with(&keeper.home(), &other.cookie("/my/garage")).await.status(), StatusCode::NOT_FOUND);
    assert_eq!(keeper.kinds().await, ["car", "day", "brought", "job"], "hers is as it was");
}

#[tokio::test]
async fn nobody_of_the_club_takes_a_garages_link_or_device_back_or_makes_it_anew() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let keeper = ines.opens_a_garage().await;
    let (link, devices) = inside(&club).await;
    let doors = all_doors().into_iter().filter(|door| door.path.starts_with("/club"));
    let mut tried = 0;
    for door in doors.filter(|door| door.method == reqwest::Method::POST) {
        if !door.path.contains("{link}") && !door.path.contains("{device}") {
            continue;
        }
        for device in &devices {
            let path = door.path.replace("{event}", &club.event).replace("{entry}", &ines.entry);
            let path = path.replace("{link}", &link).replace("{device}", device);
            assert_eq!(club.organizer.post(&path, &[]).await.status(), StatusCode::NOT_FOUND, "{path}");
            tried += 1;
        }
    }
    assert!(tried >= 12, "{tried} were tried");
    for path in ["links/end", &format!("entries/{}/links/end", ines.entry)] {
        let ended = club.organizer.post(&format!("/club/events/{}/{path}", club.event), &[]).await;
        assert_eq!(ended.status(), StatusCode::SEE_OTHER, "her sheet's link ends");
    }
    assert_eq!(ines.person.get(&ines.home()).await.status(), StatusCode::UNAUTHORIZED, "she is out of the sheet");
    for person in [&ines.person, &keeper.person] {
        assert_eq!(person.get(&keeper.home()).await.status(), StatusCode::OK, "and in her garage");
    }
    assert_eq!(Person::stranger(&club.base).uses_link(&keeper.secret).await.status(), StatusCode::SEE_OTHER);
    for page in ["/club/organizers", &format!("/club/events/{}/people", club.event)] {
        let text = club.organizer.get(page).await.text().await;
        assert!(!text.contains(&keeper.garage) && !text.to_uppercase().contains(&link), "{page} shows nothing of it");
    }
}

#[tokio::test]
async fn another_drivers_garage_car_job_photo_and_calendar_are_not_here() {
    let club = Club::open().await;
    let (ines, marta) = (club.driver("27").await, club.driver("7").await);
    let (hers, other) = (ines.opens_a_garage().await, marta.opens_a_garage().await);
    let job_id = hers.has_to("Find the oil leak").await;
    let upload = format!("{}/photos-of/{job_id}", hers.home());
    hers.person.upload(&upload, "photo", &[("a.png", "image/png", &png(64, 48))]).await;
    let file = hers.file().await;
    let photo = file["changes"].as_array().and_then(|all| all.last()?["change"]["photo"].as_str()).expect("a photo").to_owned();
    let car = &hers.car;
    let pages = [
        "".into(),
        format!("/cars/{car}"),
        format!("/jobs/{job_id}"),
        format!("/photos/{photo}"),
        format!("/cars/{car}/log.csv"),
    ];
    for path in &pages {
        assert_eq!(hers.looks(path).await.status(), StatusCode::OK, "{path} is hers");
        let theirs = other.person.get(&format!("{}{path}", hers.home())).await;
        assert_eq!(theirs.status(), StatusCode::NOT_FOUND, "{path} under her garage");
        if !path.is_empty() {
            assert_eq!(other.looks(path).await.status(), StatusCode::NOT_FOUND, "{path} under their own");
        }
    }
    let title = [("say", "mischief"), ("what", "x"), ("shown_by", "x"), ("why", "x"), ("day", "2026-05-09"), ("lf", "9")];
    let form = [job("Mischief").as_slice(), &title].concat();
    for path in [
        format!("/cars/{car}/jobs"),
        format!("/jobs/{job_id}/card"),
        format!("/jobs/{job_id}/steps"),
        format!("/jobs/{job_id}/done"),
        format!("/cars/{car}/gone"),
        format!("/cars/{car}/readings/pad"),
    ] {
        assert_eq!(other.posts(&path, &club.new_id(), &form).await.status(), StatusCode::NOT_FOUND, "{path}");
    }
    let upload = format!("{}/photos-of/{job_id}", other.home());
    let upload = other.person.upload(&upload, "photo", &[("a.png", "image/png", &png(8, 8))]).await;
    assert_eq!(upload.status(), StatusCode::NOT_FOUND, "a photo for her job");
    // A job that waits for hers would show what it is called.
    let after = format!("after.{job_id}");
    let waits = [job("Wait for it").as_slice(), &[(after.as_str(), "1")]].concat();
    let waits = other.posts(&format!("/cars/{}/jobs", other.car), &club.new_id(), &waits).await;
    assert_eq!(waits.status(), StatusCode::NOT_FOUND);
    assert_eq!(other.kinds().await, ["car", "day", "brought"], "nothing came into theirs");
    assert_eq!(hers.kinds().await, ["car", "day", "brought", "job", "photo"], "nothing of hers was changed");
    // Nor is a sheet brought to a garage by who does not hold it.
    let (door, id) = (format!("{}/garage", ines.home()), club.new_id());
    let theirs = other.person.post_with(&door, &other.cookie(), &[("car", "new"), ("id", &id)]).await;
    assert_eq!(theirs.status(), StatusCode::UNAUTHORIZED);
}

#[tokio::test]
async fn a_lost_phone_is_ended_and_the_link_made_anew_ends_the_old_one() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let keeper = ines.opens_a_garage().await;
    let keep = keeper.looks("/keep").await.page().await;
    let ends: Vec<String> = keep
        .html
        .select(&crate::club::css("form[action$='/end']"))
        .filter_map(|form| form.attr("action").map(str::to_owned))
        .collect();
    assert_eq!(ends.len(), 1, "the browser that opened it, and not this one");
    assert_eq!(keeper.person.post(&ends[0], &[]).await.status(), StatusCode::SEE_OTHER);
    assert_eq!(ines.person.get(&keeper.home()).await.status(), StatusCode::UNAUTHORIZED, "whoever found it is out at once");
    assert!(!ines.person.get(&torque_at(&ines).await).await.page().await.has("p.offer"), "and is offered nothing");
    assert_eq!(keeper.person.post(&ends[0], &[]).await.status(), StatusCode::NOT_FOUND, "it is ended already");

    let anew = link_on(&keeper.person.post(&format!("{}/keep/link", keeper.home()), &[]).await.page().await);
    let old = Person::stranger(&club.base).get(&format!("/in/{}", keeper.secret)).await;
    assert_eq!(old.status(), StatusCode::UNAUTHORIZED, "the old link opens nothing");
    let second = Person::come_in(&club.base, &anew).await;
    for person in [&keeper.person, &second] {
        assert_eq!(person.get(&keeper.home()).await.status(), StatusCode::OK, "devices that are in stay in");
    }
    second.post(&format!("{}/sign-out", keeper.home()), &[]).await;
    assert_eq!(second.get(&keeper.home()).await.status(), StatusCode::UNAUTHORIZED);
}

#[tokio::test]
async fn a_calendars_address_shows_due_days_until_it_is_made_anew_or_ended() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let keeper = ines.opens_a_garage().await;
    keeper.has_to("Order pads;\u{2028}, front").await;
    let stranger = Person::stranger(&club.base);
    let address = async |fields: &[(&str, &str)]| {
        let page = keeper.person.post(&format!("{}/keep/calendar", keeper.home()), fields).await.page().await;
        page.all("p.link")
            .into_iter()
            .find_map(|link| link.split_once("/calendar/").map(|(_, secret)| format!("/calendar/{secret}")))
    };
    let first = address(&[]).await.expect("an address");
    let feed = stranger.get(&first).await;
    assert_eq!((feed.status(), feed.header("content-type")), (StatusCode::OK, "text/calendar; charset=utf-8".into()));
    let feed = feed.text().await;
    assert!(feed.contains("Spring day") && feed.contains("begin Order pads"), "{feed}");
    assert!(!keeper.looks("/keep").await.text().await.contains("/calendar/"), "it is shown once");
    let second = address(&[]).await.expect("another");
    assert_eq!(stranger.get(&first).await.status(), StatusCode::NOT_FOUND, "made anew, the old one is none");
    assert_eq!(stranger.get(&second).await.status(), StatusCode::OK);
    assert_eq!(address(&[("end", "1")]).await, None);
    assert_eq!(stranger.get(&second).await.status(), StatusCode::NOT_FOUND, "ended");
}

#[tokio::test]
async fn a_photo_is_made_anew_and_only_its_garage_sees_it() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let keeper = ines.opens_a_garage().await;
    let job = keeper.has_to("Find the oil leak").await;
    let path = format!("{}/photos-of/{job}", keeper.home());
    let mut picture = png(64, 48);
    picture.extend_from_slice(b"GPS 54.1N 2.9W");
    let sent = keeper.person.upload(&path, "photo", &[("home.png", "image/png", &picture)]).await;
    assert_eq!(sent.status(), StatusCode::SEE_OTHER);
    let page = keeper.looks(&format!("/jobs/{job}")).await.page().await;
    let photo = page.attr(&format!("img[src^='{}/photos/']", keeper.home()), "src");
    let shown = keeper.person.get(&photo).await;
    assert_eq!(shown.header("content-type"), "image/jpeg");
    assert!(shown.header("cache-control").contains("private"), "no proxy keeps it");
    let jpeg = shown.bytes().await;
    assert_eq!(jpeg[..3], [0xFF, 0xD8, 0xFF]);
    assert!(!jpeg.windows(3).any(|window| window == b"GPS") && !on_disk(&club, "GPS 54.1N"), "where it was taken is gone");
    assert_eq!(Person::stranger(&club.base).get(&photo).await.status(), StatusCode::UNAUTHORIZED);
    let (gate, driver) = (club.inspector("R. Holt").await, club.driver("7").await);
    for cookie in [gate.person.cookie(&gate.lane()), driver.person.cookie(&driver.home()), club.organizer.cookie("/club")] {
        assert_eq!(keeper.person.get_with(&photo, &cookie).await.status(), StatusCode::UNAUTHORIZED);
    }
    for (what, bytes) in
        [("a text", b"hello".to_vec()), ("half a picture", picture[..40].to_vec()), ("SVG", b"<svg onload=alert(1)>".to_vec())]
    {
        let refused = keeper.person.upload(&path, "photo", &[("a.png", "image/png", &bytes)]).await;
        assert_eq!(refused.status(), StatusCode::UNPROCESSABLE_ENTITY, "{what}");
    }
    assert_eq!(keeper.kinds().await, ["car", "day", "brought", "job", "photo"]);
}

#[tokio::test]
async fn what_is_taken_away_is_nowhere_any_more_and_the_sheet_that_was_sent_stays() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    ines.sends(|_| ()).await;
    let keeper = ines.opens_a_garage().await;
    let job = keeper.has_to("Quench the zanzibar flange").await;
    keeper.notes(&format!("/jobs/{job}/parts"), &[("name", "Xylophone seal"), ("lead", "5")]).await;
    keeper.person.upload(&format!("{}/photos-of/{job}", keeper.home()), "photo", &[("a.png", "image/png", &png(64, 48))]).await;
    let jpeg: Vec<u8> = {
        let mut db = club.house.store.read().await.expect("a reader");
        sqlx::query_scalar("select jpeg from garage_photo").fetch_one(&mut *db).await.expect("the photo")
    };
    let calendar = keeper.person.post(&format!("{}/keep/calendar", keeper.home()), &[]).await.page().await.all("p.link");
    let calendar = calendar.iter().find_map(|link| link.split_once("/calendar/")).expect("an address").1.to_owned();
    assert!(on_disk(&club, "zanzibar") && on_disk(&club, "Xylophone") && on_disk(&club, &jpeg), "it is on the disk");

    let away = format!("{}/keep/take-away", keeper.home());
    for word in ["", "all", "every thing"] {
        assert_eq!(keeper.person.post(&away, &[("word", word)]).await.status(), StatusCode::CONFLICT, "{word:?} is not the word");
    }
    assert_eq!(keeper.kinds().await.len(), 6, "nothing is gone yet");
    let late = keeper.cookie();
    let gone = keeper.person.post(&away, &[("word", " Everything ")]).await;
    assert_eq!((gone.status(), gone.location()), (StatusCode::SEE_OTHER, "/".into()));
    for person in [&keeper.person, &ines.person] {
        let status = person.get(&keeper.home()).await.status();
        assert!([StatusCode::UNAUTHORIZED, StatusCode::NOT_FOUND].contains(&status), "every device is out: {status}");
    }
    let (door, id) = (format!("{}/gear", keeper.home()), club.new_id());
    let late = keeper.person.post_with(&door, &late, &[("id", &id), ("what", "suit"), ("name", "x")]).await;
    assert_eq!(late.status(), StatusCode::UNAUTHORIZED, "nothing is noted in it any more");
    let stranger = Person::stranger(&club.base);
    assert_eq!(stranger.get(&format!("/in/{}", keeper.secret)).await.status(), StatusCode::UNAUTHORIZED);
    assert_eq!(stranger.get(&format!("/calendar/{calendar}")).await.status(), StatusCode::NOT_FOUND);
    let again = ines.person.post(&format!("{}/garage", ines.home()), &[("id", &keeper.garage), ("deed", "open")]).await;
    assert_eq!(again.status(), StatusCode::SEE_OTHER, "its id opens no other");

    assert_eq!(ines.person.get(&ines.home()).await.status(), StatusCode::OK, "she is in her sheet");
    assert_eq!(club.history_of("27").await, ["submission 1 by Ines Okafor (driver)"], "which is there as it was sent");
    {
        let mut db = club.house.store.read().await.expect("a reader");
        let left = "select body from garage_change union all select hex(id) from garage_photo
            union all select holder from access_link where role = 'garage' and holder <> ''";
        assert_eq!(text_of(&mut db, left).await, Vec::<String>::new());
    }
    club.close().await;
    for text in ["zanzibar", "Xylophone"] {
        assert!(!on_disk(&club, text), "{text} is not on the disk, not even in a free page");
    }
    assert!(!on_disk(&club, &jpeg) && !on_disk(&club, &jpeg[jpeg.len() / 2..]), "nor is the photo");
    assert!(on_disk(&club, "Ines Okafor"), "what the club answers for is");
}

/// The id in a form is the browser's: one that is another garage's change changes nothing in either.
#[tokio::test]
async fn a_change_under_an_id_of_another_garage_is_refused() {
    let club = Club::open().await;
    let (ines, marta) = (club.driver("27").await, club.driver("7").await);
    let (hers, other) = (ines.opens_a_garage().await, marta.opens_a_garage().await);
    let id = hers.has_to("Find the oil leak").await;
    for title in ["Find the oil leak", "Mischief"] {
        let refused = other.posts(&format!("/cars/{}/jobs", other.car), &id, &job(title)).await;
        assert_eq!(refused.status(), StatusCode::CONFLICT);
        let words = refused.page().await.text();
        assert!(words.contains("sent before"), "{words}");
    }
    let own = hers.posts(&format!("/cars/{}/jobs", hers.car), &id, &job("Another title")).await;
    assert_eq!(own.status(), StatusCode::CONFLICT, "nor is it another change of one's own");
    assert_eq!(other.posts("/cars", &hers.car, &[("name", "Mine now")]).await.status(), StatusCode::CONFLICT, "nor her car's");
    assert_eq!((hers.kinds().await.len(), other.kinds().await.len()), (4, 3));
    assert!(Uuid::parse_str(&id).is_ok());
}
