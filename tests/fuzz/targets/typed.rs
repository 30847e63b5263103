//! What is typed into the form of one item, with one thumb: the item on the first line, then `field=text` lines.

#![no_main]

use libfuzzer_sys::fuzz_target;
use serde_json::json;
use witnessmark::rules::answer::{Answers, Typed, Value, from_json, from_typed};
use witnessmark::rules::judge::judge;
use witnessmark::rules::units::{Unit, Units};
use witnessmark::terminal::judged_json;
use witnessmark_fuzz::{DAY, SHEET, is_sound, says_something, timely};

fuzz_target!(|text: &str| {
    let mut lines = text.split('\n');
    let name = lines.next().unwrap_or_default();
    // An unknown name is as good as any: it picks an item by its length.
    let item = SHEET.item(name).or_else(|| SHEET.items().nth(name.len() % SHEET.items().count()));
    let item = item.expect("the sheet has items");
    let typed: Typed =
        lines.map(|line| line.split_once('=').unwrap_or(("", line))).map(|(field, text)| (field.into(), text.into())).collect();
    let answer = match timely(|| from_typed(item, &typed, DAY)) {
        Ok(Some(answer)) => answer,
        Ok(None) => return,
        Err(troubles) => {
            assert!(!troubles.is_empty(), "refused without a word");
            return troubles.iter().for_each(|trouble| says_something(&trouble.message, text));
        }
    };
    if let Value::Measured { unit, at } = &answer.value
        && *unit != Unit::ThirtySecondInch
        && answer.worked.is_none()
    {
        let slash = at.keys().any(|place| typed.get(&place.token()).is_some_and(|text| text.contains('/')));
        assert!(!slash, "5/32 is five thirty-seconds of an inch, and was taken as 5 {unit}");
    }
    assert_eq!(from_typed(item, &answer.to_typed(), DAY), Ok(Some(answer.clone())), "{} in a form", item.id);
    assert_eq!(from_json(item, &answer.to_json(), DAY), Ok(Some(answer.clone())), "{} in a file", item.id);
    let answers = Answers::from_iter([(item.id.clone(), answer)]);
    for units in [Units::METRIC, Units::US] {
        let judged = timely(|| judge(&SHEET, &answers, DAY, &units));
        is_sound(&judged_json(&judged), &json!(typed).to_string(), &|_| false);
    }
});
