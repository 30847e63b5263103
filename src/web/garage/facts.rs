//! What is fixed about a car, and the car's name: entered once, offered to every form.

use super::base;
use super::blanks::{Ask, Blank, FormPage, choices};
use super::opened::{Opened, Sent};
use crate::acts::garage::look::Looked;
use crate::acts::garage::note::id_made_of;
use crate::rules::answer::{Trouble, Typed};
use crate::rules::garage::book::Car;
use crate::rules::garage::change::Change;
use crate::rules::garage::kinds::{Asks, FIXED, Fixed};
use crate::rules::garage::typed::Reader;
use crate::rules::tyres::DateCode;
use crate::rules::units::{Unit, Units};
use crate::rules::words::Per;
use crate::web::Web;
use crate::web::error::Fault;
use crate::web::form::At;
use axum::extract::State;
use axum::response::Response;
use jiff::civil::Date;
use std::collections::BTreeMap;
use uuid::Uuid;

fn page(looked: &Looked, car: &Car, id: Uuid, units: &Units) -> FormPage {
    let mut blanks = vec![Blank::new("name", "What you call the car", Ask::Line(60)).value(&car.name)];
    blanks.push(Blank::new("", "Fixed about it", Ask::Head).help(
        "Entered once, offered to every sheet with its date. Leave empty what you do not know: never guess a torque or a load.",
    ));
    for fixed in &FIXED {
        blanks.extend(blanks_of(fixed, car.fact(fixed.item), units));
    }
    let at = format!("{}/cars/{}", base(looked.id), car.id);
    FormPage::new(format!("About the {}", car.name), (at.clone(), "The car"), format!("{at}/facts"), id, blanks)
        .lead("From the handbook, the door label and the parts themselves.")
}

fn blanks_of(fixed: &Fixed, known: Option<&Typed>, units: &Units) -> Vec<Blank> {
    let value = |name: &str| known.and_then(|typed| typed.get(name)).cloned().unwrap_or_default();
    match fixed.asks {
        Asks::Text => vec![Blank::new(fixed.item, fixed.say, Ask::Line(80)).help(fixed.help).value(value(""))],
        Asks::Choice(all) => {
            vec![Blank::new(fixed.item, fixed.say, Ask::Taps(choices(all.iter().copied()))).help(fixed.help).value(value(""))]
        }
        Asks::Number(unit, (_, most)) => {
            let shown = units.for_unit(unit, most);
            let noted = Unit::parse(&value("unit")).unwrap_or(unit);
            let figure = match value("").parse::<f64>() {
                Ok(number) if noted != shown => shown.figure(noted.convert(number, shown)),
                _ => value(""),
            };
            vec![Blank::new(fixed.item, fixed.say, Ask::Number).help(fixed.help).unit(shown.symbol()).value(figure)]
        }
        Asks::TyreCodes => {
            let head = Blank::new("", fixed.say, Ask::Head).help(fixed.help);
            let places = Per::Corner.places().into_iter();
            let codes = places.map(|place| {
                let name = format!("{}.{}", fixed.item, place.token());
                Blank::new(name, crate::web::page::capital(&place.name()), Ask::Line(40)).half().value(value(&place.token()))
            });
            std::iter::once(head).chain(codes).collect()
        }
    }
}

/// Reads what was typed: the name, and what is fixed.
fn read(typed: &Typed, units: &Units, today: Date) -> Result<(String, BTreeMap<String, Typed>), Vec<Trouble>> {
    let mut reader = Reader::of(typed);
    let name = reader.line("name", 60, "Give the car a name that you know it by.");
    let mut facts = BTreeMap::new();
    for fixed in &FIXED {
        let mut fact = Typed::new();
        match fixed.asks {
            Asks::Text => drop(fact.insert(String::new(), reader.text(fixed.item, 80))),
            Asks::Choice(all) => {
                let chosen = reader.raw(fixed.item);
                if !chosen.is_empty() && all.iter().all(|(value, _)| *value != chosen) {
                    reader.trouble(fixed.item, "Choose one of the answers listed.");
                }
                fact.insert(String::new(), chosen.to_owned());
            }
            Asks::Number(unit, (low, most)) => {
                let shown = units.for_unit(unit, most);
                let within = unit.convert(low, shown)..=unit.convert(most, shown);
                let number = reader.number(fixed.item, within, shown.symbol());
                fact.insert(String::new(), number.map(|number| number.to_string()).unwrap_or_default());
                if number.is_some() {
                    fact.insert("unit".into(), shown.token().into());
                }
            }
            Asks::TyreCodes => {
                for place in Per::Corner.places() {
                    let name = format!("{}.{}", fixed.item, place.token());
                    let code = reader.raw(&name);
                    if !code.is_empty()
                        && let Err(error) = DateCode::parse(code).and_then(|code| code.check_not_after(today))
                    {
                        reader.trouble(&name, error.to_string());
                    }
                    fact.insert(place.token(), code.to_owned());
                }
            }
        }
        facts.insert(fixed.item.to_owned(), fact);
    }
    reader.finish((name, facts))
}

pub(super) async fn show(opened: Opened, At((_, car)): At<(Uuid, Uuid)>) -> Result<Response, Fault> {
    page(&opened.looked, opened.car(car)?, opened.new_id(), &opened.units).show()
}

pub(super) async fn keep(opened: Opened, At((_, car)): At<(Uuid, Uuid)>, sent: Sent) -> Result<Response, Fault> {
    let id = sent.id;
    let page = page(&opened.looked, opened.car(car)?, id, &opened.units);
    match read(&sent.typed, &opened.units, opened.looked.today) {
        Err(troubles) => page.again(&sent.typed, &troubles),
        Ok((name, facts)) => {
            let mut changes = vec![(id, Change::Facts { car, facts })];
            if opened.car(car)?.name != name {
                changes.push((id_made_of(&[id.as_bytes(), b"name"]), Change::Car { car, name }));
            }
            let noted = opened.notes(changes).await;
            page.after(&sent.typed, noted, &format!("{}/cars/{car}", opened.base()), opened.new_id())
        }
    }
}

fn new_page(garage: Uuid, id: Uuid) -> FormPage {
    let blanks =
        vec![Blank::new("name", "What you call the car", Ask::Line(60)).help("Make and year, or the name you have for it.")];
    FormPage::new("Another car", (base(garage), "Garage"), format!("{}/cars", base(garage)), id, blanks)
        .button("Put it in the garage")
}

pub(super) async fn new(State(web): State<Web>, At(garage): At<Uuid>) -> Result<Response, Fault> {
    new_page(garage, web.house.new_id()).show()
}

/// The page's id is the car's: sent twice, it is one car.
pub(super) async fn add(opened: Opened, sent: Sent) -> Result<Response, Fault> {
    let (garage, id) = (opened.looked.id, sent.id);
    let mut reader = Reader::of(&sent.typed);
    let name = reader.line("name", 60, "Give the car a name that you know it by.");
    let change = reader.finish(Change::Car { car: id, name });
    opened.settles(new_page(garage, id), &sent, change, &format!("{}/cars/{id}/facts", opened.base())).await
}

/// The car is sold or scrapped: it leaves the list, its log stays.
pub(super) async fn gone(opened: Opened, At((_, car)): At<(Uuid, Uuid)>, sent: Sent) -> Result<Response, Fault> {
    opened.taps(&sent, Change::CarGone { car }, &opened.base()).await
}
