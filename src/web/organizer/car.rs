//! One car for the organizer: where it stands and on what grounds, its whole history, taking a clearance back.

use super::run;
use crate::acts::Refusal;
use crate::acts::house::KnownEvent;
use crate::acts::state::{self, EntryState};
use crate::acts::withdraw::{self, Withdrawal};
use crate::rules::judge::Finding;
use crate::rules::strip::{AreaStrip, strip};
use crate::store::history::Kind;
use crate::web::Web;
use crate::web::draw::{Mark, Plate, Strip};
use crate::web::error::Fault;
use crate::web::form::{At, Chosen, Form};
use crate::web::page::{Clock, Page, capital, id_list, render};
use crate::web::session::Who;
use crate::web::telling::{Line, answers_of, lines_of};
use askama::Template;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{Html, IntoResponse, Redirect, Response};
use uuid::Uuid;

#[derive(Template)]
#[template(path = "organizer/car.html")]
struct Car<'a> {
    known: &'a KnownEvent,
    state: &'a EntryState,
    strip: Vec<AreaStrip>,
    open: Vec<&'a Finding>,
    because: Vec<String>,
    answers: Vec<(String, Vec<Line>)>,
    history: Vec<Line>,
    new_id: Uuid,
    was_cleared: bool,
    reason: String,
    trouble: Option<String>,
}

impl Car<'_> {
    fn seen(&self) -> String {
        id_list(&self.state.judgement.heads)
    }
}

fn page<'a>(web: &Web, known: &'a KnownEvent, state: &'a EntryState) -> Car<'a> {
    let clock = Clock::of(&known.event);
    let sheet = &known.edition.sheet;
    let shown = state.shown();
    let under = format!("/club/events/{}/entries/{}", known.event.id, state.entry.id);
    Car {
        strip: shown.map(|sent| strip(sheet, &sent.answers, &sent.judged, Some(&state.judgement.still_open))).unwrap_or_default(),
        open: state.open_findings(),
        because: because(known, state, &clock),
        answers: shown.map(|sent| answers_of(sheet, sent, &under)).unwrap_or_default(),
        history: lines_of(known, state, &clock, &under),
        new_id: web.house.new_id(),
        was_cleared: state.records.iter().any(|record| record.kind == Kind::Clear),
        reason: String::new(),
        trouble: None,
        known,
        state,
    }
}

/// The rule's reasons with names in place of ids.
fn because(known: &KnownEvent, state: &EntryState, clock: &Clock) -> Vec<String> {
    use crate::rules::standing::Because::*;
    let named = |id: &Uuid| match state.records.iter().find(|record| record.id == *id) {
        Some(record) if record.kind == Kind::Submission => format!("submission {}", record.number.unwrap_or_default()),
        Some(record) => format!("the {} of {} by {}", record.kind.word(), clock.at(&record.arrived_at), record.maker.name),
        None => "a record that has not arrived".into(),
    };
    let item = |id: &crate::rules::words::ItemId| {
        known.edition.sheet.item(id.as_str()).map_or_else(|| id.to_string(), |item| item.name.clone())
    };
    let say = |reason: &crate::rules::standing::Because<Uuid>| match reason {
        NothingSent => "Nothing has been sent.".into(),
        Incomplete(id) => format!("{} does not answer all that this edition asks.", capital(&named(id))),
        OpenFinding(id, what) => format!("{}: an open finding on {}.", capital(&named(id)), item(what)),
        HoldStands(id) | WithdrawalStands(id) => format!("{} stands: no clear has seen it.", capital(&named(id))),
        TwoInForce(ids) => format!("{} submissions that do not know of each other are in force; the worse counts.", ids.len()),
        ClearDoesNotCount(id) => format!("{} does not count: its device had no right to it.", capital(&named(id))),
        ClearHasNotSeen(id, other) => format!("{} had not seen {}.", capital(&named(id)), named(other)),
        ClearWaitsFor(id) => format!("{} rests on a record that has not arrived.", capital(&named(id))),
        ClearInCircle(id) => format!("{} does not count: through others it names itself as seen.", capital(&named(id))),
        NotByHand(id, items) => {
            let names: Vec<String> = items.iter().map(item).collect();
            format!("{} lacks checks by hand that this edition asks: {}.", capital(&named(id)), names.join(", "))
        }
        Unreadable(what) => format!("Something of its history cannot be read: {what}."),
        WaitsForTheGate => "It waits for the gate.".into(),
        Cleared(_) => state
            .clearance()
            .map(|clear| format!("Cleared {} by {}.", clock.at(&clear.arrived_at), clear.maker.name))
            .unwrap_or_default(),
    };
    state.judgement.because.iter().map(say).collect()
}

pub(super) async fn show(
    State(web): State<Web>,
    Who(actor): Who,
    At((event, id)): At<(Uuid, Uuid)>,
    Chosen(units): Chosen,
) -> Page {
    let known = run(&web, &actor, event).await?;
    let state = state::read(&web.house, &known, id, &units).await?;
    render(&page(&web, &known, &state))
}

pub(super) async fn withdraw(
    State(web): State<Web>,
    Who(actor): Who,
    At((event, id)): At<(Uuid, Uuid)>,
    Chosen(units): Chosen,
    form: Form,
) -> Result<Response, Fault> {
    let known = run(&web, &actor, event).await?;
    state::read(&web.house, &known, id, &units).await?;
    let given = Withdrawal { id: form.id("id")?, seen: form.ids("seen")?, made_at: None, reason: form.text("reason").to_owned() };
    let (status, trouble) = match withdraw::withdraw(&web.house, &actor, id, given).await {
        Ok(_) => return Ok(Redirect::to(&format!("/club/events/{event}/entries/{id}")).into_response()),
        Err(Refusal::Fields(troubles)) => {
            (StatusCode::UNPROCESSABLE_ENTITY, troubles.into_iter().next().map(|trouble| trouble.message))
        }
        Err(Refusal::NotNow(words)) => (StatusCode::CONFLICT, Some(words)),
        Err(other) => return Err(other.into()),
    };
    let state = state::read(&web.house, &known, id, &units).await?;
    let page = Car { trouble, reason: form.text("reason").to_owned(), ..page(&web, &known, &state) };
    Ok((status, Html(page.render()?)).into_response())
}

pub(super) async fn photo(
    State(web): State<Web>,
    Who(actor): Who,
    At((event, entry, id)): At<(Uuid, Uuid, Uuid)>,
) -> Result<Response, Fault> {
    let known = run(&web, &actor, event).await?;
    if web.house.event_of_entry(entry).await?.event.id != known.event.id {
        return Err(Refusal::NotHere.into());
    }
    crate::web::driver::jpeg(&web, entry, id).await
}
