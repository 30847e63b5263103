//! Answers in words: the only place where a page turns one into text.
//!
//! A bare "yes" belongs to the question and can say the opposite beside the item's name, so no function here gives one.

use super::page::count;
use crate::rules::answer::{Answer, Typed, Value};
use crate::rules::edition::QUESTION;
use crate::rules::sheet::{Item, Kind, NOT_APPLICABLE};
use crate::rules::words::Place;
use crate::rules::work::PREFIX;
use crate::rules::worksheet_form::BlankKind;

/// What stands for an answer that the sheet's question cannot have.
const UNREADABLE: &str = "cannot be read: the question was changed since";

/// The answers of a yes/no item or a choice: what a form sends, and the words on its button. Empty for other kinds.
pub fn taps(item: &Item) -> Vec<(&str, &str)> {
    match &item.kind {
        Kind::YesNo(rule) => {
            let mut taps = vec![("yes", rule.means(true)), ("no", rule.means(false))];
            if rule.not_applicable {
                taps.push(("n/a", NOT_APPLICABLE));
            }
            taps
        }
        Kind::Choice(choices) => choices.iter().map(|choice| (choice.id.as_str(), choice.say.as_str())).collect(),
        _ => Vec::new(),
    }
}

fn tapped<'i>(item: &'i Item, value: &str) -> Option<&'i str> {
    taps(item).into_iter().find(|(sent, _)| *sent == value).map(|(_, words)| words)
}

/// An answer in words, figures with their unit as they were given.
pub fn said(item: &Item, answer: &Answer) -> String {
    let at = |place: &Place, text: &str| format!("{} {text}", place.name()).trim().to_owned();
    match &answer.value {
        Value::Yes => tapped(item, "yes").unwrap_or(UNREADABLE).into(),
        Value::No => tapped(item, "no").unwrap_or(UNREADABLE).into(),
        Value::NotApplicable => NOT_APPLICABLE.into(),
        Value::Choice(id) => tapped(item, id.as_str()).unwrap_or(id.as_str()).into(),
        Value::Measured { unit, at: places } => {
            places.iter().map(|(place, number)| at(place, &unit.say(*number))).collect::<Vec<_>>().join(", ")
        }
        Value::Date(date) => date.strftime("%-d %B %Y").to_string(),
        Value::Label { label, date, valid_until } => match date {
            Some(date) => format!("{label}, {} {date}", if *valid_until { "valid until" } else { "made" }),
            None => label.clone(),
        },
        Value::TyreCodes(codes) => codes.iter().map(|(place, code)| at(place, code)).collect::<Vec<_>>().join(", "),
        Value::Text(text) => text.clone(),
        Value::Photos => format!("{} attached", count(answer.photos.len(), "photo", "photos")),
    }
}

/// What was typed for an item in words, to the last figure: two ways of typing it must not look alike.
pub fn typed(item: &Item, typed: &Typed) -> String {
    let places = item.kind.per().places();
    let unit = typed.get("unit").map_or("", String::as_str);
    let part = |(name, text): (&String, &String)| match name.as_str() {
        "" if text.parse::<f64>().is_ok() => Some(format!("{text} {unit}")),
        "" => Some(tapped(item, text).unwrap_or(text).to_owned()),
        "unit" | "photo" | "date-is" | "w.units" | QUESTION => None,
        "note" => Some(format!("note: {text}")),
        "date" => Some(format!("date {text}")),
        other => match places.iter().find(|place| place.token() == other) {
            Some(place) => Some(format!("{} {text} {unit}", place.name())),
            None => Some(reading(item, other.trim_start_matches(PREFIX), text)),
        },
    };
    let parts: Vec<String> = typed.iter().filter(|(_, text)| !text.is_empty()).filter_map(part).collect();
    if parts.is_empty() {
        return "nothing".into();
    }
    parts.iter().map(|part| part.trim()).collect::<Vec<_>>().join(", ")
}

/// A reading of the item's worksheet: "axle load: 1300".
fn reading(item: &Item, path: &str, text: &str) -> String {
    let blanks = item.work.as_ref().map_or(&[][..], |work| work.form.blanks);
    let Some(blank) = blanks.iter().find(|blank| blank.fields().iter().any(|field| field == path)) else {
        return format!("reading {path}: {text}");
    };
    let words = match blank.kind {
        BlankKind::Flag(yes, no) => {
            if text == "yes" {
                yes
            } else {
                no
            }
        }
        BlankKind::Choice(choices) => choices.iter().find(|(value, _)| *value == text).map_or(text, |(_, say)| say),
        _ => text,
    };
    format!("{}: {words}", blank.label.to_lowercase())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::acts::set_up::CLUB_DAY;
    use crate::rules::sheet::Sheet;
    use crate::rules::sheet_file;

    fn sheet() -> Sheet {
        sheet_file::read(CLUB_DAY).unwrap()
    }

    fn answer(value: Value) -> Answer {
        Answer { value, photos: Vec::new(), note: None, worked: None }
    }

    #[test]
    fn an_answer_to_a_question_of_another_kind_is_not_put_into_words() {
        let sheet = sheet();
        assert_eq!(said(sheet.item("oil-leak").unwrap(), &answer(Value::No)), "Drips");
        assert_eq!(said(sheet.item("roof").unwrap(), &answer(Value::No)), UNREADABLE);
    }

    #[test]
    fn what_was_tapped_on_another_device_reads_as_on_its_button() {
        let sheet = sheet();
        let tapped = |item: &str, text: &str| typed(sheet.item(item).unwrap(), &Typed::from([(String::new(), text.to_owned())]));
        assert_eq!(tapped("oil-leak", "no"), "Drips");
        assert_eq!(tapped("spacers", "n/a"), NOT_APPLICABLE);
        assert_eq!(tapped("roof", "closed"), "Fixed roof");
    }
}
