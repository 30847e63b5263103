//! What a set of stored answers says, told a second time and slowly: what is complete, what is open, what is checked by hand.
//!
//! It reads the answers as they lie in the database and the sheets as `sheet.rs` has them, and asks nothing of the program.

use super::sheet::{Bound, Item, Kind, Per, Sheet, Unit, Weight, Work};
use serde_json::{Map, Value as Json};
use std::collections::{BTreeMap, BTreeSet};

/// What a submission amounts to, by the edition in force.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Said {
    pub complete: bool,
    /// Stop and fix findings, those carried over from the answers' own edition among them.
    pub found: Vec<Found>,
    /// Items that are checked by hand.
    pub by_hand: BTreeSet<String>,
}

/// A stop or fix finding.
#[derive(Clone, Debug, PartialEq)]
pub struct Found {
    pub item: String,
    /// As in a form; "" for the whole car.
    pub place: String,
    pub weight: Weight,
    /// Found by the answers' own edition, and not settled by the one in force.
    pub carried: bool,
}

impl Said {
    /// The items with a finding.
    pub fn open(&self) -> BTreeSet<String> {
        self.found.iter().map(|found| found.item.clone()).collect()
    }

    pub fn of(&self, item: &str) -> impl Iterator<Item = &Found> {
        self.found.iter().filter(move |found| found.item == item)
    }
}

/// An answer as one edition reads it.
#[derive(Clone, Debug, PartialEq)]
enum Outcome {
    Absent,
    Unreadable,
    Word(String),
    /// Readings in the item's base unit, by place, and the limit of a worksheet's own verdict where the sheet has none.
    Readings(BTreeMap<String, f64>),
    /// What a worksheet made of its readings: a figure, and whether its own limit is kept.
    Worked(f64, bool),
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Asked {
    No,
    Unknown,
    Yes,
}

/// What one edition says of answers that were given by another (or by itself).
struct Reading<'s> {
    sheet: &'s Sheet,
    outcomes: BTreeMap<&'s str, Outcome>,
}

/// What answers given by the edition `own` amount to by the edition `force`.
pub fn say(force: &Sheet, own: &Sheet, answers: &Map<String, Json>) -> Said {
    let then = Reading::new(own, own, answers);
    let now = Reading::new(force, own, answers);
    let mut said = Said { complete: true, ..Said::default() };
    for item in &force.items {
        let asked = now.asked(item);
        let outcome = &now.outcomes[item.id.as_str()];
        if asked == Asked::No {
            // What is not asked is not missing either; an answer that stands there all the same is passed over.
            continue;
        }
        if item.by_hand {
            said.by_hand.insert(item.id.clone());
        }
        let absent = *outcome == Outcome::Absent;
        let left_out = item.required && (absent && asked == Asked::Yes || lacks_a_place(item, outcome));
        if left_out || now.is_unreadable(item) {
            said.complete = false;
        }
        said.found.extend(now.found(item));
    }
    // A finding of the answers' own edition falls away only where the edition in force has the item, asks it, can read the
    // answer and judges it whole: what it finds then stands in its place.
    for item in own.items.iter().filter(|item| force != own && then.asked(item) != Asked::No) {
        let is_settled = force.item(&item.id).is_some_and(|item| {
            let outcome = &now.outcomes[item.id.as_str()];
            let is_read =
                *outcome != Outcome::Absent && !now.is_unreadable(item) && !(item.required && lacks_a_place(item, outcome));
            now.asked(item) == Asked::Yes && is_read
        });
        if !is_settled {
            said.found.extend(then.found(item).into_iter().map(|found| Found { carried: true, ..found }));
        }
    }
    said
}

fn lacks_a_place(item: &Item, outcome: &Outcome) -> bool {
    match (&item.kind, outcome) {
        (Kind::Measure { per, .. }, Outcome::Readings(at)) => per.places().iter().any(|place| !at.contains_key(*place)),
        _ => false,
    }
}

impl<'s> Reading<'s> {
    fn new(sheet: &'s Sheet, own: &Sheet, answers: &Map<String, Json>) -> Reading<'s> {
        let outcomes = sheet.items.iter().map(|item| {
            let outcome = match (answers.get(&item.id), own.item(&item.id)) {
                (None, _) => Outcome::Absent,
                (Some(answer), Some(before)) => read(item, before, answer),
                // An answer to a question that its own edition did not have: nobody can say what it means.
                (Some(_), None) => Outcome::Unreadable,
            };
            (item.id.as_str(), outcome)
        });
        Reading { sheet, outcomes: outcomes.collect() }
    }

    fn asked(&self, item: &Item) -> Asked {
        let Some(when) = &item.when else { return Asked::Yes };
        let Some(earlier) = self.sheet.item(&when.item) else { return Asked::No };
        let by_answer = match &self.outcomes[when.item.as_str()] {
            Outcome::Unreadable => Asked::Unknown,
            Outcome::Word(word) if when.is.contains(word) => Asked::Yes,
            Outcome::Worked(_, well) if when.is.iter().any(|word| word == worked_word(earlier, *well)) => Asked::Yes,
            _ => Asked::No,
        };
        by_answer.min(self.asked(earlier))
    }

    /// Whether the answer cannot be read here, or leans on one that cannot.
    fn is_unreadable(&self, item: &Item) -> bool {
        match &self.outcomes[item.id.as_str()] {
            Outcome::Unreadable => true,
            Outcome::Readings(at) => limits(item).any(|(bound, _)| {
                bound.item().is_some_and(|other| at.keys().any(|place| self.reference(other, place).is_none()))
            }),
            Outcome::Worked(figure, _) => limits(item)
                .any(|(bound, _)| figure.is_finite() && bound.item().is_some_and(|other| self.reference(other, "").is_none())),
            _ => false,
        }
    }

    /// What another measurement says of a place, or of the whole car.
    fn reference(&self, other: &str, place: &str) -> Option<f64> {
        match self.outcomes.get(other)? {
            Outcome::Readings(at) => at.get(place).or_else(|| at.get("")).copied(),
            Outcome::Worked(figure, _) => Some(*figure),
            _ => None,
        }
    }

    /// The stop and fix findings of the answer, as far as it can be read.
    fn found(&self, item: &Item) -> Vec<Found> {
        let at = |place: &str, weight: Weight| Found { item: item.id.clone(), place: place.to_owned(), weight, carried: false };
        let whole = |weight: Option<Weight>| weight.map(|weight| at("", weight)).into_iter().collect::<Vec<_>>();
        let found = match (&item.kind, &self.outcomes[item.id.as_str()]) {
            (Kind::YesNo { right: Some(right), weight, .. }, Outcome::Word(word)) => {
                whole((word == if *right { "no" } else { "yes" }).then_some(*weight))
            }
            (Kind::YesNo { weight, .. }, Outcome::Worked(_, well)) => whole((!well).then_some(*weight)),
            (Kind::Choice(options), Outcome::Word(word)) => {
                whole(options.iter().find(|(id, _)| id == word).and_then(|(_, weight)| *weight))
            }
            // A sheet without limits of its own leaves the word to the worksheet.
            (Kind::Measure { limits, .. }, Outcome::Worked(_, well)) if limits.is_empty() => {
                whole((!well).then_some(Weight::Fix))
            }
            (Kind::Measure { .. }, Outcome::Worked(figure, _)) => whole(self.broken(item, "", *figure)),
            (Kind::Measure { .. }, Outcome::Readings(readings)) => readings
                .iter()
                .filter_map(|(place, value)| self.broken(item, place, *value).map(|weight| at(place, weight)))
                .collect(),
            _ => Vec::new(),
        };
        found.into_iter().filter(|found| found.weight.holds()).collect()
    }

    /// The first limit that a reading breaks, worst first.
    fn broken(&self, item: &Item, place: &str, value: f64) -> Option<Weight> {
        let Kind::Measure { unit, .. } = &item.kind else { return None };
        let size = unit.size();
        // What arithmetic in the item's own unit may lose: a reading that lies on its limit keeps it.
        let slack = 1e-9 * (value / size).abs().max(1.0) * size;
        limits(item)
            .find(|(bound, _)| match bound {
                Bound::AtLeast(least) => value < least * size - slack,
                Bound::AtMost(most) => value > most * size + slack,
                Bound::AtLeastItem(other) => self.reference(other, place).is_some_and(|least| value < least - slack),
                Bound::WithinPercent(percent, other) => self
                    .reference(other, place)
                    .is_some_and(|asked| (value - asked).abs() > asked.abs() * f64::from(*percent) / 100.0 + slack),
            })
            .map(|(_, weight)| weight)
    }
}

fn limits(item: &Item) -> impl Iterator<Item = (&Bound, Weight)> {
    let limits = match &item.kind {
        Kind::Measure { limits, .. } => limits.as_slice(),
        _ => &[],
    };
    limits.iter().map(|limit| (&limit.bound, limit.weight))
}

fn worked_word(item: &Item, well: bool) -> &'static str {
    let right = matches!(item.kind, Kind::YesNo { right: Some(true), .. });
    if well == right { "yes" } else { "no" }
}

/// Reads an answer that was given to the item `before` as an answer to the item `now`.
fn read(now: &Item, before: &Item, answer: &Json) -> Outcome {
    if let Some(worked) = answer.get("worked") {
        return read_worked(now, before, worked);
    }
    let word = || answer.get("value").and_then(Json::as_str).unwrap_or_default().to_owned();
    match (&now.kind, &before.kind) {
        (Kind::YesNo { right, not_applicable, .. }, Kind::YesNo { right: before_right, .. }) => {
            let word = word();
            let is_known = right == before_right && !works_differ(now, before) && (word != "n/a" || *not_applicable);
            if is_known { Outcome::Word(word) } else { Outcome::Unreadable }
        }
        (Kind::Choice(options), Kind::Choice(_)) => {
            let word = word();
            if options.iter().any(|(id, _)| *id == word) { Outcome::Word(word) } else { Outcome::Unreadable }
        }
        (Kind::Measure { unit, per, possible, .. }, Kind::Measure { per: then, .. }) => {
            let given = answer.get("unit").and_then(Json::as_str).map_or(*unit, Unit::parse);
            if given.quantity() != unit.quantity() || per != then {
                return Outcome::Unreadable;
            }
            // Both worksheets, and not the same: another question, whatever was typed.
            if works_differ(now, before) {
                return Outcome::Unreadable;
            }
            let at = readings(answer, *per, given);
            let (low, high) = (possible.0 * unit.size(), possible.1 * unit.size());
            let slack = 1e-9 * given.size();
            let can_be = |value: &f64| *value >= low - slack && *value <= high + slack;
            if at.values().all(can_be) { Outcome::Readings(at) } else { Outcome::Unreadable }
        }
        _ => Outcome::Unreadable,
    }
}

fn works_differ(now: &Item, before: &Item) -> bool {
    match (now.work, before.work) {
        (Some(now), Some(before)) => std::mem::discriminant(&now) != std::mem::discriminant(&before),
        _ => false,
    }
}

/// What the edition in force still finds of an item with an inspector's reading in place of the driver's, place by place. The
/// reading was given to the edition `read`. `None` where nobody can say.
pub fn still_found(
    force: &Sheet,
    own: &Sheet,
    answers: &Map<String, Json>,
    item: &str,
    read_by: &Sheet,
    reading: &Json,
) -> Option<bool> {
    let (now, before) = (force.item(item)?, read_by.item(item)?);
    let Outcome::Readings(measured) = read(now, before, reading) else { return None };
    let mut with_it = Reading::new(force, own, answers);
    let mut at = match &with_it.outcomes[now.id.as_str()] {
        Outcome::Readings(at) => at.clone(),
        Outcome::Worked(figure, _) => {
            let Kind::Measure { unit, .. } = &now.kind else { return None };
            BTreeMap::from([(String::new(), figure * unit.size())])
        }
        _ => BTreeMap::new(),
    };
    at.extend(measured);
    with_it.outcomes.insert(now.id.as_str(), Outcome::Readings(at));
    Some(!with_it.found(now).is_empty())
}

fn readings(answer: &Json, per: Per, unit: Unit) -> BTreeMap<String, f64> {
    let number = |json: &Json| json.as_f64().expect("a stored reading is a number") * unit.size();
    match (per, answer.get("value"), answer.get("at").and_then(Json::as_object)) {
        (Per::Car, Some(value), _) => BTreeMap::from([(String::new(), number(value))]),
        (_, _, Some(at)) => at.iter().map(|(place, value)| (place.clone(), number(value))).collect(),
        _ => BTreeMap::new(),
    }
}

/// Works the worksheet's readings out anew: by the limit that the sheet in force fixes, where it is the same worksheet.
fn read_worked(now: &Item, before: &Item, worked: &Json) -> Outcome {
    let number = |pointer: &str| worked.pointer(pointer).and_then(Json::as_f64).unwrap_or(f64::NAN);
    let (figure, well) = match (now.work, before.work) {
        (Some(Work::Noise(limit)), Some(Work::Noise(_))) => {
            let measured = number("/measured_db");
            (measured, measured <= limit + 1e-9)
        }
        (Some(Work::HelmetLine(limit)), Some(Work::HelmetLine(_))) => {
            // The days' hoop and front support are of one height: the line between them is level.
            let room = number("/hoop/z_mm") - number("/helmet/z_mm");
            (room, room >= limit - 1e-9)
        }
        _ => return Outcome::Unreadable,
    };
    match (&now.kind, &before.kind) {
        (Kind::YesNo { right, .. }, Kind::YesNo { right: then, .. }) if right == then => Outcome::Worked(figure, well),
        (Kind::Measure { possible, unit, per: Per::Car, .. }, Kind::Measure { unit: then, .. }) if unit == then => {
            if figure < possible.0 || figure > possible.1 { Outcome::Unreadable } else { Outcome::Worked(figure, well) }
        }
        _ => Outcome::Unreadable,
    }
}
