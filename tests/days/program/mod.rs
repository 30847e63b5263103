//! The program as the days use it: in this process, through its own router and its own acts. Only this folder knows the program's
//! forms, addresses, columns and names.

mod club;
pub mod file;
mod pages;
mod stored;

pub use club::{Car, Clock, Club, Device, NIGHT_MS, record_id};
pub use pages::{
    GatePage, Pass, Words, between, cleared_in_list, list_address, marshal_says_cleared, replaces, sheet_page, standing_of,
};
pub use stored::Stored;

use axum::Router;
use axum::body::Body;
use axum::http::{Request, header};
use club::comes_in;
use pages::hidden;
use serde_json::Value as Json;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::{Duration, Instant};
use tokio_util::sync::CancellationToken;
use tower::ServiceExt;
use uuid::Uuid;
use witnessmark::acts::hand_out::{Drivers, anew, to_drivers, to_inspector};
use witnessmark::acts::{Actor, House, board, let_out, pass, personal, preview, raise_edition, state};
use witnessmark::rules::units::Units;
use witnessmark::verify;
use witnessmark::web::{Web, router};

/// How long before its arrival a record may say that it was made, in days.
pub const OLDEST_DAYS: i64 = 30;
/// How far ahead of the server a device's clock is believed, in minutes.
pub const AHEAD_MIN: i64 = 15;

/// What a raise is said to do to a car: from where to where, and whether open findings fall away or come.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Moves {
    pub from: &'static str,
    pub to: &'static str,
    pub falls_away: bool,
    pub comes: bool,
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
    closing: CancellationToken,
    path: PathBuf,
    pub clock: Arc<Clock>,
    pub event: Uuid,
    organizer: (Arc<Actor>, String),
    pub requests: u64,
    /// How often each kind of thing was asked, and how long it took in all.
    pub spent: Spent,
}

impl Program {
    /// Starts it on a copy of the club's file.
    pub async fn start(club: &Club, path: &Path) -> Program {
        let began = Instant::now();
        std::fs::copy(&club.file, path).expect("a copy");
        let clock = Clock::new(1_000_000);
        let (house, router, closing) = Program::opened(path, &clock).await;
        let organizer = club.organizer.clone();
        let mut spent = Spent::new();
        spent.insert("starting", (1, began.elapsed()));
        let (path, event) = (path.to_owned(), club.event);
        Program { house, router, closing, path, clock, event, organizer, requests: 0, spent }
    }

    async fn opened(path: &Path, clock: &Arc<Clock>) -> (Arc<House>, Router, CancellationToken) {
        let house = Arc::new(House::open(path, clock.clone()).await.expect("the database"));
        let web = Web::new(house.clone(), "http://localhost");
        let closing = web.closing.clone();
        (house, router(web), closing)
    }

    /// Ends the program, in order or not, and starts it on the same file.
    pub async fn restart(&mut self, in_order: bool) {
        let began = Instant::now();
        self.closing.cancel();
        if in_order {
            self.house.close().await;
        }
        (self.house, self.router, self.closing) = Program::opened(&self.path, &self.clock).await;
        self.spend("starting", began);
    }

    fn spend(&mut self, what: &'static str, began: Instant) {
        let sum = self.spent.entry(what).or_default();
        (sum.0, sum.1) = (sum.0 + 1, sum.1 + began.elapsed());
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
        let began = Instant::now();
        let request = request.body(body).expect("a request");
        let what = kind_of(request.method().as_str(), request.uri().path());
        let Ok(response) = self.router.clone().oneshot(request).await;
        let status = response.status().as_u16();
        let kind = response.headers().get(header::CONTENT_TYPE).and_then(|kind| kind.to_str().ok()).unwrap_or_default();
        let is_json = kind.starts_with("application/json");
        let bytes = axum::body::to_bytes(response.into_body(), usize::MAX).await.expect("a body");
        self.spend(what, began);
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
    pub async fn stored(&mut self) -> (Vec<Stored>, usize) {
        let began = Instant::now();
        let mut db = self.house.store.read().await.expect("a connection");
        let records = stored::all(&mut db).await;
        self.spend("the table", began);
        records
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

/// How often, and how long in all, by kind.
pub type Spent = BTreeMap<&'static str, (u64, Duration)>;

/// What kind of thing is asked for, for the sums.
fn kind_of(method: &str, path: &str) -> &'static str {
    let last = path.rsplit('/').next().unwrap_or_default();
    match (method, path.split('/').nth(1).unwrap_or_default(), last) {
        ("POST", _, "submissions") => "a submission",
        ("POST", "gate", _) => "a sign-off",
        ("POST", ..) => "another form",
        (_, "gate", "pages.json") => "the gate's changed pages",
        (_, "gate", _) => "a page at the gate",
        (_, "grid", "cars.json") => "the marshal's list",
        (_, "club", "cleared.csv") => "the cleared list as CSV",
        (_, "club", _) => "an organizer's page",
        (_, "my", _) => "a driver's page",
        _ => "another page",
    }
}
