//! Units of the reader's choice, kept on this browser.

use crate::acts::Refusal;
use crate::acts::rights::{Deed, Whose, require};
use crate::rules::units::{Quantity, Unit, Units};
use crate::store::entry;
use crate::web::Web;
use crate::web::draw::Plate;
use crate::web::error::Fault;
use crate::web::form::{At, Chosen, Form, UNITS_COOKIE};
use crate::web::page::{Page, render};
use crate::web::session::Who;
use askama::Template;
use axum::extract::State;
use axum::http::header::SET_COOKIE;
use axum::response::{IntoResponse, Redirect, Response};
use uuid::Uuid;

struct Row {
    name: &'static str,
    title: &'static str,
    units: Vec<Unit>,
    chosen: Unit,
}

#[derive(Template)]
#[template(path = "driver/units.html")]
struct UnitsPage {
    entry: Uuid,
    number: String,
    rows: Vec<Row>,
}

pub(super) async fn show(State(web): State<Web>, Who(actor): Who, At(id): At<Uuid>, Chosen(units): Chosen) -> Page {
    let known = web.house.event_of_entry(id).await?;
    require(&actor, Deed::FillIn, Whose::Entry { event: known.event.id, entry: id })?;
    let mut db = web.house.store.read().await?;
    let entry = entry::one(&mut db, id).await?.ok_or(Refusal::NotHere)?;
    let row = |name, title, chosen: Unit| Row { name, title, units: chosen.siblings(), chosen };
    let rows = vec![
        row("length", "Pads and tread", units.length),
        row("torque", "Torque", units.torque),
        row("pressure", "Pressure", units.pressure),
        row("temperature", "Temperature", units.temperature),
        row("mass", "Mass", units.mass),
        row("speed", "Speed", units.speed),
    ];
    render(&UnitsPage { entry: id, number: entry.number.to_string(), rows })
}

pub(super) async fn choose(State(web): State<Web>, At(entry): At<Uuid>, form: Form) -> Result<Response, Fault> {
    let mut units = Units::METRIC;
    for (name, quantity) in [
        ("length", Quantity::Length),
        ("torque", Quantity::Torque),
        ("pressure", Quantity::Pressure),
        ("temperature", Quantity::Temperature),
        ("mass", Quantity::Mass),
        ("speed", Quantity::Speed),
    ] {
        if let Some(unit) = Unit::parse(form.text(name)).filter(|unit| unit.quantity() == quantity) {
            units.choose(unit);
        }
    }
    let secure = if web.is_https() { "; Secure" } else { "" };
    let cookie = format!("{UNITS_COOKIE}={}; Path=/; Max-Age=31536000; SameSite=Lax{secure}", units.tokens());
    Ok(([(SET_COOKIE, cookie)], Redirect::to(&format!("/my/{entry}"))).into_response())
}
