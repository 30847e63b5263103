//! The marking of a tyre: what is read can be written as the sidewall has it and read again.

#![no_main]

use libfuzzer_sys::fuzz_target;
use witnessmark::rules::tyre_service::{Marking, TyreService, judge_service, load_kg, speed_kmh};
use witnessmark_fuzz::{says_something, timely};

fuzz_target!(|text: &str| {
    let marking = match timely(|| Marking::parse(text)) {
        Ok(marking) => marking,
        Err(error) => return says_something(&error.to_string(), text),
    };
    let found = judge_service(&marking, Some(1100.0), Some(250.0));
    says_something(&found.why, text);
    let figures = [found.width_mm, found.aspect_percent, found.rim_in, found.diameter_mm];
    assert!(figures.iter().all(|figure| figure.is_finite() && *figure > 0.0), "{found:?}");
    assert!(found.load_margin_percent.is_none_or(f64::is_finite) && found.speed_margin_kmh.is_none_or(f64::is_finite));
    let written = write(&found);
    assert_eq!(Marking::parse(&written), Ok(marking), "\"{text}\" is read as {found:?} and written as \"{written}\"");
});

/// The marking as the sidewall has it: "245/40 R18 97Y", "205/55 ZR16", "285/30 R20 (99Y)".
fn write(found: &TyreService) -> String {
    let index = found.load_kg.and_then(|kg| (50..=150).find(|index| load_kg(*index) == Some(kg)));
    let symbol = found.speed_kmh.and_then(|kmh| ('A'..='Y').find(|symbol| speed_kmh(*symbol) == Some(kmh)));
    let service = match (index, symbol, found.over_speed_kmh) {
        (Some(index), Some(symbol), false) => format!("R{} {index}{symbol}", found.rim_in),
        (Some(index), Some(symbol), true) => format!("R{} ({index}{symbol})", found.rim_in),
        (Some(index), None, false) => format!("R{} {index}", found.rim_in),
        (None, Some('V'), true) => format!("ZR{}", found.rim_in),
        (None, None, false) => format!("R{}", found.rim_in),
        mixed => panic!("no sidewall has this: {mixed:?}, {found:?}"),
    };
    format!("{}/{} {service}", found.width_mm, found.aspect_percent)
}
