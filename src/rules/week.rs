//! The hours that can be worked in a week, and days as minutes of work.

use super::days::days_between;
use jiff::ToSpan;
use jiff::civil::{Date, date};

/// A Monday from which days are counted.
const MONDAY: Date = date(1970, 1, 5);

/// Hours that can be worked on each weekday; not all 0.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Week {
    minutes: [i64; 7],
}

/// Hours of a week that cannot be planned with; `weekday` counts from 0, Monday.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum WeekError {
    #[error("Hours of a day lie between 0 and 16.")]
    Hours { weekday: usize },
    #[error("Give hours for at least one day of the week.")]
    NoHours,
}

impl Week {
    /// Takes hours from Monday to Sunday, each 0 to 16, read to the minute.
    ///
    /// # Errors
    /// [`WeekError`]: a day outside that range, or a week without a minute.
    ///
    /// # Example: two evenings and a Saturday
    /// ```
    /// use jiff::civil::date;
    /// use witnessmark::rules::week::Week;
    /// let week = Week::new([0.0, 2.0, 0.0, 2.0, 0.0, 6.5, 0.0]).unwrap();
    /// assert_eq!(week.hours_between(date(2026, 5, 4), date(2026, 5, 11)), 10.5);
    /// assert_eq!(week.hours_between(date(2026, 5, 11), date(2026, 5, 9)), -6.5);
    /// ```
    pub fn new(hours: [f64; 7]) -> Result<Week, WeekError> {
        let mut minutes = [0; 7];
        for (weekday, (minutes, hours)) in minutes.iter_mut().zip(hours).enumerate() {
            if !(0.0..=16.0).contains(&hours) {
                return Err(WeekError::Hours { weekday });
            }
            *minutes = (hours * 60.0).round() as i64;
        }
        if minutes.iter().sum::<i64>() == 0 { Err(WeekError::NoHours) } else { Ok(Week { minutes }) }
    }

    /// Hours from Monday to Sunday.
    pub fn hours(&self) -> [f64; 7] {
        self.minutes.map(in_hours)
    }

    /// Hours from the morning of one day to the morning of another; below 0 when the second is the earlier.
    pub fn hours_between(&self, from: Date, to: Date) -> f64 {
        in_hours(self.before(day_number(to)) - self.before(day_number(from)))
    }

    /// Minutes from the Monday of the count to this day's morning.
    pub(super) fn before(&self, day: i64) -> i64 {
        let (weeks, weekday) = (day.div_euclid(7), day.rem_euclid(7) as usize);
        weeks * self.minutes.iter().sum::<i64>() + self.minutes.iter().take(weekday).sum::<i64>()
    }

    /// The day on which the minute after this many is worked.
    pub(super) fn day_after(&self, minutes: i64) -> i64 {
        let weeks = minutes.div_euclid(self.minutes.iter().sum());
        (weeks * 7..weeks * 7 + 7).rev().find(|day| self.before(*day) <= minutes).unwrap_or(weeks * 7)
    }
}

pub(super) fn in_hours(minutes: i64) -> f64 {
    minutes as f64 / 60.0
}

pub(super) fn day_number(day: Date) -> i64 {
    days_between(MONDAY, day)
}

pub(super) fn to_date(day: i64) -> Date {
    // More days than a span can hold are beyond either end of the calendar as well.
    MONDAY.saturating_add(day.clamp(-7_000_000, 7_000_000).days())
}
