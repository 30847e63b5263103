//! Coming in by a link: the link's secret becomes a cookie of this device.

use super::Refusal;
use super::house::House;
use super::rights::{Actor, Role};
use crate::store::Touch;
use crate::store::access::{self, Digest, Link};
use crate::store::device::{self, Device, NewDevice};
use crate::store::event::Event;
use data_encoding::Specification;
use jiff::tz::TimeZone;
use jiff::{Timestamp, ToSpan};
use sha2::{Digest as _, Sha256};
use sqlx::SqliteConnection;
use std::sync::LazyLock;
use uuid::Uuid;

/// How long after the event drivers' links and devices end: time to read what was found, and no door for years.
const DRIVER_DAYS_AFTER: i64 = 30;
/// How long an organizer's device stays signed in.
pub(super) const ORGANIZER_HOURS: i64 = 30 * 24;
/// After how many minutes without use an organizer's device is out: longer than an event's day, shorter than a night away from it.
/// Twelve hours are what NIST SP 800-63B and OWASP ASVS 4, 3.3.2 have for a level 2 session. (The sections from memory.)
pub(super) const IDLE_MIN: i64 = 12 * 60;
/// The same on a computer that others use: an hour. Common practice, no source.
pub(super) const SHARED_IDLE_MIN: i64 = 60;
/// How long a device stays in a garage: over a winter, and as long as browsers keep a cookie at all.
const GARAGE_DAYS: i64 = 400;

/// Small letters and figures without those that a tired eye confuses; 32 characters carry 160 bits.
static LETTERS: LazyLock<data_encoding::Encoding> = LazyLock::new(|| {
    let mut specification = Specification::new();
    specification.symbols.push_str("abcdefghijkmnpqrstuvwxyz23456789");
    // The symbols are 32 different ASCII characters, which is all that can be wrong with them.
    specification.encoding().unwrap_or(data_encoding::BASE32_NOPAD)
});

/// A secret as it stands in a link or a cookie.
pub fn secret_text(secret: [u8; 20]) -> String {
    LETTERS.encode(&secret)
}

/// What is kept of a secret; `None` for a text that is none of ours.
pub fn digest_of(secret: &str) -> Option<Digest> {
    let bytes = LETTERS.decode(secret.as_bytes()).ok().filter(|bytes| bytes.len() == 20)?;
    Some(Sha256::digest(bytes).into())
}

/// The browser that asks to be let in.
#[derive(Clone, Debug, Default)]
pub struct Caller {
    /// What kind of machine it says it is.
    pub kind: String,
    /// The secret this browser was given when it looked at a one-time link. Its cookie is made of it and of the link: should
    /// the answer be lost on the way, the same browser asks again and is let in again, and no other is.
    pub door: Option<String>,
    /// The secret of a browser in which an organizer signed in before.
    pub known: Option<String>,
}

/// Who came in, and the secret for the cookie.
pub struct Entered {
    pub actor: Actor,
    pub cookie: String,
    pub seconds: i64,
    /// The secret by which this browser is known from now on, where an organizer signed in.
    pub known: Option<String>,
}

/// What a link is for, before it is used.
///
/// # Errors
/// [`Refusal::WhoAreYou`] for a secret that is unknown, ended or was taken back: they answer alike. [`Refusal::Spent`] for
/// one that let a device in already: its holder should know, for it may not have been theirs.
pub async fn look(house: &House, secret: &str) -> Result<Link, Refusal> {
    let link = find(house, secret).await?;
    if link.once && link.spent_at.is_some() {
        return Err(Refusal::Spent);
    }
    Ok(link)
}

/// The link with this secret, used or not; `WhoAreYou` for one that is none, ended or was taken back.
pub async fn find(house: &House, secret: &str) -> Result<Link, Refusal> {
    let digest = digest_of(secret).ok_or(Refusal::WhoAreYou)?;
    let link = {
        let mut db = house.store.read().await?;
        access::link_by_digest(&mut db, digest).await?
    };
    let ended = |link: &Link| link.revoked_at.is_some() || link.ends_at.is_some_and(|end| end <= house.now());
    let link = link.filter(|link| !ended(link)).ok_or(Refusal::WhoAreYou)?;
    Role::of_link(&link).ok_or(Refusal::WhoAreYou)?;
    Ok(link)
}

/// Lets a device in by a link's secret.
///
/// # Errors
/// As [`look`]; a one-time link of an organizer needs a passphrase: see `acts/account.rs`.
pub async fn enter(house: &House, secret: &str, caller: Caller) -> Result<Entered, Refusal> {
    let link = find(house, secret).await?;
    if link.once && link.role == "organizer" {
        return Err(Refusal::NotNow("An organizer's link is for setting a passphrase.".into()));
    }
    let role = Role::of_link(&link).ok_or(Refusal::WhoAreYou)?;
    let seconds = stay(house, role).await?;
    let digest = digest_of(secret).ok_or(Refusal::WhoAreYou)?;
    let (new, cookie) = next_device(house, (&link, digest), &caller, seconds).await?;
    let spent = link.once.then_some(digest);
    let device = house
        .store
        .write::<_, Refusal, _>(Touch::Nothing, move |db| Box::pin(async move { let_in(db, &new, spent).await }))
        .await?;
    entered(device, link, cookie, seconds)
}

/// Puts the device down and spends the link. Asked again by a browser that it let in before, it gives that device.
pub(super) async fn let_in(db: &mut SqliteConnection, new: &NewDevice, spent: Option<Digest>) -> Result<Uuid, Refusal> {
    if let Some(digest) = spent
        && !access::spend_link(db, new.link, digest, new.from).await?
    {
        let there = device::by_digest(db, new.digest, new.from).await?.filter(|there| there.link.id == new.link);
        return there.map(|there| there.id).ok_or(Refusal::Spent);
    }
    if let Some(there) = device::again(db, new).await? {
        return Ok(there);
    }
    // The same browser with the same link, and yet not let in again: this device was ended.
    device::add(db, new).await.map_err(|error| if error.is_taken() { Refusal::WhoAreYou } else { error.into() })?;
    Ok(new.id)
}

/// A device to put down, and its cookie; `by` is the link with the digest of the secret it came by.
pub(super) fn new_device(
    house: &House,
    by: (&Link, Digest),
    caller: &Caller,
    seconds: i64,
) -> Result<(NewDevice, String), Refusal> {
    let (link, secret) = by;
    let cookie = match &caller.door {
        Some(door) => secret_text(of_door(door, secret)),
        None => secret_text(house.new_secret()),
    };
    let digest = digest_of(&cookie).ok_or(Refusal::WhoAreYou)?;
    let from = house.now();
    let to = from.checked_add(seconds.seconds()).unwrap_or(from);
    let kind = caller.kind.chars().take(40).collect();
    // An organizer's link is a key: who has just used it, or signed in, has shown who they are.
    let is_proven = link.role == "organizer";
    let idle_min = is_proven.then_some(IDLE_MIN);
    let id = house.new_id();
    Ok((NewDevice { id, digest, link: link.id, through: None, kind, from, to, idle_min, is_proven }, cookie))
}

/// How often a browser may sign out and come in again by one link before its cookies are made of chance.
const MOST_TIMES: usize = 20;

/// As [`new_device`]. A browser that signed out before is another device from then on: its link is as good as it was. One that
/// was ended by somebody else stays out.
pub(super) async fn next_device(
    house: &House,
    by: (&Link, Digest),
    caller: &Caller,
    seconds: i64,
) -> Result<(NewDevice, String), Refusal> {
    for nth in 0..MOST_TIMES {
        let nth_door = |door: &String| if nth == 0 { door.clone() } else { format!("{door} {nth}") };
        let caller = Caller { door: caller.door.as_ref().map(nth_door), ..caller.clone() };
        let made = new_device(house, by, &caller, seconds)?;
        let mut db = house.store.read().await?;
        if !device::has_left(&mut db, made.0.digest, made.0.from).await? {
            return Ok(made);
        }
    }
    new_device(house, by, &Caller { door: None, ..caller.clone() }, seconds)
}

/// A device's secret, made of the door's and of the link's: one browser may use two links, and be two devices.
fn of_door(door: &str, link: Digest) -> [u8; 20] {
    let made: Digest = Sha256::new().chain_update(door).chain_update(link).finalize().into();
    let mut secret = [0; 20];
    secret.copy_from_slice(&made[..20]);
    secret
}

pub(super) fn entered(device: Uuid, link: Link, cookie: String, seconds: i64) -> Result<Entered, Refusal> {
    let actor = Actor::on(&Device { id: device, link, used_at: None, idle_min: None, is_in: true, lacks_passkey: false })
        .ok_or(Refusal::WhoAreYou)?;
    Ok(Entered { actor, cookie, seconds, known: None })
}

/// How long a device of this role stays let in, in seconds.
pub(super) async fn stay(house: &House, role: Role) -> Result<i64, Refusal> {
    Ok(match role {
        Role::Organizer => ORGANIZER_HOURS * 3600,
        Role::Garage { .. } => GARAGE_DAYS * 24 * 3600,
        Role::Driver { event, .. } => {
            let now = house.now();
            end_for_drivers(&house.event(event).await?.event, now).as_second() - now.as_second()
        }
        Role::Inspector { event } | Role::Marshal { event } => {
            let now = house.now();
            end_of_event(&house.event(event).await?.event, now).as_second() - now.as_second()
        }
    })
}

/// When the gate's and the grid's devices and links end: the night after the day that follows the event; a day from now where
/// that is past, for who opens an event again to read in it.
pub(super) fn end_of_event(event: &Event, now: Timestamp) -> Timestamp {
    night_after(event, 2, now)
}

/// When drivers' links and devices end.
pub(super) fn end_for_drivers(event: &Event, now: Timestamp) -> Timestamp {
    night_after(event, DRIVER_DAYS_AFTER, now)
}

/// The midnight at the event's place so many days after it, or a day from now where that is past.
fn night_after(event: &Event, days: i64, now: Timestamp) -> Timestamp {
    let soon = now.checked_add(24.hours()).unwrap_or(now);
    midnight_after(event, days).unwrap_or(soon).max(soon)
}

/// The midnight at the event's place with which the day that many days after it begins.
pub(super) fn midnight_after(event: &Event, days: i64) -> Option<Timestamp> {
    let zone = TimeZone::get(&event.zone).unwrap_or(TimeZone::UTC);
    let day = event.day.checked_add(days.days()).ok()?;
    Some(day.at(0, 0, 0, 0).to_zoned_datetime(zone).ok()?.timestamp())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_secret_is_read_back_only_as_it_was_given_out() {
        let text = secret_text([7; 20]);
        assert_eq!(text.len(), 32);
        assert!(digest_of(&text).is_some());
        assert!(digest_of(&text.to_uppercase()).is_none(), "another spelling");
        assert!(digest_of(&text[1..]).is_none(), "cut short");
        assert!(digest_of("").is_none());
    }
}
