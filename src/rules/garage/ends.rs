//! When a garage that nobody opens ends by itself.

use crate::rules::answer::Trouble;
use jiff::tz::TimeZone;
use jiff::{Timestamp, ToSpan};

/// The fewest months that a club can set: a garage outlasts a winter.
pub const FEWEST_MONTHS: u16 = 6;
/// The most months that a club can set.
pub const MOST_MONTHS: u16 = 120;
/// Days from a new setting, or from an organizer's end, until anything is erased by it: time to take the file.
pub const NOTICE_DAYS: i64 = 30;

/// After how many months without use a garage ends by itself.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct GarageTerm {
    months: u16,
}

impl Default for GarageTerm {
    /// Two years: a season left out, and the next one.
    fn default() -> GarageTerm {
        GarageTerm { months: 24 }
    }
}

impl GarageTerm {
    /// Months without use, [`FEWEST_MONTHS`] to [`MOST_MONTHS`].
    pub fn months(self) -> u16 {
        self.months
    }

    /// Reads what was typed.
    ///
    /// # Errors
    /// A trouble at the field `months` for what is no whole number from 6 to 120.
    ///
    /// # Example: half a year at least
    /// ```
    /// use witnessmark::rules::garage::ends::GarageTerm;
    /// assert_eq!(GarageTerm::parse(" 36 ").unwrap().months(), 36);
    /// assert!(GarageTerm::parse("5").is_err());
    /// ```
    pub fn parse(text: &str) -> Result<GarageTerm, Trouble> {
        let months = text.trim().parse().ok().filter(|months| (FEWEST_MONTHS..=MOST_MONTHS).contains(months));
        let message = format!("Type a whole number of months, {FEWEST_MONTHS} to {MOST_MONTHS}.");
        months.map(|months| GarageTerm { months }).ok_or(Trouble { field: "months".into(), message })
    }

    /// When a garage ends that is not opened again: so many months after it was used last, and not before the notice that follows
    /// a new setting is over. `set_at` is when the club set its term; `None` where it never did.
    ///
    /// # Example: a shorter term erases nothing at once
    /// ```
    /// use jiff::Timestamp;
    /// use witnessmark::rules::garage::ends::GarageTerm;
    /// let at = |text: &str| text.parse::<Timestamp>().unwrap();
    /// let term = GarageTerm::parse("6").unwrap();
    /// assert_eq!(term.ends_on(at("2026-01-31T12:00:00Z"), None), at("2026-07-31T12:00:00Z"));
    /// assert_eq!(term.ends_on(at("2020-01-31T12:00:00Z"), Some(at("2026-05-01T00:00:00Z"))), at("2026-05-31T00:00:00Z"));
    /// ```
    pub fn ends_on(self, used_at: Timestamp, set_at: Option<Timestamp>) -> Timestamp {
        let used = used_at.to_zoned_datetime(TimeZone::UTC);
        let unused = used.checked_add(i64::from(self.months).months()).map_or(Timestamp::MAX, |end| end.timestamp());
        set_at.map_or(unused, |set_at| unused.max(notice_from(set_at)))
    }
}

/// When a notice that is given now is over.
pub fn notice_from(now: Timestamp) -> Timestamp {
    now.checked_add((NOTICE_DAYS * 24).hours()).unwrap_or(Timestamp::MAX)
}
