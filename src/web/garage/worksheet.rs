//! Readings worked out on a worksheet, kept in a car's log.

use super::base;
use super::blanks::{Ask, Blank, FormPage, choices};
use super::opened::{Opened, Sent};
use super::still::InGarage;
use crate::acts::Refusal;
use crate::acts::garage::look::Looked;
use crate::acts::garage::note::Noting;
use crate::acts::rights::Role;
use crate::rules::garage::change::{Change, Readings, Taken};
use crate::rules::garage::from_worksheet::{asks_place, readings};
use crate::rules::garage::log::days_later;
use crate::rules::garage::typed::Reader;
use crate::rules::garage::wear::shown_unit;
use crate::rules::units::Units;
use crate::rules::words::Place;
use crate::rules::worksheet_form;
use crate::web::error::Fault;
use crate::web::form::At;
use crate::web::page::capital;
use crate::web::worksheets::worked;
use axum::extract::RawQuery;
use axum::response::{IntoResponse, Redirect, Response};
use uuid::Uuid;

/// From a worksheet, which anybody may open, to the garage that this browser is in.
pub(super) async fn to_garage(
    At(name): At<String>,
    RawQuery(query): RawQuery,
    InGarage(keeper): InGarage,
) -> Result<Response, Fault> {
    let form = worksheet_form::form(&name).ok_or(Refusal::NotHere)?;
    match keeper.as_deref().map(|keeper| keeper.role) {
        Some(Role::Garage { garage }) => {
            let query = query.unwrap_or_default();
            Ok(Redirect::to(&format!("{}/worksheets/{}?{query}", base(garage), form.name)).into_response())
        }
        _ => Err(Refusal::NotNow("This browser is in no garage: open yours from your sheet, or by its link.".into()).into()),
    }
}

fn kept(name: &str, query: &str, place: Option<Place>, units: &Units) -> Result<Vec<Readings>, Fault> {
    let (input, output) = worked(name, query, units)?
        .ok_or_else(|| Fault::from(Refusal::NotNow("This worksheet is not worked out yet: go back and fill it in.".into())))?;
    Ok(readings(name, &input, &output, place))
}

fn page(looked: &Looked, name: &str, query: &str, id: Uuid, units: &Units) -> Result<FormPage, Fault> {
    let form = worksheet_form::form(name).ok_or(Refusal::NotHere)?;
    let places = asks_place(name).map(|per| per.places()).unwrap_or_default();
    // Where the place is still to be said, the readings are the same at each.
    let readings = kept(name, query, places.first().copied(), units)?;
    let unit_of = |readings: &Readings| shown_unit(readings.what, units);
    let said = readings.iter().map(|one| {
        let unit = unit_of(one);
        let figures = one.figures().into_iter().map(|(_, figure)| unit.figure(one.what.unit().convert(figure, unit)));
        format!("{} {} {}", one.what.name(), figures.collect::<Vec<_>>().join(", "), unit.symbol())
    });
    let said = said.collect::<Vec<_>>().join("; ");
    let cars = looked.garage.cars.iter().filter(|car| !car.gone).map(|car| (car.id.to_string(), car.name.clone()));
    let first = looked.garage.cars.iter().find(|car| !car.gone).map(|car| car.id.to_string()).unwrap_or_default();
    let mut blanks = vec![Blank::new("car", "Of which car", Ask::Taps(choices(cars))).value(first)];
    if !places.is_empty() {
        let places = choices(places.iter().map(|place| (place.token(), capital(&place.name()))));
        blanks.push(Blank::new("place", "Where", Ask::Taps(places)));
    }
    blanks.push(Blank::new("day", "Day", Ask::Day).half().value(looked.today.to_string()));
    blanks.push(Blank::new("clock", "Time, if you know it", Ask::Clock).half());
    blanks.push(Blank::new("query", "", Ask::Hidden).value(query));
    let back = format!("/worksheets/{name}?{query}");
    let action = format!("{}/worksheets/{name}", base(looked.id));
    let lead = if said.is_empty() { "There is nothing in it that belongs in a log.".to_owned() } else { format!("{said}.") };
    Ok(FormPage::new(format!("Keep in the log: {}", form.title), (back, "The worksheet"), action, id, blanks).lead(lead))
}

pub(super) async fn show(
    opened: Opened,
    At((_, name)): At<(Uuid, String)>,
    RawQuery(query): RawQuery,
) -> Result<Response, Fault> {
    page(&opened.looked, &name, &query.unwrap_or_default(), opened.new_id(), &opened.units)?.show()
}

pub(super) async fn keep(opened: Opened, At((_, name)): At<(Uuid, String)>, sent: Sent) -> Result<Response, Fault> {
    let id = sent.id;
    let page = page(&opened.looked, &name, sent.text("query"), id, &opened.units)?;
    let mut reader = Reader::of(&sent.typed);
    let car = reader.choice("car", |text| Uuid::parse_str(text).ok().filter(|car| opened.looked.garage.car(*car).is_some()));
    let per = asks_place(&name);
    let place = per.and_then(|per| reader.choice("place", |text| per.place(text).filter(|_| !text.is_empty())));
    let taken = Taken {
        day: reader.day("day", days_later(opened.looked.today, -3650)..=days_later(opened.looked.today, 1)),
        clock: reader.clock("clock"),
    };
    let Some(car) = car.filter(|_| reader.troubles.is_empty()) else { return page.again(&sent.typed, &reader.troubles) };
    let kept = kept(&name, sent.text("query"), place, &opened.units)?;
    if kept.is_empty() {
        let nothing = Refusal::NotNow("There is nothing in it that belongs in a log.".into());
        return page.after(&sent.typed, Err(nothing), "", opened.new_id());
    }
    // The first has the page's id: sent twice, all meet what is there.
    let changes: Vec<Noting> = kept
        .into_iter()
        .enumerate()
        .map(|(nth, readings)| (nth_id(id, nth), Change::Readings { car, taken, readings }))
        .collect();
    let noted = opened.notes(changes).await;
    page.after(&sent.typed, noted, &format!("{}/cars/{car}/log", opened.base()), opened.new_id())
}

/// An id for the n-th of several changes of one page.
fn nth_id(id: Uuid, nth: usize) -> Uuid {
    let mut bytes = id.into_bytes();
    bytes[15] ^= nth as u8;
    Uuid::from_bytes(bytes)
}
