//! An entry's records: the standing does not hang on their order or number of copies, and errs on the safe side.

#![no_main]

use libfuzzer_sys::fuzz_target;
use serde_json::{Value as Json, json};
use witnessmark::terminal::standing;
use witnessmark_fuzz::{is_sound, says_something, timely, written_out};

fuzz_target!(|text: &str| {
    let written = written_out(text);
    let found = match timely(|| standing(text)) {
        Ok(found) => found,
        Err(error) => return says_something(&error.message, &written),
    };
    is_sound(&found, &written, &|_| false);
    assert!(["pending", "flagged", "cleared"].iter().any(|word| found["standing"] == **word), "{found}");
    assert!(found["because"].as_array().is_some_and(|reasons| !reasons.is_empty()), "a standing without a reason: {found}");

    let file: Json = serde_json::from_str(text).expect("what was read is JSON");
    let records = file["records"].as_array().expect("a list of records");
    let turned: Vec<&Json> = records.iter().rev().chain(records).collect();
    let again = standing(&json!({ "records": turned }).to_string());
    assert_eq!(again.as_ref(), Ok(&found), "the same records, twice and in another order");

    // Nobody can have seen these two: no record above names them.
    let (hold, sent) = ("fuzz-hold", "fuzz-sent");
    if written.contains("fuzz-") {
        return;
    }
    let with = |record: Json| {
        let all: Vec<&Json> = records.iter().chain([&record]).collect();
        standing(&json!({ "records": all }).to_string()).expect("one record more")["standing"].clone()
    };
    assert_eq!(with(json!({ "id": hold, "seen": [], "kind": "hold" })), "flagged", "a hold that nobody has seen stands");
    let unseen = json!({ "id": sent, "seen": [], "kind": "submission", "complete": true, "open": [] });
    assert_ne!(with(unseen), "cleared", "no clear has seen the newest submission");
});
