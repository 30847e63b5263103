//! An item that was typed here and on another device: both are shown, and the driver chooses.

use super::Mine;
use crate::acts::two_devices::{Marks, Met, mark};
use crate::rules::answer::Typed;
use crate::rules::sheet::{Area, Item, Kind};
use crate::store::draft::Draft;
use crate::web::draw::Plate;
use crate::web::error::Fault;
use crate::web::form::Form;
use askama::Template;
use axum::response::Html;

/// The choice of an item: `_choose.pad-front`. No item is called so.
const CHOOSE: &str = "_choose.";

#[derive(Template)]
#[template(path = "driver/both.html")]
struct BothPage<'a> {
    mine: &'a Mine,
    area: &'a Area,
    items: Vec<BothView<'a>>,
    was: String,
}

struct BothView<'a> {
    item: &'a Item,
    here: String,
    there: String,
    /// What stands on the other device, as it was when this page was made: whoever chooses against it has seen that and no other.
    seen: String,
    /// What was typed here, to be sent along.
    fields: Vec<(String, String)>,
}

pub(super) fn page(mine: &Mine, area: &Area, met: &Met, was: &Marks) -> Result<Html<String>, Fault> {
    let items = met.both.iter().filter_map(|both| {
        let item = mine.known.edition.sheet.item(&both.item)?;
        let name = |suffix: &str| if suffix.is_empty() { both.item.clone() } else { format!("{}.{suffix}", both.item) };
        Some(BothView {
            item,
            here: said(item, &both.here),
            there: said(item, &both.there),
            seen: mark(&both.there),
            fields: both.here.iter().map(|(suffix, text)| (name(suffix), text.clone())).collect(),
        })
    });
    let was = Marks(was.0.iter().filter(|(item, _)| met.both.iter().any(|both| both.item == **item)).map(own).collect());
    Ok(Html(BothPage { items: items.collect(), was: was.to_string(), mine, area }.render()?))
}

fn own((item, mark): (&String, &String)) -> (String, String) {
    (item.clone(), mark.clone())
}

/// What the driver chose, put to what the page sends: "there" sends nothing, "here" has seen what stands there. An item without a
/// choice is asked again.
pub(super) fn choose(form: &Form, typed: &mut Draft, was: &mut Marks) {
    for (name, choice) in form.pairs() {
        let Some(item) = name.strip_prefix(CHOOSE) else { continue };
        match choice.strip_prefix("here=") {
            Some(seen) => drop(was.0.insert(item.to_owned(), seen.to_owned())),
            None => drop(typed.remove(item)),
        }
    }
}

/// An answer in words, as it was typed.
fn said(item: &Item, typed: &Typed) -> String {
    let mut parts: Vec<String> = Vec::new();
    let place = |suffix: &str| {
        let places = item.kind.per().places();
        places.iter().find(|place| place.token() == suffix).map(|place| place.name())
    };
    let unit = typed.get("unit").map_or("", String::as_str);
    for (suffix, text) in typed.iter().filter(|(_, text)| !text.is_empty()) {
        match suffix.as_str() {
            "" => parts.push(format!("{} {}", tap(item, text), if text.parse::<f64>().is_ok() { unit } else { "" })),
            "unit" | "photo" | "date-is" | "w.units" => {}
            "note" => parts.push(format!("note: {text}")),
            "date" => parts.push(format!("date {text}")),
            other => match place(other) {
                Some(place) => parts.push(format!("{place} {text} {unit}")),
                None => parts.push(format!("reading {}: {text}", other.trim_start_matches("w."))),
            },
        }
    }
    if parts.is_empty() {
        return "nothing".into();
    }
    parts.iter().map(|part| part.trim()).collect::<Vec<_>>().join(", ")
}

/// The words of a tapped answer.
fn tap(item: &Item, text: &str) -> String {
    match &item.kind {
        Kind::YesNo(_) => match text {
            "yes" => "Yes".into(),
            "no" => "No".into(),
            _ => "Not on this car".into(),
        },
        Kind::Choice(choices) => {
            choices.iter().find(|choice| choice.id.as_str() == text).map_or_else(|| text.to_owned(), |choice| choice.say.clone())
        }
        _ => text.to_owned(),
    }
}
