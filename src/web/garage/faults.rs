//! Finding a fault by elimination: the causes that are left, and the test that tells most for its time.

use super::opened::{Opened, Sent};
use crate::acts::Refusal;
use crate::acts::garage::guide;
use crate::rules::fault_guide::{Excluded, Guide, Narrowed, Symptom, narrow};
use crate::rules::garage::book::{Car, Job};
use crate::rules::garage::change::Change;
use crate::rules::words::ItemId;
use crate::web::error::Fault;
use crate::web::form::At;
use crate::web::page::{Page, render};
use askama::Template;
use axum::response::Response;
use uuid::Uuid;

#[derive(Template)]
#[template(path = "garage/faults.html")]
struct ListPage<'a> {
    base: String,
    car: &'a Car,
    guide: &'a Guide,
}

impl ListPage<'_> {
    /// Where a symptom becomes a job.
    fn job(&self, symptom: &Symptom) -> String {
        let query = form_urlencoded::Serializer::new(String::new())
            .append_pair("title", &symptom.ask)
            .append_pair("system", symptom.system.token())
            .append_pair("symptom", symptom.id.as_str())
            .append_pair("hours", "1")
            .finish();
        format!("{}/cars/{}/jobs/new?{query}", self.base, self.car.id)
    }
}

/// The symptoms of the guide: each becomes a job, and the job leads through its tests.
pub(super) async fn list(opened: Opened, At((_, car)): At<(Uuid, Uuid)>) -> Page {
    let guide = guide::current(&opened.web.house).await?;
    render(&ListPage { base: opened.base(), car: opened.car(car)?, guide: &guide })
}

#[derive(Template)]
#[template(path = "garage/fault.html")]
struct FaultPage<'a> {
    base: String,
    job: &'a Job,
    symptom: &'a Symptom,
    narrowed: Narrowed<'a>,
    /// What was tried before the symptom came back: told, and not counted.
    before: Vec<&'a str>,
    new_id: Uuid,
}

impl FaultPage<'_> {
    fn by(&self, excluded: &Excluded<'_>) -> String {
        excluded.by.iter().map(|made| made.outcome.say.clone()).collect::<Vec<_>>().join("; ")
    }
}

/// The tests that count for a job: those since its symptom last came back.
fn tried(job: &Job) -> Vec<(ItemId, ItemId)> {
    let now = job.tried.iter().filter(|tried| !tried.before_reopening);
    now.filter_map(|tried| Some((ItemId::parse(&tried.test)?, ItemId::parse(&tried.outcome)?))).collect()
}

fn symptom_of<'g>(guide: &'g Guide, job: &Job) -> Result<&'g Symptom, Refusal> {
    let none = || Refusal::NotNow("The fault guide has no such symptom any more: choose another on the job's card.".into());
    job.card.symptom.as_deref().and_then(|id| guide.symptom(id)).ok_or_else(none)
}

/// The test that tells most now, with its minutes, where the job has a symptom of the guide.
pub(super) fn best_test(guide: &Guide, job: &Job) -> Option<String> {
    let symptom = symptom_of(guide, job).ok()?;
    let narrowed = narrow(symptom, &tried(job));
    let next = narrowed.next.first()?;
    Some(format!("{} ({} min, can rule out up to {} of {})", next.test.how, next.test.minutes, next.most, next.of))
}

pub(super) async fn show(opened: Opened, At((_, job)): At<(Uuid, Uuid)>) -> Page {
    let (_, job) = opened.job(job)?;
    let guide = guide::current(&opened.web.house).await?;
    let symptom = symptom_of(&guide, job)?;
    render(&FaultPage {
        base: opened.base(),
        narrowed: narrow(symptom, &tried(job)),
        before: job.tried.iter().filter(|tried| tried.before_reopening).map(|tried| tried.said.as_str()).collect(),
        new_id: opened.new_id(),
        job,
        symptom,
    })
}

/// A test was made: its outcome is noted on the job, in the guide's words.
pub(super) async fn tried_one(opened: Opened, At((_, id)): At<(Uuid, Uuid)>, sent: Sent) -> Result<Response, Fault> {
    let (_, job) = opened.job(id)?;
    let guide = guide::current(&opened.web.house).await?;
    let symptom = symptom_of(&guide, job)?;
    let (test, outcome) = sent.text("outcome").split_once('/').unwrap_or_default();
    let test = symptom.test(test).ok_or(Refusal::NotHere)?;
    // An answer that the guide does not know takes back the one before it.
    let (outcome, said) = match outcome {
        "" => (String::new(), format!("Taken back: {}", test.how)),
        given => {
            let outcome = test.outcome(given).ok_or(Refusal::NotHere)?;
            (outcome.id.to_string(), format!("{} {}", test.how, outcome.say))
        }
    };
    let change = Change::Tried { job: id, test: test.id.to_string(), outcome, said };
    opened.taps(&sent, change, &format!("{}/jobs/{id}/fault", opened.base())).await
}
