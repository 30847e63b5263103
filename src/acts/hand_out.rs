//! Handing out private links: to drivers, to inspectors, to organizers. A secret is shown once, when it is made.

use super::Refusal;
use super::enter::{digest_of, secret_text};
use super::house::House;
use super::refusal::field;
use super::rights::{Actor, Deed, Role, Whose, require};
use crate::rules::words::is_one_line;
use crate::store::Touch;
use crate::store::access::{self, Digest, Link};
use crate::store::entry::{self, Entry};
use std::collections::BTreeSet;
use uuid::Uuid;

/// A link just made: this is the only time its secret can be read.
#[derive(Clone, Debug)]
pub struct HandedOut {
    pub link: Link,
    pub secret: String,
}

fn make(house: &House, role: Role, holder: &str) -> Result<(HandedOut, Digest), Refusal> {
    let secret = secret_text(house.new_secret());
    let digest = digest_of(&secret).ok_or(Refusal::WhoAreYou)?;
    let (event, entry) = match role {
        Role::Organizer => (None, None),
        Role::Inspector { event } => (Some(event), None),
        Role::Driver { event, entry } => (Some(event), Some(entry)),
    };
    let (id, made_at) = (house.new_id(), house.now());
    let link = Link { id, role: role.word().into(), event, entry, holder: holder.into(), made_at, revoked_at: None };
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

/// Makes links for the drivers of an event: for those without one, or anew for the entries named (their old links end).
pub async fn to_drivers(
    house: &House,
    actor: &Actor,
    event: Uuid,
    anew: Option<Uuid>,
) -> Result<Vec<(Entry, HandedOut)>, Refusal> {
    require(actor, Deed::RunTheEvent, Whose::Event(event))?;
    house.event(event).await?;
    let (entries, links) = {
        let mut db = house.store.read().await?;
        (entry::of_event(&mut db, event).await?, access::links_of_event(&mut db, event).await?)
    };
    let good: BTreeSet<Uuid> = links.iter().filter(|link| link.revoked_at.is_none()).filter_map(|link| link.entry).collect();
    let chosen: Vec<Entry> =
        entries.into_iter().filter(|entry| anew.map_or(!good.contains(&entry.id), |wanted| wanted == entry.id)).collect();
    if anew.is_some() && chosen.is_empty() {
        return Err(Refusal::NotHere);
    }
    let made = chosen
        .iter()
        .map(|entry| make(house, Role::Driver { event, entry: entry.id }, &entry.driver))
        .collect::<Result<Vec<_>, _>>()?;
    let made = keep(house, made, anew.into_iter().collect()).await?;
    Ok(chosen.into_iter().zip(made).collect())
}

/// Makes a link for an inspector of an event.
pub async fn to_inspector(house: &House, actor: &Actor, event: Uuid, name: &str) -> Result<HandedOut, Refusal> {
    require(actor, Deed::RunTheEvent, Whose::Event(event))?;
    house.event(event).await?;
    let name = holder_name(name)?;
    let made = make(house, Role::Inspector { event }, &name)?;
    keep(house, vec![made], BTreeSet::new()).await?.pop().ok_or(Refusal::NotHere)
}

/// Makes a link for another organizer.
pub async fn to_organizer(house: &House, actor: &Actor, name: &str) -> Result<HandedOut, Refusal> {
    require(actor, Deed::RunTheClub, Whose::Club)?;
    let name = holder_name(name)?;
    first_organizer(house, &name).await
}

/// Makes the first organizer's link; only the server itself may ask for it, when it is set up.
pub(super) async fn first_organizer(house: &House, name: &str) -> Result<HandedOut, Refusal> {
    let made = make(house, Role::Organizer, name)?;
    keep(house, vec![made], BTreeSet::new()).await?.pop().ok_or(Refusal::NotHere)
}

/// Takes a link of an event back: its devices are out at once.
pub async fn take_back(house: &House, actor: &Actor, event: Uuid, link: Uuid) -> Result<(), Refusal> {
    require(actor, Deed::RunTheEvent, Whose::Event(event))?;
    let now = house.now();
    let found = house
        .store
        .write::<_, Refusal, _>(Touch::Access, move |db| {
            Box::pin(async move { Ok(access::revoke_link(db, event, link, now).await?) })
        })
        .await?;
    if found { Ok(()) } else { Err(Refusal::NotHere) }
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
