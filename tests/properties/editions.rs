//! Every change of an item, with every answer that stops a car: the stop never falls away because the sheet asks otherwise now.

#[path = "../club/sheets.rs"]
#[allow(dead_code, reason = "the HTTP stories use the rest")]
mod sheets;

use jiff::civil::date;
use sheets::{BASE, CHANGES, STOPS, Touches, changed, sound, with_stop};
use std::collections::BTreeSet;
use witnessmark::rules::edition::{Given, read_and_judge};
use witnessmark::rules::judge::Judged;
use witnessmark::rules::sheet::Sheet;
use witnessmark::rules::sheet_file;
use witnessmark::rules::units::Units;

const ON: jiff::civil::Date = date(2026, 5, 9);

fn sheet(text: &str, what: &str) -> Sheet {
    sheet_file::read(text).unwrap_or_else(|error| panic!("{what}: {error}"))
}

fn judged(now: &Sheet, given: Given<'_>, answers: &serde_json::Map<String, serde_json::Value>) -> Judged {
    read_and_judge(now, given, answers, ON, &Units::METRIC).1
}

/// Whether an inspector could clear a car with these answers and no other word.
fn can_be_cleared(judged: &Judged) -> bool {
    judged.is_complete() && judged.open_items().is_empty()
}

#[test]
fn the_answers_that_are_tried_hold_one_stop_each() {
    let base = sheet(BASE, "the sheet");
    assert!(can_be_cleared(&judged(&base, Given::ToThis, &sound())), "the sound car is sound");
    for stop in STOPS {
        let open = judged(&base, Given::ToThis, &with_stop(*stop)).open_items();
        assert_eq!(open.iter().map(|item| item.as_str()).collect::<Vec<_>>(), [stop.0], "its stop and no other");
    }
}

#[test]
fn no_change_of_a_question_clears_a_car_that_had_a_stop() {
    let base = sheet(BASE, "the sheet");
    let mut tried = 0;
    for change in CHANGES.iter().filter(|change| change.1 == Touches::Question) {
        let now = sheet(&changed(change), change.0);
        for stop in STOPS {
            tried += 1;
            let after = judged(&now, Given::To(&base, 1), &with_stop(*stop));
            assert!(!can_be_cleared(&after), "{}: a car with a stop on {} could be cleared", change.0, stop.0);
            // And the stop itself still stands, under its item, until it is answered anew or closed by name.
            assert!(
                after.open_items().iter().any(|item| item.as_str() == stop.0),
                "{}: the stop on {} is gone",
                change.0,
                stop.0
            );
        }
    }
    assert!(tried >= 200, "{tried} pairs were tried");
}

/// A change of weight may let a finding fall away; what stays is judged by the edition in force and by nothing else.
#[test]
fn a_change_of_weight_judges_the_same_answer_anew() {
    let base = sheet(BASE, "the sheet");
    for change in CHANGES.iter().filter(|change| change.1 != Touches::Question) {
        let now = sheet(&changed(change), change.0);
        for answers in STOPS.iter().map(|stop| with_stop(*stop)).chain([sound()]) {
            let (here, alone) = (judged(&now, Given::To(&base, 1), &answers), judged(&now, Given::ToThis, &answers));
            assert_eq!(here, alone, "{}: nothing is carried over what can be judged", change.0);
        }
    }
}

/// There and back: an event that is raised and raised back stands where it stood.
#[test]
fn raised_back_every_answer_says_what_it_said() {
    let base = sheet(BASE, "the sheet");
    for answers in STOPS.iter().map(|stop| with_stop(*stop)).chain([sound()]) {
        let before = judged(&base, Given::ToThis, &answers);
        for change in CHANGES {
            let now = sheet(&changed(change), change.0);
            let items: BTreeSet<&str> = now.items().map(|item| item.id.as_str()).collect();
            let after = judged(&now, Given::To(&base, 1), &answers);
            let known = |id: &str| items.contains(id) || base.item(id).is_some();
            assert!(after.missing.iter().all(|(item, _)| known(item.as_str())), "{}", change.0);
            assert_eq!(judged(&base, Given::ToThis, &answers), before, "{}", change.0);
        }
    }
}

/// An edition that nobody has any more: nothing is known of its answers, so nothing of them is good.
#[test]
fn answers_to_an_edition_that_cannot_be_read_clear_nobody() {
    let base = sheet(BASE, "the sheet");
    assert!(!can_be_cleared(&judged(&base, Given::ToNobodyKnowsWhat, &sound())));
}
