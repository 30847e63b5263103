//! Thread and grade of a wheel fastener: what is read can be written and read again, and any of it makes a clamp load.

#![no_main]

use libfuzzer_sys::fuzz_target;
use witnessmark::rules::fasteners::{Grade, Thread, Tightened, clamp};
use witnessmark_fuzz::{says_something, timely};

fuzz_target!(|text: &str| {
    // Grades are short and read of the same text.
    let grade = timely(|| Grade::parse(text));
    let thread = match timely(|| Thread::parse(text)) {
        Ok(thread) => thread,
        Err(error) => return says_something(&error.to_string(), text),
    };
    assert_eq!(grade, None, "\"{text}\" is a thread and a grade");
    let (diameter, pitch, area) = (thread.diameter_mm(), thread.pitch_mm(), thread.stress_area_mm2());
    assert!((4.0..=42.0).contains(&diameter) && (0.05..=0.25).contains(&(pitch / diameter)), "{thread:?}");
    assert!(area > 0.0 && area < std::f64::consts::PI / 4.0 * diameter * diameter, "{thread:?} has {area} mm²");
    let (per_inch, parts) = (25.4 / pitch, diameter / 25.4 * 64.0);
    // Quotation marks and blanks before it are passed over, as those of inches are.
    let again = if text.trim_start_matches(|c: char| !c.is_alphanumeric()).starts_with(['M', 'm']) {
        Thread::parse(&format!("M{diameter}x{pitch}"))
    } else {
        Thread::parse(&format!("{}/64-{}", parts.round(), per_inch.round()))
    };
    let again = again.unwrap_or_else(|error| panic!("{thread:?} of \"{text}\" is written and refused: {error}"));
    let near = |one: f64, other: f64| (one - other).abs() <= 1e-9 * one;
    assert!(near(again.diameter_mm(), diameter) && near(again.pitch_mm(), pitch), "{thread:?} comes back as {again:?}");
    for grade in [Grade::Class8_8, Grade::Class10_9, Grade::Class12_9, Grade::Sae2, Grade::Sae5, Grade::Sae8] {
        let stud = Tightened { thread, grade, torque_nm: 110.0, asked_nm: None, tolerance_percent: 10.0, turns: None, dry: true };
        let Some(found) = clamp(&stud) else { continue };
        says_something(&found.why, text);
        assert!(0.0 < found.clamp_low_kn && found.clamp_low_kn < found.clamp_high_kn && found.used_high_percent.is_finite());
    }
});
