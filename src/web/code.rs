//! A link as a code to scan (ISO/IEC 18004): dark squares as one path, so that the page needs no picture and no script.

use fast_qr::{ECL, QRBuilder};
use std::fmt::{self, Display, Formatter, Write};

/// Four light squares on every side, as the standard asks.
const QUIET: usize = 4;

/// A text to scan.
pub struct Code(pub String);

impl Display for Code {
    fn fmt(&self, out: &mut Formatter<'_>) -> fmt::Result {
        // Level M: a code on a screen is not torn, but it is seen at a slant and in the sun.
        let Ok(code) = QRBuilder::new(self.0.as_bytes()).ecl(ECL::M).build() else { return Ok(()) };
        let side = code.size + 2 * QUIET;
        let mut path = String::new();
        for row in 0..code.size {
            let dark = |column: usize| column < code.size && code.data[row * code.size + column].value();
            let mut column = 0;
            while column < code.size {
                let run = (column..code.size).take_while(|at| dark(*at)).count();
                if run > 0 {
                    write!(path, "M{} {}h{run}v1h-{run}z", column + QUIET, row + QUIET)?;
                }
                column += run.max(1);
            }
        }
        write!(
            out,
            "<svg class=\"code\" viewBox=\"0 0 {side} {side}\" role=\"img\" aria-label=\"Code to scan\" shape-rendering=\"crispEdges\">\
             <path class=\"light\" d=\"M0 0h{side}v{side}h-{side}z\"/><path class=\"dark\" d=\"{path}\"/></svg>"
        )
    }
}

impl askama::filters::HtmlSafe for Code {}
