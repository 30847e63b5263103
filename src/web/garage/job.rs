//! A job: its card, steps, parts and tests; closed with what shows it, reopened when its symptom comes back.

use super::base;
use super::blanks::{Ask, Blank, FormPage};
use super::faults::best_test;
use super::jobs::{Money, money, order};
use super::opened::{Opened, Sent};
use super::parts::state_word;
use crate::acts::Refusal;
use crate::acts::garage::guide;
use crate::acts::garage::look::Looked;
use crate::rules::garage::book::{Car, Job, Part};
use crate::rules::garage::change::Change;
use crate::rules::garage::ready::{hours, work};
use crate::rules::garage::typed::{Reader, say_price};
use crate::rules::schedule::Late;
use crate::web::error::Fault;
use crate::web::form::At;
use crate::web::page::{Page, count, render, short_day};
use askama::Template;
use axum::response::Response;
use jiff::civil::Date;
use jiff::tz::TimeZone;
use uuid::Uuid;

/// A part as the page shows it.
struct PartView<'a> {
    part: &'a Part,
    state: &'static str,
    price: String,
    /// By when, and how it stands.
    order: Option<(String, &'static str)>,
}

impl PartView<'_> {
    fn lead(&self) -> String {
        count(self.part.lead_days.into(), "day", "days")
    }
}

/// A line of the job's history.
struct Told {
    at: String,
    what: &'static str,
    words: String,
}

#[derive(Template)]
#[template(path = "garage/job.html")]
struct JobPage<'a> {
    base: String,
    car: &'a Car,
    job: &'a Job,
    heading: String,
    hours: String,
    when: String,
    waits: Vec<&'a Job>,
    parts: Vec<PartView<'a>>,
    money: Option<Money>,
    told: Vec<Told>,
    guesses: String,
    /// What is suspected was suspected before the symptom came back.
    again: bool,
    /// The test of the fault guide that tells most now.
    best: Option<String>,
    ids: Vec<Uuid>,
    new_id: Uuid,
    today: Date,
}

impl JobPage<'_> {
    /// A fresh id for each form of the page: a tap on one must not use up another's.
    fn id(&self, nth: usize) -> Uuid {
        self.ids.get(nth).copied().unwrap_or_default()
    }
}

/// The plan's word on one job: when, and by when each of its parts.
type Planned = (String, Vec<Option<(String, &'static str)>>);

fn planned(looked: &Looked, car: &Car, job: &Job) -> Option<Planned> {
    let day = car.next_day(looked.today)?;
    let work = work(&looked.garage, car, looked.today, day.day).ok()?;
    let nth = work.jobs.iter().position(|other| other.id == job.id)?;
    let task = work.plan.tasks.get(nth)?;
    let when = match task.late {
        Late::No => {
            format!("Begin by {}, to be done for {} on {}.", short_day(&task.latest_start), day.name, short_day(&day.day))
        }
        Late::WithTheRest => format!("It does not fit in with the other jobs before {} on {}.", day.name, short_day(&day.day)),
        Late::ByItself => format!(
            "Too late for {} on {}: at the soonest it is done on {}.",
            day.name,
            short_day(&day.day),
            short_day(&task.earliest_finish)
        ),
    };
    Some((when, task.parts.iter().map(order).collect()))
}

pub(super) async fn show(opened: Opened, At((_, id)): At<(Uuid, Uuid)>) -> Page {
    let (car, job) = opened.job(id)?;
    let (when, orders) = planned(&opened.looked, car, job).unwrap_or_default();
    let currency = &opened.looked.garage.settings.currency;
    let parts = job.parts.iter().enumerate().map(|(nth, part)| PartView {
        part,
        state: state_word(part.is),
        price: part.price_cents.map(|cents| say_price(cents, currency)).unwrap_or_default(),
        order: orders.get(nth).cloned().flatten(),
    });
    let guesses = job.guesses();
    let left = job.steps.iter().filter(|step| !step.done).count();
    let heading = match (job.is_done, left) {
        (true, _) => format!("Done: {}", job.card.title),
        (false, 0) => job.card.title.clone(),
        (false, left) => format!("{}: {} left", job.card.title, count(left, "step", "steps")),
    };
    let page = JobPage {
        base: opened.base(),
        heading,
        hours: hours(job.card.hours),
        when,
        waits: job.card.after.iter().filter_map(|id| car.job(*id)).filter(|other| !other.is_done).collect(),
        parts: parts.collect(),
        money: money(&[job], currency),
        told: told(job, &opened.looked.zone),
        again: job.suspects_again(),
        best: best_test(&guide::current(&opened.web.house).await?, job),
        guesses: guesses.iter().filter(|guess| **guess != job.card.cause).copied().collect::<Vec<_>>().join("; "),
        ids: (0..job.steps.len() + 2 * job.parts.len() + 1).map(|_| opened.new_id()).collect(),
        new_id: opened.new_id(),
        today: opened.looked.today,
        car,
        job,
    };
    render(&page)
}

fn told(job: &Job, zone: &TimeZone) -> Vec<Told> {
    let line = |told: &crate::rules::garage::book::Told| Told {
        at: told.at.to_zoned_datetime(zone.clone()).strftime("%-d %b %Y").to_string(),
        what: told.what.word(),
        words: told.words.clone(),
    };
    job.told.iter().rev().map(line).collect()
}

/// A new step by itself: where what was typed on the job's page could not be kept.
fn step_page(looked: &Looked, job: &Job, id: Uuid) -> FormPage {
    let at = format!("{}/jobs/{}", base(looked.id), job.id);
    let blanks = vec![Blank::new("say", "What the step is", Ask::Line(120))];
    FormPage::new(format!("A step: {}", job.card.title), (at.clone(), "The job"), format!("{at}/steps"), id, blanks)
        .button("Add it")
}

/// Adds a step, or ticks one off.
pub(super) async fn step(opened: Opened, At((_, job)): At<(Uuid, Uuid)>, sent: Sent) -> Result<Response, Fault> {
    let id = sent.id;
    let (_, of) = opened.job(job)?;
    let to = format!("{}/jobs/{job}#steps", opened.base());
    if let Ok(step) = Uuid::parse_str(sent.text("step")) {
        let there = of.steps.iter().find(|one| one.id == step).ok_or(Refusal::NotHere)?;
        let done = !sent.text("done").is_empty();
        return opened.taps(&sent, Change::Step { job, step, say: there.say.clone(), done }, &to).await;
    }
    let mut reader = Reader::of(&sent.typed);
    let say = reader.line("say", 120, "Say what the step is.");
    // A new step's id is the page's: sent twice, it is one.
    let change = reader.finish(Change::Step { job, step: id, say, done: false });
    opened.settles(step_page(&opened.looked, of, id), &sent, change, &to).await
}

/// A step that was noted by mistake.
pub(super) async fn step_gone(opened: Opened, At((_, job, step)): At<(Uuid, Uuid, Uuid)>, sent: Sent) -> Result<Response, Fault> {
    opened.taps(&sent, Change::StepGone { job, step }, &format!("{}/jobs/{job}#steps", opened.base())).await
}

/// A job that was noted by mistake.
pub(super) async fn gone(opened: Opened, At((_, job)): At<(Uuid, Uuid)>, sent: Sent) -> Result<Response, Fault> {
    // The page says of which car it was: tapped twice, it is gone already.
    let car = Uuid::parse_str(sent.text("car")).map_err(|_| Refusal::NotHere)?;
    opened.taps(&sent, Change::JobGone { job }, &format!("{}/cars/{car}/jobs", opened.base())).await
}

fn done_page(looked: &Looked, job: &Job, id: Uuid) -> FormPage {
    let at = format!("{}/jobs/{}", base(looked.id), job.id);
    let left: Vec<&str> = job.steps.iter().filter(|step| !step.done).map(|step| step.say.as_str()).collect();
    let lead = if left.is_empty() { String::new() } else { format!("Steps not ticked off: {}.", left.join("; ")) };
    let blanks = vec![
        Blank::new("what", "What was done", Ask::Long(400)),
        Blank::new("shown_by", "What shows that it is mended", Ask::Line(200))
            .help("The reading after it, or the test that it passed: 10 min idle over clean cardboard, dry."),
    ];
    FormPage::new(format!("Done: {}", job.card.title), (at.clone(), "The job"), format!("{at}/done"), id, blanks)
        .lead(lead)
        .button("Close the job")
}

pub(super) async fn done(opened: Opened, At((_, job)): At<(Uuid, Uuid)>) -> Result<Response, Fault> {
    let (_, job) = opened.job(job)?;
    done_page(&opened.looked, job, opened.new_id()).show()
}

pub(super) async fn close(opened: Opened, At((_, job)): At<(Uuid, Uuid)>, sent: Sent) -> Result<Response, Fault> {
    let id = sent.id;
    let (_, of) = opened.job(job)?;
    let mut reader = Reader::of(&sent.typed);
    let what = reader.text("what", 400);
    if what.is_empty() {
        reader.trouble("what", "Say what was done: who looks at this in a year will ask.");
    }
    let shown_by = reader.line("shown_by", 200, "A repair that nothing shows is a hope: say which reading or test shows it.");
    let change = reader.finish(Change::Done { job, what, shown_by });
    opened.settles(done_page(&opened.looked, of, id), &sent, change, &format!("{}/jobs/{job}", opened.base())).await
}

fn reopen_page(looked: &Looked, job: &Job, id: Uuid) -> FormPage {
    let at = format!("{}/jobs/{}", base(looked.id), job.id);
    let guesses = job.guesses().join("; ");
    let lead = if guesses.is_empty() {
        String::new()
    } else {
        format!("Suspected so far: {guesses}. The next guess should be another, or the same with a better test.")
    };
    let blanks = vec![Blank::new("why", "What came back, and how you noticed", Ask::Long(400))];
    FormPage::new(format!("It came back: {}", job.card.title), (at.clone(), "The job"), format!("{at}/reopen"), id, blanks)
        .lead(lead)
        .button("Reopen the job")
}

pub(super) async fn came_back(opened: Opened, At((_, job)): At<(Uuid, Uuid)>) -> Result<Response, Fault> {
    let (_, job) = opened.job(job)?;
    reopen_page(&opened.looked, job, opened.new_id()).show()
}

pub(super) async fn reopen(opened: Opened, At((_, job)): At<(Uuid, Uuid)>, sent: Sent) -> Result<Response, Fault> {
    let id = sent.id;
    let (_, of) = opened.job(job)?;
    let mut reader = Reader::of(&sent.typed);
    let why = reader.text("why", 400);
    if why.is_empty() {
        reader.trouble("why", "Say what came back: it is the first thing the next test is held against.");
    }
    let change = reader.finish(Change::Reopened { job, why });
    opened.settles(reopen_page(&opened.looked, of, id), &sent, change, &format!("{}/jobs/{job}", opened.base())).await
}
