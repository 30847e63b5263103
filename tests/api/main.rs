//! Black-box stories over HTTP: drivers, inspectors and organizers at their pages.

#[path = "../club/mod.rs"]
mod club;

mod the_day;
