//! What phones of an event keep, and for how long: set by an organizer, and told to every phone with what it may keep.

use super::Refusal;
use super::enter::{end_for_drivers, end_of_event, midnight_after};
use super::house::{House, KnownEvent};
use super::rights::{Actor, Deed, Role, Whose, require};
use super::submit::check_id;
use crate::rules::phones::PhoneSetting;
use crate::store::Touch;
use crate::store::phone_setting::{self, Set};
use jiff::{Timestamp, ToSpan};
use uuid::Uuid;

/// How long a garage's pages are kept on a device that does not come back, in days: from one race weekend past the next.
const GARAGE_DAYS: i64 = 60;

/// Sets it, under the page's own id: sent twice, it is set once.
///
/// # Errors
/// [`Refusal::Fields`] for figures out of range; [`Refusal::IdTaken`] where the page's id set something else.
pub async fn set(house: &House, actor: &Actor, event: Uuid, id: Uuid, typed: (&str, &str)) -> Result<(), Refusal> {
    require(actor, Deed::RunTheEvent, Whose::Event(event))?;
    check_id(id)?;
    house.event(event).await?;
    let setting = PhoneSetting::parse(typed.0, typed.1).map_err(Refusal::Fields)?;
    let set = Set { setting, at: house.now(), by: actor.name.clone() };
    house
        .write_as(actor, Touch::Event(event), move |db| {
            Box::pin(async move {
                let is_new = phone_setting::add(db, id, event, &set).await?;
                let is_same = is_new || phone_setting::by_id(db, id).await? == Some((event, set.setting));
                if is_same { Ok(()) } else { Err(Refusal::IdTaken) }
            })
        })
        .await
}

/// How long a device may keep what it is given.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Kept {
    /// Copies of pages and lists go then.
    pub until: Timestamp,
    /// What was made on the device and not sent goes then: nobody could send it any more.
    pub unsent_until: Timestamp,
}

/// How long a person's device may keep what it is given; `None` for an organizer, whose pages are kept nowhere.
///
/// # Errors
/// [`Refusal::NotHere`] where the person's event is not there.
pub async fn kept(house: &House, role: Role) -> Result<Option<Kept>, Refusal> {
    let now = house.now();
    let Some(event) = role.event() else {
        let until = now.checked_add((GARAGE_DAYS * 24).hours()).unwrap_or(now);
        return Ok(matches!(role, Role::Garage { .. }).then_some(Kept { until, unsent_until: until }));
    };
    let known = house.event(event).await?;
    let unsent_until = match role {
        Role::Driver { .. } => end_for_drivers(&known.event, now),
        _ => end_of_event(&known.event, now),
    };
    Ok(Some(Kept { until: pages_until(&known), unsent_until }))
}

/// Until when phones keep pages of an event: the midnight after its day by its own clock, and the days that the organizer set.
pub fn pages_until(known: &KnownEvent) -> Timestamp {
    midnight_after(&known.event, 1 + i64::from(known.phones.kept_days())).unwrap_or(Timestamp::UNIX_EPOCH)
}
