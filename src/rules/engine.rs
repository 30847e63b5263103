//! Engine health: leak-down and compression, cylinder against cylinder.
//!
//! Caution: an engine with air on a cylinder can turn by itself. Keep hands and tools off it, and the ignition off.

use super::words::Verdict;
use super::worksheet_input::{Fields, InputError, beside, worst};
use serde::Serialize;

/// A cylinder that leaks so many points more than the middle of its fellows is named. Common practice, no source.
const ABOVE_FELLOWS: f64 = 5.0;
/// A wet reading so much over the dry one is a rise. Common practice, no source; a warm even engine rises less.
const WET_RISE: f64 = 1.10;
/// The most cylinders, as for a sheet's items.
const CYLINDERS: usize = 16;

/// Where the escaping air is heard or seen.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Heard {
    Intake,
    Exhaust,
    Crankcase,
    Coolant,
    Neighbour,
}

impl Heard {
    fn parse(word: &str) -> Option<Heard> {
        Some(match word {
            "intake" => Heard::Intake,
            "exhaust" => Heard::Exhaust,
            "crankcase" => Heard::Crankcase,
            "coolant" => Heard::Coolant,
            "neighbour" => Heard::Neighbour,
            _ => return None,
        })
    }

    /// The path that the air takes. Source: a mechanics-exam study guide, two engine trade pages, a car maker's manual.
    pub fn path(self) -> &'static str {
        match self {
            Heard::Intake => "intake valve or its seat",
            Heard::Exhaust => "exhaust valve or its seat",
            Heard::Crankcase => "piston rings or bore",
            Heard::Coolant => "head gasket or a crack to a water passage",
            Heard::Neighbour => "head gasket between two cylinders",
        }
    }
}

/// One cylinder of a leak-down test.
#[derive(Clone, Debug, PartialEq)]
pub struct Leak {
    /// 0 to 100.
    pub percent: f64,
    pub heard: Vec<Heard>,
}

/// The share lost, per cent: (supply - held) / supply x 100.
pub fn leak_percent(supply_kpa: f64, held_kpa: f64) -> f64 {
    100.0 * (supply_kpa - held_kpa) / supply_kpa
}

/// The band of a leak, by a cylinder-head trade page. Common practice: other pages differ by a factor of two.
pub fn band(percent: f64) -> &'static str {
    match percent {
        p if p <= 5.0 => "excellent",
        p if p <= 12.0 => "usable",
        p if p <= 20.0 => "chase",
        _ => "bad",
    }
}

/// One cylinder's line of the answer.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LeakLine {
    /// From 1.
    pub cylinder: usize,
    pub percent: f64,
    pub band: &'static str,
    /// Where the air goes; none where nothing was heard.
    pub path: Option<String>,
}

/// What the worksheet `leak-down` says.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LeakDown {
    pub cylinders: Vec<LeakLine>,
    /// Highest less lowest, in points.
    pub spread_percent: f64,
    /// The cylinder that leaks most, from 1.
    pub worst: usize,
    pub verdict: Verdict,
    pub why: String,
}

/// Worksheet `leak-down`: each cylinder's loss, and the one that stands out.
///
/// The per cent depend on the tester's orifice (FAA AC 43.13-1B 8-14): compare cylinders of one tester only, at top dead
/// centre, engine warm. Over the limit: fix. Five points or more over the middle of its fellows: a note below the limit.
/// Bubbles in the coolant: a note however little is lost. Bands: excellent to 5, usable to 12, chase to 20, bad above.
///
/// # Errors
/// `None` for no cylinder.
///
/// Source: bands and the rule for standing out: common practice; paths as at [`Heard::path`].
///
/// # Example: three even cylinders, and one whose exhaust valve leaks
/// ```
/// use witnessmark::rules::{engine::{Heard, Leak, leak_down}, words::Verdict};
/// let mut leaks: Vec<Leak> = [6.0, 7.0, 6.0, 15.0].map(|percent| Leak { percent, heard: vec![] }).into();
/// leaks[3].heard.push(Heard::Exhaust);
/// let found = leak_down(&leaks, 20.0).unwrap();
/// assert_eq!((found.worst, found.verdict, found.spread_percent), (4, Verdict::Note, 9.0));
/// ```
pub fn leak_down(leaks: &[Leak], limit_percent: f64) -> Option<LeakDown> {
    let highest = leaks.iter().map(|leak| leak.percent).reduce(f64::max)?;
    let lowest = leaks.iter().map(|leak| leak.percent).reduce(f64::min)?;
    let worst_at = leaks.iter().position(|leak| leak.percent == highest)?;
    let lines: Vec<LeakLine> = (1..).zip(leaks).map(|(cylinder, leak)| line(cylinder, leak)).collect();
    let mut said = Vec::new();
    for (at, (leak, line)) in leaks.iter().zip(&lines).enumerate() {
        let path = line.path.as_ref().map(|path| format!(" by the {path}")).unwrap_or_default();
        let figure = beside(leak.percent, limit_percent, 0);
        if leak.percent > limit_percent {
            said.push((Verdict::Fix, format!("cylinder {} leaks {figure} %{path}, over the limit of {limit_percent} %", at + 1)));
        } else if let Some(middle) = middle_of_others(leaks, at).filter(|middle| leak.percent - middle >= ABOVE_FELLOWS) {
            let fellows = format!("its fellows about {middle:.0} %");
            said.push((Verdict::Note, format!("cylinder {} leaks {figure} %{path}, {fellows}", at + 1)));
        } else if leak.heard.contains(&Heard::Coolant) {
            said.push((Verdict::Note, format!("cylinder {} leaks {figure} %{path}", at + 1)));
        }
    }
    if said.is_empty() {
        let (low, high) = (beside(lowest, limit_percent, 0), beside(highest, limit_percent, 0));
        said.push((Verdict::Ok, format!("all cylinders leak {low} to {high} %, within the limit of {limit_percent} %")));
    }
    let (verdict, why) = worst(said);
    Some(LeakDown { cylinders: lines, spread_percent: highest - lowest, worst: worst_at + 1, verdict, why })
}

fn line(cylinder: usize, leak: &Leak) -> LeakLine {
    let paths: Vec<&str> = leak.heard.iter().map(|heard| heard.path()).collect();
    let path = (!paths.is_empty()).then(|| paths.join(", "));
    LeakLine { cylinder, percent: leak.percent, band: band(leak.percent), path }
}

fn middle_of_others(leaks: &[Leak], but: usize) -> Option<f64> {
    let mut others: Vec<f64> = leaks.iter().enumerate().filter(|(at, _)| *at != but).map(|(_, leak)| leak.percent).collect();
    others.sort_by(f64::total_cmp);
    let (low, high) = (others.get(others.len().checked_sub(1)? / 2)?, others.get(others.len() / 2)?);
    Some((low + high) / 2.0)
}

/// The JSON side of [`leak_down`].
///
/// Ranges: 1 to 16 cylinders, 0 to 100 %, supply 1 to 2000 kPa, held 0 to 2000 kPa.
///
/// # Errors
/// [`InputError`] for a field that cannot be used: also per cent and pressures together, and more held than supplied.
pub fn leak_down_worksheet(input: &Fields) -> Result<LeakDown, InputError> {
    let known = ["percent", "supply_kpa", "held_kpa", "heard"];
    let leaks: Vec<Leak> = input.objects("cylinders", 1..=CYLINDERS, &known)?.iter().map(read_leak).collect::<Result<_, _>>()?;
    let limit_percent = input.number_if("limit_percent", 0.0..=100.0)?.unwrap_or(20.0);
    leak_down(&leaks, limit_percent).ok_or_else(|| input.error("cylinders", "Give at least one cylinder."))
}

fn read_leak(cylinder: &Fields) -> Result<Leak, InputError> {
    let percent = match (cylinder.has("percent"), cylinder.has("supply_kpa") || cylinder.has("held_kpa")) {
        (true, true) => return Err(cylinder.error("percent", "Give either per cent or the two pressures, not both.")),
        (false, true) => {
            let supply_kpa = cylinder.number("supply_kpa", 1.0..=2000.0)?;
            let held_kpa = cylinder.number("held_kpa", 0.0..=2000.0)?;
            if held_kpa > supply_kpa {
                let message = format!("A cylinder cannot hold {held_kpa} kPa of {supply_kpa} kPa: read both gauges again.");
                return Err(cylinder.error("held_kpa", message));
            }
            leak_percent(supply_kpa, held_kpa)
        }
        (_, false) => cylinder.number("percent", 0.0..=100.0)?,
    };
    let words = if cylinder.has("heard") { cylinder.text_or_texts("heard", 0..=5, 20)? } else { Vec::new() };
    let heard = words.iter().map(|word| Heard::parse(word)).collect::<Option<Vec<Heard>>>();
    let heard =
        heard.ok_or_else(|| cylinder.error("heard", "\"heard\" is any of intake, exhaust, crankcase, coolant, neighbour."))?;
    Ok(Leak { percent, heard })
}

/// What the worksheet `compression` says.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Compression {
    pub low_over_high_percent: f64,
    /// The lowest cylinder, from 1.
    pub worst: usize,
    /// What the readings point to.
    pub reading: String,
    pub verdict: Verdict,
    pub why: String,
}

/// Worksheet `compression`: the lowest cylinder against the highest, and what a wet test points to.
///
/// Low = below the limit's share of the highest. A low cylinder whose reading rises by a tenth or more with a little oil in
/// it: rings. One that does not: valves or gasket. Two neighbours low that do not rise: the gasket between them. Cylinders
/// count as neighbours by their numbers, which holds along one bank. Below the limit: fix. Throttle open, engine warm,
/// all plugs out, the same strokes for each; the maker's own minimum comes first.
///
/// # Errors
/// `None` for no cylinder, or none with any pressure.
///
/// Source: 75 per cent: three car makers' manuals (others allow 70); patterns: two car makers' manuals; the tenth: common
/// practice, no source.
///
/// # Example: one cylinder low, and oil helps it
/// ```
/// use witnessmark::rules::engine::compression;
/// let found = compression(&[1200.0, 1190.0, 800.0, 1210.0], Some(&[1230.0, 1220.0, 1080.0, 1240.0]), 75.0).unwrap();
/// assert_eq!((found.worst, found.reading.contains("rings")), (3, true));
/// ```
pub fn compression(dry_kpa: &[f64], wet_kpa: Option<&[f64]>, limit_percent: f64) -> Option<Compression> {
    let highest = dry_kpa.iter().copied().reduce(f64::max).filter(|highest| *highest > 0.0)?;
    let lowest = dry_kpa.iter().copied().reduce(f64::min)?;
    let worst_at = dry_kpa.iter().position(|kpa| *kpa == lowest)?;
    let share = |kpa: f64| 100.0 * kpa / highest;
    let is_low = |kpa: f64| share(kpa) < limit_percent - 1e-9;
    let low: Vec<usize> = (0..).zip(dry_kpa).filter(|(_, kpa)| is_low(**kpa)).map(|(at, _)| at).collect();
    let reading = reading_of(&low, dry_kpa, wet_kpa);
    let low_over_high_percent = share(lowest);
    let verdict = if low.is_empty() { Verdict::Ok } else { Verdict::Fix };
    let figure = beside(low_over_high_percent, limit_percent, 0);
    let why = format!(
        "Cylinder {} has {lowest} kPa, {figure} % of the highest ({highest} kPa); the limit is {limit_percent} %. {reading}",
        worst_at + 1
    );
    Some(Compression { low_over_high_percent, worst: worst_at + 1, reading, verdict, why })
}

fn reading_of(low: &[usize], dry: &[f64], wet: Option<&[f64]>) -> String {
    let name = |at: &usize| (at + 1).to_string();
    let names = low.iter().map(name).collect::<Vec<_>>().join(", ");
    let neighbours = match low {
        [] => return "Even: no cylinder stands out.".to_owned(),
        [one, two] if two - one == 1 => Some(format!("head gasket between cylinders {} and {}", one + 1, two + 1)),
        _ => None,
    };
    let Some(wet) = wet else {
        return match neighbours {
            Some(gasket) => format!("Two neighbours are low: perhaps the {gasket}; a wet test tells it from rings."),
            None => format!("Cylinder {names} is low: a wet test tells rings from valves or gasket."),
        };
    };
    let rises = |at: &usize| dry.get(*at).zip(wet.get(*at)).is_some_and(|(dry, wet)| *wet >= WET_RISE * dry && wet > dry);
    let (up, level): (Vec<usize>, Vec<usize>) = low.iter().partition(|at| rises(at));
    let list = |some: &[usize]| some.iter().map(name).collect::<Vec<_>>().join(", ");
    match (up.is_empty(), level.is_empty(), neighbours) {
        (_, true, _) => format!("Cylinder {} rises with oil: rings.", list(&up)),
        (true, false, Some(gasket)) => format!("Two neighbours are low and do not rise with oil: {gasket}."),
        (true, false, None) => format!("Cylinder {} does not rise with oil: valves or gasket.", list(&level)),
        (false, false, _) => {
            format!("Cylinder {} rises with oil: rings. Cylinder {} does not: valves or gasket.", list(&up), list(&level))
        }
    }
}

/// The JSON side of [`compression`].
///
/// Ranges: 1 to 16 cylinders, 0 to 5000 kPa, limit 0 to 100 %.
///
/// # Errors
/// [`InputError`] for a field that cannot be used: also a wet test of another number of cylinders.
pub fn compression_worksheet(input: &Fields) -> Result<Compression, InputError> {
    let dry = input.numbers("dry_kpa", 1..=CYLINDERS, 0.0..=5000.0)?;
    let wet = if input.has("wet_kpa") { Some(input.numbers("wet_kpa", 1..=CYLINDERS, 0.0..=5000.0)?) } else { None };
    if let Some(wet) = wet.as_ref().filter(|wet| wet.len() != dry.len()) {
        let message = format!("There are {} dry and {} wet readings: give both for every cylinder.", dry.len(), wet.len());
        return Err(input.error("wet_kpa", message));
    }
    let limit_percent = input.number_if("limit_percent", 0.0..=100.0)?.unwrap_or(75.0);
    compression(&dry, wet.as_deref(), limit_percent)
        .ok_or_else(|| input.error("dry_kpa", "No cylinder has any pressure: is the throttle open and the gauge tight?"))
}
