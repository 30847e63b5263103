//! How our types lie in columns: ids as 16 bytes, times as milliseconds, days as text.

use super::StoreError;
use jiff::Timestamp;
use jiff::civil::{Date, Time};
use uuid::Uuid;

/// An id from its column.
pub fn id(bytes: &[u8]) -> Result<Uuid, StoreError> {
    Uuid::from_slice(bytes).map_err(|error| StoreError::Unreadable(format!("an id: {error}")))
}

/// A time from its column.
pub fn time(milliseconds: i64) -> Result<Timestamp, StoreError> {
    Timestamp::from_millisecond(milliseconds).map_err(|error| StoreError::Unreadable(format!("a time: {error}")))
}

/// A day from its column.
pub fn day(text: &str) -> Result<Date, StoreError> {
    text.parse().map_err(|error| StoreError::Unreadable(format!("a day: {error}")))
}

/// A time of day from its column.
pub fn clock(text: &str) -> Result<Time, StoreError> {
    text.parse().map_err(|error| StoreError::Unreadable(format!("a time of day: {error}")))
}

/// A list of ids as the history keeps it: a JSON list of hyphenated ids, in order.
pub fn ids_to_json(ids: &[Uuid]) -> String {
    let mut ids: Vec<String> = ids.iter().map(Uuid::to_string).collect();
    ids.sort();
    ids.dedup();
    serde_json::Value::from(ids).to_string()
}

/// The list back from its column.
pub fn ids_from_json(text: &str) -> Result<Vec<Uuid>, StoreError> {
    serde_json::from_str(text).map_err(|error| StoreError::Unreadable(format!("a list of ids: {error}")))
}
