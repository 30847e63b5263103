//! Pad wear: how many minutes on track are left in a pad, and how many with caution.
//!
//! Caution: pads do not wear evenly, and a change of compound, track or driver changes the rate. Measure both pads of a
//! caliper, and again before each day.

use super::line::Line;
use super::words::Verdict;
use super::worksheet_input::{Fields, InputError, beside, sentence};
use serde::Serialize;

/// The two-sided level of the prediction limits: 90 %, so that the lower one holds with 95 %.
pub const LEVEL: f64 = 0.90;

/// The fields of one reading.
const READING: [&str; 2] = ["at_min", "thickness_mm"];

/// One reading of a pad.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PadReading {
    /// Minutes on track since the count began.
    pub at_min: f64,
    /// Friction material left, mm.
    pub thickness_mm: f64,
}

/// What the worksheet `pad-wear` says.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PadWear {
    pub rate_mm_per_h: f64,
    /// Minutes from the last reading until the line meets the limit, 0 where it has; none where no wear shows.
    pub left_min: Option<f64>,
    /// The same for the lower prediction limit; none for two readings or where no wear shows.
    pub left_min_cautious: Option<f64>,
    pub verdict: Verdict,
    pub why: String,
}

/// Readings that make no line; `reading` counts from 0 in the order given.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum WearError {
    #[error("Wear needs at least two readings.")]
    TooFew,
    #[error("All readings are of the same minute: give one from before and one from after some time on track.")]
    OneTime,
    #[error("Reading {} is thicker than reading {} before it, and pads do not grow: measure again.", reading + 1, before + 1)]
    Grows { reading: usize, before: usize },
}

/// Worksheet `pad-wear`: least squares through the readings, and where the line meets the limit.
///
/// `left_min` is counted from the last reading to where the line meets the limit, `left_min_cautious` to where the lower
/// 90 % prediction limit (one-sided 95 %) does, so that with that confidence a reading then would still be at the
/// limit or above. Assumes even wear per minute on track and scatter of the usual bell shape. Two readings make a line
/// and say nothing of scatter: no cautious figure. Readings may come in any order.
///
/// Fix: the last reading is below the limit, or the line does not last the planned minutes. Note: it does, but not with
/// caution. Limits: `limit_mm` is the sheet's.
///
/// # Errors
/// [`WearError`]: fewer than two readings, all at one minute, or a pad that grew (named).
///
/// Source: simple linear regression, checked against NIST StRD Norris and statsmodels; see [`Line`].
///
/// # Example: seven sessions of a front pad, read as minutes
/// ```
/// use witnessmark::rules::wear::{PadReading, judge_wear};
/// let mm = [11.0, 10.3, 9.7, 8.9, 8.4, 7.6, 7.1];
/// let readings: Vec<_> = (0u8..).zip(mm).map(|(at, mm)| PadReading { at_min: at.into(), thickness_mm: mm }).collect();
/// let wear = judge_wear(&readings, 3.0, None).unwrap();
/// assert!((wear.left_min_cautious.unwrap() - (11.676704713142643 - 6.0)).abs() < 1e-9);
/// ```
pub fn judge_wear(readings: &[PadReading], limit_mm: f64, planned_min: Option<f64>) -> Result<PadWear, WearError> {
    let mut order: Vec<(usize, PadReading)> = readings.iter().copied().enumerate().collect();
    // Two gaugings of one minute are no growth, whichever is the thicker.
    order.sort_by(|(_, a), (_, b)| a.at_min.total_cmp(&b.at_min).then(b.thickness_mm.total_cmp(&a.thickness_mm)));
    let (Some((_, first)), Some((_, last))) = (order.first(), order.last()) else { return Err(WearError::TooFew) };
    if order.len() < 2 {
        return Err(WearError::TooFew);
    }
    if first.at_min == last.at_min {
        return Err(WearError::OneTime);
    }
    if let Some(error) = growth(&order) {
        return Err(error);
    }
    let points: Vec<(f64, f64)> = order.iter().map(|(_, reading)| (reading.at_min, reading.thickness_mm)).collect();
    let line = Line::fit(&points).ok_or(WearError::OneTime)?;
    let left = |x: f64| (x - last.at_min).max(0.0);
    let left_min = if line.slope < 0.0 { line.meets(limit_mm).map(left) } else { None };
    // Where the lower limit is below the pad's limit everywhere, there is nothing left with caution.
    let cautious = || line.lower_limit_meets(limit_mm, LEVEL).map_or(0.0, left);
    let left_min_cautious = if points.len() < 3 { None } else { left_min.map(|left_min| cautious().min(left_min)) };
    let (now, thickness) = thickness_said(last.thickness_mm, limit_mm);
    let (later, time) = left_said(left_min, left_min_cautious, points.len() == 2, planned_min);
    let (verdict, why) = (now.max(later), sentence(&format!("{thickness}; {time}")));
    // A line through readings that do not grow does not rise; rounding may leave a trace of it.
    let rate_mm_per_h = (-60.0 * line.slope).max(0.0);
    Ok(PadWear { rate_mm_per_h, left_min, left_min_cautious, verdict, why })
}

fn growth(order: &[(usize, PadReading)]) -> Option<WearError> {
    order.windows(2).find_map(|pair| match pair {
        [(before, earlier), (reading, later)] if later.thickness_mm > earlier.thickness_mm => {
            Some(WearError::Grows { reading: *reading, before: *before })
        }
        _ => None,
    })
}

fn thickness_said(thickness: f64, limit: f64) -> (Verdict, String) {
    let verdict = if thickness < limit { Verdict::Fix } else { Verdict::Ok };
    (verdict, format!("the last reading is {} mm, the limit {limit} mm", beside(thickness, limit, 1)))
}

fn left_said(left: Option<f64>, cautious: Option<f64>, two: bool, planned: Option<f64>) -> (Verdict, String) {
    let Some(left) = left else { return (Verdict::Ok, "no wear shows between the readings".to_owned()) };
    let planned_figure = planned.unwrap_or(f64::INFINITY);
    let mut text = format!("about {} min are left by the line", beside(left, planned_figure, 0));
    match cautious {
        Some(cautious) => text += &format!(", {} min with caution", beside(cautious, planned_figure, 0)),
        None if two => text += "; two readings make a straight line and no cautious figure",
        None => {}
    }
    let Some(planned) = planned else { return (Verdict::Ok, text) };
    let verdict = match cautious {
        _ if left < planned => Verdict::Fix,
        Some(cautious) if cautious < planned => Verdict::Note,
        _ => Verdict::Ok,
    };
    (verdict, format!("{text}, {planned} min are planned"))
}

/// The JSON side of [`judge_wear`].
///
/// Ranges: 2 to 500 readings, 0 to 1 000 000 min, 0 to 50 mm.
///
/// # Errors
/// [`InputError`] for a field that cannot be used; a pad that grows names its reading.
pub fn pad_wear(input: &Fields) -> Result<PadWear, InputError> {
    let one = |reading: &Fields| {
        let (at_min, thickness_mm) = (reading.number("at_min", 0.0..=1e6)?, reading.number("thickness_mm", 0.0..=50.0)?);
        Ok(PadReading { at_min, thickness_mm })
    };
    let readings: Vec<PadReading> = input.objects("readings", 1..=500, &READING)?.iter().map(one).collect::<Result<_, _>>()?;
    let limit_mm = input.number_if("limit_mm", 0.0..=50.0)?.unwrap_or(3.0);
    let planned_min = input.number_if("planned_min", 0.0..=1e6)?;
    judge_wear(&readings, limit_mm, planned_min).map_err(|error| {
        let field = match error {
            WearError::Grows { reading, .. } => format!("readings[{reading}].thickness_mm"),
            WearError::TooFew | WearError::OneTime => "readings".to_owned(),
        };
        input.error(&field, error.to_string())
    })
}
