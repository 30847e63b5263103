//! The strip: one tick an item, area by area. One picture that a driver, an inspector and an organizer all read.

use super::answer::{Answers, is_asked};
use super::judge::Judged;
use super::sheet::Sheet;
use super::words::{ItemId, Severity};
use std::collections::BTreeSet;

/// How one item stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Tick {
    /// Answered, nothing found, or found and seen put right.
    Painted,
    /// Answered, with a note.
    Dotted,
    /// An open stop or fix finding.
    Broken(Severity),
    /// Not answered, or not wholly.
    Dashed,
}

/// The ticks of one area.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct AreaStrip {
    pub id: ItemId,
    pub name: String,
    pub ticks: Vec<Tick>,
}

impl AreaStrip {
    /// How many items of the area are not answered.
    pub fn left(&self) -> usize {
        self.ticks.iter().filter(|tick| **tick == Tick::Dashed).count()
    }

    fn count(&self, tick: Tick) -> usize {
        self.ticks.iter().filter(|other| **other == tick).count()
    }

    /// The area in words: "1 stops the car", "4 left", "done, 1 note".
    pub fn words(&self) -> String {
        let (stops, fixes) = (self.count(Tick::Broken(Severity::Stop)), self.count(Tick::Broken(Severity::Fix)));
        let (left, notes) = (self.left(), self.count(Tick::Dotted));
        let mut words = Vec::new();
        if stops > 0 {
            words.push(format!("{stops} {} the car", if stops == 1 { "stops" } else { "stop" }));
        }
        if fixes > 0 {
            words.push(format!("{fixes} to fix"));
        }
        if left > 0 {
            words.push(format!("{left} left"));
        }
        if words.is_empty() {
            words.push("done".into());
        }
        if notes > 0 {
            words.push(format!("{notes} {}", if notes == 1 { "note" } else { "notes" }));
        }
        words.join(", ")
    }
}

/// The strip of a set of answers.
///
/// `open` names the items whose finding nobody has closed; `None` takes every finding as open. Items that need not be
/// answered show only once they are.
pub fn strip(sheet: &Sheet, answers: &Answers, judged: &Judged, open: Option<&BTreeSet<ItemId>>) -> Vec<AreaStrip> {
    let missing: BTreeSet<&ItemId> = judged.missing.iter().map(|(item, _)| item).collect();
    let tick = |id: &ItemId| {
        let worst = judged.findings.iter().filter(|finding| finding.item == *id).map(|finding| finding.severity).max();
        let is_open = open.is_none_or(|open| open.contains(id));
        match worst {
            Some(severity) if severity.holds_the_car() && is_open => Tick::Broken(severity),
            _ if missing.contains(id) || !answers.contains_key(id) => Tick::Dashed,
            Some(_) => Tick::Dotted,
            None => Tick::Painted,
        }
    };
    let areas = sheet.areas.iter().map(|area| {
        let asked = area.items.iter().filter(|item| is_asked(sheet, item, answers));
        let shown = asked.filter(|item| item.required || answers.contains_key(&item.id));
        AreaStrip { id: area.id.clone(), name: area.name.clone(), ticks: shown.map(|item| tick(&item.id)).collect() }
    });
    areas.filter(|area| !area.ticks.is_empty()).collect()
}
