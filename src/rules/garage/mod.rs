//! The garage: a driver's cars and gear across events, with what is found, worn, ordered and done.
//!
//! All of it is the fold of what was noted, in the order of its arrival ([`change`], [`book`]). Nothing here knows a database, a
//! clock or the web.

pub mod book;
pub mod change;
pub mod csv;
pub mod due;
pub mod ends;
pub mod fold;
pub mod from_worksheet;
pub mod kinds;
pub mod log;
pub mod offers;
pub mod ready;
pub mod typed;
pub mod wear;
