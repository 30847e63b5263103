//! A day as it is played: who has which phone, which pages are open, what waits in a queue, and what was said to have arrived.

use super::judge::{self, Said};
use super::program::{Car, Carried, Club, Device, GatePage, Pass, Program, Stored, Words, record_id};
use super::rule::{Deed, Judged, Record, judge};
use super::sheet::{Kind, Sheet};
use super::steps::{Made, Phone, Seen};
use jiff::Timestamp;
use serde_json::{Map, Value as Json};
use std::cell::RefCell;
use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::rc::Rc;
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
    Words(Words),
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

/// What submissions say and clears close does not change: it is worked out once for each edition.
#[derive(Default)]
pub struct Known {
    said: RefCell<HashMap<(usize, Uuid), Rc<Said>>>,
    closes: RefCell<HashMap<(usize, Uuid, Uuid), BTreeSet<String>>>,
}

pub struct World {
    known: Known,
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
    /// How often the server was started again.
    pub starts: usize,
    /// What there was at the last look at everything.
    pub looked: Option<(usize, usize, usize, usize, u64)>,
    /// Counts the looks: some things take turns.
    pub turn: usize,
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
            known: Known::default(),
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
            starts: 0,
            looked: None,
            turn: 0,
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

    fn edition_of(&self, id: Uuid) -> usize {
        self.editions.iter().position(|(known, _)| *known == id).unwrap_or(self.force)
    }

    /// What a submission says by the edition in force.
    pub fn said(&self, submission: &Stored) -> Rc<Said> {
        let key = (self.force, submission.id);
        if let Some(said) = self.known.said.borrow().get(&key) {
            return said.clone();
        }
        let own = self.edition_of(submission.given_to().unwrap_or_default());
        let said = Rc::new(judge::say(self.sheet(), &self.editions[own].1, &submission.answers()));
        self.known.said.borrow_mut().insert(key, said.clone());
        said
    }

    /// What a clear with these words closes of a submission by the edition in force. A reading is judged again; what was closed
    /// by a tick or in a sentence stays closed as far as it stood on the page of the clear's own edition, as gravely.
    fn closed(&self, words: &Words, edition: usize, submission: &Stored) -> BTreeSet<String> {
        let said = self.said(submission);
        let own = &self.editions[self.edition_of(submission.given_to().unwrap_or_default())].1;
        let read_by = &self.editions[edition].1;
        let is_closed = |item: &&String| {
            let mut open = said.of(item).peekable();
            if open.peek().is_none() {
                return true;
            }
            if let Some(reading) = words.readings.get(*item) {
                return judge::still_found(self.sheet(), own, &submission.answers(), item, read_by, reading) == Some(false);
            }
            let then = judge::say(read_by, own, &submission.answers());
            edition == self.force
                || open.all(|now| then.of(item).any(|then| then.place == now.place && then.weight >= now.weight))
        };
        words.closes.iter().filter(is_closed).cloned().collect()
    }

    fn closes(&self, clear: &Stored, submission: &Stored) -> BTreeSet<String> {
        let key = (self.force, clear.id, submission.id);
        if let Some(closed) = self.known.closes.borrow().get(&key) {
            return closed.clone();
        }
        let closed = self.closed(&clear.words(), self.edition_of(clear.edition), submission);
        self.known.closes.borrow_mut().insert(key, closed.clone());
        closed
    }

    pub fn of_car(&self, car: usize) -> impl Iterator<Item = &Stored> + Clone {
        let entry = self.cars[car].entry;
        self.stored.iter().filter(move |stored| stored.entry == entry)
    }

    fn submissions(&self, car: usize) -> impl Iterator<Item = &Stored> {
        self.of_car(car).filter(|stored| stored.kind == "submission")
    }

    /// The records of a car as the rule sees them, by the edition in force.
    pub fn records(&self, car: usize) -> Vec<Record> {
        let deed = |stored: &Stored| match stored.kind.as_str() {
            "submission" => Deed::Submission(self.said(stored)),
            "clear" => {
                let closes = self.submissions(car).map(|submission| (submission.id, self.closes(stored, submission)));
                Deed::Clear { closes: closes.collect(), by_hand: stored.words().by_hand, counts: stored.counts }
            }
            "hold" => Deed::Hold,
            _ => Deed::Withdrawal,
        };
        self.of_car(car).map(|stored| Record { id: stored.id, seen: stored.seen.clone(), deed: deed(stored) }).collect()
    }

    /// Where a car stands by the slow rule.
    pub fn stands(&self, car: usize) -> Judged {
        judge(&self.records(car))
    }

    /// Where it would stand with one more clear.
    pub fn would_stand(&self, car: usize, posted: &Posted) -> Judged {
        let mut records = self.records(car);
        if let Content::Words(words) = &posted.content {
            let closes =
                self.submissions(car).map(|submission| (submission.id, self.closed(words, posted.page.edition, submission)));
            let deed = Deed::Clear { closes: closes.collect(), by_hand: words.by_hand.clone(), counts: true };
            records.push(Record { id: posted.id, seen: posted.seen.clone(), deed });
        }
        judge(&records)
    }

    /// Whether a clear's words are what the door wants: each open finding closed, a measured one by a good reading or a sentence,
    /// a carried one by a sentence; each hand check that is left ticked. Says what is lacking.
    pub fn lacks(&self, car: usize, words: &Words) -> Option<String> {
        let stands = self.stands(car);
        if let Some(item) = stands.by_hand.iter().find(|item| !words.by_hand.contains(*item)) {
            return Some(format!("{item} was not checked by hand"));
        }
        for item in &stands.open {
            if !words.closes.contains(item) {
                return Some(format!("the finding on {item} is left open"));
            }
            let submissions = || self.submissions(car).filter(|submission| stands.in_force.contains(&submission.id));
            let is_carried = submissions().any(|submission| self.said(submission).of(item).any(|found| found.carried));
            let is_measured = self.sheet().item(item).is_some_and(|item| matches!(item.kind, Kind::Measure { .. }));
            let says = words.seen_as.contains_key(item);
            let lacks = if is_carried {
                (!says).then_some("carried over, and nobody says what was seen")
            } else if let Some(reading) = words.readings.get(item).filter(|_| is_measured) {
                let still = |submission: &Stored| {
                    let own = &self.editions[self.edition_of(submission.given_to().unwrap_or_default())].1;
                    judge::still_found(self.sheet(), own, &submission.answers(), item, self.sheet(), reading) != Some(false)
                };
                submissions().any(still).then_some("still there by the inspector's own reading")
            } else {
                (is_measured && !says).then_some("measured, and closed with neither a reading nor a sentence")
            };
            if let Some(why) = lacks {
                return Some(format!("the finding on {item} is {why}"));
            }
        }
        None
    }

    pub fn as_of(&self, car: usize) -> (usize, usize) {
        (self.of_car(car).count(), self.raises)
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
