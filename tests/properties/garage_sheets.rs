//! What a sheet that was sent says of wear: lines of the log beside the driver's own, the same at every look.

use crate::notebook::{CAR, Notebook, at, car, minute, on};
use jiff::civil::{Date, date};
use serde_json::json;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::LazyLock;
use uuid::Uuid;
use witnessmark::acts::set_up::CLUB_DAY;
use witnessmark::demo;
use witnessmark::rules::answer::{Answers, from_json};
use witnessmark::rules::garage::book::{Line, Logged};
use witnessmark::rules::garage::change::Change;
use witnessmark::rules::garage::kinds::{Fluid, ReadingKind};
use witnessmark::rules::garage::log::{SheetSent, in_order, last_changed, lines_of, newest};
use witnessmark::rules::garage::ready::limit_of;
use witnessmark::rules::garage::wear::series;
use witnessmark::rules::sheet::Sheet;
use witnessmark::rules::sheet_file;
use witnessmark::rules::words::Place;

static SHEET: LazyLock<Sheet> = LazyLock::new(|| sheet_file::read(CLUB_DAY).expect("the default sheet can be read"));
const SPRING: Date = date(2026, 3, 28);

/// The sound car's answers, with these over them.
fn answers(over: serde_json::Value) -> Answers {
    let mut given = demo::sound_answers(&SHEET, SPRING);
    given.extend(over.as_object().expect("answers").clone());
    let read = |(id, json): (&String, &serde_json::Value)| {
        let item = SHEET.item(id)?;
        Some((item.id.clone(), from_json(item, json, SPRING).unwrap_or_else(|trouble| panic!("{id}: {trouble:?}"))?))
    };
    given.iter().filter_map(read).collect()
}

fn sent(submission: u128, answers: &Answers) -> Vec<Line> {
    let submission = Uuid::from_u128(submission);
    let taken = at(SPRING, 7, 30);
    lines_of(&SheetSent { submission, event: "Spring day", taken, arrived_at: minute(0), answers })
}

fn kinds(lines: &[Line]) -> BTreeMap<ReadingKind, usize> {
    let mut kinds = BTreeMap::new();
    for line in lines {
        if let Logged::Readings(readings) = &line.what {
            *kinds.entry(readings.what).or_default() += readings.figures().len();
            assert_eq!(readings.from, "Spring day", "the driver could not tell where {:?} comes from", readings.what);
        }
    }
    kinds
}

#[test]
fn every_reading_that_wears_comes_from_the_sheet_to_the_log() {
    let worked = json!({"engine-sealing": {"worked": {"cylinders": [
        {"supply_kpa": 700, "held_kpa": 644}, {"supply_kpa": 700, "held_kpa": 637}, {"percent": 7}, {"percent": 8.5}]}}});
    let lines = sent(1, &answers(worked));
    use ReadingKind::{Disc, LeakDown, Pad, Tread, WheelTorque};
    assert_eq!(kinds(&lines), [(Pad, 4), (Tread, 4), (Disc, 2), (LeakDown, 4), (WheelTorque, 4)].into());
    let lines: Vec<&Line> = lines.iter().collect();
    // 56 of 700 kPa are 8 per cent, 63 are 9.
    let leak: Vec<f64> = newest(&lines, LeakDown).values().map(|(percent, _)| *percent).collect();
    assert!(leak.iter().zip([8.0, 9.0, 7.0, 8.5]).all(|(found, wanted)| (found - wanted).abs() < 1e-9), "{leak:?}");
    assert!(last_changed(&lines, Fluid::BrakeFluid).is_some_and(|day| day < SPRING), "the day of the change, not of the sheet");
}

#[test]
fn a_sheets_lines_have_the_same_ids_at_every_look_and_no_two_have_one() {
    let given = answers(json!({}));
    assert_eq!(sent(1, &given), sent(1, &given));
    let both: Vec<Line> = sent(1, &given).into_iter().chain(sent(2, &given)).collect();
    assert_eq!(
        both.iter().map(|line| line.id).collect::<BTreeSet<_>>().len(),
        both.len(),
        "two lines of one id: a page shows one"
    );
}

#[test]
fn a_sheet_in_thirty_seconds_and_a_log_in_millimetres_make_one_line() {
    // 10/32 in are 7.9375 mm; an hour later 7.4375 mm: half a millimetre an hour, 3 mm after 532.5 minutes more.
    let sheet = sent(1, &answers(json!({"pad-front": {"unit": "1/32 in", "at": {"lf": 10, "rf": 12}}})));
    let mut book = Notebook::of_a_car();
    book.drives(on(SPRING), 60.0);
    book.reads(at(SPRING, 18, 0), ReadingKind::Pad, &[(Place::FrontLeft, 7.4375)]);
    let garage = book.garage();
    let lines = in_order(car(&garage), &sheet);
    let all = series(&lines, ReadingKind::Pad, SPRING);
    let front_left = all.iter().find(|one| one.place == Place::FrontLeft).expect("two readings");
    assert_eq!(front_left.points.len(), 2);
    let left = front_left.forecast(3.0).expect("a line").left.expect("it falls");
    assert!((left - 532.5).abs() < 1e-9, "{left}");
}

#[test]
fn a_new_part_noted_after_the_sheet_begins_its_line_anew() {
    let sheet = sent(1, &answers(json!({})));
    let mut book = Notebook::of_a_car();
    book.reads_new(at(SPRING, 20, 0), ReadingKind::Pad, &[(Place::FrontLeft, 11.0), (Place::FrontRight, 11.0)]);
    let garage = book.garage();
    let all = series(&in_order(car(&garage), &sheet), ReadingKind::Pad, SPRING);
    let counts: Vec<(Place, usize)> = all.iter().map(|one| (one.place, one.points.len())).collect();
    let (first, second) = ((Place::FrontLeft, 1), (Place::FrontRight, 1));
    assert_eq!(counts[..2], [first, second], "the front pads are new");
    assert_eq!(counts.len(), 4, "the rear ones are those of the sheet");
}

#[test]
fn a_line_of_a_sheet_is_the_sheets_and_cannot_be_struck_from_the_log() {
    let sheet = sent(1, &answers(json!({})));
    let book = Notebook::of_a_car();
    assert!(book.garage().takes(&Change::Struck { line: sheet[0].id }).is_err());
    assert!(book.garage().car(CAR).is_some_and(|car| car.log.is_empty()));
}

#[test]
fn a_club_that_asks_for_pads_in_per_cent_does_not_have_its_limit_taken_for_millimetres() {
    let item = CLUB_DAY.find("id = \"pad-front\"").expect("the item");
    let (before, after) = CLUB_DAY.split_at(item);
    let in_per_cent = after
        .replacen("unit = \"mm\"\npossible = [0, 25]", "unit = \"%\"\npossible = [0, 100]", 1)
        .replacen("at_least = 3,", "at_least = 30,", 1)
        .replacen("at_least = 5,", "at_least = 50,", 1);
    let sheet = sheet_file::read(&format!("{before}{in_per_cent}")).expect("a sheet");
    let garage = Notebook::of_a_car().garage();
    // The front pads have no limit that a log in mm can be held against; the rear ones have theirs.
    assert_eq!(limit_of((ReadingKind::Pad, Place::FrontLeft), Some(&sheet), car(&garage)), Some(3.0));
    assert_eq!(limit_of((ReadingKind::Tread, Place::RearLeft), Some(&sheet), car(&garage)), Some(1.6));
}

#[test]
fn a_disc_is_held_against_what_is_cast_into_it_in_whatever_unit_that_is_read() {
    let mut book = Notebook::of_a_car();
    assert_eq!(
        limit_of((ReadingKind::Disc, Place::FrontLeft), Some(&SHEET), car(&book.garage())),
        None,
        "nobody knows the least thickness"
    );
    for (text, unit, wanted) in [("22,4", "mm", 22.4), ("0.875", "in", 22.225)] {
        let typed = [("".to_owned(), text.to_owned()), ("unit".to_owned(), unit.to_owned())].into();
        book.note(Change::Facts { car: CAR, facts: [("disc-minimum".to_owned(), typed)].into() });
        let found = limit_of((ReadingKind::Disc, Place::FrontLeft), Some(&SHEET), car(&book.garage())).expect("a limit");
        assert!((found - wanted).abs() < 1e-12, "{text} {unit} is {found} mm");
    }
}

#[test]
fn a_figure_that_is_emptied_is_gone_though_its_form_still_names_the_unit() {
    let mut book = Notebook::of_a_car();
    for text in ["22.4", ""] {
        let typed = [("".to_owned(), text.to_owned()), ("unit".to_owned(), "mm".to_owned())].into();
        book.note(Change::Facts { car: CAR, facts: [("disc-minimum".to_owned(), typed)].into() });
    }
    assert!(car(&book.garage()).fact("disc-minimum").is_none(), "an empty figure is kept as if it were one");
}
