//! Answers of last time, offered to a new sheet with their date: to be confirmed one by one or together, never copied in silence.

use super::book::{Garage, GearPiece};
use super::kinds::unit_asked;
use super::ready::judge_piece;
use crate::rules::answer::{Answers, Typed, from_typed};
use crate::rules::edition::asks_alike;
use crate::rules::sheet::{Item, Kind, Sheet};
use crate::rules::units::Unit;
use crate::rules::words::Verdict;
use jiff::civil::Date;
use std::collections::BTreeMap;
use uuid::Uuid;

/// An answer that is offered for an item.
#[derive(Clone, Debug, PartialEq)]
pub struct Offer {
    /// As it would be typed.
    pub typed: Typed,
    /// "Spring day", "your garage".
    pub from: String,
    pub day: Date,
    /// It was measured against a limit: it stands only where it is confirmed by itself, for what wears has worn since.
    pub is_reading: bool,
}

/// A sheet that was sent for the car before.
pub struct Earlier<'a> {
    pub event: &'a str,
    pub day: Date,
    /// The sheet that the answers are read by.
    pub sheet: &'a Sheet,
    pub answers: &'a Answers,
}

/// What is offered to a sheet for a car, by item. Of two sources the newer counts; what this sheet cannot read is not offered.
///
/// `today` is the last day on which anything can have been done.
pub fn offers(garage: &Garage, car: Uuid, earlier: &[Earlier<'_>], sheet: &Sheet, today: Date) -> BTreeMap<String, Offer> {
    let mut offers: BTreeMap<String, Offer> = BTreeMap::new();
    let mut offer = |item: &Item, typed: Typed, from: &str, day: Date| {
        let own = |name: &str| name != "note" && name != "photo" && !name.starts_with("w.");
        let typed: Typed = typed.into_iter().filter(|(name, text)| own(name) && !text.is_empty()).collect();
        let is_newer = offers.get(item.id.as_str()).is_none_or(|there| there.day <= day);
        if is_newer && matches!(from_typed(item, &typed, today), Ok(Some(_))) {
            let is_reading = matches!(&item.kind, Kind::Measurement(rule) if !rule.limits.is_empty());
            offers.insert(item.id.to_string(), Offer { typed, from: from.to_owned(), day, is_reading });
        }
    };
    for sent in earlier {
        for item in sheet.items().filter(|item| !matches!(item.kind, Kind::Photo { .. })) {
            let asked = sent.sheet.item(item.id.as_str());
            if let Some(answer) = sent.answers.get(&item.id)
                && asked.is_some_and(|asked| asks_alike(asked, item))
            {
                offer(item, answer.to_typed(), sent.event, sent.day);
            }
        }
    }
    let Some(car) = garage.car(car) else { return offers };
    for (id, (typed, noted)) in &car.facts {
        if let Some(item) = sheet.item(id) {
            offer(item, in_sheet_unit(id, typed), "your garage", noted.to_zoned_datetime(jiff::tz::TimeZone::UTC).date());
        }
    }
    for item in sheet.items() {
        let Kind::Label(rule) = &item.kind else { continue };
        // Of two helmets the one that lasts; one whose label this sheet does not take is not offered at all.
        let pieces = garage.gear.iter().rev().filter(|piece| piece.what.token() == rule.gear);
        let judged = pieces.map(|piece| (judge_piece(piece, &sheet.gear, today).0, piece));
        if let Some((_, piece)) = judged.filter(|(verdict, _)| *verdict < Verdict::Fix).min_by_key(|(verdict, _)| *verdict) {
            offer(item, label_of(piece), &piece.name, piece.noted_at.to_zoned_datetime(jiff::tz::TimeZone::UTC).date());
        }
    }
    offers
}

/// A fact's number was typed in the garage's unit, which a sheet may not take for granted.
fn in_sheet_unit(id: &str, typed: &Typed) -> Typed {
    let mut typed = typed.clone();
    if let Some(unit) = unit_asked(id) {
        typed.entry("unit".into()).or_insert_with(|| Unit::token(unit).into());
    }
    typed
}

fn label_of(piece: &GearPiece) -> Typed {
    let mut typed = Typed::from([(String::new(), piece.label.clone())]);
    if !piece.date.is_empty() {
        typed.insert("date".into(), piece.date.clone());
    }
    typed.insert("date-is".into(), if piece.valid_until { "valid-until" } else { "made" }.into());
    typed
}
