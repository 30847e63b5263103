//! A driver in the garage, at its pages.

use super::{Answer, Club, Driver, Page, css};
use reqwest::StatusCode;

/// A driver's garage with one car in it, opened from the driver's sheet on the same browser.
pub struct AtGarage<'d> {
    pub driver: &'d Driver<'d>,
    /// `/my/garage/{garage}`
    pub base: String,
    /// `/my/garage/{garage}/cars/{car}`
    pub car: String,
    /// Of the garage's own link, shown once.
    pub secret: String,
}

impl Driver<'_> {
    /// Opens a garage from the sheet.
    pub async fn opens_own_garage(&self) -> AtGarage<'_> {
        let door = format!("{}/garage", self.home());
        let asked = self.person.get(&door).await.page().await;
        let id = asked.value_of("input[name=id]");
        let opened = self.person.post(&door, &[("deed", "open"), ("id", &id)]).await;
        assert_eq!(opened.status(), StatusCode::OK, "the garage opens");
        let page = opened.page().await;
        let secret = page.first(".link").rsplit('/').next().unwrap_or_default().to_owned();
        let base = page.attr(".key a.go", "href");
        let home = self.person.get(&base).await.page().await;
        let car = home.attr(".cars a", "href");
        AtGarage { driver: self, base, car, secret }
    }
}

impl AtGarage<'_> {
    pub fn club(&self) -> &Club {
        self.driver.club
    }

    /// A page of the garage; paths that begin with a slash are whole.
    pub async fn page(&self, path: &str) -> Page {
        let answer = self.driver.person.get(&self.at(path)).await;
        assert_eq!(answer.status(), StatusCode::OK, "{path} opens");
        answer.page().await
    }

    /// A path of the car's.
    fn at(&self, path: &str) -> String {
        match path {
            "" => self.car.clone(),
            path if path.starts_with('/') => path.to_owned(),
            path => format!("{}/{path}", self.car),
        }
    }

    /// Sends a form with an id of its own, whatever comes of it.
    pub async fn sends(&self, path: &str, fields: &[(&str, &str)]) -> Answer {
        let id = self.club().new_id();
        let fields: Vec<(&str, &str)> = [("id", id.as_str())].into_iter().chain(fields.iter().copied()).collect();
        self.driver.person.post(&self.at(path), &fields).await
    }

    /// Notes something that is taken. Gives where it leads.
    pub async fn notes(&self, path: &str, fields: &[(&str, &str)]) -> String {
        let answer = self.sends(path, fields).await;
        let (status, to) = (answer.status(), answer.location());
        if status != StatusCode::SEE_OTHER {
            panic!("{path} is noted: {status}: {}", answer.page().await.text());
        }
        to
    }

    /// Pads at all four wheels, in mm, at six in the evening.
    pub async fn reads_pads(&self, day: &str, [lf, rf, lr, rr]: [&str; 4], new: bool) {
        let mut fields = vec![("day", day), ("clock", "18:00"), ("unit", "mm"), ("lf", lf), ("rf", rf), ("lr", lr), ("rr", rr)];
        if new {
            fields.push(("fresh", "1"));
        }
        self.notes("readings/pad", &fields).await;
    }

    pub async fn drove(&self, day: &str, sessions: &str, minutes: &str) {
        self.notes("track", &[("day", day), ("sessions", sessions), ("minutes", minutes)]).await;
    }

    /// Puts a job on the list. Gives its address.
    pub async fn job(&self, title: &str, system: &str, hours: &str, more: &[(&str, &str)]) -> String {
        let fields = [&[("title", title), ("system", system), ("hours", hours), ("must", "1")], more].concat();
        self.notes("jobs", &fields).await
    }

    /// The address of the car's day of this name.
    pub async fn day(&self, name: &str) -> String {
        let page = self.page("").await;
        let links = css("a[href*='/days/']");
        let found = page.html.select(&links).find(|link| {
            let text: String = link.text().collect();
            text.contains(name) || text.contains("Ready?")
        });
        found.and_then(|link| link.attr("href")).unwrap_or_else(|| panic!("a day called {name}")).to_owned()
    }
}
