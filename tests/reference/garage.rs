//! The garage's forecasts against statsmodels 0.15.0, the worksheet `pad-wear` and lines worked out by hand: each through a whole
//! fold, from what was noted to what is left.

use crate::notebook::{CAR, Notebook, at, car, on, readings};
use crate::table::{answer, assert_near, figure, rows};
use jiff::ToSpan;
use jiff::civil::{Date, date};
use proptest::prelude::*;
use serde_json::{Value as Json, json};
use uuid::Uuid;
use witnessmark::acts::set_up::CLUB_DAY;
use witnessmark::rules::garage::book::Garage;
use witnessmark::rules::garage::change::Change;
use witnessmark::rules::garage::kinds::{Fluid, GearKind, ReadingKind};
use witnessmark::rules::garage::log::in_order;
use witnessmark::rules::garage::ready::{Before, Ready, Stand, To, ready};
use witnessmark::rules::garage::wear::{Forecast, Planned, say};
use witnessmark::rules::sheet::Sheet;
use witnessmark::rules::sheet_file;
use witnessmark::rules::units::{Unit, Units};
use witnessmark::rules::words::{Place, Severity};

const FIRST: Date = date(2026, 3, 1);

fn points(dataset: &str) -> Vec<(f64, f64)> {
    let of_set = rows("linear_fit_data.csv").into_iter().filter(|row| row.text("dataset") == dataset);
    of_set.map(|row| (row.number("x"), row.number("y"))).collect()
}

/// A reading each morning, and from noon the minutes until the next one, in three uneven parts.
fn driven(points: &[(f64, f64)], then: f64) -> Notebook {
    let mut book = Notebook::of_a_car();
    for (nth, (x, mm)) in points.iter().enumerate() {
        let day = FIRST + i64::try_from(nth).unwrap().days();
        book.reads(on(day), ReadingKind::Pad, &[(Place::FrontLeft, *mm)]);
        let gap = points.get(nth + 1).map_or(then, |(next, _)| next - x);
        for (clock, part) in [(None, 0.375), (Some(14), 0.4), (Some(15), 0.225)] {
            book.drives(clock.map_or(on(day), |hour| at(day, hour, 5)), gap * part);
        }
    }
    book
}

fn forecast(book: &Notebook, limit: f64) -> Forecast {
    let series = book.series(ReadingKind::Pad, date(2026, 4, 1));
    assert_eq!(series.len(), 1, "one place was read");
    series[0].forecast(limit).expect("a line")
}

#[test]
fn a_pads_forecast_is_what_statsmodels_and_the_worksheet_say() {
    let mut checked = 0;
    for row in rows("linear_fit.csv").iter().filter(|row| row.text("dataset").starts_with("pad_")) {
        let (quantity, value, level) = (row.text("quantity"), row.number("value"), row.number_if("level"));
        let crossing = quantity.strip_prefix("x_at_").or_else(|| quantity.strip_prefix("x_low_at_"));
        let Some(limit) = crossing.and_then(|rest| rest.strip_suffix("_mm")).map(|limit| limit.parse::<f64>().unwrap()) else {
            continue;
        };
        if level.is_some_and(|level| level != 0.9) {
            // The garage has one level, the worksheet's.
            continue;
        }
        let data = points(row.text("dataset"));
        let last = data.iter().map(|(x, _)| *x).fold(0.0, f64::max);
        let given: Vec<Json> = data.iter().map(|(x, y)| json!({"at_min": x, "thickness_mm": y})).collect();
        let worksheet = answer("pad-wear", json!({"readings": given, "limit_mm": limit}), &row.at);
        // Driven on since the last reading, the worksheet cannot know of it: the line stays, what is left is less.
        for since in [0.0, 0.75] {
            let found = forecast(&driven(&data, since), limit);
            let (left, of_worksheet) = match level {
                None => (found.left, figure(&worksheet, "left_min")),
                Some(_) => (found.left_cautious, figure(&worksheet, "left_min_cautious")),
            };
            let left = left.unwrap_or_else(|| panic!("nothing is forecast; {}", row.at));
            assert_near(left, value - last - since, 1e-6, &row.at);
            assert_near(left, of_worksheet - since, 1e-6, "the worksheet pad-wear of the same readings");
        }
        checked += 1;
    }
    assert_eq!(checked, 8, "pad_front has 3 such rows, pad_three_points 4, pad_exact_line 1");
}

#[test]
fn a_line_without_scatter_leaves_with_caution_what_it_leaves() {
    let found = forecast(&driven(&points("pad_exact_line"), 0.0), 4.0);
    // 9 mm, 1 mm a minute, 4 mm at minute 5; the last reading is of minute 3.
    assert_near(found.left.unwrap(), 2.0, 1e-9, "by hand");
    assert_near(found.left_cautious.unwrap(), 2.0, 1e-6, "by hand");
}

#[test]
fn the_garage_refuses_the_line_that_the_worksheet_refuses() {
    // The driver fitted new pads and did not say so: no time on track lies between 3 mm and 11 mm.
    let book = driven(&[(0.0, 3.4), (60.0, 3.0), (60.0, 11.0), (90.0, 10.6)], 0.0);
    let series = book.series(ReadingKind::Pad, date(2026, 4, 1));
    let given = json!([{"at_min": 0, "thickness_mm": 3.4}, {"at_min": 60, "thickness_mm": 3.0},
        {"at_min": 60, "thickness_mm": 11.0}, {"at_min": 90, "thickness_mm": 10.6}]);
    let worksheet = crate::table::run("pad-wear", json!({"readings": given}));
    assert!(worksheet.is_err(), "the worksheet takes a pad that grew: {worksheet:?}");
    let found = series[0].forecast(3.0);
    assert!(found.is_err(), "the garage draws a line through two sets of pads: {found:?}");
    let said = say(&series[0], 3.0, None, date(2026, 4, 1), &Units::METRIC);
    assert!(said.words.contains("say that the part is new"), "{}", said.words);
}

proptest! {
    #[test]
    fn the_garage_and_the_worksheet_say_the_same_of_any_readings(
        steps in prop::collection::vec((prop::sample::select(vec![0.0, 1.0, 20.0, 37.5]), -0.1f64..1.5), 1..9), limit in 1.0f64..6.0
    ) {
        let (mut x, mut mm, mut data) = (0.0, 14.0f64, vec![(0.0, 14.0)]);
        for (minutes, fall) in steps {
            (x, mm) = (x + minutes, (mm - fall).max(0.0));
            data.push((x, mm));
        }
        let given: Vec<Json> = data.iter().map(|(x, y)| json!({"at_min": x, "thickness_mm": y})).collect();
        let worksheet = crate::table::run("pad-wear", json!({"readings": given, "limit_mm": limit}));
        let found = driven(&data, 0.0).series(ReadingKind::Pad, date(2026, 4, 1))[0].forecast(limit);
        prop_assert_eq!(worksheet.is_ok(), found.is_ok(), "the worksheet: {:?}, the garage: {:?}", &worksheet, &found);
        if let (Ok(worksheet), Ok(found)) = (worksheet, found) {
            for (field, left) in [("left_min", found.left), ("left_min_cautious", found.left_cautious)] {
                let wanted = worksheet[field].as_f64();
                prop_assert_eq!(wanted.is_some(), left.is_some(), "{}: {:?} and {:?}", field, wanted, left);
                let (wanted, left) = (wanted.unwrap_or_default(), left.unwrap_or_default());
                prop_assert!((wanted - left).abs() <= 1e-6 * wanted.max(1.0), "{field}: {wanted} and {left}");
            }
        }
    }
}

fn boiled(readings: &[(i64, f64)]) -> Notebook {
    let mut book = Notebook::of_a_car();
    book.note(changed(FIRST));
    for (days, celsius) in readings {
        book.reads(on(FIRST + days.days()), ReadingKind::FluidBoil, &[(Place::Whole, *celsius)]);
    }
    book
}

fn changed(day: Date) -> Change {
    Change::Changed { car: CAR, taken: on(day), fluid: Fluid::BrakeFluid, grade: "DOT 4".into(), note: String::new() }
}

#[test]
fn a_boiling_point_falls_by_the_day_whether_the_car_is_driven_or_not() {
    // 250, 238 and 230 °C on days 0, 10 and 20. Mean day 10, mean 239.33; Sxx = 200, Sxy = -10 * 10.67 - 10 * 9.33 = -200: 1 °C a
    // day. 180 °C on day 10 + 59.33 = 69.33. Residuals 2/3, -4/3, 2/3: their squares sum to 8/3, so s = 1.633 with one degree of
    // freedom, t(95 %) = 6.3138, t s = 10.310. The lower limit is at 180 where (59.33 - d)² = 106.30 (4/3 + d²/200), that is
    // 0.46849 d² - 118.667 d + 3378.7 = 0: d = 32.69, day 42.69.
    let mut book = boiled(&[(0, 250.0), (10, 238.0), (20, 230.0)]);
    book.drives(on(FIRST), 120.0);
    let today = FIRST + 25.days();
    let series = book.series(ReadingKind::FluidBoil, today);
    assert_near(series[0].now, 25.0, 0.0, "days since the first reading, not minutes");
    let found = series[0].forecast(180.0).unwrap();
    assert_near(found.line.slope, -1.0, 1e-12, "by hand, °C a day");
    assert_near(found.left.unwrap(), 69.0 + 1.0 / 3.0 - 25.0, 1e-9, "by hand");
    assert_near(found.left_cautious.unwrap(), 42.69 - 25.0, 5e-3, "by hand");
    // Day 42 is 12 April, day 69 is 9 May.
    let planned = |day| Some(Planned { day, sessions: 5, session_min: 20.0 });
    let of = |day| say(&series[0], 180.0, planned(day), today, &Units::METRIC);
    let on_the_ninth = of(date(2026, 5, 9));
    let words = "Brake fluid boiling point falls to 180 °C between 2026-04-12 and 2026-05-09; your next event is on 2026-05-09.";
    assert_eq!((on_the_ninth.words.as_str(), on_the_ninth.weight), (words, Some(Severity::Note)));
    assert_eq!(of(date(2026, 5, 10)).weight, Some(Severity::Fix), "it has fallen by then");
    assert_eq!(of(date(2026, 4, 12)).weight, None, "with caution it still boils at 180 °C");
}

#[test]
fn a_boiling_point_in_fahrenheit_lies_on_the_same_line() {
    let mut book = Notebook::of_a_car();
    for (days, fahrenheit) in [(0i64, 482.0), (10, 460.4), (20, 446.0)] {
        let one = readings(ReadingKind::FluidBoil, Unit::Fahrenheit, &[(Place::Whole, fahrenheit)], false);
        book.note(Change::Readings { car: CAR, taken: on(FIRST + days.days()), readings: one });
    }
    let found = book.series(ReadingKind::FluidBoil, FIRST + 25.days())[0].forecast(180.0).unwrap();
    assert_near(found.left.unwrap(), 69.0 + 1.0 / 3.0 - 25.0, 1e-9, "250, 238 and 230 °C");
}

#[test]
fn fresh_fluid_begins_a_line_of_its_own() {
    let mut book = boiled(&[(0, 250.0), (10, 238.0), (20, 230.0)]);
    book.note(changed(FIRST + 30.days()));
    assert!(book.series(ReadingKind::FluidBoil, FIRST + 40.days()).is_empty(), "what was read is of the old fluid");
    book.reads(on(FIRST + 30.days()), ReadingKind::FluidBoil, &[(Place::Whole, 260.0)]);
    let series = book.series(ReadingKind::FluidBoil, FIRST + 40.days());
    assert_eq!(series[0].points.len(), 1, "on the day of the change the fresh fluid was read");
    assert_near(series[0].now, 10.0, 0.0, "days since");
}

fn stands(book: &Notebook, day: Date, today: Date, to: impl Fn(&To) -> bool) -> Vec<Stand> {
    let sheet: Sheet = sheet_file::read(CLUB_DAY).expect("the default sheet");
    let mut noted = Notebook { changes: book.changes.clone() };
    let (track_day, name) = (Uuid::from_u128(0xda), "Summer day".into());
    noted.note(Change::Day { track_day, car: CAR, name, day, sessions: 5, session_min: 20.0, entry: None });
    let garage: Garage = noted.garage();
    let car = car(&garage);
    let (lines, day) = (in_order(car, &[]), car.day(track_day).expect("the day"));
    let before =
        Before { garage: &garage, car, lines: &lines, day, today, policy: &sheet.gear, sheet: None, units: &Units::METRIC };
    let Ready { stands, .. } = ready(&before).expect("a plan");
    stands.into_iter().filter(|stand| to(&stand.to)).collect()
}

#[test]
fn brake_fluid_is_too_old_the_day_its_seventh_month_is_whole() {
    let mut book = Notebook::of_a_car();
    book.note(changed(date(2026, 3, 20)));
    let of = |book: &Notebook, day| stands(book, day, date(2026, 9, 1), |to| *to == To::Log);
    assert_eq!(of(&book, date(2026, 10, 19)), [], "six whole months are within the limit of six");
    let old = of(&book, date(2026, 10, 20));
    assert_eq!((old.len(), old[0].weight), (1, Severity::Fix));
    assert!(old[0].words.contains("Flushed 2026-03-20, 7 months before 2026-10-20"), "{}", old[0].words);
    book.reads(on(date(2026, 8, 30)), ReadingKind::FluidBoil, &[(Place::Whole, 205.0)]);
    assert_eq!(of(&book, date(2026, 10, 20)), [], "a measured boiling point outranks the age");
}

#[test]
fn a_boiling_point_read_before_the_change_of_the_day_is_the_old_fluids() {
    let mut book = Notebook::of_a_car();
    let day = date(2026, 3, 20);
    book.reads(at(day, 9, 0), ReadingKind::FluidBoil, &[(Place::Whole, 150.0)]);
    let fluid = Fluid::BrakeFluid;
    book.note(Change::Changed { car: CAR, taken: at(day, 14, 0), fluid, grade: "DOT 4".into(), note: String::new() });
    let found = stands(&book, date(2026, 5, 9), date(2026, 4, 1), |to| *to == To::Log);
    assert_eq!(found, [], "the fluid that boiled at 150 °C was drained that afternoon");
}

#[test]
fn a_label_is_good_on_its_last_day_and_not_on_the_next() {
    let mut book = Notebook::of_a_car();
    book.note(gear(GearKind::Harness, "SFI 16.1", "2024-03", false));
    let of = |day| {
        let found = stands(&book, day, date(2026, 1, 10), |to| matches!(to, To::Gear(_)));
        found.first().map(|stand| (stand.weight, stand.words.clone()))
    };
    // Two years from March 2024 end with March 2026; sixty days before are 30 January.
    assert_eq!(of(date(2026, 1, 29)), None, "61 days before its end nothing is said");
    assert_eq!(of(date(2026, 1, 30)).map(|(weight, _)| weight), Some(Severity::Note));
    let last = of(date(2026, 3, 31)).expect("a note");
    assert_eq!(last.0, Severity::Note);
    assert!(last.1.contains("good until 2026-03-31, the day itself and no longer"), "{}", last.1);
    assert_eq!(of(date(2026, 4, 1)).map(|(weight, _)| weight), Some(Severity::Fix));
}

fn gear(what: GearKind, label: &str, date: &str, valid_until: bool) -> Change {
    let name = format!("My {}", what.token());
    Change::Gear { gear: Uuid::from_u128(0x6e), what, name, label: label.into(), date: date.into(), valid_until }
}

#[test]
fn a_tyre_is_told_once_it_is_older_than_six_years() {
    let mut book = Notebook::of_a_car();
    // Week 51 of 2020 begins on Sunday 20 December (the example of the worksheet `tyre-date`).
    let codes = [("lf", "5120"), ("rf", "5120"), ("lr", "1024"), ("rr", "")].map(|(at, code)| (at.to_owned(), code.to_owned()));
    book.note(Change::Facts { car: CAR, facts: [("tyre-date".to_owned(), codes.into())].into() });
    let of = |day| stands(&book, day, date(2026, 12, 1), |to| *to == To::Facts);
    assert_eq!(of(date(2026, 12, 19)), []);
    let old = of(date(2027, 1, 9));
    assert_eq!(old.iter().map(|stand| stand.weight).collect::<Vec<_>>(), [Severity::Fix, Severity::Fix]);
    assert!(old[0].words.starts_with("Tyre, front left: "), "{}", old[0].words);
}
