//! The date code of a tyre: the last group of figures of its tyre number.
//!
//! Source: 49 CFR 574.5 (date code; four figures since 2000, 64 FR 36807): two figures for the week, two for the year.
//! Week 01 is the first full week of the year, Sunday to Saturday: the week of the year's first Sunday. It is not week 1
//! of ISO 8601, which begins on a Monday and may be most of a week away.

use super::days::days_between;
use super::words::Verdict;
use super::worksheet_input::{Fields, InputError, beside};
use jiff::ToSpan;
use jiff::civil::{Date, Weekday, date};
use serde::Serialize;
use thiserror::Error;

/// The longest tyre number read, in characters: thirteen signs, "DOT" and what people put between.
const LONGEST: usize = 40;

/// The date code of a tyre.
///
/// # Example: the published example of a car maker's handbook, and an old tyre
/// ```
/// use jiff::civil::date;
/// use witnessmark::rules::tyres::DateCode;
/// let code = DateCode::parse("DOT 4B9R 7UMR 0301").unwrap();
/// assert_eq!((code.week(), code.year()), (Some(3), Some(2001)));
/// assert_eq!(code.made_from(), Some(date(2001, 1, 21)));
/// assert_eq!(DateCode::parse("031").unwrap().made_from(), None);
/// assert!(DateCode::parse("5424").is_err());
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct DateCode(Code);

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Code {
    /// Since 2000. The Sunday is worked out when the code is read, so that it is always there.
    Four { week: u8, year: i16, sunday: Date },
    /// Before 2000: week and the last figure of the year, in a decade that the code does not tell.
    ThreeFigures { week: Option<u8> },
}

/// Why a text is no date code, and what to do.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum DateCodeError {
    #[error("Copy the last four figures of the tyre number, such as 1224 for week 12 of 2024.")]
    Empty,
    #[error("This is too long for a tyre number. Copy only its last four figures, such as 1224.")]
    TooLong,
    #[error("A tyre number has only letters A to Z, figures, blanks and hyphens. Copy its last four figures, such as 1224.")]
    Signs,
    #[error("A date code has four figures (three on a tyre made before 2000); this has {0}. Copy the last four figures.")]
    Figures(usize),
    #[error("This tyre number does not end in the date. Look on the tyre's other side for the one that ends in four figures.")]
    NoDate,
    #[error("There is no week {0:02}: weeks run from 01 to 53. Read the last four figures of the tyre number again.")]
    Week(u8),
    #[error("Week {week} of {year} is still to come on {on}. Read the last four figures of the tyre number again.")]
    Future { week: u8, year: i16, on: Date },
}

impl DateCode {
    /// Reads a date code alone ("1224", "12 24") or a whole tyre number ("DOT 4B9R 7UMR 1224").
    ///
    /// # Errors
    /// [`DateCodeError`] for anything else, in words that say what to do. A code of the future is one only in
    /// [`DateCode::check_not_after`], which knows the day.
    pub fn parse(text: &str) -> Result<DateCode, DateCodeError> {
        if text.chars().count() > LONGEST {
            return Err(DateCodeError::TooLong);
        }
        let upper = text.to_uppercase();
        let is_gap = |c: char| c.is_whitespace() || matches!(c, '-' | '\u{2010}'..='\u{2015}' | '\u{2212}');
        let mut groups: Vec<&str> = upper.split(is_gap).filter(|group| !group.is_empty()).collect();
        if groups.iter().any(|group| !group.bytes().all(|b| b.is_ascii_alphanumeric())) {
            return Err(DateCodeError::Signs);
        }
        if let Some(first) = groups.first_mut() {
            *first = first.strip_prefix("DOT").unwrap_or(first);
        }
        groups.retain(|group| !group.is_empty());
        DateCode::of_figures(&date_figures(&groups)?)
    }

    fn of_figures(figures: &str) -> Result<DateCode, DateCodeError> {
        let number: u16 = figures.parse().map_err(|_| DateCodeError::NoDate)?;
        if figures.len() == 3 {
            // Below 1000, so two figures of it fit a byte.
            let week = Some((number / 10) as u8).filter(|week| (1..=53).contains(week));
            return Ok(DateCode(Code::ThreeFigures { week }));
        }
        let (week, year) = ((number / 100) as u8, 2000 + (number % 100) as i16);
        if !(1..=53).contains(&week) {
            return Err(DateCodeError::Week(week));
        }
        Ok(DateCode(Code::Four { week, year, sunday: sunday_of(week, year) }))
    }

    /// Checks that the tyre can have been made by this day.
    ///
    /// # Errors
    /// [`DateCodeError::Future`] when the code's week begins after it.
    pub fn check_not_after(self, on: Date) -> Result<(), DateCodeError> {
        match self.0 {
            Code::Four { week, year, sunday } if sunday > on => Err(DateCodeError::Future { week, year, on }),
            _ => Ok(()),
        }
    }

    /// The Sunday on which the code's week begins; `None` for three figures.
    pub fn made_from(self) -> Option<Date> {
        match self.0 {
            Code::Four { sunday, .. } => Some(sunday),
            Code::ThreeFigures { .. } => None,
        }
    }

    /// Age in years of 365.2425 days, counted from that Sunday; `None` for three figures, below 0 for the future.
    pub fn age_years(self, on: Date) -> Option<f64> {
        self.made_from().map(|sunday| days_between(sunday, on) as f64 / 365.2425)
    }

    /// The week, 1 to 53; `None` for three figures that tell none.
    pub fn week(self) -> Option<u8> {
        match self.0 {
            Code::Four { week, .. } => Some(week),
            Code::ThreeFigures { week } => week,
        }
    }

    /// The year; `None` for three figures, whose decade nobody can tell.
    pub fn year(self) -> Option<i16> {
        match self.0 {
            Code::Four { year, .. } => Some(year),
            Code::ThreeFigures { .. } => None,
        }
    }
}

/// The figures that should be the date, from the groups of a tyre number.
fn date_figures(groups: &[&str]) -> Result<String, DateCodeError> {
    let figures_only = |group: &&str| group.bytes().all(|b| b.is_ascii_digit());
    let Some((last, before)) = groups.split_last() else { return Err(DateCodeError::Empty) };
    if groups.iter().all(&figures_only) {
        let joined = groups.concat();
        return if matches!(joined.len(), 3 | 4) { Ok(joined) } else { Err(DateCodeError::Figures(joined.len())) };
    }
    if figures_only(last) {
        return match (last.len(), before.last()) {
            (3 | 4, _) => Ok((*last).to_owned()),
            // Week and year written apart, after the rest of the number.
            (2, Some(week)) if week.len() == 2 && figures_only(week) => Ok(format!("{week}{last}")),
            (length, _) => Err(DateCodeError::Figures(length)),
        };
    }
    // Letters and figures run together. Three figures at the end are not taken for a date here: the part of a number
    // without a date, which the tyre's other side shows, may end in three figures as well.
    let from = last.len().saturating_sub(4);
    let tail = last.get(from..).unwrap_or_default();
    if tail.len() == 4 && figures_only(&tail) { Ok(tail.to_owned()) } else { Err(DateCodeError::NoDate) }
}

/// The Sunday of a numbered week: week 01 is that of the year's first Sunday.
///
/// A year has 52 or 53 Sundays. Makers do stamp 53 in years that have 52; its Sunday is then the next one.
fn sunday_of(week: u8, year: i16) -> Date {
    let new_year = date(year, 1, 1);
    let wait = (7 - new_year.weekday().to_sunday_zero_offset()) % 7;
    debug_assert_eq!(new_year.saturating_add(i64::from(wait).days()).weekday(), Weekday::Sunday);
    new_year.saturating_add((i64::from(wait) + 7 * (i64::from(week) - 1)).days())
}

/// What the worksheet `tyre-date` says.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct TyreDate {
    /// 1 to 53; none where three figures tell none.
    pub week: Option<u8>,
    /// None for three figures.
    pub year: Option<i16>,
    /// The Sunday on which the week begins; none for three figures.
    pub made_from: Option<Date>,
    /// Years of 365.2425 days; none for three figures.
    pub age_years: Option<f64>,
    pub verdict: Verdict,
    pub why: String,
}

/// Worksheet `tyre-date`: the age of a tyre by its date code, against a limit in years.
///
/// Age = days from the Sunday of the code's week to `on`, divided by 365.2425. Older than the limit: fix. Three
/// figures: made before 2000, stop. The limit is the event's; no law on the age of car tyres was found.
///
/// # Errors
/// [`DateCodeError`], also for a code whose week begins after `on`.
///
/// Source: 49 CFR 574.5; three figures: NHTSA interpretation 12375 (1996).
///
/// # Example: seven years and a little
/// ```
/// use jiff::civil::date;
/// use witnessmark::rules::{tyres::judge_date, words::Verdict};
/// let tyre = judge_date("5120", date(2027, 12, 25), 6.0).unwrap();
/// assert_eq!(tyre.made_from, Some(date(2020, 12, 20)));
/// assert_eq!(tyre.verdict, Verdict::Fix);
/// ```
pub fn judge_date(code: &str, on: Date, limit_years: f64) -> Result<TyreDate, DateCodeError> {
    let code = DateCode::parse(code)?;
    code.check_not_after(on)?;
    let (week, year, made_from, age_years) = (code.week(), code.year(), code.made_from(), code.age_years(on));
    let (verdict, why) = match (age_years, made_from) {
        (Some(age), Some(sunday)) => {
            let verdict = if age > limit_years { Verdict::Fix } else { Verdict::Ok };
            let years = beside(age, limit_years, 1);
            (verdict, format!("Made in the week from {sunday}, {years} years before {on}; the limit is {limit_years} years."))
        }
        _ => (Verdict::Stop, "A date code of three figures: this tyre was made before 2000.".to_owned()),
    };
    Ok(TyreDate { week, year, made_from, age_years, verdict, why })
}

/// The JSON side of [`judge_date`].
///
/// Ranges: limit 0 to 100 years, days from 1950 to 2100.
///
/// # Errors
/// [`InputError`] for a field that cannot be used.
pub fn tyre_date(input: &Fields) -> Result<TyreDate, InputError> {
    let on = input.date("on")?;
    let limit_years = input.number_if("limit_years", 0.0..=100.0)?.unwrap_or(6.0);
    judge_date(input.text("code", 200)?, on, limit_years).map_err(|error| input.error("code", error.to_string()))
}
