//! Reads the reference tables and sees to it that no row is passed over in silence.

use serde_json::Value as Json;
use std::collections::BTreeMap;
use std::path::PathBuf;
use witnessmark::rules::gear::Policy;
use witnessmark::rules::worksheet;

/// One row of a table, by the names of its columns.
pub struct Row {
    cells: BTreeMap<String, String>,
    /// Where the row stands and what it says, for a failing assertion.
    pub at: String,
}

impl Row {
    pub fn text(&self, column: &str) -> &str {
        self.cells.get(column).unwrap_or_else(|| panic!("no column {column} at {}", self.at))
    }

    pub fn number(&self, column: &str) -> f64 {
        self.text(column).parse().unwrap_or_else(|_| panic!("no number in {column} at {}", self.at))
    }

    pub fn number_if(&self, column: &str) -> Option<f64> {
        (!self.text(column).is_empty()).then(|| self.number(column))
    }
}

/// What a test did with a row.
pub enum Done {
    Checked,
    /// The row says something that no worksheet answers, for this reason.
    NotHere(&'static str),
}

pub fn folder() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/data/reference")
}

pub fn rows(file: &str) -> Vec<Row> {
    let mut reader = csv::Reader::from_path(folder().join(file)).unwrap();
    let headers = reader.headers().unwrap().clone();
    let row = |(number, record): (usize, csv::StringRecord)| {
        let cells: BTreeMap<String, String> =
            headers.iter().zip(&record).map(|(name, cell)| (name.to_owned(), cell.to_owned())).collect();
        let source = cells.get("source").cloned().unwrap_or_default();
        let head = record.iter().take(3).collect::<Vec<_>>().join(", ");
        Row { cells, at: format!("{file} row {} [{head}], source: {source}", number + 1) }
    };
    reader.records().map(Result::unwrap).enumerate().map(row).collect()
}

/// Runs every row. `not_here` says how many rows are left to whom and why: a row neither checked nor named there fails.
pub fn every_row(file: &str, mut check: impl FnMut(&Row) -> Done, not_here: &[(&str, usize)]) {
    let mut left: BTreeMap<&str, usize> = BTreeMap::new();
    let mut checked = 0;
    for row in rows(file) {
        match check(&row) {
            Done::Checked => checked += 1,
            Done::NotHere(reason) => *left.entry(reason).or_default() += 1,
        }
    }
    assert!(checked > 0, "{file}: no row was checked");
    let named: BTreeMap<&str, usize> = not_here.iter().copied().collect();
    assert_eq!(left, named, "{file}: rows that no worksheet answers, by reason (left: found, right: named in the test)");
}

/// Runs a worksheet on values.
pub fn run(name: &str, input: Json) -> Result<Json, (String, String)> {
    worksheet::run(name, &input.to_string(), &Policy::default()).map_err(|error| (error.field, error.message))
}

/// Runs a worksheet that must answer.
pub fn answer(name: &str, input: Json, at: &str) -> Json {
    run(name, input.clone()).unwrap_or_else(|error| panic!("{name} refused {input}: {error:?}; {at}"))
}

/// A figure of an answer.
pub fn figure(answer: &Json, field: &str) -> f64 {
    answer[field].as_f64().unwrap_or_else(|| panic!("no figure {field} in {answer}"))
}

#[track_caller]
pub fn assert_near(found: f64, wanted: f64, within: f64, at: &str) {
    assert!((found - wanted).abs() <= within, "found {found}, wanted {wanted} within {within}; {at}");
}
