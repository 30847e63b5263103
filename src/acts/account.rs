//! An organizer's account: a passphrase set with a one-time link, asked for at the door, changed by who knows it.

use super::Refusal;
use super::enter::{self, Caller, Entered, ORGANIZER_HOURS, SHARED_IDLE_MIN, digest_of, secret_text};
use super::hand_out::organizer_named;
use super::house::House;
use super::passphrase::{Lane, check, fits, hashed};
use super::proof::{Proven, asks_passkey};
use super::refusal::field;
use super::rights::Actor;
use crate::store::access::{Digest, Link};
use crate::store::log::{self, Security, Way};
use crate::store::{Touch, access, account, club, device, event, known_browser};
use jiff::Timestamp;

pub use super::passphrase::FEWEST;

/// How long a shared computer stays signed in: one day's work.
const SHARED_HOURS: i64 = 12;

/// For how many minutes a used link answers its browser once more, should the first answer have been lost on the way.
const LOST_ANSWER_MIN: i64 = 10;

/// Refuses a passphrase that a guesser tries early. What the club is called, its events and its organizers is known to everybody.
async fn require_good(house: &House, passphrase: &str, name: &str) -> Result<(), Refusal> {
    let mut known: Vec<String> = [name, "witnessmark", "track day", "inspection", "organizer"].map(str::to_owned).into();
    let mut db = house.store.read().await?;
    known.extend(club::name(&mut db).await?);
    known.extend(access::organizers(&mut db).await?.into_iter().map(|link| link.holder));
    known.extend(event::all(&mut db).await?.into_iter().flat_map(|event| [event.name, event.venue]));
    drop(db);
    let known: Vec<&str> = known.iter().map(String::as_str).collect();
    check(passphrase, &known).map_err(|words| Refusal::Fields(vec![field("passphrase", words)]))
}

/// Sets the passphrase of the organizer who holds a one-time link, and lets this device in. Every other device of theirs is
/// out, their passkeys are gone and no browser is known any more: who lost a passphrase may have lost it to somebody.
///
/// # Errors
/// [`Refusal::Spent`] for a link that was used. The browser that used it is let in again with the same passphrase and within ten
/// minutes, for the answer may have been lost on the way; nothing is changed then.
pub async fn set_up(house: &House, secret: &str, passphrase: &str, caller: Caller) -> Result<Entered, Refusal> {
    let link = match enter::look(house, secret).await {
        Err(Refusal::Spent) if caller.door.is_some() => return once_more(house, secret, passphrase, caller).await,
        other => other?,
    };
    if link.role != "organizer" {
        return Err(Refusal::WhoAreYou);
    }
    require_good(house, passphrase, &link.holder).await?;
    let kept = hashed(house, passphrase).await?;
    let seconds = ORGANIZER_HOURS * 3600;
    let digest = digest_of(secret).ok_or(Refusal::WhoAreYou)?;
    let (new, cookie) = enter::new_device(house, (&link, digest), &caller, seconds)?;
    let (known, known_digest) = fresh_known(house)?;
    let id = link.id;
    let spent = link.once.then_some(digest);
    let set = house
        .store
        .write::<_, Refusal, _>(Touch::Access, move |db| {
            Box::pin(async move {
                // Sent twice at once: the second one changes nothing.
                if spent.is_some() && access::link(db, id).await?.is_none_or(|link| link.spent_at.is_some()) {
                    return Err(Refusal::Spent);
                }
                let device = enter::let_in(db, &new, spent).await?;
                account::set_passphrase(db, id, &kept, new.from).await?;
                account::remove_passkeys(db, id).await?;
                known_browser::forget(db, id).await?;
                known_browser::keep(db, id, &known_digest, new.from).await?;
                device::end_others(db, id, device, new.from).await?;
                Ok(device)
            })
        })
        .await;
    let device = match set {
        Err(Refusal::Spent) if caller.door.is_some() => return once_more(house, secret, passphrase, caller).await,
        other => other?,
    };
    log::tell(Security::PassphraseSet { link: id, device });
    Ok(Entered { known: Some(known), ..enter::entered(device, link, cookie, seconds)? })
}

/// Lets the browser in again that set a passphrase by this link a moment ago, if the same passphrase is sent again.
async fn once_more(house: &House, secret: &str, passphrase: &str, caller: Caller) -> Result<Entered, Refusal> {
    let link = enter::find(house, secret).await?;
    let now = house.now();
    let is_fresh = |at: Timestamp| (0..LOST_ANSWER_MIN * 60).contains(&(now.as_second() - at.as_second()));
    if link.role != "organizer" || !link.spent_at.is_some_and(is_fresh) {
        return Err(Refusal::Spent);
    }
    let seconds = ORGANIZER_HOURS * 3600;
    let digest = digest_of(secret).ok_or(Refusal::WhoAreYou)?;
    let (new, cookie) = enter::new_device(house, (&link, digest), &caller, seconds)?;
    let (there, kept) = {
        let mut db = house.store.read().await?;
        (device::by_digest(&mut db, new.digest, now).await?, account::passphrase(&mut db, link.id).await?)
    };
    let device = there.filter(|there| there.link.id == link.id).ok_or(Refusal::Spent)?.id;
    if !fits(passphrase, kept.as_deref(), Lane::Known).await? {
        return Err(Refusal::Spent);
    }
    enter::entered(device, link, cookie, seconds)
}

/// What somebody types at the door.
#[derive(Clone, Copy, Debug)]
pub struct Typed<'a> {
    pub name: &'a str,
    pub passphrase: &'a str,
    /// Others use this computer.
    pub shared: bool,
}

/// Who asks to sign in: whether there is such an organizer, and whether they did so in this browser before.
#[derive(Clone, Debug)]
pub struct AtTheDoor {
    link: Option<Link>,
    /// The digest of this browser's secret where the organizer signed in with it before: tries are counted by it.
    pub known: Option<Digest>,
}

impl AtTheDoor {
    /// Whether there is an organizer of the name. For the log alone: no answer may tell.
    pub fn is_somebody(&self) -> bool {
        self.link.is_some()
    }
}

/// Looks up the name that was typed and the browser it comes from, before any work is done for it.
pub async fn at_the_door(house: &House, name: &str, caller: &Caller) -> Result<AtTheDoor, Refusal> {
    let link = organizer_named(house, name).await?;
    let known = match (&link, caller.known.as_deref().and_then(digest_of)) {
        (Some(link), Some(digest)) => {
            let mut db = house.store.read().await?;
            known_browser::is_known(&mut db, link.id, &digest, house.now()).await?.then_some(digest)
        }
        _ => None,
    };
    Ok(AtTheDoor { link, known })
}

/// The digest of this browser's secret where any organizer signed in with it before.
pub async fn known_browser(house: &House, caller: &Caller) -> Result<Option<Digest>, Refusal> {
    let Some(digest) = caller.known.as_deref().and_then(digest_of) else { return Ok(None) };
    let mut db = house.store.read().await?;
    Ok(known_browser::is_anyones(&mut db, &digest, house.now()).await?.then_some(digest))
}

/// What a right passphrase leads to.
pub enum Came {
    In(Box<Entered>),
    /// The club asks for a passkey as well.
    AsksPasskey(Box<HalfIn>),
}

/// Somebody whose passphrase was right, and who is to answer with a passkey before they are let in.
#[derive(Clone, Debug)]
pub struct HalfIn {
    pub(super) link: Link,
    /// The hash that was fitted.
    pub(super) kept: String,
    pub(super) shared: bool,
}

impl HalfIn {
    /// Whose passphrase it was.
    pub fn link(&self) -> uuid::Uuid {
        self.link.id
    }
}

/// Lets an organizer in by name and passphrase, or asks for a passkey as well where the club wants one.
///
/// # Errors
/// [`Refusal::Fields`] with one sentence for an unknown name and a wrong passphrase alike.
pub async fn sign_in(house: &House, door: AtTheDoor, lane: Lane, typed: Typed<'_>, caller: Caller) -> Result<Came, Refusal> {
    let kept = match &door.link {
        Some(link) => {
            let mut db = house.store.read().await?;
            account::passphrase(&mut db, link.id).await?
        }
        None => None,
    };
    let is_right = fits(typed.passphrase, kept.as_deref(), lane).await?;
    match (door.link, kept) {
        (Some(link), Some(kept)) if is_right => {
            if asks_passkey(house, link.id).await? {
                return Ok(Came::AsksPasskey(Box::new(HalfIn { link, kept, shared: typed.shared })));
            }
            Ok(Came::In(Box::new(let_in_organizer(house, link, Some(kept), typed.shared, caller).await?)))
        }
        _ => Err(Refusal::Fields(vec![field("passphrase", "The name or the passphrase is not right.")])),
    }
}

/// A secret by which a browser is known from now on.
fn fresh_known(house: &House) -> Result<(String, Digest), Refusal> {
    let secret = secret_text(house.new_secret());
    let digest = digest_of(&secret).ok_or(Refusal::WhoAreYou)?;
    Ok((secret, digest))
}

/// The secret that this browser has already, where it is this organizer's, or a new one.
async fn known_of(house: &House, link: &Link, caller: &Caller) -> Result<(String, Digest), Refusal> {
    if let Some((secret, digest)) = caller.known.clone().and_then(|secret| digest_of(&secret).map(|digest| (secret, digest))) {
        let mut db = house.store.read().await?;
        if known_browser::is_known(&mut db, link.id, &digest, house.now()).await? {
            return Ok((secret, digest));
        }
    }
    fresh_known(house)
}

/// Puts an organizer's device down who has shown who they are; `kept` is the passphrase's hash that they fitted, which must still
/// be theirs, for looking at it took a while.
pub(super) async fn let_in_organizer(
    house: &House,
    link: Link,
    kept: Option<String>,
    shared: bool,
    caller: Caller,
) -> Result<Entered, Refusal> {
    let seconds = if shared { SHARED_HOURS } else { ORGANIZER_HOURS } * 3600;
    let (secret, digest) = known_of(house, &link, &caller).await?;
    let (mut new, cookie) = enter::new_device(house, (&link, [0; 32]), &Caller { door: None, ..caller }, seconds)?;
    if shared {
        new.idle_min = Some(SHARED_IDLE_MIN);
    }
    let device = house
        .store
        .write::<_, Refusal, _>(Touch::Nothing, move |db| {
            Box::pin(async move {
                let now = access::link(db, new.link).await?.filter(|link| link.revoked_at.is_none());
                if now.is_none() || (kept.is_some() && account::passphrase(db, new.link).await? != kept) {
                    return Err(Refusal::WhoAreYou);
                }
                if !shared {
                    known_browser::keep(db, new.link, &digest, new.from).await?;
                }
                enter::let_in(db, &new, None).await
            })
        })
        .await?;
    // Others use this computer: the next of them is as strange as anybody.
    let known = (!shared).then_some(secret);
    Ok(Entered { known, ..enter::entered(device, link, cookie, seconds)? })
}

/// Refuses who does not know their own passphrase, at the field that asks for it. Gives the hash that it fitted.
pub(super) async fn require_own(house: &House, actor: &Actor, typed: &str, asked: &str) -> Result<String, Refusal> {
    let kept = {
        let mut db = house.store.read().await?;
        account::passphrase(&mut db, actor.link).await?
    };
    if fits(typed, kept.as_deref(), Lane::Known).await?
        && let Some(kept) = kept
    {
        return Ok(kept);
    }
    log::tell(Security::NotProven { way: Way::Passphrase, link: actor.link, device: actor.device });
    Err(Refusal::Fields(vec![field(asked, "This is not your passphrase.")]))
}

/// Changes one's own passphrase and ends one's other devices. Who came in by a link that needs none sets a first one, and the
/// link is spent.
pub async fn change(house: &House, proven: &Proven, new: &str) -> Result<(), Refusal> {
    let actor = proven.actor();
    require_good(house, new, &actor.name).await?;
    let (hash, now, link, device) = (hashed(house, new).await?, house.now(), actor.link, actor.device);
    house
        .write_as(actor, Touch::Access, move |db| {
            Box::pin(async move {
                account::set_passphrase(db, link, &hash, now).await?;
                access::spend(db, link, Some((link, device)), now).await?;
                Ok(device::end_others(db, link, device, now).await?)
            })
        })
        .await?;
    log::tell(Security::PassphraseSet { link, device });
    Ok(())
}
