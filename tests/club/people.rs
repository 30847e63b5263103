//! The people of a club: drivers with their cars, inspectors at the gate.

use super::{Answer, Club, Page, Person, css, sound_answers};
use reqwest::StatusCode;
use serde_json::{Map, Value as Json, json};
use uuid::Uuid;

/// A driver with their car.
pub struct Driver<'c> {
    pub person: Person,
    pub club: &'c Club,
    pub entry: String,
    pub number: String,
    pub secret: String,
}

impl Driver<'_> {
    pub fn home(&self) -> String {
        format!("/my/{}", self.entry)
    }

    pub async fn looks(&self) -> Page {
        self.person.get(&self.home()).await.page().await
    }

    /// What the driver's page says stands between the car and the grid.
    pub async fn heading(&self) -> String {
        self.looks().await.first("h1")
    }

    /// Types the answers of an area; names as in the form (`pad-front.lf`).
    pub async fn types(&self, area: &str, fields: &[(&str, &str)]) -> Answer {
        self.person.post(&format!("{}/areas/{area}", self.home()), fields).await
    }

    /// The hidden fields of the page that sends.
    pub async fn ready_to_send(&self) -> Vec<(String, String)> {
        let page = self.looks().await;
        let field = |name: &str| (name.to_owned(), page.value_of(&format!("form.send input[name={name}]")));
        vec![field("id"), field("seen"), field("edition")]
    }

    pub async fn sends_form(&self, fields: &[(String, String)]) -> Answer {
        let fields: Vec<(&str, &str)> = fields.iter().map(|(name, text)| (name.as_str(), text.as_str())).collect();
        self.person.post(&format!("{}/submissions", self.home()), &fields).await
    }

    /// Sends a whole sheet of a sound car, changed by `change`, as a device's file. Gives the answer.
    pub async fn sends(&self, change: impl FnOnce(&mut Map<String, Json>)) -> Answer {
        let mut answers = sound_answers();
        change(&mut answers);
        let state = self.state().await;
        let body = json!({ "id": self.club.new_id(), "seen": state.seen, "edition": state.edition, "answers": answers });
        self.person.post_json(&format!("{}/submissions", self.home()), &body).await
    }

    /// What a device would know of the entry.
    pub async fn state(&self) -> Known {
        let event = self.club.house.event(self.club.event.parse().expect("an id")).await.expect("the event");
        let id = self.entry.parse().expect("an id");
        let state = witnessmark::acts::state::read(&self.club.house, &event, id, &witnessmark::rules::units::Units::METRIC).await;
        Known { seen: state.expect("the entry").judgement.heads, edition: event.edition.id }
    }
}

pub struct Known {
    pub seen: Vec<Uuid>,
    pub edition: Uuid,
}

/// An inspector at the gate.
pub struct Inspector<'c> {
    pub person: Person,
    pub club: &'c Club,
    pub name: String,
    /// Of the link that was used: it lets nobody in any more.
    pub secret: String,
}

impl Inspector<'_> {
    pub fn lane(&self) -> String {
        format!("/gate/{}", self.club.event)
    }

    /// Opens a car, as it is now.
    pub async fn opens(&self, number: &str) -> OpenCar<'_> {
        let found = self.person.get(&format!("{}?number={number}", self.lane())).await;
        assert_eq!(found.status(), StatusCode::SEE_OTHER, "car {number} is found by its number");
        let path = found.location();
        let page = self.person.get(&path).await.page().await;
        OpenCar { inspector: self, path, page }
    }

    /// Looks, checks everything by hand, closes what is open as seen put right, and clears.
    pub async fn clears(&self, number: &str) -> Answer {
        self.opens(number).await.clears().await
    }

    pub async fn holds(&self, number: &str, reason: &str) -> Answer {
        self.opens(number).await.holds(reason).await
    }
}

/// A car's page as an inspector has it open: it does not change by itself.
pub struct OpenCar<'i> {
    pub inspector: &'i Inspector<'i>,
    pub path: String,
    pub page: Page,
}

impl OpenCar<'_> {
    /// The form with everything ticked, and a sentence on each finding that was measured.
    pub fn all_ticked(&self) -> Vec<(String, String)> {
        let mut fields: Vec<(String, String)> = ["id", "seen", "edition"]
            .iter()
            .map(|name| ((*name).to_owned(), self.page.value_of(&format!("form[data-sign-off] input[name={name}]"))))
            .collect();
        let every_box = css("input[type=checkbox]");
        let boxes = self.page.html.select(&every_box).filter_map(|tick| tick.attr("name"));
        fields.extend(boxes.map(|name| (name.to_owned(), "1".to_owned())));
        let sentences = css("form[data-sign-off] input[name^=\"seen-\"]");
        let sentences = self.page.html.select(&sentences).filter_map(|text| text.attr("name"));
        fields.extend(sentences.map(|name| (name.to_owned(), "New ones are fitted".to_owned())));
        fields
    }

    pub async fn signs(&self, fields: &[(String, String)], deed: &str, reason: &str) -> Answer {
        let mut form: Vec<(&str, &str)> = fields.iter().map(|(name, text)| (name.as_str(), text.as_str())).collect();
        form.extend([("deed", deed), ("reason", reason)]);
        self.inspector.person.post(&format!("{}/sign-offs", self.path), &form).await
    }

    pub async fn clears(&self) -> Answer {
        self.signs(&self.all_ticked(), "clear", "").await
    }

    pub async fn holds(&self, reason: &str) -> Answer {
        let fields: Vec<_> = self.all_ticked().into_iter().filter(|(name, _)| name == "id" || name == "seen").collect();
        self.signs(&fields, "hold", reason).await
    }
}
