//! Letting people out again: a person with all devices, or one device. It holds from the next request on.

use super::Refusal;
use super::house::House;
use super::rights::{Actor, Deed, Whose, require};
use crate::store::Touch;
use crate::store::{access, device};
use uuid::Uuid;

/// Takes back the link of a person of an event: their devices are out at once, and what they sign from then on does not count.
pub async fn person(house: &House, actor: &Actor, event: Uuid, link: Uuid) -> Result<(), Refusal> {
    require(actor, Deed::RunTheEvent, Whose::Event(event))?;
    revoke(house, Some(event), link).await
}

/// Lets an organizer go. The last one who can come in stays: somebody must be able to run the club.
pub async fn organizer(house: &House, actor: &Actor, link: Uuid) -> Result<(), Refusal> {
    require(actor, Deed::RunTheClub, Whose::Club)?;
    if link == actor.link {
        return Err(Refusal::NotNow("Nobody lets themselves go: ask another organizer to do it.".into()));
    }
    revoke(house, None, link).await
}

async fn revoke(house: &House, event: Option<Uuid>, link: Uuid) -> Result<(), Refusal> {
    let now = house.now();
    let found = house
        .store
        .write::<_, Refusal, _>(Touch::Access, move |db| {
            Box::pin(async move { Ok(access::revoke_link(db, event, link, now).await?) })
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
    end(house, found.ok_or(Refusal::NotHere)?.link, device).await
}

/// Ends one of one's own devices.
pub async fn own_device(house: &House, actor: &Actor, device: Uuid) -> Result<(), Refusal> {
    require(actor, Deed::KeepOneself, Whose::Club)?;
    end(house, actor.link, device).await
}

/// Signs this device out, whoever's it is.
pub async fn this_device(house: &House, actor: &Actor) -> Result<(), Refusal> {
    end(house, actor.link, actor.device).await
}

async fn end(house: &House, link: Uuid, device: Uuid) -> Result<(), Refusal> {
    let now = house.now();
    let found = house
        .store
        .write::<_, Refusal, _>(Touch::Access, move |db| Box::pin(async move { Ok(device::end(db, link, device, now).await?) }))
        .await?;
    if found { Ok(()) } else { Err(Refusal::NotHere) }
}
