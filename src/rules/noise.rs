//! Noise: a meter's reading cleared of background and carried to the distance of the limit.

use super::words::Verdict;
use super::worksheet_input::{Fields, InputError, beside};
use serde::Serialize;
use thiserror::Error;

/// Nearer than this a car is no point, and the law of distance says nothing. Common practice, no source.
const FAR_M: f64 = 2.0;

/// A figure that cannot be reckoned, with the reason.
#[derive(Clone, Debug, PartialEq, Error)]
pub enum NoiseError {
    #[error("The background is only {0} dB below the reading, and at least 3 dB are wanted. Measure again when it is quiet.")]
    Background(String),
    #[error(
        "A reading at {near} m says nothing of a limit at {far} m: under about 2 m a car is no single point of noise. \
         Measure at the limit's distance."
    )]
    Distance { near: f64, far: f64 },
}

/// A level carried from one distance to another in the free field: L2 = L1 - 20 log10(r2 / r1). Point source, outdoors.
///
/// # Example: an acoustics course page has 94 dB at 2 m for 100 dB at 1 m
/// ```
/// use witnessmark::rules::noise::carried;
/// assert!((carried(100.0, 1.0, 2.0) - 93.98).abs() < 0.005);
/// ```
pub fn carried(level_db: f64, from_m: f64, to_m: f64) -> f64 {
    level_db - 20.0 * (to_m / from_m).log10()
}

/// What the background adds to a reading that is `difference_db` above it, in dB: -10 log10(1 - 10^(-0.1 d)).
///
/// Source: ISO 3744 (K1). `None` at 0 dB or less.
pub fn background_adds(difference_db: f64) -> Option<f64> {
    Some(-10.0 * (1.0 - 10f64.powf(-0.1 * difference_db)).log10()).filter(|added| added.is_finite())
}

/// A reading and what it is held against. Distances in m, levels in dB(A).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct NoiseReading {
    pub measured_db: f64,
    pub measured_m: f64,
    pub limit_db: f64,
    pub limit_m: f64,
    pub background_db: Option<f64>,
}

/// What the worksheet `noise` says.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Noise {
    /// Without the background, at the place of measuring.
    pub corrected_db: f64,
    /// At the limit's distance.
    pub at_limit_db: f64,
    /// Limit less that.
    pub margin_db: f64,
    pub verdict: Verdict,
    pub why: String,
}

/// Worksheet `noise`: a reading against a limit, if need be of another distance.
///
/// Background: nothing is taken off above 15 dB of difference, and under 3 dB the reading is refused. Distance: 20 log10 of
/// the ratio, outdoors in the free field, from 2 m on; a reading at 0.5 m is not carried to a drive-by distance. Static and
/// drive-by limits differ in more than distance (engine speed, load), so a limit holds only for its own test.
///
/// Over the limit: fix.
///
/// # Errors
/// [`NoiseError`]: background too near, distance too short.
///
/// Source: ISO 3744:2010 (background; 15 dB from memory), a sound-meter maker's manual (3 dB); free-field law.
///
/// # Example: 93 dB with 89 dB of background is 90.8 dB (industrial noise text: 90.7)
/// ```
/// use witnessmark::rules::noise::{NoiseReading, judge_noise};
/// let reading = NoiseReading { measured_db: 93.0, measured_m: 20.0, limit_db: 92.0, limit_m: 20.0, background_db: Some(89.0) };
/// let noise = judge_noise(&reading).unwrap();
/// assert!((noise.corrected_db - 90.80).abs() < 0.005 && (noise.margin_db - 1.20).abs() < 0.005);
/// ```
pub fn judge_noise(reading: &NoiseReading) -> Result<Noise, NoiseError> {
    let NoiseReading { measured_db, measured_m, limit_db, limit_m, background_db } = *reading;
    let corrected_db = match background_db.map(|background| measured_db - background) {
        Some(difference) if difference < 3.0 - 1e-9 => return Err(NoiseError::Background(beside(difference, 3.0, 1))),
        Some(difference) if difference <= 15.0 + 1e-9 => measured_db - background_adds(difference).unwrap_or(0.0),
        _ => measured_db,
    };
    let same_place = (measured_m - limit_m).abs() <= 1e-9 * measured_m.max(limit_m);
    if !same_place && measured_m.min(limit_m) < FAR_M {
        return Err(NoiseError::Distance { near: measured_m, far: limit_m });
    }
    let at_limit_db = if same_place { corrected_db } else { carried(corrected_db, measured_m, limit_m) };
    let margin_db = limit_db - at_limit_db;
    let verdict = if margin_db < -1e-9 { Verdict::Fix } else { Verdict::Ok };
    let figure = beside(at_limit_db, limit_db, 1);
    let why = format!("{figure} dB(A) at {limit_m} m; the limit there is {limit_db} dB(A).");
    Ok(Noise { corrected_db, at_limit_db, margin_db, verdict, why })
}

/// The JSON side of [`judge_noise`].
///
/// Ranges: levels 0 to 190 dB(A), distances 0.05 to 1000 m.
///
/// # Errors
/// [`InputError`] for a field that cannot be used.
pub fn noise(input: &Fields) -> Result<Noise, InputError> {
    let measured_m = input.number("measured_m", 0.05..=1000.0)?;
    let reading = NoiseReading {
        measured_db: input.number("measured_db", 0.0..=190.0)?,
        measured_m,
        limit_db: input.number("limit_db", 0.0..=190.0)?,
        limit_m: input.number_if("limit_m", 0.05..=1000.0)?.unwrap_or(measured_m),
        background_db: input.number_if("background_db", 0.0..=190.0)?,
    };
    judge_noise(&reading).map_err(|error| {
        let field = if matches!(error, NoiseError::Background(_)) { "background_db" } else { "limit_m" };
        input.error(field, error.to_string())
    })
}
