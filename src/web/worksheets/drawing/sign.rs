//! The sign of a verdict: the tick of a sheet's strip, drawn large. It is not the witness mark: no worksheet clears a car.

use crate::web::draw::drawing;
use askama::FastWritable;
use askama::filters::HtmlSafe;
use std::fmt::{self, Display, Write};

/// A tick that is whole (ok), has a dot (note), is broken and offset (fix), or is apart with a bar between (stop).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(in crate::web::worksheets) enum Sign {
    Whole,
    Dotted,
    Broken,
    Barred,
}
drawing!(Sign);

impl Sign {
    /// The sign of a verdict by its word; anything unknown is barred.
    pub fn of(verdict: &str) -> Sign {
        match verdict {
            "ok" => Sign::Whole,
            "note" => Sign::Dotted,
            "fix" => Sign::Broken,
            _ => Sign::Barred,
        }
    }
}

impl Display for Sign {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let path = match self {
            Sign::Whole => "M13 2h14v17H13zM13 22h14v17H13z",
            Sign::Dotted => "M8 2h14v17H8zM8 22h14v17H8zM28 32h7v7h-7z",
            Sign::Broken => "M7 2h14v17H7zM19 22h14v17H19z",
            Sign::Barred => "M5 1h13v13H5zM22 27h13v13H22zM1 17.500h38v6H1z",
        };
        write!(f, r#"<svg class="sign" viewBox="0 0 40 41" aria-hidden="true"><path d="{path}"/></svg>"#)
    }
}
