//! Units of the reader's choice, kept on this browser: the same page for drivers, inspectors and organizers.

use super::Web;
use super::error::Fault;
use super::form::{Chosen, Form, UNITS_COOKIE};
use super::page::{Page, render};
use crate::rules::units::{Quantity, Unit, Units};
use askama::Template;
use axum::extract::{OriginalUri, State};
use axum::http::Uri;
use axum::http::header::SET_COOKIE;
use axum::response::{IntoResponse, Redirect, Response};

struct Row {
    name: &'static str,
    title: &'static str,
    units: Vec<Unit>,
    chosen: Unit,
}

#[derive(Template)]
#[template(path = "front/units.html")]
struct UnitsPage {
    back: String,
    rows: Vec<Row>,
}

/// The page that the units page belongs to: its own address without its last part.
fn back(uri: &Uri) -> String {
    uri.path().trim_end_matches("/units").to_owned()
}

pub(super) async fn show(OriginalUri(uri): OriginalUri, Chosen(units): Chosen) -> Page {
    let row = |name, title, chosen: Unit| Row { name, title, units: chosen.choices(1.0), chosen };
    let rows = vec![
        row("length", "Pads and tread", units.length),
        row("torque", "Torque", units.torque),
        row("pressure", "Pressure", units.pressure),
        row("temperature", "Temperature", units.temperature),
        row("mass", "Mass", units.mass),
        row("speed", "Speed", units.speed),
    ];
    render(&UnitsPage { back: back(&uri), rows })
}

pub(super) async fn choose(State(web): State<Web>, OriginalUri(uri): OriginalUri, form: Form) -> Result<Response, Fault> {
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
    let cookie = format!("{UNITS_COOKIE}={}; Path=/; Max-Age=31536000; HttpOnly; SameSite=Lax{secure}", units.tokens());
    Ok(([(SET_COOKIE, cookie)], Redirect::to(&back(&uri))).into_response())
}
