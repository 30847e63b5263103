//! Answers given to one edition of the sheet, read and judged by another: nothing that was found falls away unseen.
//!
//! A stored answer has three outcomes: absent, read, unreadable. It is unreadable where the edition in force asks its item in
//! another way: as another kind, at other places, in a unit of another quantity, outside what is possible, with another right
//! answer, by another worksheet, without the option that was chosen. A stop or fix finding of the edition that the answer was given
//! to falls away only where the edition in force has the item, asks it, reads the answer, and finds it in order. Otherwise it is
//! *carried*: it stays open until the driver answers anew, or an inspector closes it.

use super::answer::{self, Answers, Asked, Typed, asked};
use super::chain::{digest, hex};
use super::judge::{Finding, Judged, judge};
use super::sheet::{Bound, DateRule, Gives, Item, Kind, Sheet};
use super::units::{Unit, Units};
use super::words::{ItemId, Per, Place};
use jiff::civil::Date;
use serde_json::{Map, Value as Json};

/// The edition that answers were given to, beside the one they are read by.
#[derive(Clone, Copy, Debug)]
pub enum Given<'s> {
    /// The same one.
    ToThis,
    /// Another one, with its number.
    To(&'s Sheet, u32),
    /// One that is not here or cannot be read: nobody knows what was asked.
    ToNobodyKnowsWhat,
}

/// Reads stored answers by a sheet. What the sheet does not ask any more is passed over here and seen to by [`read_and_judge`].
pub fn read(sheet: &Sheet, given: Given<'_>, stored: &Map<String, Json>) -> Answers {
    let mut answers = Answers::new();
    for item in sheet.items() {
        let before = match given {
            Given::ToThis => None,
            Given::To(own, _) => own.item(item.id.as_str()),
            Given::ToNobodyKnowsWhat => {
                answers.unreadable.insert(item.id.clone());
                continue;
            }
        };
        let Some(json) = stored.get(item.id.as_str()) else { continue };
        if before.is_some_and(|before| !asks_alike(before, item)) {
            answers.unreadable.insert(item.id.clone());
            continue;
        }
        // They were checked against the calendar when they arrived; the judge holds them against the event's day.
        match answer::from_json(item, json, Date::MAX) {
            Ok(Some(answer)) => drop(answers.insert(item.id.clone(), answer)),
            Ok(None) => {}
            Err(_) => drop(answers.unreadable.insert(item.id.clone())),
        }
    }
    answers
}

/// Reads stored answers by the sheet in force and judges them, with the findings that are carried over from the edition they were
/// given to.
pub fn read_and_judge(sheet: &Sheet, given: Given<'_>, stored: &Map<String, Json>, on: Date, units: &Units) -> (Answers, Judged) {
    let answers = read(sheet, given, stored);
    let mut judged = judge(sheet, &answers, on, units);
    if let Given::To(own, number) = given {
        let then = judge(own, &read(own, Given::ToThis, stored), on, units);
        let carried = then.findings.into_iter().filter(|finding| finding.severity.holds_the_car());
        let carried: Vec<Finding> = carried.filter(|finding| !is_settled(sheet, &answers, &judged, &finding.item)).collect();
        judged.findings.extend(carried.into_iter().map(|finding| Finding { carried_from: Some(number), ..finding }));
    }
    (answers, judged)
}

/// Whether the sheet in force has judged an item's answer whole.
fn is_settled(sheet: &Sheet, answers: &Answers, judged: &Judged, id: &ItemId) -> bool {
    let Some(item) = sheet.item(id.as_str()) else { return false };
    let is_judged = asked(sheet, item, answers) == Asked::Yes && answers.contains_key(id) && !judged.misses(id);
    is_judged && leans_on(item).all(|other| answers.contains_key(other))
}

/// The other measurements that an item's limits lean on: without their answers nobody knows whether the reading keeps them.
fn leans_on(item: &Item) -> impl Iterator<Item = &ItemId> {
    let limits = if let Kind::Measurement(rule) = &item.kind { rule.limits.as_slice() } else { &[] };
    limits.iter().filter_map(|limit| match &limit.bound {
        Bound::AtLeastItem(other) | Bound::WithinPercent(_, other) => Some(other),
        Bound::AtLeast(_) | Bound::AtMost(_) => None,
    })
}

/// Whether two editions' items of one id ask for the same thing, so that an answer to one answers the other. Limits, severities
/// and words may differ: they are what a new edition is for.
pub fn asks_alike(before: &Item, now: &Item) -> bool {
    let same_kind = match (&before.kind, &now.kind) {
        (Kind::YesNo(before), Kind::YesNo(now)) => before.right == now.right,
        (Kind::Measurement(before), Kind::Measurement(now)) => {
            before.per == now.per && before.unit.quantity() == now.unit.quantity()
        }
        (Kind::Date(before), Kind::Date(now)) => matches!(before, DateRule::Done { .. }) == matches!(now, DateRule::Done { .. }),
        (Kind::Label(before), Kind::Label(now)) => before.gear == now.gear,
        (Kind::TyreCode(before), Kind::TyreCode(now)) => before.per == now.per,
        (Kind::Choice(_), Kind::Choice(_))
        | (Kind::Text { .. }, Kind::Text { .. })
        | (Kind::Photo { .. }, Kind::Photo { .. }) => true,
        _ => false,
    };
    let same_work = match (&before.work, &now.work) {
        (Some(before), Some(now)) => before.form.name == now.form.name && before.gives == now.gives,
        // Readings of a worksheet that is not asked any more cannot be read; without readings it makes no difference.
        _ => true,
    };
    same_kind && same_work
}

/// The field of what was typed for an item that says which question it was typed for: [`question`]. No item has a field of its own
/// of this name.
pub const QUESTION: &str = "q";

/// A short digest of what an item asks for. What was typed for one question answers no other: a draft and a page carry it.
pub fn question(item: &Item) -> String {
    let places = |per: Per| per.places().into_iter().map(Place::token).collect::<Vec<_>>().join(" ");
    let kind = match &item.kind {
        Kind::YesNo(rule) => match rule.right {
            Some(true) => "yes".to_owned(),
            Some(false) => "no".to_owned(),
            None => String::new(),
        },
        Kind::Measurement(rule) => {
            // The quantity by its base unit.
            let quantity = Unit::ALL.into_iter().find(|unit| unit.quantity() == rule.unit.quantity()).unwrap_or(rule.unit);
            format!("{} in {}", places(rule.per), quantity.token())
        }
        Kind::Date(DateRule::Done { .. }) => "done".to_owned(),
        Kind::Date(DateRule::ValidUntil { .. }) => "valid until".to_owned(),
        Kind::Label(rule) => rule.gear.clone(),
        Kind::TyreCode(rule) => places(rule.per),
        Kind::Choice(_) | Kind::Text { .. } | Kind::Photo { .. } => String::new(),
    };
    let work = item.work.as_ref().map_or(String::new(), |work| match &work.gives {
        Gives::Figure(name) => format!("{} {name}", work.form.name),
        Gives::Verdict => work.form.name.to_owned(),
    });
    hex(&digest(format!("{}|{}|{kind}|{work}", item.id, item.kind.word()).as_bytes()))[..8].to_owned()
}

/// Whether something was typed for what an item asks now. What says nothing of its question is taken for it.
pub fn is_typed_for(item: &Item, typed: &Typed) -> bool {
    typed.get(QUESTION).is_none_or(|asked| *asked == question(item))
}

/// Items that two editions ask alike but in other words: an old answer counts for them, and a person should know.
pub fn reworded<'s>(before: &Sheet, now: &'s Sheet) -> Vec<&'s Item> {
    let is_reworded = |item: &&Item| {
        let before = before.item(item.id.as_str());
        before.is_some_and(|before| asks_alike(before, item) && (before.ask != item.ask || before.name != item.name))
    };
    now.items().filter(is_reworded).collect()
}
