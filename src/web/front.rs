//! The front door: the first page, coming in by a private link, going out, the privacy of both.

use super::Web;
use super::error::Fault;
use super::form::At;
use super::page::{Page, render};
use super::session::{home_of, set_cookie};
use crate::acts::enter::enter;
use crate::store::club;
use askama::Template;
use axum::Router;
use axum::extract::State;
use axum::http::header::SET_COOKIE;
use axum::response::{IntoResponse, Redirect, Response};
use axum::routing::get;

pub(super) fn routes() -> Router<Web> {
    Router::new().route("/", get(first)).route("/in/{secret}", get(come_in)).route("/alive", get(alive))
}

#[derive(Template)]
#[template(path = "front/first.html")]
struct First {
    club: Option<String>,
}

async fn first(State(web): State<Web>) -> Page {
    let mut db = web.house.store.read().await?;
    render(&First { club: club::name(&mut db).await? })
}

/// A private link: it may be opened on as many devices as its holder has, each gets a cookie of its own.
async fn come_in(State(web): State<Web>, At(secret): At<String>) -> Result<Response, Fault> {
    let entered = enter(&web.house, &secret).await?;
    let cookie = set_cookie(&web, entered.actor.role, &entered.cookie, entered.days);
    Ok(([(SET_COOKIE, cookie)], Redirect::to(&home_of(entered.actor.role))).into_response())
}

/// For a watchdog: answers once the database can be read.
async fn alive(State(web): State<Web>) -> Result<&'static str, Fault> {
    let mut db = web.house.store.read().await?;
    club::name(&mut db).await?;
    Ok("alive\n")
}
