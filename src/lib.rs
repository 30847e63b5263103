//! Witnessmark: tech inspection for a car club's track days, from the driver's garage to the grid.
//!
//! The map, a line a room; an arrow never points back: `web` -> `acts` -> `store` -> `rules`.
//!
//! * [`rules`]: what a sheet asks, what an answer is worth, where an entry stands. Pure.
//! * [`store`]: SQLite, and nothing else knows SQL. One door for writing.
//! * [`acts`]: what a person does, one file a deed.
//! * [`output`]: from plain values to bytes that people take away.
//! * [`verify`]: a club's file held against what its records bind.
//! * [`web`]: thin: parse, call one act or one read, render.

pub mod acts;
pub mod demo;
pub mod first_link;
pub mod listen;
pub mod output;
pub mod rules;
pub mod store;
pub mod terminal;
pub mod verify;
pub mod web;
