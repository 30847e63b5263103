//! Brakes: the fluid's age and boiling point, and how hot a disc gets.
//!
//! Caution: brake fluid that boils leaves no pedal. Brake work is for people who know it; the car maker's instructions
//! and the event's rules decide.

use super::days::whole_months;
use super::words::Verdict;
use super::worksheet_input::{Fields, InputError, beside, worst};
use jiff::civil::Date;
use serde::Serialize;

/// A grade of brake fluid, by its legal or standard minima.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct FluidGrade {
    dry_min_c: u16,
    wet_min_c: u16,
    silicone: bool,
}

impl FluidGrade {
    /// Reads "DOT 3", "dot4", "DOT 5.1", "DOT 4 LV", "ISO 4925 class 6", "class 5-1".
    ///
    /// A grade with a maker's addition ("DOT 4 LV", "Super DOT 4", "DOT 4+") has the minima of the grade itself.
    ///
    /// Source: 49 CFR 571.116 S5.1.1 and S5.1.2 (DOT 3, 4, 5, 5.1); ISO 4925:2020 table 1, from memory (classes).
    pub fn parse(text: &str) -> Option<FluidGrade> {
        let upper = text.to_uppercase().replace(',', ".");
        let plain: String = upper.chars().filter(|c| c.is_ascii_alphanumeric() || *c == '.').collect();
        let plain = plain.strip_prefix("SUPER").unwrap_or(&plain);
        let (dry_min_c, wet_min_c) = if let Some(grade) = plain.strip_prefix("DOT") {
            match grade.trim_end_matches("LV").trim_end_matches("PLUS") {
                "3" => (205, 140),
                "4" => (230, 155),
                "5" | "5.1" | "51" => (260, 180),
                _ => return None,
            }
        } else {
            let class = plain.strip_prefix("ISO").unwrap_or(plain);
            match class.strip_prefix("4925").unwrap_or(class).strip_prefix("CLASS")? {
                "3" => (205, 140),
                "4" => (230, 155),
                "51" | "5.1" => (260, 180),
                "6" => (250, 165),
                "7" => (260, 180),
                _ => return None,
            }
        };
        Some(FluidGrade { dry_min_c, wet_min_c, silicone: plain == "DOT5" })
    }

    /// The least boiling point new, °C.
    pub fn dry_min_c(self) -> u16 {
        self.dry_min_c
    }

    /// The least boiling point with 3.7 % of water taken up, °C.
    pub fn wet_min_c(self) -> u16 {
        self.wet_min_c
    }
}

/// What is known of the fluid in a car.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fluid {
    pub grade: FluidGrade,
    pub flushed: Date,
    pub on: Date,
    /// Whole calendar months.
    pub limit_months: u32,
    pub measured_boil_c: Option<f64>,
    pub limit_boil_c: f64,
}

/// What the worksheet `brake-fluid` says.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct FluidState {
    pub age_months: i32,
    pub dry_min_c: u16,
    pub wet_min_c: u16,
    /// The maker's own figures as given; they never raise the minima.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub maker_dry_c: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub maker_wet_c: Option<f64>,
    pub verdict: Verdict,
    pub why: String,
}

/// Worksheet `brake-fluid`: whether the fluid is fresh enough, or boils high enough.
///
/// Age in whole calendar months. A measured boiling point outranks the age: at or above its limit the age is only
/// told, below it the fluid is a fix however fresh. Without one, older than the limit: fix. Silicone grade: a note, since
/// it mixes with no other. The dry and wet minima are the least that the grade may have when new and with 3.7 % of water.
///
/// Source: 49 CFR 571.116 (FMVSS 116); the limits are the sheet's.
///
/// # Example: old by the calendar, well by the tester
/// ```
/// use jiff::civil::date;
/// use witnessmark::rules::{brakes::{Fluid, FluidGrade, judge_fluid}, words::Verdict};
/// let grade = FluidGrade::parse("DOT 4").unwrap();
/// let (flushed, on) = (date(2025, 9, 20), date(2026, 9, 19));
/// let mut fluid = Fluid { grade, flushed, on, limit_months: 6, measured_boil_c: None, limit_boil_c: 180.0 };
/// assert_eq!(judge_fluid(&fluid).age_months, 11);
/// assert_eq!(judge_fluid(&fluid).verdict, Verdict::Fix);
/// fluid.measured_boil_c = Some(205.0);
/// assert_eq!(judge_fluid(&fluid).verdict, Verdict::Ok);
/// ```
pub fn judge_fluid(fluid: &Fluid) -> FluidState {
    let age_months = whole_months(fluid.flushed, fluid.on);
    let (limit, boils_at) = (fluid.limit_months, fluid.limit_boil_c);
    let old = i64::from(age_months) > i64::from(limit);
    let mut said = Vec::new();
    match fluid.measured_boil_c {
        Some(boil) => {
            let verdict = if boil < boils_at { Verdict::Fix } else { Verdict::Ok };
            let figure = beside(boil, boils_at, 0);
            let text = format!(
                "the fluid boils at {figure} °C, the limit is {boils_at} °C; it is {age_months} months old (limit {limit})"
            );
            said.push((verdict, text));
        }
        None => {
            let verdict = if old { Verdict::Fix } else { Verdict::Ok };
            said.push((
                verdict,
                format!("flushed {}, {age_months} months before {}; the limit is {limit} months", fluid.flushed, fluid.on),
            ));
        }
    }
    if fluid.grade.silicone {
        said.push((Verdict::Note, "silicone fluid (DOT 5) mixes with no other grade: top up only with the same".to_owned()));
    }
    let (verdict, why) = worst(said);
    let FluidGrade { dry_min_c, wet_min_c, .. } = fluid.grade;
    FluidState { age_months, dry_min_c, wet_min_c, maker_dry_c: None, maker_wet_c: None, verdict, why }
}

/// The JSON side of [`judge_fluid`].
///
/// Ranges: days from 1950 to 2100, limit 0 to 1200 months, boiling points 80 to 400 °C.
///
/// # Errors
/// [`InputError`] for a field that cannot be used, also for a flush after the event.
pub fn brake_fluid(input: &Fields) -> Result<FluidState, InputError> {
    let grade = FluidGrade::parse(input.text("grade", 40)?)
        .ok_or_else(|| input.error("grade", "Write the grade as DOT 3, DOT 4, DOT 5, DOT 5.1 or ISO 4925 class 6."))?;
    let (flushed, on) = (input.date("flushed")?, input.date("on")?);
    if flushed > on {
        return Err(input.error("flushed", format!("{flushed} is after {on}: give the day it was flushed.")));
    }
    let limit_months = input.whole_if("limit_months", 0..=1200)?.unwrap_or(6);
    let measured_boil_c = input.number_if("measured_boil_c", 80.0..=400.0)?;
    let limit_boil_c = input.number_if("limit_boil_c", 80.0..=400.0)?.unwrap_or(180.0);
    let state = judge_fluid(&Fluid { grade, flushed, on, limit_months, measured_boil_c, limit_boil_c });
    let (maker_dry_c, maker_wet_c) =
        (input.number_if("maker_dry_c", 80.0..=400.0)?, input.number_if("maker_wet_c", 80.0..=400.0)?);
    Ok(FluidState { maker_dry_c, maker_wet_c, ..state })
}
