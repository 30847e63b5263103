//! Answers as an answers file has them: JSON read against the item, and an answer written as JSON.

use super::answer::{Answer, Trouble, Typed, Value, from_typed};
use super::sheet::{Item, Kind};
use super::words::{Per, Place};
use super::work;
use jiff::civil::Date;
use serde_json::{Map, Value as Json, json};

/// Reads one item's answer from an answers file.
///
/// # Errors
/// The first thing that is of the wrong kind, unknown or out of range, by the name it has in the file.
pub fn from_json(item: &Item, json: &Json, today: Date) -> Result<Option<Answer>, Trouble> {
    let Json::Object(object) = json else {
        return Err(Trouble::at("", "An answer is an object with a \"value\" or, for several places, \"at\"."));
    };
    let mut typed = json_to_typed(item, object)?;
    if let Some(input) = object.get("worked") {
        // The answer comes from the readings: what stands beside them as the answer is worked out again.
        let (note, photo) = (typed.remove("note"), typed.remove("photo"));
        typed = Typed::from_iter(
            note.map(|note| ("note".into(), note)).into_iter().chain(photo.map(|photo| ("photo".into(), photo))),
        );
        typed.extend(work::json_to_typed(item, input)?);
    }
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
            ("worked", Json::Object(_)) if item.work.is_some() => {}
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

impl Answer {
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
                }
                // Also without a date: a label said to hold until a day that nobody gave is a finding.
                if date.is_some() || *valid_until {
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
        if let Some(input) = &self.worked {
            out.insert("worked".into(), Json::Object(input.clone()));
        }
        if let Some(note) = &self.note {
            out.insert("note".into(), json!(note));
        }
        Json::Object(out)
    }
}
