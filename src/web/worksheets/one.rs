//! One worksheet: its form, what was typed, the outcome with its drawing, and how it is reckoned.

use super::address;
use super::answer::{AnswerView, Worked, in_other_system, view as answer_view, work_out};
use super::asked::{Asked, read};
use super::drawing::{Drawing, Sign};
use super::fields::{FormView, view as form_view};
use crate::rules::worksheet_form::{BlankTrouble, Form, System, form};
use crate::web::Web;
use crate::web::error::Fault;
use crate::web::form::{At, Chosen};
use crate::web::page::render;
use askama::Template;
use axum::extract::{RawQuery, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use jiff::tz::TimeZone;
use std::collections::BTreeMap;

#[derive(Template)]
#[template(path = "worksheets/one.html")]
struct OnePage {
    form: &'static Form,
    system: System,
    fields: FormView,
    troubles: Vec<TroubleView>,
    passed_over: Vec<String>,
    answer: Option<AnswerView>,
    example: Option<Drawing>,
    example_link: String,
    /// Where this page is in the one system and the other.
    metric: String,
    us: String,
    /// The address of what is filled in, without what is empty.
    own: String,
    begun: bool,
}

/// A trouble as the head of the page lists it.
struct TroubleView {
    id: String,
    name: String,
    message: String,
}

pub(super) async fn show(
    State(web): State<Web>,
    At(name): At<String>,
    RawQuery(query): RawQuery,
    Chosen(units): Chosen,
) -> Result<Response, Fault> {
    let form = form(&name).ok_or_else(no_such_worksheet)?;
    let Asked { system, typed, mut troubles, passed_over } = read(form, query.as_deref().unwrap_or_default(), &units)?;
    let worked = if troubles.is_empty() { work_out(form, &typed, system) } else { Worked::Nothing };
    let verdict = worked.verdict().map(str::to_owned);
    let answer = match worked {
        Worked::Done { input, output } => Some(answer_view(form, &input, &output, system)),
        Worked::Unusable(found) => {
            troubles = found;
            None
        }
        Worked::Nothing => None,
    };
    let status = if troubles.is_empty() { StatusCode::OK } else { StatusCode::UNPROCESSABLE_ENTITY };
    let today = web.house.now().to_zoned_datetime(TimeZone::UTC).strftime("%Y-%m-%d").to_string();
    let begun = typed.values().any(|text| !text.trim().is_empty());
    let in_system = |to: System| match to == system {
        true => address(form, &typed, system),
        false => address(form, &in_other_system(form, &typed, system, to, verdict.as_deref()), to),
    };
    let (example, example_link) = if begun { (None, String::new()) } else { example(form, system) };
    let page = OnePage {
        form,
        system,
        fields: form_view(form, &typed, &troubles, system, &today),
        troubles: troubles.iter().map(|trouble| trouble_view(form, trouble)).collect(),
        passed_over,
        answer,
        example,
        example_link,
        metric: in_system(System::Metric),
        us: in_system(System::Us),
        own: address(form, &typed, system),
        begun,
    };
    Ok((status, render(&page)?).into_response())
}

fn no_such_worksheet() -> Fault {
    Fault::new(
        StatusCode::NOT_FOUND,
        "There is no such worksheet",
        "The address is wrong. Every worksheet is listed under /worksheets.",
    )
}

/// The drawing of the example and its link, in the reader's units.
fn example(form: &'static Form, system: System) -> (Option<Drawing>, String) {
    let typed: BTreeMap<String, String> =
        form.example.iter().map(|(field, text)| ((*field).to_owned(), (*text).to_owned())).collect();
    let worked = work_out(form, &typed, System::Metric);
    let typed = match system {
        System::Us => in_other_system(form, &typed, System::Metric, System::Us, worked.verdict()),
        _ => typed,
    };
    let drawing = match work_out(form, &typed, system) {
        Worked::Done { input, output } => answer_view(form, &input, &output, system).drawing,
        _ => None,
    };
    (drawing, address(form, &typed, system))
}

fn trouble_view(form: &Form, trouble: &BlankTrouble) -> TroubleView {
    let blank = form.blanks.iter().find(|blank| blank.fields().contains(&trouble.field));
    let row = trouble.field.split('.').find_map(|part| part.parse::<usize>().ok());
    let name = match (blank, row, form.rows) {
        (Some(blank), Some(row), Some(rows)) => format!("{} {}, {}", rows.one, row + 1, blank.label.to_lowercase()),
        (Some(blank), ..) if !blank.within.is_empty() => format!("{}, {}", blank.within, blank.label.to_lowercase()),
        (Some(blank), ..) => blank.label.to_owned(),
        (None, ..) => "Units".to_owned(),
    };
    TroubleView { id: trouble.field.replace('.', "-"), name, message: trouble.message.clone() }
}
