//! One item as a form shows it: its fields with what was typed, the trouble at each, and the verdict.

use super::Mine;
use crate::rules::answer::{Trouble, Typed, is_asked};
use crate::rules::judge::Finding;
use crate::rules::sheet::{Area, Item, Kind, Work};
use crate::rules::units::{Unit, Units};
use crate::rules::words::{Per, Severity};
use crate::rules::work::{PREFIX, SYSTEM, typed_of};
use crate::rules::worksheet_form::{self, Blank, BlankKind, System};
use crate::web::answer_words;
use crate::web::garage::Offered;
use crate::web::page::capital;

/// A text field of an item.
pub struct Field {
    /// The field's name in the form, `item.place`.
    pub name: String,
    /// What stands before it: "front left"; empty for the item's only field.
    pub label: String,
    pub value: String,
    pub trouble: Option<String>,
}

/// One of several answers to tap on.
pub struct Tap {
    pub value: String,
    pub say: String,
    pub chosen: bool,
}

/// An item with all that its part of the form shows.
pub struct ItemView<'a> {
    pub item: &'a Item,
    pub kind: &'static str,
    pub fields: Vec<Field>,
    pub taps: Vec<Tap>,
    pub units: Vec<Tap>,
    pub note: Field,
    pub trouble: Option<String>,
    pub verdict: VerdictView<'a>,
    /// Whether it is asked, given the answers so far. One that is not waits in the page for the answer that it hangs on: there
    /// may be no signal to fetch it with.
    pub asked: bool,
    pub photos: Vec<String>,
    pub photos_left: usize,
    pub date_is: Vec<Tap>,
    pub labels: Vec<String>,
    /// The worksheet from whose readings the answer can be worked out.
    pub work: Option<WorkView>,
    /// Readings may be below nought.
    pub signed: bool,
    /// Limits in short, so that a person knows before measuring.
    pub limits: String,
    /// The answer of last time, where the driver's garage has one.
    pub offer: Option<Offered>,
}

/// A worksheet's blanks beside the field that they give the answer to.
pub struct WorkView {
    pub title: &'static str,
    pub says: &'static str,
    pub caution: &'static str,
    pub blanks: Vec<BlankView>,
    pub units: Vec<Tap>,
    pub begun: bool,
}

/// One blank of a worksheet, with a field a row where it is a list.
pub struct BlankView {
    pub label: &'static str,
    pub help: &'static str,
    /// number, text, date, choice, flag.
    pub kind: &'static str,
    pub unit: &'static str,
    /// May be below nought: a phone's keypad for numbers has no minus on it.
    pub signed: bool,
    pub fields: Vec<Field>,
    /// The answers of a choice or flag, for the blank's only field.
    pub taps: Vec<Tap>,
}

impl ItemView<'_> {
    /// Whether the answers need a row each: more than a third or a half of a phone's width holds in two lines.
    pub fn is_tall(&self) -> bool {
        self.taps.iter().any(|tap| tap.say.chars().count() > 24)
    }
}

/// What the judge says of one item now.
pub struct VerdictView<'a> {
    /// ok, note, fix, stop; empty while there is nothing to say.
    pub class: &'static str,
    pub findings: Vec<&'a Finding>,
    pub missing: String,
}

/// The items of an area.
pub fn items_of<'a>(mine: &'a Mine, area: &'a Area, units: &Units) -> Vec<ItemView<'a>> {
    area.items.iter().map(|item| view(mine, item, units)).collect()
}

fn view<'a>(mine: &'a Mine, item: &'a Item, units: &Units) -> ItemView<'a> {
    static NOTHING: Typed = Typed::new();
    let id = item.id.as_str();
    let typed = mine.filled.draft.get(id).unwrap_or(&NOTHING);
    let troubles = mine.filled.troubles.get(id).map(Vec::as_slice).unwrap_or_default();
    let photos: Vec<String> = value(typed, "photo").split_whitespace().map(str::to_owned).collect();
    let sheet = &mine.known.edition.sheet;
    ItemView {
        kind: item.kind.word(),
        fields: fields(item, typed, troubles),
        taps: taps(item, value(typed, "")),
        units: units_of(item, typed, units),
        note: field(id, "note", "Note for the inspector".into(), typed, troubles),
        trouble: trouble_at(troubles, "").or_else(|| trouble_at(troubles, "unit")).or_else(|| trouble_at(troubles, "photo")),
        verdict: verdict(mine, item),
        asked: is_asked(sheet, item, &mine.filled.answers),
        photos_left: if let Kind::Photo { most } = item.kind { most.saturating_sub(photos.len()) } else { 0 },
        photos,
        date_is: date_is(item, value(typed, "date-is")),
        labels: labels(mine, item),
        work: item.work.as_ref().map(|work| work_view(id, work, typed, troubles, units)),
        signed: matches!(&item.kind, Kind::Measurement(rule) if rule.possible.0 < 0.0),
        limits: limits(item, units),
        offer: None,
        item,
    }
}

fn value<'t>(typed: &'t Typed, name: &str) -> &'t str {
    typed.get(name).map_or("", String::as_str)
}

fn trouble_at(troubles: &[Trouble], name: &str) -> Option<String> {
    troubles.iter().find(|trouble| trouble.field == name).map(|trouble| trouble.message.clone())
}

fn field(item: &str, suffix: &str, label: String, typed: &Typed, troubles: &[Trouble]) -> Field {
    let name = if suffix.is_empty() { item.to_owned() } else { format!("{item}.{suffix}") };
    Field { name, label, value: value(typed, suffix).to_owned(), trouble: trouble_at(troubles, suffix) }
}

fn fields(item: &Item, typed: &Typed, troubles: &[Trouble]) -> Vec<Field> {
    let id = item.id.as_str();
    match &item.kind {
        Kind::Measurement(_) | Kind::TyreCode(_) => {
            let mut places = item.kind.per().places();
            if item.kind.per() == Per::Cylinder {
                places.truncate(8);
            }
            places.into_iter().map(|place| field(id, &place.token(), capital(&place.name()), typed, troubles)).collect()
        }
        Kind::Date(_) | Kind::Text { .. } => vec![field(id, "", String::new(), typed, troubles)],
        Kind::Label(_) => vec![
            field(id, "", "What the label says".into(), typed, troubles),
            field(id, "date", "Date on the label, if it has one".into(), typed, troubles),
        ],
        Kind::YesNo(_) | Kind::Choice(_) | Kind::Photo { .. } => Vec::new(),
    }
}

fn taps(item: &Item, chosen: &str) -> Vec<Tap> {
    let tap = |(value, say): (&str, &str)| Tap { value: value.to_owned(), say: say.to_owned(), chosen: value == chosen };
    answer_words::taps(item).into_iter().map(tap).collect()
}

fn units_of(item: &Item, typed: &Typed, chosen: &Units) -> Vec<Tap> {
    let Kind::Measurement(rule) = &item.kind else { return Vec::new() };
    let siblings = rule.unit.choices(rule.possible.1);
    if siblings.len() < 2 {
        return Vec::new();
    }
    let now = Unit::parse(value(typed, "unit")).unwrap_or_else(|| chosen.for_unit(rule.unit, rule.possible.1));
    siblings.into_iter().map(|unit| Tap { value: unit.token().into(), say: unit.symbol().into(), chosen: unit == now }).collect()
}

fn date_is(item: &Item, chosen: &str) -> Vec<Tap> {
    if !matches!(item.kind, Kind::Label(_)) {
        return Vec::new();
    }
    let tap = |value: &str, say: &str| Tap {
        value: value.into(),
        say: say.into(),
        chosen: value == chosen || (chosen.is_empty() && value == "made"),
    };
    vec![tap("made", "The day it was made"), tap("valid-until", "The last day it is valid")]
}

fn work_view(id: &str, work: &Work, typed: &Typed, troubles: &[Trouble], units: &Units) -> WorkView {
    let chosen = if units.length == Unit::Millimetre { System::Metric } else { System::Us };
    let typed_in = match value(typed, SYSTEM) {
        "" => chosen,
        word => System::parse(word),
    };
    // Readings that come back from a submission are in the worksheet's units: shown in the reader's.
    let system = if typed_in == System::Wire { chosen } else { typed_in };
    let shown = |blank: &Blank, text: &str| match (blank.kind, text.parse::<f64>()) {
        (BlankKind::Number(Some(measure)), Ok(number)) if typed_in == System::Wire => {
            let shown = measure.to_shown(number, system);
            ((shown * 1e6).round() / 1e6).to_string()
        }
        _ => text.to_owned(),
    };
    let own = worksheet_form::close_up(work.form, &typed_of(typed));
    let blanks = work.form.blanks.iter().filter(|blank| {
        let root = blank.path.split(['.', '[']).next().unwrap_or_default();
        root != "on" && !work.fixed.contains_key(root)
    });
    WorkView {
        title: work.form.title,
        says: work.form.says,
        caution: work.form.caution,
        begun: worksheet_form::is_begun(work.form, &own),
        units: [System::Metric, System::Us]
            .map(|other| Tap {
                value: other.word().into(),
                say: if other == System::Us { "US" } else { "Metric" }.into(),
                chosen: other == system,
            })
            .into(),
        blanks: blanks
            .map(|blank| {
                let given = |field: &String| own.get(field).map(|text| shown(blank, text)).unwrap_or_default();
                let fields: Vec<Field> = blank
                    .fields()
                    .iter()
                    .map(|path| Field {
                        name: format!("{id}.{PREFIX}{path}"),
                        label: blank.label.into(),
                        value: given(path),
                        trouble: trouble_at(troubles, &format!("{PREFIX}{path}")),
                    })
                    .collect();
                let now = fields.first().map(|field| field.value.clone()).unwrap_or_default();
                let tap = |value: &str, say: &str| Tap { value: value.into(), say: say.into(), chosen: value == now };
                let (kind, taps) = match blank.kind {
                    BlankKind::Number(_) => ("number", Vec::new()),
                    BlankKind::Text => ("text", Vec::new()),
                    BlankKind::Date => ("date", Vec::new()),
                    BlankKind::Choice(choices) => ("choice", choices.iter().map(|(value, say)| tap(value, say)).collect()),
                    BlankKind::Flag(yes, no) => ("choice", vec![tap("yes", yes), tap("no", no)]),
                };
                let unit = match blank.kind {
                    BlankKind::Number(Some(measure)) => measure.shown(system).symbol(),
                    _ => "",
                };
                BlankView { label: blank.label, help: blank.help, kind, unit, signed: blank.signed, fields, taps }
            })
            .collect(),
    }
}

/// The labels the sheet knows, offered while typing.
fn labels(mine: &Mine, item: &Item) -> Vec<String> {
    let Kind::Label(rule) = &item.kind else { return Vec::new() };
    let rows = mine.known.edition.sheet.gear.rows().iter();
    rows.filter(|row| row.kind == rule.gear && row.refused.is_none()).map(|row| row.label.clone()).collect()
}

/// "at least 3.0 mm", of the limits that hold the car: the one that is met first.
fn limits(item: &Item, units: &Units) -> String {
    use crate::rules::sheet::Bound;
    let Kind::Measurement(rule) = &item.kind else { return String::new() };
    let shown = units.for_unit(rule.unit, rule.possible.1);
    let say = |number: f64| shown.say(rule.unit.convert(number, shown));
    let last = rule.limits.iter().rev().find(|limit| limit.severity.holds_the_car());
    match last.map(|limit| &limit.bound) {
        Some(Bound::AtLeast(number)) => format!("At least {}", say(*number)),
        Some(Bound::AtMost(number)) => format!("At most {}", say(*number)),
        Some(Bound::AtLeastItem(_)) => "At least the figure above".into(),
        Some(Bound::WithinPercent(percent, _)) => format!("Within {percent} % of what is asked"),
        None => String::new(),
    }
}

/// What the judge says of an item.
pub fn verdict<'a>(mine: &'a Mine, item: &'a Item) -> VerdictView<'a> {
    let judged = &mine.filled.judged;
    let findings: Vec<&Finding> = judged.findings.iter().filter(|finding| finding.item == item.id).collect();
    let answered = mine.filled.answers.contains_key(&item.id);
    let class = match findings.iter().map(|finding| finding.severity).max() {
        Some(Severity::Stop) => "stop",
        Some(Severity::Fix) => "fix",
        Some(Severity::Note) => "note",
        None if answered => "ok",
        None => "",
    };
    let places = judged.missing.iter().find(|(id, _)| *id == item.id && answered).map(|(_, places)| places);
    let missing = places.map(|places| places.iter().map(|place| place.name()).collect::<Vec<_>>().join(", ")).unwrap_or_default();
    VerdictView { class, findings, missing }
}
