//! The strict reader, over all worksheets: what cannot be used is named, nothing panics, no figure is NaN or infinite.

use proptest::prelude::*;
use serde_json::{Map, Value as Json, json};
use witnessmark::rules::gear::Policy;
use witnessmark::rules::worksheet::{list, run};

/// One good input for each worksheet.
const GOOD: [(&str, &str); 18] = [
    ("tyre-date", r#"{"code": "1224", "on": "2026-11-25", "limit_years": 6}"#),
    (
        "tyre-pressure",
        r#"{"cold_kpa": 180, "cold_c": 15, "hot_kpa": 230, "target_hot_kpa": 220, "next_cold_c": 10, "ambient_kpa": 99.5}"#,
    ),
    ("tyre-service", r#"{"marking": "245/40 R18 97Y", "axle_load_kg": 900, "top_speed_kmh": 250}"#),
    (
        "brake-fluid",
        r#"{"grade": "DOT 4", "flushed": "2026-06-01", "on": "2026-11-25", "limit_months": 6, "measured_boil_c": 210,
            "limit_boil_c": 180, "maker_dry_c": 310, "maker_wet_c": 200}"#,
    ),
    (
        "pad-wear",
        r#"{"readings": [{"at_min": 0, "thickness_mm": 10}, {"at_min": 60, "thickness_mm": 9.1},
            {"at_min": 120, "thickness_mm": 8}], "limit_mm": 3, "planned_min": 100}"#,
    ),
    (
        "wheel-fastener",
        r#"{"thread": "M12x1.5", "grade": "10.9", "torque_nm": 110, "asked_nm": 108, "tolerance_percent": 10, "turns": 8,
            "dry": true}"#,
    ),
    (
        "leak-down",
        r#"{"cylinders": [{"percent": 5}, {"supply_kpa": 700, "held_kpa": 650, "heard": ["intake"]}], "limit_percent": 20}"#,
    ),
    ("compression", r#"{"dry_kpa": [1200, 1150], "wet_kpa": [1250, 1190], "limit_percent": 75}"#),
    ("noise", r#"{"measured_db": 92, "measured_m": 20, "limit_db": 95, "limit_m": 15, "background_db": 70}"#),
    (
        "number-contrast",
        r##"{"number": "#000000", "background": "#ffffff", "height_mm": 230, "limit_ratio": 4.5, "limit_height_mm": 200}"##,
    ),
    (
        "helmet-line",
        r#"{"hoop": {"x_mm": 0, "z_mm": 1200}, "front": {"x_mm": 1200, "z_mm": 900}, "helmet": {"x_mm": 300, "z_mm": 1000},
            "limit_mm": 51}"#,
    ),
    (
        "gear-life",
        r#"{"kind": "helmet", "label": "SA2020", "date": "2022-05", "date_is": "made", "on": "2026-11-25",
            "policy": [{"kind": "helmet", "label": "SA2020", "source": "x"}]}"#,
    ),
    ("vin", r#"{"vin": "1G4AH59H45G118341"}"#),
    ("spot-check", r#"{"cars": 60, "confidence": 0.9, "tolerated_bad": 2}"#),
    ("gate-queue", r#"{"arrivals_per_h": 40, "check_min": 2, "lanes": 2, "cars": 60}"#),
    (
        "brake-heat",
        r#"{"mass_kg": 1400, "from_kmh": 180, "to_kmh": 60, "front_share": 0.7, "disc_kg": 9, "stops": 8, "interval_s": 60,
            "cooling_per_s": 0.004, "start_c": 30, "air_c": 20}"#,
    ),
    ("corner-weights", r#"{"lf_kg": 300, "rf_kg": 290, "lr_kg": 250, "rr_kg": 260}"#),
    (
        "alignment",
        r#"{"toe_mm": 1.5, "across_mm": 430, "camber_left_deg": -2, "camber_right_deg": -2.2,
            "limit_side_to_side_deg": 0.5}"#,
    ),
];

fn good() -> Vec<(&'static str, Json)> {
    GOOD.iter().map(|(name, input)| (*name, serde_json::from_str(input).unwrap())).collect()
}

/// The fields that may be left out (the contract's question marks).
const MAY_MISS: [&str; 27] = [
    "limit_years",
    "next_cold_c",
    "ambient_kpa",
    "axle_load_kg",
    "top_speed_kmh",
    "limit_months",
    "measured_boil_c",
    "limit_boil_c",
    "maker_dry_c",
    "maker_wet_c",
    "limit_mm",
    "planned_min",
    "asked_nm",
    "tolerance_percent",
    "turns",
    "dry",
    "limit_percent",
    "wet_kpa",
    "limit_m",
    "background_db",
    "height_mm",
    "limit_ratio",
    "limit_height_mm",
    "policy",
    "confidence",
    "cars",
    "limit_side_to_side_deg",
];
const MAY_MISS_TOO: [&str; 7] = ["front_share", "stops", "start_c", "air_c", "date", "date_is", "heard"];

/// What an answer may hold as null: what there is no figure for, never a figure gone wrong.
const MAY_BE_NULL: [&str; 17] = [
    "week",
    "year",
    "made_from",
    "age_years",
    "load_kg",
    "speed_kmh",
    "left_min",
    "left_min_cautious",
    "path",
    "ends",
    "days_left",
    "check_digit",
    "expected",
    "p_wait",
    "mean_wait_min",
    "mean_wait_even_min",
    "mean_queue",
];

fn assert_sound(name: &str, answer: &Json, input: &str) {
    let object = answer.as_object().unwrap();
    assert!(["ok", "note", "fix", "stop"].contains(&answer["verdict"].as_str().unwrap()), "{name}: {answer}");
    assert!(answer["why"].as_str().unwrap().len() > 10, "{name}: {answer}");
    assert!(
        !answer["why"].as_str().unwrap().contains("NaN") && !answer["why"].as_str().unwrap().contains("inf"),
        "{name} on {input}: {answer}"
    );
    for (field, value) in object {
        // serde_json writes NaN and the infinities as null.
        assert!(
            !value.is_null() || MAY_BE_NULL.contains(&field.as_str()) || field == "toe_mm",
            "{name}: {field} is null for {input}"
        );
    }
}

#[test]
fn every_worksheet_of_the_list_answers() {
    let good = good();
    assert_eq!(list(), good.iter().map(|(name, _)| *name).collect::<Vec<_>>(), "the list and the contract's table");
    for (name, input) in good {
        let answer = run(name, &input.to_string(), &Policy::default()).unwrap_or_else(|error| panic!("{name}: {error}"));
        assert_sound(name, &answer, &input.to_string());
    }
}

#[test]
fn every_field_is_missed_mistyped_and_misspelt() {
    for (name, input) in good() {
        let object = input.as_object().unwrap();
        let run = |object: &Map<String, Json>| run(name, &Json::Object(object.clone()).to_string(), &Policy::default());
        for field in object.keys() {
            let mut without = object.clone();
            without.remove(field);
            let optional = MAY_MISS.contains(&field.as_str()) || MAY_MISS_TOO.contains(&field.as_str());
            let needed_together =
                ["interval_s", "cooling_per_s", "camber_left_deg", "camber_right_deg"].contains(&field.as_str());
            match run(&without) {
                Ok(_) => assert!(optional, "{name} guessed {field}"),
                Err(error) => assert!(
                    (!optional || field == "cars") && (needed_together || error.field == *field),
                    "{name} without {field}: {error}"
                ),
            }
            for wrong in [json!(null), json!("nonsense!"), json!([1, {}]), json!({"a": 1}), json!(-1e300), json!(""), json!(true)]
            {
                let mut other = object.clone();
                other.insert(field.clone(), wrong.clone());
                match run(&other) {
                    Ok(answer) => {
                        let fits = (field == "dry" && wrong == json!(true))
                            || (["vin", "label", "kind"].contains(&field.as_str()) && wrong.is_string());
                        assert!(fits, "{name} took {wrong} for {field}: {answer}");
                        assert_ne!((answer["verdict"].as_str(), field == "dry"), (Some("ok"), false), "{name}: {answer}");
                    }
                    Err(error) => assert!(error.field.starts_with(field.as_str()), "{name}, {field} = {wrong}: {error}"),
                }
            }
        }
        let mut more = object.clone();
        more.insert("nonsense".into(), json!(1));
        assert_eq!(run(&more).unwrap_err().field, "nonsense", "{name}");
    }
}

#[test]
fn what_is_no_object_is_refused_in_words() {
    for name in list() {
        for text in [
            "",
            " ",
            "null",
            "[]",
            "3",
            "\"x\"",
            "{",
            "{}}",
            "{\"a\":}",
            "nul",
            "\u{0}",
            "{}",
            &"[".repeat(5000),
            &"{\"a\":".repeat(5000),
        ] {
            let error = run(name, text, &Policy::default()).unwrap_err();
            assert!(!error.field.is_empty() && !error.message.is_empty(), "{name}: {error:?}");
            let json = serde_json::to_value(&error).unwrap();
            assert_eq!(
                (json["error"]["field"].as_str(), json["error"]["message"].as_str()),
                (Some(&*error.field), Some(&*error.message))
            );
        }
    }
    let policy = Policy::default();
    let field = |text: &str| run("tyre-date", text, &policy).unwrap_err().field;
    assert_eq!(field(r#"{"code": "1224", "code": "1225", "on": "2026-11-25"}"#), "code", "a key twice");
    assert_eq!(field(r#"{"code": "1224", "on": "2026-11-25", "limit_years": 1e999}"#), "limit_years", "beyond a double");
    assert_eq!(field(r#"{"code": "1224", "on": "2026-11-25", "limit_years": NaN}"#), "limit_years", "no JSON number");
    assert_eq!(run("no-such", "{}", &policy).unwrap_err().field, "worksheet");
}

/// JSON near the worksheets' own: their field names with any values.
fn any_input() -> impl Strategy<Value = (&'static str, String)> {
    let numbers =
        prop_oneof![-1e9f64..1e9, 0.0f64..10.0, Just(0.0), Just(-0.0), Just(1e308), Just(5e-324), Just(f64::MAX), Just(1e-300)];
    let leaf = prop_oneof![
        numbers.prop_map(|number| json!(number)),
        (0u32..200).prop_map(|number| json!(number)),
        any::<bool>().prop_map(|flag| json!(flag)),
        Just(json!(null)),
        "\\PC{0,12}".prop_map(|text| json!(text)),
        prop::sample::select(vec![
            "2026-11-25",
            "9999-12-31",
            "0001-01-01",
            "2026-02-30",
            "#ffffff",
            "M12x1.5",
            "DOT 5",
            "1224",
            "439"
        ])
        .prop_map(|text| json!(text)),
    ];
    (0usize..18, prop::collection::vec((any::<prop::sample::Index>(), leaf), 0..6)).prop_map(|(at, changes)| {
        let (name, mut input) = good().swap_remove(at);
        for (which, value) in changes {
            let mut places: Vec<&mut Json> = vec![];
            collect(&mut input, &mut places);
            let which = which.index(places.len());
            *places.swap_remove(which) = value;
        }
        (name, input.to_string())
    })
}

fn collect<'a>(json: &'a mut Json, places: &mut Vec<&'a mut Json>) {
    match json {
        Json::Object(object) => object.values_mut().for_each(|value| collect(value, places)),
        Json::Array(list) => list.iter_mut().for_each(|value| collect(value, places)),
        leaf => places.push(leaf),
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(4000))]
    #[test]
    fn any_values_are_answered_soundly_or_refused((name, input) in any_input()) {
        match run(name, &input, &Policy::default()) {
            Ok(answer) => assert_sound(name, &answer, &input),
            Err(error) => prop_assert!(!error.field.is_empty() && !error.message.is_empty()),
        }
    }

    #[test]
    fn any_text_is_refused_or_answered(at in 0usize..18, text in "\\PC{0,80}", cut in 0usize..200) {
        let (name, input) = good().swap_remove(at);
        let input = input.to_string();
        let short: String = input.chars().take(cut).collect();
        for text in [text.as_str(), short.as_str(), &format!("{short}{text}")] {
            if let Ok(answer) = run(name, text, &Policy::default()) {
                assert_sound(name, &answer, text);
            }
        }
    }
}
