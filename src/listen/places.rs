//! Places for connections: so many in all, so many from one address.

use super::watched::{Watch, Watched, WatchedService};
use crate::web::counted;
use axum_server::accept::Accept;
use ipnet::IpNet;
use std::collections::HashMap;
use std::future::{Ready, ready};
use std::io;
use std::net::IpAddr;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use tokio::net::TcpStream;

/// How many connections are held at once.
///
/// # Example: what a club's server holds
/// ```
/// let bounds = witnessmark::listen::Bounds::default();
/// assert!(bounds.an_address < bounds.all, "one address leaves places for others");
/// ```
#[derive(Clone, Debug)]
pub struct Bounds {
    /// In all.
    pub all: usize,
    /// From one IPv4 address or one IPv6 network of 64 bits. A paddock may come from one address; a phone has six at most.
    pub an_address: usize,
    /// Proxies in front: all visitors come from their addresses, so only the bound on all counts for them.
    pub proxies: Vec<IpNet>,
}

impl Default for Bounds {
    fn default() -> Bounds {
        Bounds { all: 2_000, an_address: 600, proxies: Vec::new() }
    }
}

/// Files that the program needs beside connections: the database, its readers, uploads on their way.
#[cfg(unix)]
const OTHER_FILES: u64 = 200;

/// Asks the operating system for as many open files as it grants, and keeps the bound on connections below it.
///
/// # Errors
/// What the operating system says where it refuses.
#[cfg(unix)]
pub fn raise_open_files(bounds: Bounds) -> io::Result<Bounds> {
    use rustix::process::{Resource, Rlimit, getrlimit, setrlimit};
    let now = getrlimit(Resource::Nofile);
    // macOS says "no limit" and grants about ten thousand; more than this is of no use to a club.
    let wanted = now.maximum.unwrap_or(65_536).min(65_536);
    if now.current.is_some_and(|current| current < wanted) {
        setrlimit(Resource::Nofile, Rlimit { current: Some(wanted), maximum: now.maximum })?;
    }
    let room = getrlimit(Resource::Nofile).current.unwrap_or(wanted).saturating_sub(OTHER_FILES).max(16);
    let all = usize::try_from(room).unwrap_or(usize::MAX).min(bounds.all);
    Ok(Bounds { all, an_address: bounds.an_address.min(all), ..bounds })
}

/// Where the operating system has no such limit.
///
/// # Errors
/// None.
#[cfg(not(unix))]
pub fn raise_open_files(bounds: Bounds) -> io::Result<Bounds> {
    Ok(bounds)
}

/// The places that are taken.
pub(super) struct Places {
    bounds: Bounds,
    taken: Mutex<Taken>,
    refused: AtomicU64,
}

#[derive(Default)]
struct Taken {
    all: usize,
    by_address: HashMap<IpAddr, usize>,
}

/// One connection's place, given back when it is dropped.
pub(super) struct Place {
    places: Arc<Places>,
    address: Option<IpAddr>,
}

impl Places {
    pub(super) fn new(bounds: Bounds) -> Arc<Places> {
        Arc::new(Places { bounds, taken: Mutex::default(), refused: AtomicU64::new(0) })
    }

    /// A place for a connection from this address; `None` where all are taken.
    pub(super) fn take(self: &Arc<Places>, address: IpAddr) -> Option<Place> {
        let canonical = address.to_canonical();
        let is_proxy = self.bounds.proxies.iter().any(|network| network.contains(&canonical));
        let address = (!is_proxy).then(|| counted(address));
        let mut taken = self.taken.lock().unwrap_or_else(PoisonError::into_inner);
        let here = address.map_or(0, |address| taken.by_address.get(&address).copied().unwrap_or(0));
        if taken.all >= self.bounds.all || here >= self.bounds.an_address {
            drop(taken);
            self.say_full(canonical);
            return None;
        }
        taken.all += 1;
        if let Some(address) = address {
            *taken.by_address.entry(address).or_default() += 1;
        }
        drop(taken);
        Some(Place { places: self.clone(), address })
    }

    /// Says so for the first and then for every thousandth: the log must not be what fills up.
    fn say_full(&self, from: IpAddr) {
        let refused = self.refused.fetch_add(1, Ordering::Relaxed);
        if refused.is_multiple_of(1_000) {
            tracing::warn!(%from, refused = refused + 1, "no place for a connection: too many are open");
        }
    }
}

impl Drop for Place {
    fn drop(&mut self) {
        let mut taken = self.places.taken.lock().unwrap_or_else(PoisonError::into_inner);
        taken.all = taken.all.saturating_sub(1);
        let Some(address) = self.address else { return };
        if let Some(here) = taken.by_address.get_mut(&address) {
            *here -= 1;
            if *here == 0 {
                taken.by_address.remove(&address);
            }
        }
    }
}

/// Takes connections on: gives each a place, and watches that it asks for something.
#[derive(Clone)]
pub(super) struct AtTheDoor {
    places: Arc<Places>,
}

impl AtTheDoor {
    pub(super) fn new(places: Arc<Places>) -> AtTheDoor {
        AtTheDoor { places }
    }

    fn take_on(&self, stream: TcpStream) -> io::Result<Watched<TcpStream>> {
        let address = stream.peer_addr()?.ip();
        let place = self.places.take(address).ok_or_else(|| io::Error::other("too many connections"))?;
        // A page's answer is written in one piece: waiting for more to send only makes it late.
        stream.set_nodelay(true)?;
        Ok(Watched::new(stream, Watch::begin(), place))
    }
}

impl<S> Accept<TcpStream, S> for AtTheDoor {
    type Stream = Watched<TcpStream>;
    type Service = WatchedService<S>;
    type Future = Ready<io::Result<(Self::Stream, Self::Service)>>;

    fn accept(&self, stream: TcpStream, service: S) -> Self::Future {
        ready(self.take_on(stream).map(|stream| {
            let service = WatchedService::new(service, stream.watch());
            (stream, service)
        }))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn address(last: u8) -> IpAddr {
        IpAddr::from([192, 0, 2, last])
    }

    #[test]
    fn one_address_leaves_places_for_the_others_and_gives_back_what_it_had() {
        let places = Places::new(Bounds { all: 5, an_address: 3, proxies: vec![] });
        let mut held: Vec<Place> = (0..9).filter_map(|_| places.take(address(1))).collect();
        assert_eq!(held.len(), 3);
        held.extend((0..9).filter_map(|_| places.take(address(2))));
        assert_eq!(held.len(), 5, "the bound on all");
        drop(held);
        assert!(places.take(address(1)).is_some());
        assert!(places.taken.lock().expect("places").by_address.is_empty(), "nothing is remembered of who left");
    }

    #[test]
    fn all_visitors_come_by_the_proxy_and_only_the_bound_on_all_counts() {
        let proxies = vec!["192.0.2.0/24".parse().expect("a network")];
        let places = Places::new(Bounds { all: 5, an_address: 3, proxies });
        let held: Vec<Place> = (0..9).filter_map(|_| places.take(address(1))).collect();
        assert_eq!(held.len(), 5);
    }

    #[test]
    fn a_household_with_a_network_of_addresses_is_one_address() {
        let places = Places::new(Bounds { all: 50, an_address: 3, proxies: vec![] });
        let six = |last: u16| IpAddr::from([0x2001, 0xdb8, 0, 7, 0, 0, 0, last]);
        let held: Vec<Place> = (0..9).filter_map(|nth| places.take(six(nth))).collect();
        assert_eq!(held.len(), 3);
    }

    #[cfg(unix)]
    #[test]
    fn connections_stay_below_what_the_system_lets_be_open() {
        let bounds = raise_open_files(Bounds { all: usize::MAX, ..Bounds::default() }).expect("a limit");
        let limit = rustix::process::getrlimit(rustix::process::Resource::Nofile).current.expect("a limit");
        assert!(bounds.all as u64 + OTHER_FILES <= limit.max(OTHER_FILES + 16), "{} of {limit}", bounds.all);
    }
}
