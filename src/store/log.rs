//! The security log: typed events under the target `security`. No secret, no passphrase, no typed name and no address of a page
//! goes in: ids of links and devices do, and the route as the program has it.

use std::net::IpAddr;
use std::sync::Mutex;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Instant;
use uuid::Uuid;

/// The target of every event here, for a filter: `RUST_LOG=security=info`.
pub const TARGET: &str = "security";

/// How somebody shows who they are.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Way {
    Passphrase,
    Passkey,
}

impl Way {
    fn word(self) -> &'static str {
        match self {
            Way::Passphrase => "passphrase",
            Way::Passkey => "passkey",
        }
    }
}

/// What happened.
#[derive(Clone, Copy, Debug)]
pub enum Security<'a> {
    SignedIn {
        way: Way,
        link: Uuid,
        device: Uuid,
        kind: &'a str,
        address: IpAddr,
        is_known_browser: bool,
    },
    /// `is_known_name`: whether there is such an organizer. What was typed is not kept: it may be a passphrase in the wrong field.
    NotSignedIn {
        way: Way,
        is_known_name: bool,
        kind: &'a str,
        address: IpAddr,
        is_known_browser: bool,
    },
    /// A limit stopped somebody; `words` is what they are told.
    LimitReached {
        words: &'a str,
    },
    /// A link was made, made anew, used, spent, taken back, or a device of it ended. In bulk where no one link is meant.
    Link {
        what: &'a str,
        link: Option<Uuid>,
        by: Option<(Uuid, Uuid)>,
    },
    /// Somebody who is let in asked for what is not theirs.
    RightRefused {
        role: &'a str,
        link: Uuid,
        device: Uuid,
        deed: &'a str,
    },
    /// A cookie that lets nobody in.
    CookieRefused {
        address: IpAddr,
    },
    Proven {
        way: Way,
        link: Uuid,
        device: Uuid,
    },
    NotProven {
        way: Way,
        link: Uuid,
        device: Uuid,
    },
    /// An open session asked for what needs a proof, and had none.
    ProofWanted {
        link: Uuid,
        device: Uuid,
    },
    PassphraseSet {
        link: Uuid,
        device: Uuid,
    },
    /// The passphrase was right, and a passkey is asked for as well.
    SecondAsked {
        link: Uuid,
        address: IpAddr,
    },
    /// The club asks its organizers for a passkey beside the passphrase from now on, or no more.
    SecondFactor {
        asks: bool,
        link: Uuid,
        device: Uuid,
    },
    PasskeyAdded {
        link: Uuid,
        device: Uuid,
    },
    PasskeyRemoved {
        link: Uuid,
        device: Uuid,
    },
    OrganizerMade {
        link: Uuid,
        by: Option<Uuid>,
    },
    OrganizerMadeAnew {
        link: Uuid,
        by: Option<Uuid>,
    },
    OrganizerEnded {
        link: Uuid,
        by: Option<Uuid>,
    },
}

/// How many lines a minute of what any stranger can cause. What is beyond it is counted and said with the next line.
const STRANGERS_LINES: u64 = 120;
static MINUTE: Mutex<Option<(Instant, u64)>> = Mutex::new(None);
static UNSAID: AtomicU64 = AtomicU64::new(0);

/// Whether there is room for a line that a stranger caused; gives how many were left out before it.
fn room() -> Option<u64> {
    let mut minute = MINUTE.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
    // The machine's steady clock: nothing is recorded by it.
    let now = Instant::now();
    let (began, lines) = minute.filter(|(began, _)| now.duration_since(*began).as_secs() < 60).unwrap_or((now, 0));
    *minute = Some((began, lines + 1));
    drop(minute);
    if lines < STRANGERS_LINES {
        return Some(UNSAID.swap(0, Ordering::Relaxed));
    }
    UNSAID.fetch_add(1, Ordering::Relaxed);
    None
}

/// Writes an event to the log.
pub fn tell(event: Security<'_>) {
    use Security::*;
    macro_rules! line {
        ($level:ident, $event:literal, $($fields:tt)*) => { tracing::$level!(target: "security", event = $event, $($fields)*) };
    }
    match event {
        SignedIn { way, link, device, kind, address, is_known_browser } => {
            line!(info, "signed in", way = way.word(), %link, %device, kind, %address, is_known_browser)
        }
        NotSignedIn { way, is_known_name, kind, address, is_known_browser } => {
            if let Some(unsaid) = room() {
                line!(warn, "not signed in", way = way.word(), is_known_name, kind, %address, is_known_browser, unsaid);
            }
        }
        LimitReached { words } => {
            if let Some(unsaid) = room() {
                line!(warn, "limit reached", words, unsaid);
            }
        }
        CookieRefused { address } => {
            if let Some(unsaid) = room() {
                line!(warn, "cookie refused", %address, unsaid);
            }
        }
        Link { what, link, by } => {
            let (by_link, by_device) = by.unzip();
            line!(info, "link", what, link = text(link), by_link = text(by_link), by_device = text(by_device))
        }
        RightRefused { role, link, device, deed } => line!(warn, "right refused", role, %link, %device, deed),
        Proven { way, link, device } => line!(info, "proof given", way = way.word(), %link, %device),
        NotProven { way, link, device } => line!(warn, "proof failed", way = way.word(), %link, %device),
        ProofWanted { link, device } => line!(info, "proof wanted", %link, %device),
        PassphraseSet { link, device } => line!(warn, "passphrase set", %link, %device),
        SecondAsked { link, address } => line!(info, "passkey asked beside the passphrase", %link, %address),
        SecondFactor { asks, link, device } => line!(warn, "second factor set", asks, %link, %device),
        PasskeyAdded { link, device } => line!(warn, "passkey added", %link, %device),
        PasskeyRemoved { link, device } => line!(warn, "passkey removed", %link, %device),
        OrganizerMade { link, by } => line!(warn, "organizer made", %link, by = text(by)),
        OrganizerMadeAnew { link, by } => line!(warn, "organizer's link made anew", %link, by = text(by)),
        OrganizerEnded { link, by } => line!(warn, "organizer ended", %link, by = text(by)),
    }
}

/// An id, or nothing for who runs the server.
fn text(id: Option<Uuid>) -> String {
    id.map(|id| id.to_string()).unwrap_or_default()
}
