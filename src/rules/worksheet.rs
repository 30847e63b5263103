//! The register of worksheets: a name, its fields, and the function that answers.
//!
//! A worksheet turns raw readings into an answer with a verdict. Adding one is one line in [`WORKSHEETS`]; formula,
//! assumptions, ranges and source stand in the file of its subject.

use super::gear::{self, Policy};
use super::worksheet_input::{Fields, InputError};
use super::{fasteners, tyres};
use serde::Serialize;
use serde_json::Value as Json;

/// One worksheet.
struct Worksheet {
    name: &'static str,
    /// Every field that the input may have.
    fields: &'static [&'static str],
    answer: fn(&Fields, &Policy) -> Result<Json, InputError>,
}

/// Fits a worksheet that needs no table of gear.
macro_rules! plain {
    ($answer:path) => {
        |input, _| write($answer(input))
    };
}

const WORKSHEETS: &[Worksheet] = &[
    Worksheet { name: "tyre-date", fields: &["code", "on", "limit_years"], answer: plain!(tyres::tyre_date) },
    Worksheet {
        name: "wheel-fastener",
        fields: &["thread", "grade", "torque_nm", "asked_nm", "tolerance_percent", "turns", "dry"],
        answer: plain!(fasteners::wheel_fastener),
    },
    Worksheet {
        name: "gear-life",
        fields: &["kind", "label", "date", "date_is", "on", "policy"],
        answer: |input, policy| write(gear::gear_life(input, policy)),
    },
];

/// The names, in the order of the list.
pub fn list() -> Vec<&'static str> {
    WORKSHEETS.iter().map(|worksheet| worksheet.name).collect()
}

/// Runs a worksheet on one JSON object; `default_policy` is the gear table where the input brings none.
///
/// # Errors
/// [`InputError`] with the field that cannot be used; with the field `worksheet` for a name not in [`list`]. Any text
/// whatever is answered or refused, never a panic, and no figure of an answer is NaN or infinite.
///
/// # Example: one reading, one answer
/// ```
/// use witnessmark::rules::{gear::Policy, worksheet};
/// let answer = worksheet::run("tyre-date", r#"{"code": "1224", "on": "2026-11-25"}"#, &Policy::default()).unwrap();
/// assert_eq!(answer["made_from"], "2024-03-24");
/// let error = worksheet::run("tyre-date", r#"{"code": "0024", "on": "2026-11-25"}"#, &Policy::default()).unwrap_err();
/// assert_eq!(error.field, "code");
/// ```
pub fn run(name: &str, input: &str, default_policy: &Policy) -> Result<Json, InputError> {
    let found = WORKSHEETS.iter().find(|worksheet| worksheet.name == name);
    let worksheet = found
        .ok_or_else(|| InputError::at("worksheet", format!("There is no such worksheet; there are {}.", list().join(", "))))?;
    (worksheet.answer)(&Fields::read(input, worksheet.fields)?, default_policy)
}

fn write<T: Serialize>(answer: Result<T, InputError>) -> Result<Json, InputError> {
    // Maps with text keys and plain figures always serialise; should that ever change, it is an error and no panic.
    serde_json::to_value(answer?).map_err(|error| InputError::at("input", error.to_string()))
}
