//! The form of a worksheet as its page shows it: fields in parts, rows of a list, what is seldom needed folded away.

use super::answer::POLICY;
use crate::rules::worksheet_form::{Blank, BlankKind, BlankTrouble, Form, ROWS, System};
use std::collections::BTreeMap;

/// One field.
pub(super) struct FieldView {
    pub name: String,
    /// For `id` and `for`: the name without dots.
    pub id: String,
    pub label: &'static str,
    /// What a screen reader hears where the label stands at the head of a column: "Cylinder 2, lost".
    pub spoken: String,
    pub help: &'static str,
    pub unit: &'static str,
    pub value: String,
    pub trouble: Option<String>,
    /// number, text, date, choice, flag, colour.
    pub kind: &'static str,
    /// Whether the label says that it may be left empty.
    pub optional: bool,
    pub signed: bool,
    /// Value, name, whether it is chosen.
    pub choices: Vec<(&'static str, &'static str, bool)>,
    pub offers: Vec<String>,
}

impl FieldView {
    /// Whether its trouble needs the page's whole width to be read.
    pub fn is_wide(&self) -> bool {
        self.trouble.as_ref().is_some_and(|trouble| trouble.chars().count() > 20)
    }

    /// The ids of what is said about the field, as `aria-describedby` wants them; empty where nothing is.
    pub fn described_by(&self) -> String {
        let parts = [(!self.unit.is_empty(), "unit"), (!self.help.is_empty(), "help"), (self.trouble.is_some(), "trouble")];
        let ids: Vec<String> = parts.iter().filter(|(is, _)| *is).map(|(_, part)| format!("{}-{part}", self.id)).collect();
        ids.join(" ")
    }
}

/// A row of a list.
pub(super) struct RowView {
    /// "Cylinder 2".
    pub name: String,
    pub number: usize,
    pub fields: Vec<FieldView>,
}

/// Fields that stand together.
pub(super) struct PartView {
    /// What they belong to; empty for fields that stand alone.
    pub within: &'static str,
    pub fields: Vec<FieldView>,
    /// Where the part is a list, its columns and rows; the second lot is folded away.
    pub rows: Vec<RowView>,
    pub more_rows: Vec<RowView>,
    pub more_open: bool,
}

impl PartView {
    /// The fields of the first row: their labels stand over the columns.
    pub fn first_row(&self) -> &[FieldView] {
        self.rows.iter().chain(&self.more_rows).next().map_or(&[], |row| &row.fields)
    }

    /// How many columns a list has.
    pub fn columns(&self) -> usize {
        self.first_row().len()
    }
}

/// The whole form.
pub(super) struct FormView {
    pub parts: Vec<PartView>,
    pub folded: Vec<PartView>,
    pub folded_open: bool,
}

/// The form with what was typed and the troubles at their fields; `today` stands where a day is asked for and none typed.
pub(super) fn view(
    form: &'static Form,
    typed: &BTreeMap<String, String>,
    troubles: &[BlankTrouble],
    system: System,
    today: &str,
) -> FormView {
    let begun = typed.values().any(|text| !text.trim().is_empty());
    let field = |blank: &Blank, name: &str, spoken: String| FieldView {
        name: name.to_owned(),
        id: name.replace('.', "-"),
        label: blank.label,
        spoken,
        help: blank.help,
        unit: blank.unit(system),
        value: value(blank, typed.get(name), begun, today),
        trouble: troubles.iter().find(|trouble| trouble.field == name).map(|trouble| trouble.message.clone()),
        kind: kind(blank, typed.get(name)),
        // Where a help says what is taken without it, that is enough.
        optional: blank.optional
            && blank.within.is_empty()
            && !["left empty", "not chosen"].iter().any(|part| blank.help.contains(part)),
        signed: blank.signed,
        choices: choices(blank, typed.get(name)),
        offers: offers(form, blank),
    };
    let part = |blanks: &[&'static Blank]| {
        let is_list = blanks.iter().any(|blank| blank.path.contains("[]"));
        let mut rows = Vec::new();
        if let Some(named) = form.rows.filter(|_| is_list) {
            for at in 0..ROWS {
                let name = format!("{} {}", named.one, at + 1);
                let cell = |blank: &&'static Blank| {
                    let spoken = format!("{name}, {}", blank.label.to_lowercase());
                    blank.fields().get(at).map(|path| field(blank, path, spoken))
                };
                let fields = blanks.iter().filter_map(cell).collect();
                rows.push(RowView { name, number: at + 1, fields });
            }
        }
        let more_rows = rows.split_off(form.rows.map_or(0, |named| named.shown).min(rows.len()));
        let more_open = more_rows.iter().any(|row| is_used(&row.fields));
        let single = blanks.iter().filter(|_| !is_list).map(|blank| field(blank, blank.path, String::new()));
        let within = blanks.first().map_or("", |blank| blank.within);
        PartView { within, fields: single.collect(), rows, more_rows, more_open }
    };
    let parts = |folded: bool| -> Vec<PartView> {
        let blanks: Vec<&'static Blank> = form.blanks.iter().filter(|blank| blank.folded == folded).collect();
        let together = |a: &&Blank, b: &&Blank| a.within == b.within && a.path.contains("[]") == b.path.contains("[]");
        blanks.chunk_by(together).map(part).collect()
    };
    let (shown, folded) = (parts(false), parts(true));
    let folded_open = folded
        .iter()
        .any(|part| is_used(&part.fields) || part.rows.iter().chain(&part.more_rows).any(|row| is_used(&row.fields)));
    FormView { parts: shown, folded, folded_open }
}

fn is_used(fields: &[FieldView]) -> bool {
    fields.iter().any(|field| !field.value.is_empty() || field.trouble.is_some())
}

fn is_colour(text: &str) -> bool {
    text.strip_prefix('#').is_some_and(|figures| figures.len() == 6 && figures.bytes().all(|b| b.is_ascii_hexdigit()))
}

/// What stands in a field: what was typed; on a page where nothing is, today and the first colours.
fn value(blank: &Blank, typed: Option<&String>, begun: bool, today: &str) -> String {
    match (typed, blank.kind, blank.colour) {
        (Some(text), ..) => text.clone(),
        (None, BlankKind::Date, _) if !begun && blank.path == "on" => today.to_owned(),
        (None, _, Some(first)) if !begun => first.to_owned(),
        _ => String::new(),
    }
}

fn kind(blank: &Blank, typed: Option<&String>) -> &'static str {
    match blank.kind {
        BlankKind::Number(_) => "number",
        // A picker can only hold a colour: what is none is kept as it was typed.
        BlankKind::Text if blank.colour.is_some() && typed.is_none_or(|text| is_colour(text)) => "colour",
        BlankKind::Text => "text",
        // A picker can only hold a day.
        BlankKind::Date if typed.is_none_or(|text| text.is_empty() || text.parse::<jiff::civil::Date>().is_ok()) => "date",
        BlankKind::Date => "text",
        BlankKind::Choice(choices)
            if typed.is_none_or(|text| text.is_empty() || choices.iter().any(|(value, _)| value == text)) =>
        {
            "choice"
        }
        BlankKind::Choice(_) => "text",
        BlankKind::Flag(..) => "flag",
    }
}

fn choices(blank: &Blank, typed: Option<&String>) -> Vec<(&'static str, &'static str, bool)> {
    let chosen = |value: &str| typed.is_some_and(|text| text == value);
    match blank.kind {
        BlankKind::Choice(choices) => choices.iter().map(|(value, say)| (*value, *say, chosen(value))).collect(),
        // The first stands for what is taken where nothing is said.
        BlankKind::Flag(yes, no) => vec![("yes", yes, !chosen("no")), ("no", no, chosen("no"))],
        _ => Vec::new(),
    }
}

/// What is offered while typing; for the labels of safety gear, those of the table.
fn offers(form: &Form, blank: &Blank) -> Vec<String> {
    if form.name == "gear-life" && blank.path == "label" {
        let mut labels: Vec<String> =
            POLICY.rows().iter().filter(|row| row.refused.is_none()).map(|row| row.label.clone()).collect();
        labels.dedup();
        return labels;
    }
    blank.offers.iter().map(|offer| (*offer).to_owned()).collect()
}
