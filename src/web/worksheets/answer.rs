//! Working out what was typed, and the outcome as a page shows it.

use super::drawing::{Drawing, Drawn, draw};
use crate::acts::set_up::CLUB_DAY;
use crate::rules::gear::Policy;
use crate::rules::sheet_file;
use crate::rules::words::Verdict;
use crate::rules::worksheet;
use crate::rules::worksheet_form::{
    BlankTrouble, Form, Outcome, Shown, System, close_up, converted, in_words, is_begun, read_all, tidy,
};
use jiff::civil::Date;
use serde_json::{Map, Value as Json};
use std::collections::BTreeMap;
use std::sync::LazyLock;

/// The table of labels that a new club starts with, read once.
pub(super) static POLICY: LazyLock<Policy> =
    LazyLock::new(|| sheet_file::read(CLUB_DAY).map(|sheet| sheet.gear).unwrap_or_default());

/// What became of what was typed.
pub(super) enum Worked {
    /// Nothing is filled in.
    Nothing,
    Unusable(Vec<BlankTrouble>),
    Done {
        input: Map<String, Json>,
        output: Map<String, Json>,
    },
}

impl Worked {
    /// The verdict's word, where there is one.
    pub fn verdict(&self) -> Option<&str> {
        match self {
            Worked::Done { output, .. } => output.get("verdict").and_then(Json::as_str),
            _ => None,
        }
    }
}

/// Runs a worksheet on what was typed.
pub(super) fn work_out(form: &'static Form, typed: &BTreeMap<String, String>, system: System) -> Worked {
    if !is_begun(form, typed) {
        return Worked::Nothing;
    }
    let missing = missing(form, typed);
    let input = match read_all(form, typed, system, &Map::new()) {
        Ok(input) if missing.is_empty() => input,
        Ok(_) => return Worked::Unusable(missing),
        Err(troubles) => return Worked::Unusable(troubles.into_iter().chain(missing).collect()),
    };
    match worksheet::run(form.name, &Json::Object(input.clone()).to_string(), &POLICY) {
        Ok(Json::Object(output)) => Worked::Done { input, output },
        Ok(_) => Worked::Nothing,
        Err(error) => Worked::Unusable(vec![in_words(form, &error, system)]),
    }
}

/// Fields that have to be filled in and are not: in a list, those of a row that was begun.
fn missing(form: &Form, typed: &BTreeMap<String, String>) -> Vec<BlankTrouble> {
    let is_empty = |field: &String| typed.get(field).is_none_or(|text| text.trim().is_empty());
    let mut troubles = Vec::new();
    for blank in form.blanks.iter().filter(|blank| !blank.optional) {
        for (row, field) in blank.fields().into_iter().enumerate() {
            let fellows = form.blanks.iter().filter(|other| other.root() == blank.root());
            let begun = || fellows.clone().filter_map(|other| other.fields().into_iter().nth(row)).any(|field| !is_empty(&field));
            if is_empty(&field) && (!blank.path.contains("[]") || begun()) {
                troubles.push(BlankTrouble { field, message: "Fill this in.".into() });
            }
        }
    }
    troubles
}

/// What was typed in the other system, with as many decimals as leave the verdict what it is.
pub(super) fn in_other_system(
    form: &'static Form,
    typed: &BTreeMap<String, String>,
    from: System,
    to: System,
    verdict: Option<&str>,
) -> BTreeMap<String, String> {
    let turned = |more: usize| converted(form, typed, from, to, more);
    let same = |typed: &BTreeMap<String, String>| work_out(form, &close_up(form, typed), to).verdict() == verdict;
    [0, 1, 2, 4, 8].into_iter().map(turned).find(same).unwrap_or_else(|| turned(12))
}

/// One figure with its unit.
pub(super) struct Figure {
    pub label: &'static str,
    pub number: String,
    pub unit: &'static str,
}

impl Figure {
    /// Whether it is read as a sentence and not as a figure.
    pub fn is_long(&self) -> bool {
        self.number.chars().count() > 14
    }
}

/// The outcome as the page shows it.
pub(super) struct AnswerView {
    /// ok, note, fix, stop.
    pub verdict: String,
    /// The verdict in a word for a person.
    pub word: &'static str,
    pub why: String,
    /// The figure that the reader came for.
    pub first: Option<Figure>,
    pub figures: Vec<Figure>,
    pub heads: Vec<&'static str>,
    pub rows: Vec<Vec<String>>,
    pub drawing: Option<Drawing>,
    /// Where the rule that was applied comes from, where the outcome itself says so.
    pub source: Option<String>,
    /// The sentence has metric figures and the reader another system.
    pub is_metric: bool,
}

/// The outcome for a reader.
pub(super) fn view(form: &'static Form, input: &Map<String, Json>, output: &Map<String, Json>, system: System) -> AnswerView {
    let text = |name: &str| output.get(name).and_then(Json::as_str).unwrap_or_default().to_owned();
    let verdict = text("verdict");
    let word = match Verdict::parse(&verdict) {
        Some(Verdict::Ok) => form.well,
        Some(Verdict::Note) => "Note",
        Some(Verdict::Fix) => "Fix",
        Some(Verdict::Stop) => "Stop",
        None => "No verdict",
    };
    let single = || form.outcomes.iter().filter(|outcome| !outcome.path.contains("[]"));
    let given = |outcome: &&Outcome| figure(outcome, output, system).is_some();
    let figures_only = |outcome: &&Outcome| {
        !matches!(outcome.shown, Shown::Text) || form.outcomes.first().is_some_and(|first| first.path == outcome.path)
    };
    let first = single().find(|outcome| form.headline && given(outcome) && figures_only(outcome));
    let rest = single().filter(|outcome| first.is_none_or(|first| first.path != outcome.path));
    let figures = rest.filter_map(|outcome| figure(outcome, output, system)).collect();
    let (heads, rows) = table(form, output, system);
    let drawing = draw(&Drawn { form, input, output, system });
    AnswerView {
        verdict,
        word,
        why: tidy(&text("why")),
        first: first.and_then(|outcome| figure(outcome, output, system)),
        figures,
        heads,
        rows,
        drawing,
        source: output.get("source").and_then(Json::as_str).map(str::to_owned),
        is_metric: system == System::Us && speaks_metric(&text("why")),
    }
}

/// Whether a sentence has a figure in a unit that a US reader does not use.
fn speaks_metric(sentence: &str) -> bool {
    let words = sentence.split([' ', ';', ',', '.', ':', '(', ')']);
    words.into_iter().any(|word| ["mm", "m", "kg", "km/h", "kPa", "\u{b0}C", "N\u{b7}m", "kN"].contains(&word))
}

fn figure(outcome: &Outcome, output: &Map<String, Json>, system: System) -> Option<Figure> {
    let (number, unit) = outcome.say(output.get(outcome.path)?, system)?;
    // A degree sign stands close.
    let (number, unit) = if unit == "\u{b0}" { (number + unit, "") } else { (as_read(outcome, number), unit) };
    Some(Figure { label: outcome.label, number, unit })
}

/// Days are kept as 2026-05-09 and read as 9 May 2026.
fn as_read(outcome: &Outcome, text: String) -> String {
    match (outcome.shown, text.parse::<Date>()) {
        (Shown::Text, Ok(day)) => day.strftime("%-d %B %Y").to_string(),
        _ => text,
    }
}

/// The outcome's list as a table: heads and rows.
fn table(form: &Form, output: &Map<String, Json>, system: System) -> (Vec<&'static str>, Vec<Vec<String>>) {
    let columns: Vec<(&Outcome, &str, &str)> = form
        .outcomes
        .iter()
        .filter_map(|outcome| outcome.path.split_once("[].").map(|(list, name)| (outcome, list, name)))
        .collect();
    let Some((_, list, _)) = columns.first() else { return Default::default() };
    let rows = output.get(*list).and_then(Json::as_array).map(Vec::as_slice).unwrap_or_default();
    let cell = |row: &Json, outcome: &Outcome, name: &str| match row.get(name).and_then(|value| outcome.say(value, system)) {
        Some((number, "")) => number,
        Some((number, unit)) => format!("{number} {unit}"),
        None => String::new(),
    };
    let rows = rows.iter().map(|row| columns.iter().map(|(outcome, _, name)| cell(row, outcome, name)).collect()).collect();
    (columns.iter().map(|(outcome, _, _)| outcome.label).collect(), rows)
}
