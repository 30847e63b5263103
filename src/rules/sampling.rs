//! Spot checks: how many cars to look at so that a clean sample says something of all.

use super::words::Verdict;
use super::worksheet_input::{Fields, InputError};
use serde::Serialize;

/// What the worksheet `spot-check` says.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SpotCheck {
    pub sample: u32,
    /// The chance of drawing no bad car although one more than tolerated are bad.
    pub chance_missed: f64,
    pub verdict: Verdict,
    pub why: String,
}

/// Worksheet `spot-check`: the smallest sample of which a clean one means, with this confidence, at most so many bad cars.
///
/// With D = tolerated + 1 bad cars among N, the chance that none is among n drawn is C(N - D, n) / C(N, n), the
/// hypergeometric chance of nought; the sample is the smallest n where it is at most 1 - confidence. Drawn at random,
/// without putting back. Where all cars may be bad there is nothing to check, and the sample is 0.
///
/// Source: hypergeometric distribution, checked against scipy 1.17.1.
///
/// # Example: sixty cars, at most two bad with 95 %
/// ```
/// use witnessmark::rules::sampling::spot_check;
/// let found = spot_check(60, 0.95, 2);
/// assert_eq!(found.sample, 38);
/// assert!((found.chance_missed - 0.045_003).abs() < 1e-6);
/// ```
pub fn spot_check(cars: u32, confidence: f64, tolerated_bad: u32) -> SpotCheck {
    let bad = tolerated_bad.saturating_add(1);
    let most = 1.0 - confidence;
    let (mut sample, mut chance) = (0, if bad > cars { 0.0 } else { 1.0 });
    // A whole number of cars meets round figures of confidence exactly (9 of 10 for 0.9), and 1 - 0.9 is a hair under 0.1 in
    // binary: without this much slack the sample would be one too many.
    while chance > most * (1.0 + 1e-9) && sample < cars {
        chance *= f64::from((cars - bad).saturating_sub(sample)) / f64::from(cars - sample);
        sample += 1;
    }
    // 100 x 0.07 is a hair over 7 in binary.
    let shown = (1e8 * confidence).round() / 1e6;
    let why = if sample == 0 {
        format!("{cars} cars, {tolerated_bad} may be bad: there is nothing to check.")
    } else {
        format!(
            "Draw {sample} of {cars} cars at random: if none is bad, then with {shown} % confidence at most {tolerated_bad} \
             of all are. Chance to miss {bad} bad ones: {:.1} %.",
            100.0 * chance
        )
    };
    SpotCheck { sample, chance_missed: chance, verdict: Verdict::Ok, why }
}

/// The JSON side of [`spot_check`].
///
/// Ranges: 1 to 100 000 cars, confidence over 0 up to 1.
///
/// # Errors
/// [`InputError`] for a field that cannot be used.
pub fn spot_check_worksheet(input: &Fields) -> Result<SpotCheck, InputError> {
    let cars = input.whole("cars", 1..=100_000)?;
    let confidence = input.number_if("confidence", 0.0..=1.0)?.unwrap_or(0.95);
    if confidence == 0.0 {
        return Err(input.error("confidence", "A confidence of 0 says nothing: give one such as 0.95."));
    }
    Ok(spot_check(cars, confidence, input.whole("tolerated_bad", 0..=100_000)?))
}
