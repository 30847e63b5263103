//! `witnessmark verify`: a club's file, or an export, held against what its records and deeds of access bind.
//!
//! It computes every hash anew, follows both chains, and compares the tables with what was bound: the sheet's editions, the
//! events, the rosters, links and devices, photos. What it cannot see is an end that was cut off or written anew, or a whole file
//! that was put in another's place, while nobody kept a head outside: for that it takes the heads that it printed before.

mod access;
mod event;
mod heads;
mod photos;

pub use heads::Kept;

use crate::rules::chain::{Chain, Sealed};
use crate::store::StoreError;
use crate::store::proof::Proof;
use std::collections::HashSet;
use std::path::Path;

/// How many misfits are named.
const NAMED: usize = 50;

/// What is to be said of a history, and whether it fits.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Verdict {
    pub words: String,
    pub fits: bool,
}

/// What did not fit so far.
#[derive(Debug, Default)]
struct Misfits {
    named: Vec<String>,
    more: usize,
    /// What was said already: a row that a thousand records rest on is named once.
    said: HashSet<String>,
}

impl Misfits {
    fn say(&mut self, words: impl Into<String>) {
        let words = words.into();
        match self.named.len() < NAMED {
            true => self.named.push(words),
            false => self.more += 1,
        }
    }

    /// Says it once for a thing.
    fn say_of(&mut self, thing: &str, words: impl FnOnce() -> String) {
        if self.said.insert(thing.to_owned()) {
            self.say(words());
        }
    }
}

/// Verifies a club's file, row by row. It changes nothing in the file, and the server may run meanwhile.
///
/// # Errors
/// What SQLite says where the file cannot be read.
pub async fn database(path: &Path, mut kept: Kept) -> Result<Verdict, StoreError> {
    let mut proof = Proof::open(path).await?;
    let (mut misfits, mut lines) = (Misfits::default(), Vec::new());
    let mut photos = photos::Named::default();
    let (erased, editions) = match proof.is_bound() {
        true => {
            let access = access::verify(&mut proof, &mut kept, &mut misfits).await?;
            lines.extend(access.line);
            (access.erased, event::editions(&mut proof, &mut misfits).await?)
        }
        false => {
            lines.push("This file is from before records bound what they rest on: only its chains are verified.".into());
            Default::default()
        }
    };
    let ids = proof.event_ids().await?;
    if ids.is_empty() {
        misfits.say("there is no event in this file: nothing can be verified");
    }
    let mut around = event::Around { erased: &erased, editions: &editions, kept: &mut kept, photos: &mut photos };
    for id in &ids {
        lines.extend(event::verify(&mut proof, id, &mut around, &mut misfits).await?);
    }
    if proof.is_bound() {
        for entry in proof.stray_entries().await? {
            misfits.say(format!("entry {entry} belongs to no event"));
        }
        photos.compare(&mut proof, &erased, &mut misfits).await?;
    }
    Ok(verdict(lines, misfits, kept))
}

/// Reads an exported history: one record a line.
///
/// # Errors
/// Why the file cannot be read, or the line that is no record.
pub fn read_export(path: &Path) -> Result<Vec<Sealed>, String> {
    let text = std::fs::read_to_string(path).map_err(|error| format!("{}: {error}", path.display()))?;
    let lines = text.lines().enumerate().filter(|(_, line)| !line.trim().is_empty());
    lines
        .map(|(nth, line)| serde_json::from_str(line).map_err(|error| format!("line {} is no record: {error}", nth + 1)))
        .collect()
}

/// Verifies an export: its chain, and what its records say by themselves.
pub fn export(records: Vec<Sealed>, mut kept: Kept) -> Verdict {
    let (mut chain, mut misfits) = (Chain::default(), Misfits::default());
    for record in records {
        kept.meet_event(&record.event, record.place, &record.hash);
        chain.misfits(&record).into_iter().for_each(|misfit| misfits.say(misfit.to_string()));
        chain.follow(record);
    }
    let heads = chain.heads();
    if heads.is_empty() {
        misfits.say("there are no records");
    }
    let lines = heads.iter().map(|head| heads::line_of_event(&head.event, head.records, &head.hash)).collect();
    verdict(lines, misfits, kept)
}

fn verdict(mut lines: Vec<String>, mut misfits: Misfits, kept: Kept) -> Verdict {
    let is_held = kept.holds_any();
    kept.missing().into_iter().for_each(|words| misfits.say(words));
    if misfits.named.is_empty() {
        if !is_held {
            lines.push(
                "What this cannot see is an end that was cut off or written anew: keep these lines, and give them with --heads."
                    .into(),
            );
        }
        return Verdict { words: lines.join("\n"), fits: true };
    }
    let mut words = misfits.named;
    if misfits.more > 0 {
        words.push(format!("and {} more", misfits.more));
    }
    Verdict { words: words.join("\n"), fits: false }
}
