//! Letting somebody of an event go: for an inspector it is asked first which of their clearances shall not stand.

use super::run;
use crate::acts::Refusal;
use crate::acts::house::KnownEvent;
use crate::acts::let_inspector_go::{self, Back, Cleared};
use crate::acts::rights::Actor;
use crate::store::access::Link;
use crate::web::Web;
use crate::web::draw::Plate;
use crate::web::error::Fault;
use crate::web::form::{At, Form};
use crate::web::page::{Clock, Page, id_list, render};
use crate::web::session::Who;
use askama::Template;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{Html, IntoResponse, Redirect, Response};
use std::collections::BTreeSet;
use uuid::Uuid;

/// A car with a box to tick.
struct Tick {
    car: Cleared,
    id: Uuid,
    ticked: bool,
}

#[derive(Template)]
#[template(path = "organizer/let_go.html")]
struct LetGo<'a> {
    known: &'a KnownEvent,
    clock: Clock,
    person: Link,
    boxes: Vec<Tick>,
    reason: String,
    trouble: Option<String>,
}

async fn page<'a>(web: &Web, actor: &Actor, known: &'a KnownEvent, link: Uuid) -> Result<LetGo<'a>, Refusal> {
    let (person, cars) = let_inspector_go::cleared_by(&web.house, actor, known.event.id, link).await?;
    let boxes = cars.into_iter().map(|car| Tick { id: web.house.new_id(), ticked: car.by_another.is_none(), car });
    let reason = format!("{} works at the gate no more: what they cleared is looked at again.", person.holder);
    Ok(LetGo { clock: Clock::of(&known.event), known, boxes: boxes.collect(), person, reason, trouble: None })
}

/// Lists the cars that stand cleared by an inspector, and asks.
pub(super) async fn ask(State(web): State<Web>, Who(actor): Who, At((event, link)): At<(Uuid, Uuid)>) -> Page {
    let known = run(&web, &actor, event).await?;
    render(&page(&web, &actor, &known, link).await?)
}

/// Lets the person go, and takes back what was ticked.
pub(super) async fn end(
    State(web): State<Web>,
    Who(actor): Who,
    At((event, link)): At<(Uuid, Uuid)>,
    form: Form,
) -> Result<Response, Fault> {
    let known = run(&web, &actor, event).await?;
    let ticked = form.ticked("back-");
    let back = |entry: &String| -> Result<Back, Fault> {
        let id = Uuid::parse_str(entry).map_err(|_| Refusal::NotHere)?;
        Ok(Back { entry: id, id: form.id(&format!("id-{entry}"))?, seen: form.ids(&format!("seen-{entry}"))? })
    };
    let backs = ticked.iter().map(back).collect::<Result<Vec<_>, _>>()?;
    match let_inspector_go::let_go(&web.house, &actor, (event, link), form.text("reason"), backs).await {
        Ok(()) => Ok(Redirect::to(&format!("/club/events/{event}/people")).into_response()),
        Err(Refusal::Fields(troubles)) if troubles.iter().any(|trouble| trouble.field == "reason") => {
            let trouble = troubles.into_iter().next().map(|trouble| trouble.message);
            let page = page(&web, &actor, &known, link).await?;
            let page = LetGo { trouble, reason: form.text("reason").into(), boxes: as_ticked(page.boxes, &ticked), ..page };
            Ok((StatusCode::UNPROCESSABLE_ENTITY, Html(page.render()?)).into_response())
        }
        Err(other) => Err(other.into()),
    }
}

fn as_ticked(boxes: Vec<Tick>, ticked: &BTreeSet<String>) -> Vec<Tick> {
    boxes.into_iter().map(|one| Tick { ticked: ticked.contains(&one.car.entry.id.to_string()), ..one }).collect()
}
