//! A car: how it stands, its days, jobs, wear and log.

use super::home::{CarView, car_view};
use super::opened::Opened;
use crate::rules::garage::book::{Job, TrackDay};
use crate::rules::garage::kinds::ReadingKind;
use crate::rules::garage::log::in_order;
use crate::rules::garage::ready::{limit_of, said_of};
use crate::rules::garage::wear::{Said, Series, series};
use crate::web::form::At;
use crate::web::page::{Page, render};
use askama::Template;
use uuid::Uuid;

#[derive(Template)]
#[template(path = "garage/car.html")]
struct CarPage<'a> {
    base: String,
    view: CarView<'a>,
    next: Option<&'a TrackDay>,
    coming: Vec<&'a TrackDay>,
    past: Vec<&'a TrackDay>,
    jobs: Vec<&'a Job>,
    worn: Vec<Said>,
    facts: usize,
    lines: usize,
    new_id: Uuid,
}

pub(super) async fn show(opened: Opened, At((_, id)): At<(Uuid, Uuid)>) -> Page {
    let car = opened.car(id)?;
    let next = car.next_day(opened.looked.today);
    let sheets = opened.looked.lines_of_sheets(car);
    let lines = in_order(car, &sheets);
    let sheet = opened.looked.sheet_for(next);
    let of_kind = |kind: ReadingKind| {
        let all = series(&lines, kind, opened.looked.today);
        let said = |one: &Series| {
            let limit = limit_of((kind, one.place), Some(sheet), car)?;
            let said = said_of(one, limit, car, opened.looked.today, &opened.units);
            Some(Said { words: said.of(kind), weight: said.weight })
        };
        all.iter().filter_map(said).collect::<Vec<_>>()
    };
    let worn = ReadingKind::ALL.into_iter().flat_map(of_kind).filter(|said| said.weight.is_some()).collect();
    render(&CarPage {
        base: opened.base(),
        view: car_view(&opened.looked, car, &opened.units)?,
        coming: car
            .days
            .iter()
            .filter(|day| day.day >= opened.looked.today && Some(day.id) != next.map(|next| next.id))
            .collect(),
        past: car.days.iter().rev().filter(|day| day.day < opened.looked.today).collect(),
        jobs: car.open_jobs().collect(),
        facts: car.facts.len(),
        lines: lines.len(),
        new_id: opened.new_id(),
        worn,
        next,
    })
}
