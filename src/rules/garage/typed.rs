//! Reading what was typed in the garage: one trouble for each field that cannot be used, and nothing guessed.

use crate::rules::answer::{Trouble, Typed, read_number};
use crate::rules::words::{has_control, is_one_line};
use jiff::civil::{Date, Time};
use std::ops::RangeInclusive;

/// Reads the fields of a form one by one and gathers what cannot be used.
pub struct Reader<'t> {
    typed: &'t Typed,
    pub troubles: Vec<Trouble>,
}

impl<'t> Reader<'t> {
    pub fn of(typed: &'t Typed) -> Reader<'t> {
        Reader { typed, troubles: Vec::new() }
    }

    /// The text of a field, trimmed.
    pub fn raw(&self, name: &str) -> &'t str {
        self.typed.get(name).map_or("", |text| text.trim())
    }

    /// Notes a field that cannot be used.
    pub fn trouble(&mut self, name: &str, message: impl Into<String>) {
        self.troubles.push(Trouble { field: name.to_owned(), message: message.into() });
    }

    /// One line that has to be there.
    pub fn line(&mut self, name: &str, longest: usize, wanted: &str) -> String {
        let text = self.raw(name);
        if text.is_empty() {
            self.trouble(name, wanted);
        } else if !is_one_line(text, longest) {
            self.trouble(name, format!("One line of at most {longest} characters."));
        }
        text.to_owned()
    }

    /// Some text, or none.
    pub fn text(&mut self, name: &str, longest: usize) -> String {
        let text = self.raw(name);
        if text.chars().count() > longest {
            self.trouble(name, format!("At most {longest} characters; this has {}.", text.chars().count()));
        } else if has_control(text) {
            self.trouble(name, "There is a control character in this text; type it again.");
        }
        text.to_owned()
    }

    /// A number within these figures; `None` where the field is empty or has trouble.
    pub fn number(&mut self, name: &str, within: RangeInclusive<f64>, unit: &str) -> Option<f64> {
        let text = self.raw(name);
        if text.is_empty() {
            return None;
        }
        match read_number(text) {
            None => self.trouble(name, format!("Type a number{}.", in_unit(unit))),
            Some(number) if !within.contains(&number) => {
                let (low, high) = (within.start(), within.end());
                self.trouble(name, format!("{number} cannot be: this lies between {low} and {high}{}.", spaced(unit)));
            }
            // Nought below nought is nought.
            number => return number.map(|number| number + 0.0),
        }
        None
    }

    /// A number that has to be there; 0 where it has trouble.
    pub fn must_number(&mut self, name: &str, within: RangeInclusive<f64>, unit: &str) -> f64 {
        if self.raw(name).is_empty() {
            self.trouble(name, format!("Type a number{}.", in_unit(unit)));
        }
        self.number(name, within, unit).unwrap_or_default()
    }

    /// A whole number that has to be there; the range's begin where it has trouble.
    pub fn whole(&mut self, name: &str, within: RangeInclusive<u16>, unit: &str) -> u16 {
        let (low, high) = (*within.start(), *within.end());
        match self.raw(name).parse::<u16>() {
            Ok(number) if within.contains(&number) => return number,
            Ok(number) => self.trouble(name, format!("{number} cannot be: this lies between {low} and {high}{}.", spaced(unit))),
            Err(_) => self.trouble(name, format!("Type a whole number from {low} to {high}{}.", spaced(unit))),
        }
        low
    }

    /// A day that has to be there, within these.
    pub fn day(&mut self, name: &str, within: RangeInclusive<Date>) -> Date {
        let text = self.raw(name);
        match text.parse::<Date>().ok().filter(|_| text.len() == 10) {
            None => self.trouble(name, "Give the day as year-month-day, such as 2026-03-28."),
            Some(day) if day < *within.start() => {
                self.trouble(name, format!("{day} is too long ago: {} at the earliest.", within.start()))
            }
            Some(day) if day > *within.end() => {
                self.trouble(name, format!("{day} is too far ahead: {} at the latest.", within.end()));
            }
            Some(day) => return day,
        }
        *within.start()
    }

    /// A time of day, or none.
    pub fn clock(&mut self, name: &str) -> Option<Time> {
        let text = self.raw(name);
        if text.is_empty() {
            return None;
        }
        let time = Time::strptime("%H:%M", text).ok();
        if time.is_none() {
            self.trouble(name, "Give the time as hours and minutes, such as 14:30, or leave it empty.");
        }
        time
    }

    /// One of several answers.
    pub fn choice<T>(&mut self, name: &str, parse: impl Fn(&str) -> Option<T>) -> Option<T> {
        let chosen = parse(self.raw(name));
        if chosen.is_none() {
            self.trouble(name, "Choose one of the answers listed.");
        }
        chosen
    }

    /// Whether a box is ticked.
    pub fn ticked(&self, name: &str) -> bool {
        !self.raw(name).is_empty()
    }

    /// A price in hundredths, or none.
    pub fn price(&mut self, name: &str) -> Option<u64> {
        let price = self.number(name, 0.0..=1_000_000.0, "")?;
        let cents = price * 100.0;
        if (cents - cents.round()).abs() > 1e-6 {
            self.trouble(name, "A price has at most two decimals.");
            return None;
        }
        Some(cents.round() as u64)
    }

    /// What was read, or the troubles.
    ///
    /// # Errors
    /// The troubles in the order of the fields.
    pub fn finish<T>(self, read: T) -> Result<T, Vec<Trouble>> {
        if self.troubles.is_empty() { Ok(read) } else { Err(self.troubles) }
    }
}

fn in_unit(unit: &str) -> String {
    if unit.is_empty() { String::new() } else { format!(" in {unit}") }
}

fn spaced(unit: &str) -> String {
    if unit.is_empty() { String::new() } else { format!(" {unit}") }
}

/// A price in hundredths as it is written: "12.50".
///
/// # Example: hundredths keep both figures
/// ```
/// use witnessmark::rules::garage::typed::say_price;
/// assert_eq!(say_price(1205, "EUR"), "12.05 EUR");
/// assert_eq!(say_price(300, ""), "3.00");
/// ```
pub fn say_price(cents: u64, currency: &str) -> String {
    format!("{}.{:02} {currency}", cents / 100, cents % 100).trim_end().to_owned()
}
