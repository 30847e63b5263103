//! The head of a job's card: what, on which system, how it was found, what is suspected, hours, what it waits for.

use super::base;
use super::blanks::{Ask, Blank, FormPage, choices};
use super::opened::{Opened, Sent};
use crate::acts::garage::guide;
use crate::acts::garage::look::Looked;
use crate::rules::answer::{Trouble, Typed};
use crate::rules::car_system::CarSystem;
use crate::rules::fault_guide::Guide;
use crate::rules::garage::book::{Car, Job};
use crate::rules::garage::change::{Change, JobCard};
use crate::rules::garage::typed::Reader;
use crate::web::error::Fault;
use crate::web::form::{Asked, At};
use axum::response::Response;
use uuid::Uuid;

/// The longest of a card's texts, in characters.
const LONGEST: usize = 300;

fn blanks(car: &Car, guide: &Guide, this: Option<Uuid>, card: Option<&JobCard>) -> Vec<Blank> {
    let text = |of: fn(&JobCard) -> &str| card.map(of).unwrap_or_default().to_owned();
    let systems = choices(CarSystem::ALL.map(|system| (system.token(), system.name())));
    let symptoms = std::iter::once((String::new(), "None of these".to_owned()))
        .chain(guide.symptoms().iter().map(|symptom| (symptom.id.to_string(), symptom.ask.clone())));
    let mut blanks = vec![
        Blank::new("title", "What has to be done", Ask::Line(80)).value(text(|card| &card.title)),
        Blank::new("system", "On which system", Ask::List(systems)).value(card.map_or("engine", |card| card.system.token())),
        Blank::new("found", "How it was found", Ask::Long(LONGEST))
            .help("What you saw, heard or measured, and when.")
            .value(text(|card| &card.found)),
        Blank::new("symptom", "A symptom of the fault guide", Ask::List(choices(symptoms)))
            .help("The guide then says which tests tell the causes apart.")
            .value(card.and_then(|card| card.symptom.clone()).unwrap_or_default()),
        Blank::new("cause", "Suspected cause", Ask::Line(120)).value(text(|card| &card.cause)),
        Blank::new("next_test", "The test that would tell", Ask::Line(120)).value(text(|card| &card.next_test)),
        Blank::new("hours", "Hours of work left", Ask::Number)
            .half()
            .unit("h")
            .value(card.map(|card| card.hours.to_string()).unwrap_or_default()),
        Blank::new("must", "The car stays in the garage until it is done", Ask::Tick)
            .value(if card.is_none_or(|card| card.must) { "1" } else { "" }),
    ];
    let others: Vec<&Job> = car.open_jobs().filter(|job| Some(job.id) != this).collect();
    if !others.is_empty() {
        blanks.push(Blank::new("", "It has to wait for", Ask::Head));
        blanks.extend(others.iter().map(|job| {
            let is_waited_for = card.is_some_and(|card| card.after.contains(&job.id));
            Blank::new(format!("after.{}", job.id), &job.card.title, Ask::Tick).value(if is_waited_for { "1" } else { "" })
        }));
    }
    blanks.push(Blank::new("item", "", Ask::Hidden).value(card.and_then(|card| card.item.clone()).unwrap_or_default()));
    blanks
}

fn read(typed: &Typed, guide: &Guide) -> Result<JobCard, Vec<Trouble>> {
    let mut reader = Reader::of(typed);
    let title = reader.line("title", 80, "Say in a few words what has to be done.");
    let system = reader.choice("system", CarSystem::parse);
    let (found, cause) = (reader.text("found", LONGEST), reader.text("cause", 120));
    let next_test = reader.text("next_test", 120);
    let hours = reader.must_number("hours", 0.0..=400.0, "h");
    let symptom = Some(reader.raw("symptom").to_owned()).filter(|id| !id.is_empty());
    if symptom.as_deref().is_some_and(|id| guide.symptom(id).is_none()) {
        reader.trouble("symptom", "The fault guide has no such symptom, or no more: choose another, or none.");
    }
    let item = Some(reader.raw("item").to_owned()).filter(|item| !item.is_empty() && item.len() <= 40);
    let after = typed.keys().filter_map(|name| Uuid::parse_str(name.strip_prefix("after.")?).ok()).collect();
    let must = reader.ticked("must");
    reader.finish(()).and_then(|()| {
        let system = system.ok_or_else(Vec::new)?;
        Ok(JobCard { title, system, found, cause, next_test, hours, must, after, symptom, item })
    })
}

fn new_page(looked: &Looked, car: &Car, guide: &Guide, id: Uuid) -> FormPage {
    let at = format!("{}/cars/{}/jobs", base(looked.id), car.id);
    FormPage::new("A job", (at.clone(), "Jobs"), at, id, blanks(car, guide, None, None))
        .lead("One fault, one job. Parts, steps and tests follow on its card.")
        .button("Put it on the list")
}

/// A new card. What the address names is filled in: a finding or a worn part becomes a job with a tap.
pub(super) async fn new(opened: Opened, At((_, car)): At<(Uuid, Uuid)>, Asked(form): Asked) -> Result<Response, Fault> {
    let guide = guide::current(&opened.web.house).await?;
    let mut page = new_page(&opened.looked, opened.car(car)?, &guide, opened.new_id());
    for blank in &mut page.blanks {
        let given = form.text(&blank.name);
        if !given.is_empty() {
            blank.value = given.chars().take(LONGEST).collect();
        }
    }
    page.show()
}

/// The page's id is the job's: sent twice, it is one job.
pub(super) async fn add(opened: Opened, At((_, car)): At<(Uuid, Uuid)>, sent: Sent) -> Result<Response, Fault> {
    let id = sent.id;
    let guide = guide::current(&opened.web.house).await?;
    let change = read(&sent.typed, &guide).map(|card| Change::Job { job: id, car, card });
    let page = new_page(&opened.looked, opened.car(car)?, &guide, id);
    opened.settles(page, &sent, change, &format!("{}/jobs/{id}", opened.base())).await
}

fn card_page(looked: &Looked, (car, job): (&Car, &Job), guide: &Guide, id: Uuid) -> FormPage {
    let at = format!("{}/jobs/{}", base(looked.id), job.id);
    FormPage::new(
        "The card",
        (at.clone(), "The job"),
        format!("{at}/card"),
        id,
        blanks(car, guide, Some(job.id), Some(&job.card)),
    )
}

pub(super) async fn show(opened: Opened, At((_, job)): At<(Uuid, Uuid)>) -> Result<Response, Fault> {
    let found = opened.job(job)?;
    card_page(&opened.looked, found, &guide::current(&opened.web.house).await?, opened.new_id()).show()
}

pub(super) async fn keep(opened: Opened, At((_, job)): At<(Uuid, Uuid)>, sent: Sent) -> Result<Response, Fault> {
    let id = sent.id;
    let guide = guide::current(&opened.web.house).await?;
    let found = opened.job(job)?;
    let change = read(&sent.typed, &guide).map(|card| Change::Job { job, car: found.0.id, card });
    let page = card_page(&opened.looked, found, &guide, id);
    opened.settles(page, &sent, change, &format!("{}/jobs/{job}", opened.base())).await
}
