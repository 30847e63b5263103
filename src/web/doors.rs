//! Doors: every route is declared with its deed, and nobody is behind one who may not do it.
//!
//! There is no other way to add a route than through [`Doors`], and every way asks for the [`Deed`]. The guard stands before all
//! of them: it finds out who asks, whose thing the path names, and asks the one table of rights. An id that is not there and an
//! id that is somebody else's are answered alike.

use super::Web;
use super::error::Fault;
use super::keep;
use super::limits::Limited;
use super::session;
use crate::acts::Refusal;
use crate::acts::rights::{Actor, Admission, Deed, Reach, Whose, may, reach};
use crate::store::log::{self, Security};
use axum::RequestExt;
use axum::Router;
use axum::extract::{DefaultBodyLimit, MatchedPath, RawPathParams, Request, State};
use axum::handler::Handler;
use axum::http::header::ALLOW;
use axum::http::{Method, StatusCode};
use axum::middleware::Next;
use axum::response::{IntoResponse, Redirect, Response};
use axum::routing::{MethodRouter, get, post};
use std::collections::HashMap;
use std::sync::Arc;
use tracing::Instrument;
use uuid::Uuid;

/// A route with what is done there.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Door {
    pub method: Method,
    /// As the router has it: `/my/{entry}/areas/{area}`.
    pub path: String,
    pub deed: Deed,
    /// Whether a device that was ended is identified here and handed on as such. There is one such door: a hold from it counts.
    pub admits_ended: bool,
}

/// Routes under construction, each with its deed.
#[derive(Default)]
pub(super) struct Doors {
    router: Router<Web>,
    listed: Vec<Door>,
}

impl Doors {
    pub(super) fn new() -> Doors {
        Doors::default()
    }

    fn add(mut self, method: Method, path: &str, deed: Deed, route: MethodRouter<Web>) -> Doors {
        self.listed.push(Door { method, path: path.to_owned(), deed, admits_ended: false });
        self.router = self.router.route(path, route);
        self
    }

    /// A page to look at.
    pub(super) fn get<T: 'static>(self, path: &str, deed: Deed, page: impl Handler<T, Web>) -> Doors {
        self.add(Method::GET, path, deed, get(page))
    }

    /// Something to send.
    pub(super) fn post<T: 'static>(self, path: &str, deed: Deed, act: impl Handler<T, Web>) -> Doors {
        self.add(Method::POST, path, deed, post(act))
    }

    /// Something to send that may count even from a device that was ended. The handler is given the [`Actor`] with its
    /// [`Admission`](crate::acts::rights::Admission), and the act's own transaction decides.
    pub(super) fn post_even_ended<T: 'static>(self, path: &str, deed: Deed, act: impl Handler<T, Web>) -> Doors {
        let mut doors = self.post(path, deed, act);
        if let Some(door) = doors.listed.last_mut() {
            door.admits_ended = true;
        }
        doors
    }

    /// Something larger to send: a file of up to so many bytes.
    pub(super) fn post_file<T: 'static>(self, path: &str, deed: Deed, most: usize, act: impl Handler<T, Web>) -> Doors {
        self.add(Method::POST, path, deed, post(act).layer(DefaultBodyLimit::max(most)))
    }

    /// These doors and those.
    pub(super) fn and(self, other: Doors) -> Doors {
        Doors { listed: [self.listed, other.listed].concat(), router: self.router.merge(other.router) }
    }

    /// All of these doors, under a folder of the site.
    pub(super) fn under(self, folder: &str, inner: Doors) -> Doors {
        let whole = |path: &str| if path == "/" { folder.to_owned() } else { format!("{folder}{path}") };
        let moved = inner.listed.into_iter().map(|door| Door { path: whole(&door.path), ..door });
        Doors { listed: self.listed.into_iter().chain(moved).collect(), router: self.router.nest(folder, inner.router) }
    }

    /// Something that every handler of these doors may ask for.
    pub(super) fn with<T: Clone + Send + Sync + 'static>(self, thing: T) -> Doors {
        Doors { router: self.router.layer(axum::Extension(thing)), ..self }
    }

    /// The router, and the list of its doors.
    pub(super) fn open(self) -> (Router<Web>, Vec<Door>) {
        (self.router, self.listed)
    }
}

/// What the guard looks a request up in.
pub(super) struct Guard {
    pub(super) web: Web,
    doors: HashMap<(String, Method), Door>,
}

impl Guard {
    pub(super) fn new(web: Web, listed: &[Door]) -> Guard {
        let doors = listed.iter().map(|door| ((door.path.clone(), door.method.clone()), door.clone())).collect();
        Guard { web, doors }
    }

    fn door(&self, path: &str, method: &Method) -> Option<&Door> {
        let method = if *method == Method::HEAD { Method::GET } else { method.clone() };
        self.doors.get(&(path.to_owned(), method))
    }
}

/// Stands before every door. Who passes is handed on as the [`Actor`] that the handlers ask for.
pub(super) async fn guard(State(guard): State<Arc<Guard>>, request: Request, next: Next) -> Result<Response, Fault> {
    let Some(path) = request.extensions().get::<MatchedPath>().map(|path| path.as_str().to_owned()) else {
        return Ok(next.run(request).await);
    };
    // What is told to the log on the way says where and from whom: by the route, for there are secrets in paths.
    let address = guard.web.address(request.extensions(), request.headers());
    let span = tracing::info_span!("request", method = %request.method(), route = path, %address);
    through(&guard, &path, request, next).instrument(span).await
}

async fn through(guard: &Guard, path: &str, mut request: Request, next: Next) -> Result<Response, Fault> {
    match guard.door(path, request.method()) {
        // No door by this method: the router says which methods there are.
        None => return Ok(next.run(request).await),
        Some(Door { deed: Deed::LookIn, .. }) => {}
        // Whoever only asks whether a page is there gets no page made for them, and nothing is noted by it.
        Some(_) if request.method() == Method::HEAD => {
            return Ok((StatusCode::METHOD_NOT_ALLOWED, [(ALLOW, "GET")]).into_response());
        }
        Some(door) => {
            let actor = let_by(&guard.web, &mut request, door).await?;
            guard.web.limits.writes(request.method(), &actor)?;
            let is_own = matches!(door.deed, Deed::KeepOneself | Deed::ChangeWhoRuns);
            if actor.admission == Admission::LacksPasskey && !is_own {
                let is_look = request.method() == Method::GET;
                return if is_look { Ok(Redirect::to("/club/you").into_response()) } else { Err(Refusal::PasskeyFirst.into()) };
            }
            request.extensions_mut().insert(actor.clone());
            let is_look = request.method() == Method::GET;
            let response = next.run(request).await;
            let may_keep = is_look && response.status() == StatusCode::OK;
            return Ok(if may_keep { keep::tell(&guard.web, &actor, response).await } else { response });
        }
    }
    Ok(next.run(request).await)
}

/// The person who may do this, among those whose cookies came along.
async fn let_by(web: &Web, request: &mut Request, door: &Door) -> Result<Arc<Actor>, Fault> {
    // The door's own path: what is nested sees the request's without its folder.
    let secrets = session::secrets(request.headers(), &door.path);
    let mut known = Vec::new();
    for secret in &secrets {
        known.extend(web.house.actor(secret).await?);
    }
    if known.is_empty() {
        if door.admits_ended
            && let Some(actor) = ended(web, request, &secrets, door.deed).await?
        {
            return Ok(actor);
        }
        if !secrets.is_empty() {
            let address = web.address(request.extensions(), request.headers());
            log::tell(Security::CookieRefused { address });
            web.limits.guess(Limited::Cookie, address)?;
        }
        return Err(Refusal::WhoAreYou.into());
    }
    // Let in elsewhere and with no role for this part, on a phone whose device for it was ended say: who they are is the question.
    // It is asked before the path is looked at, so that every id answers alike.
    if known.iter().all(|actor| reach(door.deed, actor.role) == Reach::Nowhere) {
        known.iter().for_each(|actor| tell_refused(actor, door.deed));
        return Err(Refusal::WhoAreYou.into());
    }
    let whose = whose(web, request).await?;
    let found = known.iter().find(|actor| may(actor.role, door.deed, whose)).cloned();
    if found.is_none() {
        known.iter().for_each(|actor| tell_refused(actor, door.deed));
    }
    found.ok_or_else(|| Refusal::NotHere.into())
}

/// Tells the log that somebody asked for what the table does not give them.
fn tell_refused(actor: &Actor, deed: Deed) {
    let deed = format!("{deed:?}");
    log::tell(Security::RightRefused { role: actor.role.word(), link: actor.link, device: actor.device, deed: &deed });
}

/// The person whose device was ended, where they might have done this before. Of anything else it learns nothing, not even that
/// it is not there.
async fn ended(web: &Web, request: &mut Request, secrets: &[String], deed: Deed) -> Result<Option<Arc<Actor>>, Fault> {
    let mut gone = Vec::new();
    for secret in secrets {
        gone.extend(web.house.ended_actor(secret).await?);
    }
    if gone.is_empty() {
        return Ok(None);
    }
    match whose(web, request).await {
        Ok(whose) => Ok(gone.into_iter().find(|actor| may(actor.role, deed, whose))),
        Err(fault) if fault.status == StatusCode::NOT_FOUND => Ok(None),
        Err(fault) => Err(fault),
    }
}

/// Whose thing the path names: an event, an entry of an event, or the club's.
async fn whose(web: &Web, request: &mut Request) -> Result<Whose, Fault> {
    let params = request.extract_parts::<RawPathParams>().await.map_err(|_| Fault::from(Refusal::NotHere))?;
    let id = |name: &str| match params.iter().find(|(key, _)| *key == name) {
        Some((_, text)) => Uuid::parse_str(text).map(Some).map_err(|_| Fault::from(Refusal::NotHere)),
        None => Ok(None),
    };
    if let Some(garage) = id("garage")? {
        return Ok(Whose::Garage(garage));
    }
    Ok(match (id("event")?, id("entry")?) {
        (None, None) => Whose::Club,
        (Some(event), None) => Whose::Event(event),
        (event, Some(entry)) => {
            let of = web.house.event_of_entry(entry).await?.event.id;
            if event.is_some_and(|event| event != of) {
                return Err(Refusal::NotHere.into());
            }
            Whose::Entry { event: of, entry }
        }
    })
}
