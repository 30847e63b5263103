//! Limits on how often. A whole paddock comes from one address, so what is right is never counted: only guesses are, by
//! address, and what one device sends, by device.

use super::error::Fault;
use crate::acts::rights::Actor;
use axum::http::Method;
use governor::clock::{Clock, DefaultClock};
use governor::{DefaultKeyedRateLimiter, Quota, RateLimiter};
use std::hash::Hash;
use std::net::IpAddr;
use std::num::NonZeroU32;
use std::sync::atomic::{AtomicU64, Ordering};
use uuid::Uuid;

/// What was guessed wrong.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(super) enum Limited {
    /// A link that is none. 150 phones with last year's links are 150 wrong guesses within minutes, and none is a guesser.
    Link,
    /// A cookie that lets nobody in: a device that was taken back asks on its own, again and again.
    Cookie,
    /// An organizer's name with a passphrase.
    Passphrase,
}

/// Who is counted together: an IPv4 address; of IPv6 the network that one household or paddock has.
fn counted(address: IpAddr) -> IpAddr {
    match address {
        IpAddr::V6(six) => match six.to_ipv4_mapped() {
            Some(four) => IpAddr::V4(four),
            None => IpAddr::V6((u128::from(six) & !(u128::from(u64::MAX))).into()),
        },
        four => four,
    }
}

/// The counters. Memory is bounded: what has rested is forgotten now and then.
pub struct Limits {
    links: DefaultKeyedRateLimiter<IpAddr>,
    cookies: DefaultKeyedRateLimiter<IpAddr>,
    passphrases: DefaultKeyedRateLimiter<IpAddr>,
    passkeys: DefaultKeyedRateLimiter<IpAddr>,
    /// By address and name: somebody who guesses at one organizer.
    guesses_at_name: DefaultKeyedRateLimiter<(IpAddr, String)>,
    /// By the name that was typed, from anywhere. It is wide: a passphrase that stands the check needs no narrow one, and a narrow
    /// one would let anybody keep an organizer out.
    names: DefaultKeyedRateLimiter<String>,
    own: DefaultKeyedRateLimiter<Uuid>,
    /// By link: how often one that lets many in may be opened.
    openings: DefaultKeyedRateLimiter<Uuid>,
    writes: DefaultKeyedRateLimiter<Uuid>,
}

fn quota(burst: u32, per_minute: u32) -> Quota {
    let number = |number: u32| NonZeroU32::new(number).unwrap_or(NonZeroU32::MIN);
    Quota::per_minute(number(per_minute)).allow_burst(number(burst))
}

impl Default for Limits {
    fn default() -> Limits {
        Limits {
            links: RateLimiter::keyed(quota(300, 30)),
            cookies: RateLimiter::keyed(quota(1200, 600)),
            passphrases: RateLimiter::keyed(quota(60, 20)),
            guesses_at_name: RateLimiter::keyed(quota(10, 2)),
            passkeys: RateLimiter::keyed(quota(60, 20)),
            names: RateLimiter::keyed(quota(300, 20)),
            own: RateLimiter::keyed(quota(10, 2)),
            openings: RateLimiter::keyed(quota(100, 10)),
            // A phone that comes back from an hour without signal sends a gate's whole work at once.
            writes: RateLimiter::keyed(quota(3000, 600)),
        }
    }
}

/// How many questions were asked.
static ASKED: AtomicU64 = AtomicU64::new(0);

/// Asks a counter; the error says in how many seconds to come back.
fn ask<K: Hash + Eq + Clone>(limiter: &DefaultKeyedRateLimiter<K>, key: &K, words: &str) -> Result<(), Fault> {
    // Looking through all of them takes a while: now and then, and only where there are many.
    if ASKED.fetch_add(1, Ordering::Relaxed).is_multiple_of(5_000) && limiter.len() > 1_000 {
        limiter.retain_recent();
    }
    let now = DefaultClock::default().now();
    limiter.check_key(key).map_err(|wait| Fault::too_often(words, wait.wait_time_from(now).as_secs() + 1))
}

impl Limits {
    /// Counts a wrong guess, after it was wrong: who is right is let in however many were wrong before from the same address.
    pub(super) fn guess(&self, what: Limited, address: IpAddr) -> Result<(), Fault> {
        let limiter = match what {
            Limited::Link => &self.links,
            Limited::Cookie => &self.cookies,
            Limited::Passphrase => &self.passphrases,
        };
        ask(limiter, &counted(address), "Too many wrong tries came from this network.")
    }

    /// Counts a try at a passphrase before it is looked at: looking is what costs.
    pub(super) fn passphrase(&self, address: IpAddr, name: &str) -> Result<(), Fault> {
        self.guess(Limited::Passphrase, address)?;
        let name: String = name.trim().to_lowercase().chars().take(60).collect();
        let words = "Too many tries at this name from this network. A passkey lets you in, or another network.";
        ask(&self.guesses_at_name, &(counted(address), name.clone()), words)?;
        ask(&self.names, &name, "Too many tries at this name. A passkey, or a new link from who runs the server, lets you in.")
    }

    /// Counts tries at one's own passphrase, by who is signed in.
    pub(super) fn own_passphrase(&self, actor: &Actor) -> Result<(), Fault> {
        ask(&self.own, &actor.link, "Too many tries.")
    }

    /// Counts how often a link that lets many in is opened: each opening is written down.
    pub(super) fn opening(&self, link: Uuid) -> Result<(), Fault> {
        ask(&self.openings, &link, "This link was opened too often in a short time.")
    }

    /// Counts passkey ceremonies: each is remembered for some minutes, and there is room for some hundreds.
    pub(super) fn passkey(&self, address: IpAddr) -> Result<(), Fault> {
        ask(&self.passkeys, &counted(address), "Too many tries came from this network.")
    }

    /// Counts what one device sends.
    pub(super) fn writes(&self, method: &Method, actor: &Actor) -> Result<(), Fault> {
        if *method == Method::GET || *method == Method::HEAD {
            return Ok(());
        }
        ask(&self.writes, &actor.device, "This device sends more than a person can.")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn address(last: u8) -> IpAddr {
        IpAddr::from([192, 0, 2, last])
    }

    #[test]
    fn a_guesser_is_slowed_and_a_neighbour_is_not() {
        let limits = Limits::default();
        let tries = (0..1000).take_while(|_| limits.guess(Limited::Link, address(1)).is_ok()).count();
        assert!((300..320).contains(&tries), "{tries}");
        assert!(limits.guess(Limited::Link, address(2)).is_ok());
    }

    #[test]
    fn a_guesser_with_a_network_of_addresses_is_one_guesser() {
        let limits = Limits::default();
        let six = |last: u16| IpAddr::from([0x2001, 0xdb8, 0, 7, 0, 0, 0, last]);
        let tries = (0..100).take_while(|nth| limits.passphrase(six(*nth), "M. Ashdown").is_ok()).count();
        assert_eq!(tries, 10);
        assert!(limits.passphrase(IpAddr::from([0x2001, 0xdb8, 0, 8, 0, 0, 0, 1]), "M. Ashdown").is_ok());
    }

    #[test]
    fn many_networks_that_guess_at_one_name_are_slowed_together() {
        let limits = Limits::default();
        let from = |nth: u16| IpAddr::from([0x2001, 0xdb8, 0, nth, 0, 0, 0, 1]);
        let tries = (0..600).take_while(|nth| limits.passphrase(from(*nth), "M. ASHDOWN ").is_ok()).count();
        assert!((300..320).contains(&tries), "{tries}");
        assert!(limits.passphrase(address(200), "L. Ferrant").is_ok(), "another organizer");
    }
}
