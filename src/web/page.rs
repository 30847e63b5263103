//! What pages share: rendering, clocks, the words for a number of things.

use super::error::Fault;
pub use crate::rules::words::{capital, count};
use askama::Template;
use axum::response::Html;
use jiff::Timestamp;
use jiff::civil::Date;
use jiff::tz::TimeZone;

pub(super) type Page = Result<Html<String>, Fault>;

/// Renders a page.
pub(super) fn render(template: &impl Template) -> Page {
    Ok(Html(template.render()?))
}

/// An event's own clock: every time on a page is read off it.
#[derive(Clone, Debug)]
pub struct Clock {
    zone: TimeZone,
    day: Date,
}

impl Clock {
    pub fn of(event: &crate::store::event::Event) -> Clock {
        // The zone was checked when the event was made; a machine without it shows UTC rather than nothing.
        Clock { zone: TimeZone::get(&event.zone).unwrap_or(TimeZone::UTC), day: event.day }
    }

    /// "07:44" on the event's day, "8 May 07:44" on another, "8 May 2020 07:44" in a year that is not the event's.
    pub fn at(&self, time: &Timestamp) -> String {
        let there = time.to_zoned_datetime(self.zone.clone());
        let form = match there.date() {
            day if day == self.day => "%H:%M",
            day if day.year() == self.day.year() => "%-d %b %H:%M",
            _ => "%-d %b %Y %H:%M",
        };
        there.strftime(form).to_string()
    }

    /// Day, time and zone in full, for a record that is read years later.
    pub fn in_full(&self, time: &Timestamp) -> String {
        time.to_zoned_datetime(self.zone.clone()).strftime("%Y-%m-%d %H:%M:%S %Z").to_string()
    }
}

/// "2026-05-09 06:44 UTC", for what belongs to no event.
pub fn utc(time: &Timestamp) -> String {
    time.strftime("%Y-%m-%d %H:%M UTC").to_string()
}

/// "2026-05-09", for what belongs to no event.
pub fn utc_day(time: &Timestamp) -> String {
    time.strftime("%Y-%m-%d").to_string()
}

/// "Saturday 9 May 2026".
pub fn long_day(day: &Date) -> String {
    day.strftime("%A %-d %B %Y").to_string()
}

/// "Sat 9 May".
pub fn short_day(day: &Date) -> String {
    day.strftime("%a %-d %b").to_string()
}

/// "One thing stands", "Two things stand", "12 things stand".
pub fn things_stand(count: usize) -> String {
    const WORDS: [&str; 10] = ["Nothing", "One", "Two", "Three", "Four", "Five", "Six", "Seven", "Eight", "Nine"];
    let number = WORDS.get(count).map_or_else(|| count.to_string(), |word| (*word).to_owned());
    if count == 1 { format!("{number} thing stands") } else { format!("{number} things stand") }
}

/// "once", "3 times".
pub fn times(number: usize) -> String {
    if number == 1 { "once".into() } else { format!("{number} times") }
}

/// Ids with commas between them, as a form hands them back.
pub fn id_list(ids: &[uuid::Uuid]) -> String {
    ids.iter().map(uuid::Uuid::to_string).collect::<Vec<_>>().join(",")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_time_says_its_day_and_its_year_where_they_are_not_the_events() {
        let clock = Clock { zone: TimeZone::UTC, day: jiff::civil::date(2026, 5, 9) };
        let at = |time: &str| clock.at(&time.parse().expect("a time"));
        assert_eq!(at("2026-05-09T07:44:00Z"), "07:44");
        assert_eq!(at("2026-05-08T07:44:00Z"), "8 May 07:44");
        assert_eq!(at("2020-05-08T07:44:00Z"), "8 May 2020 07:44");
        assert_eq!(at("2020-05-09T07:44:00Z"), "9 May 2020 07:44", "the event's day of another year");
    }
}
