//! Black-box stories over HTTP: drivers, inspectors and organizers at their pages.

#[path = "../club/mod.rs"]
mod club;
mod tools;

mod answers;
mod branches;
mod late;
mod links;
mod stale;
mod the_day;
mod twice;
mod withdrawal;
