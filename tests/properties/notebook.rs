//! A garage's notes as a driver would make them, one a minute, with ids in a row.

#![allow(dead_code, reason = "properties and reference figures each use their own part of it")]

use jiff::civil::{Date, Time};
use jiff::{Timestamp, ToSpan};
use std::collections::BTreeMap;
use uuid::Uuid;
use witnessmark::rules::car_system::CarSystem;
use witnessmark::rules::garage::book::{Car, Garage, Line};
use witnessmark::rules::garage::change::{Change, JobCard, Noted, Readings, Taken};
use witnessmark::rules::garage::kinds::ReadingKind;
use witnessmark::rules::garage::log::in_order;
use witnessmark::rules::garage::wear::{Series, series};
use witnessmark::rules::units::Unit;
use witnessmark::rules::words::Place;

/// The notebook's only car, where a test has one.
pub const CAR: Uuid = Uuid::from_u128(0xca);

/// What was noted, in the order of its arrival.
#[derive(Default)]
pub struct Notebook {
    pub changes: Vec<Noted>,
}

impl Notebook {
    /// With a car in it.
    pub fn of_a_car() -> Notebook {
        let mut book = Notebook::default();
        book.note(Change::Car { car: CAR, name: "The blue coupe".into() });
        book
    }

    /// Notes a change that the garage must take, and gives its id.
    pub fn note(&mut self, change: Change) -> Uuid {
        if let Err(not) = self.garage().takes(&change) {
            panic!("the garage does not take {change:?}: {not}");
        }
        self.put(change)
    }

    /// Notes a change whether the garage takes it or not.
    pub fn put(&mut self, change: Change) -> Uuid {
        let nth = self.changes.len();
        let id = Uuid::from_u128(0x1000 + nth as u128);
        self.changes.push(Noted { id, at: minute(nth), change });
        id
    }

    pub fn reads(&mut self, taken: Taken, what: ReadingKind, at: &[(Place, f64)]) -> Uuid {
        self.note(Change::Readings { car: CAR, taken, readings: readings(what, what.unit(), at, false) })
    }

    /// A reading of a part that was just fitted.
    pub fn reads_new(&mut self, taken: Taken, what: ReadingKind, at: &[(Place, f64)]) -> Uuid {
        self.note(Change::Readings { car: CAR, taken, readings: readings(what, what.unit(), at, true) })
    }

    pub fn drives(&mut self, taken: Taken, minutes: f64) -> Uuid {
        self.note(Change::Track { car: CAR, taken, minutes, sessions: 0, note: String::new() })
    }

    pub fn garage(&self) -> Garage {
        Garage::of(&self.changes)
    }

    /// The whole way from the notes to a forecast's readings.
    pub fn series(&self, kind: ReadingKind, today: Date) -> Vec<Series> {
        let garage = self.garage();
        series(&in_order(car(&garage), &[]), kind, today)
    }
}

/// When the nth note is made.
pub fn minute(nth: usize) -> Timestamp {
    let first: Timestamp = "2026-01-01T08:00:00Z".parse().expect("a time");
    first + (nth as i64).minutes()
}

pub fn car(garage: &Garage) -> &Car {
    garage.car(CAR).expect("the notebook's car")
}

pub fn readings(what: ReadingKind, unit: Unit, at: &[(Place, f64)], fresh: bool) -> Readings {
    let at: BTreeMap<String, f64> = at.iter().map(|(place, value)| (place.token(), *value)).collect();
    Readings { what, unit: unit.token().into(), at, fresh, note: String::new(), from: String::new() }
}

/// A day without a time.
pub fn on(day: Date) -> Taken {
    Taken { day, clock: None }
}

/// A day with one.
pub fn at(day: Date, hour: i8, minute: i8) -> Taken {
    Taken { day, clock: Some(Time::constant(hour, minute, 0, 0)) }
}

/// A job that keeps the car in the garage.
pub fn card(title: &str, hours: f64, after: &[Uuid]) -> JobCard {
    JobCard {
        title: title.into(),
        system: CarSystem::Brakes,
        found: String::new(),
        cause: String::new(),
        next_test: String::new(),
        hours,
        must: true,
        after: after.to_vec(),
        symptom: None,
        item: None,
    }
}

/// The ids of lines, for telling two orders apart.
pub fn ids(lines: &[&Line]) -> Vec<Uuid> {
    lines.iter().map(|line| line.id).collect()
}
