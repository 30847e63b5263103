//! The garage: opened from a sheet, noted in, looked at, taken away. It is its driver's; the club sees what is sent with a sheet.

pub mod books;
pub mod calendar;
pub mod ends;
pub mod guide;
pub mod keep;
pub mod look;
pub mod note;
pub mod open;
pub mod photo;
