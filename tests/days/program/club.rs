//! The club that every day begins with, its people, and the clock.

use jiff::Timestamp;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicI64, AtomicU64, Ordering};
use uuid::Uuid;
use witnessmark::acts::enter::{Caller, enter};
use witnessmark::acts::hand_out::{Drivers, Use, to_drivers, to_inspector, to_marshal};
use witnessmark::acts::house::Outside;
use witnessmark::acts::open_event::{EventForm, open_event};
use witnessmark::acts::set_up::set_up_for;
use witnessmark::acts::{Actor, House, raise_edition, take_roster};

/// 2026-05-09 06:00 UTC, in milliseconds: the day's morning.
const MORNING_MS: i64 = 1_778_306_400_000;
/// The midnight after the event's day in London, when passes end: 23:00 UTC.
pub const NIGHT_MS: i64 = MORNING_MS + 17 * 3_600_000;

/// A clock that the day moves, and ids and secrets that are the same at every run.
pub struct Clock {
    ms: AtomicI64,
    ids: AtomicU64,
    steps: AtomicU64,
}

impl Clock {
    /// `from` keeps the ids of a day apart from those of the club that it begins with.
    pub fn new(from: u64) -> Arc<Clock> {
        Arc::new(Clock { ms: AtomicI64::new(MORNING_MS), ids: AtomicU64::new(from), steps: AtomicU64::new(0) })
    }

    pub fn ms(&self) -> i64 {
        self.ms.load(Ordering::Relaxed)
    }

    /// How often it was put on or back.
    pub fn steps(&self) -> u64 {
        self.steps.load(Ordering::Relaxed)
    }

    /// Puts the clock on or back; it stays within half a day of the morning.
    pub fn step(&self, minutes: i64) {
        let ms = (self.ms() + minutes * 60_000).clamp(MORNING_MS - 6 * 3_600_000, MORNING_MS + 18 * 3_600_000);
        self.ms.store(ms, Ordering::Relaxed);
        self.steps.fetch_add(1, Ordering::Relaxed);
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
    pub file: PathBuf,
    pub event: Uuid,
    pub organizer: (Arc<Actor>, String),
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

pub async fn comes_in(house: &House, secret: &str) -> Device {
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
        take_roster::take_roster(&house, &organizer, event, roster.into_bytes()).await.expect("a roster");
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
