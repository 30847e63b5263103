//! Closing a finding at the gate: what a clear closes by the edition in force, and what an inspector must say to close it.
//!
//! A measured finding is closed by the inspector's own reading, which is judged like any other and again by each edition that
//! comes; or by a sentence that says what was seen. Whatever is closed by word closes what stood on the inspector's page, and
//! nothing that a later edition finds beside it.

use super::house::KnownEvent;
use super::state::{Sent, WordBody};
use crate::rules::answer::{Answer, Answers, Value, from_json};
use crate::rules::edition::{Given, asks_alike, read_and_judge};
use crate::rules::graph::Graph;
use crate::rules::judge::{Finding, Judged, judge_item};
use crate::rules::sheet::{Item, Kind};
use crate::rules::units::Units;
use crate::rules::words::{ItemId, Place};
use crate::store::history::Record;
use jiff::civil::Date;
use serde_json::Value as Json;
use std::collections::BTreeSet;
use uuid::Uuid;

/// The items whose finding a clear closes, by the edition in force, for every submission in force that its maker had seen.
pub fn closes(known: &KnownEvent, clear: &Record, words: &WordBody, in_force: &[Sent], graph: &Graph<Uuid>) -> BTreeSet<ItemId> {
    let has_seen = |sent: &&Sent| match (graph.place(&clear.id), graph.place(&sent.id)) {
        (Some(clear), Some(sent)) => graph.has_seen(clear, sent),
        _ => false,
    };
    let items = words.items.iter().filter_map(|item| ItemId::parse(item));
    items.filter(|item| in_force.iter().filter(has_seen).all(|sent| is_closed(known, clear, words, sent, item))).collect()
}

fn is_closed(known: &KnownEvent, clear: &Record, words: &WordBody, sent: &Sent, item: &ItemId) -> bool {
    let open: Vec<&Finding> = holding(&sent.judged, item).collect();
    if open.is_empty() {
        return true;
    }
    match words.readings.get(item.as_str()) {
        Some(reading) => reads_well(known, clear, reading, sent, item),
        None => stood_on_the_page(known, clear, sent, item, &open),
    }
}

fn holding<'j>(judged: &'j Judged, item: &'j ItemId) -> impl Iterator<Item = &'j Finding> {
    judged.holding().filter(move |finding| finding.item == *item)
}

/// Whether an inspector's reading keeps the limits of the edition in force.
fn reads_well(known: &KnownEvent, clear: &Record, reading: &Json, sent: &Sent, id: &ItemId) -> bool {
    let Some(item) = known.edition.sheet.item(id.as_str()) else { return false };
    let was = clear.edition.filter(|edition| *edition != known.edition.id);
    let asked_alike = match was {
        Some(was) => known.other(was).and_then(|was| was.sheet.item(id.as_str())).is_some_and(|was| asks_alike(was, item)),
        None => true,
    };
    let answer = from_json(item, reading, Date::MAX).ok().flatten();
    asked_alike && answer.is_some_and(|answer| still_found(known, item, &answer, &sent.answers).is_empty())
}

/// What the edition in force still finds of an item with an inspector's reading in place of the driver's: place by place, as the
/// inspector measures what is open.
pub fn still_found(known: &KnownEvent, item: &Item, reading: &Answer, answers: &Answers) -> Vec<Finding> {
    let mut answers = answers.clone();
    let merged = match (answers.get(&item.id).map(|answer| &answer.value), &reading.value) {
        (Some(Value::Measured { unit: before, at }), Value::Measured { unit, at: now }) => {
            let before = at.iter().map(|(place, number)| (*place, before.convert(*number, *unit)));
            Value::Measured { unit: *unit, at: before.chain(now.iter().map(|(place, number)| (*place, *number))).collect() }
        }
        (Some(Value::TyreCodes(before)), Value::TyreCodes(now)) => {
            Value::TyreCodes(before.clone().into_iter().chain(now.clone()).collect())
        }
        (_, value) => value.clone(),
    };
    answers.unreadable.remove(&item.id);
    answers.insert(item.id.clone(), Answer { value: merged, worked: None, ..reading.clone() });
    let judged = judge_item(&known.edition.sheet, item, &answers, known.event.day, &Units::METRIC);
    judged.holding().cloned().collect()
}

/// Whether everything that is found now stood on the page of the clear as well, and as gravely.
fn stood_on_the_page(known: &KnownEvent, clear: &Record, sent: &Sent, item: &ItemId, open: &[&Finding]) -> bool {
    let Some(was) = clear.edition.filter(|edition| *edition != known.edition.id) else { return true };
    let Some(was) = known.other(was) else { return false };
    let given = if sent.edition == was.id { Given::ToThis } else { known.given_to_any(sent.edition) };
    let (_, then) = read_and_judge(&was.sheet, given, &sent.stored, known.event.day, &Units::METRIC);
    let stood = |now: &&Finding| holding(&then, item).any(|then| then.place == now.place && then.severity >= now.severity);
    open.iter().all(stood)
}

/// How an inspector closes an open finding.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Closing {
    /// By seeing it put right.
    ByTick,
    /// By measuring at these places, or by a sentence.
    ByReading(Vec<Place>),
    /// By a sentence: the edition in force does not ask it in a way in which it could be measured.
    BySentence,
}

/// What is asked of an inspector who closes the findings of an item.
pub fn closing_of(known: &KnownEvent, item: &ItemId, open: &[&Finding]) -> Closing {
    if open.iter().any(|finding| finding.carried_from.is_some()) {
        return Closing::BySentence;
    }
    match known.edition.sheet.item(item.as_str()).map(|item| &item.kind) {
        Some(Kind::Measurement(_) | Kind::TyreCode(_)) => {
            let places: BTreeSet<Place> = open.iter().map(|finding| finding.place).collect();
            Closing::ByReading(places.into_iter().collect())
        }
        _ => Closing::ByTick,
    }
}
