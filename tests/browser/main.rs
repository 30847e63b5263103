//! Stories in a real browser: Chromium as a phone of 390 x 844 with touch and as a desktop window, and Firefox as such a phone,
//! against the whole program.
//!
//! Wants `chromium`, `chromedriver` and `firefox-esr` (Debian: `apt-get install chromium chromium-driver firefox-esr`), and
//! `geckodriver` where `tests/all` puts it, and `faketime`; without them a test fails and says so. Screenshots of every step
//! are kept in `tests/browser/screenshots`, named by story and step.

#[path = "../club/mod.rs"]
mod club;

mod browser;
#[path = "../faults/dice.rs"]
#[allow(dead_code, reason = "every test binary throws its own part of the dice")]
mod dice;
mod hands;
mod kept;
mod measure;
mod people;
#[path = "../faults/server.rs"]
#[allow(dead_code, reason = "every test binary uses its own part of the server")]
mod server;
mod sheet;
mod wire;

mod a_car_is_held;
mod a_car_is_mended;
mod changing_hands;
mod coming_in;
mod drivers_cuts;
mod full_phone;
mod garage;
mod garage_again;
mod gate_offline;
mod grid;
mod legible;
mod let_go;
mod live;
mod no_signal_driver;
mod no_signal_lost;
mod on_paper;
mod pictures;
mod servers_clock;
mod shelf;
mod sizes;
mod slow_phone;
mod told;
mod two_browsers;
mod typing;
mod updates;
mod without_script;
mod worksheets;
