//! A proof of who somebody is. What changes who runs the club asks for one of the last five minutes, given on the same device: two
//! minutes at somebody's open laptop must not be enough to take a club over.

use super::Refusal;
use super::account::require_own;
use super::house::House;
use super::refusal::field;
use super::rights::{Actor, Admission, Deed, Whose, require};
use crate::store::log::{self, Security, Way};
use crate::store::{Touch, account, club, device};

/// For how many minutes a proof holds.
pub const MINUTES: i64 = 5;

/// Somebody who showed who they are a moment ago, on the device that they act from. Only the check here makes one, and the acts
/// that change who runs the club take nobody else.
#[derive(Clone, Debug)]
pub struct Proven(Actor);

impl Proven {
    /// The person.
    pub fn actor(&self) -> &Actor {
        &self.0
    }

    /// The person, where they may do more than see to their own account.
    pub(super) fn whole(&self) -> Result<&Actor, Refusal> {
        if self.0.admission == Admission::LacksPasskey { Err(Refusal::PasskeyFirst) } else { Ok(&self.0) }
    }

    /// The person as their deed is noted in the log.
    pub(super) fn by(&self) -> Option<uuid::Uuid> {
        Some(self.0.link)
    }
}

/// Lets who may change who runs the club pass, if they showed who they are within the last five minutes on this device.
///
/// # Errors
/// [`Refusal::ProofWanted`] without such a proof; the table's refusals.
pub async fn require_proof(house: &House, actor: &Actor) -> Result<Proven, Refusal> {
    require(actor, Deed::ChangeWhoRuns, Whose::Club)?;
    let at = {
        let mut db = house.store.read().await?;
        device::proven_at(&mut db, actor.device).await?
    };
    // A time that is yet to come is no proof: the clock was put back.
    let age_s = at.map(|at| house.now().as_second() - at.as_second());
    if age_s.is_some_and(|age| (0..MINUTES * 60).contains(&age)) {
        return Ok(Proven(actor.clone()));
    }
    log::tell(Security::ProofWanted { link: actor.link, device: actor.device });
    Err(Refusal::ProofWanted)
}

/// Takes a passphrase as proof.
///
/// # Errors
/// [`Refusal::Fields`] at `proof` for a passphrase that is not the person's, and where they have none.
pub async fn by_passphrase(house: &House, actor: &Actor, typed: &str) -> Result<(), Refusal> {
    require(actor, Deed::ChangeWhoRuns, Whose::Club)?;
    require_own(house, actor, typed, "proof").await?;
    if asks_passkey(house, actor.link).await? {
        let words = "That is right, and the club asks for a passkey as well: use yours.";
        return Err(Refusal::Fields(vec![field("proof", words)]));
    }
    note(house, actor, Way::Passphrase).await
}

/// Whether a passphrase alone is not enough for this organizer: the club asks for a passkey as well, and they have one.
///
/// A passkey alone is enough: it asks for a finger, a face or a PIN on the device that holds it, and so is two things already.
pub(super) async fn asks_passkey(house: &House, link: uuid::Uuid) -> Result<bool, Refusal> {
    let mut db = house.store.read().await?;
    Ok(club::asks_second(&mut db).await? && account::passkeys(&mut db).await?.iter().any(|kept| kept.link == link))
}

/// Sets whether the club asks its organizers for a passkey beside the passphrase. Who sets it has one: nobody locks themselves out.
///
/// # Errors
/// [`Refusal::NotNow`] for who has none.
pub async fn ask_second(house: &House, proven: &Proven, asks: bool) -> Result<(), Refusal> {
    let actor = proven.whole()?;
    let has_one = {
        let mut db = house.store.read().await?;
        account::passkeys(&mut db).await?.iter().any(|kept| kept.link == actor.link)
    };
    if asks && !has_one {
        return Err(Refusal::NotNow(
            "Add a passkey of your own first, on your own page: you would be asked for it at once.".into(),
        ));
    }
    house.write_as(actor, Touch::Access, move |db| Box::pin(async move { Ok(club::set_asks_second(db, asks).await?) })).await?;
    log::tell(Security::SecondFactor { asks, link: actor.link, device: actor.device });
    Ok(())
}

/// Notes that somebody showed who they are.
pub(super) async fn note(house: &House, actor: &Actor, way: Way) -> Result<(), Refusal> {
    let (device, now) = (actor.device, house.now());
    house.write_as(actor, Touch::Nothing, move |db| Box::pin(async move { Ok(device::prove(db, device, now).await?) })).await?;
    log::tell(Security::Proven { way, link: actor.link, device });
    Ok(())
}
