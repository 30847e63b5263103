//! Heads that were kept outside: what the file must still reach.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

/// Heads from an earlier output of `verify`, and single ones from printed lists.
#[derive(Clone, Debug, Default)]
pub struct Kept {
    is_any: bool,
    /// The hashes that an event's chain must have in a place.
    events: BTreeMap<(String, u64), BTreeSet<String>>,
    access: BTreeMap<u64, BTreeSet<String>>,
    anywhere: BTreeSet<String>,
}

/// The line about an event whose records fit; [`Kept::read`] takes it again.
pub(super) fn line_of_event(event: &str, records: u64, head: &str) -> String {
    format!("event {event}: {records} records fit, head {head}")
}

/// The line about the deeds of access.
pub(super) fn line_of_access(deeds: u64, head: &str) -> String {
    format!("access: {deeds} deeds fit, head {head}")
}

impl Kept {
    /// Nothing was kept.
    pub fn nothing() -> Kept {
        Kept::default()
    }

    /// The heads of a file, if there is one, and single ones.
    ///
    /// # Errors
    /// Why the file cannot be used.
    pub fn of(file: Option<&Path>, heads: &[String]) -> Result<Kept, String> {
        let kept = match file {
            Some(path) => std::fs::read_to_string(path)
                .map_err(|error| error.to_string())
                .and_then(|text| Kept::read(&text))
                .map_err(|error| format!("{}: {error}", path.display()))?,
            None => Kept::nothing(),
        };
        Ok(heads.iter().fold(kept, |kept, head| kept.and_head(head)))
    }

    /// Reads the file of heads: the output of an earlier `verify`, or several one after the other. Other lines are passed over.
    ///
    /// # Errors
    /// A sentence where there is no head in it.
    pub fn read(text: &str) -> Result<Kept, String> {
        let mut kept = Kept::default();
        for line in text.lines() {
            kept.take(line.trim());
        }
        if kept.is_any { Ok(kept) } else { Err("there is no head in it: keep the output of verify as it is".into()) }
    }

    fn take(&mut self, line: &str) -> Option<()> {
        let (whose, rest) = line.split_once(": ")?;
        let (count, rest) = rest.split_once(' ')?;
        let count: u64 = count.parse().ok()?;
        let hash = rest.split_once(" fit, head ")?.1.to_lowercase();
        match whose.split_once(' ') {
            Some(("event", event)) => drop(self.events.entry((event.to_lowercase(), count)).or_default().insert(hash)),
            None if whose == "access" => drop(self.access.entry(count).or_default().insert(hash)),
            _ => return None,
        }
        self.is_any = true;
        Some(())
    }

    /// A head from a printed list or an export: some event's chain must have it.
    #[must_use]
    pub fn and_head(mut self, head: &str) -> Kept {
        self.anywhere.insert(head.trim().to_lowercase());
        self.is_any = true;
        self
    }

    pub(super) fn holds_any(&self) -> bool {
        self.is_any
    }

    /// A record is there.
    pub(super) fn meet_event(&mut self, event: &str, place: u64, hash: &str) {
        if !self.is_any {
            return;
        }
        self.anywhere.remove(hash);
        if let Some(hashes) = self.events.get_mut(&(event.to_owned(), place)) {
            hashes.remove(hash);
        }
    }

    /// A deed is there.
    pub(super) fn meet_deed(&mut self, place: u64, hash: &str) {
        if let Some(hashes) = self.access.get_mut(&place) {
            hashes.remove(hash);
        }
    }

    /// What was kept and not met.
    pub(super) fn missing(self) -> Vec<String> {
        const CUT: &str = "its end was cut off, or it is another history";
        let events = self.events.into_iter().flat_map(|((event, place), hashes)| {
            hashes.into_iter().map(move |hash| format!("event {event} does not reach the head {hash} of record {place}: {CUT}"))
        });
        let access = self.access.into_iter().flat_map(|(place, hashes)| {
            hashes.into_iter().map(move |hash| format!("access does not reach the head {hash} of deed {place}: {CUT}"))
        });
        let anywhere = self.anywhere.into_iter().map(|hash| format!("the history does not reach the head {hash}: {CUT}"));
        events.chain(access).chain(anywhere).collect()
    }
}
