//! Stories in a real browser: Chromium as a phone of 390 x 844 with touch and as a desktop window, against the whole program.
//!
//! Wants `chromium` and `chromedriver` (Debian: `apt-get install chromium chromium-driver`); without them every test fails and
//! says so. Screenshots of every step are kept in `tests/browser/screenshots`, named by story and step.

#[path = "../club/mod.rs"]
mod club;

mod browser;
mod hands;
mod measure;
mod people;
mod sheet;
mod wire;

mod a_car_is_held;
mod a_car_is_mended;
mod coming_in;
mod garage;
mod gate_offline;
mod grid;
mod legible;
mod live;
mod no_signal_driver;
mod no_signal_lost;
mod on_paper;
mod pictures;
mod shelf;
mod sizes;
mod slow_phone;
mod told;
mod typing;
mod updates;
mod without_script;
mod worksheets;
