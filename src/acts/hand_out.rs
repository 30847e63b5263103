//! Handing out links: to drivers, inspectors, marshals, organizers. A secret is shown once, when it is made.

use super::Refusal;
use super::enter::{digest_of, end_of_event, secret_text};
use super::house::House;
use super::refusal::field;
use super::rights::{Actor, Deed, Role, Whose, require};
use crate::rules::words::is_one_line;
use crate::store::Touch;
use crate::store::access::{self, Digest, Link};
use crate::store::entry::{self, Entry};
use jiff::{Timestamp, ToSpan};
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

fn make(house: &House, role: Role, holder: &str, kind: Use, ends_at: Option<Timestamp>) -> Result<(HandedOut, Digest), Refusal> {
    let (secret, digest) = secret_of(house)?;
    let entry = if let Role::Driver { entry, .. } = role { Some(entry) } else { None };
    let link = Link {
        id: house.new_id(),
        role: role.word().into(),
        event: role.event(),
        entry,
        holder: holder.into(),
        made_at: house.now(),
        revoked_at: None,
        once: kind == Use::Once,
        ends_at,
        spent_at: None,
    };
    Ok((HandedOut { link, secret }, digest))
}

async fn keep(house: &House, made: Vec<(HandedOut, Digest)>, take_back: BTreeSet<Uuid>) -> Result<Vec<HandedOut>, Refusal> {
    let (now, links) = (house.now(), made.clone());
    house
        .store
        .write::<_, Refusal, _>(Touch::Access, move |db| {
            Box::pin(async move {
                for entry in take_back {
                    access::revoke_links_of_entry(db, entry, now).await?;
                }
                for (made, digest) in links {
                    access::add_link(db, &made.link, digest).await?;
                }
                Ok(())
            })
        })
        .await?;
    Ok(made.into_iter().map(|(made, _)| made).collect())
}

async fn keep_one(house: &House, made: (HandedOut, Digest)) -> Result<HandedOut, Refusal> {
    keep(house, vec![made], BTreeSet::new()).await?.pop().ok_or(Refusal::NotHere)
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

/// Makes links for drivers of an event. Where a driver had one, it ends with its devices.
pub async fn to_drivers(house: &House, actor: &Actor, event: Uuid, drivers: Drivers) -> Result<Vec<(Entry, HandedOut)>, Refusal> {
    require(actor, Deed::RunTheEvent, Whose::Event(event))?;
    house.event(event).await?;
    let (entries, links) = {
        let mut db = house.store.read().await?;
        (entry::of_event(&mut db, event).await?, access::links_of_event(&mut db, event).await?)
    };
    let good: BTreeSet<Uuid> = links.iter().filter(|link| link.revoked_at.is_none()).filter_map(|link| link.entry).collect();
    let is_meant = |entry: &Entry| match drivers {
        Drivers::WithoutLink => !good.contains(&entry.id) && entry.erased_at.is_none(),
        Drivers::All => entry.erased_at.is_none(),
        Drivers::One(wanted) => wanted == entry.id,
    };
    let chosen: Vec<Entry> = entries.into_iter().filter(is_meant).collect();
    if let (Drivers::One(_), true) = (drivers, chosen.is_empty()) {
        return Err(Refusal::NotHere);
    }
    let made = chosen
        .iter()
        .map(|entry| make(house, Role::Driver { event, entry: entry.id }, &entry.driver, Use::Often, None))
        .collect::<Result<Vec<_>, _>>()?;
    let made = keep(house, made, chosen.iter().map(|entry| entry.id).collect()).await?;
    Ok(chosen.into_iter().zip(made).collect())
}

/// Takes drivers' links back, one's or all: their devices are out at once, what they typed and sent stays.
pub async fn take_back_drivers(house: &House, actor: &Actor, event: Uuid, one: Option<Uuid>) -> Result<(), Refusal> {
    require(actor, Deed::RunTheEvent, Whose::Event(event))?;
    house.event(event).await?;
    let entries = {
        let mut db = house.store.read().await?;
        entry::of_event(&mut db, event).await?
    };
    let meant: BTreeSet<Uuid> = entries.iter().map(|entry| entry.id).filter(|id| one.is_none_or(|one| one == *id)).collect();
    if one.is_some() && meant.is_empty() {
        return Err(Refusal::NotHere);
    }
    keep(house, Vec::new(), meant).await.map(drop)
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
    keep_one(house, make(house, role, &holder_name(name)?, kind, ends_at)?).await
}

/// Gives a person of the event a new secret, for another phone or in place of a lost link. Devices that are in stay in.
pub async fn anew(house: &House, actor: &Actor, event: Uuid, link: Uuid) -> Result<HandedOut, Refusal> {
    require(actor, Deed::RunTheEvent, Whose::Event(event))?;
    let known = house.event(event).await?;
    let found = {
        let mut db = house.store.read().await?;
        access::link(&mut db, link).await?
    };
    let is_meant = |link: &Link| link.event == Some(event) && link.entry.is_none() && link.revoked_at.is_none();
    let link = found.filter(is_meant).ok_or(Refusal::NotHere)?;
    let ends_at = Some(end_of_event(&known.event, house.now()));
    renew(house, link, ends_at).await
}

async fn renew(house: &House, link: Link, ends_at: Option<Timestamp>) -> Result<HandedOut, Refusal> {
    let (secret, digest) = secret_of(house)?;
    let (id, once) = (link.id, link.role == "organizer" || link.once);
    let found = house
        .store
        .write::<_, Refusal, _>(Touch::Access, move |db| {
            Box::pin(async move { Ok(access::renew_link(db, id, digest, once, ends_at).await?) })
        })
        .await?;
    if !found {
        return Err(Refusal::NotHere);
    }
    Ok(HandedOut { link: Link { once, ends_at, spent_at: None, ..link }, secret })
}

/// Makes a one-time link for another organizer, who sets a passphrase with it.
pub async fn to_organizer(house: &House, actor: &Actor, name: &str) -> Result<HandedOut, Refusal> {
    require(actor, Deed::RunTheClub, Whose::Club)?;
    let name = holder_name(name)?;
    if organizer_named(house, &name).await?.is_some() {
        let words = "There is an organizer of this name: names tell them apart when they sign in.";
        return Err(Refusal::Fields(vec![field("name", words)]));
    }
    organizer_link(house, &name, Use::Once).await
}

/// Gives an organizer a new one-time link, in place of a lost one or of a forgotten passphrase.
pub async fn to_organizer_anew(house: &House, actor: &Actor, link: Uuid) -> Result<HandedOut, Refusal> {
    require(actor, Deed::RunTheClub, Whose::Club)?;
    let found = {
        let mut db = house.store.read().await?;
        access::link(&mut db, link).await?
    };
    let link = found.filter(|link| link.role == "organizer" && link.revoked_at.is_none()).ok_or(Refusal::NotHere)?;
    renew(house, link, organizer_link_end(house)).await
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
        Some(link) => renew(house, link, ends_at).await,
        None => keep_one(house, make(house, Role::Organizer, &name, kind, ends_at)?).await,
    }
}

fn holder_name(name: &str) -> Result<String, Refusal> {
    let name = name.trim();
    if !is_one_line(name, 60) {
        return Err(Refusal::Fields(vec![field(
            "name",
            "Give the name that stands beside what this person does, up to 60 characters.",
        )]));
    }
    Ok(name.to_owned())
}
