//! The garage's due days in a telephone's calendar: the address is the key, and what is read there is read by a library that did
//! not write it (calcard).

use crate::club::{AtGarage, Club, Person};
use calcard::icalendar::{ICalendarProperty, ICalendarValue};
use calcard::{Entry, Parser};
use reqwest::StatusCode;

/// Days and titles of a calendar's events, as the other library has them.
fn dues(text: &str) -> Vec<(String, String)> {
    let Entry::ICalendar(read) = Parser::new(text).entry() else { panic!("no calendar: {text}") };
    let events = read.components.iter().filter(|component| component.component_type.is_event());
    let mut dues: Vec<(String, String)> = events
        .map(|event| {
            let start = &event.property(&ICalendarProperty::Dtstart).expect("a day").values[0];
            let ICalendarValue::PartialDateTime(day) = start else { panic!("no day: {start:?}") };
            let day = format!("{:04}-{:02}-{:02}", day.year.unwrap(), day.month.unwrap(), day.day.unwrap());
            let title = event.property(&ICalendarProperty::Summary).and_then(|entry| entry.values[0].as_text()).expect("a title");
            (day, title.to_owned())
        })
        .collect();
    dues.sort();
    dues
}

async fn makes_an_address(garage: &AtGarage<'_>) -> String {
    let path = format!("{}/keep/calendar", garage.base);
    let page = garage.driver.person.post(&path, &[]).await.page().await;
    let address = page.first("p.link");
    address.strip_prefix(&garage.club().base).expect("an address of this club").to_owned()
}

#[tokio::test]
async fn what_is_due_stands_in_the_drivers_calendar_until_the_address_is_ended() {
    let mut club = Club::open().await;
    club.turns_to_event("Summer day", "2026-06-13").await;
    let ines = club.driver("27").await;
    let garage = ines.opens_own_garage().await;
    // Two hours every day: three hours of work begin at the latest two days before, on 11 June; ten days to come: order by 1 June.
    let week = ["monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday"].map(|day| (day, "2"));
    garage.notes(&format!("{}/hours", garage.base), &week).await;
    let pads = garage.job("Front pads; track", "brakes", "3", &[]).await;
    garage.notes(&format!("{pads}/parts"), &[("name", "Pads, hard"), ("lead", "10"), ("is", "to-order")]).await;
    let gear =
        [("what", "helmet"), ("name", "The white one"), ("label", "FIA 8859-2015"), ("date", "2016-08"), ("date-is", "made")];
    garage.notes(&format!("{}/gear", garage.base), &gear).await;
    let address = makes_an_address(&garage).await;

    let telephone = Person::stranger(&club.base);
    let answer = telephone.get(&address).await;
    assert_eq!(answer.header("content-type"), "text/calendar; charset=utf-8");
    let text = answer.text().await;
    let read = dues(&text);
    let due = |day: &str, title: &str| (day.to_owned(), title.to_owned());
    for wanted in [
        due("2026-06-01", "Corvane S4: order Pads, hard"),
        due("2026-06-11", "Corvane S4: begin Front pads; track"),
        due("2026-06-13", "Corvane S4: Summer day"),
    ] {
        assert!(read.contains(&wanted), "{wanted:?} is due: {read:?}");
    }
    let ids = |text: &str| text.lines().filter(|line| line.starts_with("UID:")).map(str::to_owned).collect::<Vec<_>>();
    assert_eq!(ids(&telephone.get(&address).await.text().await), ids(&text), "asked again, the days are the same days");

    // Done: nothing of it is due any more. An address made anew ends the one before it.
    garage.notes(&format!("{pads}/done"), &[("what", "New pads."), ("shown_by", "11 mm all round.")]).await;
    assert!(!telephone.get(&address).await.text().await.contains("Front pads"));
    let second = makes_an_address(&garage).await;
    assert_eq!(telephone.get(&address).await.status(), StatusCode::NOT_FOUND, "the old address shows nothing");
    assert_eq!(telephone.get(&second).await.status(), StatusCode::OK);
    ines.person.post(&format!("{}/keep/calendar", garage.base), &[("end", "1")]).await;
    assert_eq!(telephone.get(&second).await.status(), StatusCode::NOT_FOUND, "nor does one that was ended");
}
