//! Black-box stories over HTTP: drivers, inspectors and organizers at their pages.

#[path = "../club/mod.rs"]
mod club;
mod tools;

mod answers;
mod branches;
mod browser_rules;
mod circles;
mod come_in;
mod command_line;
mod command_line_standing;
mod command_line_worksheets;
mod conditions;
mod doors;
mod drafts;
mod editions;
mod events;
mod forms;
mod garage;
mod garage_access;
mod garage_calendar;
mod garage_limits;
mod garage_tables;
mod garage_twice;
mod gate;
mod late;
mod let_go;
mod links;
mod live;
mod own_tls;
mod passes;
mod photos;
mod privacy;
mod rights;
mod roster;
mod sign_in;
mod stale;
mod the_day;
mod twice;
mod typed;
mod units;
mod walk;
mod wire;
mod withdrawal;
mod worked;
mod worksheets;
