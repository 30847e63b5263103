//! The garage as it stands: cars with their log, days and jobs; gear; hours.

use super::change::{JobCard, PartState, Readings, Taken};
use super::kinds::{Fluid, GearKind};
use crate::rules::answer::Typed;
use jiff::Timestamp;
use jiff::civil::Date;
use std::collections::{BTreeMap, BTreeSet};
use uuid::Uuid;

/// A driver's garage.
#[derive(Clone, Debug, PartialEq)]
pub struct Garage {
    pub cars: Vec<Car>,
    pub gear: Vec<GearPiece>,
    pub settings: Settings,
    /// Sheets that were brought here, with the link by which it was done.
    pub brought: BTreeMap<Uuid, Uuid>,
    /// How many changes it is the fold of.
    pub changes: usize,
}

/// Hours available and how money is written.
#[derive(Clone, Debug, PartialEq)]
pub struct Settings {
    /// Monday first, 0 to 16 hours each.
    pub week: [f64; 7],
    pub many_hands: bool,
    /// Up to 4 letters, as the driver writes it.
    pub currency: String,
}

impl Default for Settings {
    /// Evenings and a weekend; common practice, no source.
    fn default() -> Settings {
        Settings { week: [1.0, 1.0, 1.0, 1.0, 1.0, 5.0, 4.0], many_hands: false, currency: String::new() }
    }
}

/// A car with all that was noted of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Car {
    pub id: Uuid,
    pub name: String,
    pub gone: bool,
    /// What is fixed about it, by item, with when it was noted.
    pub facts: BTreeMap<String, (Typed, Timestamp)>,
    pub log: Vec<Line>,
    pub days: Vec<TrackDay>,
    pub jobs: Vec<Job>,
}

/// A line of a car's log.
#[derive(Clone, Debug, PartialEq)]
pub struct Line {
    pub id: Uuid,
    pub taken: Taken,
    pub noted_at: Timestamp,
    pub what: Logged,
    pub photos: Vec<Uuid>,
    pub struck: bool,
}

/// What a line says.
#[derive(Clone, Debug, PartialEq)]
pub enum Logged {
    Readings(Readings),
    Changed { fluid: Fluid, grade: String, note: String },
    Track { minutes: f64, sessions: u16, note: String },
}

/// A day the car is meant to go out.
#[derive(Clone, Debug, PartialEq)]
pub struct TrackDay {
    pub id: Uuid,
    pub name: String,
    pub day: Date,
    pub sessions: u16,
    /// Minutes a session.
    pub session_min: f64,
    /// The entry at an event of this club.
    pub entry: Option<Uuid>,
    pub packed: BTreeSet<String>,
}

/// A helmet, a harness: with the label that says how long it is good for.
#[derive(Clone, Debug, PartialEq)]
pub struct GearPiece {
    pub id: Uuid,
    pub what: GearKind,
    pub name: String,
    pub label: String,
    /// As it stands on the label, or empty.
    pub date: String,
    pub valid_until: bool,
    pub noted_at: Timestamp,
}

/// A repair on the work list.
#[derive(Clone, Debug, PartialEq)]
pub struct Job {
    pub id: Uuid,
    pub card: JobCard,
    pub steps: Vec<Step>,
    pub parts: Vec<Part>,
    /// Tests of the fault guide with their outcomes, in order. After a reopening they are of the attempt before.
    pub tried: Vec<Tried>,
    /// What happened, the oldest first.
    pub told: Vec<Told>,
    pub photos: Vec<Uuid>,
    /// Closed, and not reopened since.
    pub is_done: bool,
}

#[derive(Clone, Debug, PartialEq)]
pub struct Step {
    pub id: Uuid,
    pub say: String,
    pub done: bool,
}

#[derive(Clone, Debug, PartialEq)]
pub struct Part {
    pub id: Uuid,
    pub name: String,
    pub price_cents: Option<u64>,
    pub lead_days: u16,
    pub is: PartState,
}

#[derive(Clone, Debug, PartialEq)]
pub struct Tried {
    pub test: String,
    pub outcome: String,
    pub said: String,
    pub at: Timestamp,
    /// Before the symptom came back: it may not hold any more.
    pub before_reopening: bool,
}

/// What happened to a job.
#[derive(Clone, Debug, PartialEq)]
pub struct Told {
    pub at: Timestamp,
    pub what: Happened,
    pub words: String,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Happened {
    Opened,
    Suspected,
    Tried,
    Done,
    Reopened,
}

impl Happened {
    /// The word on a page.
    pub fn word(self) -> &'static str {
        match self {
            Happened::Opened => "Opened",
            Happened::Suspected => "Suspected",
            Happened::Tried => "Tried",
            Happened::Done => "Done",
            Happened::Reopened => "Came back",
        }
    }
}

impl Garage {
    /// A car of this garage.
    pub fn car(&self, id: Uuid) -> Option<&Car> {
        self.cars.iter().find(|car| car.id == id)
    }

    /// A job with its car.
    pub fn job(&self, id: Uuid) -> Option<(&Car, &Job)> {
        self.cars.iter().find_map(|car| Some((car, car.job(id)?)))
    }

    /// The car and day that an entry at an event was brought to.
    pub fn day_of_entry(&self, entry: Uuid) -> Option<(&Car, &TrackDay)> {
        self.cars.iter().find_map(|car| Some((car, car.days.iter().find(|day| day.entry == Some(entry))?)))
    }

    /// The entries that were brought here.
    pub fn entries(&self) -> impl Iterator<Item = Uuid> {
        self.cars.iter().flat_map(|car| &car.days).filter_map(|day| day.entry)
    }
}

impl Car {
    pub fn job(&self, id: Uuid) -> Option<&Job> {
        self.jobs.iter().find(|job| job.id == id)
    }

    pub fn day(&self, id: Uuid) -> Option<&TrackDay> {
        self.days.iter().find(|day| day.id == id)
    }

    /// Jobs that are not done.
    pub fn open_jobs(&self) -> impl Iterator<Item = &Job> {
        self.jobs.iter().filter(|job| !job.is_done)
    }

    /// The next day it is meant to go out, on or after this one.
    pub fn next_day(&self, today: Date) -> Option<&TrackDay> {
        self.days.iter().filter(|day| day.day >= today).min_by_key(|day| day.day)
    }

    /// A fact's text, where one was noted.
    pub fn fact(&self, item: &str) -> Option<&Typed> {
        self.facts.get(item).map(|(typed, _)| typed)
    }
}

impl Job {
    /// Parts that are neither here nor expected.
    pub fn to_order(&self) -> impl Iterator<Item = &Part> {
        self.parts.iter().filter(|part| part.is == PartState::ToOrder)
    }

    /// The prices that are known, in hundredths; and how many parts have none.
    pub fn money(&self) -> (u64, usize) {
        let known = self.parts.iter().filter_map(|part| part.price_cents).fold(0, u64::saturating_add);
        (known, self.parts.iter().filter(|part| part.price_cents.is_none()).count())
    }

    /// The price of what is still to be ordered.
    pub fn money_to_spend(&self) -> u64 {
        self.to_order().filter_map(|part| part.price_cents).fold(0, u64::saturating_add)
    }

    /// What was suspected before, the oldest first: so that the next guess is not the last one again.
    pub fn guesses(&self) -> Vec<&str> {
        let mut guesses: Vec<&str> = Vec::new();
        for told in self.told.iter().filter(|told| matches!(told.what, Happened::Suspected)) {
            if !guesses.contains(&told.words.as_str()) {
                guesses.push(&told.words);
            }
        }
        guesses
    }

    /// Whether what is suspected now was suspected before its symptom last came back.
    pub fn suspects_again(&self) -> bool {
        let Some(back) = self.told.iter().rposition(|told| told.what == Happened::Reopened) else { return false };
        let before = self.told.iter().take(back);
        !self.card.cause.is_empty()
            && before.filter(|told| told.what == Happened::Suspected).any(|told| told.words == self.card.cause)
    }

    /// How often its symptom came back.
    pub fn came_back(&self) -> usize {
        self.told.iter().filter(|told| told.what == Happened::Reopened).count()
    }
}
