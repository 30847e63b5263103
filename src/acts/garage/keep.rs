//! What a driver does with the garage as a whole: a link for another device, a file of everything, taking it away.

use super::books::book;
use crate::acts::Refusal;
use crate::acts::enter::{digest_of, secret_text};
use crate::acts::hand_out::{self, HandedOut};
use crate::acts::house::House;
use crate::acts::rights::{Actor, Deed, Whose, require};
use crate::store::device::{self, Listed};
use crate::store::{Touch, access, garage};
use serde_json::{Value as Json, json};
use uuid::Uuid;

/// The most sheets that a sign-out takes along: each is a header of its answer.
const MOST_SHEETS: usize = 20;

/// Makes the garage's link anew: the old one opens it no more, devices that are in stay in. Shown once.
///
/// # Errors
/// [`Refusal::MadeBefore`] where this form made it anew already.
pub async fn link_anew(house: &House, actor: &Actor, id: Uuid, form: Option<Uuid>) -> Result<HandedOut, Refusal> {
    require(actor, Deed::KeepGarage, Whose::Garage(id))?;
    let found = {
        let mut db = house.store.read().await?;
        access::link(&mut db, actor.link).await?
    };
    let link = found.filter(|link| link.garage == Some(id) && link.revoked_at.is_none()).ok_or(Refusal::NotHere)?;
    hand_out::renew_once(house, Some(actor), link, None, form).await
}

/// The devices that are in the garage.
pub async fn devices(house: &House, actor: &Actor, id: Uuid) -> Result<Vec<Listed>, Refusal> {
    require(actor, Deed::KeepGarage, Whose::Garage(id))?;
    let now = house.now();
    let mut db = house.store.read().await?;
    let all = device::of_link(&mut db, actor.link).await?;
    Ok(all.into_iter().filter(|device| device.is_in(now)).collect())
}

/// The newest sheets that may be open in a garage's browser: those that a device is still let in to.
async fn open_sheets(house: &House, id: Uuid) -> Result<Vec<Uuid>, Refusal> {
    let now = house.now();
    let mut entries: Vec<Uuid> = book(house, id).await?.garage.brought.keys().copied().collect();
    let mut db = house.store.read().await?;
    entries.sort_unstable_by(|a, b| b.cmp(a));
    entries.truncate(MOST_SHEETS);
    Ok(device::entries_in(&mut db, &entries, now).await?)
}

/// Signs this browser out of the garage, and of the sheets that it opened through it. Gives the entries whose sheets may be open
/// in it by a link of their own: who signs out leaves the whole browser, and it forgets these too.
pub async fn sign_out(house: &House, actor: &Actor, id: Uuid) -> Result<Vec<Uuid>, Refusal> {
    require(actor, Deed::KeepGarage, Whose::Garage(id))?;
    let sheets = open_sheets(house, id).await?;
    crate::acts::let_out::this_device(house, actor).await?;
    Ok(sheets)
}

/// Ends another device's way in: a lost phone. Sheets that it opened through the garage end with it.
pub async fn end_device(house: &House, actor: &Actor, id: Uuid, device: Uuid) -> Result<(), Refusal> {
    require(actor, Deed::KeepGarage, Whose::Garage(id))?;
    crate::acts::let_out::end(house, actor, actor.link, device).await
}

/// Makes the calendar's address anew, or ends it. The secret is shown once.
///
/// # Errors
/// [`Refusal::MadeBefore`] where this form made an address already.
pub async fn calendar_secret(
    house: &House,
    actor: &Actor,
    id: Uuid,
    wanted: bool,
    form: Option<Uuid>,
) -> Result<Option<String>, Refusal> {
    require(actor, Deed::KeepGarage, Whose::Garage(id))?;
    let secret = wanted.then(|| secret_text(house.new_secret()));
    let digest = secret.as_deref().and_then(digest_of);
    let (form, now) = (form.filter(|_| wanted), house.now());
    house
        .write_as(actor, Touch::Nothing, move |db| {
            Box::pin(async move {
                hand_out::once(db, form, now).await?;
                Ok(garage::set_calendar(db, id, digest).await?)
            })
        })
        .await?;
    Ok(secret)
}

/// Whether the garage has a calendar address.
pub async fn has_calendar(house: &House, actor: &Actor, id: Uuid) -> Result<bool, Refusal> {
    require(actor, Deed::KeepGarage, Whose::Garage(id))?;
    let mut db = house.store.read().await?;
    Ok(garage::has_calendar(&mut db, id).await?)
}

/// Everything that was noted in the garage, as one file.
pub async fn file(house: &House, actor: &Actor, id: Uuid) -> Result<Json, Refusal> {
    require(actor, Deed::KeepGarage, Whose::Garage(id))?;
    let mut db = house.store.read().await?;
    let changes = garage::changes(&mut db, id).await?;
    let line = |noted: &crate::rules::garage::change::Noted| json!({ "id": noted.id, "at": noted.at, "change": noted.change });
    Ok(json!({ "garage": id, "changes": changes.iter().map(line).collect::<Vec<_>>() }))
}

/// Takes everything in the garage away. What was sent with a sheet stays with the club, which answers for it.
pub async fn take_away(house: &House, actor: &Actor, id: Uuid) -> Result<(), Refusal> {
    require(actor, Deed::KeepGarage, Whose::Garage(id))?;
    let (now, by) = (house.now(), actor.by());
    house.write_as(actor, Touch::Access, move |db| Box::pin(async move { Ok(garage::erase(db, id, by, now).await?) })).await?;
    // Readers may hold the journal for a while: it is emptied later at the latest.
    if let Err(error) = house.store.tidy().await {
        tracing::warn!(%error, "the journal could not be emptied after a garage was taken away");
    }
    Ok(())
}
