//! The organizer's pages, under `/club`: events, board, roster, people, sheet, cars, the cleared list, oneself.

mod again;
mod board;
mod car;
mod cleared;
mod data;
mod events;
mod garages;
mod guide;
mod let_go;
mod links;
mod organizers;
mod people;
mod roster;
mod sheet;
mod you;

use super::Web;
use super::doors::Doors;
use super::error::Fault;
use super::form::At;
use super::session::Who;
use crate::acts::house::KnownEvent;
use crate::acts::rights::{Actor, Deed, Whose, require};
use axum::extract::State;
use axum::response::IntoResponse;
use std::sync::Arc;
use uuid::Uuid;

/// The largest sheet or roster that is taken in, sent as a form.
const FILE: usize = crate::rules::sheet_file::LARGEST * 3 + 64 * 1024;

pub(super) fn doors() -> Doors {
    let kept = Arc::new(super::wire::KeptPages::default());
    club_doors().and(event_doors()).and(entry_doors()).with(kept)
}

/// The club's: events, editions, organizers, oneself.
fn club_doors() -> Doors {
    Doors::new()
        .get("/", Deed::RunTheClub, events::list)
        .post("/events", Deed::RunTheClub, events::make)
        .get("/editions/{edition}", Deed::RunTheClub, sheet::file)
        .get("/guide", Deed::RunTheClub, guide::show)
        .post("/guide", Deed::RunTheClub, guide::edit)
        .get("/garages", Deed::RunTheClub, garages::show)
        .post("/garages/term", Deed::RunTheClub, garages::set_term)
        .get("/garages/{which}/end", Deed::RunTheClub, garages::ask)
        .post("/garages/{which}/end", Deed::RunTheClub, garages::end)
        .get("/organizers", Deed::RunTheClub, organizers::show)
        .post("/organizers", Deed::ChangeWhoRuns, organizers::add)
        .post("/organizers/{link}/links", Deed::ChangeWhoRuns, organizers::link_anew)
        .post("/organizers/{link}/end", Deed::ChangeWhoRuns, organizers::end)
        .post("/organizers/second", Deed::ChangeWhoRuns, organizers::ask_second)
        .get("/units", Deed::KeepOneself, super::units::show)
        .post("/units", Deed::KeepOneself, super::units::choose)
        .get("/you", Deed::KeepOneself, you::show)
        .post("/you/passphrase", Deed::ChangeWhoRuns, you::passphrase)
        .post("/you/passkeys/begin", Deed::ChangeWhoRuns, you::begin_passkey)
        .post("/you/passkeys", Deed::ChangeWhoRuns, you::add_passkey)
        .post("/you/passkeys/{passkey}/end", Deed::ChangeWhoRuns, you::end_passkey)
        .post("/you/proof/begin", Deed::KeepOneself, super::proof::begin)
        .post("/you/proof", Deed::KeepOneself, super::proof::finish)
        .post("/you/devices/{device}/end", Deed::KeepOneself, you::end_device)
        .post("/sign-out", Deed::KeepOneself, super::sign_in::sign_out)
}

/// An event's: board, roster, people, sheet, cleared list.
fn event_doors() -> Doors {
    Doors::new()
        .get("/events/{event}", Deed::RunTheEvent, board::board)
        .get("/events/{event}/live", Deed::RunTheEvent, live)
        .get("/events/{event}/roster", Deed::RunTheEvent, roster::show)
        .post_file("/events/{event}/roster", Deed::RunTheEvent, FILE, roster::take)
        .post("/events/{event}/links", Deed::RunTheEvent, roster::make_links)
        .post("/events/{event}/links/end", Deed::RunTheEvent, roster::end_links)
        .get("/events/{event}/people", Deed::RunTheEvent, people::show)
        .post("/events/{event}/people", Deed::RunTheEvent, people::add)
        .post("/events/{event}/people/{link}/links", Deed::RunTheEvent, people::link_anew)
        .get("/events/{event}/people/{link}/end", Deed::RunTheEvent, let_go::ask)
        .post("/events/{event}/people/{link}/end", Deed::RunTheEvent, let_go::end)
        .post("/events/{event}/phones", Deed::RunTheEvent, people::set_phones)
        .post("/events/{event}/passes/anew", Deed::RunTheEvent, people::pass_key_anew)
        .post("/events/{event}/devices/{device}/end", Deed::RunTheEvent, people::end_device)
        .get("/events/{event}/sheet", Deed::RunTheEvent, sheet::show)
        .post_file("/events/{event}/sheet", Deed::RunTheEvent, FILE, sheet::raise)
        .post_file("/events/{event}/sheet/editions", Deed::RunTheClub, FILE, sheet::add)
        .get("/events/{event}/cleared", Deed::RunTheEvent, cleared::page)
        .get("/events/{event}/cleared.csv", Deed::RunTheEvent, cleared::csv)
        .get("/events/{event}/history.jsonl", Deed::RunTheEvent, cleared::history)
}

/// An entry's: the car, its driver's link, what is held on the driver.
fn entry_doors() -> Doors {
    Doors::new()
        .get("/events/{event}/entries/{entry}", Deed::RunTheEvent, car::show)
        .post("/events/{event}/entries/{entry}/withdrawals", Deed::RunTheEvent, car::withdraw)
        .get("/events/{event}/entries/{entry}/photos/{photo}", Deed::RunTheEvent, car::photo)
        .post("/events/{event}/entries/{entry}/links", Deed::RunTheEvent, roster::link_anew)
        .post("/events/{event}/entries/{entry}/links/end", Deed::RunTheEvent, roster::end_link)
        .get("/events/{event}/entries/{entry}/data", Deed::AnswerForData, data::show)
        .get("/events/{event}/entries/{entry}/data.json", Deed::AnswerForData, data::file)
        .post("/events/{event}/entries/{entry}/data/erase", Deed::AnswerForData, data::erase)
}

/// The event, for an organizer.
async fn run(web: &Web, actor: &Actor, event: Uuid) -> Result<KnownEvent, Fault> {
    require(actor, Deed::RunTheEvent, Whose::Event(event))?;
    Ok(web.house.event(event).await?)
}

async fn live(State(web): State<Web>, Who(actor): Who, At(event): At<Uuid>) -> Result<impl IntoResponse, Fault> {
    run(&web, &actor, event).await?;
    super::live::changes(&web, &actor, event, None)
}
