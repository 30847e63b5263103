//! The work list: what must be done before the next day, in the order to do it, by when, and what it costs.

use super::opened::Opened;
use crate::acts::Refusal;
use crate::acts::garage::look::Looked;
use crate::rules::garage::book::{Car, Job, Part, TrackDay};
use crate::rules::garage::ready::{Work, hours, work};
use crate::rules::garage::typed::say_price;
use crate::rules::schedule::{Haste, Late, PlannedPart};
use crate::store::StoreError;
use crate::web::form::At;
use crate::web::page::{Page, count, render, short_day};
use askama::Template;
use uuid::Uuid;

/// A job on the list.
pub(super) struct Listed {
    pub id: Uuid,
    pub title: String,
    pub system: &'static str,
    pub hours: String,
    /// stop where it is late, fix where it is in time, empty where no day asks for it.
    pub class: &'static str,
    pub when: String,
    pub orders: Vec<(String, &'static str)>,
    pub waits: Vec<String>,
    pub came_back: usize,
    pub critical: bool,
}

/// Money in one line.
pub(super) struct Money {
    pub to_spend: String,
    pub all: String,
    pub unknown: usize,
}

#[derive(Template)]
#[template(path = "garage/jobs.html")]
struct JobsPage<'a> {
    base: String,
    car: &'a Car,
    day: Option<&'a TrackDay>,
    verdict: String,
    lead: String,
    planned: Vec<Listed>,
    others: Vec<Listed>,
    done: Vec<&'a Job>,
    chain: Option<String>,
    money: Option<Money>,
    week: String,
}

/// The plan for the car's next day, or for none.
fn plan_for<'a>(looked: &Looked, car: &'a Car, day: Option<&TrackDay>) -> Result<Option<Work<'a>>, Refusal> {
    let Some(day) = day else { return Ok(None) };
    let planned = work(&looked.garage, car, looked.today, day.day);
    Ok(Some(planned.map_err(|error| StoreError::Unreadable(format!("a garage's jobs: {error}")))?))
}

fn listed(car: &Car, job: &Job) -> Listed {
    let waits = job.card.after.iter().filter_map(|id| car.job(*id)).filter(|other| !other.is_done);
    Listed {
        id: job.id,
        title: job.card.title.clone(),
        system: job.card.system.name(),
        hours: hours(job.card.hours),
        class: "",
        when: String::new(),
        orders: Vec::new(),
        waits: waits.map(|other| other.card.title.clone()).collect(),
        came_back: job.came_back(),
        critical: false,
    }
}

/// The planned jobs in the order in which they are done.
pub(super) fn in_turn(car: &Car, work: &Work<'_>) -> Vec<Listed> {
    let turn = |turn: &crate::rules::schedule::PlannedTurn| {
        let (job, task) = (work.jobs.get(turn.task)?, work.plan.tasks.get(turn.task)?);
        let (class, when) = match task.late {
            Late::No => {
                let (plan, last) = (short_day(&turn.start), short_day(&task.latest_start));
                ("fix", format!("plan {plan}, begin by {last} at the latest"))
            }
            Late::WithTheRest => {
                ("fix", format!("plan {}; all of them together are too much before the day", short_day(&turn.start)))
            }
            Late::ByItself => ("stop", "too late for the day".to_owned()),
        };
        let named = |(part, planned): (&Part, &PlannedPart)| {
            order(planned).map(|(words, class)| (format!("{}: {words}", part.name), class))
        };
        let orders = job.parts.iter().zip(&task.parts).filter_map(named).collect();
        Some(Listed { class, when, orders, critical: work.plan.chain.contains(&turn.task), ..listed(car, job) })
    };
    work.plan.turns.iter().filter_map(turn).collect()
}

/// What is said of a part that is not here: by when to order it, or when it comes.
pub(super) fn order(planned: &PlannedPart) -> Option<(String, &'static str)> {
    let (comes, needed) = (short_day(&planned.arrives), short_day(&planned.needed_on));
    let by = planned.order_by.as_ref().map(short_day);
    Some(match (planned.haste, by) {
        (Haste::Here, _) => return None,
        (Haste::InTime, Some(by)) => (format!("order by {by}"), "fix"),
        (Haste::LastDay, Some(_)) => ("order today".into(), "stop"),
        (Haste::TooLate, Some(by)) => (format!("had to be ordered by {by}; ordered today it is here {comes}"), "stop"),
        (Haste::TooLate, None) => (format!("comes {comes}, needed {needed}"), "stop"),
        (_, None) => (format!("comes {comes}"), "fix"),
    })
}

/// The first thing that is said, and why.
pub(super) fn verdict(work: &Work<'_>, day: &TrackDay) -> (String, String) {
    match (work.jobs.is_empty(), work.plan.in_time) {
        (true, _) => ("No job stands before the day".into(), String::new()),
        (_, true) => ("Not ready yet, and in time".into(), time_left(work, day)),
        (_, false) => ("Will not be ready in time".into(), why_late(work, day)),
    }
}

/// "7.5 h of work left; until Sat 19 Dec you have 38.5 h."
pub(super) fn time_left(work: &Work<'_>, day: &TrackDay) -> String {
    let (needed, have) = (hours(work.plan.needed_hours), hours(work.plan.available_hours));
    format!("{needed} of work left; until {} you have {have}.", short_day(&day.day))
}

/// What makes it late, one thing: the hours, or a part that comes too late.
pub(super) fn why_late(work: &Work<'_>, day: &TrackDay) -> String {
    let plan = &work.plan;
    let short = plan.needed_hours - plan.available_hours;
    if short > 0.0 {
        return format!("{} That is {} too little.", time_left(work, day), hours(short));
    }
    let opener = plan.chain.first().and_then(|nth| Some((work.jobs.get(*nth)?, plan.tasks.get(*nth)?)));
    let part = opener.and_then(|(job, task)| Some((job.parts.get(plan.opened_by?)?, task.parts.get(plan.opened_by?)?)));
    let done = plan.finish.map(|finish| format!(" As it stands all is done on {}.", short_day(&finish))).unwrap_or_default();
    match part {
        Some((part, planned)) => format!("\u{201c}{}\u{201d} comes on {}.{done}", part.name, short_day(&planned.arrives)),
        None => format!("{}{done}", time_left(work, day)),
    }
}

/// What the day depends on, in words: the part that opens it, then job after job.
pub(super) fn chain(work: &Work<'_>) -> Option<String> {
    let first = work.plan.chain.first()?;
    let part = work
        .plan
        .opened_by
        .and_then(|nth| work.jobs.get(*first)?.parts.get(nth))
        .map(|part| format!("\u{201c}{}\u{201d} arrives", part.name));
    let jobs = work.plan.chain.iter().filter_map(|nth| Some(work.jobs.get(*nth)?.card.title.clone()));
    Some(part.into_iter().chain(jobs).collect::<Vec<_>>().join(", then "))
}

pub(super) fn money(jobs: &[&Job], currency: &str) -> Option<Money> {
    let parts = jobs.iter().map(|job| job.parts.len()).sum::<usize>();
    let (all, unknown) = jobs
        .iter()
        .map(|job| job.money())
        .fold((0u64, 0), |(sum, none), (price, without)| (sum.saturating_add(price), none + without));
    let to_spend = jobs.iter().fold(0u64, |sum, job| sum.saturating_add(job.money_to_spend()));
    (parts > 0).then(|| Money { to_spend: say_price(to_spend, currency), all: say_price(all, currency), unknown })
}

pub(super) async fn show(opened: Opened, At((_, car)): At<(Uuid, Uuid)>) -> Page {
    let car = opened.car(car)?;
    let day = car.next_day(opened.looked.today);
    let work = plan_for(&opened.looked, car, day)?;
    let planned = work.as_ref().map(|work| in_turn(car, work)).unwrap_or_default();
    let others =
        car.open_jobs().filter(|job| planned.iter().all(|other| other.id != job.id)).map(|job| listed(car, job)).collect();
    let (verdict, lead) = match (&work, day) {
        (Some(work), Some(day)) => verdict(work, day),
        _ => (
            format!("{} open", count(car.open_jobs().count(), "job", "jobs")),
            "No day is planned: jobs have no date to be done by.".into(),
        ),
    };
    let week = opened.looked.garage.settings.week;
    let open: Vec<&Job> = car.open_jobs().collect();
    render(&JobsPage {
        base: opened.base(),
        verdict,
        lead,
        chain: work.as_ref().filter(|work| work.jobs.len() > 1 || work.plan.opened_by.is_some()).and_then(chain),
        money: money(&open, &opened.looked.garage.settings.currency),
        planned,
        others,
        done: car.jobs.iter().rev().filter(|job| job.is_done).collect(),
        week: hours(week.iter().sum()),
        day,
        car,
    })
}
