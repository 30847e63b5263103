//! The pass of a cleared entry, on the phone and for the windscreen.

use super::Mine;
use crate::acts::pass::{self, Given};
use crate::web::Web;
use crate::web::code::Code;
use crate::web::draw::{Mark, Plate};
use crate::web::error::Fault;
use crate::web::form::{Asked, At, Chosen};
use crate::web::page::{Clock, long_day, render};
use crate::web::session::Who;
use askama::Template;
use axum::extract::State;
use axum::response::Html;
use uuid::Uuid;

#[derive(Template)]
#[template(path = "driver/pass.html", blocks = ["news"])]
struct PassPage<'a> {
    mine: &'a Mine,
    pass: Option<Given>,
    /// What the code holds: an address, in the letters of a code's denser alphabet.
    url: String,
    clock: Clock,
    day: String,
}

pub(super) async fn show(
    State(web): State<Web>,
    Who(actor): Who,
    At(id): At<Uuid>,
    Chosen(units): Chosen,
    Asked(asked): Asked,
) -> Result<Html<String>, Fault> {
    let reached = pass::reached(&web.house, id).await?;
    let mine = Mine::of(&web, &actor, id, &units).await?;
    let pass = pass::of_entry(&web.house, &mine.known, &mine.state, reached).await?;
    let url = pass.as_ref().map(|pass| format!("{}/P/{}", web.base.to_uppercase(), pass.text)).unwrap_or_default();
    let (clock, day) = (Clock::of(&mine.known.event), long_day(&mine.known.event.day));
    let page = PassPage { mine: &mine, pass, url, clock, day };
    if asked.text("part") == "news" { render(&page.as_news()) } else { render(&page) }
}
