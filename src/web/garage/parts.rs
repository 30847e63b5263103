//! A job's parts: what is needed, at what price, how long it takes to come, where it stands.

use super::base;
use super::blanks::{Ask, Blank, FormPage, choices};
use super::opened::{Opened, Sent};
use crate::acts::Refusal;
use crate::acts::garage::look::Looked;
use crate::rules::answer::{Trouble, Typed};
use crate::rules::garage::book::{Job, Part};
use crate::rules::garage::change::{Change, PartState};
use crate::rules::garage::log::days_later;
use crate::rules::garage::typed::{Reader, say_price};
use crate::web::error::Fault;
use crate::web::form::At;
use axum::response::Response;
use jiff::civil::Date;
use uuid::Uuid;

/// The word of a part's state.
pub(super) fn state_word(is: PartState) -> &'static str {
    match is {
        PartState::ToOrder => "to-order",
        PartState::Ordered { .. } => "ordered",
        PartState::Here => "here",
    }
}

fn page(looked: &Looked, job: &Job, part: Option<&Part>, id: Uuid) -> FormPage {
    let at = format!("{}/jobs/{}", base(looked.id), job.id);
    let price = part.and_then(|part| part.price_cents).map(|cents| say_price(cents, "")).unwrap_or_default();
    let here_on = match part.map(|part| part.is) {
        Some(PartState::Ordered { here_on }) => here_on.to_string(),
        _ => String::new(),
    };
    let states = choices([("to-order", "To order"), ("ordered", "Ordered"), ("here", "Here")]);
    let blanks = vec![
        Blank::new("name", "What is needed", Ask::Line(80))
            .help("With its number, where you know it.")
            .value(part.map(|part| part.name.clone()).unwrap_or_default()),
        Blank::new("price", "Price", Ask::Number).half().unit(&looked.garage.settings.currency).value(price),
        Blank::new("lead", "Days from order to here", Ask::Number)
            .half()
            .unit("days")
            .value(part.map(|part| part.lead_days.to_string()).unwrap_or_default()),
        Blank::new("is", "Where it stands", Ask::Taps(states)).value(part.map_or("to-order", |part| state_word(part.is))),
        Blank::new("here_on", "Expected on", Ask::Day)
            .help("For what is ordered. Left empty: the days from today.")
            .value(here_on),
    ];
    let action = part.map_or_else(|| format!("{at}/parts"), |part| format!("{at}/parts/{}", part.id));
    FormPage::new("A part", (at, "The job"), action, id, blanks)
        .lead("Days as the seller says them, weekends and post with them.")
}

fn read(typed: &Typed, job: Uuid, part: Uuid, today: Date) -> Result<Change, Vec<Trouble>> {
    let mut reader = Reader::of(typed);
    let name = reader.line("name", 80, "Say what is needed.");
    let price_cents = reader.price("price");
    let lead_days = reader.whole("lead", 0..=365, "days");
    let is = match reader.raw("is") {
        "here" => PartState::Here,
        "ordered" if reader.raw("here_on").is_empty() => PartState::Ordered { here_on: days_later(today, lead_days.into()) },
        "ordered" => PartState::Ordered { here_on: reader.day("here_on", days_later(today, -400)..=days_later(today, 400)) },
        "" | "to-order" => PartState::ToOrder,
        _ => {
            reader.trouble("is", "Choose one of the answers listed.");
            PartState::ToOrder
        }
    };
    reader.finish(Change::Part { job, part, name, price_cents, lead_days, is })
}

fn job_of(looked: &Looked, job: Uuid) -> Result<&Job, Refusal> {
    looked.garage.job(job).map(|(_, job)| job).ok_or(Refusal::NotHere)
}

fn part_of(job: &Job, part: Uuid) -> Result<&Part, Refusal> {
    job.parts.iter().find(|other| other.id == part).ok_or(Refusal::NotHere)
}

pub(super) async fn new(opened: Opened, At((_, job)): At<(Uuid, Uuid)>) -> Result<Response, Fault> {
    page(&opened.looked, job_of(&opened.looked, job)?, None, opened.new_id()).show()
}

/// The page's id is the part's: sent twice, it is one.
pub(super) async fn add(opened: Opened, At((_, job)): At<(Uuid, Uuid)>, sent: Sent) -> Result<Response, Fault> {
    let id = sent.id;
    let change = read(&sent.typed, job, id, opened.looked.today);
    let page = page(&opened.looked, job_of(&opened.looked, job)?, None, id);
    opened.settles(page, &sent, change, &format!("{}/jobs/{job}", opened.base())).await
}

pub(super) async fn show(opened: Opened, At((_, job, part)): At<(Uuid, Uuid, Uuid)>) -> Result<Response, Fault> {
    let job = job_of(&opened.looked, job)?;
    page(&opened.looked, job, Some(part_of(job, part)?), opened.new_id()).show()
}

pub(super) async fn keep(opened: Opened, At((_, job, part)): At<(Uuid, Uuid, Uuid)>, sent: Sent) -> Result<Response, Fault> {
    let id = sent.id;
    let of = job_of(&opened.looked, job)?;
    let change = read(&sent.typed, job, part, opened.looked.today);
    let page = page(&opened.looked, of, Some(part_of(of, part)?), id);
    opened.settles(page, &sent, change, &format!("{}/jobs/{job}", opened.base())).await
}

/// One tap: ordered today, or here.
pub(super) async fn state(opened: Opened, At((_, job, part)): At<(Uuid, Uuid, Uuid)>, sent: Sent) -> Result<Response, Fault> {
    let Part { name, price_cents, lead_days, .. } = part_of(job_of(&opened.looked, job)?, part)?.clone();
    let is = match sent.text("is") {
        "here" => PartState::Here,
        "ordered" => PartState::Ordered { here_on: days_later(opened.looked.today, lead_days.into()) },
        _ => PartState::ToOrder,
    };
    let change = Change::Part { job, part, name, price_cents, lead_days, is };
    opened.taps(&sent, change, &format!("{}/jobs/{job}", opened.base())).await
}

pub(super) async fn gone(opened: Opened, At((_, job, part)): At<(Uuid, Uuid, Uuid)>, sent: Sent) -> Result<Response, Fault> {
    opened.taps(&sent, Change::PartGone { job, part }, &format!("{}/jobs/{job}", opened.base())).await
}
