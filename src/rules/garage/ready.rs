//! Whether a car will be ready for a day: what stands between it and being loaded, and by when.
//!
//! It advises. Nothing here says that a car is safe: that nothing of what was noted stands in the way is all that it says.

use super::book::{Car, Garage, GearPiece, Job, Line, Logged, TrackDay};
use super::change::PartState;
use super::kinds::{Fluid, GearKind, ReadingKind, unit_asked};
use super::log::{last_changed, newest};
use super::wear::{Planned, Said, Series, say, series};
use crate::rules::answer::Typed;
use crate::rules::brakes::{self, FluidGrade, judge_fluid};
use crate::rules::critical_path::Hands;
use crate::rules::days::days_between;
use crate::rules::gear::{LabelDate, Policy, judge_label};
use crate::rules::judge::{Finding, Judged};
use crate::rules::schedule::{Late, Plan, ScheduleError, Supply, Task, plan};
use crate::rules::sheet::{Bound, Kind, Sheet};
use crate::rules::tyres::judge_date;
use crate::rules::units::{Unit, Units};
use crate::rules::week::Week;
use crate::rules::words::{Per, Place, Severity, Verdict, count};
use jiff::civil::Date;
use std::collections::BTreeSet;
use uuid::Uuid;

/// The usual limits where no sheet says otherwise: whole months for brake fluid, years for tyres, °C for a measured boiling point.
const FLUID_MONTHS: u32 = 6;
const TYRE_YEARS: f64 = 6.0;
const BOIL_C: f64 = 180.0;

/// The jobs that must be done before a day, and the plan for them.
#[derive(Clone, Debug)]
pub struct Work<'a> {
    /// In the order of the plan's tasks.
    pub jobs: Vec<&'a Job>,
    pub plan: Plan,
}

/// Plans the open jobs that a car must have done before it goes out, with what they wait for.
///
/// # Errors
/// [`ScheduleError`] where hours or waits make no sense; what the garage takes has neither.
pub fn work<'a>(garage: &Garage, car: &'a Car, today: Date, day: Date) -> Result<Work<'a>, ScheduleError> {
    let mut wanted: BTreeSet<Uuid> = car.open_jobs().filter(|job| job.card.must).map(|job| job.id).collect();
    let mut todo: Vec<Uuid> = wanted.iter().copied().collect();
    while let Some(job) = todo.pop().and_then(|id| car.job(id)) {
        // What is done is waited for no more.
        let more = job.card.after.iter().filter(|id| car.job(**id).is_some_and(|other| !other.is_done));
        for id in more {
            if wanted.insert(*id) {
                todo.push(*id);
            }
        }
    }
    let jobs: Vec<&Job> = car.open_jobs().filter(|job| wanted.contains(&job.id)).collect();
    let at = |id: &Uuid| jobs.iter().position(|job| job.id == *id);
    let tasks: Vec<Task> = jobs
        .iter()
        .map(|job| Task {
            hours: job.card.hours,
            after: job.card.after.iter().filter_map(at).collect(),
            parts: job.parts.iter().map(|part| supply(part.is, part.lead_days)).collect(),
        })
        .collect();
    let settings = &garage.settings;
    let week = Week::new(settings.week).or_else(|_| Week::new([1.0; 7]));
    // One hour a day is a week for sure; the second way is never gone.
    let Ok(week) = week else { return Err(ScheduleError::Hours { task: 0 }) };
    let hands = if settings.many_hands { Hands::Many } else { Hands::One };
    let plan = plan(&tasks, &week, hands, today, day)?;
    Ok(Work { jobs, plan })
}

fn supply(is: PartState, lead_days: u16) -> Supply {
    match is {
        PartState::ToOrder => Supply::ToOrder { lead_days },
        PartState::Ordered { here_on } => Supply::Ordered { here_on },
        PartState::Here => Supply::Here,
    }
}

/// What the entry's sheet says, where the day is an event of the club.
pub struct SheetNow<'a> {
    pub sheet: &'a Sheet,
    pub judged: &'a Judged,
    pub unread: usize,
    pub is_sent: bool,
    /// What the gate holds the car for, or took its clearance back for, and nobody has cleared since.
    pub held: &'a [String],
}

/// Where a thing is put right.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum To {
    Job(Uuid),
    Gear(Uuid),
    Wear,
    Log,
    Facts,
    /// The sheet, at an item where one is named.
    Sheet,
    Jobs,
}

/// A thing that stands between the car and being loaded.
#[derive(Clone, Debug, PartialEq)]
pub struct Stand {
    pub weight: Severity,
    pub words: String,
    pub to: To,
    /// The sheet's item, where it is a finding: it can be made a job.
    pub item: Option<String>,
}

/// How a car stands before a day.
#[derive(Clone, Debug)]
pub struct Ready<'a> {
    /// The heaviest first.
    pub stands: Vec<Stand>,
    pub work: Work<'a>,
    /// Days until the day, below zero when it is past.
    pub days_left: i64,
}

impl Ready<'_> {
    /// Whether nothing holds the car back, of all that was noted.
    pub fn is_ready(&self) -> bool {
        self.stands.iter().all(|stand| !stand.weight.holds_the_car())
    }

    /// Whether the jobs can still be done by the day.
    pub fn is_in_time(&self) -> bool {
        self.work.plan.in_time
    }

    /// How many things hold it back.
    pub fn holding(&self) -> usize {
        self.stands.iter().filter(|stand| stand.weight.holds_the_car()).count()
    }
}

/// What is looked at.
pub struct Before<'a, 'l> {
    pub garage: &'a Garage,
    pub car: &'a Car,
    /// The log in order of time, with the sheets' lines.
    pub lines: &'l [&'l Line],
    pub day: &'a TrackDay,
    pub today: Date,
    pub policy: &'a Policy,
    pub sheet: Option<SheetNow<'a>>,
    pub units: &'a Units,
}

/// Gathers what stands between a car and its day.
///
/// # Errors
/// [`ScheduleError`], as [`work`].
pub fn ready<'a>(before: &Before<'a, '_>) -> Result<Ready<'a>, ScheduleError> {
    let work = work(before.garage, before.car, before.today, before.day.day)?;
    let mut stands = jobs(&work);
    stands.extend(findings(before));
    stands.extend(gear(before));
    stands.extend(fluid(before));
    stands.extend(tyres(before));
    stands.extend(wear(before));
    stands.sort_by_key(|stand| std::cmp::Reverse(stand.weight));
    Ok(Ready { stands, work, days_left: days_between(before.today, before.day.day) })
}

fn stand(weight: Severity, words: impl Into<String>, to: To) -> Stand {
    Stand { weight, words: words.into(), to, item: None }
}

fn jobs(work: &Work<'_>) -> Vec<Stand> {
    let one = |(job, task): (&&Job, &crate::rules::schedule::PlannedTask)| {
        let when = match task.late {
            Late::ByItself => "cannot be done in time".to_owned(),
            Late::WithTheRest => "does not fit in with the rest".to_owned(),
            Late::No => format!("must begin by {}", task.latest_start.strftime("%A %-d %B")),
        };
        // A job that is late is told as what it is: the day as it stands cannot be kept.
        let weight = if task.late == Late::No { Severity::Fix } else { Severity::Stop };
        stand(weight, format!("{}: {} of work, {when}.", job.card.title, hours(job.card.hours)), To::Job(job.id))
    };
    work.jobs.iter().zip(&work.plan.tasks).map(one).collect()
}

/// "2 h", "half an hour" as figures: "0.5 h".
pub fn hours(hours: f64) -> String {
    format!("{} h", (hours * 100.0).round() / 100.0)
}

fn findings(before: &Before<'_, '_>) -> Vec<Stand> {
    let Some(now) = &before.sheet else { return Vec::new() };
    let is_a_job = |item: &str| before.car.open_jobs().any(|job| job.card.item.as_deref() == Some(item));
    let held = now.held.iter().map(|words| stand(Severity::Stop, words, To::Sheet));
    let found = now
        .judged
        .holding()
        .filter(|finding| !is_a_job(finding.item.as_str()))
        .map(|finding| Stand { item: Some(finding.item.to_string()), ..stand(finding.severity, &finding.why, To::Sheet) });
    let mut stands: Vec<Stand> = held.chain(found).collect();
    let missing = now.judged.missing.len();
    if missing + now.unread > 0 {
        let words = format!("{} of the sheet wait for an answer.", count(missing + now.unread, "item", "items"));
        stands.push(stand(Severity::Note, words, To::Sheet));
    } else if !now.is_sent {
        stands.push(stand(Severity::Note, "The sheet is answered and not sent yet.", To::Sheet));
    }
    stands
}

/// The verdict on a piece for a day, and why.
pub fn judge_piece(piece: &GearPiece, policy: &Policy, on: Date) -> (Verdict, String) {
    let date = (!piece.date.is_empty()).then_some(piece.date.as_str());
    let in_table = policy.rows().iter().any(|row| row.kind == piece.what.token());
    if in_table {
        return match judge_label(policy, piece.what.token(), &piece.label, date, piece.valid_until, on) {
            Ok(life) => (life.verdict, life.why),
            Err(error) => (Verdict::Fix, error.to_string()),
        };
    }
    match date.map(LabelDate::parse) {
        Some(Ok(date)) if piece.valid_until && date.last() < on => {
            (Verdict::Fix, format!("{}: valid until {}, the day is {on}.", piece.name, date.last()))
        }
        Some(Err(error)) => (Verdict::Fix, error.to_string()),
        _ => (Verdict::Ok, format!("{}: no end is known.", piece.name)),
    }
}

fn gear(before: &Before<'_, '_>) -> Vec<Stand> {
    let road_belt = before.car.fact("restraint").and_then(|typed| typed.get("")).is_some_and(|belt| belt == "road");
    let mut stands = Vec::new();
    for kind in GearKind::ALL {
        if road_belt && matches!(kind, GearKind::Harness | GearKind::HeadRestraint) {
            continue;
        }
        let pieces = before.garage.gear.iter().filter(|piece| piece.what == kind);
        let judged = pieces.map(|piece| (judge_piece(piece, before.policy, before.day.day), piece));
        // Of two helmets the better one is worn.
        let Some(((verdict, why), piece)) = judged.min_by_key(|((verdict, _), _)| *verdict) else { continue };
        if let Some(weight) = verdict.severity() {
            stands.push(stand(weight, format!("{}, {}: {why}", kind.name(), piece.name), To::Gear(piece.id)));
        }
    }
    stands
}

fn fluid(before: &Before<'_, '_>) -> Vec<Stand> {
    let Some(flushed) = last_changed(before.lines, Fluid::BrakeFluid) else {
        return vec![stand(Severity::Note, "Nobody has noted when the brake fluid was changed.", To::Log)];
    };
    let grade = before.car.fact("fluid-grade").and_then(|typed| typed.get("")).map_or("dot4", String::as_str);
    let grade = match grade {
        "dot3" => "DOT 3",
        "dot51" => "DOT 5.1",
        "dot5" => "DOT 5",
        _ => "DOT 4",
    };
    let Some(grade) = FluidGrade::parse(grade) else { return Vec::new() };
    // A boiling point from before the change, be it of that very morning, is another fluid's.
    let is_change = |line: &&Line| matches!(line.what, Logged::Changed { fluid: Fluid::BrakeFluid, .. });
    let since = before.lines.iter().rposition(is_change).map_or(before.lines, |at| &before.lines[at..]);
    let boil = newest(since, ReadingKind::FluidBoil).get(&Place::Whole).copied();
    let state = judge_fluid(&brakes::Fluid {
        grade,
        flushed,
        on: before.day.day,
        limit_months: FLUID_MONTHS,
        measured_boil_c: boil.map(|(celsius, _)| celsius),
        limit_boil_c: BOIL_C,
    });
    let weight = state.verdict.severity();
    weight.map(|weight| stand(weight, format!("Brake fluid: {}", state.why), To::Log)).into_iter().collect()
}

fn tyres(before: &Before<'_, '_>) -> Vec<Stand> {
    let Some(codes) = before.car.fact("tyre-date") else { return Vec::new() };
    let one = |place: Place| {
        let code = codes.get(&place.token()).filter(|code| !code.is_empty())?;
        let judged = judge_date(code, before.day.day, TYRE_YEARS).ok()?;
        Some(stand(judged.verdict.severity()?, format!("Tyre, {}: {}", place.name(), judged.why), To::Facts))
    };
    Per::Corner.places().into_iter().filter_map(one).collect()
}

/// What is planned for a car from today until a day is over, in sessions of that day's length.
pub fn planned(car: &Car, day: &TrackDay, today: Date) -> Planned {
    let until = car.days.iter().filter(|other| other.day >= today && other.day <= day.day && other.id != day.id);
    let before: f64 = until.map(|other| f64::from(other.sessions) * other.session_min).sum();
    let more = if day.session_min > 0.0 { (before / day.session_min).ceil().clamp(0.0, 10_000.0) as u16 } else { 0 };
    Planned { day: day.day, sessions: day.sessions.saturating_add(more), session_min: day.session_min }
}

/// What is said of a part's wear: for the first day to come that it does not last for sure, else for the next one.
pub fn said_of(one: &Series, limit: f64, car: &Car, today: Date, units: &Units) -> Said {
    let coming = car.days.iter().filter(|day| day.day >= today);
    let mut said = coming.map(|day| said_for(one, limit, (car, day), today, units));
    let Some(next) = said.next() else { return say(one, limit, None, today, units) };
    if next.weight.is_some() { next } else { said.find(|said| said.weight.is_some()).unwrap_or(next) }
}

/// What is said of a part's wear for a day, with all that is driven before it.
fn said_for(one: &Series, limit: f64, (car, day): (&Car, &TrackDay), today: Date, units: &Units) -> Said {
    let plan = planned(car, day, today);
    let said = say(one, limit, Some(plan), today, units);
    if plan.sessions == day.sessions {
        return said;
    }
    let (next, all) =
        (format!("your next event has {}", plan.sessions), format!("{} are planned until {}", plan.sessions, day.name));
    Said { words: said.words.replace(&next, &all), ..said }
}

fn wear(before: &Before<'_, '_>) -> Vec<Stand> {
    let sheet = before.sheet.as_ref().map(|now| now.sheet);
    let of_kind = |kind: ReadingKind| {
        let all = series(before.lines, kind, before.today);
        all.into_iter().filter(move |one| !is_found(before, one)).filter_map(move |one| {
            let limit = limit_of((kind, one.place), sheet, before.car)?;
            let said = said_for(&one, limit, (before.car, before.day), before.today, before.units);
            Some(stand(said.weight?, said.of(kind), To::Wear))
        })
    };
    ReadingKind::ALL.into_iter().flat_map(of_kind).collect()
}

/// Whether the sheet says so already: told once.
fn is_found(before: &Before<'_, '_>, one: &Series) -> bool {
    let items = one.kind.items();
    let found = |finding: &Finding| finding.place == one.place && items.contains(&finding.item.as_str());
    before.sheet.as_ref().is_some_and(|now| now.judged.holding().any(found))
}

/// The limit that a kind is held against at a place, in its own unit: the sheet's first that holds the car, what is cast into the disc, or the
/// usual one.
pub fn limit_of((kind, place): (ReadingKind, Place), sheet: Option<&Sheet>, car: &Car) -> Option<f64> {
    let (_, usual) = kind.wears()?;
    let of_item = |item: &&str| {
        let Kind::Measurement(rule) = &sheet?.item(item)?.kind else { return None };
        // A club may ask for the same thing in per cent: that is no limit for a log in millimetres.
        if rule.unit.quantity() != kind.unit().quantity() || !rule.per.places().contains(&place) {
            return None;
        }
        let holding = rule.limits.iter().rev().filter(|limit| limit.severity.holds_the_car());
        holding.into_iter().find_map(|limit| match limit.bound {
            Bound::AtLeast(least) => Some(rule.unit.convert(least, kind.unit())),
            _ => None,
        })
    };
    let disc =
        || (kind == ReadingKind::Disc).then(|| number_of(car.fact("disc-minimum")?, "disc-minimum", kind.unit())).flatten();
    kind.items().iter().find_map(of_item).or_else(disc).or(usual)
}

/// A fact's number in a unit.
pub fn number_of(typed: &Typed, item: &str, unit: Unit) -> Option<f64> {
    let given = typed.get("unit").and_then(|token| Unit::parse(token)).or_else(|| unit_asked(item))?;
    let number = crate::rules::answer::read_number(typed.get("")?)?;
    (given.quantity() == unit.quantity()).then(|| given.convert(number, unit))
}
