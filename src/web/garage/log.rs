//! A car's log: what was read, driven and changed, the newest first; as a table to take away and to take in.

use super::base;
use super::blanks::{Ask, Blank, FormPage};
use super::opened::Opened;
use super::typed_of;
use crate::acts::garage::look::Looked;
use crate::acts::garage::note::id_made_of;
use crate::acts::long_text::read_apart;
use crate::output::csv as table;
use crate::rules::answer::Trouble;
use crate::rules::garage::book::{Car, Line, Logged};
use crate::rules::garage::change::{Change, Readings};
use crate::rules::garage::csv::{self, COLUMNS};
use crate::rules::garage::kinds::ReadingKind;
use crate::rules::garage::log::in_order;
use crate::rules::garage::wear::{shown_unit, tidy};
use crate::rules::units::Units;
use crate::web::error::Fault;
use crate::web::form::{Asked, At, Form};
use crate::web::page::{Page, capital, render};
use askama::Template;
use axum::http::header;
use axum::response::{IntoResponse, Response};
use std::collections::BTreeSet;
use uuid::Uuid;

/// The most lines on a page.
const ON_A_PAGE: usize = 100;

/// A line of the log for people.
struct Row {
    day: String,
    clock: String,
    what: String,
    figures: String,
    from: String,
    note: String,
    photos: Vec<String>,
    /// Its id where it can be struck out: lines of sheets belong to the sheet.
    own: Option<Uuid>,
}

#[derive(Template)]
#[template(path = "garage/log.html")]
struct LogPage<'a> {
    base: String,
    car: &'a Car,
    rows: Vec<Row>,
    /// From 1; the newest lines are on the first.
    page: usize,
    pages: usize,
    struck: usize,
    kinds: [ReadingKind; 12],
    new_id: Uuid,
    minutes: f64,
}

fn row(line: &Line, own: bool, garage: Uuid, units: &Units) -> Row {
    let (what, figures, from, note) = match &line.what {
        Logged::Readings(readings) => {
            let what = format!("{}{}", readings.what.name(), if readings.fresh { ", new" } else { "" });
            (what, figures_of(readings, units), readings.from.clone(), readings.note.clone())
        }
        Logged::Changed { fluid, grade, note } => {
            (format!("{} changed", fluid.name()), grade.clone(), String::new(), note.clone())
        }
        Logged::Track { minutes, sessions, note } => {
            let sessions = if *sessions > 0 {
                format!(" in {}", crate::web::page::count(usize::from(*sessions), "session", "sessions"))
            } else {
                String::new()
            };
            ("Time on track".into(), format!("{minutes} min{sessions}"), String::new(), note.clone())
        }
    };
    Row {
        day: line.taken.day.to_string(),
        clock: line.taken.clock.map(|clock| clock.strftime("%H:%M").to_string()).unwrap_or_default(),
        what,
        figures,
        from,
        note,
        photos: line.photos.iter().map(|id| format!("{}/photos/{id}", base(garage))).collect(),
        own: own.then_some(line.id),
    }
}

fn figures_of(readings: &Readings, units: &Units) -> String {
    let unit = shown_unit(readings.what, units);
    let say = |value: f64| unit.figure(tidy(readings.what, value, unit));
    let figures: Vec<String> = readings
        .figures()
        .into_iter()
        .map(|(place, value)| match place.name() {
            name if name.is_empty() => say(value),
            name => format!("{name} {}", say(value)),
        })
        .collect();
    capital(&format!("{} {}", figures.join(", "), unit.symbol()))
}

/// Which of so many pages is asked for, from 1; the last for one beyond it.
fn page_asked(asked: &Form, pages: usize) -> usize {
    asked.text("page").parse().unwrap_or(1).clamp(1, pages)
}

pub(super) async fn show(opened: Opened, At((_, car)): At<(Uuid, Uuid)>, Asked(asked): Asked) -> Page {
    let car = opened.car(car)?;
    let sheets = opened.looked.lines_of_sheets(car);
    let of_sheets: BTreeSet<Uuid> = sheets.iter().map(|line| line.id).collect();
    let lines = in_order(car, &sheets);
    let pages = lines.len().div_ceil(ON_A_PAGE).max(1);
    let page = page_asked(&asked, pages);
    let shown = lines.iter().rev().skip((page - 1) * ON_A_PAGE).take(ON_A_PAGE);
    let row = |line: &&Line| row(line, !of_sheets.contains(&line.id), opened.looked.id, &opened.units);
    render(&LogPage {
        base: opened.base(),
        rows: shown.map(row).collect(),
        page,
        pages,
        struck: car.log.iter().filter(|line| line.struck).count(),
        kinds: ReadingKind::ALL,
        new_id: opened.new_id(),
        minutes: crate::rules::garage::log::minutes_until(&lines, (jiff::civil::Date::MAX, jiff::civil::Time::MAX)),
        car,
    })
}

/// The log as a table, the oldest line first, readings of sheets with it.
pub(super) async fn file(opened: Opened, At((_, car)): At<(Uuid, Uuid)>) -> Result<Response, Fault> {
    let car = opened.car(car)?;
    let sheets = opened.looked.lines_of_sheets(car);
    let rows = in_order(car, &sheets).into_iter().flat_map(csv::rows);
    let text = table::table(&COLUMNS, rows);
    let kind =
        [(header::CONTENT_TYPE, "text/csv; charset=utf-8"), (header::CONTENT_DISPOSITION, "attachment; filename=\"log.csv\"")];
    Ok((kind, text).into_response())
}

fn import_page(looked: &Looked, car: &Car, id: Uuid) -> FormPage {
    let at = format!("{}/cars/{}", base(looked.id), car.id);
    let blanks = vec![
        Blank::new("text", "The table", Ask::Long(400_000))
            .help(format!("The first line names the columns: {}.", COLUMNS.join(", "))),
    ];
    FormPage::new("Take a table in", (format!("{at}/log"), "The log"), format!("{at}/log/import"), id, blanks)
        .lead("Copy it from a spreadsheet or a text file, one figure a line, and paste it here. A line that is in the log already is not taken twice.")
        .button("Take it in")
}

pub(super) async fn import(opened: Opened, At((_, car)): At<(Uuid, Uuid)>) -> Result<Response, Fault> {
    import_page(&opened.looked, opened.car(car)?, opened.new_id()).show()
}

pub(super) async fn take_in(opened: Opened, At((_, car)): At<(Uuid, Uuid)>, form: Form) -> Result<Response, Fault> {
    let on = opened.car(car)?;
    let page = import_page(&opened.looked, on, form.id("id")?);
    let (typed, sheets) = (typed_of(&form), opened.looked.lines_of_sheets(on));
    let (log, today): (Vec<Line>, _) = (on.log.iter().cloned().chain(sheets).collect(), opened.looked.today);
    let text = form.raw("text").to_owned();
    match read_apart(move || csv::read(&text, car, today, &log.iter().collect::<Vec<_>>())).await? {
        Ok(table) if table.new.is_empty() && table.there == 0 => {
            let message =
                "There is no line under the names of the columns. Paste the whole table, its first line with it.".to_owned();
            page.again(&typed, &[Trouble { field: "text".into(), message }])
        }
        Ok(table) => {
            let changes = table.new.into_iter().map(|(change, nth)| (id_of(opened.looked.id, &change, nth), change)).collect();
            let noted = opened.notes(changes);
            page.after(&typed, noted.await, &format!("{}/cars/{car}/log", opened.base()), opened.new_id())
        }
        Err(troubles) => {
            let all: Vec<String> =
                troubles.into_iter().map(|trouble| format!("{}: {}", capital(&trouble.field), trouble.message)).collect();
            page.again(&typed, &[Trouble { field: "text".into(), message: all.join(" ") }])
        }
    }
}

/// The same line of a table, taken in twice by two taps, is one.
fn id_of(garage: Uuid, change: &Change, nth: usize) -> Uuid {
    let said = serde_json::to_string(change).unwrap_or_default();
    id_made_of(&[garage.as_bytes(), said.as_bytes(), &nth.to_le_bytes()])
}
