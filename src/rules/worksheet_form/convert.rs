//! Figures for a reader: those of the outcome with their units, those typed turned into the other system's, and sentences
//! of the worksheets without the tail of a conversion.

use super::{BlankKind, Form, Measure, Outcome, Shown, System};
use crate::rules::answer::read_in;
use crate::rules::units::Unit;
use serde_json::Value as Json;
use std::collections::BTreeMap;

/// How far a converted reading may be from the typed one: a tenth of a per cent, finer than most gauges are read.
const NEAR: f64 = 0.001;
/// Sentences carry at most so many decimals, and more only where a figure is a hair from another.
const LONGEST_TAIL: usize = 3;

/// Decimals that the trade writes for a computed figure: pads are read finer than other lengths.
fn decimals(measure: Measure, unit: Unit) -> usize {
    match unit {
        Unit::Bar | Unit::Inch | Unit::Degree => 2,
        Unit::Millimetre if measure.us == Unit::ThirtySecondInch => 1,
        Unit::ThirtySecondInch | Unit::Psi | Unit::DecibelA | Unit::Percent => 1,
        Unit::Metre | Unit::Foot | Unit::Kilonewton => 1,
        _ => 0,
    }
}

/// A number without a sign on nought.
fn written(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    match text.strip_prefix('-') {
        Some(rest) if rest.bytes().all(|b| matches!(b, b'0' | b'.')) => rest.to_owned(),
        Some(rest) => format!("\u{2212}{rest}"),
        None => text,
    }
}

impl Measure {
    /// A figure in the worksheet's unit as a reader of this system reads it: the number and the unit.
    ///
    /// # Example: a pressure in bar and in psi
    /// ```
    /// use witnessmark::rules::units::Unit;
    /// use witnessmark::rules::worksheet_form::{Measure, System};
    /// let pressure = Measure::of(Unit::Kilopascal, Unit::Bar, Unit::Psi);
    /// assert_eq!(pressure.say(165.41, 0, System::Metric), ("1.65".to_owned(), "bar"));
    /// assert_eq!(pressure.say(165.41, 0, System::Us), ("24.0".to_owned(), "psi"));
    /// ```
    pub fn say(self, wire: f64, more_decimals: usize, system: System) -> (String, &'static str) {
        let unit = self.shown(system);
        let number = written(self.to_shown(wire, system), decimals(self, unit) + more_decimals);
        if unit == Unit::ThirtySecondInch { (format!("{number}/32"), "in") } else { (number, unit.symbol()) }
    }
}

impl Outcome {
    /// The figure as a reader reads it, and its unit, which may be empty; `None` where the worksheet gives none.
    pub fn say(&self, value: &Json, system: System) -> Option<(String, &'static str)> {
        let number = value.as_f64();
        Some(match self.shown {
            Shown::Measured(measure) => measure.say(number?, self.decimals, system),
            Shown::Number(unit) => (written(number?, self.decimals), unit),
            Shown::Share => (written(100.0 * number?, self.decimals), "%"),
            Shown::Text => (value.as_str()?.to_owned(), ""),
            Shown::Flag(yes, no) => {
                let word = if value.as_bool()? { yes } else { no };
                return (!word.is_empty()).then(|| (word.to_owned(), ""));
            }
        })
    }
}

/// What was typed in one system, as a reader of the other would type it; what is no number stays as it is.
///
/// A figure has as many decimals as bring it back to what was typed, and is within a tenth of a per cent; `more` adds
/// decimals where a verdict hangs on them.
///
/// # Example: there and back is the same
/// ```
/// use witnessmark::rules::worksheet_form::{System, converted, form};
/// let form = form("wheel-fastener").unwrap();
/// let typed = [("torque_nm".to_owned(), "80".to_owned()), ("thread".to_owned(), "1/2-20".to_owned())].into();
/// let metric = converted(form, &typed, System::Us, System::Metric, 0);
/// assert_eq!((metric["torque_nm"].as_str(), metric["thread"].as_str()), ("108.5", "1/2-20"));
/// assert_eq!(converted(form, &metric, System::Metric, System::Us, 0), typed);
/// ```
pub fn converted(
    form: &Form,
    typed: &BTreeMap<String, String>,
    from: System,
    to: System,
    more: usize,
) -> BTreeMap<String, String> {
    let mut other = typed.clone();
    for blank in form.blanks {
        let BlankKind::Number(Some(measure)) = blank.kind else { continue };
        if measure.shown(from) == measure.shown(to) {
            continue;
        }
        for field in blank.fields() {
            if let Some(text) = typed.get(&field).and_then(|text| turned(text, measure, from, to, more)) {
                other.insert(field, text);
            }
        }
    }
    other
}

fn turned(text: &str, measure: Measure, from: System, to: System, more: usize) -> Option<String> {
    let number = read_in(Some(measure.shown(from)), text)?;
    let tail = text.trim().split([',', '.']).nth(1).unwrap_or_default();
    let typed_decimals = tail.bytes().take_while(u8::is_ascii_digit).count();
    let exact = measure.to_shown(measure.to_wire(number, from), to);
    let comes_back = |decimals: &usize| {
        let rounded: f64 = format!("{exact:.decimals$}").parse().unwrap_or(exact);
        let back = measure.to_shown(measure.to_wire(rounded, to), from);
        let same = format!("{back:.typed_decimals$}").parse() == Ok(number);
        same && (rounded - exact).abs() <= NEAR * exact.abs()
    };
    let decimals = (0..12).find(comes_back).unwrap_or(12) + more;
    let text = format!("{exact:.decimals$}");
    let text = if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.') } else { &text };
    Some(if text == "-0" { "0" } else { text }.to_owned())
}

/// A sentence with figures as a page shows it: the tail that a conversion left (108.46543587 N·m) is rounded away, but
/// never so far that two different figures of the sentence look alike.
///
/// # Example: a torque that was typed in lbf·ft
/// ```
/// use witnessmark::rules::worksheet_form::tidy;
/// assert_eq!(tidy("108.46543587 N\u{b7}m is within 10 %."), "108.47 N\u{b7}m is within 10 %.");
/// assert_eq!(tidy("2.999996 mm, the limit 3 mm."), "2.999996 mm, the limit 3 mm.");
/// ```
pub fn tidy(sentence: &str) -> String {
    let numbers: Vec<f64> = pieces(sentence).filter_map(|piece| piece.parse().ok()).collect();
    let mut tidied = String::with_capacity(sentence.len());
    for piece in pieces(sentence) {
        let tail = piece.split_once('.').map_or(0, |(_, tail)| tail.len());
        match piece.parse::<f64>() {
            Ok(number) if tail > LONGEST_TAIL => tidied += &shorter(piece, number, &numbers),
            _ => tidied += piece,
        }
    }
    tidied
}

fn shorter(piece: &str, number: f64, others: &[f64]) -> String {
    let rounded = |decimals: usize| format!("{number:.decimals$}");
    let told_apart = |text: &String| {
        let shown: f64 = text.parse().unwrap_or(number);
        others.iter().all(|other| *other == number || (shown < *other) == (number < *other) && shown != *other)
    };
    let text = (2..7).map(rounded).find(told_apart).unwrap_or_else(|| piece.to_owned());
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
}

/// A sentence cut into figures and what is between them. A full stop at the end of a sentence belongs to no figure.
fn pieces(sentence: &str) -> impl Iterator<Item = &str> {
    let mut rest = sentence;
    std::iter::from_fn(move || {
        let begins = |text: &str| text.starts_with(|c: char| c.is_ascii_digit());
        if rest.is_empty() {
            return None;
        }
        let mut end = if begins(rest) {
            rest.find(|c: char| !c.is_ascii_digit() && c != '.').unwrap_or(rest.len())
        } else {
            rest.find(|c: char| c.is_ascii_digit()).unwrap_or(rest.len())
        };
        if begins(rest) {
            end = rest[..end].trim_end_matches('.').len();
        }
        let (piece, after) = rest.split_at(end.max(1).min(rest.len()));
        rest = after;
        Some(piece)
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const PRESSURE: Measure = Measure::of(Unit::Kilopascal, Unit::Bar, Unit::Psi);
    const TEMPERATURE: Measure = Measure::of(Unit::Celsius, Unit::Celsius, Unit::Fahrenheit);

    proptest! {
        #[test]
        fn a_typed_figure_that_is_converted_comes_back_as_it_was_typed(tenths in 1u32..20000, more in 0usize..4) {
            let typed = format!("{}.{}", tenths / 10, tenths % 10);
            for measure in [PRESSURE, TEMPERATURE] {
                let there = turned(&typed, measure, System::Us, System::Metric, more).unwrap();
                let back = turned(&there, measure, System::Metric, System::Us, more + 2).unwrap();
                let (was, is): (f64, f64) = (typed.parse().unwrap(), back.parse().unwrap());
                prop_assert!((was - is).abs() <= 0.0501, "{typed} became {there} and came back as {back}");
            }
        }

        #[test]
        fn a_sentence_keeps_every_letter_and_every_short_figure(text in "[a-zé ,.;:%0-9]{0,60}") {
            let long = |text: &str| pieces(text).any(|piece| piece.split_once('.').is_some_and(|(_, tail)| tail.len() > LONGEST_TAIL));
            prop_assert_eq!(pieces(&text).collect::<String>(), text.clone());
            if !long(&text) {
                prop_assert_eq!(tidy(&text), text);
            }
        }
    }

    #[test]
    fn nought_has_no_sign_and_below_it_stands_a_minus() {
        assert_eq!(written(-0.004, 2), "0.00");
        assert_eq!(written(-1.25, 2), "\u{2212}1.25");
    }
}
