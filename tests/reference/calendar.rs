//! The calendar of due days, read back by a library that did not write it (calcard).

use calcard::icalendar::{ICalendarComponent, ICalendarProperty, ICalendarTransparency, ICalendarValue};
use calcard::{Entry, Parser};
use jiff::Timestamp;
use jiff::civil::{Date, date};
use proptest::prelude::*;
use uuid::Uuid;
use witnessmark::output::calendar::{Due, calendar};

fn stamp() -> Timestamp {
    "2026-05-01T18:30:15.75Z".parse().unwrap()
}

fn due(nth: u128, day: Date, title: &str, notes: &str) -> Due {
    Due { uid: Uuid::from_u128(nth), day, title: title.to_owned(), notes: notes.to_owned() }
}

/// The components as the other library reads them; what it cannot read fails. Not its strict way, which takes no component
/// within another (calcard 0.3.14).
fn read(text: &str) -> Vec<ICalendarComponent> {
    let mut parser = Parser::new(text);
    let Entry::ICalendar(read) = parser.entry() else { panic!("no calendar:\n{text}") };
    assert!(matches!(parser.entry(), Entry::Eof), "more than one calendar:\n{text}");
    read.components
}

fn text_of(component: &ICalendarComponent, property: &ICalendarProperty) -> String {
    let values = component.property(property).map(|entry| &entry.values[..]).unwrap_or_default();
    assert!(values.len() <= 1, "{property:?} came apart: {values:?}");
    values.first().map(|value| value.as_text().unwrap_or_else(|| panic!("no text: {value:?}")).to_owned()).unwrap_or_default()
}

/// What is due, as it is read back, with what each due day must have beside.
fn dues_in(text: &str) -> Vec<Due> {
    let components = read(text);
    let events = components.iter().filter(|component| component.component_type.is_event());
    let one = |event: &ICalendarComponent| {
        let start = event.property(&ICalendarProperty::Dtstart).expect("a day");
        let ICalendarValue::PartialDateTime(day) = &start.values[0] else { panic!("no day: {start:?}") };
        assert_eq!((day.hour, day.tz_hour), (None, None), "a whole day");
        let digits = |number: Option<u16>| i16::try_from(number.unwrap()).unwrap();
        let small = |number: Option<u8>| i8::try_from(number.unwrap()).unwrap();
        assert_eq!(event.transparency(), Some(&ICalendarTransparency::Transparent));
        assert!(event.has_property(&ICalendarProperty::Dtstamp));
        let alarms: Vec<_> = event.component_ids.iter().map(|id| &components[*id as usize]).collect();
        assert_eq!(alarms.len(), 1);
        let trigger = alarms[0].property(&ICalendarProperty::Trigger).expect("a time for the alarm");
        let ICalendarValue::Duration(before) = &trigger.values[0] else { panic!("{trigger:?}") };
        assert_eq!(before.as_seconds(), -12 * 3600, "noon of the day before");
        let title = text_of(event, &ICalendarProperty::Summary);
        assert_eq!(text_of(alarms[0], &ICalendarProperty::Description), title);
        Due {
            uid: event.uid().and_then(|uid| uid.strip_suffix("@witnessmark")).expect("our own id").parse().unwrap(),
            day: Date::new(digits(day.year), small(day.month), small(day.day)).unwrap(),
            title,
            notes: text_of(event, &ICalendarProperty::Description),
        }
    };
    events.map(one).collect()
}

/// RFC 5545 3.1: lines end in CR LF and have no more than 75 octets before it.
fn assert_lines(text: &str) {
    assert!(text.ends_with("\r\n"));
    assert_eq!(text.matches('\n').count(), text.matches("\r\n").count(), "a line feed by itself");
    assert_eq!(text.matches('\r').count(), text.matches("\r\n").count(), "a carriage return by itself");
    for line in text.split("\r\n") {
        assert!(line.len() <= 75, "{} octets: {line}", line.len());
    }
}

#[test]
fn nasty_titles_come_back_as_they_were() {
    let long = "Bremssättel überholen, ".repeat(14).chars().take(300).collect::<String>();
    assert_eq!(long.chars().count(), 300);
    let dues = [
        due(1, date(2026, 5, 4), "Order pads, front; rear", "Two sets:\n- front\n- rear\n\n\"soft\" one"),
        due(2, date(2028, 2, 29), "C:\\new\\notes, \\, and \\; and \\n", "BEGIN:VEVENT\nEND:VCALENDAR\n"),
        due(3, date(2026, 12, 31), &long, &long.repeat(10)),
        due(4, date(2026, 1, 1), "\u{17b}arówki, \u{3a9} and \u{8eca}\u{691c}", " leading and trailing "),
        due(5, date(2026, 5, 4), &"\u{8eca}".repeat(300), ""),
        due(6, date(2026, 5, 4), &"a b ".repeat(75), &"\\".repeat(300)),
        due(7, date(2026, 5, 4), "", "only\ta note"),
    ];
    let text = calendar("Garage, car 27; \"the old one\"", &dues, stamp());
    assert_lines(&text);
    assert_eq!(dues_in(&text), dues);
    // What is written again is the same, to the byte: no clock and no chance is in it.
    assert_eq!(calendar("Garage, car 27; \"the old one\"", &dues, stamp()), text);
    assert_eq!(text.matches("DTSTAMP:20260501T183015Z\r\n").count(), 2 * dues.len());
    assert_eq!(text.matches("DTSTAMP").count(), 2 * dues.len());
}

#[test]
fn a_name_cannot_write_lines_of_its_own() {
    let text = calendar("Garage\r\nBEGIN:VEVENT\r\nX:y, z", &[], stamp());
    assert_lines(&text);
    let components = read(&text);
    assert_eq!(components.len(), 1);
    let named = |name: &str| {
        let is = |entry: &&_| matches!(entry, calcard::icalendar::ICalendarEntry { name: found, .. } if found.as_str() == name);
        components[0].entries.iter().find(is).and_then(|entry| entry.values[0].as_text().map(str::to_owned))
    };
    assert_eq!(named("NAME").as_deref(), Some("Garage\nBEGIN:VEVENT\nX:y, z"));
    assert!(named("PRODID").is_some_and(|by| by.contains("Witnessmark")));
}

#[test]
fn control_characters_are_left_out_and_lines_end_in_line_feeds() {
    let dues = [due(1, date(2026, 5, 4), "bleed\u{0} the\u{7f} brakes\u{1b}", "one\r\ntwo\rthree")];
    let [back] = &dues_in(&calendar("Garage", &dues, stamp()))[..] else { panic!("one due day") };
    assert_eq!((&back.title[..], &back.notes[..]), ("bleed the brakes", "one\ntwo\nthree"));
}

proptest! {
    #[test]
    fn any_text_comes_back(title in "[^\\p{Cc}]{0,200}", notes in "([^\\p{Cc}]{0,90}\n?){0,5}", name in "\\PC{0,90}") {
        let dues = [due(9, date(2026, 5, 4), &title, &notes)];
        let text = calendar(&name, &dues, stamp());
        assert_lines(&text);
        prop_assert_eq!(dues_in(&text), dues);
    }
}
