//! A paddock that sends and a gate that signs off, all at once, each remembering what they were told.

use crate::club::{Page, css};
use crate::dice::Dice;
use reqwest::{Client, RequestBuilder, Response, StatusCode, redirect};
use serde_json::{Value as Json, json};
use std::sync::Arc;
use std::time::Duration;
use uuid::Uuid;

/// A sheet that is judged in no time, so that the rounds are spent on writing and killing.
const SHORT_SHEET: &str = r#"
name = "Short day"
about = "A short sheet. The car maker's figures and the event's rules come before it."

[[area]]
id = "car"
name = "The car"

[[area.item]]
id = "nuts"
name = "Lug nuts"
ask = "Is every lug nut there?"
check = "Count wheel by wheel."
kind = "yes-no"
yes_means = "All there"
no_means = "One missing"
right = "yes"
severity = "stop"
why = "A wheel has a nut missing."
by_hand = "Every lug nut there, none turns by hand"
mend = "Fit the nut, then torque the whole wheel."
source = "common practice, no source"

[[area.item]]
id = "pad"
name = "Brake pad"
ask = "How thick is the thinnest pad?"
check = "Measure the lining without its plate."
kind = "measurement"
unit = "mm"
possible = [0, 30]
mend = "Fit new pads."
limits = [{ at_least = 3, severity = "stop", source = "common practice, no source" }]
source = "common practice, no source"

[[area.item]]
id = "remarks"
name = "Remarks"
ask = "What else was done to the car?"
check = "In your own words."
kind = "text"
longest = 1000
source = "common practice, no source"
"#;

/// How many cars are in the paddock.
pub const CARS: usize = 40;

pub struct Car {
    pub number: String,
    pub entry: Uuid,
    cookie: String,
}

/// The event that every round goes on with, and who may come in.
pub struct Paddock {
    pub client: Client,
    pub organizer: String,
    pub event: Uuid,
    edition: Uuid,
    gate: String,
    pub cars: Vec<Arc<Car>>,
}

/// What somebody did, as it went over the wire: it can be sent again byte for byte.
#[derive(Clone, Debug)]
pub struct Deed {
    pub id: Uuid,
    pub entry: Uuid,
    pub kind: &'static str,
    path: String,
    cookie: String,
    body: String,
}

/// What its maker was told.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fate {
    Answered,
    Refused(u16),
    /// The line went dead: it may be there or not.
    Unanswered,
}

/// Hears at once what somebody was told.
pub type Tell = Arc<dyn Fn(Deed, Fate) + Send + Sync>;

impl Paddock {
    /// Makes the event over HTTP, as an organizer does, and lets everybody in.
    pub async fn set_up(base: &str, first_secret: &str) -> Paddock {
        let client = Client::builder().redirect(redirect::Policy::none()).timeout(Duration::from_secs(20)).build();
        let client = client.expect("a client");
        let (organizer, _) = come_in(&client, base, first_secret).await;
        let visit = |path: String| client.get(format!("{base}{path}")).header("cookie", &organizer);
        let post = |path: String, form: &[(&str, &str)]| form_post(&client, &format!("{base}{path}"), &organizer, form);

        let edition = page(visit("/club".into())).await.value_of("select[name=edition] option");
        let form = [
            ("name", "Spring day"),
            ("venue", "Dunmere Ring"),
            ("day", "2026-05-09"),
            ("zone", "Europe/London"),
            ("groups", "A 08:50"),
            ("edition", edition.as_str()),
        ];
        let event = location(&told(post("/club/events".into(), &form)).await).split('/').nth(3).expect("an event").to_owned();
        let added = told(post(format!("/club/events/{event}/sheet/editions"), &[("file", SHORT_SHEET)])).await;
        assert_eq!(added.status(), StatusCode::SEE_OTHER, "the short sheet can be read: {:?}", added.text().await);
        let shown = page(visit(location(&added))).await;
        let [id, edition, digest] =
            ["id", "edition", "shown"].map(|name| shown.value_of(&format!("section.alert input[name={name}]")));
        told(post(format!("/club/events/{event}/sheet"), &[("id", &id), ("edition", &edition), ("shown", &digest)])).await;

        let roster: String = (1..=CARS).map(|n| format!("{n},Driver {n},Corvane S4,A,\n")).collect();
        let roster = reqwest::multipart::Form::new().text("text", format!("number,name,car,group,mail\n{roster}"));
        let url = format!("{base}/club/events/{event}/roster");
        told(client.post(url).header("cookie", &organizer).multipart(roster)).await;
        let links = told(post(format!("/club/events/{event}/links"), &[("as", "csv")])).await.text().await.expect("links");
        let mut cars = Vec::new();
        for line in links.lines().skip(1) {
            let number = line.split(',').next().expect("a number").trim_matches('"');
            let secret = line.rsplit("/in/").next().expect("a secret").trim_end_matches('"');
            let (cookie, home) = come_in(&client, base, secret).await;
            let entry = home.rsplit('/').next().and_then(|id| id.parse().ok()).expect("an entry");
            cars.push(Arc::new(Car { number: number.to_owned(), entry, cookie }));
        }
        assert_eq!(cars.len(), CARS, "every driver has a link");
        let inspector =
            page(post(format!("/club/events/{event}/people"), &[("role", "inspector"), ("name", "R. Holt")])).await.secret();
        let (gate, _) = come_in(&client, base, &inspector).await;
        let (event, edition) = (event.parse().expect("an id"), edition.parse().expect("an id"));
        Paddock { client, organizer, event, edition, gate, cars }
    }

    /// What the board says: the standing of every car number.
    pub async fn board(&self, base: &str) -> Vec<(String, String)> {
        let path = format!("{base}/club/events/{}", self.event);
        let board = page(self.client.get(path).header("cookie", &self.organizer)).await;
        let rows = css("tr[data-number]");
        let word = |row: &scraper::ElementRef<'_>, name| row.attr(name).unwrap_or_default().to_owned();
        board.html.select(&rows).map(|row| (word(&row, "data-number"), word(&row, "data-standing"))).collect()
    }

    /// Sends a deed; never the same way twice unless told so.
    pub async fn send(&self, base: &str, deed: &Deed) -> Fate {
        let request = self.client.post(format!("{base}{}", deed.path)).header("cookie", &deed.cookie);
        let kind = if deed.kind == "submission" { "application/json" } else { "application/x-www-form-urlencoded" };
        let request = request.header("content-type", kind).header("sec-fetch-site", "same-origin").body(deed.body.clone());
        match request.send().await.map(|answer| answer.status()) {
            Ok(StatusCode::CREATED | StatusCode::SEE_OTHER) => Fate::Answered,
            Ok(status) => Fate::Refused(status.as_u16()),
            Err(_) => Fate::Unanswered,
        }
    }

    pub fn submission(&self, car: &Car, seen: &[Uuid], dice: &mut Dice) -> Deed {
        let id = dice.id();
        let pad = if dice.once_in(4) { 2.1 } else { 9.0 };
        let remarks = "New pads, new fluid. ".repeat(dice.between(1, 45) as usize);
        let answers = json!({ "nuts": { "value": "yes" }, "pad": { "value": pad, "unit": "mm" },
            "remarks": { "value": remarks } });
        let body: Json = json!({ "id": id, "seen": seen, "edition": self.edition, "answers": answers });
        let path = format!("/my/{}/submissions", car.entry);
        Deed { id, entry: car.entry, kind: "submission", path, cookie: car.cookie.clone(), body: body.to_string() }
    }

    fn sign_off(&self, car: &Car, kind: &'static str, seen: &[Uuid], dice: &mut Dice) -> Deed {
        let id = dice.id();
        let seen = seen.iter().map(Uuid::to_string).collect::<Vec<_>>().join(",");
        let mut form = form_urlencoded::Serializer::new(String::new());
        form.append_pair("id", &id.to_string()).append_pair("seen", &seen).append_pair("deed", kind);
        if kind == "hold" {
            form.append_pair("reason", "Oil at the gearbox.");
        } else {
            form.append_pair("closes-pad", "1");
            // An inspector who forgets the nuts must not clear the car, kill or no kill.
            if !dice.once_in(8) {
                form.append_pair("by-hand-nuts", "1");
            }
        }
        let path = format!("/gate/{}/entries/{}/sign-offs", self.event, car.entry);
        Deed { id, entry: car.entry, kind, path, cookie: self.gate.clone(), body: form.finish() }
    }

    /// One device of a car and the gate beside it, until the line goes dead.
    pub async fn keep_on(&self, base: &str, car: &Car, mut heads: Vec<Uuid>, mut dice: Dice, tell: Tell) {
        let mut before = Vec::new();
        loop {
            // Now and then from a page that was opened before the last record: the history branches.
            let seen = if dice.once_in(6) { before.clone() } else { heads.clone() };
            let deed = match dice.between(0, 5) {
                0..=2 => self.submission(car, &seen, &mut dice),
                3..=4 => self.sign_off(car, "clear", &seen, &mut dice),
                _ => self.sign_off(car, "hold", &seen, &mut dice),
            };
            let fate = self.send(base, &deed).await;
            let id = deed.id;
            tell(deed, fate);
            match fate {
                Fate::Unanswered => return,
                Fate::Refused(_) => {}
                Fate::Answered => {
                    before = heads.clone();
                    heads.retain(|head| !seen.contains(head));
                    heads.push(id);
                }
            }
        }
    }
}

async fn come_in(client: &Client, base: &str, secret: &str) -> (String, String) {
    let door = format!("{base}/in/{secret}");
    let mut answer = told(client.get(&door)).await;
    if answer.status() == StatusCode::OK {
        // A one-time link: this device is to be let in, an organizer's with a passphrase.
        let cookie = answer.headers().get("set-cookie").and_then(|value| value.to_str().ok()).expect("a cookie").to_owned();
        let cookie = cookie.split(';').next().unwrap_or_default();
        let sets = answer.text().await.is_ok_and(|page| page.contains("new-password"));
        let form: &[(&str, &str)] = if sets { &[("passphrase", crate::club::PASSPHRASE)] } else { &[] };
        answer = told(form_post(client, &door, cookie, form)).await;
    }
    assert_eq!(answer.status(), StatusCode::SEE_OTHER, "the link lets its holder in");
    let cookie = answer.headers().get("set-cookie").and_then(|value| value.to_str().ok()).expect("a cookie");
    (cookie.split(';').next().unwrap_or_default().to_owned(), location(&answer))
}

fn form_post(client: &Client, url: &str, cookie: &str, form: &[(&str, &str)]) -> RequestBuilder {
    client.post(url).header("cookie", cookie).header("sec-fetch-site", "same-origin").form(form)
}

async fn told(request: RequestBuilder) -> Response {
    let answer = request.send().await.expect("the server answers");
    assert!(answer.status().as_u16() < 400, "{} is answered with {}", answer.url(), answer.status());
    answer
}

async fn page(request: RequestBuilder) -> Page {
    Page { html: scraper::Html::parse_document(&told(request).await.text().await.expect("a page")) }
}

fn location(answer: &Response) -> String {
    answer.headers().get("location").and_then(|value| value.to_str().ok()).unwrap_or_default().to_owned()
}
