//! Tyre pressure, cold and hot: how warm the air got, and what to set cold for a wanted hot pressure.

use super::words::Verdict;
use super::worksheet_input::{Fields, InputError, beside, worst};
use serde::Serialize;

/// 0 °C in kelvin (SI brochure).
const ZERO_C: f64 = 273.15;
/// The standard atmosphere in kPa (ISO 2533).
pub const ATMOSPHERE_KPA: f64 = 101.325;
/// Air temperatures outside this are likelier a leak or a wrong reading. Common practice, no source.
const LIKELY_C: (f64, f64) = (-20.0, 150.0);
/// Below this the "air" would be liquid: the readings are not of one tyre, cold and hot. In kelvin.
const COLDEST_K: f64 = 80.0;

/// A tyre's readings. Pressures are gauge pressures, as every tyre gauge shows them.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pressures {
    pub cold_kpa: f64,
    pub cold_c: f64,
    pub hot_kpa: f64,
    pub target_hot_kpa: f64,
    /// The tyre's temperature when it is next set cold.
    pub next_cold_c: f64,
    /// The air pressure of the day; a gauge shows pressure above it.
    pub ambient_kpa: f64,
}

/// What the worksheet `tyre-pressure` says.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PressurePlan {
    pub hot_c: f64,
    pub rise_c: f64,
    /// The gauge pressure to set cold; below 0 where no cold setting arrives at the target.
    pub set_cold_kpa: f64,
    pub verdict: Verdict,
    pub why: String,
}

/// Worksheet `tyre-pressure`: the cold setting that arrives at a wanted hot pressure.
///
/// p2 / p1 = T2 / T1 with absolute pressures (gauge + ambient) and kelvin: the hot temperature from the two readings, the
/// same rise above the next cold temperature, and from that the cold setting. Assumes dry air, a tyre of fixed volume and
/// that the next run warms it as much. Within 0.31 % of real air; water left in a tyre makes it rise far more. Never set
/// a tyre below the car maker's least pressure.
///
/// Note: hot below cold, the air below -20 °C or over 150 °C (a leak or a wrong reading is likelier), or no cold setting
/// that arrives.
///
/// # Errors
/// `None` where the readings would need air below its boiling point: they are not one tyre, cold and hot.
///
/// Source: ideal gas law at fixed volume; checked against CoolProp 8.0.0.
///
/// # Example: 200 kPa cold at 20 °C and 261.7 kPa hot is air of 80 °C
/// ```
/// use witnessmark::rules::tyre_pressure::{Pressures, plan};
/// let readings = Pressures {
///     cold_kpa: 200.0, cold_c: 20.0, hot_kpa: 261.673, target_hot_kpa: 220.0, next_cold_c: 20.0, ambient_kpa: 101.325,
/// };
/// let plan = plan(&readings).unwrap();
/// assert!((plan.hot_c - 80.0).abs() < 0.01);
/// assert!((plan.set_cold_kpa - 165.41).abs() < 0.01);
/// ```
pub fn plan(readings: &Pressures) -> Option<PressurePlan> {
    let Pressures { cold_kpa, cold_c, hot_kpa, target_hot_kpa, next_cold_c, ambient_kpa } = *readings;
    let hot_k = (cold_c + ZERO_C) * (hot_kpa + ambient_kpa) / (cold_kpa + ambient_kpa);
    let (hot_c, rise_c) = (hot_k - ZERO_C, hot_k - (cold_c + ZERO_C));
    let next_cold_k = next_cold_c + ZERO_C;
    let next_hot_k = next_cold_k + rise_c;
    if hot_k < COLDEST_K || next_hot_k < COLDEST_K {
        return None;
    }
    let set_cold_kpa = (target_hot_kpa + ambient_kpa) * next_cold_k / next_hot_k - ambient_kpa;
    let mut said = vec![(
        Verdict::Ok,
        format!(
            "the air rose by {rise_c:.0} °C to {hot_c:.0} °C; set {set_cold_kpa:.0} kPa at {next_cold_c} °C \
             for {target_hot_kpa} kPa hot"
        ),
    )];
    if hot_kpa < cold_kpa {
        said.push((
            Verdict::Note,
            format!("hot ({hot_kpa} kPa) is below cold ({cold_kpa} kPa): a leak or a wrong reading is likelier"),
        ));
    }
    let (least, most) = LIKELY_C;
    if !(least..=most).contains(&hot_c) {
        let limit = if hot_c < least { least } else { most };
        let figure = beside(hot_c, limit, 0);
        said.push((Verdict::Note, format!("the air would be at {figure} °C: a leak or a wrong reading is likelier")));
    }
    if set_cold_kpa <= 0.0 {
        said.push((Verdict::Note, format!("no cold setting arrives at {target_hot_kpa} kPa hot")));
    }
    let (verdict, why) = worst(said);
    Some(PressurePlan { hot_c, rise_c, set_cold_kpa, verdict, why })
}

/// The JSON side of [`plan`].
///
/// Ranges: gauge pressures 0 to 1500 kPa, cold -60 to 100 °C, ambient 50 to 110 kPa.
///
/// # Errors
/// [`InputError`] for a field that cannot be used.
pub fn tyre_pressure(input: &Fields) -> Result<PressurePlan, InputError> {
    let cold_c = input.number("cold_c", -60.0..=100.0)?;
    let readings = Pressures {
        cold_kpa: input.number("cold_kpa", 0.0..=1500.0)?,
        cold_c,
        hot_kpa: input.number("hot_kpa", 0.0..=1500.0)?,
        target_hot_kpa: input.number("target_hot_kpa", 0.0..=1500.0)?,
        next_cold_c: input.number_if("next_cold_c", -60.0..=100.0)?.unwrap_or(cold_c),
        ambient_kpa: input.number_if("ambient_kpa", 50.0..=110.0)?.unwrap_or(ATMOSPHERE_KPA),
    };
    plan(&readings).ok_or_else(|| input.error("hot_kpa", "These cannot be one tyre, cold and hot: read the gauge again."))
}
