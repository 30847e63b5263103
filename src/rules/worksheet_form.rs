//! Worksheets as forms: which blanks a person fills in, in which units, and how the outcome is read. Pure data and one
//! reader, shared by the worksheet pages, the driver's form and the inspector's page.

mod body;
mod brakes;
mod convert;
mod engine;
mod forms;
mod gate;
mod gear;
pub mod measures;
mod reading;
mod tyres;
mod wheels;

use super::units::Unit;

pub use convert::{converted, tidy};
pub use forms::{FORMS, form};
pub use reading::{BlankTrouble, close_up, field_of, in_words, is_begun, read, read_all};

/// A worksheet as a form.
#[derive(Debug)]
pub struct Form {
    /// The worksheet's name in the register.
    pub name: &'static str,
    pub title: &'static str,
    pub subject: Subject,
    /// What it answers, in one sentence.
    pub says: &'static str,
    /// The usual caution where taking the readings can hurt, shown before the form; may be empty.
    pub hurts: &'static str,
    /// What it does not say, and who decides: shown with every outcome.
    pub caution: &'static str,
    /// How it is reckoned.
    pub formula: &'static str,
    /// What must hold for that, and where it ends.
    pub assumes: &'static str,
    pub source: &'static str,
    /// What the verdict ok is called: a worksheet that judges nothing does not say that a thing is in order.
    pub well: &'static str,
    /// How the rows of its list are named and counted, where it has one.
    pub rows: Option<Rows>,
    /// Readings to try it with, as they are typed in metric units.
    pub example: &'static [(&'static str, &'static str)],
    pub blanks: &'static [Blank],
    /// Whether the first figure of the outcome is what a reader came for, and stands large.
    pub headline: bool,
    /// What the blanks that are folded away are called.
    pub folds: &'static str,
    pub outcomes: &'static [Outcome],
}

/// What a worksheet is about; the list of worksheets is grouped by it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Subject {
    Wheels,
    Brakes,
    Engine,
    Gear,
    Body,
    Gate,
}

impl Subject {
    pub const ALL: [Subject; 6] =
        [Subject::Wheels, Subject::Brakes, Subject::Engine, Subject::Gear, Subject::Body, Subject::Gate];

    pub fn title(self) -> &'static str {
        match self {
            Subject::Wheels => "Wheels and tyres",
            Subject::Brakes => "Brakes",
            Subject::Engine => "Engine",
            Subject::Gear => "Driver's gear",
            Subject::Body => "Body and papers",
            Subject::Gate => "For the organizer",
        }
    }
}

/// The rows of a list in a form.
#[derive(Clone, Copy, Debug)]
pub struct Rows {
    /// "Cylinder", "Reading".
    pub one: &'static str,
    /// The row's place in the list is its number, so that no row before a filled one may be left empty.
    pub numbered: bool,
    /// How many are shown at once; the rest is folded away.
    pub shown: usize,
}

/// One thing to fill in.
#[derive(Clone, Copy, Debug)]
pub struct Blank {
    /// The path in the worksheet's input: `cold_kpa`, `hoop.x_mm`, `dry_kpa[]`, `readings[].at_min`.
    pub path: &'static str,
    pub label: &'static str,
    /// Where it is read or what is taken without it; may be empty.
    pub help: &'static str,
    pub kind: BlankKind,
    pub optional: bool,
    /// Seldom needed: folded away until somebody asks for it.
    pub folded: bool,
    /// The unit of a number without a measure, in words; may be empty.
    pub unit: &'static str,
    /// What several blanks belong to ("Main hoop"); may be empty.
    pub within: &'static str,
    /// What is offered while typing.
    pub offers: &'static [&'static str],
    /// A text that is a colour is picked; this one stands there at first.
    pub colour: Option<&'static str>,
    /// May be below nought: a phone's keypad for numbers has no minus on it.
    pub signed: bool,
}

/// What a blank takes.
#[derive(Clone, Copy, Debug)]
pub enum BlankKind {
    /// A number in the given measure; `None` for a bare number.
    Number(Option<Measure>),
    Text,
    Date,
    /// Value and what it is called.
    Choice(&'static [(&'static str, &'static str)]),
    /// True or false, with what each is called.
    Flag(&'static str, &'static str),
}

impl Blank {
    const fn new(path: &'static str, label: &'static str, kind: BlankKind) -> Blank {
        let (help, unit, within) = ("", "", "");
        Blank { path, label, help, kind, optional: false, folded: false, unit, within, offers: &[], colour: None, signed: false }
    }

    const fn number(path: &'static str, label: &'static str, measure: Measure) -> Blank {
        Blank::new(path, label, BlankKind::Number(Some(measure)))
    }

    /// A number of something that has one unit for all: years, minutes, cars.
    const fn count(path: &'static str, label: &'static str, unit: &'static str) -> Blank {
        Blank { unit, ..Blank::new(path, label, BlankKind::Number(None)) }
    }

    const fn text(path: &'static str, label: &'static str) -> Blank {
        Blank::new(path, label, BlankKind::Text)
    }

    const fn date(path: &'static str, label: &'static str) -> Blank {
        Blank::new(path, label, BlankKind::Date)
    }

    const fn choice(path: &'static str, label: &'static str, choices: &'static [(&'static str, &'static str)]) -> Blank {
        Blank::new(path, label, BlankKind::Choice(choices))
    }

    const fn flag(path: &'static str, label: &'static str, yes: &'static str, no: &'static str) -> Blank {
        Blank::new(path, label, BlankKind::Flag(yes, no))
    }

    const fn help(self, help: &'static str) -> Blank {
        Blank { help, ..self }
    }

    const fn optional(self) -> Blank {
        Blank { optional: true, ..self }
    }

    const fn folded(self) -> Blank {
        Blank { optional: true, folded: true, ..self }
    }

    const fn within(self, within: &'static str) -> Blank {
        Blank { within, ..self }
    }

    const fn offers(self, offers: &'static [&'static str]) -> Blank {
        Blank { offers, ..self }
    }

    const fn signed(self) -> Blank {
        Blank { signed: true, ..self }
    }

    const fn colour(self, first: &'static str) -> Blank {
        Blank { colour: Some(first), ..self }
    }

    /// The names of the blank's fields in a form: one, or one a row.
    pub fn fields(&self) -> Vec<String> {
        if !self.path.contains("[]") {
            return vec![self.path.to_owned()];
        }
        (0..ROWS).map(|row| self.path.replace("[]", &format!(".{row}"))).collect()
    }

    /// The field of the worksheet's input that the blank is, or is a part of.
    pub fn root(&self) -> &'static str {
        self.path.split(['.', '[']).next().unwrap_or(self.path)
    }

    /// The unit beside the field, for a reader of this system; may be empty.
    pub fn unit(&self, system: System) -> &'static str {
        match self.kind {
            BlankKind::Number(Some(measure)) => measure.shown(system).symbol(),
            _ => self.unit,
        }
    }
}

/// How many rows of a list a form shows.
pub const ROWS: usize = 8;

/// A quantity as the worksheet wants it, and as metric and US readers give it.
#[derive(Clone, Copy, Debug)]
pub struct Measure {
    pub wire: Unit,
    pub metric: Unit,
    pub us: Unit,
    /// A difference of temperatures, say, has no offset.
    pub is_difference: bool,
}

/// Which units a person reads and writes a worksheet in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum System {
    Metric,
    Us,
    /// The worksheet's own units: how readings are kept once they were read.
    Wire,
}

impl System {
    pub fn word(self) -> &'static str {
        match self {
            System::Metric => "metric",
            System::Us => "us",
            System::Wire => "wire",
        }
    }

    /// Reads the word; anything else is metric.
    pub fn parse(word: &str) -> System {
        match word {
            "us" => System::Us,
            "wire" => System::Wire,
            _ => System::Metric,
        }
    }
}

impl Measure {
    pub const fn same(unit: Unit) -> Measure {
        Measure { wire: unit, metric: unit, us: unit, is_difference: false }
    }

    pub const fn of(wire: Unit, metric: Unit, us: Unit) -> Measure {
        Measure { wire, metric, us, is_difference: false }
    }

    /// The unit a reader of this system sees.
    pub fn shown(self, system: System) -> Unit {
        match system {
            System::Metric => self.metric,
            System::Us => self.us,
            System::Wire => self.wire,
        }
    }

    /// A reader's figure in the worksheet's unit.
    pub fn to_wire(self, value: f64, system: System) -> f64 {
        self.turn(value, self.shown(system), self.wire)
    }

    /// The worksheet's figure as a reader of this system sees it.
    pub fn to_shown(self, value: f64, system: System) -> f64 {
        self.turn(value, self.wire, self.shown(system))
    }

    fn turn(self, value: f64, from: Unit, to: Unit) -> f64 {
        let turned = from.convert(value, to);
        if self.is_difference { turned - from.convert(0.0, to) } else { turned }
    }
}

/// One figure of the outcome.
#[derive(Debug)]
pub struct Outcome {
    /// The field of the worksheet's output; `cylinders[].percent` for one of a list.
    pub path: &'static str,
    pub label: &'static str,
    pub shown: Shown,
    /// Decimals of a number; with a measure, how many more than its unit usually has.
    pub decimals: usize,
}

/// How a figure of the outcome is read.
#[derive(Clone, Copy, Debug)]
pub enum Shown {
    Measured(Measure),
    /// A number with its unit in words, which may be empty.
    Number(&'static str),
    /// A share of one, read in per cent.
    Share,
    Text,
    /// True and false in words; an empty word is not said.
    Flag(&'static str, &'static str),
}

impl Outcome {
    const fn measured(path: &'static str, label: &'static str, measure: Measure) -> Outcome {
        Outcome { path, label, shown: Shown::Measured(measure), decimals: 0 }
    }

    const fn number(path: &'static str, label: &'static str, unit: &'static str) -> Outcome {
        Outcome { path, label, shown: Shown::Number(unit), decimals: 0 }
    }

    const fn share(path: &'static str, label: &'static str) -> Outcome {
        Outcome { path, label, shown: Shown::Share, decimals: 0 }
    }

    const fn text(path: &'static str, label: &'static str) -> Outcome {
        Outcome { path, label, shown: Shown::Text, decimals: 0 }
    }

    const fn flag(path: &'static str, label: &'static str, yes: &'static str, no: &'static str) -> Outcome {
        Outcome { path, label, shown: Shown::Flag(yes, no), decimals: 0 }
    }

    const fn decimals(self, decimals: usize) -> Outcome {
        Outcome { decimals, ..self }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rules::gear::Policy;
    use crate::rules::worksheet;
    use serde_json::{Map, json};

    #[test]
    fn every_worksheet_has_a_form_with_no_field_that_it_does_not_know() {
        let names: Vec<&str> = FORMS.iter().map(|form| form.name).collect();
        assert_eq!(names, worksheet::list(), "one form a worksheet, in the register's order");
        for form in FORMS {
            for blank in form.blanks {
                let root = blank.path.split(['.', '[']).next().unwrap_or_default();
                assert!(worksheet::fields(form.name).contains(&root), "{}: {}", form.name, blank.path);
            }
        }
    }

    #[test]
    fn every_field_of_a_worksheet_can_be_filled_in_but_the_table_of_gear() {
        for form in FORMS {
            for field in worksheet::fields(form.name).iter().filter(|field| **field != "policy") {
                assert!(form.blanks.iter().any(|blank| blank.root() == *field), "{}: no blank for {field}", form.name);
            }
        }
    }

    #[test]
    fn every_example_is_answered_and_every_outcome_is_a_figure_of_some_answer() {
        let policy = Policy::default();
        for form in FORMS {
            let typed = form.example.iter().map(|(field, text)| ((*field).to_owned(), (*text).to_owned())).collect();
            let input = read(form, &typed, System::Metric, &Map::new()).expect(form.name);
            let answer = worksheet::run(form.name, &json!(input).to_string(), &policy).expect(form.name);
            for outcome in form.outcomes {
                let root = outcome.path.split(['.', '[']).next().unwrap_or_default();
                assert!(answer.get(root).is_some(), "{}: the example has no {root}: {answer}", form.name);
            }
        }
    }

    #[test]
    fn rows_left_empty_in_between_are_passed_over() {
        let form = form("pad-wear").expect("a form");
        let typed = [
            ("readings.0.at_min", "0"),
            ("readings.0.thickness_mm", "11,5"),
            ("readings.3.at_min", "60"),
            ("readings.3.thickness_mm", "9"),
        ];
        let typed = typed.map(|(field, text)| (field.to_owned(), text.to_owned())).into();
        let input = read(form, &typed, System::Metric, &Map::new()).expect("readings");
        assert_eq!(
            json!(input),
            json!({ "readings": [{ "at_min": 0, "thickness_mm": 11.5 }, { "at_min": 60, "thickness_mm": 9 }] })
        );
    }

    #[test]
    fn an_american_torque_reaches_the_worksheet_in_newton_metres() {
        let form = form("wheel-fastener").expect("a form");
        let typed = [("thread", "M12x1.5"), ("grade", "10.9"), ("torque_nm", "80")]
            .map(|(field, text)| (field.to_owned(), text.to_owned()));
        let input = read(form, &typed.into(), System::Us, &Map::new()).expect("readings");
        let torque = input["torque_nm"].as_f64().expect("a number");
        assert!((torque - 108.465).abs() < 1e-3, "80 lbf ft is 108.5 N m (NIST SP 811), not {torque}");
    }
}
