//! A garage opened for a request, and what a form of its pages sends.

use super::blanks::FormPage;
use super::{base, typed_of};
use crate::acts::garage::look::{Looked, look};
use crate::acts::garage::note::{Noting, id_made_of, note};
use crate::acts::rights::Role;
use crate::acts::{Actor, Refusal};
use crate::rules::answer::{Trouble, Typed};
use crate::rules::garage::book::{Car, Job, TrackDay};
use crate::rules::garage::change::Change;
use crate::rules::units::Units;
use crate::web::Web;
use crate::web::error::Fault;
use crate::web::form::{Chosen, Form};
use crate::web::session::Who;
use axum::extract::{FromRequest, FromRequestParts, Request};
use axum::http::request::Parts;
use axum::response::{IntoResponse, Redirect, Response};
use std::sync::Arc;
use uuid::Uuid;

/// The garage that the path names, as it stands; the guard let its driver to it.
pub(super) struct Opened {
    pub web: Web,
    pub actor: Arc<Actor>,
    pub looked: Looked,
    /// The reader's.
    pub units: Units,
}

impl FromRequestParts<Web> for Opened {
    type Rejection = Fault;

    async fn from_request_parts(parts: &mut Parts, web: &Web) -> Result<Opened, Fault> {
        let Who(actor) = Who::from_request_parts(parts, web).await?;
        // The guard held the path's garage against the role's: they are the same.
        let Role::Garage { garage } = actor.role else { return Err(Refusal::NotHere.into()) };
        let Ok(Chosen(units)) = Chosen::from_request_parts(parts, web).await;
        let looked = look(&web.house, &actor, garage, &units).await?;
        Ok(Opened { web: web.clone(), actor, looked, units })
    }
}

/// What a form of the garage sends: the page's id, which is the change's, and the fields.
pub(super) struct Sent {
    pub id: Uuid,
    /// Made of all that was sent, and of where to. A page with many buttons has one id, and each button is a deed of its own.
    pub tap: Uuid,
    pub typed: Typed,
}

impl FromRequest<Web> for Sent {
    type Rejection = Fault;

    async fn from_request(request: Request, web: &Web) -> Result<Sent, Fault> {
        let path = request.uri().path().to_owned();
        let form = Form::from_request(request, web).await?;
        let typed = typed_of(&form);
        let all = serde_json::to_vec(&(path, &typed)).unwrap_or_default();
        let id = form.id("id")?;
        // One that no page of ours has is refused as it is.
        let tap = if id.get_version_num() == 7 { id_made_of(&[&all]) } else { id };
        Ok(Sent { id, tap, typed })
    }
}

impl Sent {
    /// The text of a field; empty where it was not sent.
    pub fn text(&self, name: &str) -> &str {
        self.typed.get(name).map_or("", String::as_str)
    }
}

impl Opened {
    /// The garage's address.
    pub fn base(&self) -> String {
        base(self.looked.id)
    }

    pub fn new_id(&self) -> Uuid {
        self.web.house.new_id()
    }

    pub fn car(&self, id: Uuid) -> Result<&Car, Refusal> {
        self.looked.car(id)
    }

    pub fn day(&self, car: Uuid, day: Uuid) -> Result<(&Car, &TrackDay), Refusal> {
        let car = self.car(car)?;
        Ok((car, car.day(day).ok_or(Refusal::NotHere)?))
    }

    pub fn job(&self, id: Uuid) -> Result<(&Car, &Job), Refusal> {
        self.looked.garage.job(id).ok_or(Refusal::NotHere)
    }

    /// Notes changes, all or none.
    pub async fn notes(&self, changes: Vec<Noting>) -> Result<(), Refusal> {
        note(&self.web.house, &self.actor, self.looked.id, changes).await
    }

    /// Notes what was sent, where it could be read, and goes on; else the page again, with the troubles at their fields.
    pub async fn settles(
        &self,
        page: FormPage,
        sent: &Sent,
        change: Result<Change, Vec<Trouble>>,
        to: &str,
    ) -> Result<Response, Fault> {
        match change {
            Err(troubles) => page.again(&sent.typed, &troubles),
            Ok(change) => page.after(&sent.typed, self.notes(vec![(sent.id, change)]).await, to, self.new_id()),
        }
    }

    /// Does what a button says that has nothing typed beside it, and goes on.
    pub async fn taps(&self, sent: &Sent, change: Change, to: &str) -> Result<Response, Fault> {
        match self.notes(vec![(sent.tap, change)]).await {
            // The same tap once more, and what it was about is another meanwhile: it was done then.
            Ok(()) | Err(Refusal::IdTaken) => Ok(Redirect::to(to).into_response()),
            Err(other) => Err(other.into()),
        }
    }
}
