//! Corner weights, toe and camber: what the scales and the strings say.

use super::words::Verdict;
use super::worksheet_input::{Fields, InputError, beside, worst};
use serde::Serialize;
use thiserror::Error;

/// The four scales' readings, kg.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Corners {
    pub lf_kg: f64,
    pub rf_kg: f64,
    pub lr_kg: f64,
    pub rr_kg: f64,
}

/// What the worksheet `corner-weights` says.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CornerWeights {
    pub total_kg: f64,
    pub front_percent: f64,
    pub left_percent: f64,
    pub cross_percent: f64,
    pub verdict: Verdict,
    pub why: String,
}

/// Worksheet `corner-weights`: shares of front, left and the diagonal.
///
/// Cross = (right front + left rear) / total. Level pads, tyres at their pressures, driver or ballast in the seat, bars
/// disconnected. No share is right or wrong by itself, so the verdict is always ok.
///
/// Source: definition, common practice.
///
/// # Example: a car of 1000 kg
/// ```
/// use witnessmark::rules::weights::{Corners, corner_weights};
/// let found = corner_weights(&Corners { lf_kg: 280.0, rf_kg: 270.0, lr_kg: 240.0, rr_kg: 210.0 });
/// assert_eq!((found.total_kg, found.front_percent, found.left_percent, found.cross_percent), (1000.0, 55.0, 52.0, 51.0));
/// ```
pub fn corner_weights(corners: &Corners) -> CornerWeights {
    let Corners { lf_kg, rf_kg, lr_kg, rr_kg } = *corners;
    let total_kg = lf_kg + rf_kg + lr_kg + rr_kg;
    let share = |kg: f64| 100.0 * kg / total_kg;
    let (front_percent, left_percent, cross_percent) = (share(lf_kg + rf_kg), share(lf_kg + lr_kg), share(rf_kg + lr_kg));
    let why = format!("{total_kg:.1} kg: {front_percent:.1} % front, {left_percent:.1} % left, {cross_percent:.1} % cross.");
    CornerWeights { total_kg, front_percent, left_percent, cross_percent, verdict: Verdict::Ok, why }
}

/// The JSON side of [`corner_weights`].
///
/// Ranges: 1 to 5000 kg a corner.
///
/// # Errors
/// [`InputError`] for a field that cannot be used.
pub fn corner_weights_worksheet(input: &Fields) -> Result<CornerWeights, InputError> {
    let scale = |field: &str| input.number(field, 1.0..=5000.0);
    let (lf_kg, rf_kg, lr_kg, rr_kg) = (scale("lf_kg")?, scale("rf_kg")?, scale("lr_kg")?, scale("rr_kg")?);
    Ok(corner_weights(&Corners { lf_kg, rf_kg, lr_kg, rr_kg }))
}

/// Toe of a wheel, in both forms.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Toe {
    degrees: f64,
    mm: Option<f64>,
}

/// A toe that cannot be.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Error)]
#[error("The toe is larger than what it was measured across: read both again.")]
pub struct ToeError;

impl Toe {
    /// From the difference front to rear in mm, and the length across which it was measured (often the rim).
    ///
    /// # Errors
    /// [`ToeError`] where the difference is the longer of the two.
    pub fn of_mm(toe_mm: f64, across_mm: f64) -> Result<Toe, ToeError> {
        let degrees = (toe_mm / across_mm).asin().to_degrees();
        if degrees.is_finite() { Ok(Toe { degrees, mm: Some(toe_mm) }) } else { Err(ToeError) }
    }

    /// From the angle, with the length across which millimetres are wanted, if they are.
    pub fn of_degrees(degrees: f64, across_mm: Option<f64>) -> Toe {
        Toe { degrees, mm: across_mm.map(|across| across * degrees.to_radians().sin()) }
    }

    /// The angle in degrees.
    pub fn degrees(self) -> f64 {
        self.degrees
    }

    /// The difference in mm; `None` where nobody said across what.
    pub fn mm(self) -> Option<f64> {
        self.mm
    }
}

/// What the worksheet `alignment` says.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Alignment {
    /// None for a toe in degrees without the length across.
    pub toe_mm: Option<f64>,
    pub toe_deg: f64,
    /// Left and right, the larger less the smaller.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub camber_difference_deg: Option<f64>,
    pub verdict: Verdict,
    pub why: String,
}

/// Worksheet `alignment`: toe in both forms, and camber side against side.
///
/// Toe angle = asin(toe / across). A difference of camber over the limit: fix. Toe itself has no limit here: the car maker's
/// figure decides.
///
/// Source: trigonometry; the limit is the sheet's.
///
/// # Example: 2 mm across a rim of 430 mm is about a quarter of a degree
/// ```
/// use witnessmark::rules::weights::{Toe, judge_alignment};
/// let found = judge_alignment(Toe::of_mm(2.0, 430.0).unwrap(), Some((-2.0, -1.4)), 0.5);
/// assert!((found.toe_deg - 0.26649).abs() < 1e-5);
/// assert!((found.camber_difference_deg.unwrap() - 0.6).abs() < 1e-9);
/// ```
pub fn judge_alignment(toe: Toe, camber_deg: Option<(f64, f64)>, limit_side_to_side_deg: f64) -> Alignment {
    let toe_deg = toe.degrees;
    let toe_mm = toe.mm;
    let mm = toe_mm.map(|mm| format!(" ({mm:.1} mm)")).unwrap_or_default();
    let mut said = vec![(Verdict::Ok, format!("toe {toe_deg:.2}°{mm}"))];
    let camber_difference_deg = camber_deg.map(|(left, right)| (left - right).abs());
    if let (Some((left, right)), Some(difference)) = (camber_deg, camber_difference_deg) {
        let over = difference > limit_side_to_side_deg + 1e-9;
        let figure = beside(difference, limit_side_to_side_deg, 1);
        let text = format!("camber {left}° left and {right}° right, {figure}° apart; the limit is {limit_side_to_side_deg}°");
        said.push((if over { Verdict::Fix } else { Verdict::Ok }, text));
    }
    let (verdict, why) = worst(said);
    Alignment { toe_mm, toe_deg, camber_difference_deg, verdict, why }
}

/// The JSON side of [`judge_alignment`].
///
/// Ranges: toe -1000 to 1000 mm or -45 to 45°, across 100 to 5000 mm, camber -20 to 20°, limit 0 to 20°.
///
/// # Errors
/// [`InputError`] for a field that cannot be used: also toe in both forms at once, and one camber without the other.
pub fn alignment(input: &Fields) -> Result<Alignment, InputError> {
    let across_mm = input.number_if("across_mm", 100.0..=5000.0)?;
    let toe = match (input.number_if("toe_mm", -1000.0..=1000.0)?, input.number_if("toe_deg", -45.0..=45.0)?) {
        (Some(_), Some(_)) => return Err(input.error("toe_deg", "Give the toe in mm or in degrees, not both.")),
        (Some(mm), None) => {
            let across = across_mm
                .ok_or_else(|| input.error("across_mm", "\"toe_mm\" needs \"across_mm\": across what was it measured?"))?;
            Toe::of_mm(mm, across).map_err(|error| input.error("toe_mm", error.to_string()))?
        }
        (None, Some(degrees)) => Toe::of_degrees(degrees, across_mm),
        (None, None) => return Err(input.error("toe_mm", "Give \"toe_mm\" with \"across_mm\", or \"toe_deg\".")),
    };
    let camber = |field: &str| input.number_if(field, -20.0..=20.0);
    let camber_deg = match (camber("camber_left_deg")?, camber("camber_right_deg")?) {
        (Some(left), Some(right)) => Some((left, right)),
        (None, None) => None,
        (Some(_), None) => return Err(input.error("camber_right_deg", "Give camber of both sides or of none.")),
        (None, Some(_)) => return Err(input.error("camber_left_deg", "Give camber of both sides or of none.")),
    };
    let limit = input.number_if("limit_side_to_side_deg", 0.0..=20.0)?.unwrap_or(0.5);
    Ok(judge_alignment(toe, camber_deg, limit))
}
