//! A reading on its scale: how near it is to its limit is seen before it is read. Several of them, one under the other.

use super::pen::{Drawing, Pen, Side, WIDTH, width_of};

const LEFT: f64 = 6.0;
const RIGHT: f64 = WIDTH - 6.0;

/// One scale.
#[derive(Default)]
pub(super) struct Rail {
    /// What is measured.
    pub title: String,
    /// The reading in words.
    pub said: String,
    pub readings: Vec<f64>,
    /// Whether the readings keep the limit.
    pub keeps: bool,
    /// From where to where a thing may lie, or lies.
    pub band: Option<(f64, f64)>,
    pub limits: Vec<(f64, String)>,
    /// Places worth knowing that bind nobody.
    pub marks: Vec<(f64, String)>,
    /// The scale begins here, where that says more than the nearest figure does.
    pub from: Option<f64>,
}

impl Rail {
    /// The ends of the scale: all that is shown on it, and a little air.
    fn ends(&self) -> (f64, f64) {
        let band = self.band.iter().flat_map(|(low, high)| [*low, *high]);
        let named = self.limits.iter().chain(&self.marks).map(|(at, _)| *at);
        let all = || self.readings.iter().copied().chain(band.clone()).chain(named.clone()).chain(self.from);
        let (low, high) = (all().fold(f64::INFINITY, f64::min), all().fold(f64::NEG_INFINITY, f64::max));
        let air = if high > low { 0.12 * (high - low) } else { low.abs().max(1.0) * 0.2 };
        (if self.from == Some(low) { low } else { low - air }, high + air)
    }

    /// Draws the scale from y down and gives where the next may begin.
    fn draw(&self, pen: &mut Pen, y: f64) -> f64 {
        let (low, high) = self.ends();
        let x = |value: f64| LEFT + (RIGHT - LEFT) * ((value - low) / (high - low)).clamp(0.0, 1.0);
        pen.text("title", Side::Right, (0.0, y + 13.0), &self.title);
        pen.text("title", Side::Left, (WIDTH, y + 13.0), &self.said);
        let rail = y + 32.0;
        pen.line("rail", (LEFT, rail), (RIGHT, rail));
        if let Some((from, to)) = self.band {
            pen.rect("band", (x(from), rail - 5.0), (x(to) - x(from), 10.0));
        }
        for (at, _) in &self.marks {
            pen.line("ink", (x(*at), rail - 6.0), (x(*at), rail + 6.0));
        }
        for (at, _) in &self.limits {
            pen.line("limit", (x(*at), rail - 10.0), (x(*at), rail + 10.0));
        }
        for reading in &self.readings {
            pen.block(self.keeps, (x(*reading), rail - 9.0), 18.0);
        }
        let mut below: Vec<(f64, &str)> =
            self.limits.iter().chain(&self.marks).map(|(at, text)| (x(*at), text.as_str())).collect();
        below.sort_by(|(a, _), (b, _)| a.total_cmp(b));
        labels(pen, &below, rail + 26.0)
    }
}

/// Words under their places, in as many lines as they need; gives where the next thing may begin.
fn labels(pen: &mut Pen, below: &[(f64, &str)], y: f64) -> f64 {
    let mut ends = Vec::new();
    for (x, text) in below {
        let half = width_of(text) / 2.0;
        let x = x.clamp(half, (WIDTH - half).max(half));
        let row = ends.iter().position(|end| x - half > end + 8.0).unwrap_or(ends.len());
        if row == ends.len() {
            ends.push(0.0);
        }
        if let Some(end) = ends.get_mut(row) {
            *end = x + half;
        }
        pen.text("soft", Side::Middle, (x, y + 16.0 * row as f64), text);
    }
    y - 4.0 + 16.0 * ends.len() as f64
}

/// Draws scales one under the other; `None` without any.
pub(super) fn rails(pen: Pen, top: f64, rails: &[Rail], says: &str) -> Option<Drawing> {
    let (mut pen, mut y) = (pen, top);
    let shown: Vec<&Rail> = rails.iter().filter(|rail| rail.ends().0.is_finite() && rail.ends().1.is_finite()).collect();
    if shown.is_empty() && top == 0.0 {
        return None;
    }
    for (nth, rail) in shown.iter().enumerate() {
        y = rail.draw(&mut pen, y + if nth == 0 { 0.0 } else { 10.0 });
    }
    Some(pen.finish(y, says))
}
