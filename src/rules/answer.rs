//! Answers: what a driver typed or an answers file says, read against the item it answers.
//!
//! A form and a file meet in one place. Both become [`Typed`] (field name to text), so that one set of checks decides
//! what an answer is and a page can always show again exactly what was typed.

use super::sheet::{Item, Sheet};
use super::units::Unit;
use super::words::{ItemId, Place};
use jiff::civil::Date;
use serde_json::{Map, Value as Json};
use std::collections::BTreeMap;

pub use super::answer_json::from_json;
pub use super::answer_typed::{from_typed, read_in, read_number};

/// What was typed for one item: field name ("" for the item's only field, `lf`, `unit`, `note` ...) to text.
pub type Typed = BTreeMap<String, String>;

/// The answers of a whole sheet.
pub type Answers = BTreeMap<ItemId, Answer>;

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

/// Whether the item is asked at all, given the answers so far.
pub fn is_asked(sheet: &Sheet, item: &Item, answers: &Answers) -> bool {
    let Some(condition) = &item.when else { return true };
    let word = match answers.get(&condition.item).map(|answer| &answer.value) {
        Some(Value::Yes) => "yes",
        Some(Value::No) => "no",
        Some(Value::NotApplicable) => "n/a",
        Some(Value::Choice(id)) => id.as_str(),
        _ => return false,
    };
    // A condition names an earlier item (the sheet's reader sees to it), so this comes to an end.
    condition.is.iter().any(|wanted| wanted == word)
        && sheet.item(condition.item.as_str()).is_some_and(|earlier| is_asked(sheet, earlier, answers))
}
