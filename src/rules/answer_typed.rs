//! Answers as they are typed: a form's fields read against the item, and an answer put back into fields.

use super::answer::{Answer, NOTE_LONGEST, Trouble, Typed, Value};
use super::sheet::{DateRule, Item, Kind};
use super::tyres::DateCode;
use super::units::Unit;
use super::words::{ItemId, Per, Place, has_control};
use super::work;
use jiff::civil::Date;
use std::collections::BTreeMap;

/// A number as people type it: a sign, and a comma or a point for the decimals.
///
/// # Example: a comma is a decimal sign, never a thousands separator
/// ```
/// use witnessmark::rules::answer::read_number;
/// assert_eq!(read_number(" 3,5 "), Some(3.5));
/// assert_eq!(read_number("1,234.5"), None);
/// ```
pub fn read_number(text: &str) -> Option<f64> {
    let text = text.trim();
    if text.is_empty() || text.len() > 24 || !text.bytes().all(|b| b.is_ascii_digit() || b",.-+".contains(&b)) {
        return None;
    }
    if text.matches([',', '.']).count() > 1 {
        return None;
    }
    text.replace(',', ".").parse::<f64>().ok().filter(|number| number.is_finite())
}

/// As [`read_number`], in a unit: thirty-seconds of an inch may be written as the gauge has them, `5/32`.
pub fn read_in(unit: Option<Unit>, text: &str) -> Option<f64> {
    let text = if unit == Some(Unit::ThirtySecondInch) { text.trim().strip_suffix("/32").unwrap_or(text) } else { text };
    read_number(text)
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
    if photos.iter().any(|id| id.len() != 36 || !id.bytes().all(|byte| byte.is_ascii_hexdigit() || byte == b'-')) {
        troubles.push(Trouble::at("photo", "A photo is named by its id: 36 figures, letters a to f and hyphens."));
    }
    if photos.len() > most {
        troubles.push(Trouble::at("photo", format!("At most {most} photos here; {} are attached.", photos.len())));
    }
    let worked = match work::read_typed(item, typed, today) {
        Ok(worked) => worked,
        Err(trouble) => {
            troubles.push(trouble);
            None
        }
    };
    let (worked, value) = match worked {
        Some((input, value)) => (Some(input), Ok(Some(value))),
        None => (None, read_value(item, typed, today, &photos, &mut troubles)),
    };
    match value {
        Err(trouble) => troubles.push(trouble),
        Ok(Some(value)) if troubles.is_empty() => return Ok(Some(Answer { value, photos, note, worked })),
        Ok(_) => {}
    }
    if troubles.is_empty() { Ok(None) } else { Err(troubles) }
}

fn read_value(
    item: &Item,
    typed: &Typed,
    today: Date,
    photos: &[String],
    troubles: &mut Vec<Trouble>,
) -> Result<Option<Value>, Trouble> {
    match &item.kind {
        Kind::YesNo(rule) => read_yes_no(typed, rule.not_applicable),
        Kind::Measurement(rule) => read_measurement(typed, rule, troubles),
        Kind::Date(rule) => read_date(typed, rule, today),
        Kind::Label(_) => read_label(typed, troubles),
        Kind::TyreCode(rule) => read_tyre_codes(typed, rule.per, today, troubles),
        Kind::Choice(choices) => read_choice(typed, choices.iter().map(|choice| &choice.id)),
        Kind::Text { longest } => read_text(typed, "", *longest).map(|text| text.map(Value::Text)),
        Kind::Photo { .. } => Ok((!photos.is_empty()).then_some(Value::Photos)),
    }
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
    if has_control(text) {
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
            .ok_or_else(|| Trouble::at("unit", format!("This is measured in {}.", choices_of(rule))))?,
    };
    let (low, high) = (rule.unit.convert(rule.possible.0, unit), rule.unit.convert(rule.possible.1, unit));
    let mut at = BTreeMap::new();
    for place in rule.per.places() {
        let token = place.token();
        let text = field(typed, &token);
        if text.is_empty() {
            continue;
        }
        match read_in(Some(unit), text) {
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

fn choices_of(rule: &super::sheet::Measurement) -> String {
    rule.unit.choices(rule.possible.1).iter().map(|unit| unit.symbol()).collect::<Vec<_>>().join(" or ")
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
                }
                if date.is_some() || *valid_until {
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
        if let Some(input) = &self.worked {
            typed.extend(work::to_typed(input));
        }
        typed
    }
}
