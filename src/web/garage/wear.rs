//! Wear: each part's readings as a drawing, and said in words.

use super::opened::Opened;
use crate::rules::car_system::CarSystem;
use crate::rules::garage::book::Car;
use crate::rules::garage::kinds::ReadingKind;
use crate::rules::garage::log::in_order;
use crate::rules::garage::ready::{limit_of, planned, said_of};
use crate::rules::garage::wear::{Said, series};
use crate::web::form::At;
use crate::web::page::{Page, render};
use crate::web::pen::Drawing;
use askama::Template;
use uuid::Uuid;

/// One place of a kind.
struct Part {
    name: String,
    said: Said,
    drawing: Option<Drawing>,
    /// Where it becomes a job, when it will not last.
    job: Option<String>,
}

struct OfKind {
    kind: ReadingKind,
    parts: Vec<Part>,
}

#[derive(Template)]
#[template(path = "garage/wear.html")]
struct WearPage<'a> {
    base: String,
    car: &'a Car,
    kinds: Vec<OfKind>,
    next: Option<String>,
    without: Vec<ReadingKind>,
}

/// The system that a worn part is of.
pub(super) fn system_of(kind: ReadingKind) -> CarSystem {
    match kind {
        ReadingKind::Tread => CarSystem::Wheels,
        _ => CarSystem::Brakes,
    }
}

pub(super) async fn show(opened: Opened, At((_, id)): At<(Uuid, Uuid)>) -> Page {
    let car = opened.car(id)?;
    let sheets = opened.looked.lines_of_sheets(car);
    let lines = in_order(car, &sheets);
    let day = car.next_day(opened.looked.today);
    let sheet = opened.looked.sheet_for(day);
    let plan = day.map(|day| planned(car, day, opened.looked.today));
    let mut kinds = Vec::new();
    for kind in ReadingKind::ALL.into_iter().filter(|kind| kind.wears().is_some()) {
        let part = |one: &crate::rules::garage::wear::Series| {
            let limit = limit_of((kind, one.place), Some(sheet), car);
            let said = match limit {
                Some(limit) => said_of(one, limit, car, opened.looked.today, &opened.units),
                None => Said {
                    words: "No limit is known: note what is cast into the disc, under About the car.".into(),
                    weight: None,
                },
            };
            let name = crate::web::page::capital(&one.place.name());
            let title = format!("{} {}", kind.name(), one.place.name());
            let query = form_urlencoded::Serializer::new(String::new())
                .append_pair("title", title.trim())
                .append_pair("system", system_of(kind).token())
                .append_pair("found", &said.words)
                .finish();
            let job = said.weight.is_some().then(|| format!("{}/cars/{id}/jobs/new?{query}", opened.base()));
            Part { name, drawing: super::plot::plot(one, limit, plan, &opened.units), said, job }
        };
        kinds.push(OfKind { kind, parts: series(&lines, kind, opened.looked.today).iter().map(part).collect() });
    }
    let without = kinds.iter().filter(|of| of.parts.is_empty()).map(|of| of.kind).collect();
    kinds.retain(|of| !of.parts.is_empty());
    let next = day.map(|day| {
        format!("{}, {}: {} sessions of {} min", day.name, crate::web::page::long_day(&day.day), day.sessions, day.session_min)
    });
    render(&WearPage { base: opened.base(), car, kinds, next, without })
}
