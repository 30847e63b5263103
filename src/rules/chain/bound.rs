//! What a record rests on, in one digest each: the edition in force, the event's head, the entry's line on the roster.
//!
//! The texts are taken as they stand in the columns, so that a digest can be computed from the file alone.

use super::{Canonical, Hash};

/// The commitment to a driver's name on the roster.
pub fn driver_mark(salt: &str, name: &str) -> Hash {
    Canonical::new("witnessmark driver 1").text("salt", salt).text("name", name).hash()
}

/// An edition of the sheet.
#[derive(Clone, Copy, Debug)]
pub struct BoundEdition<'a> {
    pub number: i64,
    pub name: &'a str,
    pub file: &'a str,
    /// Milliseconds since 1970-01-01 UTC.
    pub made_at: i64,
    pub made_by: &'a str,
}

impl BoundEdition<'_> {
    /// SHA-256 over number, name, file and making.
    pub fn digest(&self) -> Hash {
        Canonical::new("witnessmark edition 1")
            .text("number", &self.number.to_string())
            .text("name", self.name)
            .text("file", self.file)
            .text("made at", &self.made_at.to_string())
            .text("made by", self.made_by)
            .hash()
    }
}

/// The head of an event: all that is said of it but its edition, which changes.
#[derive(Clone, Copy, Debug)]
pub struct BoundEvent<'a> {
    pub id: &'a str,
    pub name: &'a str,
    pub venue: &'a str,
    pub day: &'a str,
    pub zone: &'a str,
    /// Milliseconds since 1970-01-01 UTC.
    pub made_at: i64,
    /// The run groups with their first sessions, by name.
    pub groups: &'a [(String, String)],
}

impl BoundEvent<'_> {
    /// SHA-256 over all of it.
    pub fn digest(&self) -> Hash {
        let head = Canonical::new("witnessmark event 1")
            .text("id", self.id)
            .text("name", self.name)
            .text("venue", self.venue)
            .text("day", self.day)
            .text("zone", self.zone)
            .text("made at", &self.made_at.to_string())
            .text("groups", &self.groups.len().to_string());
        self.groups.iter().fold(head, |head, (name, at)| head.text("group", name).text("first session", at)).hash()
    }
}

/// An entry's line on the roster. The mail address is not in it: nothing rests on it, and it can be erased.
#[derive(Clone, Copy, Debug)]
pub struct RosterLine<'a> {
    pub id: &'a str,
    pub event: &'a str,
    pub number: &'a str,
    pub car: &'a str,
    pub group: &'a str,
    /// Milliseconds since 1970-01-01 UTC.
    pub made_at: i64,
    /// [`driver_mark`] in hexadecimal figures: it stays when the name is erased.
    pub driver_mark: &'a str,
}

impl RosterLine<'_> {
    /// SHA-256 over all of it.
    pub fn digest(&self) -> Hash {
        Canonical::new("witnessmark entry 1")
            .text("id", self.id)
            .text("event", self.event)
            .text("number", self.number)
            .text("car", self.car)
            .text("group", self.group)
            .text("made at", &self.made_at.to_string())
            .text("driver mark", self.driver_mark)
            .hash()
    }
}
