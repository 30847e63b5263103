//! A day the car is meant to go out: whether it will be ready, what to pack, how long it is.

use super::base;
use super::blanks::{Ask, Blank, FormPage};
use super::jobs::{Listed, Money, chain, in_turn, money, time_left, why_late};
use super::opened::{Opened, Sent};
use crate::acts::garage::guide;
use crate::acts::garage::look::Looked;
use crate::acts::garage::open::{SESSION_MIN, SESSIONS};
use crate::rules::answer::{Trouble, Typed};
use crate::rules::car_system::CarSystem;
use crate::rules::garage::book::{Car, Happened, TrackDay};
use crate::rules::garage::change::Change;
use crate::rules::garage::log::days_later;
use crate::rules::garage::ready::{Ready, Stand, To};
use crate::rules::garage::typed::Reader;
use crate::rules::packing::{PackKind, PackLine};
use crate::rules::words::Severity;
use crate::web::error::Fault;
use crate::web::form::{At, Form};
use crate::web::page::{Page, count, long_day, render};
use askama::Template;
use axum::response::{IntoResponse, Redirect, Response};
use jiff::civil::Date;
use std::collections::BTreeSet;
use uuid::Uuid;

/// Jobs that were done so lately that their tools go along: what was mended last gives way first. Common practice, no source.
const LATELY_DAYS: i64 = 60;

/// One thing that stands between the car and the day.
struct StandView {
    weight: &'static str,
    words: String,
    /// Where it is put right, and what the link says.
    to: (String, &'static str),
    job: Option<String>,
}

/// Things to pack of one sort.
struct Packing {
    title: &'static str,
    lines: Vec<(PackLine, bool)>,
}

#[derive(Template)]
#[template(path = "garage/ready.html")]
struct ReadyPage<'a> {
    base: String,
    car: &'a Car,
    day: &'a TrackDay,
    class: &'static str,
    heading: String,
    lead: String,
    countdown: String,
    long_day: String,
    stands: Vec<StandView>,
    notes: Vec<StandView>,
    planned: Vec<Listed>,
    chain: Option<String>,
    money: Option<Money>,
    packing: Vec<Packing>,
    to_pack: usize,
    is_over: bool,
    new_id: Uuid,
}

/// The state in one line, as plainly not ready as ready.
pub(super) fn heading(ready: &Ready<'_>, day: &TrackDay) -> (&'static str, String, String) {
    if ready.days_left < 0 {
        let lead = "Note the time on track and what you measure now: the next forecast is made of it.";
        return ("pending", format!("{} is over", day.name), lead.into());
    }
    if ready.is_ready() {
        let lead = "Nothing that you noted stands in the way. It is no clearance: the gate looks for itself.";
        return ("cleared", "Ready to load".into(), lead.into());
    }
    if !ready.is_in_time() {
        let lead = format!("{} Order sooner, find hours or help, or do not go.", why_late(&ready.work, day));
        return ("flagged", "Not ready, and it will not be in time".into(), lead);
    }
    let stand = count(ready.holding(), "thing stands", "things stand");
    let lead =
        if ready.work.jobs.is_empty() { String::new() } else { format!("In time as it stands: {}", time_left(&ready.work, day)) };
    ("pending", format!("Not ready yet: {stand} in the way"), lead)
}

/// "In 9 days".
pub(super) fn countdown(days: i64) -> String {
    match days {
        0 => "Today".into(),
        1 => "Tomorrow".into(),
        days if days > 0 => format!("In {days} days"),
        days => format!("{} ago", count(days.unsigned_abs() as usize, "day", "days")),
    }
}

fn stand_view(looked: &Looked, car: &Car, day: &TrackDay, stand: &Stand) -> StandView {
    let at = format!("{}/cars/{}", base(looked.id), car.id);
    let sheet = |item: Option<&str>| {
        let one = looked.sheet_of(day.entry?)?;
        let sheet = format!("{}/sheets/{}", base(looked.id), one.state.entry.id);
        let areas = &one.known.edition.sheet.areas;
        let area = item.and_then(|item| areas.iter().find(|area| area.items.iter().any(|other| other.id.as_str() == item)));
        let at = area.map(|area| format!("?area={}&item={}", area.id, item.unwrap_or_default()));
        Some(sheet + &at.unwrap_or_default())
    };
    let to = match stand.to {
        To::Job(job) => (format!("{}/jobs/{job}", base(looked.id)), "The job"),
        To::Gear(gear) => (format!("{}/gear/{gear}", base(looked.id)), "The label"),
        To::Wear => (format!("{at}/wear"), "See the wear"),
        To::Log => (format!("{at}/fluids"), "Note a change"),
        To::Facts => (format!("{at}/facts"), "About the car"),
        To::Sheet => (sheet(stand.item.as_deref()).unwrap_or_else(|| at.clone()), "The sheet"),
        To::Jobs => (format!("{at}/jobs"), "The jobs"),
    };
    StandView { weight: stand.weight.word(), words: stand.words.clone(), to, job: job_of(looked, car, day, stand) }
}

/// Where a finding of the sheet becomes a job.
fn job_of(looked: &Looked, car: &Car, day: &TrackDay, stand: &Stand) -> Option<String> {
    let item = stand.item.as_deref()?;
    let one = looked.sheet_of(day.entry?)?;
    let sheet = &one.known.edition.sheet;
    let asked = sheet.item(item)?;
    let area = sheet.areas.iter().find(|area| area.items.iter().any(|other| other.id == asked.id))?;
    let system = match (area.id.as_str(), item) {
        (_, "coolant-leak") => CarSystem::Cooling,
        (_, "fuel-leak") => CarSystem::Fuel,
        (_, "gearbox-leak") => CarSystem::Drive,
        ("wheels" | "tyres", _) => CarSystem::Wheels,
        ("battery", _) => CarSystem::Electrics,
        ("open-car", _) => CarSystem::Body,
        (area, _) => CarSystem::parse(area).unwrap_or(CarSystem::Body),
    };
    let found = format!("{}: {}", day.name, stand.words);
    let query = form_urlencoded::Serializer::new(String::new())
        .append_pair("title", &asked.name)
        .append_pair("system", system.token())
        .append_pair("found", &found)
        .append_pair("item", item)
        .finish();
    Some(format!("{}/cars/{}/jobs/new?{query}", base(looked.id), car.id))
}

/// The systems whose tools go along: of open jobs, and of what was mended lately.
fn systems(car: &Car, looked: &Looked) -> BTreeSet<CarSystem> {
    let since = days_later(looked.today, -LATELY_DAYS);
    let lately = |job: &&crate::rules::garage::book::Job| {
        !job.is_done
            || job
                .told
                .iter()
                .any(|told| told.what == Happened::Done && told.at.to_zoned_datetime(looked.zone.clone()).date() >= since)
    };
    car.jobs.iter().filter(lately).map(|job| job.card.system).collect()
}

pub(super) async fn show(opened: Opened, At((_, car, day)): At<(Uuid, Uuid, Uuid)>) -> Page {
    let (car, day) = opened.day(car, day)?;
    let ready = opened.looked.ready_for(car, day, &opened.units)?;
    let (class, heading, lead) = heading(&ready, day);
    let view = |stand: &&Stand| stand_view(&opened.looked, car, day, stand);
    let holds = |stand: &&Stand| stand.weight != Severity::Note;
    let all: Vec<&Stand> = ready.stands.iter().collect();
    // Jobs are listed with their dates below: told once.
    let is_job = |stand: &&Stand| matches!(stand.to, To::Job(_));
    let packing = packing(car, day, &opened.looked);
    let jobs: Vec<_> = ready.work.jobs.clone();
    render(&ReadyPage {
        base: opened.base(),
        class,
        heading,
        lead,
        countdown: countdown(ready.days_left),
        long_day: long_day(&day.day),
        stands: all.iter().filter(|stand| holds(stand) && !is_job(stand)).map(view).collect(),
        notes: all.iter().filter(|stand| !holds(stand)).map(view).collect(),
        planned: in_turn(car, &ready.work),
        chain: (jobs.len() > 1).then(|| chain(&ready.work)).flatten(),
        money: money(&jobs, &opened.looked.garage.settings.currency),
        to_pack: packing.iter().flat_map(|part| &part.lines).filter(|(_, packed)| !packed).count(),
        packing,
        is_over: ready.days_left < 0,
        new_id: opened.new_id(),
        car,
        day,
    })
}

fn packing(car: &Car, day: &TrackDay, looked: &Looked) -> Vec<Packing> {
    let lines = guide::packing().map(|list| list.list(&systems(car, looked))).unwrap_or_default();
    let of = |kind: PackKind, title| Packing {
        title,
        lines: lines
            .iter()
            .filter(|line| line.kind == kind)
            .map(|line| (line.clone(), day.packed.contains(line.id.as_str())))
            .collect(),
    };
    vec![of(PackKind::Personal, "For you"), of(PackKind::Tool, "Tools"), of(PackKind::Spare, "Spares and fluids")]
}

/// The whole list as it was ticked: what is not ticked is not packed.
pub(super) async fn packed(
    opened: Opened,
    At((_, car, track_day)): At<(Uuid, Uuid, Uuid)>,
    form: Form,
) -> Result<Response, Fault> {
    let (on, day) = opened.day(car, track_day)?;
    let ticked = form.ticked("pack.");
    let changes = packing(on, day, &opened.looked).into_iter().flat_map(|part| part.lines).filter_map(|(line, was)| {
        let packed = ticked.contains(line.id.as_str());
        (packed != was).then(|| (opened.new_id(), Change::Packed { track_day, thing: line.id.to_string(), packed }))
    });
    opened.notes(changes.collect()).await?;
    Ok(Redirect::to(&format!("{}/cars/{car}/days/{track_day}#pack", opened.base())).into_response())
}

fn plan_page(looked: &Looked, car: &Car, day: Option<&TrackDay>, id: Uuid) -> FormPage {
    let at = format!("{}/cars/{}", base(looked.id), car.id);
    let is_of_club = day.is_some_and(|day| day.entry.is_some());
    let mut blanks = Vec::new();
    if !is_of_club {
        blanks.push(Blank::new("name", "Which day", Ask::Line(80)).value(day.map(|day| day.name.clone()).unwrap_or_default()));
        blanks.push(Blank::new("day", "Date", Ask::Day).half().value(day.map(|day| day.day.to_string()).unwrap_or_default()));
    }
    blanks.push(
        Blank::new("sessions", "Sessions you plan to drive", Ask::Number)
            .half()
            .value(day.map_or(SESSIONS, |day| day.sessions).to_string()),
    );
    blanks.push(
        Blank::new("session_min", "Minutes a session", Ask::Number)
            .half()
            .unit("min")
            .value(day.map_or(SESSION_MIN, |day| day.session_min).to_string()),
    );
    let (action, back) = match day {
        Some(day) => (format!("{at}/days/{}/plan", day.id), (format!("{at}/days/{}", day.id), "The day")),
        None => (format!("{at}/days"), (at, "The car")),
    };
    let title = day.map_or_else(|| "Plan a day".to_owned(), |day| day.name.clone());
    let lead = "Jobs, wear and gear are held against it. An event of the club comes by itself when you bring its sheet.";
    FormPage::new(title, back, action, id, blanks).lead(lead)
}

fn read_plan(typed: &Typed, there: Option<&TrackDay>, today: Date) -> Result<(String, Date, u16, f64), Vec<Trouble>> {
    let mut reader = Reader::of(typed);
    let (name, day) = match there.filter(|day| day.entry.is_some()) {
        Some(day) => (day.name.clone(), day.day),
        None => (
            reader.line("name", 80, "Give the day a name: where it is, or who holds it."),
            reader.day("day", days_later(today, -3650)..=days_later(today, 1100)),
        ),
    };
    let sessions = reader.whole("sessions", 1..=60, "");
    let session_min = reader.must_number("session_min", 1.0..=600.0, "min");
    reader.finish((name, day, sessions, session_min))
}

pub(super) async fn new(opened: Opened, At((_, car)): At<(Uuid, Uuid)>) -> Result<Response, Fault> {
    plan_page(&opened.looked, opened.car(car)?, None, opened.new_id()).show()
}

/// The page's id is the day's: sent twice, it is one.
pub(super) async fn add(opened: Opened, At((_, car)): At<(Uuid, Uuid)>, sent: Sent) -> Result<Response, Fault> {
    let id = sent.id;
    let change = read_plan(&sent.typed, None, opened.looked.today).map(|(name, day, sessions, session_min)| Change::Day {
        track_day: id,
        car,
        name,
        day,
        sessions,
        session_min,
        entry: None,
    });
    let page = plan_page(&opened.looked, opened.car(car)?, None, id);
    opened.settles(page, &sent, change, &format!("{}/cars/{car}/days/{id}", opened.base())).await
}

pub(super) async fn plan(opened: Opened, At((_, car, day)): At<(Uuid, Uuid, Uuid)>) -> Result<Response, Fault> {
    let (car, day) = opened.day(car, day)?;
    plan_page(&opened.looked, car, Some(day), opened.new_id()).show()
}

pub(super) async fn keep_plan(
    opened: Opened,
    At((_, car, track_day)): At<(Uuid, Uuid, Uuid)>,
    sent: Sent,
) -> Result<Response, Fault> {
    let id = sent.id;
    let (on, there) = opened.day(car, track_day)?;
    let entry = there.entry;
    let change = read_plan(&sent.typed, Some(there), opened.looked.today).map(|(name, day, sessions, session_min)| Change::Day {
        track_day,
        car,
        name,
        day,
        sessions,
        session_min,
        entry,
    });
    let page = plan_page(&opened.looked, on, Some(there), id);
    opened.settles(page, &sent, change, &format!("{}/cars/{car}/days/{track_day}", opened.base())).await
}

pub(super) async fn gone(opened: Opened, At((_, car, track_day)): At<(Uuid, Uuid, Uuid)>, sent: Sent) -> Result<Response, Fault> {
    opened.taps(&sent, Change::DayGone { track_day }, &format!("{}/cars/{car}", opened.base())).await
}
