//! Who is asking: the cookie of this part of the site, looked up once. What they may do is the acts' to say.

use super::Web;
use super::error::Fault;
use crate::acts::Refusal;
use crate::acts::rights::{Actor, Role};
use axum::extract::FromRequestParts;
use axum::http::HeaderMap;
use axum::http::header::COOKIE;
use axum::http::request::Parts;
use std::sync::Arc;

/// The cookie's name. Each role has it under its own path, so that one phone can be a driver's and an inspector's.
const NAME: &str = "witnessmark";

/// The person who asks, let in by a link.
pub struct Who(pub Arc<Actor>);

impl FromRequestParts<Web> for Who {
    type Rejection = Fault;

    async fn from_request_parts(parts: &mut Parts, web: &Web) -> Result<Who, Fault> {
        for secret in cookies(&parts.headers, NAME) {
            if let Some(actor) = web.house.actor(secret).await.map_err(Fault::from)? {
                return Ok(Who(actor));
            }
        }
        Err(Fault::from(Refusal::WhoAreYou))
    }
}

/// The values of every cookie of a name.
pub(super) fn cookies<'h>(headers: &'h HeaderMap, name: &'h str) -> impl Iterator<Item = &'h str> {
    let texts = headers.get_all(COOKIE).into_iter().filter_map(|value| value.to_str().ok());
    let pairs = texts.flat_map(|text| text.split(';')).filter_map(|pair| pair.trim().split_once('='));
    pairs.filter(move |(key, _)| *key == name).map(|(_, value)| value)
}

/// The part of the site that a role's cookie is sent to, and its first page.
pub(super) fn home_of(role: Role) -> String {
    match role {
        Role::Organizer => "/club".to_owned(),
        Role::Inspector { event } => format!("/gate/{event}"),
        Role::Driver { entry, .. } => format!("/my/{entry}"),
    }
}

/// The header that gives a device its cookie.
pub(super) fn set_cookie(web: &Web, role: Role, secret: &str, days: i64) -> String {
    let secure = if web.is_https() { "; Secure" } else { "" };
    format!("{NAME}={secret}; Path={}; Max-Age={}; HttpOnly; SameSite=Lax{secure}", home_of(role), days * 86_400)
}
