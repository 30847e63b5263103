//! A day as it is played: who has which phone, which pages are open, what waits in a queue, and what was said to have arrived.

use super::judge::Said;
use super::program::{Car, Carried, Club, Device, GatePage, Pass, Program, Stored, record_id};
use super::rule::{Deed, Judged, Record, judge};
use super::sheet::Sheet;
use super::steps::{Made, Phone, Seen};
use jiff::Timestamp;
use serde_json::{Map, Value as Json};
use std::collections::{BTreeMap, BTreeSet};
use uuid::Uuid;

/// A page that somebody has open.
#[derive(Clone, Debug)]
pub struct Open {
    /// The phone that has it, by its cookie.
    pub cookie: String,
    pub car: usize,
    pub seen: BTreeSet<Uuid>,
    /// The edition in force when it was opened, by its place in `World::editions`.
    pub edition: usize,
    /// How many records the car had, and how often the event had been raised.
    pub as_of: (usize, usize),
    /// What a page at the gate asks for.
    pub gate: Option<GatePage>,
}

/// What a record says, as it must be found in the table.
#[derive(Clone, Debug, PartialEq)]
pub enum Content {
    Answers(Uuid, Map<String, Json>),
    Words { reason: String, closes: BTreeSet<String>, by_hand: BTreeSet<String> },
}

/// A record on its way: the whole request, as a phone keeps it until it hears that it has arrived.
#[derive(Clone, Debug)]
pub struct Posted {
    pub id: Uuid,
    pub kind: &'static str,
    pub car: usize,
    pub by: Device,
    pub path: String,
    pub carried: Carried,
    pub by_script: bool,
    pub seen: BTreeSet<Uuid>,
    pub content: Content,
    pub page: Open,
    /// Nothing about it is odd: an honest person sent what the page gave.
    pub honest: bool,
    /// For the story: "clear 00002a of car 7 by R. Holt".
    pub words: String,
}

pub struct World {
    pub program: Program,
    pub cars: Vec<Car>,
    /// Phones of each person, the newest last.
    pub drivers: Vec<Vec<Device>>,
    pub inspectors: Vec<Vec<Device>>,
    pub marshals: Vec<Device>,
    /// Cookies of devices that were ended.
    pub out: BTreeSet<String>,
    pub erased: BTreeSet<usize>,
    pub editions: Vec<(Uuid, Sheet)>,
    pub force: usize,
    pub raises: usize,
    pub open: Vec<Open>,
    pub queue: Vec<Posted>,
    /// What was said to have arrived, in that order.
    pub ledger: Vec<Posted>,
    /// What the table held when it was last looked at.
    pub stored: Vec<Stored>,
    /// What a phone at the gate keeps: its mark, and car pages by their path.
    pub gates: BTreeMap<String, (String, BTreeMap<String, String>)>,
    /// What each marshal's phone keeps.
    pub lists: Vec<Option<Json>>,
    /// The passes that were given, each with how many records the event had.
    pub passes: Vec<(Pass, usize)>,
    pub story: Vec<String>,
    pub checks: u64,
}

impl World {
    pub async fn begin(club: &Club, path: &std::path::Path) -> World {
        World {
            program: Program::start(club, path).await,
            cars: club.cars.clone(),
            drivers: club.drivers.clone(),
            inspectors: club.inspectors.clone(),
            marshals: club.marshals.clone(),
            out: BTreeSet::new(),
            erased: BTreeSet::new(),
            editions: Vec::new(),
            force: 0,
            raises: 0,
            open: Vec::new(),
            queue: Vec::new(),
            ledger: Vec::new(),
            stored: Vec::new(),
            gates: BTreeMap::new(),
            lists: vec![None; club.marshals.len()],
            passes: Vec::new(),
            story: Vec::new(),
            checks: 0,
        }
    }

    pub fn tell(&mut self, words: impl Into<String>) {
        self.story.push(words.into());
    }

    pub fn sheet(&self) -> &Sheet {
        &self.editions[self.force].1
    }

    pub fn car(&self, wanted: u8) -> usize {
        usize::from(wanted) % self.cars.len()
    }

    pub fn number(&self, car: usize) -> &str {
        &self.cars[car].number
    }

    pub fn inspector(&self, phone: Phone) -> Device {
        nth_newest(&self.inspectors[usize::from(phone.who) % self.inspectors.len()], phone.older)
    }

    pub fn driver(&self, car: usize, phone: u8) -> Device {
        nth_newest(&self.drivers[car], phone)
    }

    pub fn is_in(&self, device: &Device) -> bool {
        !self.out.contains(&device.cookie)
    }

    /// The records of a car as the rule sees them, by an edition.
    pub fn records_by(&self, car: usize, edition: usize) -> Vec<Record> {
        let entry = self.cars[car].entry;
        let of_car = self.stored.iter().filter(|stored| stored.entry == entry);
        let sheet = &self.editions[edition].1;
        let record =
            |stored: &Stored| Record { id: stored.id, seen: stored.seen.clone(), deed: stored.deed(&self.editions, sheet) };
        of_car.map(record).collect()
    }

    pub fn records(&self, car: usize) -> Vec<Record> {
        self.records_by(car, self.force)
    }

    /// Where a car stands by the slow rule.
    pub fn stands(&self, car: usize) -> Judged {
        judge(&self.records(car))
    }

    /// Where it would stand with one more record.
    pub fn would_stand(&self, car: usize, posted: &Posted) -> Judged {
        let mut records = self.records(car);
        let deed = match &posted.content {
            Content::Words { closes, by_hand, .. } if posted.kind == "clear" => {
                Deed::Clear { closes: closes.clone(), by_hand: by_hand.clone(), counts: true }
            }
            Content::Words { .. } if posted.kind == "hold" => Deed::Hold,
            Content::Words { .. } => Deed::Withdrawal,
            Content::Answers(..) => Deed::Submission(Said::default()),
        };
        records.push(Record { id: posted.id, seen: posted.seen.clone(), deed });
        judge(&records)
    }

    pub fn as_of(&self, car: usize) -> (usize, usize) {
        let entry = self.cars[car].entry;
        (self.stored.iter().filter(|stored| stored.entry == entry).count(), self.raises)
    }

    /// What a record says it has seen.
    pub fn seen(&self, wanted: Seen, id: Uuid, car: usize, page: &Open) -> BTreeSet<Uuid> {
        let entry = self.cars[car].entry;
        let mut seen = page.seen.clone();
        match wanted {
            Seen::AsThePageSays => {}
            Seen::Nothing => seen.clear(),
            Seen::Unknown => _ = seen.insert(record_id(900_000)),
            Seen::Coming(nth) => _ = seen.insert(record_id(nth * 10)),
            Seen::OtherCar => {
                seen.extend(self.stored.iter().filter(|stored| stored.entry != entry).take(2).map(|stored| stored.id))
            }
            Seen::One(which) => {
                let own: Vec<Uuid> = self.stored.iter().filter(|stored| stored.entry == entry).map(|stored| stored.id).collect();
                seen = own.get(usize::from(which) % own.len().max(1)).copied().into_iter().collect();
            }
            Seen::Itself => _ = seen.insert(id),
        }
        seen
    }

    /// The time that a device says, if it says one.
    pub fn made(&self, made: Made) -> Option<String> {
        let ms = match made {
            Made::Unsaid => return None,
            Made::Off(minutes) => self.program.clock.ms() + i64::from(minutes) * 60_000,
            Made::Year(year) => return Some(format!("{year}-05-09T06:00:00Z")),
        };
        Timestamp::from_millisecond(ms).ok().map(|time| time.to_string())
    }
}

fn nth_newest(phones: &[Device], older: u8) -> Device {
    let back = usize::from(older) % phones.len();
    phones[phones.len() - 1 - back].clone()
}
