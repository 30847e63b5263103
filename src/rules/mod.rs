//! The rules: pure, and nothing of ours below them. No database, no web, no clock, no chance.

pub mod answer;
pub mod days;
pub mod fasteners;
pub mod gear;
pub mod judge;
pub mod sheet;
pub mod sheet_file;
pub mod standing;
pub mod strip;
pub mod toml_keys;
pub mod tyres;
pub mod units;
pub mod words;
pub mod worksheet;
pub mod worksheet_input;
