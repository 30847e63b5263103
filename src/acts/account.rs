//! An organizer's passphrase: set with a one-time link, asked for at the door, changed by who knows it.

use super::Refusal;
use super::enter::{self, Caller, Entered, ORGANIZER_HOURS, digest_of};
use super::hand_out::organizer_named;
use super::house::House;
use super::refusal::field;
use super::rights::{Actor, Deed, Whose, require};
use crate::store::{Touch, access, account, device};
use argon2::Argon2;
use argon2::password_hash::phc::PasswordHash;
use argon2::{PasswordHasher, PasswordVerifier};
use std::sync::LazyLock;
use tokio::sync::Semaphore;

/// The fewest characters. NIST SP 800-63B-4, 3.1.1.2: at least 15 where the passphrase is all that is asked for; no rules about
/// kinds of characters, no change by the calendar. (The section from memory.)
pub const FEWEST: usize = 15;
/// The most characters: room for any sentence, and a bound on the work of hashing.
pub const MOST: usize = 200;

/// How long a shared computer stays signed in: one day's work.
const SHARED_HOURS: i64 = 12;

/// One at a time: it takes 19 MiB and a whole core, and the gate must not wait for it.
static AT_ONCE: Semaphore = Semaphore::const_new(1);
/// The most who may wait for their turn: beyond it a person is asked to come back.
static WAITING: Semaphore = Semaphore::const_new(16);

/// Something to compare with where there is no such organizer, so that the answer takes as long.
static NOBODYS: LazyLock<String> = LazyLock::new(|| hash("nobody has this one", [0; 20]).unwrap_or_default());

/// argon2id with 19 MiB, two passes, one lane: the crate's defaults, and the first of the settings in OWASP's password storage
/// cheat sheet (from memory).
fn hash(passphrase: &str, salt: [u8; 20]) -> Option<String> {
    Argon2::default().hash_password_with_salt(passphrase.as_bytes(), &salt).ok().map(|hash| hash.to_string())
}

async fn hashed(house: &House, passphrase: &str) -> Result<String, Refusal> {
    let (passphrase, salt) = (passphrase.to_owned(), house.new_secret());
    let made = in_turn(move || hash(&passphrase, salt)).await?;
    made.ok_or_else(|| Refusal::NotNow("The passphrase could not be kept. Try again.".into()))
}

async fn fits(passphrase: &str, kept: String) -> Result<bool, Refusal> {
    let passphrase = passphrase.to_owned();
    let fits = move || match PasswordHash::new(&kept) {
        Ok(kept) => Argon2::default().verify_password(passphrase.as_bytes(), &kept).is_ok(),
        Err(_) => false,
    };
    in_turn(fits).await
}

/// Does work that keeps a core busy, one after the other. The turn goes along with the work and not with who waits for it: who
/// hangs up does not make room for more work than there is.
async fn in_turn<T: Send + 'static>(work: impl FnOnce() -> T + Send + 'static) -> Result<T, Refusal> {
    let busy = || Refusal::NotNow("Too many sign in at this moment. Try again in a few seconds.".into());
    let place = WAITING.try_acquire().map_err(|_| busy())?;
    let turn = AT_ONCE.acquire().await.map_err(|_| busy())?;
    let done = tokio::task::spawn_blocking(move || {
        let (_place, _turn) = (place, turn);
        work()
    });
    done.await.map_err(|_| busy())
}

/// Says what is wrong with a passphrase: too short, or one that is tried first. `known` are words that a guesser knows too.
///
/// The library holds lists of common passwords, names and words, and reckons in how many tries a clever guesser is there.
///
/// # Example: length counts, and being a common one does
/// ```
/// use witnessmark::acts::account::check;
/// assert!(check("three wet dogs on a ferry", &[]).is_ok());
/// assert!(check("Tr0ub4dor&3", &[]).is_err());
/// assert!(check("passwordpassword", &[]).is_err());
/// ```
pub fn check(passphrase: &str, known: &[&str]) -> Result<(), String> {
    let length = passphrase.chars().count();
    if length < FEWEST {
        return Err(format!(
            "This has {length} of at least {FEWEST} characters. Four or five words that do not belong together are good."
        ));
    }
    if length > MOST {
        return Err(format!("At most {MOST} characters."));
    }
    let begin: String = passphrase.chars().take(100).collect();
    if zxcvbn::zxcvbn(&begin, known).score() < zxcvbn::Score::Four {
        return Err("This is among the first that a guesser tries: common words, names, rows of keys or repeats. Take words \
            that do not belong together."
            .into());
    }
    Ok(())
}

fn checked(passphrase: &str, name: &str) -> Result<(), Refusal> {
    check(passphrase, &[name, "witnessmark", "track day", "inspection"])
        .map_err(|words| Refusal::Fields(vec![field("passphrase", words)]))
}

/// Sets the passphrase of the organizer who holds a one-time link, and lets this device in. Every other device of theirs is
/// out, and their passkeys are gone: who lost a passphrase may have lost it to somebody.
pub async fn set_up(house: &House, secret: &str, passphrase: &str, caller: Caller) -> Result<Entered, Refusal> {
    // A spent link is looked at again in the transaction: the same browser may ask twice.
    let link = match enter::look(house, secret).await {
        Err(Refusal::Spent) if caller.door.is_some() => enter::find(house, secret).await?,
        other => other?,
    };
    if link.role != "organizer" {
        return Err(Refusal::WhoAreYou);
    }
    checked(passphrase, &link.holder)?;
    let kept = hashed(house, passphrase).await?;
    let seconds = ORGANIZER_HOURS * 3600;
    let digest = digest_of(secret).ok_or(Refusal::WhoAreYou)?;
    let (new, cookie) = enter::new_device(house, (&link, digest), &caller, seconds)?;
    let (id, spent) = (link.id, link.once.then_some(digest));
    let device = house
        .store
        .write::<_, Refusal, _>(Touch::Access, move |db| {
            Box::pin(async move {
                let device = enter::let_in(db, &new, spent).await?;
                // Asked again by the same browser, what was typed last counts: it is what the person believes they have.
                account::set_passphrase(db, id, &kept, new.from).await?;
                account::remove_passkeys(db, id).await?;
                device::end_others(db, id, device, new.from).await?;
                Ok(device)
            })
        })
        .await?;
    enter::entered(device, link, cookie, seconds)
}

/// Lets an organizer in by name and passphrase.
///
/// # Errors
/// [`Refusal::Fields`] with one sentence for an unknown name and a wrong passphrase alike.
pub async fn sign_in(house: &House, name: &str, passphrase: &str, shared: bool, caller: Caller) -> Result<Entered, Refusal> {
    let found = organizer_named(house, name).await?;
    let kept = match &found {
        Some(link) => {
            let mut db = house.store.read().await?;
            account::passphrase(&mut db, link.id).await?
        }
        None => None,
    };
    // What is longer than any passphrase is none, and is not worth the work.
    let is_right =
        passphrase.chars().count() <= MOST && fits(passphrase, kept.clone().unwrap_or_else(|| NOBODYS.clone())).await?;
    match (found, kept) {
        (Some(link), Some(kept)) if is_right => let_in_organizer(house, link, Some(kept), shared, caller).await,
        _ => Err(Refusal::Fields(vec![field("passphrase", "The name or the passphrase is not right.")])),
    }
}

/// Puts an organizer's device down who has shown who they are; `kept` is the passphrase's hash that they fitted, which must still
/// be theirs, for looking at it took a while.
pub(super) async fn let_in_organizer(
    house: &House,
    link: crate::store::access::Link,
    kept: Option<String>,
    shared: bool,
    caller: Caller,
) -> Result<Entered, Refusal> {
    let seconds = if shared { SHARED_HOURS } else { ORGANIZER_HOURS } * 3600;
    let (new, cookie) = enter::new_device(house, (&link, [0; 32]), &Caller { door: None, ..caller }, seconds)?;
    let device = house
        .store
        .write::<_, Refusal, _>(Touch::Nothing, move |db| {
            Box::pin(async move {
                let now = access::link(db, new.link).await?.filter(|link| link.revoked_at.is_none());
                if now.is_none() || (kept.is_some() && account::passphrase(db, new.link).await? != kept) {
                    return Err(Refusal::WhoAreYou);
                }
                enter::let_in(db, &new, None).await
            })
        })
        .await?;
    enter::entered(device, link, cookie, seconds)
}

/// Refuses who does not know their own passphrase; who has none yet passes.
pub(super) async fn require_own(house: &House, actor: &Actor, typed: &str) -> Result<Option<String>, Refusal> {
    let kept = {
        let mut db = house.store.read().await?;
        account::passphrase(&mut db, actor.link).await?
    };
    let is_right = match &kept {
        Some(kept) => typed.chars().count() <= MOST && fits(typed, kept.clone()).await?,
        None => true,
    };
    if is_right { Ok(kept) } else { Err(Refusal::Fields(vec![field("old", "This is not your passphrase.")])) }
}

/// Changes one's own passphrase and ends one's other devices. Who came in by a link that needs none sets a first one, and the
/// link is spent.
pub async fn change(house: &House, actor: &Actor, old: &str, new: &str) -> Result<(), Refusal> {
    require(actor, Deed::KeepOneself, Whose::Club)?;
    let kept = require_own(house, actor, old).await?;
    checked(new, &actor.name)?;
    let (hash, now, link, device) = (hashed(house, new).await?, house.now(), actor.link, actor.device);
    house
        .write_as(actor, Touch::Access, move |db| {
            Box::pin(async move {
                if account::passphrase(db, link).await? != kept {
                    return Err(Refusal::Fields(vec![field("old", "It was changed a moment ago, on another device.")]));
                }
                account::set_passphrase(db, link, &hash, now).await?;
                access::spend(db, link, Some((link, device)), now).await?;
                Ok(device::end_others(db, link, device, now).await?)
            })
        })
        .await
}
