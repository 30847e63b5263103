//! What a garage takes, what it leaves out, and in which order it reads: the cases that were got wrong once, by name.

use crate::notebook::{CAR, Notebook, at, car, card, ids, minute, on, readings};
use jiff::civil::{Date, date};
use uuid::Uuid;
use witnessmark::rules::garage::book::Garage;
use witnessmark::rules::garage::change::{Change, Noted};
use witnessmark::rules::garage::fold::NotTaken;
use witnessmark::rules::garage::kinds::{Fluid, GearKind, ReadingKind};
use witnessmark::rules::garage::log::in_order;
use witnessmark::rules::garage::ready::work;
use witnessmark::rules::garage::wear::series;
use witnessmark::rules::units::Unit;
use witnessmark::rules::words::Place;

const DAY: Date = date(2026, 5, 9);
const OTHER_CAR: Uuid = Uuid::from_u128(0xcb);
const JOB: Uuid = Uuid::from_u128(0x10b);

fn track_day(car: Uuid) -> Change {
    let (track_day, name) = (Uuid::from_u128(0xda), "May day".into());
    Change::Day { track_day, car, name, day: DAY, sessions: 5, session_min: 20.0, entry: None }
}

#[test]
fn a_day_sent_for_a_car_that_is_not_here_stays_where_it_was() {
    let mut book = Notebook::of_a_car();
    book.note(track_day(CAR));
    book.put(track_day(Uuid::from_u128(0xdead)));
    assert_eq!(car(&book.garage()).days.len(), 1, "the driver's day was taken away and given to nobody");
}

#[test]
fn a_job_of_one_car_is_not_made_a_second_time_on_another() {
    let mut book = Notebook::of_a_car();
    book.note(Change::Car { car: OTHER_CAR, name: "The green saloon".into() });
    book.note(Change::Job { job: JOB, car: CAR, card: card("Bleed the brakes", 1.0, &[]) });
    let moved = Change::Job { job: JOB, car: OTHER_CAR, card: card("Bleed the brakes", 1.0, &[]) };
    assert_eq!(book.garage().takes(&moved), Err(NotTaken::NotHere));
    book.put(moved);
    assert_eq!(book.garage().cars[1].jobs, [], "two jobs of one id: steps noted for the second land on the first");
}

#[test]
fn a_full_shelf_of_gear_can_still_be_corrected() {
    let mut book = Notebook::of_a_car();
    let piece = |nth: u128, label: &str| {
        let (name, label, date) = (format!("Suit {nth}"), label.to_owned(), String::new());
        Change::Gear { gear: Uuid::from_u128(nth), what: GearKind::Suit, name, label, date, valid_until: false }
    };
    for nth in 0..60 {
        book.note(piece(nth, ""));
    }
    assert_eq!(book.garage().takes(&piece(60, "")), Err(NotTaken::TooMany("60 pieces of gear")));
    assert_eq!(book.garage().takes(&piece(7, "SFI 3.2A/5")), Ok(()), "a label misread cannot be put right");
}

#[test]
fn the_steps_of_a_long_job_can_still_be_ticked_off() {
    let mut book = Notebook::of_a_car();
    book.note(Change::Job { job: JOB, car: CAR, card: card("Rebuild", 30.0, &[]) });
    let step = |nth: u128, done| Change::Step { job: JOB, step: Uuid::from_u128(nth), say: format!("Step {nth}"), done };
    for nth in 0..60 {
        book.note(step(nth, false));
    }
    assert_eq!(book.garage().takes(&step(60, false)), Err(NotTaken::TooMany("60 steps on a job")));
    assert_eq!(book.garage().takes(&step(0, true)), Ok(()), "nothing of this job can be ticked off");
}

#[test]
fn jobs_that_would_wait_for_each_other_in_a_circle_are_refused_by_name() {
    let mut book = Notebook::of_a_car();
    let job = |nth: u128, after: &[u128]| {
        let after: Vec<Uuid> = after.iter().map(|nth| Uuid::from_u128(*nth)).collect();
        Change::Job { job: Uuid::from_u128(nth), car: CAR, card: card(&format!("Job {nth}"), 1.0, &after) }
    };
    for (nth, after) in [(1, vec![]), (2, vec![1]), (3, vec![2])] {
        book.note(job(nth, &after));
    }
    assert_eq!(book.garage().takes(&job(1, &[3])), Err(NotTaken::Circle("Job 1".into())));
    assert_eq!(book.garage().takes(&job(1, &[1])), Err(NotTaken::Circle("Job 1".into())), "a job does not wait for itself");
    // A job that is done still stands in the row: reopened, it would close the circle.
    book.note(Change::Done { job: Uuid::from_u128(2), what: "Done.".into(), shown_by: String::new() });
    assert_eq!(book.garage().takes(&job(1, &[3])), Err(NotTaken::Circle("Job 1".into())));
    assert_eq!(book.garage().takes(&job(3, &[1])), Ok(()));
}

#[test]
fn jobs_that_come_back_do_not_make_more_than_can_be_planned() {
    let mut book = Notebook::of_a_car();
    let job = |nth: u128| Uuid::from_u128(0x1_0000 + nth);
    // Folded without asking each time: only the last question matters here.
    for nth in 0..600 {
        book.put(Change::Job { job: job(nth), car: CAR, card: card(&format!("Job {nth}"), 1.0, &[]) });
        book.put(Change::Done { job: job(nth), what: "Done.".into(), shown_by: String::new() });
    }
    let (mut garage, mut taken) = (book.garage(), 0);
    for nth in 0..600 {
        let again = Change::Reopened { job: job(nth), why: "It is back".into() };
        match garage.takes(&again) {
            Ok(()) => taken += 1,
            Err(not) => {
                assert_eq!(not, NotTaken::TooMany("200 open jobs on a car"));
                break;
            }
        }
        book.put(again);
        garage = book.garage();
    }
    assert_eq!(taken, 200, "as many as can be opened");
    assert!(work(&garage, car(&garage), date(2026, 5, 1), DAY).is_ok(), "the driver's page of jobs cannot be shown any more");
}

#[test]
fn a_new_pad_read_with_the_old_one_on_the_same_day_comes_after_it() {
    // Taken in from a table both are noted at one moment, and their ids are made of what they say: either may be the smaller.
    for (old, new) in [(1, 2), (2, 1)] {
        let noted = |id: u128, change| Noted { id: Uuid::from_u128(id), at: minute(1), change };
        let pads = |mm, fresh| Change::Readings {
            car: CAR,
            taken: on(DAY),
            readings: readings(ReadingKind::Pad, Unit::Millimetre, &[(Place::FrontLeft, mm)], fresh),
        };
        let car_itself = noted(9, Change::Car { car: CAR, name: "The blue coupe".into() });
        let garage = Garage::of(&[car_itself, noted(old, pads(3.1, false)), noted(new, pads(11.0, true))]);
        let series = series(&in_order(car(&garage), &[]), ReadingKind::Pad, DAY);
        let values: Vec<f64> = series[0].points.iter().map(|point| point.value).collect();
        assert_eq!(values, [11.0], "the worn-out pad is taken for the new one's second reading");
    }
}

#[test]
fn on_one_day_fluid_counts_as_changed_before_it_is_read_and_driving_as_done_by_noon() {
    let mut book = Notebook::of_a_car();
    let boil = book.reads(on(DAY), ReadingKind::FluidBoil, &[(Place::Whole, 260.0)]);
    let evening = book.reads(at(DAY, 18, 0), ReadingKind::Pad, &[(Place::FrontLeft, 8.0)]);
    let driven = book.drives(on(DAY), 100.0);
    let noon = book.reads(at(DAY, 12, 0), ReadingKind::Pad, &[(Place::FrontLeft, 8.2)]);
    let morning = book.reads(on(DAY), ReadingKind::Pad, &[(Place::FrontLeft, 9.0)]);
    let (fluid, note) = (Fluid::BrakeFluid, String::new());
    let changed = book.note(Change::Changed { car: CAR, taken: on(DAY), fluid, grade: "DOT 4".into(), note });
    let garage = book.garage();
    assert_eq!(ids(&in_order(car(&garage), &[])), [changed, boil, morning, driven, noon, evening]);
}

#[test]
fn a_fact_that_is_noted_again_unchanged_keeps_its_day_and_an_emptied_one_goes() {
    let mut book = Notebook::of_a_car();
    let fact = |text: &str| {
        let typed = [(String::new(), text.to_owned())].into();
        Change::Facts { car: CAR, facts: [("roof".to_owned(), typed)].into() }
    };
    let day = |book: &Notebook| car(&book.garage()).facts.get("roof").map(|(_, noted)| *noted);
    book.note(fact("open"));
    book.note(fact("open"));
    assert_eq!(day(&book), Some(minute(1)), "as old as it is");
    book.note(fact("closed"));
    assert_eq!(day(&book), Some(minute(3)));
    book.note(fact(""));
    assert_eq!(day(&book), None);
}

#[test]
fn an_entry_is_of_one_car_and_takes_what_is_packed_along() {
    let mut book = Notebook::of_a_car();
    book.note(Change::Car { car: OTHER_CAR, name: "The green saloon".into() });
    let entry = Some(Uuid::from_u128(0xe1));
    let brought = |track_day: u128, car: Uuid| {
        let (track_day, name) = (Uuid::from_u128(track_day), "May day".into());
        Change::Day { track_day, car, name, day: DAY, sessions: 5, session_min: 20.0, entry }
    };
    book.note(brought(1, CAR));
    book.note(Change::Packed { track_day: Uuid::from_u128(1), thing: "Torque wrench".into(), packed: true });
    book.note(brought(2, OTHER_CAR));
    let garage = book.garage();
    assert_eq!(garage.cars[0].days, [], "the entry was brought to two cars");
    assert!(garage.cars[1].days[0].packed.contains("Torque wrench"), "what was packed is unpacked");
    assert_eq!(garage.entries().count(), 1);
}
