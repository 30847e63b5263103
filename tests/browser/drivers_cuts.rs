//! Two drivers share a phone, the wire is bad, the battery dies, the server is started anew: a sheet is as it was typed last.

use crate::browser::{Browser, in_time};
use crate::club::{Club, Person, css};
use crate::dice::Dice;
use crate::no_signal_driver::all_but;
use crate::wire::Wire;
use serde_json::Value as Json;
use sqlx::{ConnectOptions, sqlite::SqliteConnectOptions};
use std::collections::BTreeMap;
use std::time::{Duration, Instant};

const SEED: u64 = 20_260_512;
const CUTS: usize = 200;
/// What is typed again and again, and in which area; in mm.
const FIELDS: [(&str, &str); 6] = [
    ("tyres", "tread-depth.lf"),
    ("tyres", "tread-depth.rf"),
    ("tyres", "tread-depth.rr"),
    ("brakes", "pad-front.lf"),
    ("brakes", "pad-rear.lr"),
    ("brakes", "pad-rear.rr"),
];
/// A photo is put on the shelf about so often, and at most so many a driver.
const MOST_PHOTOS: usize = 3;

/// One of the two who share the phone.
struct Sheet {
    person: Person,
    home: String,
    number: &'static str,
    secret: String,
    /// The last that was typed into each field.
    typed: BTreeMap<(&'static str, &'static str), String>,
    sent: Vec<String>,
    photos: Vec<String>,
}

async fn sheet_of(club: &Club, number: &'static str) -> Sheet {
    let driver = club.driver(number).await;
    all_but(&driver, &[]).await;
    let (home, secret) = (driver.home(), driver.secret.clone());
    Sheet { person: driver.person, home, number, secret, typed: BTreeMap::new(), sent: Vec::new(), photos: Vec::new() }
}

/// The wire and the phone on it.
struct Phone {
    wire: Wire,
    /// None while it is dead.
    browser: Option<Browser>,
    dice: Dice,
    counts: BTreeMap<&'static str, usize>,
}

impl Phone {
    fn browser(&self) -> &Browser {
        self.browser.as_ref().expect("the phone is on")
    }

    fn counts(&mut self, what: &'static str) {
        *self.counts.entry(what).or_default() += 1;
    }

    fn wire_changes(&mut self) {
        match self.dice.between(0, 3) {
            0 => self.wire.is_cut(),
            1 => self.wire.holds_posts(),
            2 => self.wire.loses_answers(),
            _ => self.wire.is_sound(),
        }
    }

    /// Opens a page of a sheet. Without signal it comes from the shelf.
    async fn opens(&self, path: &str) {
        self.browser().opens(&format!("{}{path}", self.wire.base)).await;
    }

    /// Runs a script with the page's own modules: `keep` is keep.js, `queue` is queue.js. A page that makes itself anew meanwhile
    /// is asked once more: the script changes nothing when it runs twice.
    async fn runs(&self, script: &str) -> Json {
        let modules = "const [keep, queue] = await Promise.all(['keep.js', 'queue.js'].map((file) => \
            import(document.querySelector('script[src*=driver],script[src*=fill]').src.replace(/(driver|fill)\\.js/, file))));";
        let script = format!("return (async () => {{ {modules} {script} }})()");
        let end = Instant::now() + Duration::from_secs(10);
        loop {
            match self.browser().client.execute(&script, vec![]).await {
                Ok(said) => return said,
                Err(error) if Instant::now() > end => panic!("{script}: {error}"),
                Err(_) => tokio::time::sleep(crate::hands::GLANCE).await,
            }
        }
    }

    /// Types into a field of the area that is open, as a finger does, and goes on at once or a little later.
    async fn types(&mut self, sheet: &mut Sheet, field: (&'static str, &'static str), text: String) {
        let path = format!("{}/areas/{}", sheet.home, field.0);
        let script = format!(
            "const field = document.querySelector('[name=\"{}\"]'); if (!field || location.pathname !== '{path}') return false; \
             field.value = '{text}'; field.dispatchEvent(new Event('input', {{ bubbles: true }})); return true",
            field.1
        );
        // The page may go on by itself: to the next area after a tap, or made anew.
        while !matches!(self.browser().client.execute(&script, vec![]).await, Ok(Json::Bool(true))) {
            self.opens(&path).await;
        }
        sheet.typed.insert(field, text);
        match self.dice.between(0, 3) {
            0 => tokio::time::sleep(Duration::from_millis(self.dice.between(1, 80))).await,
            1 => {
                self.browser().asks("document.querySelector('.act .go').click()").await;
                self.counts("gone on with a tap");
            }
            _ => {}
        }
    }

    /// A tap on "Send to the gate", as driver.js makes it: not where a sheet waits already.
    async fn sends(&mut self, sheet: &mut Sheet) {
        let id = self.dice.id().to_string();
        let script = format!(
            "const waits = await keep.get(queue.sendKey); if (waits) return waits.id === '{id}'; \
             const later = document.querySelector('[data-send-later]')?.content.firstChild; \
             const form = document.querySelector('form[data-send]') ?? later; \
             await keep.put(queue.sendKey, {{ id: '{id}', seen: form.elements.seen.value, edition: form.elements.edition.value, \
                made_at: new Date().toISOString() }}); \
             queue.flush(true); return true"
        );
        if self.runs(&script).await == true {
            sheet.sent.push(id);
            self.counts("sent");
        }
    }

    /// A photo on the shelf, as photos.js puts it there.
    async fn adds_a_photo(&mut self, sheet: &mut Sheet) {
        let id = self.dice.id().to_string();
        let script = format!(
            "const canvas = Object.assign(document.createElement('canvas'), {{ width: 40, height: 30 }}); \
             const context = canvas.getContext('2d'); context.fillRect(0, 0, {0}, 9); \
             const file = await new Promise((resolve) => canvas.toBlob(resolve, 'image/jpeg')); \
             await keep.put(`photo ${{queue.entry}} {id}`, {{ id: '{id}', action: `${{queue.entry}}/items/photos/photos`, \
                item: 'photos', name: 'Photos', file }}); \
             queue.flush(); return true",
            self.dice.between(1, 40)
        );
        self.runs(&script).await;
        sheet.photos.push(id);
        self.counts("photos");
    }

    /// Once what was typed last is on the disc the battery dies.
    async fn dies(&mut self, sheet: &Sheet, field: (&str, &'static str)) {
        let wanted = sheet.typed.iter().find(|((_, name), _)| *name == field.1).map(|(_, text)| text.clone()).unwrap_or_default();
        let is_kept = format!(
            "await queue.landed; const kept = await keep.get(queue.areaKey('{}/areas/{}')); \
             return new URLSearchParams(kept?.now).get('{}') === '{wanted}'",
            sheet.home, field.0, field.1
        );
        let end = Instant::now() + Duration::from_secs(5);
        while wanted.is_empty() || self.runs(&is_kept).await != true {
            assert!(Instant::now() < end, "{} of {} is not on the device", field.1, sheet.home);
        }
        let dead = self.browser.take().expect("the phone is on").dies().await;
        self.wakes(dead).await;
        self.counts("died");
    }

    async fn wakes(&mut self, left: crate::browser::Left) {
        let browser = Browser::comes_back(left).await;
        forgives(&browser);
        self.browser = Some(browser);
    }
}

fn forgives(browser: &Browser) {
    browser.forgives("ERR_");
}

/// Two hundred cuts: typed, sent, photographed on one phone with two sheets, whose browser is killed and whose server ends.
#[tokio::test(flavor = "multi_thread")]
async fn two_hundred_cuts_of_two_drivers_on_one_phone_leave_the_last_typed_value_and_each_sheet_once() {
    in_time(async {
        let mut club = Club::open().await;
        let mut sheets = [sheet_of(&club, "27").await, sheet_of(&club, "12").await];
        let wire = Wire::to(&club.base).await;
        let browser = Browser::phone("drivers-cuts", "drivers").await;
        forgives(&browser);
        for sheet in &sheets {
            browser.opens(&format!("{}/in/{}", wire.base, sheet.secret)).await;
            browser.sees("[data-ready]", "opens without signal").await;
        }
        // A browser writes its cookies to the disc when it is closed, or in its own time.
        let left = browser.puts_it_away().await;
        let mut phone = Phone { wire, browser: None, dice: Dice::new(SEED), counts: BTreeMap::new() };
        phone.wakes(left).await;
        let began = Instant::now();
        let mut own = 0;
        phone.opens(&sheets[0].home).await;
        for nth in 0..CUTS {
            phone.wire_changes();
            if nth % 67 == 40 {
                club.stops().await;
                phone.counts("server stopped");
            }
            if nth % 67 == 46 {
                club.starts_again().await;
            }
            if phone.dice.once_in(6) {
                own = 1 - own;
            }
            let sheet = &mut sheets[own];
            match phone.dice.between(0, 9) {
                0 | 1 => {
                    phone.opens(&sheet.home).await;
                    if sheet.sent.len() < 20 {
                        phone.sends(sheet).await;
                    }
                }
                2 if sheet.photos.len() < MOST_PHOTOS => {
                    phone.opens(&sheet.home).await;
                    phone.adds_a_photo(sheet).await;
                }
                3 => {
                    // A moment of signal, in which all may go.
                    phone.wire.is_sound();
                    phone.opens(&sheet.home).await;
                    phone.runs("await queue.flush(true); return true").await;
                }
                _ => {
                    let field = FIELDS[phone.dice.between(0, 5) as usize];
                    // The two never type the same.
                    let text = format!("{}.{}", 5 + 2 * own + phone.dice.between(0, 1) as usize, phone.dice.between(1, 9));
                    phone.types(sheet, field, text).await;
                    phone.counts("typed");
                    if nth % 67 > 60 && phone.counts.get("died").copied().unwrap_or_default() <= nth / 67 {
                        phone.dies(sheet, field).await;
                        phone.opens(&sheet.home).await;
                    }
                }
            }
        }
        // In signal at last.
        phone.wire.is_sound();
        for sheet in &sheets {
            phone.opens(&sheet.home).await;
            let none = "await queue.flush(true); const { areas, photos, send } = await queue.waiting(); \
                return JSON.stringify([areas, photos, send])";
            let end = Instant::now() + Duration::from_secs(20);
            loop {
                let left = phone.runs(none).await;
                if left == "[[],[],null]" {
                    break;
                }
                assert!(Instant::now() < end, "car {} still keeps {left}", sheet.number);
            }
        }
        println!("{:.0} s: {:?}", began.elapsed().as_secs_f32(), phone.counts);
        for sheet in &sheets {
            is_as_typed(&club, sheet).await;
        }
        assert!(phone.counts["died"] >= 2 && phone.counts["server stopped"] >= 3, "{:?}", phone.counts);
        phone.browser.take().expect("the phone is on").closes().await;
    })
    .await;
}

/// The server has what was typed last, each sheet once, each photo once, and nothing of anybody else.
async fn is_as_typed(club: &Club, sheet: &Sheet) {
    for ((area, field), text) in &sheet.typed {
        let page = sheet.person.get(&format!("{}/areas/{area}", sheet.home)).await.page().await;
        assert_eq!(page.value_of(&format!("[name=\"{field}\"]")), *text, "{field} of car {}", sheet.number);
    }
    let mut db = SqliteConnectOptions::new().filename(club.database()).read_only(true).connect().await.expect("the file");
    let entry: uuid::Uuid = sheet.home.rsplit('/').next().and_then(|id| id.parse().ok()).expect("an id");
    let ids: Vec<Vec<u8>> = sqlx::query_scalar("select id from record where entry_id = ? and kind = 'submission'")
        .bind(entry.as_bytes().as_slice())
        .fetch_all(&mut db)
        .await
        .expect("the records");
    let mut there: Vec<String> = ids.iter().filter_map(|id| uuid::Uuid::from_slice(id).ok()).map(|id| id.to_string()).collect();
    let mut sent = sheet.sent.clone();
    there.sort();
    sent.sort();
    assert_eq!(there, sent, "car {}: each sheet that was sent, once, and no other", sheet.number);
    let page = sheet.person.get(&format!("{}/areas/papers", sheet.home)).await.page().await;
    let pictures = css(".photos img");
    let mut shown: Vec<String> =
        page.html.select(&pictures).filter_map(|img| img.attr("src")?.rsplit('/').next().map(str::to_owned)).collect();
    let mut added = sheet.photos.clone();
    shown.sort();
    added.sort();
    assert_eq!(shown, added, "car {}: each photo once", sheet.number);
}
