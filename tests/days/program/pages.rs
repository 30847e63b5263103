//! Pages, lists and passes as people and their phones read them, and forms as they fill them in.

use super::club::{Car, NIGHT_MS};
use crate::rule::Standing;
use serde_json::{Map, Value as Json};
use std::collections::{BTreeMap, BTreeSet};
use uuid::Uuid;

/// The hidden fields of a form, names and values.
pub fn hidden(html: &str) -> Vec<(String, String)> {
    let inputs = html.split("<input type=\"hidden\" name=\"").skip(1);
    let field = |input: &str| {
        let (name, rest) = input.split_once('"')?;
        let value = rest.split_once("value=\"")?.1.split('"').next()?;
        Some((name.to_owned(), value.to_owned()))
    };
    inputs.filter_map(field).collect()
}

/// The text between two others, each time it comes.
pub fn between<'t>(text: &'t str, begin: &'static str, end: &'static str) -> impl Iterator<Item = &'t str> {
    text.split(begin).skip(1).filter_map(move |rest| rest.split(end).next())
}

/// A car's page at the gate as a phone has it open.
#[derive(Clone, Debug, Default)]
pub struct GatePage {
    pub fields: Vec<(String, String)>,
    pub by_hand: Vec<String>,
    pub closes: Vec<String>,
    /// Where the inspector may give a reading: item and place.
    pub readings: Vec<(String, String)>,
    /// Items of which the inspector may say in a sentence what was seen.
    pub sentences: Vec<String>,
    pub standing: String,
}

impl GatePage {
    pub fn of(html: &str) -> Option<GatePage> {
        let form = html.find("data-sign-off").map_or("", |at| &html[at..]);
        let names = |begin| between(form, begin, "\"").map(str::to_owned).collect::<Vec<_>>();
        let reading = |name: String| {
            name.split_once('.').map_or((name.clone(), String::new()), |(item, place)| (item.into(), place.into()))
        };
        Some(GatePage {
            fields: hidden(form),
            by_hand: names("name=\"by-hand-"),
            closes: names("name=\"closes-"),
            readings: names("<input name=\"reading-").into_iter().map(reading).collect(),
            sentences: names("<input name=\"seen-"),
            standing: between(html, "<p class=\"standing ", "\"").next()?.to_owned(),
        })
    }

    fn field(&self, name: &str) -> &str {
        self.fields.iter().find(|(field, _)| field == name).map_or("", |(_, value)| value.as_str())
    }

    pub fn seen(&self) -> BTreeSet<Uuid> {
        self.field("seen").split(',').filter_map(|id| id.parse().ok()).collect()
    }

    /// The unit in which this page takes readings of an item.
    pub fn unit(&self, item: &str) -> &str {
        self.field(&format!("reading-{item}.unit"))
    }

    /// The page's form with what an inspector ticked and gave.
    pub fn filled(
        &self,
        id: Uuid,
        seen: &BTreeSet<Uuid>,
        given: &Words,
        made: Option<String>,
        clear: bool,
    ) -> Vec<(String, String)> {
        let mut fields: Vec<(String, String)> =
            self.fields.iter().filter(|(name, _)| name != "id" && name != "seen").cloned().collect();
        let mut add = |name: String, value: String| fields.push((name, value));
        add("id".into(), id.to_string());
        add("seen".into(), seen.iter().map(Uuid::to_string).collect::<Vec<_>>().join(","));
        given.by_hand.iter().for_each(|item| add(format!("by-hand-{item}"), "1".into()));
        given.closes.iter().for_each(|item| add(format!("closes-{item}"), "1".into()));
        for (item, reading) in &given.readings {
            let value = reading.get("value").map(|value| (String::new(), value.clone()));
            let at = reading.get("at").and_then(Json::as_object).into_iter().flatten();
            for (place, number) in value.into_iter().chain(at.map(|(place, number)| (format!(".{place}"), number.clone()))) {
                add(format!("reading-{item}{place}"), number.to_string());
            }
        }
        given.seen_as.iter().for_each(|(item, sentence)| add(format!("seen-{item}"), sentence.clone()));
        add("deed".into(), if clear { "clear" } else { "hold" }.into());
        add("reason".into(), given.reason.clone());
        if let Some(made) = made {
            add("made_at".into(), made);
        }
        fields
    }
}

/// What an inspector or organizer says.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Words {
    pub reason: String,
    pub closes: BTreeSet<String>,
    pub by_hand: BTreeSet<String>,
    /// As an answers file has them, by item.
    pub readings: Map<String, Json>,
    pub seen_as: BTreeMap<String, String>,
}

/// What a driver's page knows: what it has seen, and its edition.
pub fn sheet_page(html: &str) -> Option<(BTreeSet<Uuid>, Uuid, String)> {
    let seen = between(html, "data-seen=\"", "\"").next()?.split(',').filter_map(|id| id.parse().ok()).collect();
    let edition = between(html, "data-edition=\"", "\"").next()?.parse().ok()?;
    Some((seen, edition, between(html, "<div class=\"state ", "\"").next()?.to_owned()))
}

/// A pass as a marshal's phone reads it.
#[derive(Clone, Debug)]
pub struct Pass {
    pub entry: Uuid,
    pub place: i64,
    pub text: String,
}

/// What a marshal's phone asks the list with: the place and hash of the list that it has.
pub fn list_address(event: Uuid, kept: Option<&Json>) -> String {
    let has = kept.map(|kept| format!("?place={}&hash={}", kept["place"], kept["hash"].as_str().unwrap_or_default()));
    format!("/grid/{event}/cars.json{}", has.unwrap_or_default())
}

/// Whether a list that came replaces the one that a marshal's phone has: as `static/js/grid.js` decides it.
pub fn replaces(kept: &Json, got: &Json) -> bool {
    got["follows"] != true || got["place"].as_i64() >= kept["place"].as_i64()
}

/// The list's word on a car, and with a pass in hand: as `static/js/verdict.js` decides it. The clock of the phone is right.
pub fn marshal_says_cleared(list: &Json, car: &Car, pass: Option<&Pass>, now_ms: i64) -> Option<bool> {
    let entry = car.entry.to_string();
    let row = list["cars"].as_array()?.iter().find(|row| row["entry"] == entry.as_str())?;
    if now_ms >= NIGHT_MS {
        return Some(false);
    }
    let by_list = row["cleared"].as_bool()?;
    let is_newer = pass.is_some_and(|pass| Some(pass.place) > list["place"].as_i64());
    Some(by_list || is_newer && row["held"] != true)
}

/// The cars of `cars.json` that are said to be cleared.
pub fn cleared_in_list(list: &Json) -> Option<BTreeSet<String>> {
    let cars = list["cars"].as_array()?.iter().filter(|car| car["cleared"] == true);
    Some(cars.filter_map(|car| car["number"].as_str().map(str::to_owned)).collect())
}

/// The standing that a word of the program says.
pub fn standing_of(word: &str) -> Option<Standing> {
    [Standing::Pending, Standing::Flagged, Standing::Cleared].into_iter().find(|standing| standing.word() == word)
}
