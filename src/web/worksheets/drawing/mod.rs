//! Drawings of what a worksheet found, where a person would rather look than read. Plain SVG, one file a subject.

mod body;
mod brakes;
mod engine;
mod gate;
mod gear;
mod rail;
mod sign;
mod tyres;
mod wheels;

use crate::rules::worksheet_form::{Form, Measure, Outcome, Shown, System};
use crate::web::{chart, pen};
use serde_json::{Map, Value as Json};

pub(super) use pen::Drawing;
pub(super) use sign::Sign;

/// What a drawing is made from: the worksheet's input and output, and the reader's units.
pub(super) struct Drawn<'a> {
    pub form: &'static Form,
    pub input: &'a Map<String, Json>,
    pub output: &'a Map<String, Json>,
    pub system: System,
}

/// The drawing of an answer; `None` where these readings leave nothing to draw.
pub(super) fn draw(drawn: &Drawn<'_>) -> Option<Drawing> {
    match drawn.form.name {
        "tyre-date" => tyres::date(drawn),
        "tyre-pressure" => tyres::pressure(drawn),
        "tyre-service" => tyres::service(drawn),
        "brake-fluid" => brakes::fluid(drawn),
        "pad-wear" => brakes::pads(drawn),
        "brake-heat" => brakes::heat(drawn),
        "wheel-fastener" => wheels::fastener(drawn),
        "corner-weights" => wheels::corners(drawn),
        "alignment" => wheels::alignment(drawn),
        "leak-down" => engine::leak_down(drawn),
        "compression" => engine::compression(drawn),
        "noise" => engine::noise(drawn),
        "number-contrast" => body::numbers(drawn),
        "vin" => body::vin(drawn),
        "helmet-line" => gear::helmet_line(drawn),
        "gear-life" => gear::life(drawn),
        "spot-check" => gate::spot_check(drawn),
        "gate-queue" => gate::queue(drawn),
        _ => None,
    }
}

impl Drawn<'_> {
    /// A number of the input, by its field.
    fn given(&self, field: &str) -> Option<f64> {
        self.input.get(field)?.as_f64()
    }

    /// A number of the output.
    fn found(&self, field: &str) -> Option<f64> {
        self.output.get(field)?.as_f64()
    }

    fn text(&self, field: &str) -> Option<&str> {
        self.input.get(field)?.as_str()
    }

    /// Whether the verdict lets the car go.
    fn is_well(&self) -> bool {
        matches!(self.output.get("verdict").and_then(Json::as_str), Some("ok" | "note"))
    }

    /// A figure with its unit, as the reader has it.
    fn say(&self, measure: Measure, wire: f64) -> String {
        self.say_finely(measure, wire, 0)
    }

    fn say_finely(&self, measure: Measure, wire: f64, more_decimals: usize) -> String {
        let (number, unit) = measure.say(wire, more_decimals, self.system);
        if unit == "\u{b0}" { format!("{number}{unit}") } else { format!("{number} {unit}") }
    }

    /// The measure of an outcome.
    fn measure_of(&self, path: &str) -> Option<Measure> {
        let of = |outcome: &&Outcome| outcome.path == path;
        match self.form.outcomes.iter().find(of)?.shown {
            Shown::Measured(measure) => Some(measure),
            _ => None,
        }
    }
}
