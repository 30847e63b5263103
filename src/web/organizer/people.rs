//! The people of an event: inspectors and marshals, each with the devices that came in, and how to let them go.

use super::links::{For, Made, show_links};
use super::{again, run};
use crate::acts::house::KnownEvent;
use crate::acts::refusal::field;
use crate::acts::{Refusal, hand_out, let_out, pass, phones};
use crate::rules::answer::Trouble;
use crate::rules::phones::PhoneSetting;
use crate::store::access::{self, Link};
use crate::store::deed::{self, Noted};
use crate::store::device::{self, Listed};
use crate::store::event_key::{self, MadeAnew};
use crate::store::phone_setting::{self, Set};
use crate::web::Web;
use crate::web::error::Fault;
use crate::web::form::{At, Form};
use crate::web::page::{Clock, Page, render};
use crate::web::session::Who;
use askama::Template;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{Html, IntoResponse, Redirect, Response};
use jiff::Timestamp;
use uuid::Uuid;

/// A person with their devices.
pub(super) struct Person {
    pub link: Link,
    pub devices: Vec<Listed>,
    /// What was done with the link, and by whom.
    pub notes: Vec<Noted>,
}

#[derive(Template)]
#[template(path = "organizer/people.html")]
struct People<'a> {
    known: &'a KnownEvent,
    clock: Clock,
    now: Timestamp,
    inspectors: Vec<Person>,
    marshals: Vec<Person>,
    is_plain: bool,
    name: String,
    /// The role whose form the trouble belongs to.
    trouble: Option<(String, String)>,
    phones: PhonesForm,
    /// Who set what for the phones, the newest first.
    sets: Vec<Set>,
    /// The id of the key that this page's button makes.
    pass_key: Uuid,
    /// Who had the key of the passes made anew, the newest first.
    pass_keys: Vec<MadeAnew>,
    new_id: Uuid,
}

/// What is set for the phones, as it stands or as it was typed.
struct PhonesForm {
    id: Uuid,
    old_after: String,
    kept_days: String,
    troubles: Vec<Trouble>,
}

impl PhonesForm {
    fn of(setting: PhoneSetting, id: Uuid) -> PhonesForm {
        let (old_after, kept_days) = (setting.old_after_min().to_string(), setting.kept_days().to_string());
        PhonesForm { id, old_after, kept_days, troubles: Vec::new() }
    }

    fn trouble(&self, field: &str) -> Option<&str> {
        self.troubles.iter().find(|trouble| trouble.field == field).map(|trouble| trouble.message.as_str())
    }
}

impl People<'_> {
    async fn read<'a>(web: &Web, known: &'a KnownEvent) -> Result<People<'a>, Fault> {
        let mut db = web.house.store.read().await?;
        let mut devices = device::of_event(&mut db, known.event.id).await?;
        let mut notes = deed::notes_of_event(&mut db, known.event.id).await?;
        let (mut inspectors, mut marshals) = (Vec::new(), Vec::new());
        for link in access::links_of_event(&mut db, known.event.id).await? {
            let here = match link.role.as_str() {
                "inspector" => &mut inspectors,
                "marshal" => &mut marshals,
                _ => continue,
            };
            let devices = devices.extract_if(.., |device| device.link == link.id).collect();
            here.push(Person { devices, notes: notes.extract_if(.., |note| note.link == link.id).collect(), link });
        }
        Ok(People {
            clock: Clock::of(&known.event),
            now: web.house.now(),
            inspectors,
            marshals,
            is_plain: web.is_plain(),
            name: String::new(),
            trouble: None,
            phones: PhonesForm::of(known.phones, web.house.new_id()),
            sets: phone_setting::of_event(&mut db, known.event.id).await?,
            pass_key: web.house.new_id(),
            pass_keys: event_key::made_anew(&mut db, known.event.id).await?,
            new_id: web.house.new_id(),
            known,
        })
    }

    fn trouble_of(&self, role: &str) -> Option<&str> {
        self.trouble.as_ref().filter(|(of, _)| of == role).map(|(_, words)| words.as_str())
    }

    fn name_of(&self, role: &str) -> &str {
        if self.trouble_of(role).is_some() { &self.name } else { "" }
    }
}

pub(super) async fn show(State(web): State<Web>, Who(actor): Who, At(event): At<Uuid>) -> Page {
    let known = run(&web, &actor, event).await?;
    render(&People::read(&web, &known).await?)
}

/// Makes a link for an inspector or a marshal.
pub(super) async fn add(State(web): State<Web>, Who(actor): Who, At(event): At<Uuid>, form: Form) -> Result<Response, Fault> {
    let known = run(&web, &actor, event).await?;
    let (role, name) = (form.text("role"), form.text("name"));
    let (made, what) = match role {
        "inspector" => (hand_out::to_inspector(&web.house, &actor, event, name).await, For::Inspector),
        "marshal" => (hand_out::to_marshal(&web.house, &actor, event, name).await, For::Marshal),
        _ => return Err(Refusal::Fields(vec![field("role", "An inspector or a marshal.")]).into()),
    };
    match made {
        Ok(out) => Ok(show_links(&known, vec![Made::of(&web, out)], what)?.into_response()),
        Err(Refusal::Fields(troubles)) => {
            let trouble = troubles.into_iter().next().map(|trouble| (role.to_owned(), trouble.message));
            let page = People { name: name.to_owned(), trouble, ..People::read(&web, &known).await? };
            Ok((StatusCode::UNPROCESSABLE_ENTITY, Html(page.render()?)).into_response())
        }
        Err(other) => Err(other.into()),
    }
}

/// A new link for somebody who is on the list: for a second phone, or in place of a lost link.
pub(super) async fn link_anew(
    State(web): State<Web>,
    Who(actor): Who,
    At((event, link)): At<(Uuid, Uuid)>,
    form: Form,
) -> Result<Response, Fault> {
    let known = run(&web, &actor, event).await?;
    let id = again::id_of(&form, &[b"link", link.as_bytes()]);
    let made = hand_out::anew_by(&web.house, &actor, event, link, id).await;
    again::or_ask(&web, &known, (&form, format!("/club/events/{event}/people/{link}/links"), "people"), made, |out| {
        let what = if out.link.role == "marshal" { For::Marshal } else { For::Inspector };
        Ok(show_links(&known, vec![Made::of(&web, out)], what)?.into_response())
    })
}

pub(super) async fn end_device(
    State(web): State<Web>,
    Who(actor): Who,
    At((event, device)): At<(Uuid, Uuid)>,
) -> Result<Redirect, Fault> {
    let_out::device_of(&web.house, &actor, event, device).await?;
    Ok(Redirect::to(&format!("/club/events/{event}/people")))
}

/// Sets what the event's phones keep.
pub(super) async fn set_phones(
    State(web): State<Web>,
    Who(actor): Who,
    At(event): At<Uuid>,
    form: Form,
) -> Result<Response, Fault> {
    let known = run(&web, &actor, event).await?;
    let typed = (form.text("old_after"), form.text("kept_days"));
    match phones::set(&web.house, &actor, event, form.id("id")?, typed).await {
        Ok(()) => Ok(Redirect::to(&format!("/club/events/{event}/people#phones")).into_response()),
        Err(Refusal::Fields(troubles)) => {
            let short = |text: &str| text.chars().take(12).collect();
            let phones = PhonesForm { id: web.house.new_id(), old_after: short(typed.0), kept_days: short(typed.1), troubles };
            let page = People { phones, ..People::read(&web, &known).await? };
            Ok((StatusCode::UNPROCESSABLE_ENTITY, Html(page.render()?)).into_response())
        }
        Err(other) => Err(other.into()),
    }
}

/// Makes the key of the event's passes anew.
pub(super) async fn pass_key_anew(
    State(web): State<Web>,
    Who(actor): Who,
    At(event): At<Uuid>,
    form: Form,
) -> Result<Redirect, Fault> {
    pass::make_key_anew(&web.house, &actor, event, form.id("id")?).await?;
    Ok(Redirect::to(&format!("/club/events/{event}/people#passes")))
}
