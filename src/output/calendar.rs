//! Due days as a calendar (iCalendar, RFC 5545) that a telephone can subscribe to.

use icalendar::{Alarm, Calendar, Component, Event, EventLike, Property};
use jiff::Timestamp;

pub use crate::rules::garage::due::Due;

/// A calendar of whole days, each with an alarm at noon of the day before; `stamp` is when it was made.
///
/// Titles and notes come back as they were, but for characters that such a file cannot hold: a line's end is a line feed, and
/// of the other control characters only the tab stays. The days do not make anybody busy.
///
/// Source: RFC 5545 3.1 (lines), 3.3.11 (text), 3.6.1 (without an end, a day is a whole one), 3.6.6 (alarms); RFC 7986 5.1
/// (`NAME`); from memory, and read back by another library in `tests/reference/calendar.rs`.
///
/// # Example: pads to order
/// ```
/// use jiff::civil::date;
/// use witnessmark::output::calendar::{Due, calendar};
/// let due = Due { uid: uuid::Uuid::nil(), day: date(2026, 5, 4), title: "Order pads, front".into(), notes: String::new() };
/// let text = calendar("Garage of car 27", &[due], "2026-05-01T18:00:00Z".parse().unwrap());
/// assert!(text.contains("DTSTART;VALUE=DATE:20260504\r\n"));
/// assert!(text.contains("SUMMARY:Order pads\\, front\r\n"));
/// ```
pub fn calendar(name: &str, dues: &[Due], stamp: Timestamp) -> String {
    let name = clean(name);
    let mut calendar = Calendar::empty();
    calendar.append_property(("VERSION", "2.0"));
    calendar.append_property(("PRODID", "-//Witnessmark//Garage//EN"));
    calendar.append_property(("CALSCALE", "GREGORIAN"));
    // The library escapes only what it knows to be text, and this name it does not know.
    calendar.append_property(Property::new("NAME", name.as_str()).add_parameter("VALUE", "TEXT").done());
    calendar.append_property(("X-WR-CALNAME", name.as_str()));
    let stamp = stamp.strftime("%Y%m%dT%H%M%SZ").to_string();
    for due in dues {
        calendar.push(event(due, &stamp));
    }
    folded(&calendar.to_string())
}

fn event(due: &Due, stamp: &str) -> Event {
    let (title, uid) = (clean(&due.title), format!("{}@witnessmark", due.uid));
    let mut alarm = Alarm::display(&title, -chrono::Duration::hours(12));
    // Left out, the library asks the clock and draws lots.
    alarm.add_property("DTSTAMP", stamp).add_property("UID", format!("alarm-{uid}"));
    let mut event = Event::new();
    event.uid(&uid).add_property("DTSTAMP", stamp).summary(&title).add_property("TRANSP", "TRANSPARENT");
    // Without an end: the library's own whole day ends on the day it begins, which is no time at all.
    event.append_property(Property::new("DTSTART", due.day.strftime("%Y%m%d").to_string()).add_parameter("VALUE", "DATE").done());
    let notes = clean(&due.notes);
    if !notes.is_empty() {
        event.description(&notes);
    }
    event.alarm(alarm);
    event.done()
}

/// Lines of at most 75 octets. The library (icalendar 0.17.17) makes some of 76: it forgets the space before a last piece.
fn folded(text: &str) -> String {
    let mut folded = String::with_capacity(text.len());
    for line in text.replace("\r\n ", "").split_terminator("\r\n") {
        let mut octets = 0;
        for c in line.chars() {
            if octets + c.len_utf8() > 75 {
                folded.push_str("\r\n ");
                octets = 1;
            }
            folded.push(c);
            octets += c.len_utf8();
        }
        folded.push_str("\r\n");
    }
    folded
}

/// Without what the file cannot hold.
fn clean(text: &str) -> String {
    text.replace("\r\n", "\n").replace('\r', "\n").chars().filter(|c| matches!(c, '\n' | '\t') || !c.is_control()).collect()
}
