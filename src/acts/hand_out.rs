//! Handing out links: to drivers, inspectors, marshals, organizers. A secret is shown once, when it is made.

use super::Refusal;
use super::enter::{digest_of, end_for_drivers, end_of_event, secret_text};
use super::house::House;
use super::proof::Proven;
use super::refusal::field;
use super::rights::{Actor, Deed, Role, Whose, require};
use crate::rules::names::{self, NotAName};
use crate::store::Touch;
use crate::store::access::{self, Digest, Link, Renewal};
use crate::store::entry::{self, Entry};
use crate::store::form_used;
use crate::store::log::{self, Security};
use jiff::{Timestamp, ToSpan};
use sqlx::SqliteConnection;
use std::collections::BTreeSet;
use uuid::Uuid;

/// How long an organizer's one-time link can be used.
const ORGANIZER_LINK_DAYS: i64 = 7;

/// A link just made: this is the only time its secret can be read.
#[derive(Clone, Debug)]
pub struct HandedOut {
    pub link: Link,
    pub secret: String,
}

/// Whether a link lets one device in or as many as its holder has.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Use {
    Once,
    /// A driver's phone and laptop, all the marshals of a pit exit.
    Often,
}

fn secret_of(house: &House) -> Result<(String, Digest), Refusal> {
    let secret = secret_text(house.new_secret());
    let digest = digest_of(&secret).ok_or(Refusal::WhoAreYou)?;
    Ok((secret, digest))
}

pub(super) fn make(
    house: &House,
    role: Role,
    holder: &str,
    kind: Use,
    ends_at: Option<Timestamp>,
) -> Result<(HandedOut, Digest), Refusal> {
    let (secret, digest) = secret_of(house)?;
    let entry = if let Role::Driver { entry, .. } = role { Some(entry) } else { None };
    let garage = if let Role::Garage { garage } = role { Some(garage) } else { None };
    let link = Link {
        id: house.new_id(),
        role: role.word().into(),
        event: role.event(),
        entry,
        garage,
        holder: holder.into(),
        holder_salt: Some(data_encoding::HEXLOWER.encode(&house.new_secret())),
        made_at: house.now(),
        revoked_at: None,
        once: kind == Use::Once,
        ends_at,
        spent_at: None,
    };
    Ok((HandedOut { link, secret }, digest))
}

/// Who hands out: a person, or who runs the server.
async fn keep_one(house: &House, by: Option<&Actor>, made: (HandedOut, Digest)) -> Result<HandedOut, Refusal> {
    let (out, digest) = made;
    let (link, noted) = (out.link.clone(), by.and_then(Actor::by));
    house
        .write_as(by, Touch::Access, move |db| {
            Box::pin(async move {
                refuse_a_second(db, &link).await?;
                Ok(access::add_link(db, &link, digest, noted).await?)
            })
        })
        .await?;
    Ok(out)
}

/// Two people of one name and role could not be told apart in a record, nor at the door. Two whose names look alike could not
/// either, whatever they are here for; the same name in two roles is one person.
async fn refuse_a_second(db: &mut SqliteConnection, link: &Link) -> Result<(), Refusal> {
    if link.entry.is_some() || link.garage.is_some() {
        return Ok(());
    }
    let mut others = access::organizers(db).await?;
    let mut met: Vec<String> = Vec::new();
    if let Some(event) = link.event {
        others.extend(access::links_of_event(db, event).await?);
        met.extend(entry::of_event(db, event).await?.into_iter().map(|entry| entry.driver));
    }
    others.retain(|other| other.revoked_at.is_none() && other.entry.is_none());
    let trouble = |words: String| Err(Refusal::Fields(vec![field("name", words)]));
    if others.iter().any(|other| other.role == link.role && names::is_same(&other.holder, &link.holder)) {
        let words = "There is somebody of this name already: a record must tell them apart. For another phone of the same \
            person, make a new link below.";
        return trouble(words.into());
    }
    met.extend(others.into_iter().map(|other| other.holder));
    match met.iter().find(|other| names::is_look_alike(other, &link.holder)) {
        Some(other) => trouble(format!(
            "This looks like {other}, who is here already. Write the name so that nobody takes one for the other."
        )),
        None => Ok(()),
    }
}

/// Which drivers get a link.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Drivers {
    /// Those who have none.
    WithoutLink,
    /// Everybody anew: all old links and devices end.
    All,
    /// One, anew.
    One(Uuid),
}

impl Drivers {
    fn is_meant(self, entry: &Entry, with_link: &BTreeSet<Uuid>) -> bool {
        let wanted = match self {
            Drivers::WithoutLink => !with_link.contains(&entry.id),
            Drivers::All => true,
            Drivers::One(wanted) => wanted == entry.id,
        };
        wanted && entry.erased_at.is_none()
    }
}

/// Makes links for drivers of an event. Where a driver had one, it ends with its devices.
///
/// Who gets one is looked up in the transaction that makes it: two organizers who ask at once make no link that is dead at birth,
/// and none carries the name of somebody who was erased a moment ago.
pub async fn to_drivers(house: &House, actor: &Actor, event: Uuid, drivers: Drivers) -> Result<Vec<(Entry, HandedOut)>, Refusal> {
    to_drivers_by(house, actor, event, drivers, None).await
}

/// As [`to_drivers`], by a form that does it once.
///
/// # Errors
/// [`Refusal::MadeBefore`] where the form made links already.
pub async fn to_drivers_by(
    house: &House,
    actor: &Actor,
    event: Uuid,
    drivers: Drivers,
    form: Option<Uuid>,
) -> Result<Vec<(Entry, HandedOut)>, Refusal> {
    require(actor, Deed::RunTheEvent, Whose::Event(event))?;
    let ends_at = Some(end_for_drivers(&house.event(event).await?.event, house.now()));
    let count = {
        let mut db = house.store.read().await?;
        entry::of_event(&mut db, event).await?.len()
    };
    let role = |entry| Role::Driver { event, entry };
    let fresh = (0..count).map(|_| make(house, role(Uuid::nil()), "", Use::Often, ends_at)).collect::<Result<Vec<_>, _>>()?;
    let (now, by) = (house.now(), actor.by());
    let made = house
        .write_as(actor, Touch::Access, move |db| {
            Box::pin(async move {
                once(db, form, now).await?;
                let links = access::links_of_event(db, event).await?;
                let with_link = links.iter().filter(|link| link.lets_in(now)).filter_map(|link| link.entry).collect();
                let entries = entry::of_event(db, event).await?.into_iter().filter(|entry| drivers.is_meant(entry, &with_link));
                let mut made = Vec::new();
                for (entry, (out, digest)) in entries.zip(fresh) {
                    let link = Link { entry: Some(entry.id), holder: entry.driver.clone(), ..out.link };
                    access::revoke_links_of_entry(db, entry.id, by, now).await?;
                    access::add_link(db, &link, digest, by).await?;
                    made.push((entry, HandedOut { link, ..out }));
                }
                Ok(made)
            })
        })
        .await?;
    if matches!(drivers, Drivers::One(_)) && made.is_empty() { Err(Refusal::NotHere) } else { Ok(made) }
}

/// Takes drivers' links back, one's or all: their devices are out at once, what they typed and sent stays.
pub async fn take_back_drivers(house: &House, actor: &Actor, event: Uuid, one: Option<Uuid>) -> Result<(), Refusal> {
    require(actor, Deed::RunTheEvent, Whose::Event(event))?;
    house.event(event).await?;
    let (now, by) = (house.now(), actor.by());
    let found = house
        .write_as(actor, Touch::Access, move |db| {
            Box::pin(async move {
                let entries = entry::of_event(db, event).await?.into_iter().map(|entry| entry.id);
                let meant: Vec<Uuid> = entries.filter(|id| one.is_none_or(|one| one == *id)).collect();
                for entry in &meant {
                    access::revoke_links_of_entry(db, *entry, by, now).await?;
                }
                Ok(!meant.is_empty())
            })
        })
        .await?;
    if found || one.is_none() { Ok(()) } else { Err(Refusal::NotHere) }
}

/// Makes a link for an inspector of an event: it lets one phone in.
pub async fn to_inspector(house: &House, actor: &Actor, event: Uuid, name: &str) -> Result<HandedOut, Refusal> {
    to_inspector_for(house, actor, event, name, Use::Once).await
}

/// As [`to_inspector`], for a demo whose one link is opened by everybody who tries it.
pub async fn to_inspector_for(house: &House, actor: &Actor, event: Uuid, name: &str, kind: Use) -> Result<HandedOut, Refusal> {
    to_the_event(house, actor, Role::Inspector { event }, event, name, kind).await
}

/// Makes a link for the marshals of an event: it shows the cars and changes nothing, so several may share it.
pub async fn to_marshal(house: &House, actor: &Actor, event: Uuid, name: &str) -> Result<HandedOut, Refusal> {
    to_the_event(house, actor, Role::Marshal { event }, event, name, Use::Often).await
}

async fn to_the_event(
    house: &House,
    actor: &Actor,
    role: Role,
    event: Uuid,
    name: &str,
    kind: Use,
) -> Result<HandedOut, Refusal> {
    require(actor, Deed::RunTheEvent, Whose::Event(event))?;
    let known = house.event(event).await?;
    let ends_at = Some(end_of_event(&known.event, house.now()));
    keep_one(house, Some(actor), make(house, role, &holder_name(name)?, kind, ends_at)?).await
}

/// Lets a form's deed pass the first time that it is sent, in the deed's transaction.
///
/// # Errors
/// [`Refusal::MadeBefore`] from then on. A form without an id always passes.
pub(super) async fn once(db: &mut SqliteConnection, form: Option<Uuid>, now: Timestamp) -> Result<(), Refusal> {
    match form {
        Some(id) if !form_used::note(db, id, now).await? => Err(Refusal::MadeBefore),
        _ => Ok(()),
    }
}

/// Gives a person of the event a new secret, for another phone or in place of a lost link. Devices that are in stay in.
pub async fn anew(house: &House, actor: &Actor, event: Uuid, link: Uuid) -> Result<HandedOut, Refusal> {
    anew_by(house, actor, event, link, None).await
}

/// As [`anew`], by a form that does it once.
///
/// # Errors
/// [`Refusal::MadeBefore`] where the form made a link already.
pub async fn anew_by(house: &House, actor: &Actor, event: Uuid, link: Uuid, form: Option<Uuid>) -> Result<HandedOut, Refusal> {
    require(actor, Deed::RunTheEvent, Whose::Event(event))?;
    let known = house.event(event).await?;
    let found = {
        let mut db = house.store.read().await?;
        access::link(&mut db, link).await?
    };
    let is_meant = |link: &Link| link.event == Some(event) && link.entry.is_none() && link.revoked_at.is_none();
    let link = found.filter(is_meant).ok_or(Refusal::NotHere)?;
    let ends_at = Some(end_of_event(&known.event, house.now()));
    renew_once(house, Some(actor), link, ends_at, form).await
}

pub(super) async fn renew(
    house: &House,
    by: Option<&Actor>,
    link: Link,
    ends_at: Option<Timestamp>,
) -> Result<HandedOut, Refusal> {
    renew_once(house, by, link, ends_at, None).await
}

/// Gives a link a new secret, once for each form.
pub(super) async fn renew_once(
    house: &House,
    by: Option<&Actor>,
    link: Link,
    ends_at: Option<Timestamp>,
    form: Option<Uuid>,
) -> Result<HandedOut, Refusal> {
    let (secret, digest) = secret_of(house)?;
    let (is_once, noted, now) = (link.role == "organizer" || link.once, by.and_then(Actor::by), house.now());
    let new = Renewal { link: link.id, digest, once: is_once, ends_at };
    let found = house
        .write_as(by, Touch::Access, move |db| {
            Box::pin(async move {
                once(db, form, now).await?;
                Ok(access::renew_link(db, &new, noted, now).await?)
            })
        })
        .await?;
    if !found {
        return Err(Refusal::NotHere);
    }
    Ok(HandedOut { link: Link { once: is_once, ends_at, spent_at: None, ..link }, secret })
}

/// Makes a one-time link for another organizer, who sets a passphrase with it.
pub async fn to_organizer(house: &House, proven: &Proven, name: &str) -> Result<HandedOut, Refusal> {
    let by = proven.whole()?;
    let made = make(house, Role::Organizer, &holder_name(name)?, Use::Once, organizer_link_end(house))?;
    let out = keep_one(house, Some(by), made).await?;
    log::tell(Security::OrganizerMade { link: out.link.id, by: proven.by() });
    Ok(out)
}

/// Gives an organizer a new one-time link, in place of a lost one or of a forgotten passphrase.
pub async fn to_organizer_anew(house: &House, proven: &Proven, link: Uuid) -> Result<HandedOut, Refusal> {
    let by = proven.whole()?;
    let found = {
        let mut db = house.store.read().await?;
        access::link(&mut db, link).await?
    };
    let link = found.filter(|link| link.role == "organizer" && link.revoked_at.is_none()).ok_or(Refusal::NotHere)?;
    let out = renew(house, Some(by), link, organizer_link_end(house)).await?;
    log::tell(Security::OrganizerMadeAnew { link: out.link.id, by: proven.by() });
    Ok(out)
}

/// The organizer of this name who was not taken back, small and large letters alike.
pub(super) async fn organizer_named(house: &House, name: &str) -> Result<Option<Link>, Refusal> {
    let mut db = house.store.read().await?;
    let organizers = access::organizers(&mut db).await?;
    let is_named = |link: &Link| link.revoked_at.is_none() && link.holder.to_lowercase() == name.trim().to_lowercase();
    Ok(organizers.into_iter().find(is_named))
}

fn organizer_link_end(house: &House) -> Option<Timestamp> {
    house.now().checked_add((ORGANIZER_LINK_DAYS * 24).hours()).ok()
}

/// A link for an organizer by name, new or anew. Only who runs the server may ask for it: at set-up, and on its command line.
pub async fn organizer_link(house: &House, name: &str, kind: Use) -> Result<HandedOut, Refusal> {
    let name = holder_name(name)?;
    let ends_at = if kind == Use::Once { organizer_link_end(house) } else { None };
    match organizer_named(house, &name).await? {
        Some(link) => {
            let out = renew(house, None, link, ends_at).await?;
            log::tell(Security::OrganizerMadeAnew { link: out.link.id, by: None });
            Ok(out)
        }
        None => {
            let out = keep_one(house, None, make(house, Role::Organizer, &name, kind, ends_at)?).await?;
            log::tell(Security::OrganizerMade { link: out.link.id, by: None });
            Ok(out)
        }
    }
}

pub(super) fn holder_name(name: &str) -> Result<String, Refusal> {
    names::name(name, 60).map_err(|wrong| {
        let words = match wrong {
            NotAName::Length(_) => "Give the name that stands beside what this person does, up to 60 characters.".to_owned(),
            hidden => format!("The name {hidden}."),
        };
        Refusal::Fields(vec![field("name", words)])
    })
}
