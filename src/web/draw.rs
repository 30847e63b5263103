//! The drawings: the mark, the strip, the plate, the reading on its scale. Plain SVG, coloured by the style sheet.
//!
//! Shape carries the meaning and a word goes with it; colour only helps. What is drawn for the eye is hidden from a
//! screen reader where the word stands beside it.

use crate::rules::standing::Standing;
use crate::rules::strip::{AreaStrip, Tick};
use askama::FastWritable;
use askama::filters::HtmlSafe;
use std::fmt::{self, Display, Write};

/// Makes a drawing of a `Display` whose text is markup of our own making.
macro_rules! drawing {
    ($name:ident $(<$life:lifetime>)?) => {
        impl $(<$life>)? HtmlSafe for $name $(<$life>)? {}
        impl $(<$life>)? FastWritable for $name $(<$life>)? {
            fn write_into(&self, dest: &mut dyn Write, _: &dyn askama::Values) -> askama::Result<()> {
                Ok(write!(dest, "{self}")?)
            }
        }
    };
}

pub(crate) use drawing;

/// The witness mark: two halves of a joint and a stripe of seal paint across them.
pub struct Mark(pub Standing);
drawing!(Mark);

impl Display for Mark {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let stripe = match self.0 {
            Standing::Cleared => r#"<path class="paint" d="M12 0h11l6 40H18z"/>"#,
            Standing::Flagged => r#"<path class="paint" d="M6 0h11l2.7 18h-11zM22 22h11l2.7 18h-11z"/>"#,
            Standing::Pending => r#"<path class="ghost" d="M13 2h10l5.4 36h-10z"/>"#,
        };
        write!(
            f,
            r#"<svg class="mark {}" viewBox="0 0 40 40" aria-hidden="true"><path class="half" d="M3 3h34v14H3zM3 23h34v14H3z"/>{stripe}</svg>"#,
            self.0
        )
    }
}

/// The strip of a sheet, or of one area: a tick an item, the joint's edge running through.
pub struct Strip<'a>(pub &'a [AreaStrip]);
drawing!(Strip<'a>);

const TICK: usize = 6;
const GAP: usize = 4;

impl Display for Strip<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let ticks: usize = self.0.iter().map(|area| area.ticks.len()).sum();
        let width = ticks * TICK + self.0.len().saturating_sub(1) * GAP;
        let words = self.words();
        write!(
            f,
            r#"<svg class="strip" viewBox="-1 -2 {} 27" width="{}" height="27" role="img" aria-label="{words}">"#,
            width + 2,
            width + 2
        )?;
        let mut paths = Paths::default();
        let mut x = 0;
        for area in self.0 {
            for tick in &area.ticks {
                paths.tick(x, *tick)?;
                x += TICK;
            }
            x += GAP;
        }
        paths.write(f)?;
        f.write_str("</svg>")
    }
}

impl Strip<'_> {
    /// What the picture says, for who cannot see it.
    fn words(&self) -> String {
        let all = || self.0.iter().flat_map(|area| &area.ticks);
        let broken = all().filter(|tick| matches!(tick, Tick::Broken(_))).count();
        let left = all().filter(|tick| **tick == Tick::Dashed).count();
        let notes = all().filter(|tick| **tick == Tick::Dotted).count();
        format!("{} items: {broken} to put right, {notes} with a note, {left} not answered", all().count())
    }
}

/// One path a kind of tick: a strip of sixty items stays under a kilobyte.
#[derive(Default)]
struct Paths {
    painted: String,
    broken: String,
    dashed: String,
    dots: String,
}

impl Paths {
    fn tick(&mut self, x: usize, tick: Tick) -> fmt::Result {
        match tick {
            Tick::Painted => write!(self.painted, "M{x} 0h4v9h-4zM{x} 11h4v9h-4z"),
            Tick::Dotted => {
                write!(self.dots, "M{} 22h2v2h-2z", x + 1)?;
                write!(self.painted, "M{x} 0h4v9h-4zM{x} 11h4v9h-4z")
            }
            Tick::Broken(_) => write!(self.broken, "M{} 0h4v9h-4zM{} 11h4v9h-4z", x.saturating_sub(1), x + 2),
            Tick::Dashed => write!(self.dashed, "M{x}.5 .5h3v8h-3zM{x}.5 11.5h3v8h-3z"),
        }
    }

    fn write(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (class, path) in [("p", &self.painted), ("d", &self.dashed), ("b", &self.broken), ("o", &self.dots)] {
            if !path.is_empty() {
                write!(f, r#"<path class="{class}" d="{path}"/>"#)?;
            }
        }
        Ok(())
    }
}

/// A reading on its scale: the limit a fine line, the reading a block. `margin` as a share of the limit, zero at it.
pub struct Scale(pub f64);
drawing!(Scale);

impl Display for Scale {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        // The limit stands at a quarter; half as much again as the limit is the right end, half of it the left.
        let limit = 25.0;
        let at = (limit + self.0 * 100.0).clamp(1.0, 97.0);
        let class = if self.0 < 0.0 { "over" } else { "kept" };
        write!(
            f,
            r#"<svg class="scale" viewBox="0 0 100 10" preserveAspectRatio="none" aria-hidden="true"><path class="rail" d="M0 5H100"/><path class="limit" d="M{limit} 0V10"/><path class="{class}" d="M{at:.1} 1h2.4v8h-2.4z"/></svg>"#
        )
    }
}

/// The plate: the car number as it stands on the door.
pub struct Plate<'a>(pub &'a str);
drawing!(Plate<'a>);

impl Display for Plate<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        // A car number is figures and a letter by its type, so there is nothing to escape.
        let safe: String = self.0.chars().filter(char::is_ascii_alphanumeric).collect();
        write!(f, r#"<span class="plate">{safe}</span>"#)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rules::words::{ItemId, Severity};

    #[test]
    fn the_three_marks_differ_in_shape_and_not_only_in_colour() {
        let [a, b, c] = [Standing::Cleared, Standing::Flagged, Standing::Pending]
            .map(|standing| Mark(standing).to_string().replace(standing.word(), ""));
        assert!(a != b && b != c && a != c);
    }

    #[test]
    fn a_strip_says_in_words_what_it_draws() {
        let ticks = vec![Tick::Painted, Tick::Broken(Severity::Stop), Tick::Dashed, Tick::Dotted];
        let area = AreaStrip { id: ItemId::parse("brakes").unwrap(), name: "Brakes".into(), ticks };
        assert!(Strip(&[area]).to_string().contains("4 items: 1 to put right, 1 with a note, 1 not answered"));
    }
}
