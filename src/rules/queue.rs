//! The queue at the gate: how long cars wait for a check, and how long a full paddock takes.

use super::words::Verdict;
use super::worksheet_input::{Fields, InputError};
use serde::Serialize;

/// The gate on a morning.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Gate {
    pub arrivals_per_h: f64,
    /// The mean check, minutes.
    pub check_min: f64,
    pub lanes: u32,
    /// All waiting at the start.
    pub cars: Option<u32>,
}

/// What the worksheet `gate-queue` says. The four waiting figures are none where the queue grows without end.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct GateQueue {
    /// The share of the time that a lane is busy; 1 or more: cars come faster than they can be checked.
    pub utilisation: f64,
    /// The chance that a car waits at all.
    pub p_wait: Option<f64>,
    pub mean_wait_min: Option<f64>,
    /// The same if every check took the same time: about half.
    pub mean_wait_even_min: Option<f64>,
    /// Cars waiting, without those being checked.
    pub mean_queue: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub drain_min: Option<f64>,
    pub verdict: Verdict,
    pub why: String,
}

/// The chance that a car waits, by Erlang C, for a load in erlangs below the number of lanes.
///
/// By the recursion of Erlang B, B(k) = a B(k-1) / (k + a B(k-1)), which never overflows as the factorials do.
pub fn erlang_c(load: f64, lanes: u32) -> f64 {
    let blocked = (1..=lanes).fold(1.0, |blocked, k| load * blocked / (f64::from(k) + load * blocked));
    let utilisation = load / f64::from(lanes);
    blocked / (1.0 - utilisation * (1.0 - blocked))
}

/// Worksheet `gate-queue`: waiting at the gate in the long run, and the time to clear a full paddock.
///
/// Load a = arrivals x check; utilisation = a / lanes. Below 1, Erlang C gives the chance to wait, mean wait = that chance x
/// check / (lanes - a), mean queue = arrivals x mean wait. Cars come at random, one queue feeds all lanes, checks vary as
/// the exponential law does; checks of even length wait about half as long (exactly half with one lane). At 1 or more
/// there is no long run and the queue grows: null. With `cars` all waiting at the start: ceil(cars / lanes) x check.
///
/// Source: Erlang C; textbook cases named in the tests. Even checks: Pollaczek-Khinchine.
///
/// # Example: Hillier and Lieberman's county hospital with two doctors: 1/24 h, 1/12 in the queue
/// ```
/// use witnessmark::rules::queue::{Gate, judge_gate};
/// let found = judge_gate(&Gate { arrivals_per_h: 2.0, check_min: 20.0, lanes: 2, cars: None });
/// assert!((found.mean_wait_min.unwrap() - 2.5).abs() < 1e-12);
/// assert!((found.mean_queue.unwrap() - 1.0 / 12.0).abs() < 1e-12);
/// ```
pub fn judge_gate(gate: &Gate) -> GateQueue {
    let load = gate.arrivals_per_h * gate.check_min / 60.0;
    let lanes = f64::from(gate.lanes);
    let utilisation = load / lanes;
    let drain_min = gate.cars.map(|cars| f64::from(cars.div_ceil(gate.lanes.max(1))) * gate.check_min);
    let mut why = Vec::new();
    // A product that should be 1 may come out a hair below it.
    let grows = utilisation >= 1.0 - 1e-12;
    let (p_wait, mean_wait_min) = if grows {
        let needed = (load + 1e-9).floor() + 1.0;
        why.push(format!(
            "{} cars an hour at {} min each need {load:.2} lanes and there are {}: the queue grows. {needed} lanes would do.",
            gate.arrivals_per_h, gate.check_min, gate.lanes
        ));
        (None, None)
    } else {
        let p_wait = erlang_c(load, gate.lanes);
        let wait = p_wait * gate.check_min / (lanes - load);
        why.push(format!(
            "Lanes are busy {:.0} % of the time; a car waits {wait:.1} min on the mean if checks vary much (Erlang C), \
             about {:.1} min if all take the same time.",
            100.0 * utilisation,
            wait / 2.0
        ));
        (Some(p_wait), Some(wait))
    };
    if let Some(drain) = drain_min {
        why.push(format!("All {} cars at once are through in {drain:.0} min.", gate.cars.unwrap_or_default()));
    }
    GateQueue {
        utilisation,
        p_wait,
        mean_wait_min,
        mean_wait_even_min: mean_wait_min.map(|wait| wait / 2.0),
        mean_queue: mean_wait_min.map(|wait| gate.arrivals_per_h * wait / 60.0),
        drain_min,
        verdict: if grows { Verdict::Fix } else { Verdict::Ok },
        why: why.join(" "),
    }
}

/// The JSON side of [`judge_gate`].
///
/// Ranges: 0 to 100 000 cars an hour, 0.001 to 100 000 min, 1 to 1000 lanes, 0 to 1 000 000 cars.
///
/// # Errors
/// [`InputError`] for a field that cannot be used.
pub fn gate_queue(input: &Fields) -> Result<GateQueue, InputError> {
    Ok(judge_gate(&Gate {
        arrivals_per_h: input.number("arrivals_per_h", 0.0..=100_000.0)?,
        check_min: input.number("check_min", 0.001..=100_000.0)?,
        lanes: input.whole("lanes", 1..=1000)?,
        cars: input.whole_if("cars", 0..=1_000_000)?,
    }))
}
