//! Limits on how often. A whole paddock comes from one address, so what is right is never counted: only guesses are, by
//! address, and what one link sends and one device asks for.

use super::error::Fault;
use crate::acts::passphrase::Lane;
use crate::acts::rights::Actor;
use crate::store::access::Digest;
use crate::store::log::{self, Security};
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
pub(crate) fn counted(address: IpAddr) -> IpAddr {
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
    /// By a browser in which this organizer signed in before, whatever strangers do meanwhile.
    known: DefaultKeyedRateLimiter<Digest>,
    known_passkeys: DefaultKeyedRateLimiter<Digest>,
    /// By device: how often somebody who is signed in says who they are.
    own: DefaultKeyedRateLimiter<Uuid>,
    /// By link: how often one that lets many in may be opened.
    openings: DefaultKeyedRateLimiter<Uuid>,
    /// By link: a hundred devices that came in by one link are one person.
    writes: DefaultKeyedRateLimiter<Uuid>,
    /// By device: a phone that fetches a whole gate's pages at once, a board that is open all day.
    looks: DefaultKeyedRateLimiter<Uuid>,
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
            known: RateLimiter::keyed(quota(10, 2)),
            known_passkeys: RateLimiter::keyed(quota(60, 20)),
            own: RateLimiter::keyed(quota(10, 2)),
            openings: RateLimiter::keyed(quota(100, 10)),
            // A phone that comes back from an hour without signal sends a gate's whole work at once.
            writes: RateLimiter::keyed(quota(3000, 600)),
            looks: RateLimiter::keyed(quota(3000, 600)),
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
    limiter.check_key(key).map_err(|wait| {
        log::tell(Security::LimitReached { words });
        Fault::too_often(words, wait.wait_time_from(now).as_secs() + 1)
    })
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

    /// Counts a try at a passphrase before it is looked at: looking is what costs. `known` is a browser in which this organizer signed
    /// in before: it has a count of its own, so that guessers elsewhere do not keep the owner out. Once that is used up it is counted
    /// with the strangers, so that a stolen cookie is worth a few tries. (The way of OWASP's "device cookies", from memory.)
    pub(super) fn passphrase(&self, address: IpAddr, name: &str, known: Option<&Digest>) -> Result<Lane, Fault> {
        let words = "Too many tries at this name from this browser.";
        if known.is_some_and(|browser| ask(&self.known, browser, words).is_ok()) {
            return Ok(Lane::Known);
        }
        self.guess(Limited::Passphrase, address)?;
        let name: String = name.trim().to_lowercase().chars().take(60).collect();
        let words = "Too many tries at this name from this network. A passkey lets you in, or another network.";
        ask(&self.guesses_at_name, &(counted(address), name.clone()), words)?;
        ask(&self.names, &name, "Too many tries at this name. A passkey, or a new link from who runs the server, lets you in.")?;
        Ok(Lane::Strangers)
    }

    /// Counts tries at one's own passphrase, by the device that is signed in: who guesses at an open laptop stops nobody elsewhere.
    pub(super) fn own_passphrase(&self, actor: &Actor) -> Result<(), Fault> {
        ask(&self.own, &actor.device, "Too many tries.")
    }

    /// Counts how often a link that lets many in is opened: each opening is written down.
    pub(super) fn opening(&self, link: Uuid) -> Result<(), Fault> {
        ask(&self.openings, &link, "This link was opened too often in a short time.")
    }

    /// Counts passkey ceremonies: each is remembered for some minutes, and there is room for some hundreds.
    /// `known` is a browser in which an organizer signed in before, which has a count and room of its own.
    pub(super) fn passkey(&self, address: IpAddr, known: Option<&Digest>) -> Result<Lane, Fault> {
        if known.is_some_and(|browser| ask(&self.known_passkeys, browser, "Too many tries came from this browser.").is_ok()) {
            return Ok(Lane::Known);
        }
        ask(&self.passkeys, &counted(address), "Too many tries came from this network.")?;
        Ok(Lane::Strangers)
    }

    /// Counts what one link sends, and what one device looks at.
    pub(super) fn writes(&self, method: &Method, actor: &Actor) -> Result<(), Fault> {
        if *method == Method::GET || *method == Method::HEAD {
            return ask(&self.looks, &actor.device, "This device asks for more than a person can look at.");
        }
        ask(&self.writes, &actor.link, "More is sent by this link than a person can send.")
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
        let tries = (0..100).take_while(|nth| limits.passphrase(six(*nth), "M. Ashdown", None).is_ok()).count();
        assert_eq!(tries, 10);
        assert!(limits.passphrase(IpAddr::from([0x2001, 0xdb8, 0, 8, 0, 0, 0, 1]), "M. Ashdown", None).is_ok());
    }

    #[test]
    fn many_networks_that_guess_at_one_name_are_slowed_together() {
        let limits = Limits::default();
        let from = |nth: u16| IpAddr::from([0x2001, 0xdb8, 0, nth, 0, 0, 0, 1]);
        let tries = (0..600).take_while(|nth| limits.passphrase(from(*nth), "M. ASHDOWN ", None).is_ok()).count();
        assert!((300..320).contains(&tries), "{tries}");
        assert!(limits.passphrase(address(200), "L. Ferrant", None).is_ok(), "another organizer");
        // Whatever they did: a browser in which the organizer signed in before is not counted with them.
        assert_eq!(limits.passphrase(from(1), "M. Ashdown", Some(&[7; 32])).ok(), Some(Lane::Known));
    }

    #[test]
    fn a_known_browser_that_guesses_is_a_stranger_after_ten_tries() {
        let limits = Limits::default();
        let lanes: Vec<_> = (0..40).map(|_| limits.passphrase(address(1), "M. Ashdown", Some(&[7; 32])).ok()).collect();
        let count = |lane| lanes.iter().filter(|one| **one == lane).count();
        assert_eq!((count(Some(Lane::Known)), count(Some(Lane::Strangers)), count(None)), (10, 10, 20));
    }

    fn on(link: u128, device: u128) -> Actor {
        let (link, device) = (Uuid::from_u128(link), Uuid::from_u128(device));
        let role = crate::acts::rights::Role::Driver { event: Uuid::nil(), entry: Uuid::nil() };
        let admission = crate::acts::rights::Admission::In;
        Actor { role, name: "Ines Okafor".into(), link, device, admission }
    }

    #[test]
    fn a_link_with_a_hundred_devices_writes_as_one_person() {
        let limits = Limits::default();
        let written = (0..9000).filter(|nth| limits.writes(&Method::POST, &on(1, nth % 100)).is_ok()).count();
        assert!((3000..3200).contains(&written), "{written}");
        assert!(limits.writes(&Method::POST, &on(2, 7)).is_ok(), "another link");
        assert!(limits.writes(&Method::GET, &on(1, 7)).is_ok(), "who sends too much may still look");
    }

    #[test]
    fn a_phone_fetches_a_whole_gate_at_once_and_a_program_is_slowed() {
        let limits = Limits::default();
        let looked = (0..9000).filter(|_| limits.writes(&Method::GET, &on(1, 1)).is_ok()).count();
        assert!((3000..3200).contains(&looked), "{looked}");
        assert!(limits.writes(&Method::GET, &on(1, 2)).is_ok(), "another device of the same person");
    }
}
