//! What an organizer sets for the phones of an event: how long "cleared" is said without news, and how long pages are kept.

use super::answer::Trouble;

/// The least and the most minutes without news until a marshal's phone no longer says "cleared".
pub const OLD_AFTER_MIN: (u16, u16) = (1, 240);
/// The least and the most days after an event's day until its phones drop its pages.
pub const KEPT_DAYS: (u16, u16) = (0, 30);

/// The setting of an event's phones. Made by [`PhoneSetting::parse`], or the first values: 15 minutes and 1 day.
///
/// Fifteen minutes are common practice, no source: a car that was held is back in the paddock within a quarter of an hour.
///
/// ```
/// // A club that keeps pages for a week.
/// use witnessmark::rules::phones::PhoneSetting;
/// let setting = PhoneSetting::parse("10", "7").unwrap();
/// assert_eq!((setting.old_after_min(), setting.kept_days()), (10, 7));
/// assert_eq!(PhoneSetting::parse("0", "99").unwrap_err().len(), 2);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct PhoneSetting {
    old_after_min: u16,
    kept_days: u16,
}

impl Default for PhoneSetting {
    fn default() -> PhoneSetting {
        PhoneSetting { old_after_min: 15, kept_days: 1 }
    }
}

impl PhoneSetting {
    /// Reads both figures as they were typed: minutes (1 to 240) and days (0 to 30), whole.
    ///
    /// # Errors
    /// A trouble for each field (`old_after`, `kept_days`) that is no whole number in its range.
    pub fn parse(old_after_min: &str, kept_days: &str) -> Result<PhoneSetting, Vec<Trouble>> {
        let mut troubles = Vec::new();
        let mut read = |field: &str, text: &str, (least, most): (u16, u16), unit: &str| {
            let number = text.trim().parse().ok().filter(|number| (least..=most).contains(number));
            if number.is_none() {
                let message = format!("Give whole {unit}, {least} to {most}.");
                troubles.push(Trouble { field: field.to_owned(), message });
            }
            number.unwrap_or_default()
        };
        let old_after_min = read("old_after", old_after_min, OLD_AFTER_MIN, "minutes");
        let kept_days = read("kept_days", kept_days, KEPT_DAYS, "days");
        if troubles.is_empty() { Ok(PhoneSetting { old_after_min, kept_days }) } else { Err(troubles) }
    }

    /// After how many minutes without news a marshal's phone no longer says "cleared".
    pub fn old_after_min(self) -> u16 {
        self.old_after_min
    }

    /// How many days after the event's day its phones drop its pages.
    pub fn kept_days(self) -> u16 {
        self.kept_days
    }
}
