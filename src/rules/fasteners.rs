//! Wheel fasteners: what clamp load a torque makes, and whether the thread is in far enough.
//!
//! The car maker's torque decides, always. What is worked out here shows how far a torque alone leaves the clamp load
//! open, and finds a slip (a wrong thread, a wrong grade, too few turns). It never asks for more than the maker does.
//!
//! Caution: wheels come off. Torque them cold, on clean threads as the car maker says, and check them again after the
//! first session.

use super::words::Verdict;
use super::worksheet_input::{Fields, InputError, beside, worst};
use serde::Serialize;
use std::f64::consts::PI;
use thiserror::Error;

const INCH: f64 = 25.4;
/// One pound-force per square inch, in MPa (NIST SP 811).
const PSI: f64 = 0.006_894_757_293_168_36;

/// Pitches of the ISO 261 coarse series, mm by mm of nominal diameter. From memory; M12 and M14 also seen in a table.
const COARSE: [(f64, f64); 15] = [
    (4.0, 0.7),
    (5.0, 0.8),
    (6.0, 1.0),
    (7.0, 1.0),
    (8.0, 1.25),
    (10.0, 1.5),
    (12.0, 1.75),
    (14.0, 2.0),
    (16.0, 2.0),
    (18.0, 2.5),
    (20.0, 2.5),
    (22.0, 2.5),
    (24.0, 3.0),
    (27.0, 3.0),
    (30.0, 3.5),
];

/// The nut factors a dry joint may have: F = T / (K d) is largest at the first.
///
/// Handbooks disagree, so the band takes in what they say of dry steel, bare or plated: 0.20 (Bickford and Nassar) and
/// 0.30 (Shigley) for bare steel, 0.16 cadmium and 0.20 zinc (Shigley), 0.20 cadmium and 0.295 zinc (Bickford and
/// Nassar), 0.18 to 0.27 (a fastener maker's table). Its low end is 0.15, the trade's figure for lubricated threads: few
/// studs are as dry as their owner thinks. Both books as restated on an engineers' forum.
const DRY: (f64, f64) = (0.15, 0.30);

/// The nut factors of a joint with oil or anti-seize on it: 0.10 (low end of a fastener maker's range for machine oil),
/// 0.12 anti-seize and 0.18 lubricated (Shigley, from memory), 0.15 (two trade pages), up to 0.20.
const LUBRICATED: (f64, f64) = (0.10, 0.20);

/// A thread that a wheel fastener may have.
///
/// # Example: the same thread, as people write it
/// ```
/// use witnessmark::rules::fasteners::Thread;
/// assert_eq!(Thread::parse("M12x1.5"), Thread::parse("m12 × 1,5"));
/// let half_inch = Thread::parse("1/2-20 UNF").unwrap();
/// assert!((half_inch.stress_area_mm2() - 103.2).abs() < 0.05);
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Thread {
    diameter_mm: f64,
    pitch_mm: f64,
    inch: bool,
}

/// A text that is no thread.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum ThreadError {
    #[error("Write the thread as M12x1.5 (millimetres) or 1/2-20 (inch, threads per inch).")]
    Form,
    #[error("The pitch is missing: write both, such as M12x1.5 or 1/2-20.")]
    Pitch,
    #[error("No wheel fastener is of this size. Write the thread as M12x1.5 or 1/2-20.")]
    Size,
}

impl Thread {
    /// Reads "M12x1.5", "m12 × 1,5", "M12" (coarse pitch, ISO 261), "1/2-20", "1/2-20 UNF".
    ///
    /// Sizes from M4 to M42 and from 3/16 to 1 5/8 in, pitches from 1/20 to 1/4 of the diameter.
    ///
    /// # Errors
    /// [`ThreadError`], in words that say how to write it.
    pub fn parse(text: &str) -> Result<Thread, ThreadError> {
        if text.len() > 60 {
            return Err(ThreadError::Form);
        }
        let plain: String = text.to_uppercase().chars().filter(|c| !c.is_whitespace()).collect();
        let plain = plain.replace(['×', '*'], "X").replace(',', ".").replace(['"', '\u{2033}', '\u{201D}'], "");
        let plain = plain.replace(['\u{2010}', '\u{2011}', '\u{2013}', '\u{2212}'], "-");
        let (diameter_mm, pitch_mm, inch) = match plain.strip_prefix('M') {
            Some(metric) => {
                let (diameter, pitch) = metric_parts(metric)?;
                (diameter, pitch, false)
            }
            None => {
                let (diameter, per_inch) = inch_parts(&plain)?;
                (diameter * INCH, INCH / per_inch, true)
            }
        };
        let coarseness = pitch_mm / diameter_mm;
        if !(4.0..=42.0).contains(&diameter_mm) || !(0.05..=0.25).contains(&coarseness) {
            return Err(ThreadError::Size);
        }
        Ok(Thread { diameter_mm, pitch_mm, inch })
    }

    /// Nominal diameter in mm.
    pub fn diameter_mm(self) -> f64 {
        self.diameter_mm
    }

    /// Pitch in mm.
    pub fn pitch_mm(self) -> f64 {
        self.pitch_mm
    }

    /// Stress area in mm²: pi/4 (d - 0.9382 P)² for ISO threads (ISO 898-1, ISO 724), pi/4 (d - 0.9743/n)² for unified
    /// ones (ASME B1.1).
    pub fn stress_area_mm2(self) -> f64 {
        let factor = if self.inch { 0.9743 } else { 0.9382 };
        PI / 4.0 * (self.diameter_mm - factor * self.pitch_mm).powi(2)
    }
}

fn plain_number(text: &str) -> Option<f64> {
    let fits = (1..=8).contains(&text.len()) && text.bytes().all(|b| b.is_ascii_digit() || b == b'.');
    if fits { text.parse().ok() } else { None }
}

fn metric_parts(text: &str) -> Result<(f64, f64), ThreadError> {
    let Some((diameter, pitch)) = text.split_once('X').or_else(|| text.split_once('-')) else {
        let diameter = plain_number(text).ok_or(ThreadError::Form)?;
        let coarse = COARSE.iter().find(|(size, _)| *size == diameter);
        return coarse.map(|(_, pitch)| (diameter, *pitch)).ok_or(ThreadError::Pitch);
    };
    plain_number(diameter).zip(plain_number(pitch)).ok_or(ThreadError::Form)
}

fn inch_parts(text: &str) -> Result<(f64, f64), ThreadError> {
    let (size, rest) =
        text.split_once(['-', 'X']).ok_or(if text.contains('/') { ThreadError::Pitch } else { ThreadError::Form })?;
    let (top, bottom) = size.split_once('/').ok_or(ThreadError::Form)?;
    let (top, bottom) = plain_number(top).zip(plain_number(bottom)).ok_or(ThreadError::Form)?;
    if top.fract() != 0.0 || ![2.0, 4.0, 8.0, 16.0, 32.0, 64.0].contains(&bottom) {
        return Err(ThreadError::Form);
    }
    let series = ["UNF", "UNC", "UNEF", "UNS", "UN", "TPI", ""];
    // The series may carry a class of fit ("UNF-2A"), which says nothing about strength.
    let rest = rest.strip_suffix("-2A").or_else(|| rest.strip_suffix("-3A")).unwrap_or(rest);
    let digits = rest.bytes().take_while(u8::is_ascii_digit).count();
    let (per_inch, series_given) = rest.split_at(digits);
    if !series.contains(&series_given.trim_start_matches('-')) {
        return Err(ThreadError::Form);
    }
    let per_inch = plain_number(per_inch).filter(|number| *number > 0.0).ok_or(ThreadError::Pitch)?;
    Ok((top / bottom, per_inch))
}

/// The strength marked on a fastener.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Grade {
    Class8_8,
    Class10_9,
    Class12_9,
    Sae2,
    Sae5,
    Sae8,
}

impl Grade {
    /// Reads "8.8", "10.9", "12.9", "SAE 2", "SAE 5", "SAE grade 8", "grade 5".
    pub fn parse(text: &str) -> Option<Grade> {
        let plain: String = text.to_uppercase().replace(',', ".").chars().filter(|c| !c.is_whitespace() && *c != '-').collect();
        let plain = plain.strip_prefix("CLASS").unwrap_or(&plain);
        let number = plain.strip_prefix("SAE").map(|rest| rest.strip_prefix("J429").unwrap_or(rest)).unwrap_or(plain);
        let number = number.strip_prefix("GRADE").or_else(|| number.strip_prefix("GR.")).unwrap_or(number);
        let sae = number.len() < plain.len();
        Some(match (number, sae) {
            ("8.8", false) => Grade::Class8_8,
            ("10.9", false) => Grade::Class10_9,
            ("12.9", false) => Grade::Class12_9,
            ("2", true) => Grade::Sae2,
            ("5", true) => Grade::Sae5,
            ("8", true) => Grade::Sae8,
            _ => return None,
        })
    }

    /// Proof stress in MPa of a fastener of this nominal diameter; `None` for sizes that the grade is not made in.
    ///
    /// Source: ISO 898-1 (class 8.8: 580 MPa up to 16 mm, 600 MPa above); SAE J429 (grade 2: 55 000 psi up to 3/4 in, from
    /// memory 33 000 psi above; grade 5: 85 000 psi up to 1 in, from memory 74 000 psi above; grade 8: 120 000 psi).
    pub fn proof_mpa(self, diameter_mm: f64) -> Option<f64> {
        let sae = !matches!(self, Grade::Class8_8 | Grade::Class10_9 | Grade::Class12_9);
        if sae && diameter_mm > 1.5 * INCH {
            return None;
        }
        Some(match self {
            Grade::Class8_8 if diameter_mm <= 16.0 => 580.0,
            Grade::Class8_8 => 600.0,
            Grade::Class10_9 => 830.0,
            Grade::Class12_9 => 970.0,
            Grade::Sae2 if diameter_mm <= 0.75 * INCH => 55_000.0 * PSI,
            Grade::Sae2 => 33_000.0 * PSI,
            Grade::Sae5 if diameter_mm <= INCH => 85_000.0 * PSI,
            Grade::Sae5 => 74_000.0 * PSI,
            Grade::Sae8 => 120_000.0 * PSI,
        })
    }
}

/// What is known of a fastener and of how it was tightened.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tightened {
    pub thread: Thread,
    pub grade: Grade,
    /// N·m, 0 to 1000.
    pub torque_nm: f64,
    /// What the car maker asks, N·m.
    pub asked_nm: Option<f64>,
    /// How far the torque may be from it, per cent.
    pub tolerance_percent: f64,
    /// Full turns from the first bite to tight.
    pub turns: Option<f64>,
    /// Without oil, grease or anti-seize.
    pub dry: bool,
}

/// What the worksheet `wheel-fastener` says.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Clamp {
    pub stress_area_mm2: f64,
    pub clamp_low_kn: f64,
    pub clamp_high_kn: f64,
    pub proof_kn: f64,
    /// The high end of the clamp load as a share of the proof load.
    pub used_high_percent: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub engagement_mm: Option<f64>,
    /// The nut factors taken, low and high.
    pub nut_factor: [f64; 2],
    pub verdict: Verdict,
    pub why: String,
}

/// Worksheet `wheel-fastener`: the band of clamp load that a torque makes, and the slips it can show.
///
/// F = T / (K d) over a band of nut factors K: 0.15 to 0.30 dry, 0.10 to 0.20 with oil or anti-seize. Proof load = stress
/// area x proof stress. Engagement = turns x pitch, at least one diameter.
///
/// Fix: torque further from the maker's than the tolerance; engagement short of a diameter; a clamp load over the proof
/// load even at the rough end of the band. Note: over it at the slippery end; no maker's torque given. The figures assume
/// threads that are clean and undamaged; a torque wrench scatters by some per cent more.
///
/// # Errors
/// `None` where the grade is not made in this size.
///
/// Source: ISO 898-1, SAE J429, ASME B1.1; nut factors as at the constants of this file; one diameter of engagement:
/// common practice, no source.
///
/// # Example: 108 N·m on M12x1.25 of class 8.8 is 30 to 60 kN: a band, not a number
/// ```
/// use witnessmark::rules::fasteners::{Grade, Thread, Tightened, clamp};
/// let thread = Thread::parse("M12x1.25").unwrap();
/// let (grade, torque_nm) = (Grade::Class8_8, 108.0);
/// let stud = Tightened { thread, grade, torque_nm, asked_nm: Some(108.0), tolerance_percent: 10.0, turns: None, dry: true };
/// let found = clamp(&stud).unwrap();
/// assert!((found.clamp_low_kn - 30.0).abs() < 1e-9 && (found.clamp_high_kn - 60.0).abs() < 1e-9);
/// assert!((found.used_high_percent - 112.36).abs() < 0.01);
/// ```
pub fn clamp(stud: &Tightened) -> Option<Clamp> {
    let (diameter, area) = (stud.thread.diameter_mm, stud.thread.stress_area_mm2());
    let (low, high) = if stud.dry { DRY } else { LUBRICATED };
    // N·m over mm is kN.
    let (clamp_low_kn, clamp_high_kn) = (stud.torque_nm / (high * diameter), stud.torque_nm / (low * diameter));
    let proof_kn = area * stud.grade.proof_mpa(diameter)? / 1000.0;
    let used_high_percent = 100.0 * clamp_high_kn / proof_kn;
    let engagement_mm = stud.turns.map(|turns| turns * stud.thread.pitch_mm);
    let mut said = vec![torque_said(stud)];
    said.extend(engagement_mm.map(|engagement| engagement_said(engagement, diameter)));
    if clamp_low_kn > proof_kn {
        let low = beside(clamp_low_kn, proof_kn, 1);
        let text = format!("even at its lowest the clamp load ({low} kN) passes the proof load ({proof_kn:.1} kN)");
        said.push((Verdict::Fix, format!("{text}: read thread, grade and the car maker's torque again")));
    } else if clamp_high_kn > proof_kn {
        let text = format!(
            "if the threads run easily the clamp load reaches {} % of the proof load",
            beside(used_high_percent, 100.0, 0)
        );
        said.push((Verdict::Note, format!("{text}: keep them dry unless the car maker says otherwise")));
    }
    let (verdict, why) = worst(said);
    let nut_factor = [low, high];
    Some(Clamp {
        stress_area_mm2: area,
        clamp_low_kn,
        clamp_high_kn,
        proof_kn,
        used_high_percent,
        engagement_mm,
        nut_factor,
        verdict,
        why,
    })
}

fn torque_said(stud: &Tightened) -> (Verdict, String) {
    let (torque, tolerance) = (stud.torque_nm, stud.tolerance_percent);
    let Some(asked) = stud.asked_nm else {
        return (Verdict::Note, format!("{torque} N·m; the car maker's torque is not given, and only that one decides"));
    };
    let off = 100.0 * (torque - asked) / asked;
    let way = if off < 0.0 { "under" } else { "over" };
    if off.abs() <= tolerance + 1e-9 {
        return (Verdict::Ok, format!("{torque} N·m is within {tolerance} % of the {asked} N·m that the car maker asks"));
    }
    let off = beside(off.abs(), tolerance, 0);
    let then = if way == "under" { "torque the whole wheel again, cold" } else { "slacken it and torque it again, cold" };
    (Verdict::Fix, format!("{torque} N·m is {off} % {way} the {asked} N·m that the car maker asks (limit {tolerance} %): {then}"))
}

fn engagement_said(engagement: f64, diameter: f64) -> (Verdict, String) {
    let figure = beside(engagement, diameter, 1);
    if engagement < diameter - 1e-9 {
        (
            Verdict::Fix,
            format!("{figure} mm of thread is in, less than one diameter ({diameter:.1} mm): too little for this wheel"),
        )
    } else {
        (Verdict::Ok, format!("{figure} mm of thread is in, at least one diameter ({diameter:.1} mm)"))
    }
}

/// The JSON side of [`clamp`].
///
/// Ranges: torque 0 to 1000 N·m (asked from 1), tolerance 0 to 100 %, 0 to 100 turns.
///
/// # Errors
/// [`InputError`] for a field that cannot be used.
pub fn wheel_fastener(input: &Fields) -> Result<Clamp, InputError> {
    let thread = Thread::parse(input.text("thread", 60)?).map_err(|error| input.error("thread", error.to_string()))?;
    let grade = Grade::parse(input.text("grade", 40)?).ok_or_else(|| {
        input.error("grade", "Write the grade as 8.8, 10.9, 12.9, SAE 2, SAE 5 or SAE 8, as marked on the head.")
    })?;
    let stud = Tightened {
        thread,
        grade,
        torque_nm: input.number("torque_nm", 0.0..=1000.0)?,
        asked_nm: input.number_if("asked_nm", 1.0..=1000.0)?,
        tolerance_percent: input.number_if("tolerance_percent", 0.0..=100.0)?.unwrap_or(10.0),
        turns: input.number_if("turns", 0.0..=100.0)?,
        dry: input.flag("dry", true)?,
    };
    clamp(&stud).ok_or_else(|| input.error("grade", "This grade is not made in so large a size; read thread and grade again."))
}
