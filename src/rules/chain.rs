//! The proof: records chained by hash, so that none can be changed, taken out or put in without its showing.
//!
//! A record's hash is SHA-256 (FIPS 180-4) over a canonical form of everything that it says, with the hash of the record
//! before it in its entry and of the record before it in its event. Since form 2 it also binds what it rests on: the edition in
//! force, the event's head and the entry's line on the roster, each by a digest. Names go in as commitments (a hash over a salt
//! and the name): a name can be erased on request and the chain still verifies.
//!
//! What the chain cannot show is an end that was cut off. For that the newest hash, the *head*, is shown on the organizer's page
//! and printed on every export: whoever holds a head can ask whether a history still reaches it.

mod bound;
mod chained;
mod claim;
mod sealed;

pub use bound::{BoundEdition, BoundEvent, RosterLine, driver_mark};
pub use chained::{Chain, EventChain, Head, Misfit, verify};
pub use claim::{Baseline, ChainedDeed, Claim, DeviceClaim, Earlier, ErasedEntry, LinkClaim, Who, holder_mark};
pub use sealed::Sealed;

use sha2::{Digest, Sha256};

/// A SHA-256, written as 64 small hexadecimal figures.
pub type Hash = [u8; 32];

/// A hash as text.
///
/// # Example: the empty text (FIPS 180-4; the digest from NIST's example files)
/// ```
/// use witnessmark::rules::chain::{digest, hex};
/// assert_eq!(hex(&digest(b"")), "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855");
/// ```
pub fn hex(hash: &Hash) -> String {
    data_encoding::HEXLOWER.encode(hash)
}

/// SHA-256 of some bytes.
pub fn digest(bytes: &[u8]) -> Hash {
    Sha256::digest(bytes).into()
}

/// The commitment to a maker's name.
pub fn mark_of(salt: &str, name: &str) -> Hash {
    Canonical::new("witnessmark maker 1").text("salt", salt).text("name", name).hash()
}

/// Named texts with their lengths: no two different records have the same form.
struct Canonical(Sha256);

impl Canonical {
    fn new(title: &str) -> Canonical {
        Canonical(Sha256::new()).text("form", title)
    }

    fn text(mut self, name: &str, text: &str) -> Canonical {
        self.0.update(format!("{name} {}\n", text.len()).as_bytes());
        self.0.update(text.as_bytes());
        self.0.update(b"\n");
        self
    }

    /// Something that may be absent: absent and empty differ.
    fn maybe(self, name: &str, text: Option<&str>) -> Canonical {
        match text {
            Some(text) => self.text(name, text),
            None => self.text(&format!("no {name}"), ""),
        }
    }

    fn hash(self) -> Hash {
        self.0.finalize().into()
    }
}
