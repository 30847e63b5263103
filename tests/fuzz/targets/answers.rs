//! The answers file, by the default sheet: what is read can be written as a file or into a form, and is read the same again.

#![no_main]

use libfuzzer_sys::fuzz_target;
use serde_json::{Map, Value as Json, json};
use witnessmark::rules::answer::from_typed;
use witnessmark::rules::judge::judge;
use witnessmark::rules::units::Units;
use witnessmark::terminal::{judged_json, read_answers};
use witnessmark_fuzz::{DAY, SHEET, is_sound, says_something, timely, written_out};

fuzz_target!(|text: &str| {
    let written = written_out(text);
    // What `terminal::judge` does, but for reading the sheet anew each time.
    let answers = match timely(|| read_answers(&SHEET, DAY, text)) {
        Ok(answers) => answers,
        Err(error) => return says_something(&error.message, &written),
    };
    for units in [Units::METRIC, Units::US] {
        let judged = timely(|| judge(&SHEET, &answers, DAY, &units));
        is_sound(&judged_json(&judged), &written, &|_| false);
        assert!(judged.findings.iter().all(|finding| finding.mend.is_some()), "a finding without a remedy");
    }
    let file: Map<String, Json> = answers.iter().map(|(id, answer)| (id.to_string(), answer.to_json())).collect();
    let file = json!({ "answers": file }).to_string();
    assert_eq!(read_answers(&SHEET, DAY, &file), Ok(answers.clone()), "written as {file}");
    for (id, answer) in answers {
        let item = SHEET.item(id.as_str()).expect("an answer to an item");
        let typed = answer.to_typed();
        assert_eq!(from_typed(item, &typed, DAY), Ok(Some(answer)), "{id} in a form: {typed:?}");
    }
});
