//! The worksheets, for anybody: a list of them, and a page for each. A filled-in worksheet is a link, since the form is sent
//! by GET. Nothing is stored and nobody signs in.

mod answer;
mod asked;
mod drawing;
mod fields;
mod one;

use super::doors::Doors;
use super::error::Fault;
use super::form::Chosen;
use super::page::{Page, render};
use crate::acts::Refusal;
use crate::acts::rights::Deed;
use crate::rules::units::{Unit, Units};
use crate::rules::worksheet_form::{FORMS, Form, Subject, System, form};
use askama::Template;
use axum::extract::RawQuery;
use serde_json::{Map, Value as Json};
use std::collections::BTreeMap;

pub(super) fn doors() -> Doors {
    Doors::new().get("/", Deed::LookIn, list).get("/{name}", Deed::LookIn, one::show)
}

#[derive(Template)]
#[template(path = "worksheets/list.html")]
struct List {
    subjects: Vec<(Subject, Vec<&'static Form>)>,
    system: System,
}

async fn list(RawQuery(query): RawQuery, Chosen(units): Chosen) -> Page {
    let query = query.unwrap_or_default();
    let word = form_urlencoded::parse(query.as_bytes()).find(|(name, _)| name == "units").map(|(_, word)| word.into_owned());
    let system = word.as_deref().and_then(asked::system_of).unwrap_or_else(|| system_by(&units));
    let of = |subject: Subject| (subject, FORMS.into_iter().filter(|form| form.subject == subject).collect());
    render(&List { subjects: Subject::ALL.map(of).into(), system })
}

/// A worksheet's input and outcome, as an address holds it; `None` where it is not filled in, or not so that it can be worked out.
pub(super) fn worked(name: &str, query: &str, units: &Units) -> Result<Option<Reckoned>, Fault> {
    let form = form(name).ok_or(Refusal::NotHere)?;
    let asked = asked::read(form, query, units)?;
    Ok(match answer::work_out(form, &asked.typed, asked.system) {
        answer::Worked::Done { input, output } if asked.troubles.is_empty() => Some((input, output)),
        _ => None,
    })
}

/// What went into a worksheet and what came of it.
pub(super) type Reckoned = (Map<String, Json>, Map<String, Json>);

/// The system of a reader who chose units on this browser.
fn system_by(units: &Units) -> System {
    if units.length == Unit::Millimetre { System::Metric } else { System::Us }
}

/// The address of a worksheet with what was typed, without what was left empty.
fn address(form: &Form, typed: &BTreeMap<String, String>, system: System) -> String {
    let mut query = form_urlencoded::Serializer::new(String::new());
    query.append_pair("units", system.word());
    for field in form.blanks.iter().flat_map(crate::rules::worksheet_form::Blank::fields) {
        if let Some(text) = typed.get(&field).filter(|text| !text.trim().is_empty()) {
            query.append_pair(&field, text.trim());
        }
    }
    format!("/worksheets/{}?{}", form.name, query.finish())
}
