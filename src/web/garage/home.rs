//! The garage's first page: cars and how they stand, gear and how long it is good for, hours.

use super::base;
use super::blanks::{Ask, Blank, FormPage};
use super::days::{countdown, heading};
use super::opened::{Opened, Sent};
use crate::acts::garage::ends::{End, end_of};
use crate::acts::garage::look::Looked;
use crate::rules::garage::book::{Car, GearPiece};
use crate::rules::garage::change::Change;
use crate::rules::garage::ready::{hours as hours_in_words, judge_piece};
use crate::rules::garage::typed::Reader;
use crate::rules::standing::Standing;
use crate::rules::units::Units;
use crate::rules::words::Verdict;
use crate::web::draw::Mark;
use crate::web::error::Fault;
use crate::web::page::{Page, count, render, short_day};
use askama::Template;
use axum::response::Response;
use uuid::Uuid;

/// A car with how it stands before its next day.
pub(super) struct CarView<'a> {
    pub car: &'a Car,
    pub class: &'static str,
    pub state: String,
    pub next: String,
}

impl CarView<'_> {
    /// The mark, as on the sheet: whole, broken, or only an outline.
    pub fn mark(&self) -> Mark {
        Mark(match self.class {
            "cleared" => Standing::Cleared,
            "flagged" => Standing::Flagged,
            _ => Standing::Pending,
        })
    }
}

struct GearView<'a> {
    piece: &'a GearPiece,
    class: &'static str,
    why: String,
}

#[derive(Template)]
#[template(path = "garage/home.html")]
struct Home<'a> {
    base: String,
    name: &'a str,
    cars: Vec<CarView<'a>>,
    gear: Vec<GearView<'a>>,
    gone: Vec<&'a Car>,
    week: String,
    /// The entries whose sheets may be open in this browser, for the script that signs out of them.
    sheets: String,
    new_id: Uuid,
    end: End,
}

/// How a car stands before its next day, in a line.
pub(super) fn car_view<'a>(looked: &'a Looked, car: &'a Car, units: &Units) -> Result<CarView<'a>, Fault> {
    let Some(day) = car.next_day(looked.today) else {
        let open = car.open_jobs().count();
        let state = if open > 0 { format!("{} open", count(open, "job", "jobs")) } else { "No day is planned".into() };
        return Ok(CarView { car, class: "pending", state, next: String::new() });
    };
    let ready = looked.ready_for(car, day, units)?;
    let (class, state, _) = heading(&ready, day);
    let next = format!("{}, {}, {}", day.name, short_day(&day.day), countdown(ready.days_left).to_lowercase());
    Ok(CarView { car, class, state, next })
}

pub(super) async fn show(opened: Opened) -> Page {
    let cars = opened.looked.garage.cars.iter().filter(|car| !car.gone).map(|car| car_view(&opened.looked, car, &opened.units));
    // Gear is judged for the next day of any car, or for today.
    let next = opened.looked.garage.cars.iter().filter_map(|car| car.next_day(opened.looked.today)).map(|day| day.day).min();
    let on = next.unwrap_or(opened.looked.today);
    let gear = opened.looked.garage.gear.iter().map(|piece| {
        let (verdict, why) = judge_piece(piece, &opened.looked.newest.sheet.gear, on);
        let class = match verdict {
            Verdict::Ok => "",
            Verdict::Note => "note",
            _ => "fix",
        };
        GearView { piece, class, why }
    });
    render(&Home {
        base: opened.base(),
        name: &opened.actor.name,
        cars: cars.collect::<Result<_, _>>()?,
        gear: gear.collect(),
        gone: opened.looked.garage.cars.iter().filter(|car| car.gone).collect(),
        week: hours_in_words(opened.looked.garage.settings.week.iter().sum()),
        sheets: opened.looked.brought.iter().map(|one| one.state.entry.id.to_string()).collect::<Vec<_>>().join(" "),
        new_id: opened.new_id(),
        end: end_of(&opened.web.house, &opened.actor, opened.looked.id).await?,
    })
}

/// The days of a week as the form names them.
const WEEKDAYS: [(&str, &str); 7] = [
    ("monday", "Monday"),
    ("tuesday", "Tuesday"),
    ("wednesday", "Wednesday"),
    ("thursday", "Thursday"),
    ("friday", "Friday"),
    ("saturday", "Saturday"),
    ("sunday", "Sunday"),
];

fn hours_page(looked: &Looked, id: Uuid) -> FormPage {
    let settings = &looked.garage.settings;
    let days = WEEKDAYS.iter().zip(settings.week);
    let mut blanks: Vec<Blank> =
        days.map(|((name, say), hours)| Blank::new(*name, *say, Ask::Number).half().unit("h").value(hours.to_string())).collect();
    blanks.push(
        Blank::new("many_hands", "Two or more of us work on it, each on a job of their own", Ask::Tick)
            .help("Alone, one job is done after another.")
            .value(if settings.many_hands { "1" } else { "" }),
    );
    blanks.push(Blank::new("currency", "Prices are in", Ask::Line(4)).half().help("EUR, GBP, USD.").value(&settings.currency));
    FormPage::new("Hours for the car", (base(looked.id), "Garage"), format!("{}/hours", base(looked.id)), id, blanks)
        .lead("What you really have, as it is in a usual week. The last day to begin and to order is reckoned back from the event by them.")
}

pub(super) async fn hours(opened: Opened) -> Result<Response, Fault> {
    hours_page(&opened.looked, opened.new_id()).show()
}

pub(super) async fn keep_hours(opened: Opened, sent: Sent) -> Result<Response, Fault> {
    let id = sent.id;
    let mut reader = Reader::of(&sent.typed);
    let week = WEEKDAYS.map(|(name, _)| reader.number(name, 0.0..=16.0, "h").unwrap_or_default());
    if reader.troubles.is_empty() && week.iter().sum::<f64>() <= 0.0 {
        reader.trouble("saturday", "With no hours at all nothing can be done: give the hours that you have.");
    }
    let (many_hands, currency) = (reader.ticked("many_hands"), reader.text("currency", 4));
    let change = reader.finish(Change::Settings { week, many_hands, currency });
    opened.settles(hours_page(&opened.looked, id), &sent, change, &opened.base()).await
}
