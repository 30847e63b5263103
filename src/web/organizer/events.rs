//! The club's events, and making one.

use crate::acts::Refusal;
use crate::acts::open_event::{EventForm, open_event};
use crate::acts::rights::{Deed, Whose, require};
use crate::rules::answer::Trouble;
use crate::store::club::{self, Edition};
use crate::store::event::{self, Event};
use crate::web::Web;
use crate::web::error::Fault;
use crate::web::form::Form;
use crate::web::page::{Page, render};
use crate::web::session::Who;
use askama::Template;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{Html, IntoResponse, Redirect, Response};

#[derive(Template)]
#[template(path = "organizer/events.html")]
struct Events {
    club: String,
    events: Vec<Event>,
    editions: Vec<Edition>,
    form: EventForm,
    troubles: Vec<Trouble>,
}

impl Events {
    async fn read(web: &Web, form: EventForm, troubles: Vec<Trouble>) -> Result<Events, Fault> {
        let mut db = web.house.store.read().await?;
        let club = club::name(&mut db).await?.unwrap_or_else(|| "The club".into());
        Ok(Events { club, events: event::all(&mut db).await?, editions: club::editions(&mut db).await?, form, troubles })
    }

    fn trouble(&self, name: &str) -> Option<&str> {
        self.troubles.iter().find(|trouble| trouble.field == name).map(|trouble| trouble.message.as_str())
    }
}

pub(super) async fn list(State(web): State<Web>, Who(actor): Who) -> Page {
    require(&actor, Deed::RunTheClub, Whose::Club)?;
    let form = EventForm { zone: "Europe/London".into(), groups: "A 09:00\nB 09:20\nC 09:40".into(), ..EventForm::default() };
    render(&Events::read(&web, form, Vec::new()).await?)
}

pub(super) async fn make(State(web): State<Web>, Who(actor): Who, form: Form) -> Result<Response, Fault> {
    let text = |name| form.text(name).to_owned();
    let given = EventForm {
        name: text("name"),
        venue: text("venue"),
        day: text("day"),
        zone: text("zone"),
        groups: text("groups"),
        edition: text("edition"),
    };
    match open_event(&web.house, &actor, &given).await {
        Ok(event) => Ok(Redirect::to(&format!("/club/events/{event}/roster")).into_response()),
        Err(Refusal::Fields(troubles)) => {
            let page = Events::read(&web, given, troubles).await?;
            Ok((StatusCode::UNPROCESSABLE_ENTITY, Html(page.render()?)).into_response())
        }
        Err(other) => Err(other.into()),
    }
}
