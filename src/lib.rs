//! Witnessmark: tech inspection for a car club's track days, from the driver's garage to the grid.
//!
//! The map, a line a room; an arrow never points back: `web` -> `acts` -> `store` -> `rules`.
//!
//! * [`rules`]: what a sheet asks, what an answer is worth, where an entry stands. Pure.
//! * [`store`]: SQLite, and nothing else knows SQL. One door for writing.
//! * [`acts`]: what a person does, one file a deed.

pub mod acts;
pub mod rules;
pub mod store;
