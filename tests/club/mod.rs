//! A club for tests: the whole program on port 0 with a database of its own, a clock that stands still and ids in a row,
//! and people who come in by their links as anybody does.

#![allow(dead_code, reason = "every test binary uses its own part of the club")]

use jiff::{SignedDuration, Timestamp};
use reqwest::{Client, Response, StatusCode, redirect};
use scraper::{Html, Selector};
use serde_json::{Map, Value as Json, json};
use std::path::PathBuf;
use std::sync::atomic::{AtomicI64, AtomicU64, Ordering};
use std::sync::{Arc, Mutex};
use tempfile::TempDir;
use tokio_util::sync::CancellationToken;
use uuid::Uuid;
use witnessmark::acts::House;
use witnessmark::acts::house::Outside;
use witnessmark::acts::set_up::{CLUB_DAY, set_up};
use witnessmark::web::{Web, router};

/// Time that moves only when a test says so, ids and secrets that are the same at every run.
pub struct Still {
    milliseconds: AtomicI64,
    ids: AtomicU64,
}

impl Still {
    /// The event's morning: 2026-05-09, 07:00 in London.
    pub fn new() -> Arc<Still> {
        let morning: Timestamp = "2026-05-09T06:00:00Z".parse().expect("a time");
        Arc::new(Still { milliseconds: AtomicI64::new(morning.as_millisecond()), ids: AtomicU64::new(1) })
    }

    pub fn pass(&self, minutes: i64) {
        self.milliseconds.fetch_add(minutes * 60_000, Ordering::Relaxed);
    }
}

impl Outside for Still {
    fn now(&self) -> Timestamp {
        Timestamp::from_millisecond(self.milliseconds.load(Ordering::Relaxed)).expect("a time")
    }

    fn new_id(&self) -> Uuid {
        let nth = self.ids.fetch_add(1, Ordering::Relaxed);
        uuid::Builder::from_unix_timestamp_millis(self.milliseconds.load(Ordering::Relaxed) as u64, &ten_bytes(nth)).into_uuid()
    }

    fn new_secret(&self) -> [u8; 20] {
        let nth = self.ids.fetch_add(1, Ordering::Relaxed);
        let mut secret = [7; 20];
        secret[..8].copy_from_slice(&nth.to_be_bytes());
        secret
    }
}

fn ten_bytes(nth: u64) -> [u8; 10] {
    let mut bytes = [0; 10];
    bytes[2..].copy_from_slice(&nth.to_be_bytes());
    bytes
}

/// The roster that tests begin with.
pub const ROSTER: &str = "number,name,car,group,mail\n\
    7,Marta Lindqvist,Alder 200 GT,A,marta@example.org\n\
    12,Jonas Achterberg,Corvane S4,A,jonas@example.org\n\
    27,Ines Okafor,Corvane S4,B,ines@example.org\n\
    114B,Tomas Reyes,Hadley Roadster,C,\n";

/// The club, its server, its organizer, an event on 2026-05-09 with four entries.
pub struct Club {
    pub base: String,
    pub clock: Arc<Still>,
    pub house: Arc<House>,
    pub organizer: Person,
    pub event: String,
    closing: CancellationToken,
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
        let folder = TempDir::new().expect("a folder for the database");
        let clock = Still::new();
        let house = Arc::new(House::open(&folder.path().join("club.sqlite"), clock.clone()).await.expect("a new database"));
        let first = set_up(&house, "Seven Fells Motor Club", "M. Ashdown").await.expect("a set-up").expect("a first organizer");
        let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.expect("a port");
        let base = format!("http://localhost:{}", listener.local_addr().expect("an address").port());
        let closing = CancellationToken::new();
        let web = Web { house: house.clone(), base: base.clone().into(), closing: closing.clone() };
        let app = router(web);
        let until = closing.clone();
        tokio::spawn(async move { axum::serve(listener, app).with_graceful_shutdown(until.cancelled_owned()).await });
        let organizer = Person::come_in(&base, &first.secret).await;
        let mut club = Club { base, clock, house, organizer, event: String::new(), closing, folder, inspectors: Mutex::new(0) };
        club.event = club.make_event("Spring day", sheet).await;
        club.take_roster(ROSTER).await;
        club
    }

    pub fn database(&self) -> PathBuf {
        self.folder.path().join("club.sqlite")
    }

    async fn make_event(&self, name: &str, sheet: Option<&str>) -> String {
        let page = self.organizer.get("/club").await.page().await;
        let edition = page.value_of("select[name=edition] option");
        let form = [
            ("name", name),
            ("venue", "Dunmere Ring"),
            ("day", "2026-05-09"),
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
        let edition = shown.value_of("section.alert input[name=edition]");
        let raised = self.organizer.post(&format!("/club/events/{event}/sheet"), &[("edition", &edition)]).await;
        assert_eq!(raised.status(), StatusCode::SEE_OTHER, "the event is raised");
        shown
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
        let path = format!("/club/events/{}/inspectors", self.event);
        let links = self.organizer.post(&path, &[("name", name)]).await.page().await;
        let secret = links.secret();
        Inspector { person: Person::come_in(&self.base, &secret).await, club: self, secret }
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

/// Somebody with a browser of their own: cookies are kept, redirects are not followed unless asked.
pub struct Person {
    pub client: Client,
    base: String,
}

impl Person {
    /// Somebody whom nobody let in.
    pub fn stranger(base: &str) -> Person {
        let client = Client::builder().cookie_store(true).redirect(redirect::Policy::none()).build().expect("a client");
        Person { client, base: base.to_owned() }
    }

    pub async fn come_in(base: &str, secret: &str) -> Person {
        let person = Person::stranger(base);
        let answer = person.get(&format!("/in/{secret}")).await;
        assert_eq!(answer.status(), StatusCode::SEE_OTHER, "the link lets its holder in");
        person
    }

    pub fn url(&self, path: &str) -> String {
        format!("{}{path}", self.base)
    }

    pub async fn send(&self, request: reqwest::RequestBuilder) -> Answer {
        Answer(request.send().await.expect("the server answers"))
    }

    pub async fn get(&self, path: &str) -> Answer {
        self.send(self.client.get(self.url(path))).await
    }

    pub async fn post(&self, path: &str, form: &[(&str, &str)]) -> Answer {
        self.send(self.client.post(self.url(path)).header("sec-fetch-site", "same-origin").form(form)).await
    }

    pub async fn post_json(&self, path: &str, body: &Json) -> Answer {
        self.send(self.client.post(self.url(path)).json(body)).await
    }

    /// Posts bytes as they are, under any content type.
    pub async fn post_bytes(&self, path: &str, kind: &str, body: impl Into<reqwest::Body>) -> Answer {
        self.send(self.client.post(self.url(path)).header("content-type", kind).body(body)).await
    }

    /// Sends files by a form: name of the file, what it says it is, its bytes.
    pub async fn upload(&self, path: &str, field: &'static str, files: &[(&str, &str, &[u8])]) -> Answer {
        let mut form = reqwest::multipart::Form::new();
        for (name, kind, bytes) in files {
            let part = reqwest::multipart::Part::bytes(bytes.to_vec()).file_name((*name).to_owned());
            form = form.part(field, part.mime_str(kind).expect("a content type"));
        }
        self.send(self.client.post(self.url(path)).multipart(form)).await
    }

    /// Asks with a cookie in hand, whatever path it was given for.
    pub async fn get_with(&self, path: &str, cookie: &str) -> Answer {
        self.send(self.client.get(self.url(path)).header("cookie", cookie)).await
    }

    /// Posts a form with a cookie in hand, whatever path it was given for.
    pub async fn post_with(&self, path: &str, cookie: &str, form: &[(&str, &str)]) -> Answer {
        self.send(self.client.post(self.url(path)).header("cookie", cookie).form(form)).await
    }

    /// Opens a private link and keeps the cookie in hand instead of in the browser: `witnessmark=...`.
    pub async fn cookie_by(base: &str, secret: &str) -> String {
        let answer = Person::stranger(base).get(&format!("/in/{secret}")).await;
        let cookie = answer.header("set-cookie");
        cookie.split(';').next().filter(|pair| pair.contains('=')).expect("a link gives a cookie").to_owned()
    }
}

/// What the server answered.
pub struct Answer(Response);

impl Answer {
    pub fn of(response: Response) -> Answer {
        Answer(response)
    }

    pub fn status(&self) -> StatusCode {
        self.0.status()
    }

    pub fn header(&self, name: &str) -> String {
        self.0.headers().get(name).and_then(|value| value.to_str().ok()).unwrap_or_default().to_owned()
    }

    pub fn location(&self) -> String {
        self.header("location")
    }

    pub async fn text(self) -> String {
        self.0.text().await.expect("a text")
    }

    pub async fn json(self) -> Json {
        self.0.json().await.expect("JSON")
    }

    pub async fn bytes(self) -> Vec<u8> {
        self.0.bytes().await.expect("bytes").to_vec()
    }

    /// The next piece of a stream; `None` when it has ended.
    pub async fn piece(&mut self) -> Option<String> {
        let piece = self.0.chunk().await.ok().flatten()?;
        Some(String::from_utf8(piece.to_vec()).expect("UTF-8"))
    }

    pub async fn page(self) -> Page {
        Page { html: Html::parse_document(&self.text().await) }
    }
}

/// A page, read.
pub struct Page {
    pub html: Html,
}

pub fn css(selector: &str) -> Selector {
    Selector::parse(selector).expect("a selector")
}

fn text_of(element: scraper::ElementRef<'_>) -> String {
    element.text().collect::<Vec<_>>().join(" ").split_whitespace().collect::<Vec<_>>().join(" ")
}

impl Page {
    /// Everything a person can read on it.
    pub fn text(&self) -> String {
        text_of(self.html.root_element())
    }

    /// What the first element of a kind says.
    pub fn first(&self, selector: &str) -> String {
        self.html.select(&css(selector)).next().map(text_of).unwrap_or_default()
    }

    /// What all elements of a kind say.
    pub fn all(&self, selector: &str) -> Vec<String> {
        self.html.select(&css(selector)).map(text_of).collect()
    }

    /// The value of the first field of a kind.
    pub fn value_of(&self, selector: &str) -> String {
        let found = self.html.select(&css(selector)).next();
        found.and_then(|field| field.attr("value")).unwrap_or_default().to_owned()
    }

    /// The text inside the first element of a kind, letter by letter.
    pub fn raw(&self, selector: &str) -> String {
        self.html.select(&css(selector)).next().map(|element| element.text().collect()).unwrap_or_default()
    }

    /// Whether there is such an element.
    pub fn has(&self, selector: &str) -> bool {
        self.html.select(&css(selector)).next().is_some()
    }

    /// An attribute of the first element of a kind.
    pub fn attr(&self, selector: &str, name: &str) -> String {
        let found = self.html.select(&css(selector)).next();
        found.and_then(|element| element.attr(name)).unwrap_or_default().to_owned()
    }

    /// The secret of the private link that is shown.
    pub fn secret(&self) -> String {
        let url = self.first("code");
        url.rsplit("/in/").next().unwrap_or_default().to_owned()
    }
}

/// A driver with their car.
pub struct Driver<'c> {
    pub person: Person,
    pub club: &'c Club,
    pub entry: String,
    pub number: String,
    pub secret: String,
}

impl Driver<'_> {
    pub fn home(&self) -> String {
        format!("/my/{}", self.entry)
    }

    pub async fn looks(&self) -> Page {
        self.person.get(&self.home()).await.page().await
    }

    /// What the driver's page says stands between the car and the grid.
    pub async fn heading(&self) -> String {
        self.looks().await.first("h1")
    }

    /// Types the answers of an area; names as in the form (`pad-front.lf`).
    pub async fn types(&self, area: &str, fields: &[(&str, &str)]) -> Answer {
        self.person.post(&format!("{}/areas/{area}", self.home()), fields).await
    }

    /// The hidden fields of the page that sends.
    pub async fn ready_to_send(&self) -> Vec<(String, String)> {
        let page = self.looks().await;
        let field = |name: &str| (name.to_owned(), page.value_of(&format!("form.send input[name={name}]")));
        vec![field("id"), field("seen"), field("edition")]
    }

    pub async fn sends_form(&self, fields: &[(String, String)]) -> Answer {
        let fields: Vec<(&str, &str)> = fields.iter().map(|(name, text)| (name.as_str(), text.as_str())).collect();
        self.person.post(&format!("{}/submissions", self.home()), &fields).await
    }

    /// Sends a whole sheet of a sound car, changed by `change`, as a device's file. Gives the answer.
    pub async fn sends(&self, change: impl FnOnce(&mut Map<String, Json>)) -> Answer {
        let mut answers = sound_answers();
        change(&mut answers);
        let state = self.state().await;
        let body = json!({ "id": self.club.new_id(), "seen": state.seen, "edition": state.edition, "answers": answers });
        self.person.post_json(&format!("{}/submissions", self.home()), &body).await
    }

    /// What a device would know of the entry.
    pub async fn state(&self) -> Known {
        let event = self.club.house.event(self.club.event.parse().expect("an id")).await.expect("the event");
        let id = self.entry.parse().expect("an id");
        let state = witnessmark::acts::state::read(&self.club.house, &event, id, &witnessmark::rules::units::Units::METRIC).await;
        Known { seen: state.expect("the entry").judgement.heads, edition: event.edition.id }
    }
}

pub struct Known {
    pub seen: Vec<Uuid>,
    pub edition: Uuid,
}

/// An inspector at the gate.
pub struct Inspector<'c> {
    pub person: Person,
    pub club: &'c Club,
    pub secret: String,
}

impl Inspector<'_> {
    pub fn lane(&self) -> String {
        format!("/gate/{}", self.club.event)
    }

    /// Opens a car, as it is now.
    pub async fn opens(&self, number: &str) -> OpenCar<'_> {
        let found = self.person.get(&format!("{}?number={number}", self.lane())).await;
        assert_eq!(found.status(), StatusCode::SEE_OTHER, "car {number} is found by its number");
        let path = found.location();
        let page = self.person.get(&path).await.page().await;
        OpenCar { inspector: self, path, page }
    }

    /// Looks, checks everything by hand, closes what is open as seen put right, and clears.
    pub async fn clears(&self, number: &str) -> Answer {
        self.opens(number).await.clears().await
    }

    pub async fn holds(&self, number: &str, reason: &str) -> Answer {
        self.opens(number).await.holds(reason).await
    }
}

/// A car's page as an inspector has it open: it does not change by itself.
pub struct OpenCar<'i> {
    inspector: &'i Inspector<'i>,
    pub path: String,
    pub page: Page,
}

impl OpenCar<'_> {
    /// The form with everything ticked.
    pub fn all_ticked(&self) -> Vec<(String, String)> {
        let mut fields: Vec<(String, String)> = ["id", "seen"]
            .iter()
            .map(|name| ((*name).to_owned(), self.page.value_of(&format!("form[data-sign-off] input[name={name}]"))))
            .collect();
        let every_box = css("input[type=checkbox]");
        let boxes = self.page.html.select(&every_box).filter_map(|tick| tick.attr("name"));
        fields.extend(boxes.map(|name| (name.to_owned(), "1".to_owned())));
        fields
    }

    pub async fn signs(&self, fields: &[(String, String)], deed: &str, reason: &str) -> Answer {
        let mut form: Vec<(&str, &str)> = fields.iter().map(|(name, text)| (name.as_str(), text.as_str())).collect();
        form.extend([("deed", deed), ("reason", reason)]);
        self.inspector.person.post(&format!("{}/sign-offs", self.path), &form).await
    }

    pub async fn clears(&self) -> Answer {
        self.signs(&self.all_ticked(), "clear", "").await
    }

    pub async fn holds(&self, reason: &str) -> Answer {
        let fields: Vec<_> = self.all_ticked().into_iter().filter(|(name, _)| name == "id" || name == "seen").collect();
        self.signs(&fields, "hold", reason).await
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
