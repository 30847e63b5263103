//! Answers of last time as they are offered to the default sheet: with their date, the newer before the older, and nothing that
//! the sheet cannot read or the driver did not measure.

use crate::notebook::{CAR, minute};
use jiff::Timestamp;
use jiff::civil::{Date, date};
use serde_json::{Map, Value as Json, json};
use std::collections::BTreeMap;
use std::sync::LazyLock;
use uuid::Uuid;
use witnessmark::acts::set_up::CLUB_DAY;
use witnessmark::demo;
use witnessmark::rules::answer::{Answers, Typed, from_json, from_typed};
use witnessmark::rules::garage::book::Garage;
use witnessmark::rules::garage::change::{Change, Noted};
use witnessmark::rules::garage::kinds::GearKind;
use witnessmark::rules::garage::offers::{Earlier, Offer, offers};
use witnessmark::rules::sheet::{Kind, Sheet};
use witnessmark::rules::sheet_file;

static SHEET: LazyLock<Sheet> = LazyLock::new(|| sheet_file::read(CLUB_DAY).expect("the default sheet can be read"));
const SPRING: Date = date(2026, 3, 28);
const TODAY: Date = date(2026, 5, 1);

fn answers(given: &Map<String, Json>) -> Answers {
    let read = |id: &str, json: &Json| {
        let item = SHEET.item(id)?;
        Some((item.id.clone(), from_json(item, json, SPRING).unwrap_or_else(|trouble| panic!("{id}: {trouble:?}"))?))
    };
    given.iter().filter_map(|(id, json)| read(id, json)).collect()
}

fn sound() -> Map<String, Json> {
    demo::sound_answers(&SHEET, SPRING)
}

/// Notes of a garage with one car, each with its time.
fn garage(notes: Vec<(Timestamp, Change)>) -> Garage {
    let car = (minute(0), Change::Car { car: CAR, name: "The blue coupe".into() });
    let one = |(nth, (at, change))| Noted { id: Uuid::from_u128(nth as u128), at, change };
    Garage::of(&std::iter::once(car).chain(notes).enumerate().map(one).collect::<Vec<_>>())
}

fn when(day: Date) -> Timestamp {
    day.at(12, 0, 0, 0).in_tz("UTC").expect("a time").timestamp()
}

fn fact(day: Date, item: &str, text: &str) -> (Timestamp, Change) {
    let typed: Typed = [(String::new(), text.to_owned())].into();
    (when(day), Change::Facts { car: CAR, facts: [(item.to_owned(), typed)].into() })
}

fn offered(garage: &Garage, given: &Map<String, Json>) -> BTreeMap<String, Offer> {
    let answers = answers(given);
    offers(garage, CAR, &[Earlier { event: "Spring day", day: SPRING, sheet: &SHEET, answers: &answers }], &SHEET, TODAY)
}

fn text(offer: &Offer) -> &str {
    offer.typed.get("").map_or("", String::as_str)
}

#[test]
fn every_answer_of_the_earlier_sheet_is_offered_with_its_event_and_its_day() {
    let given = sound();
    let found = offered(&garage(vec![]), &given);
    for (id, answer) in answers(&given) {
        let item = SHEET.item(id.as_str()).expect("an item");
        if matches!(item.kind, Kind::Photo { .. }) {
            assert!(!found.contains_key(id.as_str()), "{id}: a photo is of its day");
            continue;
        }
        let offer = found.get(id.as_str()).unwrap_or_else(|| panic!("{id} is not offered"));
        assert_eq!((offer.from.as_str(), offer.day), ("Spring day", SPRING), "{id}");
        let again = from_typed(item, &offer.typed, TODAY).expect("it can be read").expect("an answer");
        assert_eq!(again.value, answer.value, "{id} is offered as something else");
    }
    assert!(found.len() > 40, "the default sheet asks more than {} things", found.len());
}

#[test]
fn what_is_held_against_a_limit_is_a_reading_and_what_others_are_held_against_is_not() {
    let found = offered(&garage(vec![]), &sound());
    for id in ["pad-front", "pad-rear", "tread-depth", "lug-torque", "disc-front", "thread-engagement"] {
        assert!(found[id].is_reading, "{id} wears or works loose: it must be measured again");
    }
    for id in ["torque-asked", "disc-minimum", "roof", "tyre-marking", "tyre-date", "helmet-label", "pedal-firm"] {
        assert!(!found[id].is_reading, "{id} is no reading of the car's wear");
    }
}

#[test]
fn photos_notes_and_worksheets_readings_stay_with_the_sheet_they_were_for() {
    let mut given = sound();
    let photo = "0198c0de-0000-7000-8000-000000000001";
    given["pad-front"]["note"] = json!("inner pad, right side");
    given["pad-front"]["photo"] = json!([photo]);
    given.insert("photos".into(), json!({"photo": [photo]}));
    let work = json!({"cylinders": [{"percent": 8}, {"percent": 9}, {"percent": 7}, {"percent": 8}]});
    given.insert("engine-sealing".into(), json!({"worked": work}));
    let before = answers(&given);
    let of = |id: &str| before.iter().find(|(item, _)| item.as_str() == id).map(|(_, answer)| answer).expect(id);
    assert!(of("pad-front").note.is_some() && !of("pad-front").photos.is_empty(), "the earlier sheet has both");
    assert!(of("engine-sealing").worked.is_some(), "the earlier sheet has the readings of each cylinder");

    let found = offered(&garage(vec![]), &given);
    assert!(!found.contains_key("photos"));
    for (id, offer) in &found {
        let stray: Vec<&String> =
            offer.typed.keys().filter(|name| *name == "note" || *name == "photo" || name.starts_with("w.")).collect();
        assert!(stray.is_empty(), "{id} is offered with {stray:?} of last time");
    }
    assert_eq!(found["pad-front"].typed["lf"], of("pad-front").to_typed()["lf"], "the figure itself is offered");
}

#[test]
fn of_a_fact_and_an_answer_the_newer_is_offered() {
    let given = sound();
    let answer = json!("open");
    let mut open = given.clone();
    open.insert("roof".into(), json!({"value": answer}));
    let found = |noted: Date| offered(&garage(vec![fact(noted, "roof", "closed")]), &open)["roof"].clone();
    let newer = found(date(2026, 4, 15));
    assert_eq!((text(&newer), newer.from.as_str(), newer.day), ("closed", "your garage", date(2026, 4, 15)));
    let older = found(date(2026, 1, 15));
    assert_eq!((text(&older), older.from.as_str(), older.day), ("open", "Spring day", SPRING));
    let same_day = found(SPRING);
    assert_eq!(text(&same_day), "closed", "on one day the driver's own book counts");
}

#[test]
fn of_two_earlier_sheets_the_newer_is_offered_in_whatever_order_they_come() {
    let (mut first, mut second) = (sound(), sound());
    first.insert("tyre-marking".into(), json!({"value": "195/50 R15 82V"}));
    second.insert("tyre-marking".into(), json!({"value": "205/50 R15 86V"}));
    let (first, second) = (answers(&first), answers(&second));
    let old = || Earlier { event: "Autumn day", day: date(2025, 10, 4), sheet: &SHEET, answers: &first };
    let new = || Earlier { event: "Spring day", day: SPRING, sheet: &SHEET, answers: &second };
    for earlier in [[old(), new()], [new(), old()]] {
        let found = offers(&garage(vec![]), CAR, &earlier, &SHEET, TODAY);
        assert_eq!((text(&found["tyre-marking"]), found["tyre-marking"].from.as_str()), ("205/50 R15 86V", "Spring day"));
    }
}

fn helmet(day: Date, nth: u128, name: &str, label: &str) -> (Timestamp, Change) {
    let gear = Uuid::from_u128(0x9e00 + nth);
    let (what, date) = (GearKind::Helmet, "2021-05".to_owned());
    (when(day), Change::Gear { gear, what, name: name.into(), label: label.into(), date, valid_until: false })
}

#[test]
fn the_helmet_of_the_garage_is_offered_where_the_sheet_asks_for_its_label() {
    let garage = garage(vec![helmet(date(2026, 4, 2), 1, "The white one", "Snell SA2020")]);
    let found = offers(&garage, CAR, &[], &SHEET, TODAY);
    let offer = &found["helmet-label"];
    assert_eq!((text(offer), offer.from.as_str(), offer.day), ("Snell SA2020", "The white one", date(2026, 4, 2)));
    assert_eq!((offer.typed["date"].as_str(), offer.typed["date-is"].as_str()), ("2021-05", "made"));
    assert!(!offer.is_reading);
    assert_eq!(found.keys().collect::<Vec<_>>(), ["helmet-label"], "a helmet is no harness and no head restraint");
}

#[test]
fn a_helmet_noted_before_the_last_sheet_does_not_outrank_it() {
    let given = sound();
    let worn = answers(&given).iter().find(|(id, _)| id.as_str() == "helmet-label").map(|(_, answer)| answer.to_typed());
    let old = garage(vec![helmet(date(2026, 1, 2), 1, "The white one", "Snell SA2015")]);
    assert_eq!(Some(offered(&old, &given)["helmet-label"].typed[""].clone()), worn.map(|typed| typed[""].clone()));
    let new = garage(vec![helmet(date(2026, 4, 2), 1, "The new one", "Snell SA2025")]);
    assert_eq!(text(&offered(&new, &given)["helmet-label"]), "Snell SA2025");
}

#[test]
fn a_fact_that_this_sheet_cannot_read_is_not_offered_and_hides_nothing() {
    let late = date(2026, 4, 15);
    let unread = vec![
        fact(late, "roof", "targa"),
        fact(late, "torque-asked", "as the book says"),
        fact(late, "disc-minimum", "99"),
        fact(late, "mass", "1250"),
        fact(late, "tyre-date", "1823"),
    ];
    assert_eq!(offers(&garage(unread.clone()), CAR, &[], &SHEET, TODAY), BTreeMap::new());
    let found = offered(&garage(unread), &sound());
    assert_eq!(found["roof"].from, "Spring day", "the answer of last time is hidden by a fact that nobody can use");
}

#[test]
fn a_figure_of_the_garage_brings_its_unit_along() {
    let found = offers(&garage(vec![fact(date(2026, 4, 15), "torque-asked", "108,5")]), CAR, &[], &SHEET, TODAY);
    assert_eq!((text(&found["torque-asked"]), found["torque-asked"].typed["unit"].as_str()), ("108,5", "N.m"));
    let typed: Typed = [("".to_owned(), "80".to_owned()), ("unit".to_owned(), "lbf.ft".to_owned())].into();
    let facts = Change::Facts { car: CAR, facts: [("torque-asked".to_owned(), typed)].into() };
    let found = offers(&garage(vec![(when(date(2026, 4, 15)), facts)]), CAR, &[], &SHEET, TODAY);
    assert_eq!(found["torque-asked"].typed["unit"], "lbf.ft", "80 lbf·ft must not become 80 N·m");
}

#[test]
fn another_cars_facts_are_not_offered() {
    let garage = garage(vec![fact(date(2026, 4, 15), "roof", "open")]);
    assert_eq!(offers(&garage, Uuid::from_u128(0xcb), &[], &SHEET, TODAY), BTreeMap::new());
}
