//! The club's fault guide: the file as it is, to be edited.

use crate::acts::Refusal;
use crate::acts::garage::guide::{self, Edition};
use crate::acts::rights::{Deed, Whose, require};
use crate::rules::answer::Trouble;
use crate::store::club;
use crate::web::Web;
use crate::web::error::Fault;
use crate::web::form::Form;
use crate::web::page::{Page, render, utc};
use crate::web::session::Who;
use askama::Template;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{Html, IntoResponse, Redirect, Response};

#[derive(Template)]
#[template(path = "organizer/guide.html")]
struct GuidePage {
    club: String,
    edition: Edition,
    trouble: Option<Trouble>,
}

impl GuidePage {
    async fn read(web: &Web) -> Result<GuidePage, Fault> {
        let edition = guide::edition(&web.house).await?;
        let mut db = web.house.store.read().await?;
        let club = club::name(&mut db).await?.unwrap_or_else(|| "The club".into());
        Ok(GuidePage { club, edition, trouble: None })
    }

    fn is(&self) -> String {
        match &self.edition.made {
            Some((by, at)) => format!("Edition {}, by {by}, {}.", self.edition.number, utc(at)),
            None => "The guide that comes with the program; nobody has changed it.".into(),
        }
    }
}

pub(super) async fn show(State(web): State<Web>, Who(actor): Who) -> Page {
    require(&actor, Deed::RunTheClub, Whose::Club)?;
    render(&GuidePage::read(&web).await?)
}

pub(super) async fn edit(State(web): State<Web>, Who(actor): Who, form: Form) -> Result<Response, Fault> {
    match guide::edit(&web.house, &actor, form.raw("file").to_owned()).await {
        Ok(()) => Ok(Redirect::to("/club/guide").into_response()),
        Err(Refusal::Fields(troubles)) => {
            let mut page = GuidePage::read(&web).await?;
            page.edition.file = form.raw("file").to_owned();
            page.trouble = troubles.into_iter().next();
            Ok((StatusCode::UNPROCESSABLE_ENTITY, Html(page.render()?)).into_response())
        }
        Err(other) => Err(other.into()),
    }
}
