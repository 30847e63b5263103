//! Deeds of access: who was let in as what, chained for the whole club.
//!
//! A deed carries, in one text, all that it claims: the links and devices that it is about, as they are once it is done. So the
//! last claim about a link says what its row must be now.

use super::{Canonical, Hash};
use serde::{Deserialize, Serialize};

/// The commitment to the name of a link's holder.
pub fn holder_mark(salt: &str, name: &str) -> Hash {
    Canonical::new("witnessmark holder 1").text("salt", salt).text("name", name).hash()
}

/// Who did it: a link and the device that came in by it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Who {
    pub link: String,
    pub device: String,
}

/// A link as it is after a deed. Times are milliseconds since 1970-01-01 UTC.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LinkClaim {
    pub id: String,
    pub role: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub event: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub entry: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub garage: Option<String>,
    /// [`holder_mark`]; `None` where the name was erased.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub holder: Option<String>,
    /// The digest of the secret that was handed out last.
    pub secret: String,
    pub made_at: i64,
    pub once: bool,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ends_at: Option<i64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub spent_at: Option<i64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub revoked_at: Option<i64>,
}

/// A device as it is after a deed.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct DeviceClaim {
    pub id: String,
    pub link: String,
    /// The digest of its cookie's secret.
    pub secret: String,
    pub made_at: i64,
    pub ends_at: i64,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ended_at: Option<i64>,
}

/// An entry whose driver was erased, and when.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ErasedEntry {
    pub id: String,
    pub at: i64,
}

/// The deeds that were noted before there was a chain: how many, and a digest over all of them.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Earlier {
    pub deeds: u64,
    pub digest: String,
}

/// What a first deed says of a file from before the chain.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Baseline {
    pub earlier: Earlier,
    pub erased: Vec<ErasedEntry>,
}

/// All that a deed of access claims.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Claim {
    pub what: String,
    pub at: i64,
    /// `None` for the program, or whoever runs the server.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub by: Option<Who>,
    /// The link that the deed is about.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub link: Option<String>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub links: Vec<LinkClaim>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub devices: Vec<DeviceClaim>,
    /// The entry whose driver was erased.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub erased: Option<ErasedEntry>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub baseline: Option<Baseline>,
}

/// A deed in its chain.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ChainedDeed {
    /// 1, 2, 3 ... in the club.
    pub place: i64,
    /// The claim, as JSON and as it was hashed.
    pub says: String,
    /// The hash of the deed before it; `None` for the first of the chain.
    pub before: Option<String>,
}

impl ChainedDeed {
    /// The hash of the deed.
    pub fn reckon(&self) -> Hash {
        Canonical::new("witnessmark access 1")
            .text("place", &self.place.to_string())
            .text("says", &self.says)
            .maybe("before", self.before.as_deref())
            .hash()
    }
}

impl Earlier {
    /// Nothing was noted before.
    pub fn none() -> Earlier {
        Earlier { deeds: 0, digest: String::new() }
    }

    /// Goes on by one deed of before: its columns as text, absent ones as `None`.
    #[must_use]
    pub fn and(self, columns: &[Option<String>]) -> Earlier {
        let begun = Canonical::new("witnessmark earlier access 1").text("before", &self.digest);
        let hash = columns.iter().fold(begun, |form, column| form.maybe("column", column.as_deref())).hash();
        Earlier { deeds: self.deeds + 1, digest: super::hex(&hash) }
    }
}
