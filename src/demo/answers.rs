//! Plausible answers for any sheet: a sound car with measurements that differ, and the faults that the demo shows.

use crate::rules::answer::{Answers, from_json, is_asked};
use crate::rules::sheet::{Bound, DateRule, Item, Kind, Measurement, Sheet};
use crate::rules::units::Unit;
use crate::rules::words::{Per, Place};
use jiff::ToSpan;
use jiff::civil::Date;
use serde_json::{Map, Value as Json, json};

/// What is wrong with a car of the demo.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fault {
    ThinPad,
    OldTyre,
    PadAndOldTyre,
    OilLeak,
    LampUnderLoad,
    OldHelmet,
    OldFluid,
    LowTorque,
}

/// Numbers that look like chance and are the same at every start.
struct Dice(u64);

impl Dice {
    /// A share from 0 to 1.
    fn share(&mut self) -> f64 {
        // Knuth's MMIX generator; the high bits are the good ones.
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 11) as f64 / (1u64 << 53) as f64
    }

    fn between(&mut self, low: f64, high: f64, step: f64) -> f64 {
        ((low + (high - low) * self.share()) / step).round() * step
    }
}

/// The answers of one car to a whole sheet.
pub fn answers(sheet: &Sheet, on: Date, seed: u64, car: &str, fault: Option<Fault>) -> Map<String, Json> {
    let mut dice = Dice(seed.wrapping_mul(7_919).wrapping_add(17));
    let mut given = Map::new();
    let mut read = Answers::new();
    for item in sheet.items() {
        if !is_asked(sheet, item, &read) {
            continue;
        }
        let sound = sound(item, on, &mut dice, car, &given);
        let Some(json) = with_fault(item, sound, on, fault) else { continue };
        if let Ok(Some(answer)) = from_json(item, &json, on) {
            read.insert(item.id.clone(), answer);
        }
        given.insert(item.id.to_string(), json);
    }
    given
}

fn sound(item: &Item, on: Date, dice: &mut Dice, car: &str, given: &Map<String, Json>) -> Option<Json> {
    Some(match &item.kind {
        Kind::YesNo(rule) => json!({ "value": if rule.right.unwrap_or(false) { "yes" } else { "no" } }),
        Kind::Choice(choices) => {
            let wanted = if item.id.as_str() == "roof" && car.contains("Roadster") { "open" } else { "" };
            let fits = choices.iter().find(|choice| choice.id.as_str() == wanted);
            json!({ "value": fits.or_else(|| choices.iter().find(|choice| choice.finding.is_none()))?.id.as_str() })
        }
        Kind::Measurement(rule) => measurement(item, rule, dice, given),
        Kind::Date(DateRule::Done { .. }) => json!({ "value": days_before(on, 30 + (dice.share() * 110.0) as i64).to_string() }),
        Kind::Date(DateRule::ValidUntil { .. }) => json!({ "value": on.checked_add(300.days()).unwrap_or(on).to_string() }),
        Kind::Label(rule) => label(&rule.gear, on, dice),
        Kind::TyreCode(rule) => {
            let age_days = 250 + (dice.share() * 1500.0) as i64;
            by_place(rule.per, |_| json!(code_of(days_before(on, age_days))))
        }
        Kind::Text { longest } => {
            let text = if item.id.as_str().contains("marking") { "225/45 R17 94W" } else { "see the plate" };
            json!({ "value": text.chars().take(*longest).collect::<String>() })
        }
        Kind::Photo { .. } => return None,
    })
}

fn label(gear: &str, on: Date, dice: &mut Dice) -> Json {
    match gear {
        "helmet" => json!({ "value": { "label": if dice.share() < 0.6 { "Snell SA2020" } else { "FIA 8859-2015" } } }),
        "harness" => {
            json!({ "value": { "label": "FIA 8853-2016", "date": (on.year() + 1).to_string(), "date_is": "valid_until" } })
        }
        "head-restraint" => json!({ "value": { "label": "FIA 8858-2010" } }),
        _ => json!({ "value": { "label": "see the label" } }),
    }
}

fn days_before(on: Date, days: i64) -> Date {
    on.checked_sub(days.days()).unwrap_or(on)
}

/// The tyre code of the week that holds a day: weeks run from the year's first Sunday.
fn code_of(day: Date) -> String {
    let first =
        (1..=7).filter_map(|n| Date::new(day.year(), 1, n).ok()).find(|day| day.weekday() == jiff::civil::Weekday::Sunday);
    let since = first.and_then(|first| first.until(day).ok()).map_or(0, |span| i64::from(span.get_days()));
    format!("{:02}{:02}", (since.max(0) / 7 + 1).min(52), day.year() % 100)
}

fn by_place(per: Per, mut value: impl FnMut(Place) -> Json) -> Json {
    if per == Per::Car {
        return json!({ "value": value(Place::Whole) });
    }
    let places = per.places();
    let places = if per == Per::Cylinder { &places[..4] } else { &places[..] };
    let at: Map<String, Json> = places.iter().map(|place| (place.token(), value(*place))).collect();
    json!({ "at": at })
}

fn measurement(item: &Item, rule: &Measurement, dice: &mut Dice, given: &Map<String, Json>) -> Json {
    let step = match rule.unit {
        Unit::Millimetre if rule.possible.1 <= 60.0 => 0.1,
        Unit::Turns => 0.5,
        _ => 1.0,
    };
    let other = |id: &str| given.get(id).and_then(|answer| answer.get("value")).and_then(Json::as_f64);
    // The strictest limit is the one to keep clear of.
    let (low, high) = match rule.limits.last().map(|limit| &limit.bound) {
        Some(Bound::AtLeast(limit)) => (limit * 1.06, limit * 1.9),
        Some(Bound::AtMost(limit)) => (0.0, limit * 0.6),
        Some(Bound::AtLeastItem(id)) => other(id.as_str()).map_or(rule.possible, |limit| (limit * 1.02, limit * 1.08)),
        Some(Bound::WithinPercent(_, id)) => other(id.as_str()).map_or(rule.possible, |asked| (asked * 0.97, asked * 1.03)),
        None if item.id.as_str().contains("torque") => (105.0, 125.0),
        None if item.id.as_str().contains("minimum") => (19.0, 23.0),
        None => (
            rule.possible.0 + (rule.possible.1 - rule.possible.0) * 0.4,
            rule.possible.0 + (rule.possible.1 - rule.possible.0) * 0.6,
        ),
    };
    let mut json = by_place(rule.per, |_| {
        let number = dice.between(low, high, step).clamp(rule.possible.0, rule.possible.1);
        json!((number * 100.0).round() / 100.0)
    });
    json["unit"] = json!(rule.unit.token());
    json
}

/// Puts the fault into the answer of the item that shows it.
fn with_fault(item: &Item, sound: Option<Json>, on: Date, fault: Option<Fault>) -> Option<Json> {
    use Fault::*;
    let mut json = sound?;
    match (fault, item.id.as_str()) {
        (Some(ThinPad | PadAndOldTyre), "pad-front") => json["at"]["lf"] = json!(2.1),
        (Some(OldTyre | PadAndOldTyre), "tyre-date") => json["at"]["rr"] = json!(code_of(days_before(on, 2560))),
        (Some(OilLeak), "oil-leak") => json["value"] = json!(if json["value"] == "yes" { "no" } else { "yes" }),
        (Some(LampUnderLoad), "warning-lamps") => {
            if let Kind::Choice(choices) = &item.kind
                && let Some(worst) = choices.iter().max_by_key(|choice| choice.finding.as_ref().map(|(severity, _)| *severity))
            {
                json["value"] = json!(worst.id.as_str());
            }
        }
        (Some(OldHelmet), "helmet-label") => json = json!({ "value": { "label": "Snell SA2010" } }),
        (Some(OldFluid), "fluid-age") => json["value"] = json!(days_before(on, 290).to_string()),
        (Some(LowTorque), "lug-torque") => json["at"]["lr"] = json!(88),
        _ => {}
    }
    Some(json)
}
