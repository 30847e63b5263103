//! Who is asking. The guard (`doors.rs`) has looked the cookie up and asked the table of rights; here is the cookie itself.

use super::Web;
use super::error::Fault;
use crate::acts::Refusal;
use crate::acts::enter::{Caller, Entered};
use crate::acts::rights::{Actor, Role};
use axum::extract::FromRequestParts;
use axum::http::HeaderMap;
use axum::http::header::{COOKIE, USER_AGENT};
use axum::http::request::Parts;
use std::convert::Infallible;
use std::sync::Arc;
use uuid::Uuid;

/// The cookie's name. Each role has it under its own path, so that one phone can be a driver's and an inspector's.
pub(super) const NAME: &str = "witnessmark";

/// The cookie that a browser has between looking at a one-time link and using it.
pub(super) const DOOR: &str = "door";

/// The cookie of a browser in which an organizer signed in before.
pub(super) const KNOWN: &str = "known";

/// The person who asks, let by the guard.
pub struct Who(pub Arc<Actor>);

impl FromRequestParts<Web> for Who {
    type Rejection = Fault;

    async fn from_request_parts(parts: &mut Parts, _: &Web) -> Result<Who, Fault> {
        parts.extensions.get::<Arc<Actor>>().cloned().map(Who).ok_or_else(|| Fault::from(Refusal::WhoAreYou))
    }
}

/// The values of every cookie of a name.
pub(super) fn cookies<'h>(headers: &'h HeaderMap, name: &'h str) -> impl Iterator<Item = &'h str> {
    let texts = headers.get_all(COOKIE).into_iter().filter_map(|value| value.to_str().ok());
    let pairs = texts.flat_map(|text| text.split(';')).filter_map(|pair| pair.trim().split_once('='));
    pairs.filter(move |(key, _)| *key == name).map(|(_, value)| value)
}

/// A role's first page.
pub(super) fn home_of(role: Role) -> String {
    match role {
        Role::Organizer => "/club".to_owned(),
        Role::Inspector { event } => format!("/gate/{event}"),
        Role::Marshal { event } => format!("/grid/{event}"),
        Role::Driver { entry, .. } => format!("/my/{entry}"),
        Role::Garage { garage } => format!("/my/garage/{garage}"),
    }
}

/// The part of the site that a role's cookie is sent to. A garage's goes to the sheets as well: there it offers the answers of
/// last time. So one browser is in one garage at a time.
fn cookie_path(role: Role) -> String {
    match role {
        Role::Garage { .. } => "/my".to_owned(),
        other => home_of(other),
    }
}

fn secure(web: &Web) -> &'static str {
    if web.is_https() { "; Secure" } else { "" }
}

/// The header that gives a device its cookie. On a shared computer it goes with the browser's window.
pub(super) fn set_cookie(web: &Web, entered: &Entered, shared: bool) -> String {
    let age = if shared { String::new() } else { format!("; Max-Age={}", entered.seconds) };
    let path = cookie_path(entered.actor.role);
    format!("{NAME}={}; Path={path}{age}; HttpOnly; SameSite=Lax{}", entered.cookie, secure(web))
}

/// The header that takes a device's cookie away.
pub(super) fn end_cookie(web: &Web, role: Role) -> String {
    format!("{NAME}=; Path={}; Max-Age=0; HttpOnly; SameSite=Lax{}", cookie_path(role), secure(web))
}

/// The header that takes the cookie of a sheet away, whoever gave it.
pub(super) fn end_cookie_of_sheet(web: &Web, entry: Uuid) -> String {
    format!("{NAME}=; Path=/my/{entry}; Max-Age=0; HttpOnly; SameSite=Lax{}", secure(web))
}

/// The header that gives a browser its secret for the door.
pub(super) fn door_cookie(web: &Web, secret: &str) -> String {
    format!("{DOOR}={secret}; Path=/in; Max-Age=10368000; HttpOnly; SameSite=Lax{}", secure(web))
}

/// The browser that asks to be let in.
pub struct Called(pub Caller);

impl FromRequestParts<Web> for Called {
    type Rejection = Infallible;

    async fn from_request_parts(parts: &mut Parts, _: &Web) -> Result<Called, Infallible> {
        let says = parts.headers.get(USER_AGENT).and_then(|value| value.to_str().ok()).unwrap_or_default();
        let door = cookies(&parts.headers, DOOR).next().map(str::to_owned);
        let known = cookies(&parts.headers, KNOWN).next().map(str::to_owned);
        Ok(Called(Caller { kind: kind_of(says).to_owned(), door, known }))
    }
}

/// What kind of machine a browser says it runs on: enough to tell one's devices apart, too little to tell people apart.
fn kind_of(says: &str) -> &'static str {
    const KINDS: [(&str, &str); 8] = [
        ("iPhone", "iPhone"),
        ("iPad", "iPad"),
        ("Android", "Android tablet"),
        ("Windows", "Windows computer"),
        ("CrOS", "Chromebook"),
        ("Macintosh", "Mac"),
        ("Linux", "Linux computer"),
        ("Mobile", "phone"),
    ];
    if says.contains("Android") && says.contains("Mobile") {
        return "Android phone";
    }
    KINDS.iter().find(|(word, _)| says.contains(word)).map_or("some device", |(_, kind)| kind)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_list_of_devices_tells_a_phone_from_a_laptop() {
        assert_eq!(kind_of("Mozilla/5.0 (Linux; Android 14) Mobile Safari/537.36"), "Android phone");
        assert_eq!(kind_of("Mozilla/5.0 (X11; Linux x86_64) HeadlessChrome"), "Linux computer");
        assert_eq!(kind_of(""), "some device");
    }
}
