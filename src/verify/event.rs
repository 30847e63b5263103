//! One event: its chain, and the rows that its records rest on.

use super::Misfits;
use super::heads::{self, Kept};
use super::photos::Named;
use crate::rules::chain::{EventChain, Sealed, driver_mark, hex};
use crate::rules::words::CarNumber;
use crate::store::StoreError;
use crate::store::history::ERASED;
use crate::store::proof::{EntryLine, EventLine, Proof};
use serde::Deserialize;
use std::collections::{HashMap, HashSet};

/// What events are verified against.
pub(super) struct Around<'a> {
    pub erased: &'a HashMap<String, i64>,
    /// The digest of each edition.
    pub editions: &'a HashMap<String, String>,
    pub kept: &'a mut Kept,
    pub photos: &'a mut Named,
}

/// The editions by their ids, each with its digest. Their numbers have no gap.
pub(super) async fn editions(proof: &mut Proof, misfits: &mut Misfits) -> Result<HashMap<String, String>, StoreError> {
    let (mut all, mut next) = (HashMap::new(), 1);
    proof
        .editions(|edition| match edition {
            Ok(edition) => {
                if edition.number != next {
                    misfits.say(format!("edition {next} of the sheet is not there"));
                }
                next = edition.number.saturating_add(1);
                all.insert(edition.id, edition.digest);
            }
            Err(words) => misfits.say(words),
        })
        .await?;
    Ok(all)
}

/// What a record of the event lists.
#[derive(Deserialize)]
struct Listing {
    #[serde(default)]
    entries: Vec<Listed>,
    #[serde(default)]
    from: Option<String>,
    #[serde(default)]
    to: Option<String>,
}

#[derive(Deserialize)]
struct Listed {
    id: String,
    digest: String,
}

struct Event<'a> {
    id: String,
    row: Option<EventLine>,
    entries: HashMap<String, EntryLine>,
    chain: EventChain,
    /// The edition in force, by the newest record that says so.
    edition: Option<String>,
    /// Entries that a record of the event lists.
    listed: HashSet<String>,
    erased: &'a HashMap<String, i64>,
    editions: &'a HashMap<String, String>,
    is_bound: bool,
}

/// Verifies one event. Gives its lines.
pub(super) async fn verify(
    proof: &mut Proof,
    id: &[u8],
    around: &mut Around<'_>,
    misfits: &mut Misfits,
) -> Result<Vec<String>, StoreError> {
    let is_bound = proof.is_bound();
    let text = uuid::Uuid::from_slice(id).map_or_else(|_| format!("{id:02x?}"), |id| id.to_string());
    let row = match proof.event(id).await? {
        Some(Ok(row)) => Some(row),
        Some(Err(words)) => {
            misfits.say(format!("event {text}: {words}"));
            None
        }
        None => {
            misfits.say(format!("event {text} is gone, and its records are there"));
            None
        }
    };
    let mut entries = HashMap::new();
    for entry in if is_bound { proof.entries(id).await? } else { Vec::new() } {
        match entry {
            Ok(entry) => drop(entries.insert(entry.id.clone(), entry)),
            Err(words) => misfits.say(format!("event {text}: {words}")),
        }
    }
    let Around { erased, editions, kept, photos } = around;
    let (chain, listed) = (EventChain::of(&text), HashSet::new());
    let mut event = Event { id: text, row, entries, chain, edition: None, listed, erased, editions, is_bound };
    proof
        .records(id, |record| match record {
            Ok(record) => {
                kept.meet_event(&record.event, record.place, &record.hash);
                photos.take(&record, misfits);
                event.take(&record, misfits);
            }
            Err(words) => misfits.say(format!("event {}: {words}", event.id)),
        })
        .await?;
    Ok(event.end(misfits))
}

impl Event<'_> {
    fn take(&mut self, record: &Sealed, misfits: &mut Misfits) {
        self.chain.misfits(record).into_iter().for_each(|misfit| misfits.say(misfit.to_string()));
        if self.is_bound {
            self.hold_against_rows(record, misfits);
        }
        if record.form == 2 {
            self.hold_against_event(record, misfits);
            self.hold_against_edition(record, misfits);
        }
        self.chain.follow(record);
    }

    /// The entry's line, and a driver's name that was erased.
    fn hold_against_rows(&self, record: &Sealed, misfits: &mut Misfits) {
        let Some(id) = &record.entry else { return };
        let Some(entry) = self.entries.get(id) else {
            return misfits.say_of(id, || format!("event {}: entry {id} is gone, and its records are there", self.id));
        };
        if record.entry_digest.as_ref().is_some_and(|digest| *digest != entry.digest) {
            misfits.say_of(id, || self.not_bound(entry));
        }
        if record.is_erased() && !self.erased.contains_key(id) {
            misfits.say(format!("record {}: its maker's name was erased, and its driver was not", record.id));
        }
    }

    fn not_bound(&self, entry: &EntryLine) -> String {
        format!("event {}: the roster line of car {} (entry {}) is not what its records bind", self.id, entry.number, entry.id)
    }

    fn hold_against_event(&self, record: &Sealed, misfits: &mut Misfits) {
        let differs = self.row.as_ref().is_some_and(|row| record.event_digest.as_ref() != Some(&row.digest));
        if differs {
            let words = || format!("event {}: name, venue, day, zone or run groups are not what its records bind", self.id);
            misfits.say_of(&self.id, words);
        }
    }

    fn hold_against_edition(&mut self, record: &Sealed, misfits: &mut Misfits) {
        let (Some(edition), Some(digest)) = (&record.edition, &record.edition_digest) else { return };
        match self.editions.get(edition) {
            None => misfits.say_of(edition, || format!("edition {edition} of the sheet is gone, and records rest on it")),
            Some(is) if is != digest => {
                misfits.say_of(edition, || format!("edition {edition} of the sheet is not what records bind"));
            }
            Some(_) => {}
        }
        let before = self.edition.take();
        match record.kind.as_str() {
            "opened" if before.is_some() => misfits.say(format!("record {}: the event was opened before", record.id)),
            "opened" | "roster" | "raise" => self.take_listing(record, before.as_ref(), misfits),
            _ => {}
        }
        match (&before, record.kind.as_str()) {
            (None, "opened") | (Some(_), "opened" | "raise") => {}
            (None, _) => misfits.say(format!("record {}: no record before it says that the event was opened", record.id)),
            (Some(before), _) if before != edition => {
                misfits
                    .say(format!("record {}: its edition is not the one that was in force by the records before it", record.id));
            }
            _ => {}
        }
        self.edition = Some(edition.clone());
    }

    /// What an opening, a roster or a raise says by itself.
    fn take_listing(&mut self, record: &Sealed, before: Option<&String>, misfits: &mut Misfits) {
        let listing: Listing = match serde_json::from_str(&record.body) {
            Ok(listing) => listing,
            Err(error) => return misfits.say(format!("record {} cannot be read: {error}", record.id)),
        };
        let from_is_so = listing.from.is_none() || listing.from.as_ref() == before;
        let to_is_so = listing.to.is_none() || listing.to == record.edition;
        if record.kind == "raise" && !(from_is_so && to_is_so) {
            misfits.say(format!("record {}: it was raised from or to another edition than it says", record.id));
        }
        for Listed { id, digest } in listing.entries {
            match self.entries.get(&id) {
                None => misfits.say_of(&id, || format!("event {}: entry {id} is gone, and a roster lists it", self.id)),
                Some(entry) if entry.digest != digest => misfits.say_of(&id, || self.not_bound(entry)),
                Some(_) => {}
            }
            self.listed.insert(id);
        }
    }

    fn end(&self, misfits: &mut Misfits) -> Vec<String> {
        let head = self.chain.head();
        if head.records == 0 {
            misfits.say(format!("event {} has no record", self.id));
            return Vec::new();
        }
        let mut lines = vec![heads::line_of_event(&self.id, head.records, &head.hash)];
        if !self.is_bound {
            return lines;
        }
        match self.chain.strong_from() {
            Some(1) => {}
            Some(from) => lines.push(format!(
                "event {} is from before: from record {from} on, records also bind the sheet, the event and the roster",
                self.id
            )),
            None => misfits.say(format!("event {}: no record binds the sheet, the event and the roster yet", self.id)),
        }
        if self.row.as_ref().is_some_and(|row| self.edition.as_ref() != Some(&row.edition)) {
            misfits.say(format!("event {}: its edition is not the one that its records say is in force", self.id));
        }
        for entry in self.entries.values() {
            self.hold_entry(entry, misfits);
        }
        lines
    }

    /// The row of an entry by itself.
    fn hold_entry(&self, entry: &EntryLine, misfits: &mut Misfits) {
        let of = |what: &str| format!("event {}: car {} (entry {}): {what}", self.id, entry.number, entry.id);
        if self.chain.strong_from().is_some() && !self.listed.contains(&entry.id) {
            misfits.say(of("no record lists it on a roster"));
        }
        if !CarNumber::parse(&entry.number).is_ok_and(|number| i64::from(number.order()) == entry.number_order) {
            misfits.say(of("its place in the order of numbers is not its number's"));
        }
        if self.erased.get(&entry.id) != entry.erased_at.as_ref() {
            misfits.say(of("whether its driver was erased is not what the deeds say"));
        }
        let name_fits = match &entry.driver_salt {
            Some(salt) => entry.erased_at.is_none() && hex(&driver_mark(salt, &entry.driver)) == entry.driver_mark,
            None => entry.erased_at.is_some() && entry.driver == ERASED,
        };
        if !name_fits {
            misfits.say(of("the driver's name is not the one that was noted"));
        }
    }
}
