//! The garage's forecast, from what a driver notes to the minutes that are left, against statsmodels 0.15.0 (linear_fit.csv).

use crate::table::{Done, Row, assert_near, every_row, rows};
use jiff::Timestamp;
use jiff::civil::{Date, date};
use std::collections::BTreeMap;
use uuid::Uuid;
use witnessmark::rules::garage::book::Garage;
use witnessmark::rules::garage::change::{Change, Noted, Readings, Taken};
use witnessmark::rules::garage::kinds::ReadingKind;
use witnessmark::rules::garage::log::{days_later, in_order};
use witnessmark::rules::garage::wear::{NoLine, Series, series};

const CAR: Uuid = Uuid::from_u128(1);

/// A garage with one car, in which a day's readings and driving are noted one after another.
pub struct Noting(Vec<Noted>);

impl Noting {
    pub fn begun() -> Noting {
        let mut noting = Noting(Vec::new());
        noting.puts(Change::Car { car: CAR, name: "Corvane S4".into() });
        noting
    }

    pub fn puts(&mut self, change: Change) {
        let id = Uuid::from_u128(100 + self.0.len() as u128);
        self.0.push(Noted { id, at: Timestamp::UNIX_EPOCH, change });
    }

    /// A front left reading, taken before the day's driving.
    pub fn reads(&mut self, what: ReadingKind, day: Date, unit: &str, place: &str, value: f64, fresh: bool) {
        let at = BTreeMap::from([(place.to_owned(), value)]);
        let readings = Readings { what, unit: unit.into(), at, fresh, note: String::new(), from: String::new() };
        self.puts(Change::Readings { car: CAR, taken: Taken { day, clock: None }, readings });
    }

    pub fn drives(&mut self, day: Date, minutes: f64) {
        let taken = Taken { day, clock: None };
        self.puts(Change::Track { car: CAR, taken, minutes, sessions: 1, note: String::new() });
    }

    pub fn series(&self, what: ReadingKind, today: Date) -> Vec<Series> {
        let garage = Garage::of(&self.0);
        series(&in_order(garage.car(CAR).expect("the car"), &[]), what, today)
    }
}

/// Readings of a data set, x taken as minutes on track: a day for each, and what was driven between them.
fn pad_of(dataset: &str) -> Series {
    let of_set = rows("linear_fit_data.csv").into_iter().filter(|row| row.text("dataset") == dataset);
    let points: Vec<(f64, f64)> = of_set.map(|row| (row.number("x"), row.number("y"))).collect();
    let mut noting = Noting::begun();
    let mut before = 0.0;
    for (nth, (x, y)) in points.iter().enumerate() {
        let day = days_later(date(2026, 3, 1), 7 * nth as i64);
        if *x > before {
            noting.drives(days_later(day, -1), x - before);
        }
        noting.reads(ReadingKind::Pad, day, "mm", "lf", *y, nth == 0);
        before = *x;
    }
    let series = noting.series(ReadingKind::Pad, date(2026, 12, 1));
    assert_eq!(series.len(), 1, "one corner was read");
    series.into_iter().next().expect("a series")
}

#[test]
fn what_a_driver_noted_runs_out_when_statsmodels_says() {
    let check = |row: &Row| {
        let (dataset, quantity) = (row.text("dataset"), row.text("quantity"));
        let level = row.number_if("level");
        if !dataset.starts_with("pad_") || !quantity.ends_with("_mm") || level.is_some_and(|level| level != 0.9) {
            return Done::NotHere("no crossing of a pad's limit at 90 %, which tests/reference/wear.rs has");
        }
        let limit: f64 = quantity.trim_end_matches("_mm").rsplit('_').next().unwrap().parse().unwrap();
        let series = pad_of(dataset);
        let forecast = series.forecast(limit).expect("a line");
        let left = if level.is_some() { forecast.left_cautious } else { forecast.left };
        // Nothing was driven since the last reading: what is left counts from it.
        assert_near(left.unwrap(), (row.number("value") - series.now).max(0.0), 1e-9, &row.at);
        Done::Checked
    };
    every_row("linear_fit.csv", check, &[("no crossing of a pad's limit at 90 %, which tests/reference/wear.rs has", 81)]);
}

#[test]
fn what_was_driven_since_the_last_reading_is_gone_already() {
    let mut noting = Noting::begun();
    for (week, mm) in [9.0, 8.0, 7.0, 6.0].into_iter().enumerate() {
        let day = days_later(date(2026, 3, 1), 7 * week as i64);
        noting.reads(ReadingKind::Pad, day, "mm", "lf", mm, week == 0);
        noting.drives(day, 60.0);
    }
    // By hand: 1 mm an hour, 6 mm before the last 60 min, so that 5 mm are left now: 120 min to 3 mm, on an exact line.
    let series = noting.series(ReadingKind::Pad, date(2026, 4, 1));
    let forecast = series[0].forecast(3.0).expect("a line");
    assert_near(forecast.left.unwrap(), 120.0, 1e-9, "by hand");
    assert_near(forecast.left_cautious.unwrap(), 120.0, 1e-6, "by hand: no scatter, no caution");
}

#[test]
fn a_new_part_begins_anew_and_one_that_grows_is_asked_about() {
    let mut noting = Noting::begun();
    noting.reads(ReadingKind::Pad, date(2026, 3, 1), "mm", "lf", 4.0, true);
    noting.drives(date(2026, 3, 2), 60.0);
    noting.reads(ReadingKind::Pad, date(2026, 3, 3), "mm", "lf", 11.0, false);
    let grown = noting.series(ReadingKind::Pad, date(2026, 4, 1))[0].forecast(3.0);
    assert_eq!(grown, Err(NoLine::Grows { day: date(2026, 3, 3), before: date(2026, 3, 1) }));
    noting.reads(ReadingKind::Pad, date(2026, 3, 4), "mm", "lf", 11.0, true);
    assert_eq!(noting.series(ReadingKind::Pad, date(2026, 4, 1))[0].points.len(), 1, "the old pad is gone");
}

#[test]
fn fluid_loses_its_boiling_point_by_the_day_and_a_change_begins_anew() {
    let mut noting = Noting::begun();
    for (day, celsius) in [(date(2026, 3, 1), 250.0), (date(2026, 3, 31), 235.0), (date(2026, 4, 30), 220.0)] {
        noting.reads(ReadingKind::FluidBoil, day, "C", "", celsius, false);
    }
    // By hand: half a degree a day, 40 degrees above 180 °C on 30 April: 80 days from there, 70 from 10 May.
    let series = noting.series(ReadingKind::FluidBoil, date(2026, 5, 10));
    assert_near(series[0].forecast(180.0).expect("a line").left.unwrap(), 70.0, 1e-9, "by hand");
    let fluid = witnessmark::rules::garage::kinds::Fluid::BrakeFluid;
    let taken = Taken { day: date(2026, 5, 5), clock: None };
    noting.puts(Change::Changed { car: CAR, taken, fluid, grade: "DOT 4".into(), note: String::new() });
    assert!(noting.series(ReadingKind::FluidBoil, date(2026, 5, 10)).is_empty(), "what was read was another fluid's");
}

#[test]
fn a_log_kept_in_inches_runs_out_on_the_same_day() {
    let fall = [(0.0, 11.0), (20.0, 10.3), (40.0, 9.7), (60.0, 8.9)];
    let of = |unit: &str, figure: fn(f64) -> f64| {
        let mut noting = Noting::begun();
        let mut before = 0.0;
        for (nth, (minutes, mm)) in fall.into_iter().enumerate() {
            let day = days_later(date(2026, 3, 1), 7 * nth as i64);
            if minutes > before {
                noting.drives(days_later(day, -1), minutes - before);
            }
            noting.reads(ReadingKind::Pad, day, unit, "lf", figure(mm), nth == 0);
            before = minutes;
        }
        noting.series(ReadingKind::Pad, date(2026, 5, 1))[0].forecast(3.0).expect("a line")
    };
    // 1 in = 25.4 mm exactly (NIST SP 811): thirty-seconds are mm * 32 / 25.4.
    let (metric, inches) = (of("mm", |mm| mm), of("1/32 in", |mm| mm * 32.0 / 25.4));
    assert_near(inches.left.unwrap(), metric.left.unwrap(), 1e-9, "the line");
    assert_near(inches.left_cautious.unwrap(), metric.left_cautious.unwrap(), 1e-9, "its cautious edge");
}
