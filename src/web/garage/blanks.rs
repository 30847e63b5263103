//! The garage's forms: blanks with what was typed and the trouble at each, one template for all of them.

use crate::acts::Refusal;
use crate::rules::answer::{Trouble, Typed};
use crate::web::error::Fault;
use crate::web::page::{capital, render};
use askama::Template;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use uuid::Uuid;

/// One of several answers.
pub(super) struct Choice {
    pub value: String,
    pub say: String,
}

/// What is asked for in a blank.
pub(super) enum Ask {
    Line(usize),
    Long(usize),
    Number,
    /// May be below nought: a phone's keypad for numbers has no minus on it.
    Signed,
    Day,
    Clock,
    Taps(Vec<Choice>),
    List(Vec<Choice>),
    Tick,
    /// A heading, and nothing to fill in.
    Head,
    Hidden,
}

/// One blank.
pub(super) struct Blank {
    pub name: String,
    pub label: String,
    pub help: String,
    pub unit: String,
    pub ask: Ask,
    pub value: String,
    pub trouble: Option<String>,
    /// Stands beside its neighbour.
    pub half: bool,
}

impl Blank {
    pub fn new(name: impl Into<String>, label: impl Into<String>, ask: Ask) -> Blank {
        let (name, label) = (name.into(), label.into());
        Blank { name, label, help: String::new(), unit: String::new(), ask, value: String::new(), trouble: None, half: false }
    }

    pub fn help(self, help: impl Into<String>) -> Blank {
        Blank { help: help.into(), ..self }
    }

    pub fn unit(self, unit: &str) -> Blank {
        Blank { unit: unit.to_owned(), ..self }
    }

    pub fn half(self) -> Blank {
        Blank { half: true, ..self }
    }

    pub fn value(self, value: impl Into<String>) -> Blank {
        Blank { value: value.into(), ..self }
    }

    /// The word that the template asks for.
    pub fn kind(&self) -> &'static str {
        match self.ask {
            Ask::Line(_) => "line",
            Ask::Long(_) => "long",
            Ask::Number => "number",
            Ask::Signed => "signed",
            Ask::Day => "date",
            Ask::Clock => "time",
            Ask::Taps(_) => "taps",
            Ask::List(_) => "list",
            Ask::Tick => "tick",
            Ask::Head => "head",
            Ask::Hidden => "hidden",
        }
    }

    pub fn longest(&self) -> usize {
        if let Ask::Line(longest) | Ask::Long(longest) = self.ask { longest } else { 24 }
    }

    pub fn choices(&self) -> &[Choice] {
        if let Ask::Taps(choices) | Ask::List(choices) = &self.ask { choices } else { &[] }
    }
}

/// Answers to choose from, as value and words.
pub(super) fn choices<V: Into<String>, S: Into<String>>(all: impl IntoIterator<Item = (V, S)>) -> Vec<Choice> {
    all.into_iter().map(|(value, say)| Choice { value: value.into(), say: say.into() }).collect()
}

/// Said where a page's id stands for something else that was sent from it.
const SENT_BEFORE: &str =
    "This page was sent before, with something else in it. What stands below is not saved yet: send it again to save it too.";

/// A page with one form.
#[derive(Template)]
#[template(path = "garage/form.html")]
pub(super) struct FormPage {
    pub title: String,
    pub lead: String,
    pub caution: String,
    /// Where Back leads and what it is called.
    pub back: (String, String),
    pub action: String,
    pub button: String,
    pub id: Uuid,
    pub blanks: Vec<Blank>,
    /// What is in the way, where it is no field's.
    pub alert: Option<String>,
}

impl FormPage {
    pub fn new(title: impl Into<String>, back: (String, &str), action: String, id: Uuid, blanks: Vec<Blank>) -> FormPage {
        FormPage {
            title: title.into(),
            lead: String::new(),
            caution: String::new(),
            back: (back.0, back.1.to_owned()),
            action,
            button: "Keep it".into(),
            id,
            blanks,
            alert: None,
        }
    }

    pub fn lead(self, lead: impl Into<String>) -> FormPage {
        FormPage { lead: lead.into(), ..self }
    }

    pub fn caution(self, caution: impl Into<String>) -> FormPage {
        FormPage { caution: caution.into(), ..self }
    }

    pub fn button(self, button: &str) -> FormPage {
        FormPage { button: button.into(), ..self }
    }

    /// The page with what was typed in place of what it would begin with.
    pub fn typed(mut self, typed: &Typed, troubles: &[Trouble]) -> FormPage {
        for blank in &mut self.blanks {
            blank.value = typed.get(&blank.name).cloned().unwrap_or_default();
            blank.trouble = troubles.iter().find(|trouble| trouble.field == blank.name).map(|trouble| trouble.message.clone());
        }
        let placed = |trouble: &&Trouble| self.blanks.iter().any(|blank| blank.name == trouble.field);
        let lost: Vec<&str> =
            troubles.iter().filter(|trouble| !placed(trouble)).map(|trouble| trouble.message.as_str()).collect();
        if !lost.is_empty() {
            self.alert = Some(lost.join(" "));
        }
        self
    }

    pub fn troubles(&self) -> usize {
        self.blanks.iter().filter(|blank| blank.trouble.is_some()).count()
    }

    pub fn show(&self) -> Result<Response, Fault> {
        Ok(render(self)?.into_response())
    }

    /// The page again, with what is in the way.
    pub fn again(self, typed: &Typed, troubles: &[Trouble]) -> Result<Response, Fault> {
        Ok((StatusCode::UNPROCESSABLE_ENTITY, render(&self.typed(typed, troubles))?).into_response())
    }

    /// What comes of noting it: on to the next page, or this one again with what was typed and why not. Where its id is used up,
    /// it comes back under a `fresh` one.
    pub fn after(self, typed: &Typed, noted: Result<(), Refusal>, to: &str, fresh: Uuid) -> Result<Response, Fault> {
        let (alert, id, status) = match noted {
            Ok(()) => return Ok(Redirect::to(to).into_response()),
            Err(Refusal::NotNow(words)) => (words, self.id, StatusCode::CONFLICT),
            Err(Refusal::IdTaken) => (SENT_BEFORE.to_owned(), fresh, StatusCode::CONFLICT),
            Err(Refusal::TooMuch(words)) => (format!("{}.", capital(&words)), self.id, StatusCode::PAYLOAD_TOO_LARGE),
            Err(other) => return Err(other.into()),
        };
        let page = FormPage { alert: Some(alert), id, ..self.typed(typed, &[]) };
        Ok((status, render(&page)?).into_response())
    }
}
