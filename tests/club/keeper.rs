//! A driver in the garage: opened from a sheet, kept with a browser of its own.

use super::{Answer, Club, Driver, Page, Person, css};
use reqwest::StatusCode;
use serde_json::Value as Json;

/// Somebody who keeps a garage, in a browser that has nothing else.
pub struct Keeper<'c> {
    pub person: Person,
    pub club: &'c Club,
    pub garage: String,
    /// The garage's link, as it was shown when it was opened.
    pub secret: String,
    /// The car that came with it.
    pub car: String,
}

impl<'c> Driver<'c> {
    /// Opens a garage from the sheet, as the page does: this browser is in it, and its link opens it in another.
    pub async fn opens_a_garage(&self) -> Keeper<'c> {
        let door = format!("{}/garage", self.home());
        let id = self.person.get(&door).await.page().await.value_of("input[name=id]");
        let opened = self.person.post(&door, &[("id", &id), ("deed", "open")]).await;
        assert_eq!(opened.status(), StatusCode::OK, "the garage is opened");
        let secret = link_on(&opened.page().await);
        let person = Person::come_in(&self.club.base, &secret).await;
        let home = person.get(&format!("/my/garage/{id}")).await.page().await;
        let car = home.attr("a[href*='/cars/']:not([href$='/new'])", "href");
        let car = car.split('/').nth(5).expect("the sheet's car is in it").to_owned();
        Keeper { person, club: self.club, garage: id, secret, car }
    }
}

/// The secret of the link that a garage's page shows.
pub fn link_on(page: &Page) -> String {
    let links = page.all("p.link");
    let link = links.iter().find(|link| link.contains("/in/")).expect("the link is shown");
    link.rsplit('/').next().unwrap_or_default().to_owned()
}

impl Keeper<'_> {
    pub fn home(&self) -> String {
        format!("/my/garage/{}", self.garage)
    }

    /// A page of the garage: `/jobs/...`.
    pub async fn looks(&self, path: &str) -> Answer {
        self.person.get(&format!("{}{path}", self.home())).await
    }

    /// A page of the car.
    pub async fn looks_at_car(&self, path: &str) -> Answer {
        self.looks(&format!("/cars/{}{path}", self.car)).await
    }

    /// Posts a form of the garage under an id of its own, as its page would.
    pub async fn posts(&self, path: &str, id: &str, fields: &[(&str, &str)]) -> Answer {
        let form: Vec<(&str, &str)> = fields.iter().copied().chain([("id", id)]).collect();
        self.person.post(&format!("{}{path}", self.home()), &form).await
    }

    /// Notes something under a new id, which it gives.
    pub async fn notes(&self, path: &str, fields: &[(&str, &str)]) -> String {
        let id = self.club.new_id();
        let answer = self.posts(path, &id, fields).await;
        let status = answer.status();
        assert_eq!(status, StatusCode::SEE_OTHER, "{path} is noted: {}", answer.page().await.text());
        id
    }

    /// As [`Keeper::notes`], of the car.
    pub async fn notes_of_car(&self, path: &str, fields: &[(&str, &str)]) -> String {
        self.notes(&format!("/cars/{}{path}", self.car), fields).await
    }

    /// A job on the car's list.
    pub async fn has_to(&self, title: &str) -> String {
        self.notes_of_car("/jobs", &job(title)).await
    }

    /// Everything noted, as the driver takes it along.
    pub async fn file(&self) -> Json {
        self.looks("/keep/garage.json").await.json().await
    }

    /// What was noted, the kinds in their order.
    pub async fn kinds(&self) -> Vec<String> {
        let file = self.file().await;
        let changes = file["changes"].as_array().expect("a list");
        changes.iter().map(|one| one["change"]["kind"].as_str().unwrap_or_default().to_owned()).collect()
    }

    pub fn cookie(&self) -> String {
        self.person.cookie(&self.home())
    }

    /// The lines of the log with an id: those that were noted here.
    pub async fn own_lines(&self) -> Vec<String> {
        let log = self.looks_at_car("/log").await.page().await;
        let forms = css("form[action$='/strike']");
        let id = |form: scraper::ElementRef<'_>| form.attr("action").and_then(|to| to.rsplit('/').nth(1)).map(str::to_owned);
        log.html.select(&forms).filter_map(id).collect()
    }
}

/// The form of a job that asks for little.
pub fn job(title: &str) -> [(&str, &str); 4] {
    [("title", title), ("system", "engine"), ("hours", "1.5"), ("must", "1")]
}
