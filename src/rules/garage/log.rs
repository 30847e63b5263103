//! A car's log in order of time: its own lines and those that its sheets hold.

use super::book::{Car, Line, Logged};
use super::change::{Readings, Taken};
use super::kinds::{Fluid, ReadingKind};
use crate::rules::answer::{Answers, Value};
use crate::rules::units::Unit;
use crate::rules::words::Place;
use jiff::civil::{Date, Time, time};
use jiff::{Timestamp, ToSpan};
use std::collections::BTreeMap;
use uuid::Uuid;

/// A sheet that was sent for the car: where its readings come from.
#[derive(Clone, Debug)]
pub struct SheetSent<'a> {
    pub submission: Uuid,
    /// "Spring day".
    pub event: &'a str,
    pub taken: Taken,
    pub arrived_at: Timestamp,
    pub answers: &'a Answers,
}

/// The readings of a sheet as lines of the log. Their ids are made of the submission's: a sheet is read the same at every look.
pub fn lines_of(sheet: &SheetSent<'_>) -> Vec<Line> {
    let mut lines = Vec::new();
    for (item, answer) in sheet.answers {
        let kind = ReadingKind::ALL.into_iter().find(|kind| kind.items().contains(&item.as_str()));
        let readings = match (&answer.value, kind) {
            (Value::Measured { unit, at }, Some(kind)) => Some(readings_of(kind, *unit, at.iter().map(|(p, v)| (*p, *v)))),
            (Value::Date(day), None) if item.as_str() == "fluid-age" => {
                let what = Logged::Changed { fluid: Fluid::BrakeFluid, grade: String::new(), note: sheet.event.into() };
                let (taken, id) = (Taken { day: *day, clock: None }, id_of(sheet.submission, item.as_str()));
                lines.push(Line { id, taken, noted_at: sheet.arrived_at, what, photos: vec![], struck: false });
                None
            }
            _ => answer.worked.as_ref().filter(|_| item.as_str() == "engine-sealing").and_then(leak_down),
        };
        if let Some(readings) = readings {
            let what = Logged::Readings(Readings { from: sheet.event.into(), ..readings });
            let id = id_of(sheet.submission, item.as_str());
            lines.push(Line { id, taken: sheet.taken, noted_at: sheet.arrived_at, what, photos: vec![], struck: false });
        }
    }
    lines
}

/// An id of a line that is in a sheet: the submission's, turned by the item's letters.
fn id_of(submission: Uuid, item: &str) -> Uuid {
    let mut bytes = submission.into_bytes();
    for (nth, letter) in item.bytes().enumerate() {
        bytes[nth % 16] = bytes[nth % 16].rotate_left(3) ^ letter;
    }
    Uuid::from_bytes(bytes)
}

/// Readings of one kind without a word beside them.
pub fn readings_of(what: ReadingKind, unit: Unit, at: impl Iterator<Item = (Place, f64)>) -> Readings {
    Readings {
        what,
        unit: unit.token().into(),
        at: at.map(|(place, value)| (place.token(), value)).collect(),
        fresh: false,
        note: String::new(),
        from: String::new(),
    }
}

fn leak_down(worked: &serde_json::Map<String, serde_json::Value>) -> Option<Readings> {
    let cylinders = worked.get("cylinders")?.as_array()?;
    let percent = |one: &serde_json::Value| {
        one["percent"].as_f64().or_else(|| {
            let (supply, held) = (one["supply_kpa"].as_f64()?, one["held_kpa"].as_f64()?);
            Some(100.0 * (supply - held) / supply)
        })
    };
    let at: Vec<(Place, f64)> =
        (1u8..).zip(cylinders).filter_map(|(nth, one)| Some((Place::Cylinder(nth), percent(one)?))).collect();
    Some(readings_of(ReadingKind::LeakDown, Unit::Percent, at.into_iter())).filter(|readings| !readings.at.is_empty())
}

impl Line {
    /// When it counts as: a reading before the day's driving, track time by noon, where no time of day is known.
    pub fn when(&self) -> (Date, Time) {
        let unknown = if matches!(self.what, Logged::Track { .. }) { time(12, 0, 0, 0) } else { Time::midnight() };
        (self.taken.day, self.taken.clock.unwrap_or(unknown))
    }
}

impl Readings {
    /// The figure at a place, in the kind's own unit.
    pub fn figure(&self, place: Place) -> Option<f64> {
        let unit = Unit::parse(&self.unit).filter(|unit| unit.quantity() == self.what.unit().quantity())?;
        Some(unit.convert(*self.at.get(&place.token())?, self.what.unit()))
    }

    /// The figures by place, in the order a person walks round the car, in the kind's own unit.
    pub fn figures(&self) -> Vec<(Place, f64)> {
        self.what.per().places().into_iter().filter_map(|place| Some((place, self.figure(place)?))).collect()
    }
}

/// The lines that count, own and of sheets, in order of time.
pub fn in_order<'a>(car: &'a Car, sheets: &'a [Line]) -> Vec<&'a Line> {
    let mut lines: Vec<&Line> = car.log.iter().chain(sheets).filter(|line| !line.struck).collect();
    let is_new = |line: &Line| matches!(&line.what, Logged::Readings(readings) if readings.fresh);
    // At one time a change of the fluid comes before its reading, and of a table's lines the old part before the new.
    lines.sort_by_key(|line| (line.when(), matches!(line.what, Logged::Readings(_)), line.noted_at, is_new(line), line.id));
    lines
}

/// Minutes on track until a time, all that is noted.
pub fn minutes_until(lines: &[&Line], until: (Date, Time)) -> f64 {
    let before = lines.iter().filter(|line| line.when() <= until);
    before.map(|line| if let Logged::Track { minutes, .. } = line.what { minutes } else { 0.0 }).sum()
}

/// Minutes on track that are noted after a day's beginning and before another's: what was driven since an answer was given.
pub fn minutes_since(lines: &[&Line], since: (Date, Time)) -> f64 {
    minutes_until(lines, (Date::MAX, Time::MAX)) - minutes_until(lines, since)
}

/// The day a fluid was last changed.
pub fn last_changed(lines: &[&Line], fluid: Fluid) -> Option<Date> {
    let is_it = |line: &&&Line| matches!(&line.what, Logged::Changed { fluid: other, .. } if *other == fluid);
    lines.iter().rev().find(is_it).map(|line| line.taken.day)
}

/// The newest figures of a kind by place, with their line's time.
pub fn newest(lines: &[&Line], kind: ReadingKind) -> BTreeMap<Place, (f64, Taken)> {
    let mut newest = BTreeMap::new();
    for line in lines {
        if let Logged::Readings(readings) = &line.what
            && readings.what == kind
        {
            newest.extend(readings.figures().into_iter().map(|(place, figure)| (place, (figure, line.taken))));
        }
    }
    newest
}

/// A day so many days later, as far as the calendar goes.
pub fn days_later(day: Date, days: i64) -> Date {
    day.checked_add(days.days()).unwrap_or(Date::MAX)
}
