//! Items with open findings on a car's page at the gate, and what an inspector gives to close them.

use crate::acts::closing::{Closing, closing_of};
use crate::acts::house::KnownEvent;
use crate::acts::sign_off::SignOff;
use crate::acts::state::EntryState;
use crate::rules::answer::Typed;
use crate::rules::judge::Finding;
use crate::rules::sheet::{Item, Kind};
use crate::rules::units::Units;
use crate::rules::words::{ItemId, Place};
use crate::web::error::Fault;
use crate::web::form::Form;
use std::collections::{BTreeMap, BTreeSet};

/// What an inspector typed and ticked to close findings.
#[derive(Clone, Debug, Default)]
pub(super) struct ClosingTyped {
    pub closes: BTreeSet<String>,
    pub readings: BTreeMap<String, Typed>,
    pub seen_as: BTreeMap<String, String>,
}

impl ClosingTyped {
    /// Reads the fields `closes-ITEM`, `reading-ITEM.PLACE` and `seen-ITEM`.
    pub fn of(form: &Form) -> ClosingTyped {
        let seen_as = form.under("seen-").into_iter().filter_map(|(item, mut fields)| Some((item, fields.remove("")?)));
        ClosingTyped { closes: form.ticked("closes-"), readings: form.under("reading-"), seen_as: seen_as.collect() }
    }
}

/// The sign-off that a form describes.
///
/// # Errors
/// A hidden field that did not arrive whole.
pub(super) fn sign_off_of(form: &Form, clear: bool, typed: &ClosingTyped) -> Result<SignOff, Fault> {
    Ok(SignOff {
        id: form.id("id")?,
        maker_link: if form.text("maker_link").is_empty() { None } else { Some(form.id("maker_link")?) },
        clear,
        // A page of before an update has none: its clear is brought back to be looked at again.
        edition: form.text("edition").parse().ok(),
        seen: form.ids("seen")?,
        // What was made without signal says when; a text that is no time is as good as none.
        made_at: form.text("made_at").parse().ok(),
        reason: form.text("reason").to_owned(),
        closes: typed.closes.clone(),
        readings: typed.readings.clone(),
        seen_as: typed.seen_as.clone(),
        by_hand: form.ticked("by-hand-"),
        photos: form.ids("photos")?.into_iter().collect(),
    })
}

/// A field for one reading.
pub(super) struct ReadingField {
    /// `reading-pad-front.lf`.
    pub name: String,
    pub label: String,
    pub text: String,
}

/// An item with open findings.
pub(super) struct OpenItem<'a> {
    pub id: ItemId,
    pub findings: Vec<&'a Finding>,
    /// Where the inspector measures: empty where a tick or a sentence closes it.
    pub fields: Vec<ReadingField>,
    /// The unit of the readings with its token, where they have one.
    pub unit: Option<(&'static str, &'static str)>,
    pub asks_sentence: bool,
    pub sentence: String,
    pub is_ticked: bool,
}

impl OpenItem<'_> {
    /// The gravest of its findings, for the mark beside it.
    pub fn severity(&self) -> &'static str {
        self.findings.iter().map(|finding| finding.severity).max().map_or("", |severity| severity.word())
    }

    /// Where the units of the readings go along with them.
    pub fn unit_name(&self) -> String {
        format!("reading-{}.unit", self.id)
    }
}

/// The items with open findings, the gravest first.
pub(super) fn open_items<'a>(
    known: &KnownEvent,
    state: &'a EntryState,
    typed: &ClosingTyped,
    units: &Units,
) -> Vec<OpenItem<'a>> {
    let mut items: Vec<OpenItem<'a>> = Vec::new();
    for finding in state.open_findings() {
        match items.iter_mut().find(|item| item.id == finding.item) {
            Some(item) => item.findings.push(finding),
            None => items.push(begun(finding, typed)),
        }
    }
    for open in &mut items {
        let item = known.edition.sheet.item(open.id.as_str());
        match (closing_of(known, &open.id, &open.findings), item) {
            (Closing::ByReading(places), Some(item)) => measure(open, item, &places, typed, units),
            (Closing::ByTick, _) => {}
            _ => open.asks_sentence = true,
        }
    }
    items
}

fn begun<'a>(finding: &'a Finding, typed: &ClosingTyped) -> OpenItem<'a> {
    OpenItem {
        id: finding.item.clone(),
        findings: vec![finding],
        fields: Vec::new(),
        unit: None,
        asks_sentence: false,
        sentence: typed.seen_as.get(finding.item.as_str()).cloned().unwrap_or_default(),
        is_ticked: typed.closes.contains(finding.item.as_str()),
    }
}

/// Gives an item the fields for the inspector's own readings.
fn measure(open: &mut OpenItem<'_>, item: &Item, places: &[Place], typed: &ClosingTyped, units: &Units) {
    let text = |token: &str| {
        let fields = typed.readings.get(item.id.as_str());
        fields.and_then(|fields| fields.get(token)).cloned().unwrap_or_default()
    };
    open.asks_sentence = true;
    if let Kind::Measurement(rule) = &item.kind {
        let unit = units.for_unit(rule.unit, rule.possible.1);
        open.unit = Some((unit.symbol(), unit.token()));
    }
    open.fields = places
        .iter()
        .map(|place| {
            let token = place.token();
            let name = if token.is_empty() { format!("reading-{}", item.id) } else { format!("reading-{}.{token}", item.id) };
            let label = if token.is_empty() { item.name.clone() } else { crate::rules::words::capital(&place.name()) };
            ReadingField { name, label, text: text(&token) }
        })
        .collect();
}
