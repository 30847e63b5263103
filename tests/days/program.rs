//! The program as the days use it: in this process, through its own router and its own acts. The only file, with `file.rs`, that
//! knows the program's forms, addresses, columns and names.

use super::rule::Standing;
use axum::Router;
use axum::body::Body;
use axum::http::{Request, header};
use jiff::Timestamp;
use serde_json::{Map, Value as Json};
use sqlx::FromRow;
use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicI64, AtomicU64, Ordering};
use tower::ServiceExt;
use uuid::Uuid;
use witnessmark::acts::enter::{Caller, enter};
use witnessmark::acts::hand_out::{Drivers, Use, anew, to_drivers, to_inspector, to_marshal};
use witnessmark::acts::house::Outside;
use witnessmark::acts::open_event::{EventForm, open_event};
use witnessmark::acts::set_up::set_up_for;
use witnessmark::acts::{Actor, House, board, let_out, pass, personal, preview, raise_edition, state, take_roster};
use witnessmark::rules::units::Units;
use witnessmark::verify;
use witnessmark::web::{Web, router};

/// How long before its arrival a record may say that it was made, in days.
pub const OLDEST_DAYS: i64 = 30;
/// How far ahead of the server a device's clock is believed, in minutes.
pub const AHEAD_MIN: i64 = 15;
/// 2026-05-09 06:00 UTC, in milliseconds: the day's morning.
const MORNING_MS: i64 = 1_778_306_400_000;
/// The midnight after the event's day in London, when passes end: 23:00 UTC.
pub const NIGHT_MS: i64 = MORNING_MS + 17 * 3_600_000;

/// A clock that the day moves, and ids and secrets that are the same at every run.
pub struct Clock {
    ms: AtomicI64,
    ids: AtomicU64,
}

impl Clock {
    /// `from` keeps the ids of a day apart from those of the club that it begins with.
    fn new(from: u64) -> Arc<Clock> {
        Arc::new(Clock { ms: AtomicI64::new(MORNING_MS), ids: AtomicU64::new(from) })
    }

    pub fn ms(&self) -> i64 {
        self.ms.load(Ordering::Relaxed)
    }

    /// Puts the clock on or back; it stays within half a day of the morning.
    pub fn step(&self, minutes: i64) {
        let ms = (self.ms() + minutes * 60_000).clamp(MORNING_MS - 6 * 3_600_000, MORNING_MS + 18 * 3_600_000);
        self.ms.store(ms, Ordering::Relaxed);
    }
}

impl Outside for Clock {
    fn now(&self) -> Timestamp {
        // A clock never stands quite still.
        Timestamp::from_millisecond(self.ms.fetch_add(7, Ordering::Relaxed)).expect("a time")
    }

    fn new_id(&self) -> Uuid {
        id_of(self.ids.fetch_add(1, Ordering::Relaxed), self.ms())
    }

    fn new_secret(&self) -> [u8; 20] {
        let mut secret = [7; 20];
        secret[..8].copy_from_slice(&self.ids.fetch_add(1, Ordering::Relaxed).to_be_bytes());
        secret
    }
}

fn id_of(nth: u64, ms: i64) -> Uuid {
    let mut bytes = [0; 10];
    bytes[2..].copy_from_slice(&nth.to_be_bytes());
    uuid::Builder::from_unix_timestamp_millis(ms as u64, &bytes).into_uuid()
}

/// The id of a day's record by its number: ids say nothing of the order in which records are made.
pub fn record_id(nth: u32) -> Uuid {
    let scattered = u64::from(nth).wrapping_mul(0x9e37_79b9_7f4a_7c15);
    id_of(0xda00_0000_0000_0000 | u64::from(nth), MORNING_MS + (scattered >> 40) as i64)
}

/// A browser that came in.
#[derive(Clone, Debug)]
pub struct Device {
    pub name: String,
    pub cookie: String,
    pub device: Uuid,
    pub link: Uuid,
}

#[derive(Clone, Debug)]
pub struct Car {
    pub entry: Uuid,
    pub number: String,
}

/// A club that is all set up, as a file to copy.
pub struct Club {
    file: PathBuf,
    event: Uuid,
    organizer: (Arc<Actor>, String),
    pub cars: Vec<Car>,
    pub drivers: Vec<Vec<Device>>,
    pub inspectors: Vec<Vec<Device>>,
    pub marshals: Vec<Device>,
}

const PEOPLE: [(&str, &str); 5] = [
    ("7", "Marta Lindqvist"),
    ("12", "Jonas Achterberg"),
    ("27", "Ines Okafor"),
    ("114B", "Tomas Reyes"),
    ("31", "Ada Fairweather"),
];
pub const INSPECTORS: [&str; 2] = ["R. Holt", "P. Vane"];

async fn comes_in(house: &House, secret: &str) -> Device {
    let entered = enter(house, secret, Caller::default()).await.expect("the link lets its holder in");
    let actor = entered.actor;
    Device { name: actor.name, cookie: entered.cookie, device: actor.device, link: actor.link }
}

impl Club {
    /// Sets a club up, once for all days with so many cars.
    pub async fn found(folder: &Path, cars: usize, sheet: &str) -> Club {
        let file = folder.join(format!("club-{cars}.sqlite"));
        let house = House::open(&file, Clock::new(1)).await.expect("a new database");
        let first =
            set_up_for(&house, "Seven Fells Motor Club", "M. Ashdown", Use::Often).await.expect("a set-up").expect("a link");
        let entered = enter(&house, &first.secret, Caller::default()).await.expect("an organizer");
        let organizer = Arc::new(entered.actor);
        let edition = raise_edition::add_edition(&house, &organizer, sheet).await.expect("a sheet");
        let form = EventForm {
            name: "Spring day".into(),
            venue: "Dunmere Ring".into(),
            day: "2026-05-09".into(),
            zone: "Europe/London".into(),
            groups: "A 08:50\nB 09:20".into(),
            edition: edition.to_string(),
        };
        let event = open_event(&house, &organizer, &form).await.expect("an event");
        let line =
            |(number, name): &(&str, &str)| format!("{number},{name},Corvane S4,{}\n", if *number == "7" { "A" } else { "B" });
        let roster = format!("number,name,car,group\n{}", PEOPLE[..cars].iter().map(line).collect::<String>());
        take_roster::take_roster(&house, &organizer, event, roster.as_bytes()).await.expect("a roster");
        let (mut known, mut drivers) = (Vec::new(), Vec::new());
        for (entry, out) in to_drivers(&house, &organizer, event, Drivers::All).await.expect("links") {
            known.push(Car { entry: entry.id, number: entry.number.to_string() });
            drivers.push(vec![comes_in(&house, &out.secret).await, comes_in(&house, &out.secret).await]);
        }
        let mut inspectors = Vec::new();
        for name in INSPECTORS {
            let out = to_inspector(&house, &organizer, event, name).await.expect("a link");
            inspectors.push(vec![comes_in(&house, &out.secret).await]);
        }
        let out = to_marshal(&house, &organizer, event, "Pit exit").await.expect("a link");
        let marshals = vec![comes_in(&house, &out.secret).await, comes_in(&house, &out.secret).await];
        house.close().await;
        Club { file, event, organizer: (organizer, entered.cookie), cars: known, drivers, inspectors, marshals }
    }
}

/// What a raise is said to do to a car: from where to where, and whether open findings fall away or come.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Moves {
    pub from: &'static str,
    pub to: &'static str,
    pub falls_away: bool,
    pub comes: bool,
}

/// A record as it lies in the table.
#[derive(Clone, Debug, PartialEq)]
pub struct Stored {
    pub id: Uuid,
    pub entry: Uuid,
    pub place: i64,
    pub kind: String,
    pub seen: BTreeSet<Uuid>,
    pub body: Json,
    pub maker: Option<String>,
    pub counts: bool,
    pub made_at: i64,
    pub arrived_at: i64,
    /// The edition in force when it arrived.
    pub edition: Uuid,
}

impl Stored {
    /// What an inspector or organizer said.
    pub fn words(&self) -> Words {
        let texts = |name: &str| {
            let list = self.body.get(name).and_then(Json::as_array).into_iter().flatten();
            list.filter_map(Json::as_str).map(str::to_owned).collect()
        };
        let object = |name: &str| self.body.get(name).and_then(Json::as_object).cloned().unwrap_or_default();
        let sentence = |(item, text): (String, Json)| Some((item, text.as_str()?.to_owned()));
        Words {
            reason: self.body.get("reason").and_then(Json::as_str).unwrap_or_default().to_owned(),
            closes: texts("items"),
            by_hand: texts("by_hand"),
            readings: object("readings"),
            seen_as: object("seen_as").into_iter().filter_map(sentence).collect(),
        }
    }

    pub fn answers(&self) -> Map<String, Json> {
        self.body.get("answers").and_then(Json::as_object).cloned().unwrap_or_default()
    }

    /// The edition that a submission's answers were given to.
    pub fn given_to(&self) -> Option<Uuid> {
        self.body.get("edition")?.as_str()?.parse().ok()
    }
}

#[derive(FromRow)]
struct Row {
    id: Vec<u8>,
    entry_id: Option<Vec<u8>>,
    edition_id: Vec<u8>,
    place: i64,
    kind: String,
    seen: String,
    body: String,
    maker: Option<String>,
    counts: bool,
    made_at: i64,
    arrived_at: i64,
}

/// What came back.
pub struct Answer {
    pub status: u16,
    pub is_json: bool,
    pub text: String,
}

impl Answer {
    pub fn is_taken(&self) -> bool {
        matches!(self.status, 201 | 204 | 303)
    }

    pub fn json(&self) -> Json {
        serde_json::from_str(&self.text).unwrap_or_default()
    }
}

/// What a request carries.
#[derive(Clone, Debug)]
pub enum Carried {
    Form(Vec<(String, String)>),
    Json(Json),
}

/// The running program.
pub struct Program {
    house: Arc<House>,
    router: Router,
    closing: tokio_util::sync::CancellationToken,
    path: PathBuf,
    pub clock: Arc<Clock>,
    pub event: Uuid,
    organizer: (Arc<Actor>, String),
    pub requests: u64,
}

impl Program {
    /// Starts it on a copy of the club's file.
    pub async fn start(club: &Club, path: &Path) -> Program {
        std::fs::copy(&club.file, path).expect("a copy");
        let clock = Clock::new(1_000_000);
        let (house, router, closing) = Program::opened(path, &clock).await;
        let organizer = club.organizer.clone();
        Program { house, router, closing, path: path.to_owned(), clock, event: club.event, organizer, requests: 0 }
    }

    async fn opened(path: &Path, clock: &Arc<Clock>) -> (Arc<House>, Router, tokio_util::sync::CancellationToken) {
        let house = Arc::new(House::open(path, clock.clone()).await.expect("the database"));
        let web = Web::new(house.clone(), "http://localhost");
        let closing = web.closing.clone();
        (house, router(web), closing)
    }

    /// Ends the program, in order or not, and starts it on the same file.
    pub async fn restart(&mut self, in_order: bool) {
        self.closing.cancel();
        if in_order {
            self.house.close().await;
        }
        (self.house, self.router, self.closing) = Program::opened(&self.path, &self.clock).await;
    }

    pub async fn end(self) {
        self.closing.cancel();
        self.house.close().await;
    }

    pub fn organizer(&self) -> Device {
        let (actor, cookie) = &self.organizer;
        Device { name: actor.name.clone(), cookie: cookie.clone(), device: actor.device, link: actor.link }
    }

    async fn send(&mut self, request: axum::http::request::Builder, body: Body) -> Answer {
        self.requests += 1;
        let request = request.body(body).expect("a request");
        let Ok(response) = self.router.clone().oneshot(request).await;
        let status = response.status().as_u16();
        let kind = response.headers().get(header::CONTENT_TYPE).and_then(|kind| kind.to_str().ok()).unwrap_or_default();
        let is_json = kind.starts_with("application/json");
        let bytes = axum::body::to_bytes(response.into_body(), usize::MAX).await.expect("a body");
        Answer { status, is_json, text: String::from_utf8(bytes.to_vec()).expect("UTF-8") }
    }

    /// Opens a page.
    pub async fn get(&mut self, path: &str, cookie: &str) -> Answer {
        let request = Request::get(path).header(header::COOKIE, format!("witnessmark={cookie}"));
        self.send(request, Body::empty()).await
    }

    /// Sends something as a page's script does (with `by_script`) or as its form does.
    pub async fn post(&mut self, path: &str, cookie: &str, carried: &Carried, by_script: bool) -> Answer {
        let request =
            Request::post(path).header(header::COOKIE, format!("witnessmark={cookie}")).header("sec-fetch-site", "same-origin");
        let request = if by_script { request.header(header::ACCEPT, "application/json") } else { request };
        match carried {
            Carried::Json(json) => {
                self.send(request.header(header::CONTENT_TYPE, "application/json"), Body::from(json.to_string())).await
            }
            Carried::Form(fields) => {
                let text = form_urlencoded::Serializer::new(String::new()).extend_pairs(fields).finish();
                self.send(request.header(header::CONTENT_TYPE, "application/x-www-form-urlencoded"), Body::from(text)).await
            }
        }
    }

    /// Every record of a car, in the order of the chain; and how often the chain says that the event was raised.
    pub async fn stored(&self) -> (Vec<Stored>, usize) {
        let mut db = self.house.store.read().await.expect("a connection");
        let columns = "select id, entry_id, edition_id, place, kind, seen, body, maker, counts, made_at, arrived_at from record \
            where entry_id is not null or kind = 'raise' order by place";
        let rows: Vec<Row> = sqlx::query_as(columns).fetch_all(&mut *db).await.expect("the records");
        let raises = rows.iter().filter(|row| row.kind == "raise").count();
        let id = |bytes: &[u8]| Uuid::from_slice(bytes).expect("an id");
        let stored = |row: Row| {
            Some(Stored {
                id: id(&row.id),
                entry: id(row.entry_id.as_deref()?),
                place: row.place,
                kind: row.kind,
                seen: serde_json::from_str(&row.seen).expect("ids"),
                body: serde_json::from_str(&row.body).expect("JSON"),
                maker: row.maker,
                counts: row.counts,
                made_at: row.made_at,
                arrived_at: row.arrived_at,
                edition: id(&row.edition_id),
            })
        };
        (rows.into_iter().filter_map(stored).collect(), raises)
    }

    /// Adds an edition.
    pub async fn add_edition(&self, file: &str) -> Result<Uuid, String> {
        raise_edition::add_edition(&self.house, &self.organizer.0, file).await.map_err(|refusal| format!("{refusal:?}"))
    }

    /// Raises the event as the organizer does: looks at what it would move, and sends the page's form.
    pub async fn raise(&mut self, edition: Uuid) -> Answer {
        let path = format!("/club/events/{}/sheet", self.event);
        let cookie = self.organizer.1.clone();
        let page = self.get(&format!("{path}?edition={edition}"), &cookie).await;
        if page.status != 200 {
            return page;
        }
        let form = page.text.find("class=\"alert\"").map_or("", |at| &page.text[at..]);
        let fields = hidden(form);
        self.post(&path, &cookie, &Carried::Form(fields), false).await
    }

    /// What the preview says of cars that move, by car number.
    pub async fn preview(&self, edition: Uuid) -> Result<BTreeMap<String, Moves>, String> {
        let seen = preview::preview(&self.house, &self.organizer.0, self.event, edition).await;
        let moves = seen.map_err(|refusal| format!("{refusal:?}"))?.moves.into_iter().map(|one| {
            let (falls_away, comes) = (!one.falls_away.is_empty(), !one.comes.is_empty());
            (one.entry.number.to_string(), Moves { from: one.from.word(), to: one.to.word(), falls_away, comes })
        });
        Ok(moves.collect())
    }

    pub async fn end_device(&self, device: &Device) {
        // Ended twice, it is ended.
        let _ = let_out::device_of(&self.house, &self.organizer.0, self.event, device.device).await;
    }

    pub async fn take_back(&self, link: Uuid) {
        let _ = let_out::person(&self.house, &self.organizer.0, self.event, link).await;
    }

    /// Another phone for an inspector: by a new link, or by a link made anew where the old one still stands.
    pub async fn let_in_again(&self, name: &str, link: Uuid) -> Device {
        let out = match anew(&self.house, &self.organizer.0, self.event, link).await {
            Ok(out) => out,
            Err(_) => to_inspector(&self.house, &self.organizer.0, self.event, name).await.expect("a link"),
        };
        comes_in(&self.house, &out.secret).await
    }

    /// A new link for a driver, used on two phones; `None` where the driver was erased.
    pub async fn new_link(&self, entry: Uuid) -> Option<Vec<Device>> {
        let made = to_drivers(&self.house, &self.organizer.0, self.event, Drivers::One(entry)).await.ok()?;
        let (_, out) = made.first()?;
        Some(vec![comes_in(&self.house, &out.secret).await, comes_in(&self.house, &out.secret).await])
    }

    pub async fn erase(&self, entry: Uuid) -> Result<(), String> {
        personal::erase(&self.house, &self.organizer.0, self.event, entry).await.map_err(|refusal| format!("{refusal:?}"))
    }

    /// The pass that a car has now.
    pub async fn pass(&self, entry: Uuid) -> Result<Option<Pass>, String> {
        let said = |refusal| format!("{refusal:?}");
        let reached = pass::reached(&self.house, entry).await.map_err(said)?;
        let known = self.house.event(self.event).await.map_err(said)?;
        let state = state::read(&self.house, &known, entry, &Units::METRIC).await.map_err(said)?;
        let given = pass::of_entry(&self.house, &known, &state, reached).await.map_err(said)?;
        let place = |text: &str| {
            witnessmark::rules::pass::Pass::read(text).map(|pass| i64::from(pass.place)).map_err(|why| why.to_string())
        };
        given.map(|given| Ok(Pass { entry, place: place(&given.text)?, text: given.text })).transpose()
    }

    /// The board in memory: standing by car number.
    pub async fn board(&self) -> Result<BTreeMap<String, String>, String> {
        let board = board::board(&self.house, self.event).await.map_err(|refusal| format!("{refusal:?}"))?;
        Ok(board.rows.iter().map(|row| (row.entry.number.to_string(), row.standing.word().to_owned())).collect())
    }

    /// Whether `verify` says that the file fits.
    pub async fn verify(&self) -> Result<(), String> {
        let verdict = verify::database(&self.path, verify::Kept::default()).await.map_err(|error| error.to_string())?;
        if verdict.fits { Ok(()) } else { Err(verdict.words) }
    }
}

/// The hidden fields of a form, names and values.
fn hidden(html: &str) -> Vec<(String, String)> {
    let inputs = html.split("<input type=\"hidden\" name=\"").skip(1);
    let field = |input: &str| {
        let (name, rest) = input.split_once('"')?;
        let value = rest.split_once("value=\"")?.1.split('"').next()?;
        Some((name.to_owned(), value.to_owned()))
    };
    inputs.filter_map(field).collect()
}

/// The text between two others, each time it comes.
pub fn between<'t>(text: &'t str, begin: &'static str, end: &'static str) -> impl Iterator<Item = &'t str> {
    text.split(begin).skip(1).filter_map(move |rest| rest.split(end).next())
}

/// A car's page at the gate as a phone has it open.
#[derive(Clone, Debug, Default)]
pub struct GatePage {
    pub fields: Vec<(String, String)>,
    pub by_hand: Vec<String>,
    pub closes: Vec<String>,
    /// Where the inspector may give a reading: item and place.
    pub readings: Vec<(String, String)>,
    /// Items of which the inspector may say in a sentence what was seen.
    pub sentences: Vec<String>,
    pub standing: String,
}

impl GatePage {
    pub fn of(html: &str) -> Option<GatePage> {
        let form = html.find("data-sign-off").map_or("", |at| &html[at..]);
        let names = |begin| between(form, begin, "\"").map(str::to_owned).collect::<Vec<_>>();
        let reading = |name: String| {
            name.split_once('.').map_or((name.clone(), String::new()), |(item, place)| (item.into(), place.into()))
        };
        Some(GatePage {
            fields: hidden(form),
            by_hand: names("name=\"by-hand-"),
            closes: names("name=\"closes-"),
            readings: names("<input name=\"reading-").into_iter().map(reading).collect(),
            sentences: names("<input name=\"seen-"),
            standing: between(html, "<p class=\"standing ", "\"").next()?.to_owned(),
        })
    }

    fn field(&self, name: &str) -> &str {
        self.fields.iter().find(|(field, _)| field == name).map_or("", |(_, value)| value.as_str())
    }

    pub fn seen(&self) -> BTreeSet<Uuid> {
        self.field("seen").split(',').filter_map(|id| id.parse().ok()).collect()
    }

    /// The unit in which this page takes readings of an item.
    pub fn unit(&self, item: &str) -> &str {
        self.field(&format!("reading-{item}.unit"))
    }

    /// The page's form with what an inspector ticked and gave.
    pub fn filled(
        &self,
        id: Uuid,
        seen: &BTreeSet<Uuid>,
        given: &Words,
        made: Option<String>,
        clear: bool,
    ) -> Vec<(String, String)> {
        let mut fields: Vec<(String, String)> =
            self.fields.iter().filter(|(name, _)| name != "id" && name != "seen").cloned().collect();
        let mut add = |name: String, value: String| fields.push((name, value));
        add("id".into(), id.to_string());
        add("seen".into(), seen.iter().map(Uuid::to_string).collect::<Vec<_>>().join(","));
        given.by_hand.iter().for_each(|item| add(format!("by-hand-{item}"), "1".into()));
        given.closes.iter().for_each(|item| add(format!("closes-{item}"), "1".into()));
        for (item, reading) in &given.readings {
            let value = reading.get("value").map(|value| (String::new(), value.clone()));
            let at = reading.get("at").and_then(Json::as_object).into_iter().flatten();
            for (place, number) in value.into_iter().chain(at.map(|(place, number)| (format!(".{place}"), number.clone()))) {
                add(format!("reading-{item}{place}"), number.to_string());
            }
        }
        given.seen_as.iter().for_each(|(item, sentence)| add(format!("seen-{item}"), sentence.clone()));
        add("deed".into(), if clear { "clear" } else { "hold" }.into());
        add("reason".into(), given.reason.clone());
        if let Some(made) = made {
            add("made_at".into(), made);
        }
        fields
    }
}

/// What an inspector or organizer says.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Words {
    pub reason: String,
    pub closes: BTreeSet<String>,
    pub by_hand: BTreeSet<String>,
    /// As an answers file has them, by item.
    pub readings: Map<String, Json>,
    pub seen_as: BTreeMap<String, String>,
}

/// What a driver's page knows: what it has seen, and its edition.
pub fn sheet_page(html: &str) -> Option<(BTreeSet<Uuid>, Uuid, String)> {
    let seen = between(html, "data-seen=\"", "\"").next()?.split(',').filter_map(|id| id.parse().ok()).collect();
    let edition = between(html, "data-edition=\"", "\"").next()?.parse().ok()?;
    Some((seen, edition, between(html, "<div class=\"state ", "\"").next()?.to_owned()))
}

/// A pass as a marshal's phone reads it.
#[derive(Clone, Debug)]
pub struct Pass {
    pub entry: Uuid,
    place: i64,
    pub text: String,
}

/// What a marshal's phone asks the list with: the place and hash of the list that it has.
pub fn list_address(event: Uuid, kept: Option<&Json>) -> String {
    let has = kept.map(|kept| format!("?place={}&hash={}", kept["place"], kept["hash"].as_str().unwrap_or_default()));
    format!("/grid/{event}/cars.json{}", has.unwrap_or_default())
}

/// Whether a list that came replaces the one that a marshal's phone has: as `static/js/grid.js` decides it.
pub fn replaces(kept: &Json, got: &Json) -> bool {
    got["follows"] != true || got["place"].as_i64() >= kept["place"].as_i64()
}

/// The list's word on a car, and with a pass in hand: as `static/js/verdict.js` decides it. The clock of the phone is right.
pub fn marshal_says_cleared(list: &Json, car: &Car, pass: Option<&Pass>, now_ms: i64) -> Option<bool> {
    let entry = car.entry.to_string();
    let row = list["cars"].as_array()?.iter().find(|row| row["entry"] == entry.as_str())?;
    if now_ms >= NIGHT_MS {
        return Some(false);
    }
    let by_list = row["cleared"].as_bool()?;
    let is_newer = pass.is_some_and(|pass| Some(pass.place) > list["place"].as_i64());
    Some(by_list || is_newer && row["held"] != true)
}

/// The cars of `cars.json` that are said to be cleared.
pub fn cleared_in_list(list: &Json) -> Option<BTreeSet<String>> {
    let cars = list["cars"].as_array()?.iter().filter(|car| car["cleared"] == true);
    Some(cars.filter_map(|car| car["number"].as_str().map(str::to_owned)).collect())
}

/// The standing that a word of the program says.
pub fn standing_of(word: &str) -> Option<Standing> {
    [Standing::Pending, Standing::Flagged, Standing::Cleared].into_iter().find(|standing| standing.word() == word)
}
