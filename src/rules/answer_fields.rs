//! The fields that an item has in a form: what else is sent under its name is none of it.

use super::answer::Typed;
use super::edition::{QUESTION, is_typed_for};
use super::sheet::{Item, Kind};
use super::work::{PREFIX, SYSTEM};
use super::worksheet_form::Blank;

/// Whether an item has a field of this name, as [`Typed`] has them.
///
/// # Example: a place where the item is not read is no field of it
/// ```
/// use witnessmark::acts::set_up::CLUB_DAY;
/// use witnessmark::rules::{answer_fields::has_field, sheet_file};
/// let sheet = sheet_file::read(CLUB_DAY).unwrap();
/// let pad = sheet.item("pad-front").unwrap();
/// assert!(has_field(pad, "lf") && has_field(pad, "unit") && has_field(pad, "note"));
/// assert!(!has_field(pad, "lr") && !has_field(pad, "junk-17"));
/// ```
pub fn has_field(item: &Item, name: &str) -> bool {
    if matches!(name, "note" | "photo" | QUESTION) {
        return true;
    }
    if let Some(reading) = name.strip_prefix(PREFIX) {
        let has = |blank: &Blank| blank.fields().iter().any(|field| field == reading);
        return item.work.as_ref().is_some_and(|work| name == SYSTEM || work.form.blanks.iter().any(has));
    }
    match (&item.kind, name) {
        (Kind::Measurement(_), "unit") | (Kind::Label(_), "date" | "date-is") => true,
        (Kind::Measurement(_) | Kind::TyreCode(_), place) => item.kind.per().place(place).is_some(),
        (Kind::Photo { .. }, _) => false,
        (_, name) => name.is_empty(),
    }
}

/// What was typed for an item, without fields that it does not have. What was typed for another question, on a page of another
/// edition, is left as it is: that edition may come back.
pub fn only_its_own(item: &Item, mut typed: Typed) -> Typed {
    if is_typed_for(item, &typed) {
        typed.retain(|name, _| has_field(item, name));
    }
    typed
}
