//! The date code of a tyre: what is read can be written as four (or three) figures and read again.

#![no_main]

use jiff::civil::Weekday;
use libfuzzer_sys::fuzz_target;
use witnessmark::rules::tyres::{DateCode, judge_date};
use witnessmark_fuzz::{DAY, says_something, timely};

fuzz_target!(|text: &str| {
    let code = match timely(|| DateCode::parse(text)) {
        Ok(code) => code,
        Err(error) => {
            says_something(&error.to_string(), text);
            assert_eq!(judge_date(text, DAY, 6.0), Err(error), "the worksheet refuses what the reader refuses");
            return;
        }
    };
    match (code.made_from(), code.week(), code.year()) {
        (Some(sunday), Some(week), Some(year)) => {
            assert_eq!(sunday.weekday(), Weekday::Sunday);
            let written = format!("{week:02}{:02}", year - 2000);
            assert_eq!(DateCode::parse(&written), Ok(code), "{text} is {written}");
            assert_eq!(DateCode::parse(&format!("DOT 4B9R 7UMR {written}")), Ok(code), "{written} after a tyre number");
            assert_eq!(code.check_not_after(sunday), Ok(()), "a tyre can be used in the week it is made");
            let before = sunday.yesterday().expect("a day before");
            assert!(code.check_not_after(before).is_err(), "{written} is not made before its week");
            // Week 53 of a year with 52 Sundays begins in the next year.
            let into = sunday.year() == year || (week == 53 && sunday.year() == year + 1 && sunday.day() <= 7);
            assert!(into, "{written} begins on {sunday}");
        }
        (None, week, None) => {
            if let Some(week) = week {
                assert_eq!(DateCode::parse(&format!("{week:02}9")), Ok(code));
            }
        }
        mixed => panic!("{text} is half a date: {mixed:?}"),
    }
    match judge_date(text, DAY, 6.0) {
        Ok(found) => {
            says_something(&found.why, text);
            assert!(found.age_years.is_none_or(f64::is_finite));
            assert_eq!(found.age_years.is_none(), code.year().is_none(), "only three figures have no age");
        }
        Err(error) => {
            says_something(&error.to_string(), text);
            assert!(code.check_not_after(DAY).is_err(), "{text} can be read and is refused: {error}");
        }
    }
});
