//! Answers: what a driver typed or an answers file says, read against the item it answers.
//!
//! A form and a file meet in one place. Both become [`Typed`] (field name to text), so that one set of checks decides
//! what an answer is and a page can always show again exactly what was typed.

use super::sheet::{DateRule, Item, Kind, Sheet};
use super::tyres::DateCode;
use super::units::Unit;
use super::words::{ItemId, Per, Place};
use jiff::civil::Date;
use serde_json::{Map, Value as Json, json};
use std::collections::BTreeMap;

/// What was typed for one item: field name ("" for the item's only field, `lf`, `unit`, `note` ...) to text.
pub type Typed = BTreeMap<String, String>;

/// The answers of a whole sheet.
pub type Answers = BTreeMap<ItemId, Answer>;

/// The longest note or text a person may leave, in characters.
pub const NOTE_LONGEST: usize = 1000;

/// One item's answer.
#[derive(Clone, Debug, PartialEq)]
pub struct Answer {
    pub value: Value,
    /// The ids of the photos that belong to it.
    pub photos: Vec<String>,
    pub note: Option<String>,
}

/// The kinds of answers, as [`Kind`] has them.
#[derive(Clone, Debug, PartialEq)]
pub enum Value {
    Yes,
    No,
    NotApplicable,
    /// Readings as given, all in one unit.
    Measured {
        unit: Unit,
        at: BTreeMap<Place, f64>,
    },
    Date(Date),
    Label {
        label: String,
        date: Option<String>,
        valid_until: bool,
    },
    TyreCodes(BTreeMap<Place, String>),
    Choice(ItemId),
    Text(String),
    /// Nothing but its photos.
    Photos,
}

/// One field that cannot be read, and what to do about it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Trouble {
    /// The field of the item, as in [`Typed`].
    pub field: String,
    pub message: String,
}

impl Trouble {
    fn at(field: impl Into<String>, message: impl Into<String>) -> Trouble {
        Trouble { field: field.into(), message: message.into() }
    }
}

/// A number as people type it: a comma or a point, a sign, and for thirty-seconds also `5/32`.
///
/// # Example: a comma is a decimal sign, never a thousands separator
/// ```
/// use witnessmark::rules::answer::read_number;
/// assert_eq!(read_number(" 3,5 "), Some(3.5));
/// assert_eq!(read_number("1,234.5"), None);
/// assert_eq!(read_number("5/32"), Some(5.0));
/// ```
pub fn read_number(text: &str) -> Option<f64> {
    let text = text.trim();
    let text = text.strip_suffix("/32").unwrap_or(text).trim();
    if text.is_empty() || text.len() > 24 || !text.bytes().all(|b| b.is_ascii_digit() || b",.-+".contains(&b)) {
        return None;
    }
    if text.matches([',', '.']).count() > 1 {
        return None;
    }
    text.replace(',', ".").parse::<f64>().ok().filter(|number| number.is_finite())
}

/// Reads what was typed for an item. Nothing typed at all is no answer, not trouble.
///
/// `today` is the last day on which anything can have been done.
///
/// # Errors
/// One [`Trouble`] for each field that cannot be used, in the order of the form.
pub fn from_typed(item: &Item, typed: &Typed, today: Date) -> Result<Option<Answer>, Vec<Trouble>> {
    let mut troubles = Vec::new();
    let note = match read_text(typed, "note", NOTE_LONGEST) {
        Ok(note) => note,
        Err(trouble) => {
            troubles.push(trouble);
            None
        }
    };
    let photos: Vec<String> = field(typed, "photo").split_whitespace().map(str::to_owned).collect();
    let most = if let Kind::Photo { most } = item.kind { most } else { 6 };
    if photos.len() > most {
        troubles.push(Trouble::at("photo", format!("At most {most} photos here; {} are attached.", photos.len())));
    }
    let value = match &item.kind {
        Kind::YesNo(rule) => read_yes_no(typed, rule.not_applicable),
        Kind::Measurement(rule) => read_measurement(typed, rule, &mut troubles),
        Kind::Date(rule) => read_date(typed, rule, today),
        Kind::Label(_) => read_label(typed, &mut troubles),
        Kind::TyreCode(rule) => read_tyre_codes(typed, rule.per, today, &mut troubles),
        Kind::Choice(choices) => read_choice(typed, choices.iter().map(|choice| &choice.id)),
        Kind::Text { longest } => read_text(typed, "", *longest).map(|text| text.map(Value::Text)),
        Kind::Photo { .. } => Ok((!photos.is_empty()).then_some(Value::Photos)),
    };
    match value {
        Err(trouble) => troubles.push(trouble),
        Ok(Some(value)) if troubles.is_empty() => return Ok(Some(Answer { value, photos, note })),
        Ok(_) => {}
    }
    if troubles.is_empty() { Ok(None) } else { Err(troubles) }
}

fn field<'t>(typed: &'t Typed, name: &str) -> &'t str {
    typed.get(name).map(|text| text.trim()).unwrap_or("")
}

fn read_text(typed: &Typed, name: &str, longest: usize) -> Result<Option<String>, Trouble> {
    let text = field(typed, name);
    let length = text.chars().count();
    if length > longest {
        return Err(Trouble::at(name, format!("At most {longest} characters; this has {length}.")));
    }
    if text.chars().any(|c| c.is_control() && !matches!(c, '\n' | '\r' | '\t')) {
        return Err(Trouble::at(name, "There is a control character in this text; type it again."));
    }
    Ok((!text.is_empty()).then(|| text.to_owned()))
}

fn read_yes_no(typed: &Typed, not_applicable: bool) -> Result<Option<Value>, Trouble> {
    Ok(Some(match field(typed, "") {
        "" => return Ok(None),
        "yes" => Value::Yes,
        "no" => Value::No,
        "n/a" if not_applicable => Value::NotApplicable,
        "n/a" => return Err(Trouble::at("", "This applies to every car: answer yes or no.")),
        _ => return Err(Trouble::at("", "Answer yes or no.")),
    }))
}

fn read_measurement(
    typed: &Typed,
    rule: &super::sheet::Measurement,
    troubles: &mut Vec<Trouble>,
) -> Result<Option<Value>, Trouble> {
    let unit = match field(typed, "unit") {
        "" => rule.unit,
        token => Unit::parse(token)
            .filter(|unit| unit.quantity() == rule.unit.quantity())
            .ok_or_else(|| Trouble::at("unit", format!("This is measured in {}.", choices_of(rule.unit))))?,
    };
    let (low, high) = (rule.unit.convert(rule.possible.0, unit), rule.unit.convert(rule.possible.1, unit));
    let mut at = BTreeMap::new();
    for place in rule.per.places() {
        let token = place.token();
        let text = field(typed, &token);
        if text.is_empty() {
            continue;
        }
        match read_number(text) {
            None => {
                troubles.push(Trouble::at(token, format!("Type a number in {unit}, such as {}.", unit.figure(middle(low, high)))))
            }
            Some(number) if number < low - 1e-9 || number > high + 1e-9 => troubles.push(Trouble::at(
                token,
                format!(
                    "{} cannot be: this lies between {} and {}. Is the unit right?",
                    unit.say(number),
                    unit.figure(low),
                    unit.say(high)
                ),
            )),
            Some(number) => {
                at.insert(place, number);
            }
        }
    }
    if rule.per == Per::Cylinder && troubles.is_empty() {
        for (expected, place) in (1u8..).zip(at.keys()) {
            if *place != Place::Cylinder(expected) {
                return Err(Trouble::at(expected.to_string(), format!("Cylinder {expected} is missing.")));
            }
        }
    }
    Ok((!at.is_empty()).then_some(Value::Measured { unit, at }))
}

fn middle(low: f64, high: f64) -> f64 {
    ((low + high) / 2.0).round()
}

fn choices_of(unit: Unit) -> String {
    unit.siblings().iter().map(|unit| unit.symbol()).collect::<Vec<_>>().join(" or ")
}

fn read_date(typed: &Typed, rule: &DateRule, today: Date) -> Result<Option<Value>, Trouble> {
    let text = field(typed, "");
    if text.is_empty() {
        return Ok(None);
    }
    let date: Date = text
        .parse()
        .ok()
        .filter(|date: &Date| (1950..=2100).contains(&date.year()))
        .filter(|_| text.len() == 10)
        .ok_or_else(|| Trouble::at("", "Give the day as year-month-day, such as 2026-03-28."))?;
    if matches!(rule, DateRule::Done { .. }) && date > today {
        return Err(Trouble::at("", format!("{date} is still to come: give the day it was done.")));
    }
    Ok(Some(Value::Date(date)))
}

fn read_label(typed: &Typed, troubles: &mut Vec<Trouble>) -> Result<Option<Value>, Trouble> {
    let date = field(typed, "date");
    if !date.is_empty()
        && let Err(error) = super::gear::LabelDate::parse(date)
    {
        troubles.push(Trouble::at("date", error.to_string()));
    }
    let valid_until = match field(typed, "date-is") {
        "" | "made" => false,
        "valid-until" => true,
        _ => return Err(Trouble::at("date-is", "Say whether the label gives the day it was made or the last day it is valid.")),
    };
    let Some(label) = read_text(typed, "", 60)? else {
        return if date.is_empty() {
            Ok(None)
        } else {
            Err(Trouble::at("", "Which label is it? Copy what it says, such as SA2020 or FIA 8853-2016."))
        };
    };
    let date = (!date.is_empty()).then(|| date.to_owned());
    Ok(Some(Value::Label { label, date, valid_until }))
}

fn read_tyre_codes(typed: &Typed, per: Per, today: Date, troubles: &mut Vec<Trouble>) -> Result<Option<Value>, Trouble> {
    let mut codes = BTreeMap::new();
    for place in per.places() {
        let token = place.token();
        let text = field(typed, &token);
        if text.is_empty() {
            continue;
        }
        match DateCode::parse(text).and_then(|code| code.check_not_after(today).map(|()| code)) {
            Ok(_) => {
                codes.insert(place, text.to_owned());
            }
            Err(error) => troubles.push(Trouble::at(token, error.to_string())),
        }
    }
    Ok((!codes.is_empty()).then_some(Value::TyreCodes(codes)))
}

fn read_choice<'i>(typed: &Typed, mut ids: impl Iterator<Item = &'i ItemId>) -> Result<Option<Value>, Trouble> {
    match field(typed, "") {
        "" => Ok(None),
        text => ids
            .find(|id| id.as_str() == text)
            .map(|id| Some(Value::Choice(id.clone())))
            .ok_or_else(|| Trouble::at("", "Choose one of the answers listed.")),
    }
}

impl Answer {
    /// What the form would have to hold for this answer to be read again.
    pub fn to_typed(&self) -> Typed {
        let mut typed = Typed::new();
        match &self.value {
            Value::Yes => drop(typed.insert(String::new(), "yes".into())),
            Value::No => drop(typed.insert(String::new(), "no".into())),
            Value::NotApplicable => drop(typed.insert(String::new(), "n/a".into())),
            Value::Measured { unit, at } => {
                typed.insert("unit".into(), unit.token().into());
                typed.extend(at.iter().map(|(place, number)| (place.token(), number.to_string())));
            }
            Value::Date(date) => drop(typed.insert(String::new(), date.to_string())),
            Value::Label { label, date, valid_until } => {
                typed.insert(String::new(), label.clone());
                if let Some(date) = date {
                    typed.insert("date".into(), date.clone());
                    typed.insert("date-is".into(), if *valid_until { "valid-until" } else { "made" }.into());
                }
            }
            Value::TyreCodes(codes) => typed.extend(codes.iter().map(|(place, code)| (place.token(), code.clone()))),
            Value::Choice(id) => drop(typed.insert(String::new(), id.to_string())),
            Value::Text(text) => drop(typed.insert(String::new(), text.clone())),
            Value::Photos => {}
        }
        if !self.photos.is_empty() {
            typed.insert("photo".into(), self.photos.join(" "));
        }
        if let Some(note) = &self.note {
            typed.insert("note".into(), note.clone());
        }
        typed
    }

    /// The answer as an answers file has it.
    pub fn to_json(&self) -> Json {
        let mut out = Map::new();
        match &self.value {
            Value::Yes => drop(out.insert("value".into(), json!("yes"))),
            Value::No => drop(out.insert("value".into(), json!("no"))),
            Value::NotApplicable => drop(out.insert("value".into(), json!("n/a"))),
            Value::Measured { unit, at } => {
                match at.get(&Place::Whole) {
                    Some(number) => drop(out.insert("value".into(), json!(number))),
                    None => {
                        drop(out.insert("at".into(), at.iter().map(|(place, number)| (place.token(), json!(number))).collect()))
                    }
                }
                out.insert("unit".into(), json!(unit.token()));
            }
            Value::Date(date) => drop(out.insert("value".into(), json!(date.to_string()))),
            Value::Label { label, date, valid_until } => {
                let mut value = Map::from_iter([("label".to_owned(), json!(label))]);
                if let Some(date) = date {
                    value.insert("date".into(), json!(date));
                    value.insert("date_is".into(), json!(if *valid_until { "valid_until" } else { "made" }));
                }
                out.insert("value".into(), Json::Object(value));
            }
            Value::TyreCodes(codes) => match codes.get(&Place::Whole) {
                Some(code) => drop(out.insert("value".into(), json!(code))),
                None => drop(out.insert("at".into(), codes.iter().map(|(place, code)| (place.token(), json!(code))).collect())),
            },
            Value::Choice(id) => drop(out.insert("value".into(), json!(id.as_str()))),
            Value::Text(text) => drop(out.insert("value".into(), json!(text))),
            Value::Photos => {}
        }
        if !self.photos.is_empty() {
            out.insert("photo".into(), json!(self.photos));
        }
        if let Some(note) = &self.note {
            out.insert("note".into(), json!(note));
        }
        Json::Object(out)
    }
}

/// Reads one item's answer from an answers file.
///
/// # Errors
/// The first thing that is of the wrong kind, unknown or out of range, by the name it has in the file.
pub fn from_json(item: &Item, json: &Json, today: Date) -> Result<Option<Answer>, Trouble> {
    let Json::Object(object) = json else {
        return Err(Trouble::at("", "An answer is an object with a \"value\" or, for several places, \"at\"."));
    };
    let typed = json_to_typed(item, object)?;
    from_typed(item, &typed, today).map_err(|mut troubles| troubles.remove(0))
}

fn json_to_typed(item: &Item, object: &Map<String, Json>) -> Result<Typed, Trouble> {
    let numeric = matches!(item.kind, Kind::Measurement(_));
    let by_place = numeric || matches!(item.kind, Kind::TyreCode(_));
    let mut typed = Typed::new();
    for (key, value) in object {
        match (key.as_str(), value) {
            ("value", Json::Object(label)) if matches!(item.kind, Kind::Label(_)) => label_to_typed(label, &mut typed)?,
            ("value", value) if by_place && item.kind.per() != Per::Car => {
                return Err(Trouble::at(
                    "value",
                    format!("Give {} for each place under \"at\", not the single value {value}.", item.id),
                ));
            }
            ("value", _) if matches!(item.kind, Kind::Photo { .. }) => {
                return Err(Trouble::at("value", format!("{} is answered with photos, under \"photo\".", item.id)));
            }
            ("value", value) => drop(typed.insert(String::new(), scalar(value, numeric, "value")?)),
            ("at", Json::Object(places)) if by_place => {
                for (token, value) in places {
                    let place = item.kind.per().place(token).filter(|place| *place != Place::Whole);
                    let place = place
                        .ok_or_else(|| Trouble::at(token, format!("{} is not read at a place called \"{token}\".", item.id)))?;
                    typed.insert(place.token(), scalar(value, numeric, token)?);
                }
            }
            ("unit", Json::String(unit)) if numeric => drop(typed.insert("unit".into(), unit.clone())),
            ("note", Json::String(note)) => drop(typed.insert("note".into(), note.clone())),
            ("photo", Json::Array(photos)) => {
                let ids: Option<Vec<&str>> = photos.iter().map(Json::as_str).collect();
                let ids = ids.ok_or_else(|| Trouble::at("photo", "\"photo\" is a list of photo ids."))?;
                typed.insert("photo".into(), ids.join(" "));
            }
            ("at" | "unit" | "note" | "photo", _) => {
                return Err(Trouble::at(key, format!("\"{key}\" does not fit an item of the kind {}.", item.kind.word())));
            }
            _ => return Err(Trouble::at(key, format!("\"{key}\" is not a part of an answer."))),
        }
    }
    Ok(typed)
}

fn label_to_typed(label: &Map<String, Json>, typed: &mut Typed) -> Result<(), Trouble> {
    for (key, value) in label {
        let text = scalar(value, false, key)?;
        match key.as_str() {
            "label" => typed.insert(String::new(), text),
            "date" => typed.insert("date".into(), text),
            "date_is" => typed.insert("date-is".into(), text.replace('_', "-")),
            _ => return Err(Trouble::at(key, format!("\"{key}\" is not a part of a label."))),
        };
    }
    Ok(())
}

fn scalar(value: &Json, numeric: bool, name: &str) -> Result<String, Trouble> {
    match (value, numeric) {
        (Json::Number(number), true) => Ok(plain_number(number)),
        (Json::String(text), false) if !text.trim().is_empty() => Ok(text.clone()),
        (_, true) => Err(Trouble::at(name, format!("A number is wanted here, not {value}."))),
        (_, false) => Err(Trouble::at(name, format!("A text is wanted here, not {value}."))),
    }
}

/// A JSON number without an exponent, as a person would type it.
fn plain_number(number: &serde_json::Number) -> String {
    number.as_f64().map_or_else(|| number.to_string(), |number| number.to_string())
}

/// Whether the item is asked at all, given the answers so far.
pub fn is_asked(sheet: &Sheet, item: &Item, answers: &Answers) -> bool {
    let Some(condition) = &item.when else { return true };
    let word = match answers.get(&condition.item).map(|answer| &answer.value) {
        Some(Value::Yes) => "yes",
        Some(Value::No) => "no",
        Some(Value::NotApplicable) => "n/a",
        Some(Value::Choice(id)) => id.as_str(),
        _ => return false,
    };
    // A condition names an earlier item (the sheet's reader sees to it), so this comes to an end.
    condition.is.iter().any(|wanted| wanted == word)
        && sheet.item(condition.item.as_str()).is_some_and(|earlier| is_asked(sheet, earlier, answers))
}
