//! Letting an inspector go together with what they cleared: a phone that was stolen, or a person whose word no longer stands.

use super::house::House;
use super::rights::{Actor, Deed, Whose, require};
use super::withdraw::{Withdrawal, check_reason, withdraw};
use super::{Refusal, let_out, state};
use crate::rules::standing::Standing;
use crate::rules::units::Units;
use crate::store::access::{self, Link};
use crate::store::entry::{self, Entry};
use crate::store::history::{self, Kind};
use jiff::Timestamp;
use uuid::Uuid;

/// A car that stands cleared and in whose history the inspector has a clear.
#[derive(Clone, Debug)]
pub struct Cleared {
    pub entry: Entry,
    /// The newest records of the car: what a withdrawal has seen.
    pub heads: Vec<Uuid>,
    /// When the inspector's newest clear came in.
    pub at: Timestamp,
    /// Who gave the clear by which it stands, where that is another inspector.
    pub by_another: Option<String>,
}

/// The inspector whom a link lets in, let go or not.
async fn inspector(house: &House, event: Uuid, link: Uuid) -> Result<Link, Refusal> {
    let mut db = house.store.read().await?;
    let found = access::link(&mut db, link).await?;
    found.filter(|link| link.event == Some(event) && link.role == "inspector").ok_or(Refusal::NotHere)
}

/// The inspector, and the cars that stand cleared with a clear of theirs in their history, numbers in order.
///
/// # Errors
/// [`Refusal::NotHere`] for a link that is no inspector's of this event.
pub async fn cleared_by(house: &House, actor: &Actor, event: Uuid, link: Uuid) -> Result<(Link, Vec<Cleared>), Refusal> {
    require(actor, Deed::RunTheEvent, Whose::Event(event))?;
    let person = inspector(house, event, link).await?;
    let known = house.event(event).await?;
    let mut db = house.store.read().await?;
    let (entries, mut pasts) = (entry::of_event(&mut db, event).await?, history::of_event(&mut db, event).await?);
    drop(db);
    let mut cleared = Vec::new();
    for entry in entries {
        let Some(past) = pasts.remove(&entry.id) else { continue };
        let theirs = past.records.iter().filter(|record| record.kind == Kind::Clear && record.maker.link == link);
        let Some(at) = theirs.map(|record| record.arrived_at).max() else { continue };
        let state = state::of(&known, entry, past, &Units::METRIC);
        if state.standing() == Standing::Cleared {
            let other = state.clearance().filter(|record| record.maker.link != link);
            let by_another = other.map(|record| record.maker.name.clone());
            cleared.push(Cleared { heads: state.judgement.heads.clone(), entry: state.entry, at, by_another });
        }
    }
    Ok((person, cleared))
}

/// A car whose clearance is taken back, with the withdrawal's own id and what its maker had seen.
#[derive(Clone, Debug)]
pub struct Back {
    pub entry: Uuid,
    pub id: Uuid,
    pub seen: Vec<Uuid>,
}

/// Lets the inspector go, and takes these clearances back. Sent twice it is done once: the link is ended, and the withdrawals have
/// ids of their own.
///
/// # Errors
/// [`Refusal::Fields`] without a reason, before anything is done; [`Refusal::NotHere`] where nothing is to be taken back and the
/// inspector was let go before.
pub async fn let_go(
    house: &House,
    actor: &Actor,
    (event, link): (Uuid, Uuid),
    reason: &str,
    backs: Vec<Back>,
) -> Result<(), Refusal> {
    require(actor, Deed::RunTheEvent, Whose::Event(event))?;
    if backs.is_empty() {
        return let_out::person(house, actor, event, link).await;
    }
    check_reason(reason)?;
    inspector(house, event, link).await?;
    for back in &backs {
        if house.event_of_entry(back.entry).await?.event.id != event {
            return Err(Refusal::NotHere);
        }
    }
    // First the person, who could clear a car anew meanwhile.
    match let_out::person(house, actor, event, link).await {
        Ok(()) | Err(Refusal::NotHere) => {}
        Err(other) => return Err(other),
    }
    for Back { entry, id, seen } in backs {
        withdraw(house, actor, entry, Withdrawal { id, seen, made_at: None, reason: reason.to_owned() }).await?;
    }
    Ok(())
}
