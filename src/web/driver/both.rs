//! An item that was typed here and on another device: both are shown, and the driver chooses.

use super::Mine;
use crate::acts::two_devices::{Marks, Met, mark};
use crate::rules::sheet::{Area, Item};
use crate::store::draft::Draft;
use crate::web::answer_words;
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
            here: answer_words::typed(item, &both.here),
            there: answer_words::typed(item, &both.there),
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
