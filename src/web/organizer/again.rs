//! A form that makes a link, sent again: by a reload, say. It makes no other, for that would end the link it made.

use crate::acts::Refusal;
use crate::acts::garage::note::id_made_of;
use crate::acts::house::KnownEvent;
use crate::web::Web;
use crate::web::error::Fault;
use crate::web::form::Form;
use askama::Template;
use axum::http::StatusCode;
use axum::response::{Html, IntoResponse, Response};
use uuid::Uuid;

/// The id of what a form does: the page's own id, and which of the page's forms it is. `None` for a form without an id.
pub(super) fn id_of(form: &Form, what: &[&[u8]]) -> Option<Uuid> {
    let page = Uuid::parse_str(form.text("id")).ok()?;
    Some(id_made_of(&[&[&page.as_bytes()[..]], what].concat()))
}

/// Asks before another link is made.
#[derive(Template)]
#[template(path = "organizer/again.html")]
struct Again<'a> {
    known: &'a KnownEvent,
    /// Where the form goes, with what it carried.
    action: String,
    fields: Vec<(&'a str, &'a str)>,
    new_id: Uuid,
    /// `roster` or `people`.
    back: &'static str,
}

impl Again<'_> {
    fn is_of(&self, page: &str) -> bool {
        self.back == page
    }
}

/// What comes of a form that made a link, or the question whether another one is meant.
pub(super) fn or_ask<T>(
    web: &Web,
    known: &KnownEvent,
    (form, action, back): (&Form, String, &'static str),
    made: Result<T, Refusal>,
    show: impl FnOnce(T) -> Result<Response, Fault>,
) -> Result<Response, Fault> {
    match made {
        Ok(made) => show(made),
        Err(Refusal::MadeBefore) => {
            let fields = form.pairs().filter(|(name, _)| *name != "id").collect();
            let page = Again { known, action, fields, new_id: web.house.new_id(), back };
            Ok((StatusCode::CONFLICT, Html(page.render()?)).into_response())
        }
        Err(other) => Err(other.into()),
    }
}
