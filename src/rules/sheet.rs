//! The tech sheet: areas, items, and what the club asks of each. A sheet is data; nothing here judges.
//!
//! A [`Sheet`] can only be made by [`crate::rules::sheet_file`], which refuses whatever could not be asked or
//! judged later: a limit in the wrong unit, a condition on an item that comes after, two items of one name.

use super::gear::Policy;
use super::units::Unit;
use super::words::{ItemId, Per, Severity};
use super::worksheet_form::Form;
use serde_json::{Map, Value as Json};

/// One edition's content: what is asked, in which order, within which limits.
#[derive(Clone, Debug)]
pub struct Sheet {
    pub name: String,
    pub about: String,
    pub areas: Vec<Area>,
    /// Which safety labels the club accepts, and until when.
    pub gear: Policy,
}

impl Sheet {
    /// Every item in the order of the sheet.
    pub fn items(&self) -> impl Iterator<Item = &Item> {
        self.areas.iter().flat_map(|area| area.items.iter())
    }

    /// The item of this name.
    pub fn item(&self, id: &str) -> Option<&Item> {
        self.items().find(|item| item.id.as_str() == id)
    }

    /// The area of this name.
    pub fn area(&self, id: &str) -> Option<&Area> {
        self.areas.iter().find(|area| area.id.as_str() == id)
    }
}

/// A part of the car that is looked at in one go.
#[derive(Clone, Debug)]
pub struct Area {
    pub id: ItemId,
    pub name: String,
    /// One line on how to set about it, with the caution that goes for the whole area.
    pub intro: Option<String>,
    pub items: Vec<Item>,
}

/// One thing that is looked at.
#[derive(Clone, Debug)]
pub struct Item {
    pub id: ItemId,
    /// What a finding calls it: "Brake pad", "Helmet".
    pub name: String,
    pub ask: String,
    /// How it is checked.
    pub check: String,
    /// The usual caution where the work can hurt.
    pub caution: Option<String>,
    pub kind: Kind,
    pub about: About,
    /// What the inspector does by hand at the gate, if anything.
    pub by_hand: Option<String>,
    pub when: Option<Condition>,
    pub required: bool,
    /// The worksheet from whose readings the answer can be worked out.
    pub work: Option<Work>,
    /// What to do about a finding.
    pub mend: Option<String>,
    pub source: String,
}

/// How an item's answer comes from a worksheet.
#[derive(Clone, Debug)]
pub struct Work {
    pub form: &'static Form,
    pub gives: Gives,
    /// Fields that the sheet sets and the driver does not: limits, mostly.
    pub fixed: Map<String, Json>,
}

/// What of a worksheet is the answer.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Gives {
    /// This figure of its outcome, or this one of its readings.
    Figure(String),
    /// Its verdict: the right answer where it is ok or a note.
    Verdict,
}

/// Whom an item is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum About {
    Car,
    Driver,
}

/// An item is asked only when an earlier choice or yes/no answer is one of these.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Condition {
    pub item: ItemId,
    pub is: Vec<String>,
}

/// What counts as an answer, and what is asked of it.
#[derive(Clone, Debug)]
pub enum Kind {
    YesNo(YesNo),
    Measurement(Measurement),
    Date(DateRule),
    Label(LabelRule),
    TyreCode(TyreCodeRule),
    Choice(Vec<Choice>),
    Text { longest: usize },
    Photo { most: usize },
}

impl Kind {
    /// The word a sheet file uses.
    pub fn word(&self) -> &'static str {
        match self {
            Kind::YesNo(_) => "yes-no",
            Kind::Measurement(_) => "measurement",
            Kind::Date(_) => "date",
            Kind::Label(_) => "label",
            Kind::TyreCode(_) => "tyre-code",
            Kind::Choice(_) => "choice",
            Kind::Text { .. } => "text",
            Kind::Photo { .. } => "photo",
        }
    }

    /// The places the answer is given for.
    pub fn per(&self) -> Per {
        match self {
            Kind::Measurement(rule) => rule.per,
            Kind::TyreCode(rule) => rule.per,
            _ => Per::Car,
        }
    }
}

/// What an item that a car does not have is answered with, on every page.
pub const NOT_APPLICABLE: &str = "Not on this car";

/// A question answered yes, no or, where the sheet allows it, not applicable.
///
/// Pages never print a bare yes or no: it belongs to the question, and beside the item's name it can say the opposite.
/// [`YesNo::means`] has the words.
#[derive(Clone, Debug)]
pub struct YesNo {
    /// The answer that is well; `None` where either is (the answer only opens other items).
    pub right: Option<bool>,
    pub not_applicable: bool,
    pub severity: Severity,
    /// The finding's sentence when the answer is not the right one.
    pub why: String,
    pub words: Meanings,
}

impl YesNo {
    /// What an answer says of the car, in words that need no question beside them: "Drips".
    pub fn means(&self, yes: bool) -> &str {
        if yes { &self.words.yes } else { &self.words.no }
    }
}

/// What the answers yes and no mean. [`YesNo::means`] reads it.
#[derive(Clone, Debug)]
pub struct Meanings {
    yes: String,
    no: String,
}

impl Meanings {
    /// What each answer means; an answer without words of its own is kept together with its question.
    pub(super) fn new(ask: &str, yes: Option<String>, no: Option<String>) -> Meanings {
        let beside = |answer: &str| format!("{answer}, to \"{ask}\"");
        Meanings { yes: yes.unwrap_or_else(|| beside("Yes")), no: no.unwrap_or_else(|| beside("No")) }
    }
}

/// A reading with a unit, at one or more places, within limits.
#[derive(Clone, Debug)]
pub struct Measurement {
    pub per: Per,
    pub unit: Unit,
    /// What the thing can be at all, in `unit`; outside it the reading is a slip of the pen.
    pub possible: (f64, f64),
    /// Worst severity first.
    pub limits: Vec<Limit>,
}

/// One limit of a measurement.
#[derive(Clone, Debug)]
pub struct Limit {
    pub bound: Bound,
    pub severity: Severity,
    pub source: String,
}

/// What a reading is held against.
#[derive(Clone, Debug, PartialEq)]
pub enum Bound {
    /// At least this much, in the measurement's unit.
    AtLeast(f64),
    /// At most this much, in the measurement's unit.
    AtMost(f64),
    /// At least what another measurement says: of the same place, or of the whole car.
    AtLeastItem(ItemId),
    /// Within so many per cent of what another measurement says.
    WithinPercent(f64, ItemId),
}

/// A day, and how old it may be or how long it must still hold.
#[derive(Clone, Debug)]
pub enum DateRule {
    /// The day a thing was done. Limits in whole calendar months, worst severity first.
    Done { limits: Vec<(u16, Severity)> },
    /// The last day a thing is good for. A note within `note_days` before it.
    ValidUntil { severity: Severity, note_days: u16 },
}

/// A safety label, judged by the sheet's table of gear.
#[derive(Clone, Debug)]
pub struct LabelRule {
    /// Which rows of the table: `helmet`, `harness`.
    pub gear: String,
    /// What a label that is out of date or not accepted weighs.
    pub severity: Severity,
}

/// The date code of a tyre, by its age in years.
#[derive(Clone, Debug)]
pub struct TyreCodeRule {
    pub per: Per,
    /// Worst severity first.
    pub limits: Vec<(f64, Severity)>,
}

/// One of the answers of a choice.
#[derive(Clone, Debug)]
pub struct Choice {
    pub id: ItemId,
    pub say: String,
    /// What choosing it means, where it means something: severity and the finding's sentence.
    pub finding: Option<(Severity, String)>,
}
