//! How a garage comes of its changes, and which further change it takes.

use super::book::{Car, Garage, GearPiece, Happened, Job, Line, Logged, Part, Settings, Step, Told, TrackDay, Tried};
use super::change::{Change, JobCard, Noted};
use jiff::Timestamp;
use std::collections::{BTreeMap, BTreeSet};
use uuid::Uuid;

/// The most changes of a garage: a car's log of some ten years.
pub const MOST_CHANGES: usize = 20_000;
const MOST_CARS: usize = 40;
const MOST_GEAR: usize = 60;
const MOST_OPEN_JOBS: usize = 200;
/// Done ones among them; ten years of a car that is mended every week have 520.
const MOST_JOBS: usize = 2_000;
/// Of a car. Ten years of a day in each week of a season have 300.
const MOST_DAYS: usize = 400;
const MOST_ON_A_JOB: usize = 60;
const TOO_MANY_OPEN: NotTaken = NotTaken::TooMany("200 open jobs on a car");

/// Why a change is not taken.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NotTaken {
    /// It is about a thing that is not in this garage.
    #[error("this is not in the garage")]
    NotHere,
    #[error("a garage holds at most {0}")]
    TooMany(&'static str),
    #[error("\"{0}\" would wait for itself in the end: jobs cannot wait for each other in a circle")]
    Circle(String),
    #[error("this job is done; if its symptom came back, reopen it")]
    Done,
    #[error("this job is open")]
    Open,
}

impl Garage {
    /// The garage that these changes make, in the order of their arrival. A change about a thing that is not there changes nothing.
    pub fn of(changes: &[Noted]) -> Garage {
        let mut garage =
            Garage { cars: Vec::new(), gear: Vec::new(), settings: Settings::default(), brought: BTreeMap::new(), changes: 0 };
        for noted in changes {
            garage.add(noted);
        }
        garage
    }

    /// One change more, the newest.
    pub fn add(&mut self, noted: &Noted) {
        self.changes += 1;
        self.fold(noted);
    }

    fn car_mut(&mut self, id: Uuid) -> Option<&mut Car> {
        self.cars.iter_mut().find(|car| car.id == id)
    }

    fn job_mut(&mut self, id: Uuid) -> Option<&mut Job> {
        self.cars.iter_mut().flat_map(|car| &mut car.jobs).find(|job| job.id == id)
    }

    fn fold(&mut self, Noted { id, at, change }: &Noted) {
        let (id, at) = (*id, *at);
        match change.clone() {
            Change::Car { car, name } => match self.car_mut(car) {
                Some(car) => (car.name, car.gone) = (name, false),
                None => self.cars.push(new_car(car, name)),
            },
            Change::Settings { week, many_hands, currency } => self.settings = Settings { week, many_hands, currency },
            Change::Gear { gear, what, name, label, date, valid_until } => {
                self.gear.retain(|piece| piece.id != gear);
                self.gear.push(GearPiece { id: gear, what, name, label, date, valid_until, noted_at: at });
            }
            Change::GearGone { gear } => self.gear.retain(|piece| piece.id != gear),
            Change::Struck { line } => {
                // There is one line of an id, and a slip of the pen is found soon: the newest first.
                if let Some(found) = self.cars.iter_mut().find_map(|car| car.log.iter_mut().rev().find(|found| found.id == line))
                {
                    found.struck = true;
                }
            }
            Change::Photo { of, photo } => {
                let lines = self.cars.iter_mut().flat_map(|car| &mut car.log).filter(|line| line.id == of);
                lines.for_each(|line| line.photos.push(photo));
                if let Some(job) = self.job_mut(of) {
                    job.photos.push(photo);
                }
            }
            Change::Brought { entry, link } => drop(self.brought.insert(entry, link)),
            Change::DayGone { track_day } => self.cars.iter_mut().for_each(|car| car.days.retain(|day| day.id != track_day)),
            Change::Packed { track_day, thing, packed } => {
                let days = self.cars.iter_mut().flat_map(|car| &mut car.days);
                for day in days.filter(|day| day.id == track_day) {
                    _ = if packed { day.packed.insert(thing.clone()) } else { day.packed.remove(&thing) };
                }
            }
            // Sent to a car that is not here, a day stays with the car that has it.
            Change::Day { car, .. } if self.car(car).is_none() => {}
            Change::Day { track_day, car, name, day, sessions, session_min, entry } => {
                // An entry is of one car: brought to another, it leaves the first.
                let mut packed = BTreeSet::new();
                for other in &mut self.cars {
                    let is_it = |day: &TrackDay| day.id == track_day || (entry.is_some() && day.entry == entry);
                    packed.extend(other.days.iter().filter(|day| is_it(day)).flat_map(|day| day.packed.clone()));
                    other.days.retain(|day| !is_it(day));
                }
                if let Some(car) = self.car_mut(car) {
                    car.days.push(TrackDay { id: track_day, name, day, sessions, session_min, entry, packed });
                    car.days.sort_by_key(|day| (day.day, day.id));
                }
            }
            // A job stays with its car: there is one of an id.
            Change::Job { job, car, .. } if self.job(job).is_some_and(|(there, _)| there.id != car) => {}
            Change::JobGone { job } => self.cars.iter_mut().for_each(|car| car.jobs.retain(|there| there.id != job)),
            of_job @ (Change::Step { .. }
            | Change::StepGone { .. }
            | Change::Part { .. }
            | Change::PartGone { .. }
            | Change::Tried { .. }
            | Change::Done { .. }
            | Change::Reopened { .. }) => {
                if let Some(job) = of_job.job().and_then(|job| self.job_mut(job)) {
                    fold_job(job, of_job, at);
                }
            }
            of_car => {
                if let Some(car) = of_car.car().and_then(|car| self.car_mut(car)) {
                    fold_car(car, of_car, id, at);
                }
            }
        }
    }

    /// Whether a change can be noted as things stand.
    ///
    /// # Errors
    /// [`NotTaken`]: it is about a thing that is not here, one too many, or jobs would wait for each other in a circle.
    pub fn takes(&self, change: &Change) -> Result<(), NotTaken> {
        if self.changes >= MOST_CHANGES {
            return Err(NotTaken::TooMany("20,000 notes"));
        }
        let is_new_car = |car: &Uuid| self.car(*car).is_none();
        match change {
            Change::Car { car, .. } if is_new_car(car) => {
                return if self.cars.len() < MOST_CARS { Ok(()) } else { Err(NotTaken::TooMany("40 cars")) };
            }
            Change::Gear { gear, .. } if self.gear.len() >= MOST_GEAR && self.gear.iter().all(|piece| piece.id != *gear) => {
                return Err(NotTaken::TooMany("60 pieces of gear"));
            }
            Change::GearGone { gear } if self.gear.iter().all(|piece| piece.id != *gear) => return Err(NotTaken::NotHere),
            Change::Struck { line } if !self.has_line(*line) => return Err(NotTaken::NotHere),
            Change::Photo { of, .. } if !self.has_line(*of) && self.job(*of).is_none() => return Err(NotTaken::NotHere),
            Change::Brought { entry, .. } if self.day_of_entry(*entry).is_none() => return Err(NotTaken::NotHere),
            Change::DayGone { track_day } | Change::Packed { track_day, .. } if !self.has_day(*track_day) => {
                return Err(NotTaken::NotHere);
            }
            Change::Job { job, car, card } => self.takes_job(*job, *car, card)?,
            Change::Day { track_day, car, .. } if self.is_full_of_days(*car) && !self.has_day(*track_day) => {
                return Err(NotTaken::TooMany("400 days of a car"));
            }
            _ => {}
        }
        if change.car().is_some_and(|car| is_new_car(&car)) {
            return Err(NotTaken::NotHere);
        }
        let Some(id) = change.job() else { return Ok(()) };
        let (car, job) = self.job(id).ok_or(NotTaken::NotHere)?;
        match change {
            Change::Reopened { .. } if !job.is_done => Err(NotTaken::Open),
            Change::Reopened { .. } if car.open_jobs().count() >= MOST_OPEN_JOBS => Err(TOO_MANY_OPEN),
            Change::Reopened { .. } | Change::JobGone { .. } => Ok(()),
            _ if job.is_done => Err(NotTaken::Done),
            Change::Step { step, .. } if job.steps.len() >= MOST_ON_A_JOB && job.steps.iter().all(|other| other.id != *step) => {
                Err(NotTaken::TooMany("60 steps on a job"))
            }
            Change::Part { part, .. } if job.parts.len() >= MOST_ON_A_JOB && job.parts.iter().all(|other| other.id != *part) => {
                Err(NotTaken::TooMany("60 parts on a job"))
            }
            Change::PartGone { part, .. } if job.parts.iter().all(|other| other.id != *part) => Err(NotTaken::NotHere),
            Change::StepGone { step, .. } if job.steps.iter().all(|other| other.id != *step) => Err(NotTaken::NotHere),
            _ => Ok(()),
        }
    }

    fn has_line(&self, id: Uuid) -> bool {
        self.cars.iter().flat_map(|car| &car.log).any(|line| line.id == id)
    }

    fn has_day(&self, id: Uuid) -> bool {
        self.cars.iter().any(|car| car.day(id).is_some())
    }

    fn is_full_of_days(&self, car: Uuid) -> bool {
        self.car(car).is_some_and(|car| car.days.len() >= MOST_DAYS)
    }

    fn takes_job(&self, job: Uuid, car: Uuid, card: &JobCard) -> Result<(), NotTaken> {
        let of = self.car(car).ok_or(NotTaken::NotHere)?;
        match self.job(job) {
            Some((there, _)) if there.id != car => return Err(NotTaken::NotHere),
            Some((_, there)) if there.is_done => return Err(NotTaken::Done),
            Some(_) => {}
            None if of.open_jobs().count() >= MOST_OPEN_JOBS => return Err(TOO_MANY_OPEN),
            None if self.cars.iter().map(|car| car.jobs.len()).sum::<usize>() >= MOST_JOBS => {
                return Err(NotTaken::TooMany("2,000 jobs"));
            }
            None => {}
        }
        if card.after.iter().any(|other| of.job(*other).is_none()) {
            return Err(NotTaken::NotHere);
        }
        // From what it waits for, along what that waits for: it must not come back to itself.
        let waits: BTreeMap<Uuid, &[Uuid]> = of.jobs.iter().map(|other| (other.id, other.card.after.as_slice())).collect();
        let (mut todo, mut seen) = (card.after.clone(), BTreeSet::new());
        while let Some(next) = todo.pop() {
            if next == job {
                return Err(NotTaken::Circle(card.title.clone()));
            }
            if seen.insert(next) {
                todo.extend(waits.get(&next).copied().unwrap_or_default());
            }
        }
        Ok(())
    }
}

fn new_car(id: Uuid, name: String) -> Car {
    Car { id, name, gone: false, facts: BTreeMap::new(), log: Vec::new(), days: Vec::new(), jobs: Vec::new() }
}

fn fold_car(car: &mut Car, change: Change, id: Uuid, at: Timestamp) {
    let mut line = |taken, what| car.log.push(Line { id, taken, noted_at: at, what, photos: vec![], struck: false });
    match change {
        Change::CarGone { .. } => car.gone = true,
        Change::Facts { facts, .. } => {
            for (item, typed) in facts {
                // What is noted again unchanged keeps its day: it is as old as it is.
                // A unit without a figure says nothing.
                if typed.iter().all(|(name, text)| text.is_empty() || name == "unit") {
                    car.facts.remove(&item);
                } else if car.facts.get(&item).is_none_or(|(before, _)| *before != typed) {
                    car.facts.insert(item, (typed, at));
                }
            }
        }
        Change::Readings { taken, readings, .. } => line(taken, Logged::Readings(readings)),
        Change::Changed { taken, fluid, grade, note, .. } => line(taken, Logged::Changed { fluid, grade, note }),
        Change::Track { taken, minutes, sessions, note, .. } => line(taken, Logged::Track { minutes, sessions, note }),
        Change::Job { job, card, .. } => match car.jobs.iter_mut().find(|there| there.id == job) {
            Some(there) => {
                suspect(there, &card, at);
                there.card = card;
            }
            None => {
                let opened = Told { at, what: Happened::Opened, words: card.found.clone() };
                let mut new = Job {
                    id: job,
                    steps: vec![],
                    parts: vec![],
                    tried: vec![],
                    told: vec![opened],
                    photos: vec![],
                    is_done: false,
                    card,
                };
                let card = new.card.clone();
                suspect(&mut new, &card, at);
                car.jobs.push(new);
            }
        },
        _ => {}
    }
}

/// A guess stays in the history: it is what a reopened job must not begin with again.
fn suspect(job: &mut Job, card: &JobCard, at: Timestamp) {
    let last = job.told.iter().rev().find(|told| told.what == Happened::Suspected);
    if !card.cause.is_empty() && last.is_none_or(|told| told.words != card.cause) {
        job.told.push(Told { at, what: Happened::Suspected, words: card.cause.clone() });
    }
}

fn fold_job(job: &mut Job, change: Change, at: Timestamp) {
    match change {
        Change::Step { step, say, done, .. } => match job.steps.iter_mut().find(|there| there.id == step) {
            Some(there) => (there.say, there.done) = (say, done),
            None => job.steps.push(Step { id: step, say, done }),
        },
        Change::Part { part, name, price_cents, lead_days, is, .. } => {
            let new = Part { id: part, name, price_cents, lead_days, is };
            match job.parts.iter_mut().find(|there| there.id == part) {
                Some(there) => *there = new,
                None => job.parts.push(new),
            }
        }
        Change::PartGone { part, .. } => job.parts.retain(|there| there.id != part),
        Change::StepGone { step, .. } => job.steps.retain(|there| there.id != step),
        Change::Tried { test, outcome, said, .. } => {
            job.told.push(Told { at, what: Happened::Tried, words: said.clone() });
            job.tried.retain(|there| there.test != test || there.before_reopening);
            job.tried.push(Tried { test, outcome, said, at, before_reopening: false });
        }
        Change::Done { what, shown_by, .. } => {
            let words = if shown_by.is_empty() { what } else { format!("{what} Shown by: {shown_by}") };
            job.told.push(Told { at, what: Happened::Done, words });
            job.is_done = true;
        }
        Change::Reopened { why, .. } => {
            job.told.push(Told { at, what: Happened::Reopened, words: why });
            job.is_done = false;
            // The last guess was wrong or not all: it is in the history, and the card asks anew.
            job.card.cause.clear();
            job.card.next_test.clear();
            job.tried.iter_mut().for_each(|tried| tried.before_reopening = true);
            job.steps.iter_mut().for_each(|step| step.done = false);
        }
        _ => {}
    }
}
