//! Why a deed was not done. The web turns each into a status and a page, once, in `web/error.rs`.

use super::meanwhile::Meanwhile;
use crate::rules::answer::Trouble;
use crate::store::StoreError;
use std::collections::BTreeMap;

/// Troubles by item.
pub type ItemTroubles = BTreeMap<String, Vec<Trouble>>;

#[derive(Debug, thiserror::Error)]
pub enum Refusal {
    /// There is no such thing, or it is not for this person: the two answer alike.
    #[error("this is not here, or not for you")]
    NotHere,
    /// Nobody is signed in, or no longer.
    #[error("your link has ended or was taken back")]
    WhoAreYou,
    /// What was asked for takes a proof of the last five minutes of who it is.
    #[error("say who you are: this needs your passphrase or a passkey")]
    ProofWanted,
    /// The club asks its organizers for a passkey, and this one has none yet.
    #[error("add a passkey first: the club asks its organizers for one")]
    PasskeyFirst,
    /// A clear from a device that was ended.
    #[error("this device was ended; a clear that was signed on it does not count")]
    DeviceEnded,
    /// A one-time link that has let a device in.
    #[error("this link has let a device in already")]
    Spent,
    /// Fields that cannot be used, by name.
    #[error("{} cannot be used as they are", count_of(.0.len(), "field", "fields"))]
    Fields(Vec<Trouble>),
    /// Answers that cannot be used, by item.
    #[error("{} cannot be used as they are", count_of(.0.len(), "answer", "answers"))]
    Answers(ItemTroubles),
    /// The submission leaves required items out.
    #[error("{} not answered yet", count_of(.0.len(), "item is", "items are"))]
    NotComplete(Vec<String>),
    /// The sheet was raised to another edition since the page was made.
    #[error("the sheet was raised from edition {from} to edition {to} since you opened it")]
    EditionRaised { from: u32, to: u32, changed: Vec<String> },
    /// What the maker had in front of them is no longer all there is.
    #[error("this car's history went on since you opened it")]
    Stale,
    /// The same of a car at the gate: what happened beyond what its inspector had seen, the newest first.
    #[error("this car's history went on since you opened it")]
    WentOn(Vec<Meanwhile>),
    /// What was signed says another maker than the person who is signed in.
    #[error("this was signed by somebody else than is signed in on this device now; nothing was recorded")]
    NotTheMaker,
    /// The deed cannot be done as things stand.
    #[error("{0}")]
    NotNow(String),
    /// The record's id belongs to another record.
    #[error("this id belongs to another record; nothing was changed")]
    IdTaken,
    /// This form made a link already: sent again, it makes no other.
    #[error("a link was made by this form already; it is good")]
    MadeBefore,
    #[error("too much: {0}")]
    TooMuch(String),
    /// The server has more to do than it can at this moment: the same may be asked again soon.
    #[error("{0}")]
    Busy(String),
    #[error(transparent)]
    Store(#[from] StoreError),
}

fn count_of(count: usize, one: &str, many: &str) -> String {
    format!("{count} {}", if count == 1 { one } else { many })
}

/// A single field that cannot be used.
pub fn field(name: &str, message: impl Into<String>) -> Trouble {
    Trouble { field: name.to_owned(), message: message.into() }
}
