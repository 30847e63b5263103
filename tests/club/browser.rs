//! Somebody at a browser: what they send, what they are answered, and the page they read.

use reqwest::cookie::{CookieStore, Jar};
use reqwest::{Client, Response, StatusCode, redirect};
use scraper::{Html, Selector};
use serde_json::Value as Json;
use std::sync::Arc;

/// What every organizer of these tests signs in with.
pub const PASSPHRASE: &str = "three wet dogs on a ferry";

/// Somebody with a browser of their own: cookies are kept, redirects are not followed unless asked.
pub struct Person {
    pub client: Client,
    base: String,
    jar: Arc<Jar>,
}

impl Person {
    /// Somebody whom nobody let in.
    pub fn stranger(base: &str) -> Person {
        let jar = Arc::new(Jar::default());
        let client = Client::builder().cookie_provider(jar.clone()).redirect(redirect::Policy::none());
        Person { client: client.build().expect("a client"), base: base.to_owned(), jar }
    }

    /// Opens a link and does what the page behind it asks: nothing of a driver, a tap of an inspector, a passphrase of an
    /// organizer.
    pub async fn come_in(base: &str, secret: &str) -> Person {
        let person = Person::stranger(base);
        assert_eq!(person.uses_link(secret).await.status(), StatusCode::SEE_OTHER, "the link lets its holder in");
        person
    }

    /// As [`Person::come_in`], whatever comes of it.
    pub async fn uses_link(&self, secret: &str) -> Answer {
        let door = format!("/in/{secret}");
        let answer = self.get(&door).await;
        if answer.status() != StatusCode::OK {
            return answer;
        }
        let page = answer.page().await;
        let form: &[(&str, &str)] =
            if page.has("input[type=password]") { &[("sets", "passphrase"), ("passphrase", PASSPHRASE)] } else { &[] };
        self.post(&door, form).await
    }

    /// Signs in as this organizer, after a time away in which the session ended.
    pub async fn signs_in_again(&self, name: &str) {
        let answer = self.post("/sign-in", &[("name", name), ("passphrase", PASSPHRASE)]).await;
        assert_eq!(answer.status(), StatusCode::SEE_OTHER, "{name} signs in");
    }

    /// The cookie that the browser sends to a page: `witnessmark=...`.
    pub fn cookie(&self, path: &str) -> String {
        let cookies = self.jar.cookies(&self.url(path).parse().expect("an address")).expect("a cookie for this page");
        let cookies = cookies.to_str().expect("a text").to_owned();
        cookies.split("; ").find(|pair| pair.starts_with("witnessmark=")).expect("the device's cookie").to_owned()
    }

    pub fn url(&self, path: &str) -> String {
        format!("{}{path}", self.base)
    }

    pub async fn send(&self, request: reqwest::RequestBuilder) -> Answer {
        Answer(request.send().await.expect("the server answers"))
    }

    pub async fn get(&self, path: &str) -> Answer {
        self.send(self.client.get(self.url(path))).await
    }

    pub async fn post(&self, path: &str, form: &[(&str, &str)]) -> Answer {
        self.send(self.client.post(self.url(path)).header("sec-fetch-site", "same-origin").form(form)).await
    }

    pub async fn post_json(&self, path: &str, body: &Json) -> Answer {
        self.send(self.client.post(self.url(path)).json(body)).await
    }

    /// Posts bytes as they are, under any content type.
    pub async fn post_bytes(&self, path: &str, kind: &str, body: impl Into<reqwest::Body>) -> Answer {
        self.send(self.client.post(self.url(path)).header("content-type", kind).body(body)).await
    }

    /// Sends files by a form: name of the file, what it says it is, its bytes.
    pub async fn upload(&self, path: &str, field: &'static str, files: &[(&str, &str, &[u8])]) -> Answer {
        let mut form = reqwest::multipart::Form::new();
        for (name, kind, bytes) in files {
            let part = reqwest::multipart::Part::bytes(bytes.to_vec()).file_name((*name).to_owned());
            form = form.part(field, part.mime_str(kind).expect("a content type"));
        }
        self.send(self.client.post(self.url(path)).multipart(form)).await
    }

    /// Asks with a cookie in hand, whatever path it was given for.
    pub async fn get_with(&self, path: &str, cookie: &str) -> Answer {
        self.send(self.client.get(self.url(path)).header("cookie", cookie)).await
    }

    /// Posts a form with a cookie in hand, whatever path it was given for.
    pub async fn post_with(&self, path: &str, cookie: &str, form: &[(&str, &str)]) -> Answer {
        self.send(self.client.post(self.url(path)).header("cookie", cookie).form(form)).await
    }

    /// Opens a private link and keeps the cookie in hand instead of in the browser: `witnessmark=...`.
    pub async fn cookie_by(base: &str, secret: &str) -> String {
        let answer = Person::stranger(base).get(&format!("/in/{secret}")).await;
        let cookie = answer.header("set-cookie");
        cookie.split(';').next().filter(|pair| pair.contains('=')).expect("a link gives a cookie").to_owned()
    }
}

/// What the server answered.
pub struct Answer(Response);

impl Answer {
    pub fn of(response: Response) -> Answer {
        Answer(response)
    }

    pub fn status(&self) -> StatusCode {
        self.0.status()
    }

    pub fn header(&self, name: &str) -> String {
        self.0.headers().get(name).and_then(|value| value.to_str().ok()).unwrap_or_default().to_owned()
    }

    /// Every header of a name, in order.
    pub fn headers(&self, name: &str) -> Vec<String> {
        self.0.headers().get_all(name).into_iter().filter_map(|value| value.to_str().ok()).map(str::to_owned).collect()
    }

    pub fn location(&self) -> String {
        self.header("location")
    }

    pub async fn text(self) -> String {
        self.0.text().await.expect("a text")
    }

    pub async fn json(self) -> Json {
        self.0.json().await.expect("JSON")
    }

    pub async fn bytes(self) -> Vec<u8> {
        self.0.bytes().await.expect("bytes").to_vec()
    }

    /// The next piece of a stream; `None` when it has ended.
    pub async fn piece(&mut self) -> Option<String> {
        let piece = self.0.chunk().await.ok().flatten()?;
        Some(String::from_utf8(piece.to_vec()).expect("UTF-8"))
    }

    pub async fn page(self) -> Page {
        Page { html: Html::parse_document(&self.text().await) }
    }
}

/// A page, read.
pub struct Page {
    pub html: Html,
}

pub fn css(selector: &str) -> Selector {
    Selector::parse(selector).expect("a selector")
}

pub(super) fn text_of(element: scraper::ElementRef<'_>) -> String {
    element.text().collect::<Vec<_>>().join(" ").split_whitespace().collect::<Vec<_>>().join(" ")
}

impl Page {
    /// Everything a person can read on it.
    pub fn text(&self) -> String {
        text_of(self.html.root_element())
    }

    /// What the first element of a kind says.
    pub fn first(&self, selector: &str) -> String {
        self.html.select(&css(selector)).next().map(text_of).unwrap_or_default()
    }

    /// What all elements of a kind say.
    pub fn all(&self, selector: &str) -> Vec<String> {
        self.html.select(&css(selector)).map(text_of).collect()
    }

    /// The value of the first field of a kind.
    pub fn value_of(&self, selector: &str) -> String {
        let found = self.html.select(&css(selector)).next();
        found.and_then(|field| field.attr("value")).unwrap_or_default().to_owned()
    }

    /// The text inside the first element of a kind, letter by letter.
    pub fn raw(&self, selector: &str) -> String {
        self.html.select(&css(selector)).next().map(|element| element.text().collect()).unwrap_or_default()
    }

    /// Whether there is such an element.
    pub fn has(&self, selector: &str) -> bool {
        self.html.select(&css(selector)).next().is_some()
    }

    /// An attribute of the first element of a kind.
    pub fn attr(&self, selector: &str, name: &str) -> String {
        let found = self.html.select(&css(selector)).next();
        found.and_then(|element| element.attr(name)).unwrap_or_default().to_owned()
    }

    /// The secret of the private link that is shown.
    pub fn secret(&self) -> String {
        let url = self.first("code");
        url.rsplit("/in/").next().unwrap_or_default().to_owned()
    }
}
