//! A garage of 20,000 notes, the most that one holds: what its pages take in this process, without a wire:
//! `cargo bench --bench garage`.
//!
//! The first look after a start reads every note; the looks after it read what came since.

#[path = "machine.rs"]
mod machine;

use axum::body::{Body, to_bytes};
use axum::http::Request;
use machine::Machine;
use std::sync::Arc;
use std::time::{Duration, Instant};
use tempfile::TempDir;
use tower::ServiceExt;
use uuid::Uuid;
use witnessmark::acts::House;
use witnessmark::acts::enter::{Caller, enter};
use witnessmark::acts::garage::note::note;
use witnessmark::acts::garage::open::{Opened, open};
use witnessmark::acts::hand_out::{Drivers, Use, to_drivers};
use witnessmark::acts::open_event::{EventForm, open_event};
use witnessmark::acts::set_up::set_up_for;
use witnessmark::acts::take_roster::take_roster;
use witnessmark::rules::garage::change::{Change, Readings, Taken};
use witnessmark::rules::garage::kinds::{Fluid, ReadingKind};
use witnessmark::rules::garage::log::days_later;
use witnessmark::web::{Web, router};

const NOTES: usize = 20_000;
const ROUNDS: usize = 15;
/// As many at a time as a table of the log brings.
const AT_A_TIME: usize = 2_000;

/// A garage that a driver has just opened.
async fn opened(house: &House) -> Opened {
    let first = set_up_for(house, "Seven Fells Motor Club", "M. Ashdown", Use::Often).await.expect("a set-up");
    let organizer = enter(house, &first.expect("an organizer").secret, Caller::default()).await.expect("the organizer comes in");
    let edition = {
        let mut db = house.store.read().await.expect("a reader");
        witnessmark::store::club::editions(&mut db).await.expect("editions")[0].id
    };
    let form = EventForm {
        name: "Spring day".into(),
        venue: "Dunmere Ring".into(),
        day: days_later(house.now().to_zoned_datetime(jiff::tz::TimeZone::UTC).date(), 20).to_string(),
        zone: "Europe/London".into(),
        groups: "A 08:50\nB 09:20".into(),
        edition: edition.to_string(),
    };
    let event = open_event(house, &organizer.actor, &form).await.expect("an event");
    let roster = b"number,name,car,group\n27,Ines Okafor,Corvane S4,B\n".to_vec();
    take_roster(house, &organizer.actor, event, roster).await.expect("a roster");
    let made = to_drivers(house, &organizer.actor, event, Drivers::WithoutLink).await.expect("a link");
    let (entry, out) = made.into_iter().next().expect("a driver");
    let driver = enter(house, &out.secret, Caller::default()).await.expect("the driver comes in");
    open(house, &driver.actor, entry.id, house.new_id(), &Caller::default()).await.expect("a garage")
}

/// The nth note: mostly driving and readings, some fluids, and every fortieth line struck out again.
fn change(nth: usize, car: Uuid, today: jiff::civil::Date, before: Option<Uuid>) -> Change {
    let taken = Taken { day: days_later(today, -((NOTES - nth) as i64 / 6)), clock: None };
    let pad = 11.0 - (nth % 2_000) as f64 / 300.0;
    match (nth % 10, before) {
        (9, Some(line)) if nth % 40 == 39 => Change::Struck { line },
        (0..=4, _) => Change::Track { car, taken, minutes: 20.0, sessions: 1, note: "Dry, the tail steps out late.".into() },
        (5, _) => Change::Changed { car, taken, fluid: Fluid::BrakeFluid, grade: "DOT 4".into(), note: String::new() },
        (kind, _) => {
            let (what, unit) = [(ReadingKind::Pad, "mm"), (ReadingKind::Tread, "mm")][kind % 2];
            let at = ["lf", "rf", "lr", "rr"].map(|place| (place.to_owned(), pad)).into();
            let readings =
                Readings { what, unit: unit.into(), at, fresh: nth % 2_000 < 10, note: String::new(), from: String::new() };
            Change::Readings { car, taken, readings }
        }
    }
}

async fn filled(house: &House, opened: &Opened) -> Uuid {
    let actor = &opened.entered.actor;
    let file = witnessmark::acts::garage::keep::file(house, actor, opened.garage).await.expect("the file");
    let car: Uuid = file["changes"][0]["change"]["car"].as_str().and_then(|id| id.parse().ok()).expect("a car");
    let today = house.now().to_zoned_datetime(jiff::tz::TimeZone::UTC).date();
    let (mut nth, mut before) = (3, None);
    while nth < NOTES {
        let mut changes = Vec::new();
        while changes.len() < AT_A_TIME && nth < NOTES {
            let id = house.new_id();
            let new = change(nth, car, today, before);
            before = matches!(new, Change::Track { .. }).then_some(id).or(before);
            changes.push((id, new));
            nth += 1;
        }
        note(house, actor, opened.garage, changes).await.expect("they are noted");
    }
    car
}

#[tokio::main]
async fn main() {
    let folder = TempDir::new_in(env!("CARGO_TARGET_TMPDIR")).expect("a folder");
    let path = folder.path().join("club.sqlite");
    let house = House::open(&path, Arc::new(Machine)).await.expect("a database");
    let opened = opened(&house).await;
    let car = filled(&house, &opened).await;
    house.close().await;
    let base = format!("/my/garage/{}", opened.garage);
    let cookie = format!("witnessmark={}", opened.entered.cookie);
    println!("a garage of {NOTES} notes\n{:<34} {:>9} {:>9} {:>9}", "", "first ms", "middle ms", "kB");
    for (name, page) in [
        ("the garage", String::new()),
        ("its car", format!("/cars/{car}")),
        ("the log, newest lines", format!("/cars/{car}/log")),
        ("the log, oldest lines", format!("/cars/{car}/log?page=9999")),
        ("wear", format!("/cars/{car}/wear")),
        ("a form", format!("/cars/{car}/track")),
    ] {
        // Anew for each page: nothing of it is in memory.
        let house = Arc::new(House::open(&path, Arc::new(Machine)).await.expect("the database"));
        let app = router(Web::new(house.clone(), "http://localhost:8440"));
        let mut times = Vec::new();
        let mut bytes = 0;
        for _ in 0..ROUNDS {
            let request = Request::get(format!("{base}{page}")).header("cookie", &cookie).header("host", "localhost:8440");
            let request = request.body(Body::empty()).expect("a request");
            let began = Instant::now();
            let answer = app.clone().oneshot(request).await.expect("an answer");
            assert!(answer.status().is_success(), "{page}: {}", answer.status());
            bytes = to_bytes(answer.into_body(), usize::MAX).await.expect("a page").len();
            times.push(began.elapsed());
        }
        let first = times.remove(0);
        times.sort();
        let ms = |time: Duration| time.as_secs_f64() * 1e3;
        println!("{name:<34} {:>9.1} {:>9.1} {:>9.0}", ms(first), ms(times[times.len() / 2]), bytes as f64 / 1024.0);
        house.close().await;
    }
    println!("aim: a look in under 50 ms");
}
