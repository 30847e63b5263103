//! The garage as a whole: its link for another device, its calendar, a file of everything, taking it away.

use super::base;
use crate::acts::Refusal;
use crate::acts::garage::ends::{End, end_of};
use crate::acts::garage::note::id_made_of;
use crate::acts::garage::{calendar, keep as act};
use crate::acts::rights::Actor;
use crate::output;
use crate::store::device::Listed;
use crate::web::Web;
use crate::web::error::Fault;
use crate::web::form::{At, Form};
use crate::web::page::{Page, render};
use crate::web::session::{Who, end_cookie, end_cookies_of_garage};
use askama::Template;
use axum::extract::State;
use axum::http::StatusCode;
use axum::http::header::{CACHE_CONTROL, CONTENT_DISPOSITION, CONTENT_TYPE};
use axum::response::{IntoResponse, Redirect, Response};
use uuid::Uuid;

#[derive(Template)]
#[template(path = "garage/keep.html")]
struct KeepPage {
    base: String,
    devices: Vec<Listed>,
    own: Uuid,
    has_calendar: bool,
    /// Shown once, just after it was made.
    link: Option<String>,
    calendar: Option<String>,
    is_plain: bool,
    end: End,
    new_id: Uuid,
    /// What the same form made before, if it did.
    made_before: Option<&'static str>,
}

impl KeepPage {
    async fn of(web: &Web, actor: &Actor, garage: Uuid) -> Result<KeepPage, Fault> {
        Ok(KeepPage {
            base: base(garage),
            devices: act::devices(&web.house, actor, garage).await?,
            own: actor.device,
            has_calendar: act::has_calendar(&web.house, actor, garage).await?,
            link: None,
            calendar: None,
            is_plain: web.is_plain(),
            end: end_of(&web.house, actor, garage).await?,
            new_id: web.house.new_id(),
            made_before: None,
        })
    }
}

pub(super) async fn show(State(web): State<Web>, Who(actor): Who, At(garage): At<Uuid>) -> Page {
    render(&KeepPage::of(&web, &actor, garage).await?)
}

/// The page with a link that was just made.
pub(super) async fn with_link(web: &Web, actor: &Actor, garage: Uuid, secret: &str) -> Page {
    render(&KeepPage { link: Some(web.link(secret)), ..KeepPage::of(web, actor, garage).await? })
}

/// The id of what a button of the page does, which makes a secret: sent again, by a reload say, it makes no other.
fn id_of(form: &Form, what: &[u8]) -> Option<Uuid> {
    Uuid::parse_str(form.text("id")).ok().map(|page| id_made_of(&[page.as_bytes(), what]))
}

/// The page again where a secret was made by the same form before.
async fn made_before(web: &Web, actor: &Actor, garage: Uuid, what: &'static str) -> Result<Response, Fault> {
    let page = KeepPage { made_before: Some(what), ..KeepPage::of(web, actor, garage).await? };
    Ok((StatusCode::CONFLICT, render(&page)?).into_response())
}

pub(super) async fn link(State(web): State<Web>, Who(actor): Who, At(garage): At<Uuid>, form: Form) -> Result<Response, Fault> {
    match act::link_anew(&web.house, &actor, garage, id_of(&form, b"link")).await {
        Ok(made) => Ok(with_link(&web, &actor, garage, &made.secret).await?.into_response()),
        Err(Refusal::MadeBefore) => made_before(&web, &actor, garage, "A link").await,
        Err(other) => Err(other.into()),
    }
}

/// Makes the calendar's address, or ends it.
pub(super) async fn calendar(
    State(web): State<Web>,
    Who(actor): Who,
    At(garage): At<Uuid>,
    form: Form,
) -> Result<Response, Fault> {
    let wanted = form.text("end").is_empty();
    let secret = match act::calendar_secret(&web.house, &actor, garage, wanted, id_of(&form, b"calendar")).await {
        Err(Refusal::MadeBefore) => return made_before(&web, &actor, garage, "An address").await,
        other => other?,
    };
    let address = secret.map(|secret| format!("{}/calendar/{secret}.ics", web.base));
    Ok(render(&KeepPage { calendar: address, ..KeepPage::of(&web, &actor, garage).await? })?.into_response())
}

pub(super) async fn end_device(
    State(web): State<Web>,
    Who(actor): Who,
    At((garage, device)): At<(Uuid, Uuid)>,
) -> Result<Response, Fault> {
    act::end_device(&web.house, &actor, garage, device).await?;
    Ok(Redirect::to(&format!("{}/keep", base(garage))).into_response())
}

pub(super) async fn file(State(web): State<Web>, Who(actor): Who, At(garage): At<Uuid>) -> Result<Response, Fault> {
    let file = act::file(&web.house, &actor, garage).await?;
    let head = [(CONTENT_TYPE, "application/json"), (CONTENT_DISPOSITION, "attachment; filename=\"garage.json\"")];
    Ok((head, file.to_string()).into_response())
}

/// Signs this browser out, of the garage's sheets too: a shared computer is left for good.
pub(super) async fn sign_out(State(web): State<Web>, Who(actor): Who, At(garage): At<Uuid>) -> Result<Response, Fault> {
    let sheets = act::sign_out(&web.house, &actor, garage).await?;
    Ok((end_cookies_of_garage(&web, actor.role, &sheets), Redirect::to("/")).into_response())
}

/// Takes everything away, where the word was typed: it cannot be undone.
pub(super) async fn take_away(
    State(web): State<Web>,
    Who(actor): Who,
    At(garage): At<Uuid>,
    form: Form,
) -> Result<Response, Fault> {
    if !form.text("word").eq_ignore_ascii_case("everything") {
        let words = "Type the word everything into the field: what is taken away cannot be brought back.";
        return Err(Refusal::NotNow(words.into()).into());
    }
    act::take_away(&web.house, &actor, garage).await?;
    Ok((end_cookie(&web, actor.role), Redirect::to("/")).into_response())
}

/// The calendar itself. Who has its address reads its due days, and nothing else of the garage.
pub(super) async fn feed(State(web): State<Web>, At(secret): At<String>) -> Result<Response, Fault> {
    let secret = secret.strip_suffix(".ics").unwrap_or(&secret);
    let dues = calendar::by_secret(&web.house, secret).await?;
    let text = output::calendar::calendar("Garage", &dues, web.house.now());
    Ok(([(CONTENT_TYPE, "text/calendar; charset=utf-8"), (CACHE_CONTROL, "private, max-age=900")], text).into_response())
}
