//! From plain values to bytes that people take away. No SQL, no web.

pub mod calendar;
pub mod csv;
