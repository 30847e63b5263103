//! Who is asking. The guard (`doors.rs`) has looked the cookie up and asked the table of rights; here is the cookie itself.

use super::Web;
use super::error::Fault;
use crate::acts::Refusal;
use crate::acts::enter::{Caller, Entered};
use crate::acts::rights::{Actor, Role};
use axum::extract::FromRequestParts;
use axum::http::HeaderMap;
use axum::http::header::{COOKIE, HeaderName, SET_COOKIE, USER_AGENT};
use axum::http::request::Parts;
use axum::response::AppendHeaders;
use std::convert::Infallible;
use std::sync::Arc;
use uuid::Uuid;

/// The name of a device's cookie on plain http, and of those that were given over https before it had one of its own: they are
/// accepted until they end. Each role has it under its own path, so that one phone can be a driver's and an inspector's.
const NAME: &str = "witnessmark";
/// The same over https. Browsers take it from https answers alone. It cannot be `__Host-` as well: that demands the path `/`, and
/// every role's cookie would go to every page.
const SECURE: &str = "__Secure-witnessmark";
/// An organizer's over https: only this very host can have set it (RFC 6265bis, "cookie name prefixes"). It is sent to every page,
/// and read under `/club` alone.
const ORGANIZER: &str = "__Host-witnessmark";
/// The most cookies of a request that are looked up. A browser sends one for each part of the site that the path lies in; hundreds
/// are no browser's.
const MOST_COOKIES: usize = 4;

/// The cookie that a browser has between looking at a one-time link and using it.
const DOOR: &str = "door";
/// The same over https.
const SECURE_DOOR: &str = "__Host-door";

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

/// The secrets of the devices that may be asking for a page of this path.
pub(super) fn secrets(headers: &HeaderMap, path: &str) -> Vec<String> {
    let of = |name| cookies(headers, name).map(str::to_owned);
    let is_club = path == "/club" || path.starts_with("/club/");
    let new: Vec<String> = of(if is_club { ORGANIZER } else { SECURE }).take(MOST_COOKIES).collect();
    // Another host of the club's domain can plant a cookie of the old name: beside one of its own, an organizer's is not looked at.
    let old = of(NAME).filter(|_| !is_club || new.is_empty());
    new.iter().cloned().chain(old).take(MOST_COOKIES).collect()
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

/// The name of a role's cookie, and its path.
fn named(web: &Web, role: Role) -> (&'static str, String) {
    match role {
        Role::Organizer if web.is_https() => (ORGANIZER, "/".to_owned()),
        _ if web.is_https() => (SECURE, cookie_path(role)),
        _ => (NAME, cookie_path(role)),
    }
}

/// The header that gives a device its cookie. On a shared computer it goes with the browser's window.
pub(super) fn set_cookie(web: &Web, entered: &Entered, shared: bool) -> String {
    let age = if shared { String::new() } else { format!("; Max-Age={}", entered.seconds) };
    let (name, path) = named(web, entered.actor.role);
    format!("{name}={}; Path={path}{age}; HttpOnly; SameSite=Lax{}", entered.cookie, secure(web))
}

/// The headers that take a device's cookie away, under every name it may have.
pub(super) fn end_cookie(web: &Web, role: Role) -> AppendHeaders<Vec<(HeaderName, String)>> {
    AppendHeaders(ending(web, named(web, role), cookie_path(role)))
}

/// The headers that take the cookie of a garage and of these sheets away, whoever gave them.
pub(super) fn end_cookies_of_garage(web: &Web, role: Role, sheets: &[Uuid]) -> AppendHeaders<Vec<(HeaderName, String)>> {
    let name = if web.is_https() { SECURE } else { NAME };
    let paths = sheets.iter().map(|entry| format!("/my/{entry}")).chain([cookie_path(role)]);
    AppendHeaders(paths.flat_map(|path| ending(web, (name, path.clone()), path)).collect())
}

/// Ends a cookie, and the one of before under the same path.
fn ending(web: &Web, (name, path): (&str, String), old_path: String) -> Vec<(HeaderName, String)> {
    let end = |name: &str, path: &str| format!("{name}=; Path={path}; Max-Age=0; HttpOnly; SameSite=Lax{}", secure(web));
    let old = (name != NAME).then(|| end(NAME, &old_path));
    [end(name, &path)].into_iter().chain(old).map(|cookie| (SET_COOKIE, cookie)).collect()
}

/// The header that gives a browser its secret for the door.
pub(super) fn door_cookie(web: &Web, secret: &str) -> String {
    let (name, path) = if web.is_https() { (SECURE_DOOR, "/") } else { (DOOR, "/in") };
    format!("{name}={secret}; Path={path}; Max-Age=10368000; HttpOnly; SameSite=Lax{}", secure(web))
}

/// The browser that asks to be let in.
pub struct Called(pub Caller);

impl FromRequestParts<Web> for Called {
    type Rejection = Infallible;

    async fn from_request_parts(parts: &mut Parts, _: &Web) -> Result<Called, Infallible> {
        let says = parts.headers.get(USER_AGENT).and_then(|value| value.to_str().ok()).unwrap_or_default();
        let doors = [SECURE_DOOR, DOOR].map(|name| cookies(&parts.headers, name).next());
        let door = doors.into_iter().flatten().next().map(str::to_owned);
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

    fn sent(cookies: &str) -> HeaderMap {
        let value = axum::http::HeaderValue::from_str(cookies).expect("a header");
        HeaderMap::from_iter([(COOKIE, value)])
    }

    #[test]
    fn an_organizers_cookie_is_read_under_the_club_alone_and_a_planted_old_one_is_not_read_beside_it() {
        let headers = sent("__Host-witnessmark=own; witnessmark=planted; __Secure-witnessmark=gate");
        assert_eq!(secrets(&headers, "/club/you"), ["own"]);
        assert_eq!(secrets(&headers, "/gate/1"), ["gate", "planted"]);
        assert_eq!(secrets(&headers, "/clubs"), ["gate", "planted"], "another part of the site");
    }

    #[test]
    fn a_cookie_of_before_is_accepted_until_it_ends() {
        assert_eq!(secrets(&sent("witnessmark=old"), "/club"), ["old"]);
        assert_eq!(secrets(&sent("__Secure-witnessmark=garage; witnessmark=old-sheet"), "/my/1"), ["garage", "old-sheet"]);
        assert_eq!(secrets(&sent(&"witnessmark=x; ".repeat(300)), "/my/1").len(), MOST_COOKIES, "hundreds are no browser's");
    }

    #[test]
    fn a_list_of_devices_tells_a_phone_from_a_laptop() {
        assert_eq!(kind_of("Mozilla/5.0 (Linux; Android 14) Mobile Safari/537.36"), "Android phone");
        assert_eq!(kind_of("Mozilla/5.0 (X11; Linux x86_64) HeadlessChrome"), "Linux computer");
        assert_eq!(kind_of(""), "some device");
    }
}
