//! Worksheets as forms: which blanks a person fills in, in which units, and how the outcome is read. Pure data and one
//! reader, shared by the worksheet pages, the driver's form and the inspector's page.

mod forms;

use super::answer::read_number;
use super::units::Unit;
use serde_json::{Map, Value as Json, json};
use std::collections::BTreeMap;

pub use forms::{FORMS, form};

/// A worksheet as a form.
#[derive(Debug)]
pub struct Form {
    /// The worksheet's name in the register.
    pub name: &'static str,
    pub title: &'static str,
    /// What it answers, in one sentence.
    pub says: &'static str,
    /// What it does not say, and who decides: shown with every outcome.
    pub caution: &'static str,
    pub blanks: &'static [Blank],
    pub outcomes: &'static [Outcome],
}

/// One thing to fill in.
#[derive(Debug)]
pub struct Blank {
    /// The path in the worksheet's input: `cold_kpa`, `hoop.x_mm`, `dry_kpa[]`, `readings[].at_min`.
    pub path: &'static str,
    pub label: &'static str,
    /// Where it is read or what is taken without it; may be empty.
    pub help: &'static str,
    pub kind: BlankKind,
    pub optional: bool,
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
    /// The worksheet's own units, in which readings are kept.
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
    pub measure: Option<Measure>,
    /// Decimals where there is no measure.
    pub decimals: usize,
}

/// How many rows of a list a form shows.
pub const ROWS: usize = 8;

/// A field that cannot be read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct BlankTrouble {
    /// The field's name in the form: the path with `.0` for `[]`.
    pub field: String,
    pub message: String,
}

impl Blank {
    /// The names of the blank's fields in a form: one, or one a row.
    pub fn fields(&self) -> Vec<String> {
        if !self.path.contains("[]") {
            return vec![self.path.to_owned()];
        }
        (0..ROWS).map(|row| self.path.replace("[]", &format!(".{row}"))).collect()
    }

    fn read(&self, text: &str, system: System) -> Result<Json, String> {
        Ok(match self.kind {
            BlankKind::Number(measure) => {
                let number = read_number(text).ok_or("Type a number, such as 3.5.")?;
                // A whole number stays whole: some worksheets count cars.
                let wire = measure.map_or(number, |measure| measure.to_wire(number, system));
                if wire.fract() == 0.0 && wire.abs() < 1e15 { json!(wire as i64) } else { json!(wire) }
            }
            BlankKind::Flag(..) => json!(text == "yes"),
            BlankKind::Choice(choices) if !choices.iter().any(|(value, _)| *value == text) => {
                return Err("Choose one of the answers listed.".into());
            }
            BlankKind::Text | BlankKind::Date | BlankKind::Choice(_) => json!(text),
        })
    }
}

/// The form's field name for a path in the worksheet's input: `readings[1].at_min` is `readings.1.at_min`.
pub fn field_of(path: &str) -> String {
    path.replace('[', ".").replace(']', "")
}

/// Whether anything at all is filled in.
pub fn is_begun(form: &Form, typed: &BTreeMap<String, String>) -> bool {
    let filled = |field: &String| typed.get(field).is_some_and(|text| !text.trim().is_empty());
    let counts = |blank: &&Blank| !matches!(blank.kind, BlankKind::Flag(..));
    form.blanks.iter().filter(counts).flat_map(Blank::fields).any(|field| filled(&field))
}

/// Builds the worksheet's input from what was typed; `fixed` is put over it (the event's day, the sheet's limits).
///
/// # Errors
/// The first field that cannot be read. What is missing or impossible is the worksheet's to say.
pub fn read(
    form: &Form,
    typed: &BTreeMap<String, String>,
    system: System,
    fixed: &Map<String, Json>,
) -> Result<Map<String, Json>, BlankTrouble> {
    let mut input = Map::new();
    for blank in form.blanks {
        for field in blank.fields() {
            let text = typed.get(&field).map_or("", |text| text.trim());
            if text.is_empty() {
                continue;
            }
            let value = blank.read(text, system).map_err(|message| BlankTrouble { field: field.clone(), message })?;
            put(&mut input, &field, value);
        }
    }
    close_gaps(&mut input);
    for (name, value) in fixed {
        input.insert(name.clone(), value.clone());
    }
    Ok(input)
}

/// Puts a value at a path of names and row numbers. Rows are kept by number until all are in.
fn put(object: &mut Map<String, Json>, field: &str, value: Json) {
    match field.split_once('.') {
        None => drop(object.insert(field.to_owned(), value)),
        Some((name, rest)) => {
            let inner = object.entry(name.to_owned()).or_insert_with(|| Json::Object(Map::new()));
            if let Json::Object(inner) = inner {
                put(inner, rest, value);
            }
        }
    }
}

/// Turns objects whose keys are row numbers into lists, empty rows left out.
fn close_gaps(object: &mut Map<String, Json>) {
    for value in object.values_mut() {
        let Json::Object(inner) = value else { continue };
        close_gaps(inner);
        if !inner.is_empty() && inner.keys().all(|key| key.bytes().all(|byte| byte.is_ascii_digit())) {
            let mut rows: Vec<(usize, Json)> =
                std::mem::take(inner).into_iter().filter_map(|(key, row)| Some((key.parse().ok()?, row))).collect();
            rows.sort_by_key(|(row, _)| *row);
            *value = Json::Array(rows.into_iter().map(|(_, row)| row).collect());
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rules::worksheet;

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
