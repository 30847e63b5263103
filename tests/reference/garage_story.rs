//! A season of one car: three invented events, pads that wear, a job that comes back, and a car that is ready in the end.

use crate::notebook::{CAR, Notebook, at, car, card, on};
use jiff::civil::{Date, date};
use uuid::Uuid;
use witnessmark::rules::garage::book::{Garage, Happened};
use witnessmark::rules::garage::change::{Change, JobCard, PartState};
use witnessmark::rules::garage::fold::NotTaken;
use witnessmark::rules::garage::kinds::{Fluid, ReadingKind};
use witnessmark::rules::garage::log::in_order;
use witnessmark::rules::garage::ready::{Before, To, planned, ready};
use witnessmark::rules::garage::wear::{Said, say, series};
use witnessmark::rules::gear::Policy;
use witnessmark::rules::line::Line;
use witnessmark::rules::units::Units;
use witnessmark::rules::wear::LEVEL;
use witnessmark::rules::words::{Place, Severity};

const SPRING: Date = date(2026, 4, 11);
const MAY: Date = date(2026, 5, 9);
const SUMMER: Date = date(2026, 6, 20);
const LEFT: Place = Place::FrontLeft;

fn track_day(book: &mut Notebook, nth: u128, name: &str, day: Date, sessions: u16) -> Uuid {
    let track_day = Uuid::from_u128(0xda0 + nth);
    book.note(Change::Day { track_day, car: CAR, name: name.into(), day, sessions, session_min: 20.0, entry: None });
    track_day
}

/// A season until the second event: pads read before and after each day, five sessions of 20 minutes driven on each.
fn two_days() -> (Notebook, Uuid) {
    let mut book = Notebook::of_a_car();
    let fluid = Fluid::BrakeFluid;
    book.note(Change::Changed { car: CAR, taken: on(date(2026, 3, 28)), fluid, grade: "DOT 4".into(), note: String::new() });
    track_day(&mut book, 1, "Spring day", SPRING, 5);
    track_day(&mut book, 2, "May day", MAY, 5);
    let summer = track_day(&mut book, 3, "Summer day", SUMMER, 6);
    for (day, before, after) in [(SPRING, 11.7, 8.9), (MAY, 8.5, 5.7)] {
        book.reads(at(day, 7, 30), ReadingKind::Pad, &[(LEFT, before)]);
        book.drives(on(day), 100.0);
        book.reads(at(day, 18, 0), ReadingKind::Pad, &[(LEFT, after)]);
    }
    (book, summer)
}

/// What is said of the front left pad before a day.
fn of_the_pad(book: &Notebook, day: Uuid, today: Date) -> Said {
    let garage = book.garage();
    let lines = in_order(car(&garage), &[]);
    let all = series(&lines, ReadingKind::Pad, today);
    assert_eq!(all.len(), 1, "one pad is read in this story");
    say(&all[0], 3.0, Some(planned(car(&garage), car(&garage).day(day).expect("the day"), today)), today, &Units::METRIC)
}

/// How many things hold the car, whether it is ready, whether its jobs are in time, and all that is said.
fn before(garage: &Garage, day: Uuid, today: Date) -> (usize, bool, bool, Vec<(Severity, String, To)>) {
    let (car, policy) = (car(garage), Policy::default());
    let lines = in_order(car, &[]);
    let day = car.day(day).expect("the day");
    let all = Before { garage, car, lines: &lines, day, today, policy: &policy, sheet: None, units: &Units::METRIC };
    let ready = ready(&all).expect("a plan");
    let said = ready.stands.iter().map(|stand| (stand.weight, stand.words.clone(), stand.to)).collect();
    (ready.holding(), ready.is_ready(), ready.is_in_time(), said)
}

#[test]
fn the_pads_of_two_days_do_not_last_the_third_and_the_driver_is_told_in_sessions() {
    // The readings are chosen so that the line and its lower limit leave 90 and 59 minutes: 4 and 2 whole sessions.
    let line = Line::fit(&[(0.0, 11.7), (100.0, 8.9), (100.0, 8.5), (200.0, 5.7)]).expect("a line");
    let left = line.meets(3.0).expect("it falls") - 200.0;
    let cautious = line.lower_limit_meets(3.0, LEVEL).expect("it falls") - 200.0;
    assert!((80.0..100.0).contains(&left) && (40.0..60.0).contains(&cautious), "{left} and {cautious} minutes");

    let (mut book, summer) = two_days();
    let said = of_the_pad(&book, summer, date(2026, 5, 10));
    assert_eq!(said.words, "Front left reaches 3.0 mm after 2 to 4 more sessions; your next event has 6.");
    assert_eq!(said.weight, Some(Severity::Fix), "four sessions are not six");
    let (holding, is_ready, _, stands) = before(&book.garage(), summer, date(2026, 5, 10));
    assert!(!is_ready && holding == 1 && stands[0].2 == To::Wear, "{stands:?}");

    // New pads: the old line says nothing of them.
    book.reads_new(at(date(2026, 5, 16), 10, 0), ReadingKind::Pad, &[(LEFT, 11.5)]);
    let said = of_the_pad(&book, summer, date(2026, 5, 17));
    let words = "Front left is at 11.5 mm, the limit is 3.0 mm; a second reading after some time on track draws the line.";
    assert_eq!((said.words.as_str(), said.weight), (words, None));
    assert!(before(&book.garage(), summer, date(2026, 5, 17)).1, "new pads hold nobody back");

    // Read before and after the third day: six sessions took 3.6 mm, 4.9 mm are left until the limit, at 0.6 mm a session 8 of them.
    book.reads(at(SUMMER, 7, 30), ReadingKind::Pad, &[(LEFT, 11.5)]);
    book.drives(on(SUMMER), 120.0);
    book.reads(at(SUMMER, 18, 0), ReadingKind::Pad, &[(LEFT, 7.9)]);
    let autumn = track_day(&mut book, 4, "Autumn day", date(2026, 9, 12), 6);
    let said = of_the_pad(&book, autumn, date(2026, 6, 21));
    assert_eq!(said.words, "Front left reaches 3.0 mm after 8 more sessions; your next event has 6.");
    assert_eq!(said.weight, None, "two gaugings of the new pads agree: there is no scatter, and eight sessions are enough");
}

const JOB: Uuid = Uuid::from_u128(0x10b);
const PART: Uuid = Uuid::from_u128(0x9a7);

fn pull_to_the_left(cause: &str) -> JobCard {
    let found = "Pulls to the left under braking, May day".to_owned();
    JobCard { found, cause: cause.into(), next_test: "Turn each wheel by hand".into(), ..card("Pull under braking", 2.0, &[]) }
}

fn part(book: &mut Notebook, is: PartState) {
    let name = "Caliper slide kit".into();
    book.note(Change::Part { job: JOB, part: PART, name, price_cents: Some(2450), lead_days: 7, is });
}

#[test]
fn a_job_waits_for_its_part_is_done_comes_back_and_keeps_its_guesses() {
    let (mut book, summer) = two_days();
    book.reads_new(at(date(2026, 5, 16), 10, 0), ReadingKind::Pad, &[(LEFT, 11.5)]);
    book.note(Change::Job { job: JOB, car: CAR, card: pull_to_the_left("A slide that sticks") });
    let said = "The left front wheel drags".to_owned();
    book.note(Change::Tried { job: JOB, test: "turn-by-hand".into(), outcome: "drags".into(), said });
    book.note(Change::Step { job: JOB, step: Uuid::from_u128(0x57e), say: "Grease the slides".into(), done: true });

    // To order: in time while a week's post and two hours fit in before the day, and not after.
    part(&mut book, PartState::ToOrder);
    let (holding, is_ready, in_time, stands) = before(&book.garage(), summer, date(2026, 5, 17));
    assert!(!is_ready && in_time && holding == 1, "{stands:?}");
    assert_eq!((stands[0].0, stands[0].2), (Severity::Fix, To::Job(JOB)));
    assert!(stands[0].1.starts_with("Pull under braking: 2 h of work, must begin by "), "{}", stands[0].1);
    let (_, is_ready, in_time, stands) = before(&book.garage(), summer, date(2026, 6, 15));
    assert!(!is_ready && !in_time, "a part of seven days, asked for five days before: {stands:?}");
    assert_eq!(stands[0].0, Severity::Stop, "a job that cannot be done in time is told as what it is");

    // Ordered, then here.
    part(&mut book, PartState::Ordered { here_on: date(2026, 6, 4) });
    assert_eq!(before(&book.garage(), summer, date(2026, 6, 1)).0, 1);
    part(&mut book, PartState::Here);

    // Closed with its reading.
    book.reads(at(date(2026, 6, 6), 15, 0), ReadingKind::Disc, &[(LEFT, 22.4), (Place::FrontRight, 22.5)]);
    let shown_by = "Both front wheels turn alike, discs within 0.1 mm".to_owned();
    book.note(Change::Done { job: JOB, what: "Slides renewed.".into(), shown_by });
    let (holding, is_ready, in_time, stands) = before(&book.garage(), summer, date(2026, 6, 7));
    assert!(is_ready && in_time && holding == 0, "{stands:?}");
    assert_eq!(book.garage().takes(&Change::PartGone { job: JOB, part: PART }), Err(NotTaken::Done));

    // It pulls again: what was suspected and tried is still to be read, and the card asks anew.
    book.note(Change::Reopened { job: JOB, why: "Pulls again after two sessions".into() });
    let garage = book.garage();
    let (_, job) = garage.job(JOB).expect("the job");
    assert_eq!(job.guesses(), ["A slide that sticks"], "the next guess must not be the last one again");
    assert_eq!((job.card.cause.as_str(), job.came_back(), job.is_done), ("", 1, false));
    assert!(job.tried.iter().all(|tried| tried.before_reopening) && job.steps.iter().all(|step| !step.done), "{job:?}");
    assert_eq!(before(&garage, summer, date(2026, 6, 8)).0, 1, "not ready once more");

    // The second guess is the right one.
    book.note(Change::Job { job: JOB, car: CAR, card: pull_to_the_left("A hose that swelled shut") });
    book.note(Change::Done { job: JOB, what: "Hose renewed and bled.".into(), shown_by: String::new() });
    let garage = book.garage();
    let (_, job) = garage.job(JOB).expect("the job");
    assert_eq!(job.guesses(), ["A slide that sticks", "A hose that swelled shut"]);
    let told: Vec<Happened> = job.told.iter().map(|told| told.what).collect();
    use Happened::*;
    assert_eq!(told, [Opened, Suspected, Tried, Done, Reopened, Suspected, Done], "the story in its order");
    assert!(before(&garage, summer, date(2026, 6, 9)).1, "ready");
}
