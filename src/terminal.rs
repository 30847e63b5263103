//! The rules from a terminal: text in, JSON out, by the same code that the pages use.

use crate::acts::set_up::CLUB_DAY;
use crate::rules::answer::{self, Answers};
use crate::rules::fault_guide_file;
use crate::rules::gear::Policy;
use crate::rules::judge::{Judged, judge as judge_answers};
use crate::rules::sheet::Sheet;
use crate::rules::sheet_file;
use crate::rules::standing::{self, BadHistory, Deed, Record};
use crate::rules::strict_json;
use crate::rules::units::Units;
use crate::rules::words::{ItemId, Place};
use crate::rules::worksheet_input::InputError;
use jiff::civil::Date;
use serde_json::{Map, Value as Json, json};
use std::collections::BTreeSet;

/// The largest input, in bytes.
const LARGEST: usize = 16 * 1024 * 1024;

/// The sheet that a new club starts with; it was read by a test, so a failure here is a damaged program.
pub fn default_policy() -> Policy {
    sheet_file::read(CLUB_DAY).map(|sheet| sheet.gear).unwrap_or_default()
}

/// `witnessmark worksheet NAME`.
///
/// # Errors
/// The field that cannot be used.
pub fn worksheet(name: &str, input: &str) -> Result<Json, InputError> {
    crate::rules::worksheet::run(name, input, &default_policy())
}

/// A sheet's file as text.
///
/// # Errors
/// The line that is not UTF-8.
pub fn sheet_text(bytes: &[u8]) -> Result<&str, InputError> {
    std::str::from_utf8(bytes).map_err(|error| {
        let line = bytes[..error.valid_up_to()].iter().filter(|byte| **byte == b'\n').count() + 1;
        InputError::at("sheet", format!("line {line}, the file: is not UTF-8 text"))
    })
}

/// `witnessmark sheet check FILE`: what the sheet holds.
///
/// # Errors
/// What is wrong with it, with line and key.
pub fn sheet_check(text: &str) -> Result<String, InputError> {
    let sheet = sheet_file::read(text).map_err(|error| InputError::at(format!("line {}", error.line), error.to_string()))?;
    let (items, areas) = (sheet.items().count(), sheet.areas.len());
    let by_hand = sheet.items().filter(|item| item.by_hand.is_some()).count();
    let gear = sheet.gear.rows().len();
    Ok(format!("{}: {areas} areas, {items} items, {by_hand} by hand at the gate, {gear} gear labels", sheet.name))
}

/// `witnessmark guide check FILE`: what the fault guide holds.
///
/// # Errors
/// What is wrong with it, with line and key.
pub fn guide_check(text: &str) -> Result<String, InputError> {
    let guide =
        fault_guide_file::read(text).map_err(|error| InputError::at(format!("line {}", error.line), error.to_string()))?;
    let causes: usize = guide.symptoms().iter().map(|symptom| symptom.causes.len()).sum();
    let tests: usize = guide.symptoms().iter().map(|symptom| symptom.tests.len()).sum();
    Ok(format!("{} symptoms, {causes} causes, {tests} tests that tell them apart", guide.symptoms().len()))
}

/// `witnessmark judge --sheet FILE --on DAY`: what the sheet's rules say of the answers.
///
/// # Errors
/// The item or field that cannot be used.
pub fn judge(sheet: &str, on: &str, input: &str) -> Result<Json, InputError> {
    // Answers of years ago are judged by the sheet of their time.
    let sheet = sheet_file::read_kept(sheet).map_err(|error| InputError::at("sheet", error.to_string()))?;
    let on = day(on)?;
    let answers = read_answers(&sheet, on, input)?;
    Ok(judged_json(&judge_answers(&sheet, &answers, on, &Units::METRIC)))
}

fn day(text: &str) -> Result<Date, InputError> {
    let fits = |date: &Date| text.len() == 10 && (1950..=2100).contains(&date.year());
    text.parse().ok().filter(fits).ok_or_else(|| InputError::at("on", format!("{text} is not a day: write 2026-11-25.")))
}

/// Reads an answers file against a sheet.
///
/// # Errors
/// As [`judge`].
pub fn read_answers(sheet: &Sheet, on: Date, input: &str) -> Result<Answers, InputError> {
    let mut file = object(input)?;
    let entry = file.remove("entry");
    if entry.is_some_and(|entry| !entry.is_object()) {
        return Err(InputError::at("entry", "The entry is an object."));
    }
    let given = match file.remove("answers") {
        Some(Json::Object(answers)) => answers,
        Some(_) => return Err(InputError::at("answers", "The answers are an object, item by item.")),
        None => return Err(InputError::at("answers", "The answers are missing.")),
    };
    no_more(file)?;
    let mut answers = Answers::new();
    for (id, json) in given {
        let item = sheet.item(&id).ok_or_else(|| InputError::at(&id, format!("This sheet has no item \"{id}\".")))?;
        let answer = answer::from_json(item, &json, on).map_err(|trouble| {
            let field = if trouble.field.is_empty() { id.clone() } else { format!("{id}.{}", trouble.field) };
            InputError::at(field, trouble.message)
        })?;
        answers.extend(answer.map(|answer| (item.id.clone(), answer)));
    }
    Ok(answers)
}

/// The judge's words as the contract has them, with the place, the remedy and the readings added.
pub fn judged_json(judged: &Judged) -> Json {
    let findings: Vec<Json> = judged
        .findings
        .iter()
        .map(|finding| {
            let mut json = json!({
                "item": finding.item.as_str(), "severity": finding.severity.word(), "why": finding.why, "source": finding.source,
            });
            if finding.place != Place::Whole {
                json["at"] = json!(finding.place.token());
            }
            if let Some(mend) = &finding.mend {
                json["mend"] = json!(mend);
            }
            json
        })
        .collect();
    let readings: Vec<Json> = judged
        .readings
        .iter()
        .map(|reading| json!({ "item": reading.item.as_str(), "name": reading.name, "figure": reading.figure, "unit": reading.unit, "limit": reading.limit, "margin": reading.margin }))
        .collect();
    let flagged = judged.holding().next().is_some();
    json!({
        "complete": judged.is_complete(),
        "missing": judged.missing.iter().map(|(item, _)| item.as_str()).collect::<Vec<_>>(),
        "findings": findings,
        "readings": readings,
        "standing_without_gate": if flagged { "flagged" } else { "pending" },
    })
}

/// What every record of a history carries; the rule looks at the first three only.
const CARRIED: [&str; 11] =
    ["id", "seen", "kind", "made_at", "arrived_at", "maker", "maker_role", "device", "number", "reason", "entry"];

/// `witnessmark standing`: where an entry stands, from its records in any order.
///
/// # Errors
/// The record and field that cannot be used.
pub fn standing(input: &str) -> Result<Json, InputError> {
    let mut file = object(input)?;
    let records = match file.remove("records") {
        Some(Json::Array(records)) => records,
        Some(_) => return Err(InputError::at("records", "The records are a list.")),
        None => return Err(InputError::at("records", "The records are missing.")),
    };
    let by_hand = file.remove("by_hand").map(|asked| items(Some(asked), "by_hand")).transpose()?.unwrap_or_default();
    no_more(file)?;
    let records = records.into_iter().enumerate().map(|(nth, json)| record(nth, json)).collect::<Result<Vec<_>, _>>()?;
    let judgement = standing::standing(records, &by_hand)
        .map_err(|error: BadHistory<String>| InputError::at("records", format!("{error}.")))?;
    let because: Vec<String> = judgement.because.iter().map(ToString::to_string).collect();
    Ok(json!({ "standing": judgement.standing.word(), "because": because }))
}

fn record(nth: usize, json: Json) -> Result<Record<String>, InputError> {
    let at = |field: &str| format!("records[{nth}].{field}");
    let Json::Object(mut object) = json else { return Err(InputError::at(format!("records[{nth}]"), "A record is an object.")) };
    let id = text(object.remove("id"), &at("id"))?;
    let seen = texts(object.remove("seen"), &at("seen"))?;
    let kind = text(object.remove("kind"), &at("kind"))?;
    let deed = match kind.as_str() {
        "submission" => Deed::Submission {
            complete: flag(object.remove("complete"), &at("complete"))?,
            open: items(object.remove("open"), &at("open"))?,
        },
        "clear" => Deed::Clear {
            closes: object.remove("closes").map(|closes| items(Some(closes), &at("closes"))).transpose()?.unwrap_or_default(),
            by_hand: object.remove("by_hand").map(|ticked| items(Some(ticked), &at("by_hand"))).transpose()?.unwrap_or_default(),
            counts: object.remove("counts").map(|counts| flag(Some(counts), &at("counts"))).transpose()?.unwrap_or(true),
        },
        "hold" => Deed::Hold,
        "withdrawal" => Deed::Withdrawal,
        _ => {
            return Err(InputError::at(
                at("kind"),
                format!("\"{kind}\" is no kind of record: submission, clear, hold or withdrawal."),
            ));
        }
    };
    if let Some(unknown) = object.keys().find(|key| !CARRIED.contains(&key.as_str())) {
        return Err(InputError::at(at(unknown), format!("A {kind} has no field \"{unknown}\".")));
    }
    Ok(Record { id, seen: seen.into_iter().collect(), deed })
}

fn text(json: Option<Json>, field: &str) -> Result<String, InputError> {
    match json {
        Some(Json::String(text)) if !text.is_empty() && text.len() <= 200 => Ok(text),
        Some(_) => Err(InputError::at(field, "A text of 1 to 200 characters is wanted here.")),
        None => Err(InputError::at(field, "This field is missing.")),
    }
}

fn texts(json: Option<Json>, field: &str) -> Result<Vec<String>, InputError> {
    match json {
        Some(Json::Array(list)) => list.into_iter().map(|json| text(Some(json), field)).collect(),
        Some(_) => Err(InputError::at(field, "A list of texts is wanted here.")),
        None => Err(InputError::at(field, "This field is missing.")),
    }
}

fn items(json: Option<Json>, field: &str) -> Result<BTreeSet<ItemId>, InputError> {
    let read =
        |text: String| ItemId::parse(&text).ok_or_else(|| InputError::at(field, format!("\"{text}\" is not an item's id.")));
    texts(json, field)?.into_iter().map(read).collect()
}

fn flag(json: Option<Json>, field: &str) -> Result<bool, InputError> {
    match json {
        Some(Json::Bool(flag)) => Ok(flag),
        Some(_) => Err(InputError::at(field, "true or false is wanted here.")),
        None => Err(InputError::at(field, "This field is missing.")),
    }
}

fn no_more(file: Map<String, Json>) -> Result<(), InputError> {
    match file.keys().next() {
        Some(key) => Err(InputError::at(key, format!("\"{key}\" is not a field that belongs here."))),
        None => Ok(()),
    }
}

fn object(input: &str) -> Result<Map<String, Json>, InputError> {
    if input.len() > LARGEST {
        return Err(InputError::at("input", format!("At most {} MB.", LARGEST / 1024 / 1024)));
    }
    match strict_json::read(input.as_bytes()) {
        Ok(Json::Object(object)) => Ok(object),
        Ok(_) => Err(InputError::at("input", "One JSON object is wanted.")),
        Err(error) => Err(InputError::at("input", format!("This is not the JSON that is wanted: {error}."))),
    }
}
