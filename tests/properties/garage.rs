//! Any notes in any order: folded without a panic, and what comes of them holds.

use crate::notebook::{CAR, at, ids, minute, on, readings};
use jiff::ToSpan;
use jiff::civil::{Date, Time, date};
use proptest::prelude::*;
use std::collections::BTreeMap;
use std::sync::LazyLock;
use uuid::Uuid;
use witnessmark::acts::set_up::CLUB_DAY;
use witnessmark::rules::car_system::CarSystem;
use witnessmark::rules::garage::book::{Garage, Line};
use witnessmark::rules::garage::change::{Change, JobCard, Noted, PartState, Taken};
use witnessmark::rules::garage::csv::rows;
use witnessmark::rules::garage::kinds::{Fluid, GearKind, ReadingKind};
use witnessmark::rules::garage::log::{in_order, last_changed, minutes_until, newest};
use witnessmark::rules::garage::offers::offers;
use witnessmark::rules::garage::ready::{Before, ready, work};
use witnessmark::rules::garage::wear::{Series, series};
use witnessmark::rules::sheet::Sheet;
use witnessmark::rules::sheet_file;
use witnessmark::rules::units::{Unit, Units};
use witnessmark::rules::words::Place;

static SHEET: LazyLock<Sheet> = LazyLock::new(|| sheet_file::read(CLUB_DAY).expect("the default sheet can be read"));
const TODAY: Date = date(2026, 5, 1);

/// One of a handful of ids of a sort, so that notes are about each other's things.
fn id(sort: u128) -> impl Strategy<Value = Uuid> {
    (0u128..4).prop_map(move |nth| Uuid::from_u128(sort * 0x100 + nth))
}

const CARS: u128 = 1;
const JOBS: u128 = 2;
const DAYS: u128 = 3;
const GEAR: u128 = 4;
const THINGS: u128 = 5;
const ENTRIES: u128 = 6;
/// Notes have ids of their own: a line's is its note's.
const NOTES: u128 = 7;

fn any_day() -> impl Strategy<Value = Date> {
    prop_oneof![
        8 => (0i64..200).prop_map(|days| date(2026, 1, 1) + days.days()),
        1 => prop::sample::select(vec![Date::MIN, Date::MAX, Date::ZERO]),
    ]
}

fn any_taken() -> impl Strategy<Value = Taken> {
    let clock = prop::option::of((0i8..24, 0i8..60).prop_map(|(hour, minute)| Time::constant(hour, minute, 0, 0)));
    (any_day(), clock).prop_map(|(day, clock)| Taken { day, clock })
}

/// Mostly figures as they can be, sometimes any at all.
fn any_figure(most: f64) -> impl Strategy<Value = f64> {
    prop_oneof![8 => 0.0..most, 1 => any::<f64>(), 1 => prop::sample::select(vec![f64::NAN, f64::INFINITY, -0.0, f64::MAX])]
}

fn any_word() -> impl Strategy<Value = String> {
    let near =
        prop::sample::select(vec!["", "open", "harness", "dot5", "5120", "Snell SA2020", "2024-03", "2024", "108", "mm", "lf"]);
    prop_oneof![6 => near.prop_map(str::to_owned), 1 => any::<String>()]
}

fn any_part() -> impl Strategy<Value = PartState> {
    prop_oneof![Just(PartState::ToOrder), any_day().prop_map(|here_on| PartState::Ordered { here_on }), Just(PartState::Here)]
}

fn any_card(hours: BoxedStrategy<f64>) -> impl Strategy<Value = JobCard> {
    let words = (any_word(), any_word(), any_word(), any_word());
    let item = prop::option::of(Just("pad-front".to_owned()));
    (words, hours, any::<bool>(), prop::collection::vec(id(JOBS), 0..3), item).prop_map(
        |((title, found, cause, next_test), hours, must, after, item)| JobCard {
            title,
            system: CarSystem::Brakes,
            found,
            cause,
            next_test,
            hours,
            must,
            after,
            symptom: None,
            item,
        },
    )
}

fn any_log() -> impl Strategy<Value = Change> {
    let kinds = prop::sample::select(&ReadingKind::ALL[..]);
    let unit = prop_oneof![6 => Just(None), 1 => any_word().prop_map(Some)];
    let places =
        prop::collection::btree_map(prop::sample::select(vec!["lf", "rf", "", "1", "front", "moon"]), any_figure(20.0), 0..4);
    let set = (kinds, unit, places, any::<bool>(), any_word()).prop_map(|(what, unit, at, fresh, note)| {
        let mut set = readings(what, what.unit(), &[], fresh);
        (set.unit, set.note) = (unit.unwrap_or(set.unit), note);
        set.at = at.into_iter().map(|(place, value)| (place.to_owned(), value)).collect();
        set
    });
    let fluids = prop::sample::select(&Fluid::ALL[..]);
    prop_oneof![
        4 => (id(CARS), any_taken(), set).prop_map(|(car, taken, readings)| Change::Readings { car, taken, readings }),
        2 => (id(CARS), any_taken(), any_figure(200.0), any::<u16>(), any_word())
            .prop_map(|(car, taken, minutes, sessions, note)| Change::Track { car, taken, minutes, sessions, note }),
        1 => (id(CARS), any_taken(), fluids, any_word(), any_word())
            .prop_map(|(car, taken, fluid, grade, note)| Change::Changed { car, taken, fluid, grade, note }),
        1 => id(NOTES).prop_map(|line| Change::Struck { line }),
        1 => (id(NOTES), id(THINGS)).prop_map(|(of, photo)| Change::Photo { of, photo }),
    ]
}

fn any_of_a_job(hours: BoxedStrategy<f64>) -> impl Strategy<Value = Change> {
    prop_oneof![
        4 => (id(JOBS), id(CARS), any_card(hours)).prop_map(|(job, car, card)| Change::Job { job, car, card }),
        1 => (id(JOBS), id(THINGS), any_word(), any::<bool>()).prop_map(|(job, step, say, done)| Change::Step { job, step, say, done }),
        1 => (id(JOBS), id(THINGS), any_word(), any::<Option<u64>>(), any::<u16>(), any_part())
            .prop_map(|(job, part, name, price_cents, lead_days, is)| Change::Part { job, part, name, price_cents, lead_days, is }),
        1 => (id(JOBS), id(THINGS)).prop_map(|(job, part)| Change::PartGone { job, part }),
        1 => (id(JOBS), id(THINGS)).prop_map(|(job, step)| Change::StepGone { job, step }),
        1 => id(JOBS).prop_map(|job| Change::JobGone { job }),
        1 => (id(JOBS), any_word(), any_word()).prop_map(|(job, test, said)| Change::Tried { job, test, outcome: "other".into(), said }),
        1 => (id(JOBS), any_word(), any_word()).prop_map(|(job, what, shown_by)| Change::Done { job, what, shown_by }),
        1 => (id(JOBS), any_word()).prop_map(|(job, why)| Change::Reopened { job, why }),
    ]
}

fn any_of_a_garage() -> impl Strategy<Value = Change> {
    let items =
        prop::sample::select(vec!["roof", "restraint", "fluid-grade", "tyre-date", "disc-minimum", "torque-asked", "moon"]);
    let typed = prop::collection::btree_map(
        prop::sample::select(vec!["", "lf", "unit", "note"]).prop_map(str::to_owned),
        any_word(),
        0..3,
    );
    let facts = prop::collection::btree_map(items.prop_map(str::to_owned), typed, 0..3);
    let what = prop::sample::select(&GearKind::ALL[..]);
    let day = (id(DAYS), id(CARS), any_day(), any::<u16>(), any_figure(60.0), prop::option::of(id(ENTRIES)));
    let week = prop::array::uniform7(any_figure(16.0));
    prop_oneof![
        4 => (id(CARS), any_word()).prop_map(|(car, name)| Change::Car { car, name }),
        1 => id(CARS).prop_map(|car| Change::CarGone { car }),
        2 => (id(CARS), facts).prop_map(|(car, facts)| Change::Facts { car, facts }),
        2 => (id(GEAR), what, any_word(), any_word(), any_word(), any::<bool>())
            .prop_map(|(gear, what, name, label, date, valid_until)| Change::Gear { gear, what, name, label, date, valid_until }),
        1 => id(GEAR).prop_map(|gear| Change::GearGone { gear }),
        4 => day.prop_map(|(track_day, car, day, sessions, session_min, entry)| {
            Change::Day { track_day, car, name: "A day".into(), day, sessions, session_min, entry }
        }),
        1 => id(DAYS).prop_map(|track_day| Change::DayGone { track_day }),
        1 => (week, any::<bool>(), any_word()).prop_map(|(week, many_hands, currency)| Change::Settings { week, many_hands, currency }),
        1 => (id(DAYS), any_word(), any::<bool>()).prop_map(|(track_day, thing, packed)| Change::Packed { track_day, thing, packed }),
    ]
}

fn any_change(hours: BoxedStrategy<f64>) -> impl Strategy<Value = Change> {
    prop_oneof![3 => any_log(), 4 => any_of_a_job(hours), 4 => any_of_a_garage()]
}

fn any_hours() -> BoxedStrategy<f64> {
    any_figure(400.0).boxed()
}

fn noted(changes: Vec<Change>) -> Vec<Noted> {
    let one = |(nth, change)| Noted { id: Uuid::from_u128(NOTES * 0x100 + nth as u128), at: minute(nth), change };
    changes.into_iter().enumerate().map(one).collect()
}

/// A garage of what it takes of these.
fn taken_in(changes: Vec<Change>) -> Vec<Noted> {
    let mut taken: Vec<Noted> = Vec::new();
    for one in noted(changes) {
        if Garage::of(&taken).takes(&one.change).is_ok() {
            taken.push(one);
        }
    }
    taken
}

/// The same change about things that nobody has; none where a change makes its thing.
fn about_nothing(change: Change) -> Option<Change> {
    let nowhere = Uuid::from_u128(0xdead);
    Some(match change {
        Change::Car { .. } | Change::Gear { .. } | Change::Settings { .. } => return None,
        Change::CarGone { .. } => Change::CarGone { car: nowhere },
        Change::Facts { facts, .. } => Change::Facts { car: nowhere, facts },
        Change::GearGone { .. } => Change::GearGone { gear: nowhere },
        Change::Readings { taken, readings, .. } => Change::Readings { car: nowhere, taken, readings },
        Change::Changed { taken, fluid, grade, note, .. } => Change::Changed { car: nowhere, taken, fluid, grade, note },
        Change::Track { taken, minutes, sessions, note, .. } => Change::Track { car: nowhere, taken, minutes, sessions, note },
        Change::Struck { .. } => Change::Struck { line: nowhere },
        // The day and the entry may well be there: the car is not.
        Change::Day { track_day, name, day, sessions, session_min, entry, .. } => {
            Change::Day { track_day, car: nowhere, name, day, sessions, session_min, entry }
        }
        Change::Photo { photo, .. } => Change::Photo { of: nowhere, photo },
        Change::Brought { link, .. } => Change::Brought { entry: nowhere, link },
        Change::DayGone { .. } => Change::DayGone { track_day: nowhere },
        Change::Job { job, card, .. } => Change::Job { job, car: nowhere, card },
        Change::Step { step, say, done, .. } => Change::Step { job: nowhere, step, say, done },
        Change::Part { part, name, price_cents, lead_days, is, .. } => {
            Change::Part { job: nowhere, part, name, price_cents, lead_days, is }
        }
        Change::PartGone { part, .. } => Change::PartGone { job: nowhere, part },
        Change::StepGone { step, .. } => Change::StepGone { job: nowhere, step },
        Change::JobGone { .. } => Change::JobGone { job: nowhere },
        Change::Tried { test, outcome, said, .. } => Change::Tried { job: nowhere, test, outcome, said },
        Change::Done { what, shown_by, .. } => Change::Done { job: nowhere, what, shown_by },
        Change::Reopened { why, .. } => Change::Reopened { job: nowhere, why },
        Change::Packed { thing, packed, .. } => Change::Packed { track_day: nowhere, thing, packed },
    })
}

/// All that a page asks of a garage.
fn look_at_everything(garage: &Garage) {
    let sheet = &*SHEET;
    for car in &garage.cars {
        let lines = in_order(car, &[]);
        lines.iter().for_each(|line| drop(rows(line)));
        let _ = offers(garage, car.id, &[], sheet, TODAY);
        for day in &car.days {
            let (policy, units) = (&sheet.gear, &Units::US);
            let before = Before { garage, car, lines: &lines, day, today: TODAY, policy, sheet: None, units };
            // Hours that no form lets through may be refused; they must not bring the page down.
            if let Ok(ready) = ready(&before) {
                assert_eq!(ready.is_ready(), ready.holding() == 0);
            }
        }
        for job in &car.jobs {
            let _ = (job.money(), job.money_to_spend(), job.guesses(), job.came_back());
        }
    }
}

/// What of a log is counted anywhere.
#[derive(Debug, Default, PartialEq)]
struct Counted {
    lines: Vec<Uuid>,
    series: Vec<Series>,
    newest: BTreeMap<Place, (f64, Taken)>,
    changed: Option<Date>,
}

fn counted(garage: &Garage) -> Counted {
    let Some(car) = garage.cars.first() else { return Counted::default() };
    let lines = in_order(car, &[]);
    let series = ReadingKind::ALL.into_iter().flat_map(|kind| series(&lines, kind, TODAY)).collect();
    let (newest, changed) = (newest(&lines, ReadingKind::Pad), last_changed(&lines, Fluid::BrakeFluid));
    Counted { lines: ids(&lines), series, newest, changed }
}

/// A log with figures as they can be, of the notebook's car.
fn sound_log() -> impl Strategy<Value = Vec<Change>> {
    let pads = |(taken, mm, fresh)| {
        let readings = readings(ReadingKind::Pad, Unit::Millimetre, &[(Place::FrontLeft, mm), (Place::FrontRight, mm)], fresh);
        Change::Readings { car: CAR, taken, readings }
    };
    let one = prop_oneof![
        (any_taken(), 0.5f64..12.0, any::<bool>()).prop_map(pads),
        (any_taken(), 1.0f64..200.0).prop_map(|(taken, minutes)| Change::Track {
            car: CAR,
            taken,
            minutes,
            sessions: 5,
            note: String::new()
        }),
        any_taken().prop_map(|taken| {
            Change::Changed { car: CAR, taken, fluid: Fluid::BrakeFluid, grade: String::new(), note: String::new() }
        }),
    ];
    prop::collection::vec(one, 1..14)
}

/// A change taken on another day.
fn moved_to(change: Change, to: Date) -> Change {
    let moved = |taken: Taken| Taken { day: to, ..taken };
    match change {
        Change::Readings { car, taken, readings } => Change::Readings { car, taken: moved(taken), readings },
        Change::Track { car, taken, minutes, sessions, note } => {
            Change::Track { car, taken: moved(taken), minutes, sessions, note }
        }
        Change::Changed { car, taken, fluid, grade, note } => Change::Changed { car, taken: moved(taken), fluid, grade, note },
        other => other,
    }
}

fn with_the_car(log: Vec<Change>) -> Vec<Change> {
    std::iter::once(Change::Car { car: CAR, name: "The blue coupe".into() }).chain(log).collect()
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 500, ..ProptestConfig::default() })]

    #[test]
    fn any_notes_make_a_garage_that_can_be_looked_at(changes in prop::collection::vec(any_change(any_hours()), 0..50)) {
        let changes = noted(changes);
        let garage = Garage::of(&changes);
        prop_assert_eq!(garage.changes, changes.len());
        look_at_everything(&garage);
    }

    #[test]
    fn what_is_noted_of_things_that_are_not_there_changes_nothing(
        changes in prop::collection::vec(any_change(any_hours()), 0..40), more in any_change(any_hours())
    ) {
        let Some(more) = about_nothing(more) else { return Ok(()) };
        let mut changes = noted(changes);
        let before = Garage::of(&changes);
        prop_assert!(before.takes(&more).is_err(), "{:?} is taken", more);
        changes.push(Noted { id: Uuid::from_u128(0xabc), at: minute(900), change: more });
        let after = Garage::of(&changes);
        prop_assert_eq!(after.changes, before.changes + 1);
        // As text: a figure that is none is not equal to itself.
        prop_assert_eq!(format!("{:?}", Garage { changes: before.changes, ..after }), format!("{before:?}"));
    }

    #[test]
    fn jobs_that_a_garage_takes_can_always_be_planned(
        changes in prop::collection::vec(any_change((0.0f64..400.0).boxed()), 0..60), day in any_day()
    ) {
        let garage = Garage::of(&taken_in(with_cars(changes)));
        for car in &garage.cars {
            let plan = work(&garage, car, TODAY, day);
            prop_assert!(plan.is_ok(), "{:?} of {:?}", plan.err(), car.jobs);
            let planned = plan.expect("a plan").jobs.len();
            prop_assert!(planned <= car.open_jobs().count());
        }
    }

    #[test]
    fn a_line_that_is_struck_counts_nowhere(log in sound_log(), nth in any::<prop::sample::Index>()) {
        let all = noted(with_the_car(log));
        let at = 1 + nth.index(all.len() - 1);
        let line = all[at].id;
        let without: Vec<Noted> = all.iter().filter(|one| one.id != line).cloned().collect();
        let mut struck = all;
        struck.push(Noted { id: Uuid::from_u128(0xabc), at: minute(900), change: Change::Struck { line } });
        let (struck, without) = (Garage::of(&struck), Garage::of(&without));
        prop_assert_eq!(counted(&struck), counted(&without));
        prop_assert_eq!(struck.cars[0].log.len(), without.cars[0].log.len() + 1, "it stays in the book");
    }

    #[test]
    fn lines_of_different_days_may_be_noted_in_any_order(
        (log, order) in sound_log().prop_flat_map(|log| {
            let order = Just((0..log.len()).collect::<Vec<_>>()).prop_shuffle();
            (Just(log), order)
        })
    ) {
        let apart: Vec<Change> =
            log.into_iter().enumerate().map(|(nth, change)| moved_to(change, date(2026, 1, 1) + (nth as i64).days())).collect();
        let note = |nth: usize, arrival: usize| Noted {
            id: Uuid::from_u128(NOTES * 0x100 + nth as u128), at: minute(1 + arrival), change: apart[nth].clone(),
        };
        let book = |order: &[usize]| {
            let car = Noted { id: CAR, at: minute(0), change: Change::Car { car: CAR, name: "The blue coupe".into() } };
            let lines = order.iter().enumerate().map(|(arrival, nth)| note(*nth, arrival));
            Garage::of(&std::iter::once(car).chain(lines).collect::<Vec<_>>())
        };
        let by_day: Vec<usize> = (0..apart.len()).collect();
        prop_assert_eq!(counted(&book(&order)), counted(&book(&by_day)));
    }

    #[test]
    fn minutes_on_track_never_become_fewer_as_time_goes_on(log in sound_log(), a in any_taken(), b in any_taken()) {
        let garage = Garage::of(&noted(with_the_car(log)));
        let lines: Vec<&Line> = in_order(&garage.cars[0], &[]);
        let time = |taken: Taken| (taken.day, taken.clock.unwrap_or(Time::midnight()));
        let (early, late) = (time(a).min(time(b)), time(a).max(time(b)));
        prop_assert!(minutes_until(&lines, early) <= minutes_until(&lines, late), "from {early:?} to {late:?}");
        prop_assert_eq!(minutes_until(&lines, (Date::MIN, Time::midnight())), 0.0);
    }

    #[test]
    fn a_log_typed_in_us_units_has_the_same_forecast(
        falls in prop::collection::vec((0.05f64..1.5, 5.0f64..120.0), 2..10), limit in 1.0f64..5.0
    ) {
        let forecast = |unit: Unit| {
            let (mut mm, mut log) = (20.0, Vec::new());
            for (nth, (fall, minutes)) in falls.iter().enumerate() {
                let day = date(2026, 1, 1) + (nth as i64).days();
                let typed = Unit::Millimetre.convert(mm, unit);
                let readings = readings(ReadingKind::Pad, unit, &[(Place::RearLeft, typed)], false);
                log.push(Change::Readings { car: CAR, taken: on(day), readings });
                log.push(Change::Track { car: CAR, taken: at(day, 13, 0), minutes: *minutes, sessions: 0, note: String::new() });
                mm -= fall;
            }
            let garage = Garage::of(&noted(with_the_car(log)));
            series(&in_order(&garage.cars[0], &[]), ReadingKind::Pad, TODAY)[0].forecast(limit).expect("a line")
        };
        let metric = forecast(Unit::Millimetre);
        for unit in [Unit::ThirtySecondInch, Unit::Inch] {
            let us = forecast(unit);
            let alike = |a: Option<f64>, b: Option<f64>| match (a, b) {
                (Some(a), Some(b)) => (a - b).abs() <= 1e-9 * a.abs().max(1.0),
                (a, b) => a == b,
            };
            prop_assert!(alike(metric.left, us.left), "{:?} and in {unit} {:?}", metric.left, us.left);
            prop_assert!(alike(metric.left_cautious, us.left_cautious), "{:?} and in {unit} {:?}", metric.left_cautious, us.left_cautious);
        }
    }
}

/// Cars first, so that most of what follows is about something.
fn with_cars(changes: Vec<Change>) -> Vec<Change> {
    let cars = (0..3).map(|nth| Change::Car { car: Uuid::from_u128(CARS * 0x100 + nth), name: "A car".into() });
    cars.chain(changes).collect()
}
