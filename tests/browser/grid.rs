//! The pit exit without signal: cars answered from the list on the device, passes read by the camera and verified there.

use crate::browser::{Browser, Kind, in_time, tell_in_both};
use crate::club::{Club, until};
use crate::kept::COPIES;
use crate::wire::Wire;
use std::io::Write;
use std::path::Path;
use witnessmark::rules::pass::Pass;

/// A film of one picture, as a camera would give it: the pass held in front of it.
fn film_of(png: &[u8], file: &Path) {
    let picture = image::load_from_memory(png).expect("a picture").to_luma8();
    let (width, height) = (640_u32, 480_u32);
    let fitted = image::imageops::resize(
        &picture,
        height * picture.width() / picture.height(),
        height,
        image::imageops::FilterType::Lanczos3,
    );
    let mut frame = image::GrayImage::from_pixel(width, height, image::Luma([160]));
    image::imageops::overlay(&mut frame, &fitted, i64::from(width.saturating_sub(fitted.width()) / 2), 0);
    let mut film = std::fs::File::create(file).expect("a film");
    film.write_all(format!("YUV4MPEG2 W{width} H{height} F10:1 Ip A1:1 C420jpeg\n").as_bytes()).expect("a head");
    let grey = vec![128; (width * height / 2) as usize];
    for _ in 0..10 {
        film.write_all(b"FRAME\n").and_then(|()| film.write_all(&frame)).and_then(|()| film.write_all(&grey)).expect("a frame");
    }
}

/// The code of a driver's pass, as it is on the phone's screen.
async fn photographed(club: &Club, number: &str) -> (Vec<u8>, String) {
    let driver = club.driver(number).await;
    let phone = Browser::phone("pass", "driver").await;
    phone.has_the_clubs_time(club).await;
    phone.opens(&format!("{}/in/{}", club.base, driver.secret)).await;
    phone.follows("a[href$=\"/pass\"]").await;
    phone.sees(".pass .group", "Group").await;
    phone.keeps_whole("1-pass").await;
    phone.turns_dark(true).await;
    phone.keeps("2-pass-dark").await;
    phone.turns_dark(false).await;
    let clip = phone
        .asks(
            "const box = document.querySelector('svg.code').getBoundingClientRect(); \
        return [box.x, box.y, box.width, box.height]",
        )
        .await;
    let clip = serde_json::json!({ "x": clip[0], "y": clip[1], "width": clip[2], "height": clip[3], "scale": 2 });
    let png = phone.devtools("Page.captureScreenshot", serde_json::json!({ "format": "png", "clip": clip })).await;
    let png = data_encoding::BASE64.decode(png["data"].as_str().expect("a picture").as_bytes()).expect("base64");
    phone.closes().await;
    let grey = image::load_from_memory(&png).expect("a picture").to_luma8();
    let mut seen = rqrr::PreparedImage::prepare_from_greyscale(grey.width() as usize, grey.height() as usize, |x, y| {
        grey.get_pixel(x as u32, y as u32).0[0]
    });
    let text = seen.detect_grids().first().expect("a code").decode().expect("it can be read").1;
    assert_eq!(text, by_zbar(&png), "two readers of codes that do not know of each other");
    (png, text)
}

/// What Debian's zbar reads in a picture.
fn by_zbar(png: &[u8]) -> String {
    let folder = tempfile::TempDir::new().expect("a folder");
    let file = folder.path().join("code.png");
    std::fs::write(&file, png).expect("a picture");
    let said =
        std::process::Command::new("zbarimg").args(["--quiet", "--raw", "-Sdisable", "-Sqrcode.enable"]).arg(&file).output();
    let said = said.expect("zbarimg is there: apt-get install zbar-tools");
    String::from_utf8(said.stdout).expect("a text").trim().to_owned()
}

pub async fn clears(club: &Club, number: &str) {
    club.driver(number).await.sends(|_| ()).await;
    club.inspector("R. Holt").await.clears(number).await;
}

impl Browser {
    /// Asks for a car and reads the answer that fills the window.
    pub async fn asks_for(&self, number: &str, title: &str, because: &str) {
        self.types("#number", number).await;
        self.taps(".find button").await;
        self.sees(".verdict.whole [data-title]", title).await;
        self.sees(".verdict.whole .big", because).await;
    }

    pub async fn next(&self) {
        self.taps(".verdict.whole button").await;
        self.comes("the answer is put away", "return !document.querySelector('.verdict.whole')").await;
    }

    /// Until the worker has all that the page needs without signal.
    pub async fn is_ready_for_no_signal(&self) {
        self.comes("a worker is here", "return !!navigator.serviceWorker.controller").await;
        let path = self.path().await;
        self.keeps_the_page(&path).await;
        self.sees("[data-fresh]", "News of just now.").await;
    }
}

tell_in_both!(a_marshal_without_signal_checks_every_car_and_sees_how_old_the_news_is);

async fn a_marshal_without_signal_checks_every_car_and_sees_how_old_the_news_is(kind: Kind) {
    in_time(async {
        let club = Club::open().await;
        clears(&club, "27").await;
        let wire = Wire::to(&club.base).await;
        let phone = kind.phone("grid", "marshal-offline").await;
        phone.forgives("ERR_");
        phone.forgives("503");
        phone.has_the_clubs_time(&club).await;
        phone.opens(&format!("{}/in/{}", wire.base, club.link_for("marshal", "Pit exit").await)).await;
        phone.is_ready_for_no_signal().await;
        wire.is_cut();
        phone.asks_for("27", "Cleared", "Group B").await;
        phone.keeps("3-cleared-offline").await;
        phone.next().await;
        phone.asks_for("12", "Not cleared", "no sheet was sent").await;
        phone.next().await;
        // A phone that fell into the gravel: the page is opened anew, still without signal.
        let grid = format!("{}/grid/{}", wire.base, club.event);
        phone.opens(&grid).await;
        phone.asks_for("27", "Cleared", "Group B").await;
        club.clock.pass(47);
        phone.has_the_clubs_time(&club).await;
        phone.opens(&grid).await;
        phone.asks_for("27", "Was cleared 47 min ago", "Ask the gate").await;
        phone.sees(".verdict.whole [data-age]", "47 minutes ago").await;
        phone.keeps("4-old-news").await;
        phone.next().await;
        club.inspector("R. Holt").await.holds("27", "Smoke from the left rear.").await;
        wire.is_sound();
        phone.asks_for("27", "Not cleared", "Smoke from the left rear.").await;
        phone.closes().await;
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn the_camera_reads_a_pass_and_the_device_verifies_it_without_signal() {
    in_time(async {
        let club = Club::open().await;
        let secret = club.link_for("marshal", "Pit exit").await;
        let folder = tempfile::TempDir::new().expect("a folder");
        let film = folder.path().join("pass.y4m");
        clears(&club, "27").await;
        let (png, _) = photographed(&club, "27").await;
        film_of(&png, &film);
        let wire = Wire::to(&club.base).await;
        let phone = Browser::phone_with_a_camera("grid", "marshal-camera", &film).await;
        phone.forgives("ERR_");
        phone.has_the_clubs_time(&club).await;
    phone.opens(&format!("{}/in/{secret}", wire.base)).await;
        phone.is_ready_for_no_signal().await;
        let reader = "window.got ??= false; caches.match(new URL('/static/', location), { ignoreSearch: true }); \
            import(document.querySelector('script[src*=grid]').src.replace('grid.js', 'scan.js')).then(() => (window.got = true)); return window.got";
        phone.comes("the reader of codes is loaded", reader).await;
        phone.taps("[data-scan] button").await;
        phone.sees(".verdict.whole [data-title]", "Cleared").await;
        phone.sees(".verdict.whole [data-number]", "27").await;
        phone.keeps("5-scanned").await;
        phone.next().await;
        wire.is_cut();
        phone.taps("[data-scan] button").await;
        phone.sees(".verdict.whole [data-title]", "Cleared").await;
        phone.closes().await;
    })
    .await;
}

/// The list is older than the pass: then the signature counts, unless the list knows better.
#[tokio::test(flavor = "multi_thread")]
async fn a_pass_newer_than_the_list_counts_and_a_forged_an_altered_an_expired_and_a_withdrawn_one_do_not() {
    in_time(async {
        let club = Club::open().await;
        let secret = club.link_for("marshal", "Pit exit").await;
        let phone = Browser::phone("grid", "marshal-passes").await;
        phone.opens(&format!("{}/in/{secret}", club.base)).await;
        phone.is_ready_for_no_signal().await;
        // The list as it was before anybody was cleared; the device's clock is the machine's, the club's stands on 9 May 2026.
        let list = phone.asks("return fetch(document.querySelector('[data-cars]').dataset.cars).then((answer) => answer.json())").await;
        club.clock.pass(5);
        for number in ["27", "7"] {
            clears(&club, number).await;
        }
        let (_, pass) = photographed(&club, "27").await;
        let (_, held) = photographed(&club, "7").await;
        let text = pass.rsplit('/').next().expect("a pass").to_owned();
        let read = Pass::read(&text).expect("a pass");
        let morning = i64::from(read.made_min) * 60_000 + 60_000;
        let asks = async |what: &str, list: &serde_json::Value, pass: &str, now: i64| {
            let script = format!(
                "return import(document.querySelector('script[src*=grid]').src.replace('grid.js', 'verdict.js')) \
                 .then((rules) => rules.verdictOf({list}, {{ pass: {pass:?} }}, {now})).then((said) => said.title + ': ' + said.because)"
            );
            (what.to_owned(), phone.asks(&script).await.as_str().unwrap_or_default().to_owned())
        };
        let said = |(what, words): (String, String), wanted: &str| assert!(words.starts_with(wanted), "{what}: {words}");
        said(asks("newer than the list", &list, &pass, morning).await, "Cleared: By its pass");
        let mut altered = text.clone();
        altered.replace_range(80..81, if &text[80..81] == "A" { "B" } else { "A" });
        said(asks("altered", &list, &altered, morning).await, "Not cleared: This pass is false");
        said(asks("forged", &list, &read.seal(&[9; 32]), morning).await, "Not cleared: This pass is false");
        let key = secret_key(&club).await;
        let centuries = Pass { until_min: u32::MAX, ..read.clone() }.seal(&key);
        let said_long = "Not cleared: This pass is false: it says that it holds longer";
        said(asks("genuine by its key, and valid for centuries", &list, &centuries, morning).await, said_long);
        said(asks("over", &list, &pass, list["until"].as_i64().expect("an end")).await, "Not cleared: This pass is over");
        said(asks("something else", &list, "HTTPS://EXAMPLE.ORG/MENU", morning).await, "No pass: This code is something else");
        let mut elsewhere = list.clone();
        elsewhere["event"] = club.new_id().into();
        said(asks("another event", &elsewhere, &pass, morning).await, "Not cleared: This pass is for another event");
        // Car 7 was held when the list was made: no pass gets past that.
        let mut knows = list.clone();
        let cars = knows["cars"].as_array_mut().expect("cars");
        let seven = cars.iter_mut().find(|car| car["number"] == "7").expect("car 7");
        (seven["held"], seven["because"]) = (true.into(), "clearance taken back: smoke".into());
        said(asks("withdrawn", &knows, &held, morning).await, "Not cleared: clearance taken back: smoke");
        let mut newer = list.clone();
        newer["place"] = read.place.into();
        newer["as_of"] = (morning - 7_200_000).into();
        let said_by = "Not cleared: no sheet was sent";
        said(asks("the list is newer by its place, two hours older by the clock", &newer, &pass, morning).await, said_by);
        let mut older = list.clone();
        older["as_of"] = (morning + 7_200_000).into();
        said(asks("the list is older by its place", &older, &pass, morning).await, "Cleared: By its pass");
        // A pass from before passes said their place, sealed with the event's key: true, and older than any list.
        let first = first_form(&club, &read).await;
        said(asks("a pass of the first form", &list, &first, morning).await, said_by);
        let altered = format!("{}{}", &first[..first.len() - 30], "A".repeat(30));
        said(asks("a false one of the first form", &list, &altered, morning).await, "Not cleared: This pass is false");
        let mut before = list.clone();
        before.as_object_mut().expect("a list").remove("place");
        said(asks("a list of before lists had places", &before, &pass, morning).await, said_by);
        phone.closes().await;
    })
    .await;
}

async fn secret_key(club: &Club) -> [u8; 32] {
    let mut db = club.house.store.read().await.expect("the store");
    let event = club.event.parse().expect("an id");
    witnessmark::store::event_key::of_event(&mut db, event).await.expect("an answer").expect("the event's key")
}

/// The same pass as it was made before passes said their place.
async fn first_form(club: &Club, pass: &Pass) -> String {
    let key = secret_key(club).await;
    let mut bytes = [&[1][..], &pass.event, &pass.entry, &pass.clear].concat();
    bytes.extend([pass.made_min, pass.until_min].iter().flat_map(|minutes| minutes.to_be_bytes()));
    for text in [&pass.number, &pass.group] {
        bytes.push(text.len() as u8);
        bytes.extend(text.bytes());
    }
    let signature = witnessmark::rules::pass::sign(&key, &[&b"witnessmark pass 1"[..], &bytes].concat());
    data_encoding::BASE32_NOPAD.encode(&[&bytes[..], &signature].concat())
}

tell_in_both!(a_hold_after_the_servers_clock_was_put_back_reaches_the_marshal);

/// The server's clock ran two hours fast and is put right. What happens afterwards is older by the clock, and counts.
async fn a_hold_after_the_servers_clock_was_put_back_reaches_the_marshal(kind: Kind) {
    in_time(async {
        let club = Club::open().await;
        clears(&club, "27").await;
        let wire = Wire::to(&club.base).await;
        let phone = kind.phone("grid", "marshal-clock").await;
        phone.forgives("ERR_");
        phone.forgives("503");
        phone.has_the_clubs_time(&club).await;
        phone.opens(&format!("{}/in/{}", wire.base, club.link_for("marshal", "Pit exit").await)).await;
        phone.is_ready_for_no_signal().await;
        phone.asks_for("27", "Cleared", "Group B").await;
        phone.next().await;
        wire.is_cut();
        club.clock.pass(-120);
        club.inspector("R. Holt").await.holds("27", "Smoke from the left rear.").await;
        wire.is_sound();
        let grid = format!("{}/grid/{}", wire.base, club.event);
        phone.opens(&grid).await;
        phone.asks_for("27", "Not cleared", "Smoke from the left rear.").await;
        phone.keeps("6-clock-put-back").await;
        phone.next().await;
        // An older backup was restored: the list on the phone is of records that are no more, and further on than any.
        let further = "Object.assign(value, { place: 999, hash: '00' }); \
            for (const car of value.cars) Object.assign(car, { cleared: true, held: false })";
        phone.changes_the_shelf(COPIES, "list /grid/", further).await;
        assert_eq!(phone.shelf(&format!("list /grid/{}", club.event)).await["place"], 999);
        phone.opens(&grid).await;
        phone.asks_for("27", "Not cleared", "Smoke from the left rear.").await;
        // Two answers overtake each other: the first request's arrives last, and is older.
        let overtaken = "const [real, list] = [window.fetch, '/cars.json']; let held = null; \
            window.fetch = async (...asked) => { const answer = await real(...asked); \
            if (String(asked[0]).includes(list) && !held) await (held = new Promise((go) => (window.letGo = go))); \
            return answer; }; \
            return true";
        phone.asks(overtaken).await;
        phone.next().await;
        phone.asks_for("27", "Not cleared", "Smoke from the left rear.").await;
        phone.comes("the first answer is held back", "return !!window.letGo").await;
        club.inspector("R. Holt").await.clears("27").await;
        phone.sees(".verdict.whole [data-title]", "Cleared").await;
        phone.asks("window.letGo(); return true").await;
        tokio::time::sleep(std::time::Duration::from_millis(500)).await;
        phone.sees(".verdict.whole [data-title]", "Cleared").await;
        phone.closes().await;
    })
    .await;
}

/// A driver looks at the pass while the organizer takes the clearance back.
#[tokio::test(flavor = "multi_thread")]
async fn a_pass_goes_from_the_drivers_screen_the_moment_the_clearance_does() {
    in_time(async {
        let club = Club::open().await;
        clears(&club, "27").await;
        let ines = club.driver("27").await;
        let phone = Browser::phone("pass", "driver-live").await;
        phone.has_the_clubs_time(&club).await;
        phone.opens(&format!("{}/in/{}", club.base, ines.secret)).await;
        phone.opens(&format!("{}{}/pass", club.base, ines.home())).await;
        phone.sees(".pass .number", "27").await;
        club.inspector("R. Holt").await.holds("27", "Smoke from the left rear.").await;
        phone.sees("h1", "No pass: this car is not cleared").await;
        until("the code is gone", async || phone.asks("return !document.querySelector('svg.code')").await == true).await;
        phone.closes().await;
    })
    .await;
}
