//! The rules from a terminal: `sheet check`, `judge` and `standing`, to the letter of their contract.

use crate::tools::{command, rubbish};
use serde_json::{Value as Json, json};
use std::path::Path;
use witnessmark::acts::set_up::CLUB_DAY;

/// A file in a folder that is gone when the test ends.
fn file(folder: &tempfile::TempDir, bytes: &[u8]) -> String {
    let path = folder.path().join("sheet.toml");
    std::fs::write(&path, bytes).expect("a file");
    path.to_string_lossy().into_owned()
}

fn folder() -> tempfile::TempDir {
    tempfile::TempDir::new().expect("a folder")
}

#[test]
fn a_good_sheet_is_checked_with_0_and_a_bad_one_with_2_line_and_key() {
    let folder = folder();
    let good = command(&["sheet", "check", &file(&folder, CLUB_DAY.as_bytes())], b"");
    assert_eq!(good.code, Some(0), "{}", good.err);
    assert!(good.out.starts_with("Club day: ") && good.out.contains(" items"), "{}", good.out);
    let printed = command(&["sheet", "default"], b"").out;
    assert_eq!(command(&["sheet", "check", &file(&folder, printed.as_bytes())], b"").code, Some(0), "the default sheet is good");
    let bad = CLUB_DAY.replacen("by_hand = \"Every lug nut", "byhand = \"Every lug nut", 1);
    let line = bad.lines().position(|line| line.starts_with("byhand")).expect("the line") + 1;
    let checked = command(&["sheet", "check", &file(&folder, bad.as_bytes())], b"");
    assert_eq!(checked.code, Some(2));
    let said = format!("{}{}", checked.out, checked.err);
    assert!(said.contains(&format!("line {line}, item \"lug-nuts-present\", key `byhand`")), "{said}");
}

/// An organizer who is locked out asks whoever runs the server.
#[test]
fn organizer_prints_a_new_one_time_link_while_the_club_is_in_use() {
    let folder = folder();
    let database = folder.path().join("club.sqlite").to_string_lossy().into_owned();
    let mut secrets = std::collections::BTreeSet::new();
    for _ in 0..2 {
        let said =
            command(&["organizer", "--database", &database, "--base", "https://tech.example.org/", "--name", "M. Ashdown"], b"");
        assert_eq!(said.code, Some(0), "{}", said.err);
        let link = said.out.lines().find_map(|line| line.trim().strip_prefix("https://tech.example.org/in/")).expect("a link");
        secrets.insert(link.to_owned());
        assert!(said.out.contains("M. Ashdown") && said.out.contains("seven days"), "{}", said.out);
    }
    assert_eq!(secrets.len(), 2, "each time anew");
    let nameless = command(&["organizer", "--database", &database, "--name", " "], b"");
    assert!(nameless.code != Some(0) && !nameless.err.contains("panicked"), "{}", nameless.err);
}

#[test]
fn serve_refuses_what_it_cannot_keep() {
    for wrong in
        [&["--certificate", "chain.pem"][..], &["--trusted-proxy", "everybody"], &["--keep-days", "0"], &["--keep-days", "soon"]]
    {
        let said = command(&[&["serve"][..], wrong].concat(), b"");
        assert_eq!(said.code, Some(2), "{wrong:?}");
        assert!(said.err.contains(wrong[0].trim_start_matches("--")) || said.err.contains("--key"), "{}", said.err);
    }
}

#[test]
fn what_is_no_sheet_is_2_with_its_line_and_never_a_panic() {
    let folder = folder();
    for (what, bytes, words) in [
        ("empty", &b""[..], "line 1"),
        ("not TOML", b"<html>\n", "line 1"),
        ("JSON", b"{\"name\": \"x\"}", "line 1"),
        ("cut short", &CLUB_DAY.as_bytes()[..5000], "line "),
        ("a key without a value", b"a = ", "line 1"),
        ("nested without end", "[".repeat(100_000).as_bytes(), "line 1"),
        ("latin-1 on line 2", b"name = \"Club day\"\nabout = \"f\xFCr alle\"\n", "line 2"),
    ] {
        let said = command(&["sheet", "check", &file(&folder, bytes)], b"");
        assert!(!said.err.contains("panicked") && !said.err.contains("overflow"), "{what}: {}", said.err);
        assert_eq!(said.code, Some(2), "{what}: {}{}", said.out, said.err);
        assert!(format!("{}{}", said.out, said.err).contains(words), "{what}: {}{}", said.out, said.err);
    }
    let nowhere = folder.path().join("none.toml");
    let said = command(&["sheet", "check", &nowhere.to_string_lossy()], b"");
    assert!(said.code.is_some_and(|code| code != 0) && said.err.contains("none.toml"), "the file that is not there is named");
}

/// Judges answers by the default sheet for 2026-05-09.
fn judge(input: &[u8]) -> crate::tools::Said {
    command(&["judge", "--sheet", &default_sheet(), "--on", "2026-05-09"], input)
}

fn default_sheet() -> String {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("src/sheets/club-day.toml").to_string_lossy().into_owned()
}

fn answers(change: impl FnOnce(&mut serde_json::Map<String, Json>)) -> Vec<u8> {
    let mut answers = crate::club::sound_answers();
    change(&mut answers);
    json!({ "answers": answers }).to_string().into_bytes()
}

#[test]
fn judge_says_what_is_found_what_is_missing_and_where_the_car_stands() {
    let sound = judge(&answers(|_| ())).answer("a sound car");
    assert_eq!(sound["complete"], json!(true));
    assert_eq!(sound["missing"], json!([]));
    assert_eq!(sound["findings"], json!([]));
    assert_eq!(sound["standing_without_gate"], "pending");
    let thin = judge(&answers(|answers| answers["pad-front"]["at"]["lf"] = json!(2.1))).answer("a thin pad");
    let finding = &thin["findings"][0];
    assert_eq!((&finding["item"], &finding["severity"]), (&json!("pad-front"), &json!("fix")));
    assert_eq!(finding["why"], "Brake pad, front left: 2.1 mm. This sheet asks for at least 3.0 mm.");
    assert!(finding["source"].as_str().is_some_and(|source| !source.is_empty()));
    assert_eq!(thin["standing_without_gate"], "flagged");
    let stop = judge(&answers(|answers| answers["pad-front"]["at"]["lf"] = json!(1.4))).answer("bare metal");
    assert_eq!(stop["findings"][0]["severity"], "stop");
    let hole = judge(&answers(|answers| drop(answers.remove("oil-leak")))).answer("a hole");
    assert_eq!((&hole["complete"], &hole["missing"]), (&json!(false), &json!(["oil-leak"])), "never ok");
    assert_eq!(hole["standing_without_gate"], "pending");
    let nothing = judge(b"{\"answers\": {}}").answer("nothing answered");
    assert_eq!(nothing["complete"], json!(false));
    assert!(nothing["missing"].as_array().is_some_and(|missing| missing.len() > 40));
    let entry = judge(b"{\"entry\": {\"number\": \"27\", \"anything\": [1]}, \"answers\": {}}").answer("an entry beside it");
    assert_eq!(entry, nothing);
}

#[test]
fn judge_judges_in_the_unit_that_was_given() {
    let pads = |unit: &str, lf: f64| {
        let input = answers(|answers| answers["pad-front"] = json!({ "at": { "lf": lf, "rf": lf }, "unit": unit }));
        judge(&input).answer(unit)["findings"]
            .as_array()
            .map(|found| found.iter().filter(|one| one["severity"] != "note").count())
    };
    assert_eq!(pads("1/32 in", 3.0), Some(2), "2.38 mm (NIST SP 811: 1/32 in = 0.79375 mm)");
    assert_eq!(pads("1/32 in", 4.0), Some(0), "3.175 mm");
    assert_eq!(pads("mm", 3.0), Some(0), "just the limit");
}

#[test]
fn judge_refuses_what_cannot_be_an_answer_and_names_it() {
    for (what, item, answer) in [
        ("an unknown item", "wings", json!({ "value": "yes" })),
        ("a word for a number", "pad-front", json!({ "at": { "lf": "thin", "rf": 9 } })),
        ("a number for a word", "oil-leak", json!({ "value": 1 })),
        ("out of range", "pad-front", json!({ "at": { "lf": 250, "rf": 9 } })),
        ("another quantity", "pad-front", json!({ "at": { "lf": 9, "rf": 9 }, "unit": "kPa" })),
        ("a choice that is none", "roof", json!({ "value": "glass" })),
        ("a bare value", "oil-leak", json!("yes")),
        ("null", "oil-leak", json!(null)),
        ("a part that is none", "oil-leak", json!({ "value": "yes", "sure": 1 })),
        ("a day still to come", "fluid-age", json!({ "value": "2026-05-10" })),
        ("a week that is none", "tyre-date", json!({ "at": { "lf": "5424", "rf": "1224", "lr": "1224", "rr": "1224" } })),
    ] {
        let (field, _) = judge(&answers(|answers| drop(answers.insert(item.into(), answer)))).refusal(what);
        assert!(field == item || field.starts_with(&format!("{item}.")), "{what}: named {field}");
    }
    for (what, input) in [
        ("no answers", json!({})),
        ("answers in a list", json!({ "answers": [] })),
        ("an entry that is a text", json!({ "entry": "27", "answers": {} })),
        ("a field too many", json!({ "answers": {}, "force": true })),
    ] {
        judge(input.to_string().as_bytes()).refusal(what);
    }
    let twice = br#"{"answers": {"oil-leak": {"value": "no"}, "oil-leak": {"value": "yes"}}}"#;
    assert!(judge(twice).refusal("an answer twice").1.contains("oil-leak"), "the item is named");
    judge(br#"{"answers": {"pad-front": {"at": {"lf": 1e999, "rf": 9}}}}"#).refusal("a pad beyond all");
    for (what, input) in rubbish() {
        judge(&input).refusal(what);
    }
}

#[test]
fn judge_refuses_a_day_and_a_sheet_that_are_none() {
    let input = answers(|_| ());
    for day in ["", "9 May 2026", "2026-02-30", "2026-5-9", "26-05-09", "0001-01-01", "9999-12-31", "2026-05-09T00:00", "heute"] {
        let (field, _) = command(&["judge", "--sheet", &default_sheet(), "--on", day], &input).refusal(day);
        assert_eq!(field, "on", "{day}");
    }
    let folder = folder();
    let bad = CLUB_DAY.replacen("kind = \"choice\"", "kind = \"choise\"", 1);
    let (field, message) =
        command(&["judge", "--sheet", &file(&folder, bad.as_bytes()), "--on", "2026-05-09"], &input).refusal("a bad sheet");
    assert!(field == "sheet" && message.contains("line ") && message.contains("key `kind`"), "{field}: {message}");
    let latin = command(&["judge", "--sheet", &file(&folder, b"name = \"f\xFCr\""), "--on", "2026-05-09"], &input);
    assert_eq!(latin.refusal("a sheet in latin-1").0, "sheet");
}

/// `witnessmark sheet default | head` closes the pipe early; that is no reason to panic.
#[test]
fn a_reader_who_has_seen_enough_is_no_fault() {
    let default = default_sheet();
    let input = answers(|_| ());
    for arguments in [&["sheet", "default"][..], &["worksheet", "--list"], &["judge", "--sheet", &default, "--on", "2026-05-09"]]
    {
        let (reader, writer) = std::io::pipe().expect("a pipe");
        drop(reader);
        let mut command = std::process::Command::new(env!("CARGO_BIN_EXE_witnessmark"));
        let pipes =
            command.args(arguments).stdin(std::process::Stdio::piped()).stdout(writer).stderr(std::process::Stdio::piped());
        let mut child = pipes.spawn().expect("the program starts");
        std::io::Write::write_all(&mut child.stdin.take().expect("an input"), &input).unwrap_or_default();
        let output = child.wait_with_output().expect("the program ends");
        let said = String::from_utf8_lossy(&output.stderr);
        assert!(!said.contains("panicked"), "{arguments:?}: {said}");
    }
}
