//! JSON in which no object has a key twice: of two answers to one item neither may be lost in silence.

use serde::de::{Deserialize, Deserializer, Error, MapAccess, SeqAccess, Visitor};
use serde_json::{Map, Value as Json};
use std::fmt;

/// Reads JSON strictly.
///
/// # Errors
/// What is wrong with it, and where; a key that is there twice is wrong.
///
/// # Example: two readings of one pad
/// ```
/// use witnessmark::rules::strict_json::read;
/// assert!(read(br#"{"pad-front": 2.1, "pad-front": 9.0}"#).is_err());
/// ```
pub fn read(bytes: &[u8]) -> Result<Json, serde_json::Error> {
    serde_json::from_slice::<Strict>(bytes).map(|Strict(json)| json)
}

struct Strict(Json);

impl<'de> Deserialize<'de> for Strict {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Strict, D::Error> {
        deserializer.deserialize_any(StrictVisitor).map(Strict)
    }
}

struct StrictVisitor;

impl<'de> Visitor<'de> for StrictVisitor {
    type Value = Json;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("JSON")
    }

    fn visit_bool<E>(self, value: bool) -> Result<Json, E> {
        Ok(Json::Bool(value))
    }

    fn visit_i64<E>(self, value: i64) -> Result<Json, E> {
        Ok(value.into())
    }

    fn visit_u64<E>(self, value: u64) -> Result<Json, E> {
        Ok(value.into())
    }

    fn visit_f64<E: Error>(self, value: f64) -> Result<Json, E> {
        serde_json::Number::from_f64(value).map(Json::Number).ok_or_else(|| E::custom("a number that is not finite"))
    }

    fn visit_str<E>(self, value: &str) -> Result<Json, E> {
        Ok(value.into())
    }

    fn visit_unit<E>(self) -> Result<Json, E> {
        Ok(Json::Null)
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut seq: A) -> Result<Json, A::Error> {
        let mut list = Vec::new();
        while let Some(Strict(value)) = seq.next_element()? {
            list.push(value);
        }
        Ok(Json::Array(list))
    }

    fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Json, A::Error> {
        let mut object = Map::new();
        while let Some((key, Strict(value))) = map.next_entry::<String, Strict>()? {
            if object.contains_key(&key) {
                return Err(A::Error::custom(format!("the key \"{key}\" is there twice")));
            }
            object.insert(key, value);
        }
        Ok(Json::Object(object))
    }
}
