//! Any answers to any sheet: judged or refused, never a panic, and no answer changes on its way through a file or a form.

use jiff::civil::date;
use proptest::prelude::*;
use serde_json::{Value as Json, json};
use std::sync::LazyLock;
use witnessmark::acts::set_up::CLUB_DAY;
use witnessmark::rules::answer::{Answers, Typed, from_json, from_typed};
use witnessmark::rules::judge::judge;
use witnessmark::rules::sheet::Sheet;
use witnessmark::rules::sheet_file;
use witnessmark::rules::units::Units;
use witnessmark::{demo, terminal};

static SHEET: LazyLock<Sheet> = LazyLock::new(|| sheet_file::read(CLUB_DAY).expect("the default sheet can be read"));
const ON: jiff::civil::Date = date(2026, 5, 9);

/// Texts a form may hold: mostly nearly right, sometimes anything at all.
fn any_text() -> impl Strategy<Value = String> {
    let near = prop::sample::select(vec![
        "",
        "yes",
        "no",
        "n/a",
        "3,5",
        "3.0",
        "-1",
        "1e9",
        "99999",
        "NaN",
        "inf",
        "5/32",
        "1224",
        "DOT AB12 3CDE 0119",
        "431",
        "0001",
        "2026-01-02",
        "2026-13-40",
        "9999-12-31",
        "SA2020",
        "closed",
        "open",
        "harness",
        "discs",
        "mm",
        "N.m",
        "1/32 in",
        "made",
        "valid-until",
        "2026-03",
    ]);
    prop_oneof![4 => near.prop_map(str::to_owned), 1 => any::<String>(), 1 => "\\PC{0,60}"]
}

fn any_typed() -> impl Strategy<Value = Typed> {
    let names = prop::sample::select(vec![
        "", "lf", "rf", "lr", "rr", "front", "rear", "unit", "note", "date", "date-is", "photo", "1", "zz",
    ]);
    prop::collection::btree_map(names.prop_map(str::to_owned), any_text(), 0..6)
}

fn any_json() -> impl Strategy<Value = Json> {
    let leaf = prop_oneof![
        Just(Json::Null),
        any::<bool>().prop_map(Json::Bool),
        any::<f64>().prop_map(|number| json!(number)),
        any_text().prop_map(Json::String),
    ];
    leaf.prop_recursive(3, 24, 6, |inner| {
        let keys =
            prop::sample::select(vec!["value", "at", "unit", "note", "photo", "lf", "rr", "label", "date", "date_is", "x"]);
        prop_oneof![
            prop::collection::vec(inner.clone(), 0..4).prop_map(Json::Array),
            prop::collection::btree_map(keys.prop_map(str::to_owned), inner, 0..5)
                .prop_map(|map| Json::Object(map.into_iter().collect())),
        ]
    })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 1500, ..ProptestConfig::default() })]

    #[test]
    fn whatever_is_typed_is_read_or_refused_in_words(nth in any::<prop::sample::Index>(), typed in any_typed()) {
        let items: Vec<_> = SHEET.items().collect();
        let item = items[nth.index(items.len())];
        match from_typed(item, &typed, ON) {
            Ok(Some(answer)) => {
                let again = from_typed(item, &answer.to_typed(), ON);
                prop_assert_eq!(again, Ok(Some(answer.clone())), "{} does not survive the form", item.id);
                let json = answer.to_json();
                let back = from_json(item, &json, ON);
                prop_assert_eq!(back, Ok(Some(answer)), "{} does not survive the file {}", item.id, json);
            }
            Ok(None) => {}
            Err(troubles) => prop_assert!(!troubles.is_empty() && troubles.iter().all(|trouble| trouble.message.len() > 8)),
        }
    }

    #[test]
    fn whatever_a_file_holds_is_read_or_refused(nth in any::<prop::sample::Index>(), json in any_json()) {
        let items: Vec<_> = SHEET.items().collect();
        let _ = from_json(items[nth.index(items.len())], &json, ON);
    }

    #[test]
    fn any_text_is_answered_by_the_terminal(text in any::<String>(), on in any_text()) {
        let _ = terminal::standing(&text);
        let _ = terminal::judge(CLUB_DAY, &on, &text);
        let _ = terminal::sheet_check(&text);
    }

    #[test]
    fn any_sheet_file_is_read_or_refused_with_its_line(cut in any::<prop::sample::Index>(), put in any_text()) {
        let mut lines: Vec<&str> = CLUB_DAY.lines().collect();
        let at = cut.index(lines.len());
        lines[at] = &put;
        if let Err(error) = sheet_file::read(&lines.join("\n")) {
            prop_assert!(error.line >= 1 && error.line <= lines.len() + 1 && !error.message.is_empty(), "{error}");
        }
    }

    #[test]
    fn more_pad_never_makes_a_worse_finding(thin in 0.0f64..12.0, more in 0.0f64..12.0) {
        let found = |pad: f64| {
            let mut given = demo::sound_answers(&SHEET, ON);
            given["pad-front"]["at"]["lf"] = json!(pad);
            let answers: Answers = SHEET.items().filter_map(|item| Some((item.id.clone(), from_json(item, given.get(item.id.as_str())?, ON).ok()??))).collect();
            let judged = judge(&SHEET, &answers, ON, &Units::METRIC);
            judged.findings.iter().filter(|finding| finding.item.as_str() == "pad-front").map(|finding| finding.severity).max()
        };
        prop_assert!(found(thin + more) <= found(thin), "{thin} mm and {} mm", thin + more);
    }
}

#[test]
fn a_sound_car_has_nothing_missing_and_nothing_found() {
    let given = demo::sound_answers(&SHEET, ON);
    let input = json!({ "answers": given }).to_string();
    let judged = terminal::judge(CLUB_DAY, "2026-05-09", &input).expect("the answers can be read");
    assert_eq!(judged["complete"], true, "{}", judged["missing"]);
    let holding: Vec<&Json> =
        judged["findings"].as_array().expect("a list").iter().filter(|found| found["severity"] != "note").collect();
    assert!(holding.is_empty(), "{holding:?}");
}
