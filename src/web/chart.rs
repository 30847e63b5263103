//! The paper of a chart: two axes with a few round figures on them.

use super::pen::{Pen, Side, WIDTH};

/// Where a chart lies and what its edges stand for.
#[derive(Clone, Copy)]
pub(in crate::web) struct Chart {
    x: (f64, f64),
    y: (f64, f64),
    left: f64,
    right: f64,
    top: f64,
    bottom: f64,
}

impl Chart {
    /// A chart of this height over these two spans.
    pub fn new(x: (f64, f64), y: (f64, f64), height: f64) -> Chart {
        let some = |(low, high): (f64, f64)| if high > low && (high - low).is_finite() { (low, high) } else { (low, low + 1.0) };
        Chart { x: some(x), y: some(y), left: 40.0, right: WIDTH - 8.0, top: 24.0, bottom: height }
    }

    pub fn x(&self, value: f64) -> f64 {
        self.left + (self.right - self.left) * (value - self.x.0) / (self.x.1 - self.x.0)
    }

    pub fn y(&self, value: f64) -> f64 {
        self.bottom - (self.bottom - self.top) * (value - self.y.0) / (self.y.1 - self.y.0)
    }

    pub fn at(&self, x: f64, y: f64) -> (f64, f64) {
        (self.x(x), self.y(y))
    }

    pub fn edges(&self) -> (f64, f64) {
        (self.left, self.right)
    }

    /// The axes, with what they count at their ends.
    pub fn axes(&self, pen: &mut Pen, x_unit: &str, y_unit: &str) {
        for value in round_figures(self.y, 4) {
            pen.line("hair", (self.left, self.y(value)), (self.right, self.y(value)));
            pen.text("soft", Side::Left, (self.left - 6.0, self.y(value) + 4.0), &short(value));
        }
        pen.lines("ink", &[(self.left, self.top), (self.left, self.bottom), (self.right, self.bottom)]);
        let figures = round_figures(self.x, 5);
        for value in &figures {
            pen.line("ink", (self.x(*value), self.bottom), (self.x(*value), self.bottom + 4.0));
            pen.label("soft", (self.x(*value), self.bottom + 18.0), &short(*value));
        }
        pen.text("soft", Side::Left, (self.right, self.bottom + 34.0), x_unit);
        pen.text("soft", Side::Right, (0.0, 12.0), y_unit);
    }
}

fn short(value: f64) -> String {
    let text = format!("{value:.2}");
    let text = text.trim_end_matches('0').trim_end_matches('.').replace('-', "\u{2212}");
    if text == "\u{2212}0" { "0".to_owned() } else { text }
}

/// At most `most` round figures within a span.
fn round_figures((low, high): (f64, f64), most: usize) -> Vec<f64> {
    let rough = (high - low) / most as f64;
    let scale = 10f64.powf(rough.log10().floor());
    let steps = [1.0, 2.0, 5.0, 10.0].map(|step| step * scale);
    let Some(step) = steps.into_iter().find(|step| *step >= rough * (1.0 - 1e-9)) else { return Vec::new() };
    let first = (low / step - 1e-9).ceil();
    (0..=most).map(|nth| (first + nth as f64) * step).filter(|value| value.is_finite() && *value <= high + 1e-9 * step).collect()
}
