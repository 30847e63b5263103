//! Passes: given to a cleared entry and to no other, and looked at when somebody shows one.

use super::Refusal;
use super::enter::midnight_after;
use super::house::{House, KnownEvent};
use super::state::EntryState;
use crate::rules::pass::{Pass, PassError, public_key};
use crate::rules::standing::Standing;
use crate::store::{Touch, event_key};
use jiff::Timestamp;
use sha2::{Digest, Sha256};
use uuid::Uuid;

/// The event's key, made when it is first asked for.
async fn key(house: &House, event: Uuid) -> Result<[u8; 32], Refusal> {
    let there = {
        let mut db = house.store.read().await?;
        event_key::of_event(&mut db, event).await?
    };
    if let Some(key) = there {
        return Ok(key);
    }
    let fresh: [u8; 32] = Sha256::new().chain_update(house.new_secret()).chain_update(house.new_secret()).finalize().into();
    let now = house.now();
    house
        .store
        .write::<_, Refusal, _>(Touch::Nothing, move |db| {
            Box::pin(async move { Ok(event_key::add(db, event, fresh, now).await?) })
        })
        .await
}

/// What a marshal's device verifies the event's passes with.
pub async fn public_key_of(house: &House, event: Uuid) -> Result<[u8; 32], Refusal> {
    Ok(public_key(&key(house, event).await?))
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
    Ok(Some(Given { text: pass.seal(&key(house, known.event.id).await?), made_at: now, until }))
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
/// [`Refusal::NotHere`] for a text that is no pass of this club's, forged ones and altered ones among them.
pub async fn look(house: &House, text: &str) -> Result<Shown, Refusal> {
    let not_here = |_: PassError| Refusal::NotHere;
    let event = Uuid::from_bytes(Pass::read(text).map_err(not_here)?.event);
    let known = house.event(event).await?;
    let pass = Pass::open(text, &public_key_of(house, event).await?).map_err(not_here)?;
    let is_over = minutes(house.now()) >= pass.until_min;
    Ok(Shown { pass, known, is_over })
}
