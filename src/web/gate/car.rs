//! One car at the gate: what matters first, then clear or hold.

use super::open_items::{ClosingTyped, OpenItem, open_items, sign_off_of};
use super::{at_the_gate, meanwhile};
use crate::acts::Refusal;
use crate::acts::gate_photo;
use crate::acts::house::KnownEvent;
use crate::acts::refusal::field;
use crate::acts::rights::{Actor, Admission};
use crate::acts::sign_off::{self, by_hand};
use crate::acts::state::{self, EntryState};
use crate::rules::answer::Trouble;
use crate::rules::judge::{Finding, Reading, nearest_first};
use crate::rules::sheet::Item;
use crate::rules::standing::Standing;
use crate::rules::strip::{AreaStrip, strip};
use crate::rules::units::Units;
use crate::store::history::{Kind, Record};
use crate::web::Web;
use crate::web::draw::{Mark, Plate, Scale, Strip};
use crate::web::error::{Fault, asks_for_json};
use crate::web::form::{At, Chosen, Form};
use crate::web::page::{Clock, Page, count, id_list, render};
use crate::web::session::Who;
use crate::web::telling::{Line, answers_of, lines_of};
use crate::web::upload::{self, Part};
use askama::Template;
use axum::Json;
use axum::extract::multipart::MultipartRejection;
use axum::extract::{Multipart, State};
use axum::http::{HeaderMap, StatusCode};
use axum::response::{Html, IntoResponse, Redirect, Response};
use std::collections::BTreeSet;
use uuid::Uuid;

/// How many readings are shown before all answers are.
const NEAREST: usize = 5;

/// What the inspector ticked and typed, kept when the page comes back.
#[derive(Default)]
struct Typed {
    closing: ClosingTyped,
    by_hand: BTreeSet<String>,
    reason: String,
    troubles: Vec<Trouble>,
    /// Why the page came back.
    message: Option<String>,
}

#[derive(Template)]
#[template(path = "gate/car.html")]
struct Car<'a> {
    /// Whose page it is: what is signed on it says so.
    actor: &'a Actor,
    known: &'a KnownEvent,
    state: &'a EntryState,
    clock: Clock,
    as_of: String,
    as_of_ms: i64,
    new_id: Uuid,
    strip: Vec<AreaStrip>,
    open: Vec<OpenItem<'a>>,
    notes: Vec<&'a Finding>,
    nearest: Vec<&'a Reading>,
    by_hand: Vec<&'a Item>,
    answers: Vec<(String, Vec<Line>)>,
    history: Vec<Line>,
    typed: Typed,
    sent: String,
}

impl Car<'_> {
    fn seen(&self) -> String {
        id_list(&self.state.judgement.heads)
    }

    fn trouble(&self, name: &str) -> Option<&str> {
        self.typed.troubles.iter().find(|trouble| trouble.field == name).map(|trouble| trouble.message.as_str())
    }

    fn is_ticked(&self, item: &str) -> bool {
        self.typed.by_hand.contains(item)
    }

    /// What is wrong with an item's readings as a whole, beside no single field.
    fn says(&self, open: &OpenItem<'_>) -> Option<&str> {
        let names = [format!("closes-{}", open.id), format!("seen-{}", open.id), format!("reading-{}.unit", open.id)];
        names.iter().find_map(|name| self.trouble(name))
    }

    fn bar_words(&self, record: &Record) -> String {
        let reason = state::reason(record);
        let what = if record.kind == Kind::Withdrawal { "Clearance taken back" } else { "Held" };
        format!("{what} {} by {}: {reason}", self.clock.at(&record.arrived_at), record.maker.name)
    }

    /// What the car's standing rests on now, in a line.
    fn lead(&self) -> String {
        if let Some(what) = self.state.unreadable() {
            return format!("Something of this car's history cannot be read, so it cannot be cleared: {what}.");
        }
        match (self.state.standing(), self.state.clearance(), self.state.shown()) {
            (Standing::Cleared, Some(clear), _) => {
                format!("Cleared {} by {}.", self.clock.at(&clear.arrived_at), clear.maker.name)
            }
            (_, _, None) => "The driver has sent nothing yet. You can hold the car; there is nothing to clear.".into(),
            (_, _, Some(sent)) if !sent.judged.is_complete() => {
                format!(
                    "{} not answered in this edition: the driver has to send again.",
                    count(sent.judged.missing.len(), "item is", "items are")
                )
            }
            (Standing::Pending, ..) if self.state.judgement.is_seen_whole && !self.by_hand.is_empty() => {
                "It was cleared by an edition that asked less. Only what this edition asks more is left.".into()
            }
            _ => String::new(),
        }
    }
}

fn page<'a>(
    web: &Web,
    actor: &'a Actor,
    (known, state): (&'a KnownEvent, &'a EntryState),
    typed: Typed,
    units: &Units,
) -> Car<'a> {
    let clock = Clock::of(&known.event);
    let shown = state.shown();
    let sheet = &known.edition.sheet;
    let (strip, nearest, notes) = match shown {
        Some(sent) => (
            strip(sheet, &sent.answers, &sent.judged, Some(&state.judgement.still_open)),
            nearest_first(&sent.judged.readings).into_iter().filter(|reading| !is_open(reading, state)).take(NEAREST).collect(),
            sent.judged.findings.iter().filter(|finding| !finding.severity.holds_the_car()).collect(),
        ),
        None => (Vec::new(), Vec::new(), Vec::new()),
    };
    Car {
        as_of: clock.at(&web.house.now()),
        as_of_ms: web.house.now().as_millisecond(),
        new_id: web.house.new_id(),
        strip,
        open: open_items(known, state, &typed.closing, units),
        notes,
        nearest,
        by_hand: by_hand(known, state),
        answers: shown
            .map(|sent| answers_of(sheet, sent, &format!("/gate/{}/entries/{}", known.event.id, state.entry.id)))
            .unwrap_or_default(),
        history: lines_of(known, state, &clock, &format!("/gate/{}/entries/{}", known.event.id, state.entry.id)),
        sent: shown
            .map(|sent| format!("submission {}, sent {}", sent.number, clock.at(&sent.arrived_at)))
            .unwrap_or_else(|| "nothing sent yet".into()),
        clock,
        typed,
        actor,
        known,
        state,
    }
}

/// What is an open finding stands above already, with its sentence.
fn is_open(reading: &Reading, state: &EntryState) -> bool {
    reading.severity.is_some_and(|severity| severity.holds_the_car()) && state.judgement.still_open.contains(&reading.item)
}

/// A car's page as text.
pub(super) fn whole_page(
    web: &Web,
    actor: &Actor,
    known: &KnownEvent,
    state: &EntryState,
    units: &Units,
) -> Result<String, Fault> {
    Ok(page(web, actor, (known, state), Typed::default(), units).render()?)
}

pub(super) async fn show(
    State(web): State<Web>,
    Who(actor): Who,
    At((event, id)): At<(Uuid, Uuid)>,
    Chosen(units): Chosen,
) -> Page {
    let known = at_the_gate(&web, &actor, event).await?;
    let state = state::read(&web.house, &known, id, &units).await?;
    render(&page(&web, &actor, (&known, &state), Typed::default(), &units))
}

pub(super) async fn sign_off(
    State(web): State<Web>,
    Who(actor): Who,
    At((event, id)): At<(Uuid, Uuid)>,
    Chosen(units): Chosen,
    headers: HeaderMap,
    form: Form,
) -> Result<Response, Fault> {
    let known = web.house.event(event).await?;
    let clear = match form.text("deed") {
        "clear" => true,
        "hold" => false,
        _ => return Err(Refusal::Fields(vec![field("deed", "Choose one of the two: clear or hold.")]).into()),
    };
    let closing = ClosingTyped::of(&form);
    let given = sign_off_of(&form, clear, &closing)?;
    let record = given.id;
    let by_script = asks_for_json(&headers);
    let refusal = match sign_off::sign_off(&web.house, &actor, id, given).await {
        Ok(_) if by_script => return recorded(&web, &known, id, record).await,
        Ok(_) => return Ok(Redirect::to(&format!("/gate/{event}")).into_response()),
        Err(Refusal::WentOn(happened)) if by_script => return Err(meanwhile::fault(&happened, &Clock::of(&known.event))),
        // The car's page is for those who are let in.
        Err(refusal) if by_script || actor.admission == Admission::Ended => return Err(refusal.into()),
        Err(refusal) => refusal,
    };
    let (by_hand, reason) = (form.ticked("by-hand-"), form.text("reason").to_owned());
    let mut typed = Typed { closing, by_hand, reason, ..Typed::default() };
    let status = match refusal {
        Refusal::WentOn(happened) => {
            // What was seen put right belonged to what was shown then; a hand that felt a wheel nut did feel it.
            typed.closing = ClosingTyped::default();
            let happened = meanwhile::told(&happened, &Clock::of(&known.event));
            typed.message = Some(format!("{happened} Nothing was recorded. Below is how it stands now: look again."));
            StatusCode::CONFLICT
        }
        Refusal::Fields(troubles) => {
            let missing =
                if clear { "Not cleared yet: see what is still missing." } else { "Not held yet: the reason is missing." };
            // A trouble of what the page itself sends along stands beside no field: it is said above.
            let hidden = troubles.iter().find(|trouble| !is_shown(&trouble.field)).map(|trouble| trouble.message.clone());
            typed.message = Some(hidden.unwrap_or_else(|| missing.into()));
            typed.troubles = troubles;
            StatusCode::UNPROCESSABLE_ENTITY
        }
        Refusal::NotNow(words) => {
            typed.message = Some(words);
            StatusCode::CONFLICT
        }
        other => return Err(other.into()),
    };
    let state = state::read(&web.house, &known, id, &units).await?;
    Ok((status, Html(page(&web, &actor, (&known, &state), typed, &units).render()?)).into_response())
}

/// What a script hears of a sign-off that is recorded.
#[derive(serde::Serialize)]
struct Recorded {
    /// When it arrived, as the event's clocks show it. The second sending hears the time of the first.
    at: String,
}

async fn recorded(web: &Web, known: &KnownEvent, entry: Uuid, record: Uuid) -> Result<Response, Fault> {
    let at = sign_off::recorded_at(&web.house, entry, record).await?.unwrap_or_else(|| web.house.now());
    Ok((StatusCode::CREATED, Json(Recorded { at: Clock::of(&known.event).at(&at) })).into_response())
}

/// Whether the page has a place for a field's trouble.
fn is_shown(field: &str) -> bool {
    field == "reason" || ["closes-", "by-hand-", "reading-", "seen-"].iter().any(|begin| field.starts_with(begin))
}

/// Takes a photo in that was taken at the gate; the sign-off names it by its id.
pub(super) async fn add_photo(
    State(web): State<Web>,
    Who(actor): Who,
    At((event, entry)): At<(Uuid, Uuid)>,
    form: Result<Multipart, MultipartRejection>,
) -> Result<StatusCode, Fault> {
    at_the_gate(&web, &actor, event).await?;
    let (mut id, mut file) = (None, None);
    let (parts, _place) = upload::received(&web, &actor, form).await?;
    for part in parts {
        match part {
            Part::Text(name, text) if name == "id" => id = Uuid::parse_str(&text).ok(),
            Part::Photo(photo) => file = Some(photo),
            Part::Text(..) => {}
        }
    }
    let id = id.ok_or_else(|| Refusal::Fields(vec![field("id", "This is no id.")]))?;
    let file = file.ok_or_else(|| Refusal::Fields(vec![field("photo", "There is no photo in this form.")]))?;
    gate_photo::add(&web.house, &actor, entry, id, file).await?;
    Ok(StatusCode::NO_CONTENT)
}

pub(super) async fn photo(
    State(web): State<Web>,
    Who(actor): Who,
    At((event, entry, id)): At<(Uuid, Uuid, Uuid)>,
) -> Result<Response, Fault> {
    at_the_gate(&web, &actor, event).await?;
    if web.house.event_of_entry(entry).await?.event.id != event {
        return Err(Refusal::NotHere.into());
    }
    crate::web::driver::jpeg(&web, entry, id).await
}
