//! Counting days and months the way labels, logs and rule books do.

use jiff::civil::Date;

/// Whole calendar months from one day to a later one; 0 when it is not later.
///
/// The last day of a shorter month completes the month begun on a day it does not have.
///
/// # Example: a flush in spring, an event in autumn
/// ```
/// use jiff::civil::date;
/// use witnessmark::rules::days::whole_months;
/// assert_eq!(whole_months(date(2026, 3, 20), date(2026, 9, 19)), 5);
/// assert_eq!(whole_months(date(2026, 3, 20), date(2026, 9, 20)), 6);
/// assert_eq!(whole_months(date(2026, 1, 31), date(2026, 2, 28)), 1);
/// ```
pub fn whole_months(from: Date, to: Date) -> i32 {
    let months = (i32::from(to.year()) - i32::from(from.year())) * 12 + i32::from(to.month()) - i32::from(from.month());
    let unfinished = to.day() < from.day() && to.day() < to.days_in_month();
    (months - i32::from(unfinished)).max(0)
}

/// Days from one day to another, below zero when the second is the earlier.
pub fn days_between(from: Date, to: Date) -> i64 {
    // Days between any two dates fit an i32: jiff's years run from -9999 to 9999.
    from.until(to).map_or(0, |span| i64::from(span.get_days()))
}
