//! What stands between the car and the grid: the driver's first page.

use super::Mine;
use crate::acts::state::{self, word_body};
use crate::acts::two_devices::Marks;
use crate::rules::judge::Finding;
use crate::rules::sheet::Area;
use crate::rules::standing::Standing;
use crate::rules::strip::{AreaStrip, strip};
use crate::store::history::Kind;
use crate::web::Web;
use crate::web::draw::{Mark, Plate, Strip};
use crate::web::error::Fault;
use crate::web::form::{At, Chosen};
use crate::web::page::{Clock, Page, count, long_day, render, things_stand};
use crate::web::session::Who;
use askama::Template;
use axum::extract::State;
use axum::response::IntoResponse;
use uuid::Uuid;

/// A thing that stands between the car and the grid.
pub(super) struct Todo {
    /// stop, fix or hold: how it is drawn and headed.
    pub kind: &'static str,
    pub title: String,
    pub why: String,
    pub mend: Option<String>,
    pub source: Option<String>,
    /// Where it is answered again.
    pub link: Option<String>,
    /// What was photographed at the gate.
    pictures: Vec<String>,
}

/// One line of the history, for people.
pub(super) struct Told {
    pub at: String,
    pub what: String,
    pub reason: String,
}

#[derive(Template)]
#[template(path = "driver/home.html")]
struct Home<'a> {
    mine: &'a Mine,
    heading: String,
    lead: String,
    todo: Vec<Todo>,
    notes: Vec<&'a Finding>,
    areas: Vec<AreaStrip>,
    answered: usize,
    asked: usize,
    changed: usize,
    can_send: bool,
    new_id: Uuid,
    history: Vec<Told>,
    day: String,
    first_session: String,
    troubled: Vec<(String, String)>,
    /// Areas that no answer so far asks for, and the answers that would: a page without signal shows them when one is given.
    maybe: Vec<(String, String, String)>,
}

impl Home<'_> {
    /// A mark of what is typed in an area: a device that keeps its page sees by it that the page is old.
    fn mark(&self, area: &str) -> String {
        let items = self.mine.known.edition.sheet.area(area).into_iter().flat_map(|area| &area.items);
        Marks::of(items.map(|item| item.id.as_str()), &self.mine.filled.draft).short()
    }
}

pub(super) async fn home(State(web): State<Web>, Who(actor): Who, At(entry): At<Uuid>, Chosen(units): Chosen) -> Page {
    let mine = Mine::of(&web, &actor, entry, &units).await?;
    let areas = strip(&mine.known.edition.sheet, &mine.filled.answers, &mine.filled.judged, open_of(&mine).as_ref());
    let asked: usize = areas.iter().map(|area| area.ticks.len()).sum();
    let left: usize = areas.iter().map(AreaStrip::left).sum();
    let (todo, changed) = (todo(&mine), mine.changed());
    let can_send = mine.is_whole() && (changed > 0 || mine.state.in_force.len() != 1 || carried(&mine).next().is_some());
    let (heading, lead) = heading(&mine, todo.len(), left, changed, can_send);
    let group = mine.known.event.groups.iter().find(|group| group.name == mine.state.entry.group);
    render(&Home {
        heading,
        lead,
        todo,
        notes: mine.filled.judged.findings.iter().filter(|finding| !finding.severity.holds_the_car()).collect(),
        answered: asked - left,
        asked,
        changed,
        can_send,
        new_id: web.house.new_id(),
        history: history(&mine),
        day: long_day(&mine.known.event.day),
        first_session: group.map(|group| group.first_session.strftime("%H:%M").to_string()).unwrap_or_default(),
        troubled: troubled(&mine),
        maybe: maybe(&mine, &areas),
        areas,
        mine: &mine,
    })
}

/// Areas that are not asked, with what they hang on: `roof=open restraint=harness|four-strap`.
fn maybe(mine: &Mine, asked: &[AreaStrip]) -> Vec<(String, String, String)> {
    let left = mine.known.edition.sheet.areas.iter().filter(|area| asked.iter().all(|other| other.id != area.id));
    let when = |area: &Area| {
        let conditions = area.items.iter().filter_map(|item| item.when.as_ref());
        conditions.map(|when| format!("{}={}", when.item, when.is.join("|"))).collect::<Vec<_>>().join(" ")
    };
    left.map(|area| (area.id.to_string(), area.name.clone(), when(area))).collect()
}

/// Answers that cannot be read, with the area where they stand.
fn troubled(mine: &Mine) -> Vec<(String, String)> {
    let sheet = &mine.known.edition.sheet;
    let area_of = |id: &str| sheet.areas.iter().find(|area| area.items.iter().any(|item| item.id.as_str() == id));
    let items = mine.filled.troubles.keys().filter_map(|id| Some((area_of(id)?, sheet.item(id)?)));
    items.map(|(area, item)| (format!("areas/{}#{}", area.id, item.id), item.name.clone())).collect()
}

/// Findings that the gate saw put right are not open, as long as the answers are the ones it saw.
fn open_of(mine: &Mine) -> Option<std::collections::BTreeSet<crate::rules::words::ItemId>> {
    (mine.changed() == 0 && mine.state.shown().is_some()).then(|| mine.state.judgement.still_open.clone())
}

/// Findings of an earlier edition on what was sent last that this edition could not judge: they end when the driver sends anew.
fn carried(mine: &Mine) -> impl Iterator<Item = &Finding> {
    mine.state.open_findings().into_iter().filter(|finding| finding.carried_from.is_some())
}

fn todo(mine: &Mine) -> Vec<Todo> {
    let mut todo = Vec::new();
    for record in mine.state.standing_bars() {
        let words = word_body(record).unwrap_or_default();
        let reason = state::reason(record);
        let taken_back = record.kind == Kind::Withdrawal;
        let at = Clock::of(&mine.known.event).at(&record.arrived_at);
        let title = if taken_back {
            format!("Clearance taken back {at} by {}", record.maker.name)
        } else {
            format!("Held {at} by {}", record.maker.name)
        };
        let mend = Some("Put it right, then show the car at the gate again.".to_owned());
        let pictures = words.photos.iter().map(|id| format!("/my/{}/photos/{id}", mine.state.entry.id)).collect();
        todo.push(Todo { kind: "hold", title, why: reason, mend, source: None, link: None, pictures });
    }
    for finding in carried(mine) {
        todo.push(Todo {
            kind: finding.severity.word(),
            title: format!("Found by edition {} of the sheet", finding.carried_from.unwrap_or_default()),
            why: finding.why.clone(),
            mend: Some("Put it right. This edition asks it in another way: answer what is left and send again.".to_owned()),
            source: Some(finding.source.clone()),
            link: None,
            pictures: Vec::new(),
        });
    }
    let open = open_of(mine);
    let mut findings: Vec<&Finding> =
        mine.filled.judged.holding().filter(|finding| open.as_ref().is_none_or(|open| open.contains(&finding.item))).collect();
    findings.sort_by_key(|finding| std::cmp::Reverse(finding.severity));
    for finding in findings {
        let sheet = &mine.known.edition.sheet;
        let area = sheet.areas.iter().find(|area| area.items.iter().any(|item| item.id == finding.item));
        todo.push(Todo {
            kind: finding.severity.word(),
            title: if finding.severity.word() == "stop" { "Stop".into() } else { "Fix".into() },
            why: finding.why.clone(),
            mend: finding.mend.clone(),
            source: Some(finding.source.clone()),
            link: area.map(|area| format!("areas/{}#{}", area.id, finding.item)),
            pictures: Vec::new(),
        });
    }
    todo
}

/// The state, said as a person would: never "Inspection status".
fn heading(mine: &Mine, todo: usize, left: usize, changed: usize, can_send: bool) -> (String, String) {
    let sent = mine.state.shown();
    let cleared = mine.state.standing() == Standing::Cleared;
    if cleared && changed == 0 {
        let group = &mine.state.entry.group;
        return (
            format!("Cleared for group {group}"),
            "Anything that changes on the car from here on, tell an inspector first.".into(),
        );
    }
    if todo > 0 {
        let lead = match (sent.is_some(), can_send) {
            (_, true) if changed > 0 => "What is open goes to the gate with your sheet: an inspector can see it put right.",
            (true, _) => "Mend, answer again, send again: only what changed.",
            _ => "Mend and answer again, or go on with the sheet.",
        };
        return (format!("{} between you and the grid", things_stand(todo)), lead.into());
    }
    if left > 0 {
        let lead = if sent.is_some() {
            "The sheet asks for more than you have sent."
        } else {
            "Go area by area, at the car, with a torch and a gauge. Every answer is kept as you go."
        };
        return (format!("{} to look at", count(left, "thing is left", "things are left")), lead.into());
    }
    let unread = mine.filled.troubles.len();
    if unread > 0 {
        let heading = format!("{} cannot be read yet", count(unread, "answer", "answers"));
        return (heading, "Nothing of it is sent. What you typed is kept: put it right below.".into());
    }
    if can_send {
        return ("Everything is answered: send it to the gate".into(), "An inspector sees it the moment you send.".into());
    }
    ("Sent: show the car at the gate".into(), "Open the bonnet, have helmet and belts at hand.".into())
}

fn history(mine: &Mine) -> Vec<Told> {
    let clock = Clock::of(&mine.known.event);
    let mut told: Vec<Told> = Vec::new();
    for record in mine.state.records.iter().rev() {
        let what = match record.kind {
            Kind::Submission => format!("Sent, submission {}", record.number.unwrap_or_default()),
            Kind::Clear => format!("Cleared by {}", record.maker.name),
            Kind::Hold => format!("Held by {}", record.maker.name),
            Kind::Withdrawal => format!("Clearance taken back by {}", record.maker.name),
        };
        let reason = if record.kind == Kind::Submission { String::new() } else { state::reason(record) };
        told.push(Told { at: clock.at(&record.arrived_at), what, reason });
    }
    told
}

/// Hears when somebody signs this car off.
pub(super) async fn live(State(web): State<Web>, Who(actor): Who, At(entry): At<Uuid>) -> Result<impl IntoResponse, Fault> {
    let known = web.house.event_of_entry(entry).await?;
    let whose = crate::acts::rights::Whose::Entry { event: known.event.id, entry };
    crate::acts::rights::require(&actor, crate::acts::rights::Deed::FillIn, whose)?;
    crate::web::live::changes(&web, &actor, known.event.id, Some(entry))
}
