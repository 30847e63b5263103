//! Open cars: whether the helmet stays below the line from the main hoop to the front support.

use super::words::Verdict;
use super::worksheet_input::{Fields, InputError, beside};
use serde::Serialize;
use thiserror::Error;

/// A point in the side view of the car, mm: x along the car, z up, both from any one origin.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SidePoint {
    pub x_mm: f64,
    pub z_mm: f64,
}

/// Points that make no helmet line.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum LineError {
    #[error("Hoop and front support are at the same x: no line can be laid from one to the other.")]
    Upright,
    #[error("The helmet is not between the hoop and the front support: measure all three from the same point.")]
    Outside,
}

/// What the worksheet `helmet-line` says.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct HelmetLine {
    /// At right angles to the line, below 0 above it.
    pub clearance_mm: f64,
    pub verdict: Verdict,
    pub why: String,
}

/// Worksheet `helmet-line`: how far the top of the helmet is below the straight edge laid from the main hoop to the front
/// support.
///
/// Clearance = (height of the line above the helmet) x cos(slope of the line), which is the distance at right angles.
/// Measure with the driver belted in, helmet on, sitting as when driving. Below the limit: fix. The limit differs by
/// organizer; 51 mm is 2 in.
///
/// # Errors
/// [`LineError`]: no line, or a helmet that is not between its two ends.
///
/// Source: geometry; the straight edge: common practice, no source.
///
/// # Example: a line that falls 300 mm over 1200 mm
/// ```
/// use witnessmark::rules::openness::{SidePoint, judge_helmet};
/// let at = |x_mm, z_mm| SidePoint { x_mm, z_mm };
/// let found = judge_helmet(at(0.0, 1200.0), at(1200.0, 900.0), at(400.0, 1040.0), 51.0).unwrap();
/// assert!((found.clearance_mm - 60.0 * 4.0 / 17f64.sqrt()).abs() < 1e-9);
/// ```
pub fn judge_helmet(hoop: SidePoint, front: SidePoint, helmet: SidePoint, limit_mm: f64) -> Result<HelmetLine, LineError> {
    let (dx, dz) = (front.x_mm - hoop.x_mm, front.z_mm - hoop.z_mm);
    if dx.abs() < 1e-6 {
        return Err(LineError::Upright);
    }
    let along = (helmet.x_mm - hoop.x_mm) / dx;
    if !(0.0..=1.0).contains(&along) {
        return Err(LineError::Outside);
    }
    let above = hoop.z_mm + along * dz - helmet.z_mm;
    let clearance_mm = above * dx.abs() / dx.hypot(dz);
    let verdict = if clearance_mm < limit_mm - 1e-9 { Verdict::Fix } else { Verdict::Ok };
    let figure = beside(clearance_mm.abs(), limit_mm, 0);
    let why = if clearance_mm < 0.0 {
        format!(
            "The helmet is {:.0} mm above the line from hoop to front support; at least {limit_mm} mm below is asked.",
            -clearance_mm
        )
    } else {
        format!("The helmet is {figure} mm below the line from hoop to front support; at least {limit_mm} mm is asked.")
    };
    Ok(HelmetLine { clearance_mm, verdict, why })
}

/// The JSON side of [`judge_helmet`].
///
/// Ranges: -20 000 to 20 000 mm, limit 0 to 1000 mm.
///
/// # Errors
/// [`InputError`] for a field that cannot be used.
pub fn helmet_line(input: &Fields) -> Result<HelmetLine, InputError> {
    let point = |field: &str| {
        let point = input.object(field, &["x_mm", "z_mm"])?;
        Ok(SidePoint { x_mm: point.number("x_mm", -20_000.0..=20_000.0)?, z_mm: point.number("z_mm", -20_000.0..=20_000.0)? })
    };
    let (hoop, front, helmet) = (point("hoop")?, point("front")?, point("helmet")?);
    let limit_mm = input.number_if("limit_mm", 0.0..=1000.0)?.unwrap_or(51.0);
    judge_helmet(hoop, front, helmet, limit_mm).map_err(|error| {
        let field = if error == LineError::Upright { "front" } else { "helmet" };
        input.error(field, error.to_string())
    })
}
