//! Answers to a sheet, drawn by chance: sound, with something wrong, or left out.

use super::dice::Dice;
use super::sheet::{Bound, Item, Kind, Per, Sheet, Work};
use super::steps::Mood;
use serde_json::{Map, Value as Json, json};
use std::collections::BTreeMap;

/// What was answered so far, for what hangs on it.
#[derive(Default)]
struct SoFar {
    words: BTreeMap<String, String>,
    /// In the base unit, by place.
    readings: BTreeMap<String, BTreeMap<&'static str, f64>>,
}

/// Answers as a device sends them.
pub fn drawn(sheet: &Sheet, mood: Mood, dice: &mut Dice) -> Map<String, Json> {
    let mut answers = Map::new();
    let mut so_far = SoFar::default();
    let chosen = dice.throw() % sheet.items.len().max(1) as u64;
    for (nth, item) in sheet.items.iter().enumerate() {
        // Every item takes its own dice: whether one is asked changes nothing for the next.
        let mut dice = dice.hand_over();
        let is_chosen = nth as u64 == chosen;
        let wrong = match mood {
            Mood::Sound | Mood::LeftOut => false,
            Mood::OneThingWrong => is_chosen,
            Mood::MuchWrong => dice.once_in(2),
        };
        let left_out = mood == Mood::LeftOut && is_chosen || !item.required && dice.once_in(3);
        // Now and then a phone sends what is not asked any more.
        if left_out || !so_far.asks(sheet, item) && !dice.once_in(8) {
            continue;
        }
        if let Some(answer) = answer(item, wrong, &mut so_far, &mut dice) {
            answers.insert(item.id.clone(), answer);
        }
    }
    answers
}

impl SoFar {
    fn asks(&self, sheet: &Sheet, item: &Item) -> bool {
        let Some(when) = &item.when else { return true };
        let said = self.words.get(&when.item).is_some_and(|word| when.is.contains(word));
        said && sheet.item(&when.item).is_some_and(|earlier| self.asks(sheet, earlier))
    }

    fn reference(&self, id: &str, place: &str) -> Option<f64> {
        let at = self.readings.get(id)?;
        at.get(place).or_else(|| at.get("")).copied()
    }
}

fn answer(item: &Item, wrong: bool, so_far: &mut SoFar, dice: &mut Dice) -> Option<Json> {
    if let Some(work) = item.work
        && !dice.once_in(3)
    {
        return worked(item, work, wrong, so_far, dice);
    }
    match &item.kind {
        Kind::YesNo { right, not_applicable, .. } => {
            let word = match right {
                _ if *not_applicable && !wrong && dice.once_in(4) => "n/a",
                Some(right) if *right != wrong => "yes",
                Some(_) => "no",
                None => ["yes", "no"][(dice.throw() % 2) as usize],
            };
            so_far.words.insert(item.id.clone(), word.to_owned());
            Some(json!({ "value": word }))
        }
        Kind::Choice(options) => {
            let fits: Vec<&String> = options
                .iter()
                .filter(|(_, weight)| weight.is_some_and(|weight| weight.holds()) == wrong)
                .map(|(id, _)| id)
                .collect();
            let all: Vec<&String> = if fits.is_empty() { options.iter().map(|(id, _)| id).collect() } else { fits };
            let word = all[(dice.throw() % all.len() as u64) as usize];
            so_far.words.insert(item.id.clone(), word.clone());
            Some(json!({ "value": word }))
        }
        Kind::Measure { unit, per, .. } => {
            let other = if dice.once_in(5) { unit.other_of_its_quantity() } else { *unit };
            let mut at = Map::new();
            for place in per.places() {
                if !item.required && *per != Per::Car && dice.once_in(5) {
                    continue;
                }
                let value = reading(item, place, wrong, so_far, dice);
                so_far.readings.entry(item.id.clone()).or_default().insert(place, value * unit.size());
                // Six decimals: nothing drawn lies nearer to a limit than that, but on it.
                let told = if other == *unit { value } else { (value * unit.size() / other.size() * 1e6).round() / 1e6 };
                at.insert((*place).to_owned(), json!(told));
            }
            match (per, at.get("")) {
                (_, _) if at.is_empty() => None,
                (Per::Car, Some(value)) => Some(json!({ "value": value, "unit": other.token() })),
                _ => Some(json!({ "at": at, "unit": other.token() })),
            }
        }
    }
}

/// A reading that is possible, and breaks a holding limit or none, as wanted; where none does, any.
fn reading(item: &Item, place: &str, wrong: bool, so_far: &SoFar, dice: &mut Dice) -> f64 {
    let Kind::Measure { unit, possible, limits, .. } = &item.kind else { return 0.0 };
    let mut last = (possible.0 + possible.1) / 2.0;
    for _ in 0..40 {
        let near = limits.iter().find_map(|limit| match &limit.bound {
            Bound::AtLeast(n) | Bound::AtMost(n) => Some(*n),
            Bound::AtLeastItem(id) | Bound::WithinPercent(_, id) => so_far.reference(id, place).map(|base| base / unit.size()),
        });
        let anywhere = possible.0 + (possible.1 - possible.0) * (dice.between(1, 99) as f64 / 100.0);
        let value = match near {
            Some(near) if dice.once_in(2) => near + [-2.0, -0.5, 0.0, 0.5, 2.0][(dice.throw() % 5) as usize],
            _ => anywhere,
        };
        let value = (value * 8.0).round() / 8.0;
        if value <= possible.0 || value >= possible.1 {
            continue;
        }
        last = value;
        let value = value * unit.size();
        let broken = limits.iter().find(|limit| match &limit.bound {
            Bound::AtLeast(n) => value < n * unit.size() - 1e-6,
            Bound::AtMost(n) => value > n * unit.size() + 1e-6,
            Bound::AtLeastItem(id) => so_far.reference(id, place).is_some_and(|least| value < least - 1e-6),
            Bound::WithinPercent(percent, id) => {
                so_far.reference(id, place).is_some_and(|base| (value - base).abs() > base * f64::from(*percent) / 100.0 + 1e-6)
            }
        });
        if broken.is_some_and(|limit| limit.weight.holds()) == wrong {
            break;
        }
    }
    last
}

fn worked(item: &Item, work: Work, wrong: bool, so_far: &mut SoFar, dice: &mut Dice) -> Option<Json> {
    let figure = match (&item.kind, work) {
        (Kind::Measure { .. }, _) => reading(item, "", wrong, so_far, dice),
        (_, Work::Noise(limit)) => limit + if wrong { 4.0 } else { -4.0 },
        (_, Work::HelmetLine(limit)) => limit + if wrong { -8.0 } else { 8.0 },
    };
    // No meter shows more, and the worksheet takes no more.
    if matches!(work, Work::Noise(_)) && !(1.0..=185.0).contains(&figure) {
        return None;
    }
    match &item.kind {
        Kind::Measure { unit, .. } => {
            so_far.readings.insert(item.id.clone(), BTreeMap::from([("", figure * unit.size())]));
        }
        Kind::YesNo { right, .. } => {
            let well = *right == Some(true);
            so_far.words.insert(item.id.clone(), if well != wrong { "yes" } else { "no" }.to_owned());
        }
        Kind::Choice(_) => return None,
    }
    let input = match work {
        Work::Noise(_) => json!({ "measured_db": figure }),
        Work::HelmetLine(_) => json!({
            "hoop": { "x_mm": 0.0, "z_mm": 1000.0 },
            "front": { "x_mm": 1500.0, "z_mm": 1000.0 },
            "helmet": { "x_mm": 600.0, "z_mm": 1000.0 - figure },
        }),
    };
    Some(json!({ "worked": input }))
}

/// The answers in a line, for the story.
pub fn told(answers: &Map<String, Json>) -> String {
    let one = |(item, answer): (&String, &Json)| {
        let value = answer.get("value").or_else(|| answer.get("at")).or_else(|| answer.get("worked"));
        let unit = answer.get("unit").and_then(Json::as_str).map(|unit| format!(" {unit}")).unwrap_or_default();
        format!("{item} {}{unit}", value.map(Json::to_string).unwrap_or_default().replace('"', ""))
    };
    answers.iter().map(one).collect::<Vec<_>>().join("; ")
}

/// Whether what is stored is what was sent: all that was sent is there, numbers by their value. More may stand beside it.
pub fn is_kept(sent: &Json, stored: &Json) -> bool {
    match (sent, stored) {
        (Json::Object(sent), Json::Object(stored)) => {
            sent.iter().all(|(key, value)| stored.get(key).is_some_and(|there| is_kept(value, there)))
        }
        (Json::Number(a), Json::Number(b)) => (a.as_f64().unwrap_or(f64::NAN) - b.as_f64().unwrap_or(f64::NAN)).abs() < 1e-9,
        _ => sent == stored,
    }
}
