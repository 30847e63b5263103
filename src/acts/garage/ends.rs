//! The ends of garages: an organizer ends one, or it ends by itself where nobody opens it any more. Of what is in a garage nobody
//! of the club sees anything here.

use crate::acts::Refusal;
use crate::acts::house::House;
use crate::acts::rights::{Actor, Deed, Whose, require};
use crate::acts::submit::check_id;
use crate::rules::garage::ends::{GarageTerm, notice_from};
use crate::store::garage_ends::{self, Closed, Outline, Set};
use crate::store::{Touch, garage};
use jiff::Timestamp;
use uuid::Uuid;

/// The club's garages from outside, and the terms that were set, the newest first.
pub struct Garages {
    pub outlines: Vec<Outline>,
    pub sets: Vec<Set>,
}

impl Garages {
    /// The term that counts.
    pub fn term(&self) -> GarageTerm {
        self.sets.first().map(|set| set.term).unwrap_or_default()
    }

    /// When a garage goes: after an organizer's notice, or by itself if nobody opens it until then.
    pub fn goes_at(&self, outline: &Outline) -> Timestamp {
        let by_itself = self.term().ends_on(outline.used_at, self.sets.first().map(|set| set.at));
        outline.closed.map_or(by_itself, |closed| closed.goes_at)
    }
}

async fn read(house: &House) -> Result<Garages, Refusal> {
    let mut db = house.store.read().await?;
    Ok(Garages { outlines: garage_ends::outlines(&mut db).await?, sets: garage_ends::terms(&mut db).await? })
}

/// What an organizer sees of the club's garages: size, age, last use, and from which sheet each was opened.
pub async fn outlines(house: &House, actor: &Actor) -> Result<Garages, Refusal> {
    require(actor, Deed::RunTheClub, Whose::Club)?;
    read(house).await
}

/// Ends a garage: its devices are out at once and nothing more is noted. Its driver can still come in by its link and take the
/// file, until the notice is over; then everything in it is erased.
///
/// # Errors
/// [`Refusal::NotHere`] for a garage that is not there or was erased. Ended before, it stays as it is.
pub async fn end(house: &House, actor: &Actor, id: Uuid) -> Result<(), Refusal> {
    require(actor, Deed::RunTheClub, Whose::Club)?;
    let (at, by) = (house.now(), actor.by());
    let closed = Closed { at, goes_at: notice_from(at) };
    house
        .write_as(actor, Touch::Access, move |db| {
            Box::pin(async move {
                let done = garage_ends::close(db, id, closed, by).await?;
                let is_closed = done || garage_ends::closed_of(db, id).await?.is_some();
                if is_closed { Ok(()) } else { Err(Refusal::NotHere) }
            })
        })
        .await
}

/// Sets after how many months without use a garage ends by itself, under the page's own id: sent twice, it is set once.
///
/// # Errors
/// [`Refusal::Fields`] for no such number; [`Refusal::IdTaken`] where the page's id set something else.
pub async fn set_term(house: &House, actor: &Actor, id: Uuid, months: &str) -> Result<(), Refusal> {
    require(actor, Deed::RunTheClub, Whose::Club)?;
    check_id(id)?;
    let term = GarageTerm::parse(months).map_err(|trouble| Refusal::Fields(vec![trouble]))?;
    let set = Set { term, at: house.now(), by: actor.name.clone() };
    house
        .write_as(actor, Touch::Nothing, move |db| {
            Box::pin(async move { if garage_ends::set_term(db, id, &set).await? { Ok(()) } else { Err(Refusal::IdTaken) } })
        })
        .await
}

/// What a garage's own page says of its end.
#[derive(Clone, Copy, Debug)]
pub struct End {
    /// Months without use after which it ends by itself.
    pub months: u16,
    /// When it would end if nobody opened it from now on, or when it is erased after an organizer ended it.
    pub goes_at: Timestamp,
    pub closed: Option<Closed>,
}

/// When this garage ends.
pub async fn end_of(house: &House, actor: &Actor, id: Uuid) -> Result<End, Refusal> {
    require(actor, Deed::KeepGarage, Whose::Garage(id))?;
    let mut db = house.store.read().await?;
    let closed = garage_ends::closed_of(&mut db, id).await?;
    let sets = garage_ends::terms(&mut db).await?;
    let term = sets.first().map(|set| set.term).unwrap_or_default();
    let by_itself = term.ends_on(house.now(), sets.first().map(|set| set.at));
    Ok(End { months: term.months(), goes_at: closed.map_or(by_itself, |closed| closed.goes_at), closed })
}

/// Erases the garages whose time is over: ended by an organizer and past the notice, or not opened for the club's term. Gives how
/// many there were.
///
/// # Errors
/// What the store says; garages that were erased before it stay so.
pub async fn keep_the_term(house: &House) -> Result<usize, Refusal> {
    let garages = read(house).await?;
    let now = house.now();
    let mut erased = 0;
    for outline in garages.outlines.iter().filter(|outline| garages.goes_at(outline) <= now) {
        let (id, used_at, is_closed) = (outline.id, outline.used_at, outline.closed.is_some());
        let erase = house.store.write::<_, Refusal, _>(Touch::Access, move |db| {
            Box::pin(async move {
                // Somebody may have come in since it was read.
                let is_over = is_closed || garage_ends::is_unused_since(db, id, used_at).await?;
                if is_over {
                    garage::erase(db, id, None, now).await?;
                }
                Ok(is_over)
            })
        });
        erased += usize::from(erase.await?);
    }
    if erased > 0 {
        house.store.tidy().await?;
    }
    Ok(erased)
}
