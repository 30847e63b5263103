//! Brake heat: how hot a front disc gets by stop after stop.
//!
//! Caution: discs stay hot enough to burn for a long time after a session. Do not touch them, and do not pull the
//! handbrake onto hot drums.

use super::words::Verdict;
use super::worksheet_input::{Fields, InputError, beside, worst};
use serde::Serialize;

/// Heat capacity of cast iron, J/(kg K): the usual handbook figure near room temperature.
pub const CAST_IRON: f64 = 460.0;
/// Above this a road car's discs and pads are likely past their use. Common practice, no source.
const HOT_C: f64 = 600.0;
/// Cast iron melts from about here: a figure above it shows only that cooling was left out. Common practice, no source.
const MELTS_C: f64 = 1150.0;

/// A car, its front disc, and how it is braked.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Braking {
    pub mass_kg: f64,
    pub from_kmh: f64,
    pub to_kmh: f64,
    /// The front axle's share of the braking, 0 to 1.
    pub front_share: f64,
    /// One front disc.
    pub disc_kg: f64,
    pub stops: u32,
    /// Newton cooling between stops: seconds, and the share per second; `None` for stops without cooling.
    pub cooling: Option<Cooling>,
    pub start_c: f64,
    pub air_c: f64,
}

/// Cooling between stops: T = air + (T0 - air) e^(-b t).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cooling {
    pub interval_s: f64,
    pub per_s: f64,
}

/// What the worksheet `brake-heat` says.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct DiscHeat {
    /// The whole car's, one stop.
    pub stop_energy_kj: f64,
    /// Of one front disc, by one stop.
    pub rise_c: f64,
    /// Just after the last stop.
    pub peak_c: f64,
    /// The peak after endlessly many stops; none without cooling.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub settled_c: Option<f64>,
    pub verdict: Verdict,
    pub why: String,
}

/// Worksheet `brake-heat`: the mean temperature of a front disc after some stops.
///
/// Energy = m (v1² - v2²) / 2. Two discs share the front's part, all of it stays in the disc during a stop: rise = energy x
/// front share / 2 / (disc mass x 460 J/(kg K)). Between stops the disc cools; with q = e^(-b t) the peak after n stops is
/// air + (start - air) q^(n-1) + rise (1 - q^n) / (1 - q), and in the end air + rise / (1 - q). The figures are an upper
/// bound: air drag, tyres and cooling while braking are left out, and the heat capacity grows with temperature.
///
/// Note: the peak is over 600 °C (common practice, no source).
///
/// Source: mechanics; the sum of a geometric series.
///
/// # Example: 1400 kg from 180 to 80 km/h
/// ```
/// use witnessmark::rules::brake_heat::{Braking, heat};
/// let mut braking = Braking {
///     mass_kg: 1400.0, from_kmh: 180.0, to_kmh: 80.0, front_share: 0.7, disc_kg: 9.0, stops: 1, cooling: None,
///     start_c: 20.0, air_c: 20.0,
/// };
/// let one = heat(&braking);
/// assert!((one.stop_energy_kj - 1404.321).abs() < 1e-3);
/// assert!((one.rise_c - 118.7).abs() < 0.1);
/// braking.stops = 3;
/// assert!((heat(&braking).peak_c - (20.0 + 3.0 * one.rise_c)).abs() < 1e-9);
/// ```
pub fn heat(braking: &Braking) -> DiscHeat {
    let Braking { mass_kg, front_share, disc_kg, stops, start_c, air_c, .. } = *braking;
    let (v1, v2) = (braking.from_kmh / 3.6, braking.to_kmh / 3.6);
    let energy_j = mass_kg * (v1 * v1 - v2 * v2) / 2.0;
    let rise_c = energy_j * front_share / 2.0 / (disc_kg * CAST_IRON);
    // 1e-9: below this nothing cools that anyone could measure, and 1 / (1 - q) would run away.
    let exponent = braking.cooling.map(|cooling| cooling.per_s * cooling.interval_s).filter(|bt| *bt > 1e-9);
    let n = f64::from(stops);
    let (peak_c, settled_c) = match exponent {
        None => (start_c + n * rise_c, None),
        Some(bt) => {
            // 1 - q^n by expm1, which keeps its figures where q is close to 1.
            let (one_less_q, one_less_qn) = (-(-bt).exp_m1(), -(-bt * n).exp_m1());
            let peak = air_c + (start_c - air_c) * (-bt * (n - 1.0)).exp() + rise_c * one_less_qn / one_less_q;
            (peak, Some(air_c + rise_c / one_less_q))
        }
    };
    let (verdict, why) = heat_said(braking, rise_c, peak_c, settled_c);
    DiscHeat { stop_energy_kj: energy_j / 1000.0, rise_c, peak_c, settled_c, verdict, why }
}

fn heat_said(braking: &Braking, rise_c: f64, peak_c: f64, settled_c: Option<f64>) -> (Verdict, String) {
    let settled = settled_c.map(|settled| format!(", in the end {settled:.0} °C")).unwrap_or_default();
    let without = if braking.stops > 1 && settled_c.is_none() { " without cooling between them" } else { "" };
    let peak = beside(peak_c, HOT_C, 0);
    let text =
        format!("a front disc gains {rise_c:.0} °C a stop and is at {peak} °C after {} of them{without}{settled}", braking.stops);
    let mut said = vec![(if peak_c > HOT_C { Verdict::Note } else { Verdict::Ok }, text)];
    if peak_c > MELTS_C {
        said.push((Verdict::Note, "cast iron melts before that: the stops come too fast to be true".to_owned()));
    }
    worst(said)
}

/// The JSON side of [`heat`].
///
/// Ranges: mass 50 to 10 000 kg, speeds 0 to 500 km/h, share 0 to 1, disc 0.1 to 100 kg, 1 to 1 000 000 stops,
/// interval 0 to 100 000 s, cooling 0 to 10 a second, start -60 to 1200 °C, air -60 to 80 °C.
///
/// # Errors
/// [`InputError`] for a field that cannot be used: also a stop that gains speed, and one of the two cooling fields alone.
pub fn brake_heat(input: &Fields) -> Result<DiscHeat, InputError> {
    let (from_kmh, to_kmh) = (input.number("from_kmh", 0.0..=500.0)?, input.number("to_kmh", 0.0..=500.0)?);
    if to_kmh > from_kmh {
        return Err(input.error("to_kmh", format!("A stop from {from_kmh} km/h does not end at {to_kmh} km/h.")));
    }
    let (interval, per_s) = (input.number_if("interval_s", 0.0..=100_000.0)?, input.number_if("cooling_per_s", 0.0..=10.0)?);
    let cooling = match (interval, per_s) {
        (Some(interval_s), Some(per_s)) => Some(Cooling { interval_s, per_s }),
        (None, None) => None,
        (Some(_), None) => return Err(input.error("cooling_per_s", "\"interval_s\" needs \"cooling_per_s\" with it.")),
        (None, Some(_)) => return Err(input.error("interval_s", "\"cooling_per_s\" needs \"interval_s\" with it.")),
    };
    Ok(heat(&Braking {
        mass_kg: input.number("mass_kg", 50.0..=10_000.0)?,
        from_kmh,
        to_kmh,
        front_share: input.number_if("front_share", 0.0..=1.0)?.unwrap_or(0.7),
        disc_kg: input.number("disc_kg", 0.1..=100.0)?,
        stops: input.whole_if("stops", 1..=1_000_000)?.unwrap_or(1),
        cooling,
        start_c: input.number_if("start_c", -60.0..=1200.0)?.unwrap_or(20.0),
        air_c: input.number_if("air_c", -60.0..=80.0)?.unwrap_or(20.0),
    }))
}
