//! Reading a filled-in form: what was typed becomes the worksheet's input, and its refusals become words at a field.

use super::convert::tidy;
use super::{Blank, BlankKind, Form, Measure, ROWS, System};
use crate::rules::answer::read_in;
use crate::rules::worksheet_input::InputError;
use serde_json::{Map, Value as Json, json};
use std::collections::{BTreeMap, BTreeSet};

/// A field that cannot be read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct BlankTrouble {
    /// The field's name in the form: the path with `.0` for `[]`.
    pub field: String,
    pub message: String,
}

impl Blank {
    fn read(&self, text: &str, system: System) -> Result<Json, String> {
        Ok(match self.kind {
            BlankKind::Number(measure) => {
                let number = read_in(measure.map(|measure| measure.shown(system)), text).ok_or("Type a number, such as 3.5.")?;
                // A whole number stays whole: some worksheets count cars.
                let wire = measure.map_or(number, |measure| measure.to_wire(number, system));
                if wire.fract() == 0.0 && wire.abs() < 1e15 { json!(wire as i64) } else { json!(wire) }
            }
            BlankKind::Flag(..) if text == "yes" => json!(true),
            BlankKind::Flag(..) if text == "no" => json!(false),
            BlankKind::Choice(choices) if choices.iter().any(|(value, _)| *value == text) => json!(text),
            BlankKind::Flag(..) | BlankKind::Choice(_) => return Err("Choose one of the answers listed.".into()),
            BlankKind::Text | BlankKind::Date => json!(text),
        })
    }
}

/// The form's field name for a path in the worksheet's input: `readings[1].at_min` is `readings.1.at_min`.
pub fn field_of(path: &str) -> String {
    path.replace('[', ".").replace(']', "")
}

fn filled<'t>(typed: &'t BTreeMap<String, String>, field: &str) -> Option<&'t str> {
    typed.get(field).map(|text| text.trim()).filter(|text| !text.is_empty())
}

/// Whether anything at all is filled in.
pub fn is_begun(form: &Form, typed: &BTreeMap<String, String>) -> bool {
    let counts = |blank: &&Blank| !matches!(blank.kind, BlankKind::Flag(..));
    form.blanks.iter().filter(counts).flat_map(Blank::fields).any(|field| filled(typed, &field).is_some())
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
    read_all(form, typed, system, fixed).map_err(|mut troubles| troubles.swap_remove(0))
}

/// As [`read`], with every field that cannot be read.
///
/// # Errors
/// At least one trouble, in the order of the form.
pub fn read_all(
    form: &Form,
    typed: &BTreeMap<String, String>,
    system: System,
    fixed: &Map<String, Json>,
) -> Result<Map<String, Json>, Vec<BlankTrouble>> {
    let mut input = Map::new();
    let mut troubles = Vec::new();
    for blank in form.blanks {
        for field in blank.fields() {
            let Some(text) = filled(typed, &field) else { continue };
            match blank.read(text, system) {
                Ok(value) => put(&mut input, &field, value),
                Err(message) => troubles.push(BlankTrouble { field, message }),
            }
        }
    }
    troubles.extend(gaps(form, typed));
    if !troubles.is_empty() {
        return Err(troubles);
    }
    close_gaps(&mut input);
    for (name, value) in fixed {
        input.insert(name.clone(), value.clone());
    }
    Ok(input)
}

/// The rows of a list in which anything is filled in.
fn rows(form: &Form, root: &str, typed: &BTreeMap<String, String>) -> BTreeSet<usize> {
    let blanks = form.blanks.iter().filter(|blank| blank.root() == root);
    let fields = blanks.flat_map(|blank| blank.fields().into_iter().enumerate());
    fields.filter(|(_, field)| filled(typed, field).is_some()).map(|(row, _)| row).collect()
}

fn lists(form: &Form) -> BTreeSet<&'static str> {
    form.blanks.iter().filter(|blank| blank.path.contains("[]")).map(Blank::root).collect()
}

/// Rows left empty in a list whose rows are counted: without them cylinder 3 would be taken for cylinder 2.
fn gaps(form: &Form, typed: &BTreeMap<String, String>) -> Vec<BlankTrouble> {
    let Some(named) = form.rows.filter(|rows| rows.numbered) else { return Vec::new() };
    let mut troubles = Vec::new();
    for root in lists(form) {
        let rows = rows(form, root, typed);
        let last = rows.last().copied().unwrap_or(0);
        let Some(blank) = form.blanks.iter().find(|blank| blank.root() == root) else { continue };
        if let Some((row, field)) = blank.fields().into_iter().enumerate().find(|(row, _)| *row < last && !rows.contains(row)) {
            let message =
                format!("{} {} is left out. Fill in every one from 1 on, so that the numbers hold.", named.one, row + 1);
            troubles.push(BlankTrouble { field, message });
        }
    }
    troubles
}

/// What was typed with the rows of a list moved up over empty ones, where their place says nothing: the number that an error
/// or an answer gives to a row is then the one on the page.
pub fn close_up(form: &Form, typed: &BTreeMap<String, String>) -> BTreeMap<String, String> {
    let mut closed = typed.clone();
    if form.rows.is_none_or(|rows| rows.numbered) {
        return closed;
    }
    for root in lists(form) {
        let rows = rows(form, root, typed);
        for blank in form.blanks.iter().filter(|blank| blank.root() == root) {
            let fields = blank.fields();
            let texts: Vec<String> =
                rows.iter().filter_map(|row| fields.get(*row)).map(|from| typed.get(from).cloned().unwrap_or_default()).collect();
            for (at, field) in fields.into_iter().enumerate().take(ROWS) {
                match texts.get(at).filter(|text| !text.is_empty()) {
                    Some(text) => drop(closed.insert(field, text.clone())),
                    None => drop(closed.remove(&field)),
                }
            }
        }
    }
    closed
}

/// A worksheet's refusal as the form shows it: at a field that is there, in the form's own words and the reader's units.
///
/// # Example: nobody who typed bar is told of kPa
/// ```
/// use witnessmark::rules::worksheet_form::{System, form, in_words};
/// use witnessmark::rules::{gear::Policy, worksheet};
/// let form = form("tyre-pressure").unwrap();
/// let input = r#"{"cold_c": 20, "cold_kpa": 9000, "hot_kpa": 250, "target_hot_kpa": 240}"#;
/// let error = worksheet::run("tyre-pressure", input, &Policy::default()).unwrap_err();
/// let trouble = in_words(form, &error, System::Metric);
/// assert_eq!((trouble.field.as_str(), trouble.message.as_str()), ("cold_kpa", "This lies between 0 and 15 bar."));
/// ```
pub fn in_words(form: &Form, error: &InputError, system: System) -> BlankTrouble {
    let wanted = field_of(&error.field);
    let has = |blank: &&Blank| blank.fields().contains(&wanted);
    let blank = form.blanks.iter().find(has);
    // A whole list or point that is missing is said at its first field.
    let part = || form.blanks.iter().find(|blank| blank.root() == wanted.split('.').next().unwrap_or_default());
    let first = blank.or_else(part).or(form.blanks.first());
    let field = match (blank, first) {
        (None, Some(first)) => first.fields().swap_remove(0),
        _ => wanted,
    };
    let measure = match first.map(|blank| blank.kind) {
        Some(BlankKind::Number(measure)) => measure,
        _ => None,
    };
    let unit = first.map_or("", |blank| blank.unit(system));
    BlankTrouble { field, message: reworded(form, &error.message, measure, unit, system) }
}

fn reworded(form: &Form, message: &str, measure: Option<Measure>, unit: &str, system: System) -> String {
    if message.ends_with("is missing.") {
        return "Fill this in.".into();
    }
    if message.ends_with("is a whole number.") {
        return "A whole number is wanted here.".into();
    }
    if let Some((low, high)) = range(message) {
        let shown = |wire: f64| {
            let shown = measure.map_or(wire, |measure| measure.to_shown(wire, system));
            // The bounds are round figures in one system only.
            format!("{:.2}", shown).trim_end_matches('0').trim_end_matches('.').to_owned()
        };
        return format!("This lies between {} and {} {unit}", shown(low), shown(high)).trim_end().to_owned() + ".";
    }
    // Names of fields in quotes are for files; on a page a field goes by its label.
    let named =
        |name: &str| form.blanks.iter().find(|blank| blank.path == name).map(|blank| format!("\u{201c}{}\u{201d}", blank.label));
    let mut said = String::new();
    for (nth, part) in message.split('"').enumerate() {
        match named(part).filter(|_| nth % 2 == 1) {
            Some(label) => said += &label,
            None if nth % 2 == 1 => said += &format!("\u{201c}{part}\u{201d}"),
            None => said += part,
        }
    }
    tidy(&said)
}

/// The bounds in "9000 cannot be: "cold_kpa" lies between 0 and 1500."
fn range(message: &str) -> Option<(f64, f64)> {
    let (_, bounds) = message.strip_suffix('.')?.split_once("lies between ")?;
    let (low, high) = bounds.split_once(" and ")?;
    Some((low.parse().ok()?, high.parse().ok()?))
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
    use super::super::{FORMS, form};
    use super::*;
    use crate::rules::gear::Policy;
    use crate::rules::worksheet;

    fn typed(fields: &[(&str, &str)]) -> BTreeMap<String, String> {
        fields.iter().map(|(field, text)| ((*field).to_owned(), (*text).to_owned())).collect()
    }

    #[test]
    fn a_cylinder_left_out_is_not_passed_over_or_the_next_would_take_its_number() {
        let engine = form("leak-down").expect("a form");
        let gap = typed(&[("cylinders.0.percent", "5"), ("cylinders.2.percent", "30")]);
        let trouble = read(engine, &gap, System::Metric, &Map::new()).expect_err("cylinder 2 is empty");
        assert_eq!(trouble.field, "cylinders.1.percent");
        let wet = typed(&[("dry_kpa.0", "10"), ("dry_kpa.1", "10"), ("wet_kpa.1", "11")]);
        let trouble = read(form("compression").expect("a form"), &wet, System::Metric, &Map::new()).expect_err("a gap");
        assert_eq!(trouble.field, "wet_kpa.0");
    }

    #[test]
    fn readings_are_moved_up_so_that_an_error_names_the_row_on_the_page() {
        let pads = form("pad-wear").expect("a form");
        let gap = typed(&[("readings.1.at_min", "0"), ("readings.1.thickness_mm", "9"), ("readings.4.at_min", "60")]);
        let closed = close_up(pads, &gap);
        let expected = typed(&[("readings.0.at_min", "0"), ("readings.0.thickness_mm", "9"), ("readings.1.at_min", "60")]);
        assert_eq!(closed, expected);
    }

    #[test]
    fn thirty_seconds_are_read_only_where_they_are_asked_for() {
        let pads = form("pad-wear").expect("a form");
        let fields = typed(&[("readings.0.thickness_mm", "8/32")]);
        let us = read(pads, &fields, System::Us, &Map::new()).expect("a reading");
        assert_eq!(us["readings"][0]["thickness_mm"], json!(6.35), "8/32 in is 6.35 mm (an inch is 25.4 mm)");
        assert!(read(pads, &fields, System::Metric, &Map::new()).is_err(), "nobody measures 8/32 mm");
    }

    /// Whatever number is typed into whatever field, no name of a field in a file and no unit of a file reaches the page.
    #[test]
    fn a_refusal_speaks_of_no_field_by_the_name_that_it_has_in_a_file() {
        for form in FORMS {
            for system in [System::Metric, System::Us] {
                for number in ["-999999", "99999999", "0.5", "0"] {
                    for blank in form.blanks.iter().filter(|blank| matches!(blank.kind, BlankKind::Number(_))) {
                        let mut fields: BTreeMap<String, String> = typed(form.example);
                        fields.insert(blank.fields().swap_remove(0), number.to_owned());
                        let input = read(form, &fields, system, &Map::new()).expect("numbers can be read");
                        let answer = worksheet::run(form.name, &json!(input).to_string(), &Policy::default());
                        let Err(error) = answer else { continue };
                        let trouble = in_words(form, &error, system);
                        assert!(!trouble.message.contains(['"', '_']), "{}: {}", form.name, trouble.message);
                        let known = form.blanks.iter().any(|blank| blank.fields().contains(&trouble.field));
                        assert!(known, "{}: no field {}", form.name, trouble.field);
                    }
                }
            }
        }
    }
}
