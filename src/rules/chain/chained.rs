//! Records one after the other: each must follow the ones before it.

use super::Sealed;
use std::collections::{BTreeMap, BTreeSet, HashMap};

/// A record of a history that does not fit, and how.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("record {id} (place {place} of event {event}) does not fit: {why}")]
pub struct Misfit {
    pub id: String,
    pub event: String,
    pub place: u64,
    pub why: String,
}

impl Misfit {
    /// Says of a record why it does not fit.
    pub fn of(record: &Sealed, why: impl Into<String>) -> Misfit {
        Misfit { id: record.id.clone(), event: record.event.clone(), place: record.place, why: why.into() }
    }
}

/// The end of an event's chain.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Head {
    pub event: String,
    pub records: u64,
    pub hash: String,
}

/// One event's chain so far. What it remembers grows with the entries and not with the records.
#[derive(Clone, Debug, Default)]
pub struct EventChain {
    head: Head,
    /// The newest hash of each entry.
    entries: HashMap<String, String>,
    /// The place of the first record of form 2.
    strong_from: Option<u64>,
}

impl EventChain {
    /// The chain of an event without a record.
    pub fn of(event: &str) -> EventChain {
        EventChain { head: Head { event: event.to_owned(), ..Head::default() }, ..EventChain::default() }
    }

    /// The newest record's place and hash.
    pub fn head(&self) -> &Head {
        &self.head
    }

    /// The place from which on records bind edition, event and roster line.
    pub fn strong_from(&self) -> Option<u64> {
        self.strong_from
    }

    /// Every reason why this record is not the next one.
    pub fn misfits(&self, record: &Sealed) -> Vec<Misfit> {
        let mut whys: Vec<String> = Vec::new();
        let next = self.head.records + 1;
        if record.place != next {
            whys.push(format!("place {next} should stand here"));
        }
        let before = (self.head.records > 0).then_some(self.head.hash.as_str());
        if record.event_before.as_deref() != before {
            whys.push("it does not follow the record before it in its event".into());
        }
        let entry_before = record.entry.as_ref().and_then(|entry| self.entries.get(entry));
        if record.entry_before.as_ref() != entry_before {
            whys.push("it does not follow the record before it in its entry".into());
        }
        if record.form < 2 && self.strong_from.is_some() {
            whys.push("it is sealed by the rule of before, and records before it by the stronger one".into());
        }
        whys.extend(record.faults().into_iter().map(str::to_owned));
        whys.into_iter().map(|why| Misfit::of(record, why)).collect()
    }

    /// Goes on from this record, whether it fits or not.
    pub fn follow(&mut self, record: &Sealed) {
        (self.head.records, self.head.hash) = (record.place, record.hash.clone());
        if record.form >= 2 {
            self.strong_from.get_or_insert(record.place);
        }
        if let Some(entry) = &record.entry {
            match self.entries.get_mut(entry) {
                Some(hash) => hash.clone_from(&record.hash),
                None => drop(self.entries.insert(entry.clone(), record.hash.clone())),
            }
        }
    }
}

/// A history of one or more events, as an export has it.
#[derive(Clone, Debug, Default)]
pub struct Chain {
    done: Vec<Head>,
    now: Option<EventChain>,
    /// The event of each entry.
    entries: BTreeMap<String, String>,
    ids: BTreeSet<String>,
}

impl Chain {
    /// The ends of the events' chains so far.
    pub fn heads(&self) -> Vec<Head> {
        self.done.iter().chain(self.now.as_ref().map(EventChain::head)).cloned().collect()
    }

    /// Every reason why this record is not the next one.
    pub fn misfits(&self, record: &Sealed) -> Vec<Misfit> {
        let (mut misfits, fresh) = (Vec::new(), EventChain::of(&record.event));
        let same = self.now.as_ref().filter(|now| now.head.event == record.event);
        if same.is_none() && self.done.iter().any(|head| head.event == record.event) {
            misfits.push(Misfit::of(record, "the records of its event do not stand together"));
        }
        if self.ids.contains(&record.id) {
            misfits.push(Misfit::of(record, "its id is there twice"));
        }
        let event = record.entry.as_ref().and_then(|entry| self.entries.get(entry));
        if event.is_some_and(|event| *event != record.event) {
            misfits.push(Misfit::of(record, "its entry belongs to another event"));
        }
        misfits.extend(same.unwrap_or(&fresh).misfits(record));
        misfits
    }

    /// Whether this record is the next one.
    ///
    /// # Errors
    /// The first reason why it is not.
    pub fn fits(&self, record: &Sealed) -> Result<(), Box<Misfit>> {
        match self.misfits(record).into_iter().next() {
            Some(misfit) => Err(Box::new(misfit)),
            None => Ok(()),
        }
    }

    /// Goes on from this record, whether it fits or not.
    pub fn follow(&mut self, record: Sealed) {
        let chain = match self.now.take() {
            Some(now) if now.head.event == record.event => self.now.insert(now),
            other => {
                self.done.extend(other.map(|now| now.head));
                self.now.insert(EventChain::of(&record.event))
            }
        };
        chain.follow(&record);
        self.entries.extend(record.entry.map(|entry| (entry, record.event)));
        self.ids.insert(record.id);
    }

    /// Takes the next record.
    ///
    /// # Errors
    /// As [`Chain::fits`].
    pub fn push(&mut self, record: Sealed) -> Result<(), Box<Misfit>> {
        self.fits(&record)?;
        self.follow(record);
        Ok(())
    }
}

/// Goes through records event by event, each event's in the order of their places, and computes every hash anew.
///
/// # Errors
/// The first record that does not fit.
pub fn verify(records: impl IntoIterator<Item = Sealed>) -> Result<Vec<Head>, Box<Misfit>> {
    let mut chain = Chain::default();
    records.into_iter().try_for_each(|record| chain.push(record))?;
    Ok(chain.heads())
}
