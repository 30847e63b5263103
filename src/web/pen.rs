//! The pen: lines, shapes and words of a drawing, all coloured by the style sheet.

use crate::web::draw::drawing;
use askama::FastWritable;
use askama::filters::HtmlSafe;
use std::fmt::{self, Display, Write};

/// The width of every drawing in its own units: those of a phone's page, so that 13 units of text are 13 pixels there.
pub(in crate::web) const WIDTH: f64 = 340.0;
/// A letter is about so wide, in units.
const LETTER: f64 = 7.3;

/// A finished drawing. It says in words what it shows.
pub(in crate::web) struct Drawing {
    height: f64,
    body: String,
    says: String,
}
drawing!(Drawing);

impl Display for Drawing {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (height, body, says) = (self.height, &self.body, escaped(&self.says));
        write!(f, r#"<svg class="drawing" viewBox="0 0 {WIDTH} {height:.0}" role="img" aria-label="{says}">{body}</svg>"#)
    }
}

/// From which side of its point a text runs.
#[derive(Clone, Copy)]
pub(in crate::web) enum Side {
    Right,
    Middle,
    Left,
}

#[derive(Default)]
pub(in crate::web) struct Pen {
    body: String,
}

/// A coordinate that is always a number within the paper's reach.
fn at(value: f64) -> f64 {
    if value.is_finite() { value.clamp(-2000.0, 4000.0) } else { 0.0 }
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}

/// About how wide a text is.
pub(in crate::web) fn width_of(text: &str) -> f64 {
    LETTER * text.chars().count() as f64
}

impl Pen {
    // Writing into a String does not fail.
    fn put(&mut self, markup: fmt::Arguments<'_>) {
        let _ = self.body.write_fmt(markup);
    }

    pub fn line(&mut self, class: &str, from: (f64, f64), to: (f64, f64)) {
        self.lines(class, &[from, to]);
    }

    /// A line through points.
    pub fn lines(&mut self, class: &str, points: &[(f64, f64)]) {
        let path = path_of(points);
        self.put(format_args!(r#"<path class="{class}" d="{path}"/>"#));
    }

    /// An area round points.
    pub fn area(&mut self, class: &str, points: &[(f64, f64)]) {
        let path = path_of(points);
        self.put(format_args!(r#"<path class="{class}" d="{path}Z"/>"#));
    }

    /// A path as it is written; only ever of our own making.
    pub fn path(&mut self, class: &str, d: &str) {
        self.put(format_args!(r#"<path class="{class}" d="{d}"/>"#));
    }

    pub fn rect(&mut self, class: &str, corner: (f64, f64), size: (f64, f64)) {
        let (x, y, w, h) = (at(corner.0), at(corner.1), at(size.0).max(0.0), at(size.1).max(0.0));
        self.put(format_args!(r#"<rect class="{class}" x="{x:.1}" y="{y:.1}" width="{w:.1}" height="{h:.1}"/>"#));
    }

    pub fn circle(&mut self, class: &str, centre: (f64, f64), radius: f64) {
        let (x, y, r) = (at(centre.0), at(centre.1), at(radius).max(0.0));
        self.put(format_args!(r#"<circle class="{class}" cx="{x:.1}" cy="{y:.1}" r="{r:.1}"/>"#));
    }

    pub fn text(&mut self, class: &str, side: Side, point: (f64, f64), text: &str) {
        let anchor = match side {
            Side::Right => "start",
            Side::Middle => "middle",
            Side::Left => "end",
        };
        let (x, y, text) = (at(point.0), at(point.1), escaped(text));
        self.put(format_args!(r#"<text class="{class}" x="{x:.1}" y="{y:.1}" text-anchor="{anchor}">{text}</text>"#));
    }

    /// A text in the middle over a point, moved so far that it stays on the paper.
    pub fn label(&mut self, class: &str, point: (f64, f64), text: &str) {
        let half = width_of(text) / 2.0;
        let x = point.0.clamp(half.min(WIDTH / 2.0), (WIDTH - half).max(WIDTH / 2.0));
        self.text(class, Side::Middle, (x, point.1), text);
    }

    /// A line with a head at its end.
    pub fn arrow(&mut self, class: &str, points: &[(f64, f64)]) {
        self.lines(class, points);
        let (Some(&(x, y)), Some(&(px, py))) = (points.last(), points.iter().rev().nth(1)) else { return };
        let length = (x - px).hypot(y - py).max(1e-6);
        let (ux, uy) = ((x - px) / length * 7.0, (y - py) / length * 7.0);
        let head = [(x - ux - uy * 0.6, y - uy + ux * 0.6), (x, y), (x - ux + uy * 0.6, y - uy - ux * 0.6)];
        self.lines(class, &head);
    }

    /// A measured stretch with a tick at both ends, and how long it is.
    pub fn stretch(&mut self, class: &str, from: (f64, f64), to: (f64, f64)) {
        let length = (to.0 - from.0).hypot(to.1 - from.1).max(1e-6);
        let (nx, ny) = (-(to.1 - from.1) / length * 4.0, (to.0 - from.0) / length * 4.0);
        self.line(class, from, to);
        for (x, y) in [from, to] {
            self.line(class, (x - nx, y - ny), (x + nx, y + ny));
        }
    }

    /// A block that stands for a reading: whole where it keeps its limit, broken and offset where it does not.
    pub fn block(&mut self, keeps: bool, (x, y): (f64, f64), height: f64) {
        if keeps {
            self.rect("solid", (x - 3.0, y), (6.0, height));
        } else {
            let half = height / 2.0 - 1.0;
            self.rect("over", (x - 6.0, y), (6.0, half));
            self.rect("over", (x, y + half + 2.0), (6.0, half));
        }
    }

    /// A plate in colours of its own: the figures on what is behind them. The colours are #rrggbb, read before.
    pub fn plate(&mut self, corner: (f64, f64), size: (f64, f64), ground: &str, ink: &str, text: &str) {
        let ((x, y), (w, h)) = (corner, size);
        let (ground, ink, text) = (escaped(ground), escaped(ink), escaped(text));
        self.put(format_args!(r#"<rect class="framed" x="{x:.1}" y="{y:.1}" width="{w:.1}" height="{h:.1}" fill="{ground}"/>"#));
        let (x, y) = (x + w / 2.0, y + h * 0.8);
        self.put(format_args!(r#"<text class="plated" x="{x:.1}" y="{y:.1}" text-anchor="middle" fill="{ink}">{text}</text>"#));
    }

    pub fn finish(self, height: f64, says: impl Into<String>) -> Drawing {
        Drawing { height: at(height).max(10.0), body: self.body, says: says.into() }
    }
}

fn path_of(points: &[(f64, f64)]) -> String {
    let mut path = String::new();
    for (nth, (x, y)) in points.iter().enumerate() {
        let _ = write!(path, "{}{:.1} {:.1}", if nth == 0 { "M" } else { "L" }, at(*x), at(*y));
    }
    path
}
