//! A club for tests: the whole program on port 0 with a database of its own, a clock that stands still and ids in a row,
//! and people who come in by their links as anybody does.

#![allow(dead_code, unused_imports, reason = "every test binary uses its own part of the club")]

mod browser;
mod garage;
mod keeper;
mod people;
pub mod sheets;
mod still;

use browser::text_of;
use jiff::SignedDuration;
use reqwest::StatusCode;
use serde_json::{Map, Value as Json};
use std::path::PathBuf;
use std::sync::{Arc, Mutex};
use tempfile::TempDir;
use tokio_util::sync::CancellationToken;
use witnessmark::acts::House;
use witnessmark::acts::set_up::{CLUB_DAY, set_up};
use witnessmark::listen::{self, Bounds, ListenError};
use witnessmark::web::{Web, router};

pub use browser::{Answer, PASSPHRASE, Page, Person, css};
pub use garage::AtGarage;
pub use keeper::{Keeper, job, link_on};
pub use people::{Driver, Inspector, Known, OpenCar};
pub use still::Still;

/// The roster that tests begin with.
pub const ROSTER: &str = "number,name,car,group,mail\n\
    7,Marta Lindqvist,Alder 200 GT,A,marta@example.org\n\
    12,Jonas Achterberg,Corvane S4,A,jonas@example.org\n\
    27,Ines Okafor,Corvane S4,B,ines@example.org\n\
    114B,Tomas Reyes,Hadley Roadster,C,\n";

/// A server at work.
type Serving = tokio::task::JoinHandle<Result<(), ListenError>>;

/// Serves a web as the program does, until it is asked to end.
pub fn serve(listener: std::net::TcpListener, web: Web) -> Serving {
    let bounds = listen::raise_open_files(Bounds::default()).expect("the system says how many files may be open");
    let closing = web.closing.clone();
    tokio::spawn(listen::serve(listener, None, router(web), bounds, closing))
}

/// The club, its server, its organizer, an event on 2026-05-09 with four entries.
pub struct Club {
    pub base: String,
    pub clock: Arc<Still>,
    pub house: Arc<House>,
    pub organizer: Person,
    pub event: String,
    closing: CancellationToken,
    serving: Option<Serving>,
    folder: TempDir,
    inspectors: Mutex<usize>,
}

impl Club {
    /// Opens the club with the default sheet.
    pub async fn open() -> Club {
        Club::with_sheet(None).await
    }

    /// Opens the club; the event is judged by this sheet.
    pub async fn with_sheet(sheet: Option<&str>) -> Club {
        Club::with(sheet, |web| web).await
    }

    /// Opens the club on a server that is set up in its own way.
    pub async fn with(sheet: Option<&str>, change: impl FnOnce(Web) -> Web) -> Club {
        let folder = TempDir::new().expect("a folder for the database");
        let clock = Still::new();
        let house = Arc::new(House::open(&folder.path().join("club.sqlite"), clock.clone()).await.expect("a new database"));
        let first = set_up(&house, "Seven Fells Motor Club", "M. Ashdown").await.expect("a set-up").expect("a first organizer");
        let listener = listen::bind(([127, 0, 0, 1], 0).into()).expect("a port");
        let base = format!("http://localhost:{}", listener.local_addr().expect("an address").port());
        let web = change(Web::new(house.clone(), &base));
        let closing = web.closing.clone();
        let serving = Some(serve(listener, web));
        let organizer = Person::come_in(&base, &first.secret).await;
        let (event, inspectors) = (String::new(), Mutex::new(0));
        let mut club = Club { base, clock, house, organizer, event, closing, serving, folder, inspectors };
        club.event = club.make_event("Spring day", sheet).await;
        club.take_roster(ROSTER).await;
        club
    }

    /// The server ends, in order.
    pub async fn stops(&mut self) {
        self.close().await;
        if let Some(serving) = self.serving.take() {
            serving.await.expect("the server ends").expect("it ends in order");
        }
    }

    /// The server starts anew on the same file, under the same address.
    pub async fn starts_again(&mut self) {
        self.house = Arc::new(House::open(&self.database(), self.clock.clone()).await.expect("the database"));
        let port = self.base.rsplit(':').next().and_then(|port| port.parse().ok()).expect("a port");
        let listener = listen::bind(([127, 0, 0, 1], port).into()).expect("the same port");
        let web = Web::new(self.house.clone(), &self.base);
        self.closing = web.closing.clone();
        self.serving = Some(serve(listener, web));
    }

    pub fn database(&self) -> PathBuf {
        self.folder.path().join("club.sqlite")
    }

    async fn make_event(&self, name: &str, sheet: Option<&str>) -> String {
        self.make_event_on(name, "2026-05-09", sheet).await
    }

    async fn make_event_on(&self, name: &str, day: &str, sheet: Option<&str>) -> String {
        let page = self.organizer.get("/club").await.page().await;
        let edition = page.value_of("select[name=edition] option");
        let form = [
            ("name", name),
            ("venue", "Dunmere Ring"),
            ("day", day),
            ("zone", "Europe/London"),
            ("groups", "A 08:50\nB 09:20\nC 09:50"),
            ("edition", &edition),
        ];
        let made = self.organizer.post("/club/events", &form).await;
        assert_eq!(made.status(), StatusCode::SEE_OTHER, "the organizer makes an event");
        let event = made.location().split('/').nth(3).expect("an event's id").to_owned();
        if let Some(file) = sheet {
            self.raise_to(&event, file).await;
        }
        event
    }

    /// Adds a sheet as an edition and raises an event to it. Gives the page that says what would move.
    pub async fn raise_to(&self, event: &str, file: &str) -> Page {
        let added = self.organizer.post(&format!("/club/events/{event}/sheet/editions"), &[("file", file)]).await;
        assert_eq!(added.status(), StatusCode::SEE_OTHER, "the sheet can be read: {}", added.page().await.text());
        let shown = self.organizer.get(&added.location()).await.page().await;
        let raised = self.raises_as_shown(event, &shown).await;
        assert_eq!(raised.status(), StatusCode::SEE_OTHER, "the event is raised");
        shown
    }

    /// Raises an event as a page that says what would move has it.
    pub async fn raises_as_shown(&self, event: &str, shown: &Page) -> Answer {
        let field = |name: &str| shown.value_of(&format!("section.alert input[name={name}]"));
        let form = [("id", field("id")), ("edition", field("edition")), ("shown", field("shown"))];
        let form: Vec<(&str, &str)> = form.iter().map(|(name, text)| (*name, text.as_str())).collect();
        self.organizer.post(&format!("/club/events/{event}/sheet"), &form).await
    }

    /// Raises the club's event to an edition that is there, after a look at what that would move.
    pub async fn raises_back_to(&self, edition: &str) -> Answer {
        let path = format!("/club/events/{}/sheet?edition={edition}", self.event);
        let shown = self.organizer.get(&path).await.page().await;
        self.raises_as_shown(&self.event, &shown).await
    }

    /// Turns to another event, on a day of its own, with the same people entered: what is said of the club from here on is of it.
    pub async fn turns_to_event(&mut self, name: &str, day: &str) {
        self.event = self.make_event_on(name, day, None).await;
        self.take_roster(ROSTER).await;
    }

    /// Sends a roster as pasted text.
    pub async fn take_roster(&self, csv: &str) -> Answer {
        let form = reqwest::multipart::Form::new().text("text", csv.to_owned());
        let path = format!("/club/events/{}/roster", self.event);
        self.organizer.send(self.organizer.client.post(self.organizer.url(&path)).multipart(form)).await
    }

    /// The id of the entry with a car number.
    pub async fn entry(&self, number: &str) -> String {
        let page = self.organizer.get(&format!("/club/events/{}/roster", self.event)).await.page().await;
        let rows =
            page.html.select(&css("table.cars tbody tr")).find(|row| text_of(*row).split_whitespace().next() == Some(number));
        let row = rows.unwrap_or_else(|| panic!("car {number} is on the roster"));
        let link = row.select(&css("a")).next().and_then(|link| link.attr("href")).expect("a link to the car");
        link.rsplit('/').next().expect("an id").to_owned()
    }

    /// The driver of a car, come in by a new private link.
    pub async fn driver(&self, number: &str) -> Driver<'_> {
        let entry = self.entry(number).await;
        let path = format!("/club/events/{}/entries/{entry}/links", self.event);
        let links = self.organizer.post(&path, &[]).await.page().await;
        let secret = links.secret();
        Driver { person: Person::come_in(&self.base, &secret).await, club: self, entry, number: number.to_owned(), secret }
    }

    /// An inspector, come in by a new private link.
    pub async fn inspector(&self, name: &str) -> Inspector<'_> {
        *self.inspectors.lock().expect("a count") += 1;
        let secret = self.link_for("inspector", name).await;
        Inspector { person: Person::come_in(&self.base, &secret).await, club: self, name: name.to_owned(), secret }
    }

    /// A new link's secret, for an inspector or a marshal.
    pub async fn link_for(&self, role: &str, name: &str) -> String {
        let path = format!("/club/events/{}/people", self.event);
        let made = self.organizer.post(&path, &[("role", role), ("name", name)]).await;
        // Somebody of this name is there already: this is another phone of theirs.
        if made.status() == StatusCode::UNPROCESSABLE_ENTITY {
            return self.another_link_for(name).await;
        }
        made.page().await.secret()
    }

    /// The forms that the page of people has for somebody: `/links`, `/end`, one for each device.
    pub async fn forms_for(&self, name: &str) -> Vec<String> {
        let page = self.organizer.get(&format!("/club/events/{}/people", self.event)).await.page().await;
        let people = css(".people > li");
        let person = page.html.select(&people).find(|one| one.select(&css("b")).any(|holder| text_of(holder) == name));
        let person = person.unwrap_or_else(|| panic!("{name} is on the page"));
        person.select(&css("form")).filter_map(|form| form.attr("action").map(str::to_owned)).collect()
    }

    /// Another link's secret for somebody who has come in already.
    pub async fn another_link_for(&self, name: &str) -> String {
        let path = self.forms_for(name).await.into_iter().find(|form| form.ends_with("/links")).expect("a form for a link");
        self.organizer.post(&path, &[]).await.page().await.secret()
    }

    /// Sets for the event's phones after how many minutes "cleared" is old, and how many days they keep its pages.
    pub async fn sets_phones(&self, old_after_min: &str, kept_days: &str) {
        let form = [("id", self.new_id()), ("old_after", old_after_min.to_owned()), ("kept_days", kept_days.to_owned())];
        let form = form.each_ref().map(|(name, text)| (*name, text.as_str()));
        let set = self.organizer.post(&format!("/club/events/{}/phones", self.event), &form).await;
        assert_eq!(set.status(), reqwest::StatusCode::SEE_OTHER, "the phones' setting is taken");
    }

    /// A new private link's address for the driver of a car, for a browser to open.
    pub async fn driver_link(&self, number: &str) -> String {
        format!("{}/in/{}", self.base, self.driver(number).await.secret)
    }

    /// What the board says of a car: its standing and why.
    pub async fn board_of(&self, number: &str) -> (String, String) {
        let page = self.organizer.get(&format!("/club/events/{}", self.event)).await.page().await;
        let row = page.html.select(&css(&format!("tr[data-number=\"{number}\"]"))).next();
        let row = row.unwrap_or_else(|| panic!("car {number} is on the board"));
        let remark = row.select(&css(".remark")).next().map(text_of).unwrap_or_default();
        (row.attr("data-standing").unwrap_or_default().to_owned(), remark)
    }

    /// The cleared list as the grid gets it.
    pub async fn cleared_csv(&self) -> String {
        self.organizer.get(&format!("/club/events/{}/cleared.csv", self.event)).await.text().await
    }

    pub async fn close(&self) {
        self.closing.cancel();
        self.house.close().await;
    }

    pub fn new_id(&self) -> String {
        self.house.new_id().to_string()
    }

    /// Another event of the club: same day, same groups, nobody entered.
    pub async fn another_event(&self, name: &str) -> String {
        self.make_event(name, None).await
    }

    /// The page of a car as the organizer sees it.
    pub async fn car_page(&self, number: &str) -> Page {
        let path = format!("/club/events/{}/entries/{}", self.event, self.entry(number).await);
        self.organizer.get(&path).await.page().await
    }

    /// A car's history as the organizer reads it, the newest first: "clear by R. Holt (inspector)".
    pub async fn history_of(&self, number: &str) -> Vec<String> {
        self.car_page(number).await.all("ol.told li b")
    }
}

impl Drop for Club {
    fn drop(&mut self) {
        self.closing.cancel();
    }
}

/// The answers of a sound closed car with discs and its own belts to the default sheet: nothing found, nothing missing.
pub fn sound_answers() -> Map<String, Json> {
    let sheet = witnessmark::rules::sheet_file::read(CLUB_DAY).expect("the default sheet can be read");
    witnessmark::demo::sound_answers(&sheet, jiff::civil::date(2026, 5, 9))
}

/// Waits, within reason, until something is so.
pub async fn until<F: Future<Output = bool>>(what: &str, mut is_so: impl FnMut() -> F) {
    for _ in 0..200 {
        if is_so().await {
            return;
        }
        tokio::time::sleep(std::time::Duration::from_millis(25)).await;
    }
    panic!("{what}: it did not come to that");
}

/// A span of time, for tests that let it pass.
pub fn minutes(count: i64) -> SignedDuration {
    SignedDuration::from_mins(count)
}
