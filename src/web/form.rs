//! What a browser sends: forms read strictly, path ids, the reader's units.

use super::Web;
use super::error::Fault;
use super::session::cookies;
use crate::acts::Refusal;
use crate::acts::refusal::field;
use crate::rules::units::Units;
use axum::body::Bytes;
use axum::extract::{FromRequest, FromRequestParts, Path, Request};
use axum::http::header::CONTENT_TYPE;
use axum::http::request::Parts;
use serde::de::DeserializeOwned;
use std::collections::{BTreeMap, BTreeSet};
use std::convert::Infallible;
use uuid::Uuid;

/// The most fields of a form.
const MOST_FIELDS: usize = 4000;

/// A form: names and texts in the order they were sent.
#[derive(Debug, Default)]
pub struct Form(Vec<(String, String)>);

impl Form {
    /// The text of a field, trimmed; empty where it was not sent.
    pub fn text(&self, name: &str) -> &str {
        self.0.iter().find(|(key, _)| key == name).map_or("", |(_, text)| text.trim())
    }

    /// The text of a field exactly as it was sent.
    pub fn raw(&self, name: &str) -> &str {
        self.0.iter().find(|(key, _)| key == name).map_or("", |(_, text)| text)
    }

    /// All fields.
    pub fn pairs(&self) -> impl Iterator<Item = (&str, &str)> {
        self.0.iter().map(|(key, text)| (key.as_str(), text.as_str()))
    }

    /// The ends of the names of ticked boxes that begin with this: `by-hand-` gives the items.
    pub fn ticked(&self, begin: &str) -> BTreeSet<String> {
        self.0.iter().filter_map(|(key, _)| key.strip_prefix(begin)).map(str::to_owned).collect()
    }

    /// The fields whose names begin with this, by what follows up to a point and by what follows it: `reading-pad-front.lf`
    /// under `reading-` is `lf` of `pad-front`.
    pub fn under(&self, begin: &str) -> BTreeMap<String, BTreeMap<String, String>> {
        let mut under: BTreeMap<String, BTreeMap<String, String>> = BTreeMap::new();
        for (name, text) in self.0.iter().filter_map(|(key, text)| Some((key.strip_prefix(begin)?, text))) {
            let (first, rest) = name.split_once('.').unwrap_or((name, ""));
            under.entry(first.to_owned()).or_default().insert(rest.to_owned(), text.clone());
        }
        under
    }

    /// An id in a field.
    pub fn id(&self, name: &str) -> Result<Uuid, Fault> {
        Uuid::parse_str(self.text(name)).map_err(|_| broken(name))
    }

    /// A list of ids in a field, with commas between them; an empty field is an empty list.
    pub fn ids(&self, name: &str) -> Result<Vec<Uuid>, Fault> {
        let parts = self.text(name).split(',').filter(|part| !part.is_empty()).take(1000);
        parts.map(|part| Uuid::parse_str(part).map_err(|_| broken(name))).collect()
    }
}

fn broken(name: &str) -> Fault {
    let message =
        "This page's hidden fields did not arrive whole. Open the page again; what you typed is kept where it was saved.";
    Fault::from(Refusal::Fields(vec![field(name, message)]))
}

impl FromRequest<Web> for Form {
    type Rejection = Fault;

    async fn from_request(request: Request, web: &Web) -> Result<Form, Fault> {
        let kind = request.headers().get(CONTENT_TYPE).and_then(|value| value.to_str().ok()).unwrap_or_default();
        if !kind.starts_with("application/x-www-form-urlencoded") {
            return Err(Fault::unsupported("This page takes a form, sent as application/x-www-form-urlencoded."));
        }
        let bytes = Bytes::from_request(request, web).await.map_err(Fault::body)?;
        read(&bytes).map_err(|why| Fault::from(Refusal::Fields(vec![field("form", why)])))
    }
}

fn read(bytes: &[u8]) -> Result<Form, &'static str> {
    let pairs: Vec<(String, String)> = form_urlencoded::parse(bytes).into_owned().take(MOST_FIELDS + 1).collect();
    if pairs.len() > MOST_FIELDS {
        return Err("The form has too many fields.");
    }
    // The reader puts this character where bytes are no UTF-8. Somebody who really typed it sends it spelt out.
    let replaced = pairs.iter().any(|(key, text)| key.contains('\u{FFFD}') || text.contains('\u{FFFD}'));
    let typed = bytes.windows(9).any(|window| window.eq_ignore_ascii_case(b"%EF%BF%BD"));
    if replaced && !typed {
        return Err("The form is not UTF-8 text: type it again.");
    }
    if pairs.iter().any(|(key, text)| key.contains('\0') || text.contains('\0')) {
        return Err("The form holds a character that cannot be kept: type it again.");
    }
    Ok(Form(pairs))
}

/// What a script of ours sent, as JSON.
pub struct Sent<T>(pub T);

impl<T: DeserializeOwned> FromRequest<Web> for Sent<T> {
    type Rejection = Fault;

    async fn from_request(request: Request, web: &Web) -> Result<Sent<T>, Fault> {
        let bytes = Bytes::from_request(request, web).await.map_err(Fault::body)?;
        let read = serde_json::from_slice(&bytes).map(Sent);
        read.map_err(|_| Refusal::Fields(vec![field("sent", "This did not arrive whole: begin again.")]).into())
    }
}

/// What stands behind the question mark of an address, read as a form is.
pub struct Asked(pub Form);

impl FromRequestParts<Web> for Asked {
    type Rejection = Fault;

    async fn from_request_parts(parts: &mut Parts, _: &Web) -> Result<Asked, Fault> {
        let query = parts.uri.query().unwrap_or_default();
        read(query.as_bytes()).map(Asked).map_err(|why| Fault::from(Refusal::Fields(vec![field("address", why)])))
    }
}

/// The path's parts. A path that cannot be read is a page that is not there.
pub struct At<T>(pub T);

impl<T: DeserializeOwned + Send> FromRequestParts<Web> for At<T> {
    type Rejection = Fault;

    async fn from_request_parts(parts: &mut Parts, web: &Web) -> Result<At<T>, Fault> {
        let path = Path::<T>::from_request_parts(parts, web).await;
        path.map(|Path(value)| At(value)).map_err(|_| Fault::from(Refusal::NotHere))
    }
}

/// The units the reader chose on this browser.
pub struct Chosen(pub Units);

/// The cookie that keeps the choice.
pub const UNITS_COOKIE: &str = "units";

impl FromRequestParts<Web> for Chosen {
    type Rejection = Infallible;

    async fn from_request_parts(parts: &mut Parts, _: &Web) -> Result<Chosen, Infallible> {
        let units = cookies(&parts.headers, UNITS_COOKIE).next().map(Units::from_tokens);
        Ok(Chosen(units.unwrap_or(Units::METRIC)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_form_that_is_not_utf8_is_refused_and_not_mangled() {
        assert!(read(b"name=J%F6rg").is_err(), "latin-1 would be kept as a question mark");
        assert_eq!(read("name=J%C3%B6rg".as_bytes()).unwrap().text("name"), "J\u{f6}rg");
        assert!(read(b"name=%EF%BF%BD").is_ok(), "somebody may really type that character");
        assert!(read(b"name=a%00b").is_err());
    }
}
