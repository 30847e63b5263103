//! The proof: records chained by hash, so that none can be changed, taken out or put in without its showing.
//!
//! A record's hash is SHA-256 (FIPS 180-4) over a canonical form of everything that it says, with the hash of the record
//! before it in its entry and of the record before it in its event. The maker's name goes in as a commitment (a hash over a
//! salt and the name): the name can be erased on request and the chain still verifies.
//!
//! What the chain cannot show is the end cut off. For that the newest hash, the *head*, is shown on the organizer's page and
//! printed on every export: who holds a head can ask whether a history still reaches it.

use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use std::collections::{BTreeMap, BTreeSet};

/// A SHA-256, written as 64 small hexadecimal figures.
pub type Hash = [u8; 32];

/// Everything that a record says, as it is hashed and as an export has it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Sealed {
    /// Where it stands in its event's chain, from 1.
    pub place: u64,
    pub id: String,
    pub event: String,
    pub entry: String,
    pub kind: String,
    pub seen: Vec<String>,
    pub body: String,
    pub number: Option<u32>,
    /// Milliseconds since 1970-01-01 UTC.
    pub made_at: i64,
    pub arrived_at: i64,
    /// `None` once it was erased; `maker_mark` still stands for it.
    pub maker: Option<String>,
    pub maker_salt: Option<String>,
    pub maker_mark: String,
    pub maker_role: String,
    pub link: String,
    pub device: String,
    pub counts: bool,
    pub entry_before: Option<String>,
    pub event_before: Option<String>,
    pub hash: String,
}

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

impl Sealed {
    /// The hash of what this record says, from its other fields.
    pub fn reckon(&self) -> Hash {
        let seen: Vec<String> = self.seen.iter().map(|id| format!("{}:{id}", id.len())).collect();
        Canonical::new("witnessmark record 1")
            .text("place", &self.place.to_string())
            .text("id", &self.id)
            .text("event", &self.event)
            .text("entry", &self.entry)
            .text("kind", &self.kind)
            .text("seen", &seen.join(","))
            .text("body", &self.body)
            .maybe("number", self.number.map(|number| number.to_string()).as_deref())
            .text("made at", &self.made_at.to_string())
            .text("arrived at", &self.arrived_at.to_string())
            .text("maker mark", &self.maker_mark)
            .text("maker role", &self.maker_role)
            .text("link", &self.link)
            .text("device", &self.device)
            .text("counts", if self.counts { "yes" } else { "no" })
            .maybe("entry before", self.entry_before.as_deref())
            .maybe("event before", self.event_before.as_deref())
            .hash()
    }
}

/// The first record of a history that does not fit, and how.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("record {id} (place {place} of event {event}) does not fit: {why}")]
pub struct Misfit {
    pub id: String,
    pub event: String,
    pub place: u64,
    pub why: String,
}

/// The end of an event's chain.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Head {
    pub event: String,
    pub records: u64,
    pub hash: String,
}

/// A history that fits so far.
#[derive(Clone, Debug, Default)]
pub struct Chain {
    heads: Vec<Head>,
    /// The event and newest hash of each entry.
    entries: BTreeMap<String, (String, String)>,
    ids: BTreeSet<String>,
}

impl Chain {
    /// The ends of the events' chains so far.
    pub fn heads(&self) -> &[Head] {
        &self.heads
    }

    /// Whether this record is the next one.
    ///
    /// # Errors
    /// How it does not fit what stands before it or what it says itself.
    pub fn fits(&self, record: &Sealed) -> Result<(), Box<Misfit>> {
        let last = self.heads.last().filter(|head| head.event == record.event);
        if last.is_none() && self.heads.iter().any(|head| head.event == record.event) {
            return Err(misfit(record, "the records of its event do not stand together"));
        }
        if self.ids.contains(&record.id) {
            return Err(misfit(record, "its id is there twice"));
        }
        check(record, last, self.entries.get(&record.entry))
    }

    /// Takes the next record.
    ///
    /// # Errors
    /// As [`Chain::fits`].
    pub fn push(&mut self, record: Sealed) -> Result<(), Box<Misfit>> {
        self.fits(&record)?;
        if self.heads.last().is_none_or(|head| head.event != record.event) {
            self.heads.push(Head { event: record.event.clone(), records: 0, hash: String::new() });
        }
        if let Some(head) = self.heads.last_mut() {
            (head.records, head.hash) = (record.place, record.hash.clone());
        }
        self.entries.insert(record.entry, (record.event, record.hash));
        self.ids.insert(record.id);
        Ok(())
    }
}

/// Goes through records event by event, each event's in the order of their places, and reckons every hash anew.
///
/// # Errors
/// The first record that does not fit.
pub fn verify(records: impl IntoIterator<Item = Sealed>) -> Result<Vec<Head>, Box<Misfit>> {
    let mut chain = Chain::default();
    records.into_iter().try_for_each(|record| chain.push(record))?;
    Ok(chain.heads)
}

fn misfit(record: &Sealed, why: impl Into<String>) -> Box<Misfit> {
    Box::new(Misfit { id: record.id.clone(), event: record.event.clone(), place: record.place, why: why.into() })
}

fn check(record: &Sealed, head: Option<&Head>, entry: Option<&(String, String)>) -> Result<(), Box<Misfit>> {
    let next = head.map_or(1, |head| head.records + 1);
    if record.place != next {
        return Err(misfit(record, format!("place {next} should stand here")));
    }
    if record.event_before.as_deref() != head.map(|head| head.hash.as_str()) {
        return Err(misfit(record, "it does not follow the record before it in its event"));
    }
    if entry.is_some_and(|(event, _)| *event != record.event) {
        return Err(misfit(record, "its entry belongs to another event"));
    }
    if record.entry_before.as_deref() != entry.map(|(_, hash)| hash.as_str()) {
        return Err(misfit(record, "it does not follow the record before it in its entry"));
    }
    match (&record.maker, &record.maker_salt) {
        (Some(name), Some(salt)) if hex(&mark_of(salt, name)) != record.maker_mark => {
            return Err(misfit(record, "its maker's name is not the one that was recorded"));
        }
        (Some(_), Some(_)) | (None, None) => {}
        _ => return Err(misfit(record, "its maker's name and salt do not belong together")),
    }
    if hex(&record.reckon()) != record.hash {
        return Err(misfit(record, "what it says is not what was recorded"));
    }
    Ok(())
}
