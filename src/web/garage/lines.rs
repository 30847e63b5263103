//! Forms for the log: readings of a kind, time on track, a fluid changed.

use super::base;
use super::blanks::{Ask, Blank, FormPage, choices};
use super::opened::{Opened, Sent};
use crate::acts::Refusal;
use crate::acts::garage::look::Looked;
use crate::acts::garage::open::{SESSION_MIN, SESSIONS};
use crate::rules::answer::{Trouble, Typed, read_in};
use crate::rules::garage::book::Car;
use crate::rules::garage::change::{Change, Readings, Taken};
use crate::rules::garage::kinds::{Fluid, ReadingKind};
use crate::rules::garage::log::{days_later, in_order, newest};
use crate::rules::garage::typed::Reader;
use crate::rules::garage::wear::{grown, shown_unit, tidy};
use crate::rules::units::{Unit, Units};
use crate::rules::words::{Per, Place};
use crate::web::error::Fault;
use crate::web::form::At;
use crate::web::page::capital;
use axum::response::Response;
use jiff::civil::{Date, date};
use std::collections::BTreeMap;
use uuid::Uuid;

/// Before this nobody kept a log here.
const FIRST_DAY: Date = date(1990, 1, 1);

fn when(looked: &Looked) -> [Blank; 2] {
    [
        Blank::new("day", "Day", Ask::Day).half().value(looked.today.to_string()),
        Blank::new("clock", "Time, if you know it", Ask::Clock).half(),
    ]
}

fn read_when(reader: &mut Reader<'_>, today: Date) -> Taken {
    // A driver may be a time zone ahead of where the next event is.
    Taken { day: reader.day("day", FIRST_DAY..=days_later(today, 1)), clock: reader.clock("clock") }
}

/// The places that a form asks for: as many cylinders as were read last, and room for more.
fn places(kind: ReadingKind, known: usize) -> Vec<Place> {
    let mut places = kind.per().places();
    if kind.per() == Per::Cylinder {
        places.truncate(known.clamp(6, 16));
    }
    places
}

fn reading_page(looked: &Looked, car: &Car, kind: ReadingKind, id: Uuid, units: &Units) -> FormPage {
    let unit = shown_unit(kind, units);
    let sheets = looked.lines_of_sheets(car);
    let lines = in_order(car, &sheets);
    let last = newest(&lines, kind);
    let signed = kind.possible().0 < 0.0;
    let mut blanks = Vec::from(when(looked));
    for place in places(kind, last.len()) {
        let label = if place == Place::Whole { kind.name().to_owned() } else { capital(&place.name()) };
        let before = last.get(&place).map(|(figure, taken)| format!("{} on {}", unit.say(tidy(kind, *figure, unit)), taken.day));
        let ask = if signed { Ask::Signed } else { Ask::Number };
        let name = if place == Place::Whole { "whole".to_owned() } else { place.token() };
        blanks.push(Blank::new(name, label, ask).unit(unit_word(unit)).half().help(before.unwrap_or_default()));
    }
    if kind.wears().is_some() && kind != ReadingKind::FluidBoil {
        blanks.push(Blank::new("fresh", "These are new: the line begins anew", Ask::Tick));
    }
    blanks.push(Blank::new("note", "Note", Ask::Line(200)));
    blanks.push(Blank::new("unit", "", Ask::Hidden).value(unit.token()));
    let at = format!("{}/cars/{}", base(looked.id), car.id);
    FormPage::new(kind.name(), (format!("{at}/log"), "The log"), format!("{at}/readings/{}", kind.token()), id, blanks)
        .lead(format!("{} Leave empty what you did not measure.", kind.check()))
}

/// A unit as it stands beside a field: a gauge of thirty-seconds is read in whole ones.
fn unit_word(unit: Unit) -> &'static str {
    if unit == Unit::ThirtySecondInch { "32nds of an inch" } else { unit.symbol() }
}

fn read_readings(typed: &Typed, car: Uuid, kind: ReadingKind, today: Date) -> Result<Change, Vec<Trouble>> {
    let mut reader = Reader::of(typed);
    let taken = read_when(&mut reader, today);
    let unit = Unit::parse(reader.raw("unit")).filter(|unit| unit.quantity() == kind.unit().quantity()).unwrap_or(kind.unit());
    let (low, high) = (kind.unit().convert(kind.possible().0, unit), kind.unit().convert(kind.possible().1, unit));
    let mut at = BTreeMap::new();
    for place in kind.per().places() {
        let name = if place == Place::Whole { "whole".to_owned() } else { place.token() };
        let text = reader.raw(&name);
        match read_in(Some(unit), text) {
            _ if text.is_empty() => {}
            None => reader.trouble(&name, format!("Type a number in {unit}.")),
            Some(number) if number < low - 1e-9 || number > high + 1e-9 => {
                let words =
                    format!("{} cannot be: this lies between {} and {}.", unit.say(number), unit.figure(low), unit.say(high));
                reader.trouble(&name, words);
            }
            Some(number) => drop(at.insert(place.token(), number)),
        }
    }
    if at.is_empty() && reader.troubles.is_empty() {
        let first = kind.per().places().first().map(|place| place.token()).filter(|token| !token.is_empty());
        reader.trouble(&first.unwrap_or_else(|| "whole".into()), "There is no reading yet: type at least one.");
    }
    let (fresh, note) = (reader.ticked("fresh"), reader.text("note", 200));
    let readings = Readings { what: kind, unit: unit.token().into(), at, fresh, note, from: String::new() };
    reader.finish(Change::Readings { car, taken, readings })
}

pub(super) async fn reading(opened: Opened, At((_, car, kind)): At<(Uuid, Uuid, String)>) -> Result<Response, Fault> {
    let kind = ReadingKind::parse(&kind).ok_or(Refusal::NotHere)?;
    reading_page(&opened.looked, opened.car(car)?, kind, opened.new_id(), &opened.units).show()
}

pub(super) async fn keep_reading(
    opened: Opened,
    At((_, car, kind)): At<(Uuid, Uuid, String)>,
    sent: Sent,
) -> Result<Response, Fault> {
    let id = sent.id;
    let kind = ReadingKind::parse(&kind).ok_or(Refusal::NotHere)?;
    let to = if kind.wears().is_some() { "wear" } else { "log" };
    let page = reading_page(&opened.looked, opened.car(car)?, kind, id, &opened.units);
    let change = read_readings(&sent.typed, car, kind, opened.looked.today);
    let change = change.and_then(|change| does_not_grow(&opened, car, id, change));
    let to = format!("{}/cars/{car}/{to}", opened.base());
    opened.settles(page, &sent, change, &to).await
}

/// A part that has grown is new, or a slip of the pen: asked here, where it can be put right.
fn does_not_grow(opened: &Opened, car: Uuid, id: Uuid, change: Change) -> Result<Change, Vec<Trouble>> {
    let Change::Readings { taken, readings, .. } = &change else { return Ok(change) };
    let Ok(car) = opened.car(car) else { return Ok(change) };
    let sheets = opened.looked.lines_of_sheets(car);
    // Sent twice, its own line is no reading from before it.
    let lines: Vec<_> = in_order(car, &sheets).into_iter().filter(|line| line.id != id).collect();
    let unit = shown_unit(readings.what, &opened.units);
    let trouble = |(place, was, day): (Place, f64, Date)| Trouble {
        field: place.token(),
        message: format!(
            "More than {} on {day}, and that does not grow. If it is new, say so below; if not, put it right here, or strike the \
             older line out in the log.",
            unit.say(tidy(readings.what, was, unit))
        ),
    };
    let troubles: Vec<Trouble> = grown(&lines, readings, *taken).into_iter().map(trouble).collect();
    if troubles.is_empty() { Ok(change) } else { Err(troubles) }
}

fn track_page(looked: &Looked, car: &Car, id: Uuid) -> FormPage {
    let planned = car.days.iter().rev().find(|day| day.day <= looked.today);
    let sessions = planned.map_or(SESSIONS, |day| day.sessions);
    let minutes = planned.map_or(SESSION_MIN, |day| day.session_min) * f64::from(sessions);
    let mut blanks = Vec::from(when(looked));
    blanks.push(Blank::new("sessions", "Sessions driven", Ask::Number).half().value(sessions.to_string()));
    blanks.push(Blank::new("minutes", "Minutes on track in all", Ask::Number).half().value(minutes.to_string()));
    blanks.push(Blank::new("note", "Note", Ask::Line(200)).help("Wet or dry, what the car did."));
    let at = format!("{}/cars/{}", base(looked.id), car.id);
    FormPage::new("Time on track", (format!("{at}/log"), "The log"), format!("{at}/track"), id, blanks)
        .lead("What was driven, not what was planned. Wear is reckoned by it.")
}

fn read_track(typed: &Typed, car: Uuid, today: Date) -> Result<Change, Vec<Trouble>> {
    let mut reader = Reader::of(typed);
    let taken = read_when(&mut reader, today);
    let sessions = reader.whole("sessions", 0..=60, "");
    let minutes = reader.must_number("minutes", 1.0..=1440.0, "min");
    let note = reader.text("note", 200);
    reader.finish(Change::Track { car, taken, minutes, sessions, note })
}

fn fluid_page(looked: &Looked, car: &Car, id: Uuid) -> FormPage {
    let fluids = choices(Fluid::ALL.map(|fluid| (fluid.token(), fluid.name())));
    let [day, _] = when(looked);
    let blanks = vec![
        // Nothing is chosen before: a form that is sent empty must not take the brake fluid for changed.
        Blank::new("fluid", "Which", Ask::Taps(fluids)),
        day,
        Blank::new("grade", "Grade", Ask::Line(60)).half().help("DOT 4, 5W-40."),
        Blank::new("note", "Note", Ask::Line(200)),
    ];
    let at = format!("{}/cars/{}", base(looked.id), car.id);
    FormPage::new("A fluid changed", (format!("{at}/log"), "The log"), format!("{at}/fluids"), id, blanks)
        .lead("All of it. Topping up is not a change.")
        .caution("Brake fluid eats paint and eyes: gloves and glasses. Hot oil and coolant burn. Used fluids go to where they are collected.")
}

fn read_fluid(typed: &Typed, car: Uuid, today: Date) -> Result<Change, Vec<Trouble>> {
    let mut reader = Reader::of(typed);
    let fluid = reader.choice("fluid", Fluid::parse);
    let taken = read_when(&mut reader, today);
    let (grade, note) = (reader.text("grade", 60), reader.text("note", 200));
    reader.finish(()).and_then(|()| Ok(Change::Changed { car, taken, fluid: fluid.ok_or_else(Vec::new)?, grade, note }))
}

pub(super) async fn track(opened: Opened, At((_, car)): At<(Uuid, Uuid)>) -> Result<Response, Fault> {
    track_page(&opened.looked, opened.car(car)?, opened.new_id()).show()
}

pub(super) async fn keep_track(opened: Opened, At((_, car)): At<(Uuid, Uuid)>, sent: Sent) -> Result<Response, Fault> {
    let id = sent.id;
    let page = track_page(&opened.looked, opened.car(car)?, id);
    let change = read_track(&sent.typed, car, opened.looked.today);
    let to = format!("{}/cars/{car}/log", opened.base());
    opened.settles(page, &sent, change, &to).await
}

pub(super) async fn fluid(opened: Opened, At((_, car)): At<(Uuid, Uuid)>) -> Result<Response, Fault> {
    fluid_page(&opened.looked, opened.car(car)?, opened.new_id()).show()
}

pub(super) async fn keep_fluid(opened: Opened, At((_, car)): At<(Uuid, Uuid)>, sent: Sent) -> Result<Response, Fault> {
    let id = sent.id;
    let page = fluid_page(&opened.looked, opened.car(car)?, id);
    let change = read_fluid(&sent.typed, car, opened.looked.today);
    let to = format!("{}/cars/{car}/log", opened.base());
    opened.settles(page, &sent, change, &to).await
}

/// A line that should not be there: it is struck out, and stays to be read.
pub(super) async fn strike(opened: Opened, At((_, car, line)): At<(Uuid, Uuid, Uuid)>, sent: Sent) -> Result<Response, Fault> {
    opened.taps(&sent, Change::Struck { line }, &format!("{}/cars/{car}/log", opened.base())).await
}
