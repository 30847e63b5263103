//! Answers: what a driver typed or an answers file says, read against the item it answers.
//!
//! A form and a file meet in one place. Both become [`Typed`] (field name to text), so that one set of checks decides
//! what an answer is and a page can always show again exactly what was typed.

use super::sheet::{Item, Sheet};
use super::units::Unit;
use super::words::{ItemId, Place};
use jiff::civil::Date;
use serde_json::{Map, Value as Json};
use std::collections::{BTreeMap, BTreeSet, btree_map};
use std::ops::{Deref, DerefMut};

pub use super::answer_json::from_json;
pub use super::answer_typed::{from_typed, read_in, read_number};

/// What was typed for one item: field name ("" for the item's only field, `lf`, `unit`, `note` ...) to text.
pub type Typed = BTreeMap<String, String>;

/// The answers of a whole sheet, as one edition of it reads them. An answer is absent, read, or unreadable.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Answers {
    read: BTreeMap<ItemId, Answer>,
    /// Items of the sheet that were answered in a way that this edition cannot read: nobody knows what they say.
    pub unreadable: BTreeSet<ItemId>,
}

impl Answers {
    /// No answers.
    pub fn new() -> Answers {
        Answers::default()
    }
}

impl Deref for Answers {
    type Target = BTreeMap<ItemId, Answer>;

    fn deref(&self) -> &Self::Target {
        &self.read
    }
}

impl DerefMut for Answers {
    fn deref_mut(&mut self) -> &mut Self::Target {
        &mut self.read
    }
}

impl FromIterator<(ItemId, Answer)> for Answers {
    fn from_iter<T: IntoIterator<Item = (ItemId, Answer)>>(answers: T) -> Answers {
        Answers { read: answers.into_iter().collect(), unreadable: BTreeSet::new() }
    }
}

impl IntoIterator for Answers {
    type Item = (ItemId, Answer);
    type IntoIter = btree_map::IntoIter<ItemId, Answer>;

    fn into_iter(self) -> Self::IntoIter {
        self.read.into_iter()
    }
}

impl<'a> IntoIterator for &'a Answers {
    type Item = (&'a ItemId, &'a Answer);
    type IntoIter = btree_map::Iter<'a, ItemId, Answer>;

    fn into_iter(self) -> Self::IntoIter {
        self.read.iter()
    }
}

/// The longest note or text a person may leave, in characters.
pub const NOTE_LONGEST: usize = 1000;

/// One item's answer.
#[derive(Clone, Debug, PartialEq)]
pub struct Answer {
    pub value: Value,
    /// The ids of the photos that belong to it.
    pub photos: Vec<String>,
    pub note: Option<String>,
    /// The readings of the item's worksheet, where the answer was worked out from them.
    pub worked: Option<Map<String, Json>>,
}

/// The kinds of answers, as [`Kind`] has them.
#[derive(Clone, Debug, PartialEq)]
pub enum Value {
    Yes,
    No,
    NotApplicable,
    /// Readings as given, all in one unit.
    Measured {
        unit: Unit,
        at: BTreeMap<Place, f64>,
    },
    Date(Date),
    Label {
        label: String,
        date: Option<String>,
        valid_until: bool,
    },
    TyreCodes(BTreeMap<Place, String>),
    Choice(ItemId),
    Text(String),
    /// Nothing but its photos.
    Photos,
}

/// One field that cannot be read, and what to do about it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Trouble {
    /// The field of the item, as in [`Typed`].
    pub field: String,
    pub message: String,
}

impl Trouble {
    pub(super) fn at(field: impl Into<String>, message: impl Into<String>) -> Trouble {
        Trouble { field: field.into(), message: message.into() }
    }
}

/// Whether an item is asked.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Asked {
    No,
    Yes,
    /// It hangs on an answer that cannot be read.
    Unknown,
}

/// Whether the item is asked at all, given the answers so far.
pub fn asked(sheet: &Sheet, item: &Item, answers: &Answers) -> Asked {
    let Some(condition) = &item.when else { return Asked::Yes };
    // A condition names an earlier item (the sheet's reader sees to it), so this comes to an end.
    let parent = match sheet.item(condition.item.as_str()) {
        Some(parent) => asked(sheet, parent, answers),
        None => Asked::No,
    };
    if parent == Asked::No {
        return Asked::No;
    }
    if answers.unreadable.contains(&condition.item) {
        return Asked::Unknown;
    }
    let word = match answers.get(&condition.item).map(|answer| &answer.value) {
        Some(Value::Yes) => "yes",
        Some(Value::No) => "no",
        Some(Value::NotApplicable) => "n/a",
        Some(Value::Choice(id)) => id.as_str(),
        _ => return Asked::No,
    };
    if condition.is.iter().any(|wanted| wanted == word) { parent } else { Asked::No }
}

/// Whether the item is asked, or may be: on the safe side where it hangs on an answer that cannot be read.
pub fn is_asked(sheet: &Sheet, item: &Item, answers: &Answers) -> bool {
    asked(sheet, item, answers) != Asked::No
}
