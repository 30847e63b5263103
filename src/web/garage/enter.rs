//! From a sheet to the garage: opening one, or bringing the sheet to a car that is in it.

use super::base;
use super::keep::with_link;
use super::still::InGarage;
use crate::acts::Refusal;
use crate::acts::enter::Caller;
use crate::acts::garage::look::look;
use crate::acts::garage::open::{bring, open, to_sheet};
use crate::acts::rights::Role;
use crate::rules::units::Units;
use crate::rules::words::ItemId;
use crate::store::entry;
use crate::web::Web;
use crate::web::error::Fault;
use crate::web::form::{Asked, At, Form};
use crate::web::page::render;
use crate::web::session::{Called, Who, secrets, set_cookie};
use askama::Template;
use axum::extract::State;
use axum::http::HeaderMap;
use axum::http::header::SET_COOKIE;
use axum::response::{IntoResponse, Redirect, Response};
use uuid::Uuid;

#[derive(Template)]
#[template(path = "garage/enter.html")]
struct EnterPage {
    entry: Uuid,
    car: String,
    /// Cars that are in the garage already; `None` where this browser is in no garage.
    cars: Option<Vec<(Uuid, String)>>,
    new_id: Uuid,
    is_plain: bool,
}

pub(super) async fn show(
    State(web): State<Web>,
    Who(actor): Who,
    At(id): At<Uuid>,
    InGarage(keeper): InGarage,
) -> Result<Response, Fault> {
    let cars = match keeper.as_deref() {
        None => None,
        Some(keeper) => {
            let Role::Garage { garage } = keeper.role else { return Err(Refusal::NotHere.into()) };
            let looked = look(&web.house, keeper, garage, &Units::METRIC).await?;
            // Brought by a link that was taken back since, it is brought anew.
            let is_brought = looked.garage.brought.get(&id) == Some(&actor.link);
            if let Some((car, _)) = looked.garage.day_of_entry(id).filter(|_| is_brought) {
                return Ok(Redirect::to(&format!("{}/cars/{}", base(garage), car.id)).into_response());
            }
            let there = looked.garage.day_of_entry(id).map(|(car, _)| car.id);
            let mut cars: Vec<_> = looked.garage.cars.iter().filter(|car| !car.gone).collect();
            cars.sort_by_key(|car| Some(car.id) != there);
            Some(cars.into_iter().map(|car| (car.id, car.name.clone())).collect())
        }
    };
    let mut db = web.house.store.read().await?;
    let car = entry::one(&mut db, id).await?.ok_or(Refusal::NotHere)?.car;
    Ok(render(&EnterPage { entry: id, car, cars, new_id: web.house.new_id(), is_plain: web.is_plain() })?.into_response())
}

pub(super) async fn enter(
    State(web): State<Web>,
    Who(actor): Who,
    At(entry): At<Uuid>,
    InGarage(keeper): InGarage,
    Called(caller): Called,
    form: Form,
) -> Result<Response, Fault> {
    if form.text("deed") == "open" {
        return match open(&web.house, &actor, entry, form.id("id")?, &caller).await {
            Ok(opened) => {
                let cookie = set_cookie(&web, &opened.entered, false);
                let page = with_link(&web, &opened.entered.actor, opened.garage, &opened.secret).await?;
                Ok(([(SET_COOKIE, cookie)], page).into_response())
            }
            // Tapped twice: the garage is there, or the page is old.
            Err(Refusal::IdTaken) => Ok(Redirect::to(&format!("/my/{entry}/garage")).into_response()),
            Err(other) => Err(other.into()),
        };
    }
    let none = || Refusal::NotNow("This browser is in no garage: open yours here, or by its link.".into());
    let keeper = keeper.ok_or_else(none)?;
    let car =
        Some(form.text("car")).filter(|car| *car != "new").map(Uuid::parse_str).transpose().map_err(|_| Refusal::NotHere)?;
    match bring(&web.house, (&actor, &keeper), entry, form.id("id")?, car).await {
        // An old page: it is made anew.
        Ok(()) | Err(Refusal::IdTaken) => {}
        Err(other) => return Err(other.into()),
    }
    Ok(Redirect::to(&format!("/my/{entry}/garage")).into_response())
}

/// From the garage to a sheet that was brought to it, at an item where one is named.
pub(super) async fn to_the_sheet(
    State(web): State<Web>,
    Who(actor): Who,
    At((_, sheet)): At<(Uuid, Uuid)>,
    Called(caller): Called,
    headers: HeaderMap,
    Asked(asked): Asked,
) -> Result<Response, Fault> {
    // The garage's own secret stands for the browser: it gets one way in, however often it asks.
    let mut door = None;
    for secret in secrets(&headers, "/my") {
        if web.house.actor(&secret).await?.is_some_and(|other| other.device == actor.device) {
            door = Some(secret);
        }
    }
    let entered = to_sheet(&web.house, &actor, sheet, &Caller { door, ..caller }).await?;
    let (area, item) = (ItemId::parse(asked.text("area")), ItemId::parse(asked.text("item")));
    let at = area.zip(item).map(|(area, item)| format!("/areas/{area}#{item}")).unwrap_or_default();
    let cookie = set_cookie(&web, &entered, false);
    Ok(([(SET_COOKIE, cookie)], Redirect::to(&format!("/my/{sheet}{at}"))).into_response())
}
