//! Letting people out again: a person with all devices, or one device. It holds from the next request on.

use super::Refusal;
use super::house::House;
use super::proof::Proven;
use super::rights::{Actor, Deed, Whose, require};
use crate::store::Touch;
use crate::store::log::{self, Security};
use crate::store::{access, device};
use uuid::Uuid;

/// Takes back the link of a person of an event: their devices are out at once, and what they sign from then on does not count.
pub async fn person(house: &House, actor: &Actor, event: Uuid, link: Uuid) -> Result<(), Refusal> {
    require(actor, Deed::RunTheEvent, Whose::Event(event))?;
    revoke(house, actor, Some(event), link).await
}

/// Lets an organizer go. Nobody lets themselves go, and who was let go lets nobody go: the last one stays.
pub async fn organizer(house: &House, proven: &Proven, link: Uuid) -> Result<(), Refusal> {
    let actor = proven.whole()?;
    if link == actor.link {
        return Err(Refusal::NotNow("Nobody lets themselves go: ask another organizer to do it.".into()));
    }
    revoke(house, actor, None, link).await?;
    log::tell(Security::OrganizerEnded { link, by: proven.by() });
    Ok(())
}

async fn revoke(house: &House, actor: &Actor, event: Option<Uuid>, link: Uuid) -> Result<(), Refusal> {
    let (now, by) = (house.now(), actor.by());
    let found = house
        .write_as(actor, Touch::Access, move |db| {
            Box::pin(async move { Ok(access::revoke_link(db, event, link, by, now).await?) })
        })
        .await?;
    if found { Ok(()) } else { Err(Refusal::NotHere) }
}

/// Ends one device of a person of an event, a lost phone say; the person's other devices stay.
pub async fn device_of(house: &House, actor: &Actor, event: Uuid, device: Uuid) -> Result<(), Refusal> {
    require(actor, Deed::RunTheEvent, Whose::Event(event))?;
    let found = {
        let mut db = house.store.read().await?;
        device::of_event(&mut db, event).await?.into_iter().find(|one| one.id == device)
    };
    end(house, actor, found.ok_or(Refusal::NotHere)?.link, device).await
}

/// Ends one of one's own devices.
pub async fn own_device(house: &House, actor: &Actor, device: Uuid) -> Result<(), Refusal> {
    require(actor, Deed::KeepOneself, Whose::Club)?;
    end(house, actor, actor.link, device).await
}

/// Signs this device out, whoever's it is.
pub async fn this_device(house: &House, actor: &Actor) -> Result<(), Refusal> {
    match end(house, actor, actor.link, actor.device).await {
        // Tapped twice: it is out.
        Err(Refusal::WhoAreYou | Refusal::NotHere) => Ok(()),
        other => other,
    }
}

pub(super) async fn end(house: &House, actor: &Actor, link: Uuid, device: Uuid) -> Result<(), Refusal> {
    let (now, by) = (house.now(), actor.by());
    let found = house
        .write_as(actor, Touch::Access, move |db| {
            Box::pin(async move {
                let found = device::end(db, link, device, by, now).await?;
                if found {
                    // Who was let in through it is out with it.
                    device::end_through(db, device, now).await?;
                }
                Ok(found)
            })
        })
        .await?;
    if found { Ok(()) } else { Err(Refusal::NotHere) }
}
