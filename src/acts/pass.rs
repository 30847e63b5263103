//! Passes: given to a cleared entry and to no other, and looked at when somebody shows one. The key they are signed with ends with
//! its event, and an organizer can have it made anew.

use super::Refusal;
use super::enter::midnight_after;
use super::house::{House, KnownEvent};
use super::rights::{Actor, Deed, Whose, require};
use super::state::EntryState;
use super::submit::check_id;
use crate::rules::pass::{Pass, PassError, public_key};
use crate::rules::standing::Standing;
use crate::store::event_key::{self, NewKey};
use crate::store::{StoreError, Touch};
use jiff::Timestamp;
use sha2::{Digest, Sha256};
use uuid::Uuid;

fn fresh(house: &House) -> [u8; 32] {
    Sha256::new().chain_update(house.new_secret()).chain_update(house.new_secret()).finalize().into()
}

/// The event's key, made when it is first asked for. None is made once the event is over.
async fn key(house: &House, known: &KnownEvent) -> Result<[u8; 32], Refusal> {
    let event = known.event.id;
    let there = {
        let mut db = house.store.read().await?;
        event_key::of_event(&mut db, event).await?
    };
    if let Some(key) = there {
        return Ok(key);
    }
    if house.now() >= holds_until(known) {
        return Err(is_over());
    }
    let new = NewKey { id: house.new_id(), event, secret: fresh(house), at: house.now(), by: None };
    house
        .store
        .write::<_, Refusal, _>(Touch::Nothing, move |db| Box::pin(async move { Ok(event_key::add_first(db, &new).await?) }))
        .await
}

fn is_over() -> Refusal {
    Refusal::NotNow("The event is over: passes are made for it no more.".into())
}

/// What a marshal's device verifies the event's passes with. An event that was over before it had a key gives one that no pass fits.
///
/// # Errors
/// What the store says.
pub async fn public_key_of(house: &House, known: &KnownEvent) -> Result<[u8; 32], Refusal> {
    let there = {
        let mut db = house.store.read().await?;
        event_key::public_of_event(&mut db, known.event.id).await?
    };
    match there {
        Some(public) => Ok(public),
        None if house.now() >= holds_until(known) => Ok(public_key(&fresh(house))),
        None => Ok(public_key(&key(house, known).await?)),
    }
}

/// Makes the event's key anew, under the page's own id: sent twice, it is made once. Passes of the key before are not genuine from
/// now on, and every open page of a pass or of the grid is told.
///
/// # Errors
/// [`Refusal::NotNow`] once the event is over; [`Refusal::IdTaken`] where the page's id made another event's key.
pub async fn make_key_anew(house: &House, actor: &Actor, event: Uuid, id: Uuid) -> Result<(), Refusal> {
    require(actor, Deed::RunTheEvent, Whose::Event(event))?;
    check_id(id)?;
    let known = house.event(event).await?;
    if house.now() >= holds_until(&known) {
        return Err(is_over());
    }
    let new = NewKey { id, event, secret: fresh(house), at: house.now(), by: Some(actor.name.clone()) };
    house
        .write_as(actor, Touch::Event(event), move |db| {
            Box::pin(async move {
                if !event_key::add(db, &new).await? {
                    let is_same = event_key::event_of(db, id).await? == Some(event);
                    return if is_same { Ok(()) } else { Err(Refusal::IdTaken) };
                }
                event_key::end(db, event, Some(id)).await?;
                Ok(())
            })
        })
        .await
}

/// Erases the secret keys of events that are over: a copy of the club's file signs no pass for them. Gives how many there were.
///
/// # Errors
/// What the store says.
pub async fn end_keys_of_past_events(house: &House) -> Result<usize, Refusal> {
    let with_key = {
        let mut db = house.store.read().await?;
        event_key::events_with_one(&mut db).await?
    };
    let mut over = Vec::new();
    for event in with_key {
        let known = house.event(event).await?;
        over.extend((house.now() >= holds_until(&known)).then_some(event));
    }
    if over.is_empty() {
        return Ok(0);
    }
    house
        .store
        .write::<_, StoreError, _>(Touch::Nothing, move |db| {
            Box::pin(async move {
                let mut ended = 0;
                for event in over {
                    ended += event_key::end(db, event, None).await?;
                }
                Ok(ended)
            })
        })
        .await
        .map_err(Refusal::from)
}

/// Until when passes of an event hold: the midnight after its day, by its own clock.
pub fn holds_until(known: &KnownEvent) -> Timestamp {
    midnight_after(&known.event, 1).unwrap_or(Timestamp::UNIX_EPOCH)
}

/// A pass that was given.
#[derive(Clone, Debug)]
pub struct Given {
    pub text: String,
    pub made_at: Timestamp,
    pub until: Timestamp,
}

fn minutes(time: Timestamp) -> u32 {
    u32::try_from(time.as_second() / 60).unwrap_or_default()
}

/// How far an event's history goes, and by which edition its entries are judged there.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Reached {
    place: u32,
    edition: Uuid,
}

/// How far the history of an entry's event goes now. It is asked before the entry is read: the pass then never says a later place
/// than the one its standing was computed from.
///
/// # Errors
/// [`Refusal::NotHere`] for an entry or event that is not there.
pub async fn reached(house: &House, entry: Uuid) -> Result<Reached, Refusal> {
    let id = house.event_of_entry(entry).await?.event.id;
    let (known, place, _) = house.event_now(id).await?;
    // A place that does not fit is older than any list: such a pass counts against none.
    Ok(Reached { place: u32::try_from(place).unwrap_or(0), edition: known.edition.id })
}

/// The pass of an entry as it stands now; `None` where it is not cleared, or the event's day is over.
///
/// `reached` was asked before `state` was read.
///
/// # Errors
/// What the store says.
pub async fn of_entry(house: &House, known: &KnownEvent, state: &EntryState, reached: Reached) -> Result<Option<Given>, Refusal> {
    let (until, now) = (holds_until(known), house.now());
    // Raised in this very moment: the standing may be by the edition before. The page is told of it and looks again.
    let is_current = reached.edition == known.edition.id;
    let Some(clear) = state.clearance().filter(|_| state.standing() == Standing::Cleared && now < until && is_current) else {
        return Ok(None);
    };
    let pass = Pass {
        event: known.event.id.into_bytes(),
        entry: state.entry.id.into_bytes(),
        clear: clear.id.into_bytes(),
        made_min: minutes(now),
        until_min: minutes(until),
        place: reached.place,
        number: state.entry.number.to_string(),
        group: state.entry.group.clone(),
    };
    Ok(Some(Given { text: pass.seal(&key(house, known).await?), made_at: now, until }))
}

/// What a pass that somebody shows is worth here, where the history is.
#[derive(Clone)]
pub struct Shown {
    pub pass: Pass,
    pub known: KnownEvent,
    /// Whether its time is over.
    pub is_over: bool,
}

/// Looks at a pass. What counts is where its entry stands now, and not what it says.
///
/// # Errors
/// [`Refusal::NotHere`] for a text that is no pass of this club's: one that is forged, altered, of a key before, or says that it
/// outlives its event.
pub async fn look(house: &House, text: &str) -> Result<Shown, Refusal> {
    let not_here = |_: PassError| Refusal::NotHere;
    let event = Uuid::from_bytes(Pass::read(text).map_err(not_here)?.event);
    let known = house.event(event).await?;
    let public = public_key_of(house, &known).await?;
    let pass = Pass::open(text, &public, minutes(holds_until(&known))).map_err(not_here)?;
    let is_over = minutes(house.now()) >= pass.until_min;
    Ok(Shown { pass, known, is_over })
}
