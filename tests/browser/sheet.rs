//! Filling in the sheet at its pages, field by field, as a driver does with a phone in one hand.

use crate::browser::{Browser, Kind, PATIENCE};
use crate::hands::GLANCE;
use jiff::civil::date;
use serde_json::{Map, Value as Json, json};
use tokio::time::Instant;
use witnessmark::acts::set_up::CLUB_DAY;
use witnessmark::rules::answer::from_json;
use witnessmark::rules::sheet_file;

/// What a driver means to type in one area: names of fields as the form has them, and the text of each.
pub struct AreaAnswers {
    pub area: String,
    fields: Vec<(String, String)>,
}

impl AreaAnswers {
    /// The fields as a form sends them, for an area that is not typed in the browser.
    pub fn form(&self) -> Vec<(&str, &str)> {
        self.fields.iter().map(|(name, text)| (name.as_str(), text.as_str())).collect()
    }
}

/// The answers of a file to the default sheet, as they are typed at its pages, area by area.
pub fn typed(answers: &Map<String, Json>) -> Vec<AreaAnswers> {
    let sheet = sheet_file::read(CLUB_DAY).expect("the default sheet can be read");
    let mut areas = Vec::new();
    for area in &sheet.areas {
        let mut fields = Vec::new();
        for item in &area.items {
            let Some(json) = answers.get(item.id.as_str()) else { continue };
            let answer = from_json(item, json, date(2026, 5, 9)).expect("a good answer").expect("an answer");
            for (suffix, text) in answer.to_typed() {
                let name = if suffix.is_empty() { item.id.to_string() } else { format!("{}.{suffix}", item.id) };
                fields.push((name, text));
            }
        }
        // An area that this car is not asked has nothing to type.
        if !fields.is_empty() {
            areas.push(AreaAnswers { area: area.id.to_string(), fields });
        }
    }
    areas
}

/// The answers of one area.
pub fn of<'a>(areas: &'a [AreaAnswers], area: &str) -> &'a AreaAnswers {
    areas.iter().find(|one| one.area == area).unwrap_or_else(|| panic!("the sheet asks for {area} of this car"))
}

impl Browser {
    /// Answers every item of the area whose page is open.
    pub async fn fills_in(&self, answers: &AreaAnswers) {
        for (name, text) in &answers.fields {
            let before = self.kept().await;
            if self.answers(name, text).await {
                self.sees_what_comes_of_it(name, before).await;
            }
        }
    }

    /// Answers every item of the area whose page is open, where nothing can come back from the server.
    pub async fn fills_in_without_signal(&self, answers: &AreaAnswers) {
        for (name, text) in &answers.fields {
            if self.answers(name, text).await {
                // A person looks up after an answer: the words come, and what is below them moves down.
                let item = name.split('.').next().unwrap_or_default();
                self.sees(&format!("[data-verdict=\"{item}\"]"), "Kept on this device").await;
            }
        }
    }

    /// Whether every answer of an area stands in the page that is open.
    pub async fn shows(&self, answers: &AreaAnswers) {
        for (name, text) in &answers.fields {
            let field = format!("[name=\"{name}\"]");
            let script = "const all = [...document.querySelectorAll(arguments[0])]; \
                return all[0]?.type === 'radio' ? all.find((one) => one.checked)?.value : all[0]?.value";
            let end = Instant::now() + PATIENCE;
            loop {
                let found = self.client.execute(script, vec![json!(field)]).await.unwrap_or_default();
                // A unit that cannot be chosen is not asked for.
                if found == json!(text) || (found.is_null() && name.ends_with(".unit")) {
                    break;
                }
                assert!(Instant::now() < end, "{}: {name} is {found} and not \"{text}\"", self.who);
                tokio::time::sleep(GLANCE).await;
            }
        }
    }

    /// Which page this is, and how often it has had the server keep what is typed.
    async fn kept(&self) -> Json {
        let script = "const fetched = performance.getEntriesByType('resource').filter((one) => one.initiatorType === 'fetch'); \
            return [performance.timeOrigin, fetched.length]";
        self.asks(script).await
    }

    /// A person looks up after an answer: the verdict comes, and what is below it moves down. Where no script runs, nothing comes.
    async fn sees_what_comes_of_it(&self, name: &str, before: Json) {
        if !self.runs_scripts() {
            return;
        }
        self.asks("document.activeElement.blur()").await;
        let end = Instant::now() + PATIENCE;
        while self.kept().await == before {
            assert!(Instant::now() < end, "{}: what was typed for {name} was not kept", self.who);
            tokio::time::sleep(GLANCE).await;
        }
    }

    /// Answers one field: taps the answer, or types it. Gives whether there was anything to do.
    pub async fn answers(&self, name: &str, text: &str) -> bool {
        let field = format!("[name=\"{name}\"]");
        let there = "return document.querySelector(arguments[0]) !== null";
        let there = self.done(self.client.execute(there, vec![json!(field)]).await, "looking for a field") == json!(true);
        // A unit that cannot be chosen is not asked for.
        if !there && name.ends_with(".unit") {
            return false;
        }
        // An item that hangs on another's answer comes a moment after that answer.
        let found = self.element(&field).await;
        let kind = self.done(found.attr("type").await, "reading a field's type").unwrap_or_default();
        if kind == "date" {
            self.types(&field, &self.day_as_typed(text).await).await;
            assert_eq!(self.value(&field).await, text, "{}: the day stands in {name}", self.who);
            return true;
        }
        if kind != "radio" {
            self.types(&field, text).await;
            return true;
        }
        let tap = format!("{field}[value=\"{text}\"]");
        let chosen = self.done(self.element(&tap).await.is_selected().await, "reading a choice");
        if !chosen {
            self.taps(&format!("label:has(> {tap})")).await;
        }
        !chosen
    }

    /// The figures of a day in the order in which this browser's date field takes them.
    async fn day_as_typed(&self, day: &str) -> String {
        // Its driver takes a day as WebDriver writes it, whatever the order of the field's parts.
        if self.kind == Kind::Firefox {
            return day.to_owned();
        }
        let order = "return new Intl.DateTimeFormat(navigator.language).formatToParts().map((part) => part.type)";
        let order = self.asks(order).await;
        let parts: Vec<&str> = day.split('-').collect();
        let part = |kind: &Json| match kind.as_str() {
            Some("year") => parts[0],
            Some("month") => parts[1],
            Some("day") => parts[2],
            _ => "",
        };
        order.as_array().expect("parts of a date").iter().map(part).collect()
    }
}
