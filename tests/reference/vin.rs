//! Chassis numbers: 49 CFR 565.15, checked with vininfo 1.11.0.

use crate::table::{Done, Row, answer, every_row, run};
use proptest::prelude::*;
use serde_json::json;
use witnessmark::rules::chassis_number::{read_vin, value_of, weighted_sum};

#[test]
fn every_vin_row() {
    let not_here = [
        ("signs that position 10 never has in the US: European cars may have them", 3),
        ("a rule in words, kept by the two tests below", 2),
    ];
    let check = |row: &Row| {
        let key = row.text("key");
        match row.text("kind") {
            "transliteration" => {
                assert_eq!(value_of(key.chars().next().unwrap()), Some(row.number("value") as u32), "{}", row.at)
            }
            "forbidden" => assert_eq!(value_of(key.chars().next().unwrap()), None, "{}", row.at),
            "weight" => {
                // A one at this place and noughts elsewhere sum to the weight.
                let place = row.number("key") as usize;
                let vin: String = (1..=17).map(|at| if at == place { '1' } else { '0' }).collect();
                assert_eq!(weighted_sum(&vin), Some(row.number("value") as u32), "{}", row.at);
            }
            "example" => example(row, key),
            "year_code_forbidden" => {
                return Done::NotHere("signs that position 10 never has in the US: European cars may have them");
            }
            "rule" => return Done::NotHere("a rule in words, kept by the two tests below"),
            kind => panic!("kind {kind} is not known; {}", row.at),
        }
        Done::Checked
    };
    every_row("vin.csv", check, &not_here);
}

fn example(row: &Row, vin: &str) {
    let found = answer("vin", json!({"vin": vin}), &row.at);
    if let Some(sum) = row.number_if("value") {
        assert_eq!(weighted_sum(&vin.to_uppercase()), Some(sum as u32), "{}", row.at);
        assert_eq!(found["expected"], row.text("check_expected"), "{}", row.at);
    }
    match row.text("verdict") {
        "valid" => assert_eq!((&found["valid_form"], &found["verdict"]), (&json!(true), &json!("ok")), "{}", row.at),
        "check-digit-wrong" => {
            assert_eq!((&found["valid_form"], &found["verdict"]), (&json!(true), &json!("note")), "{}", row.at)
        }
        "malformed" => {
            assert_eq!((&found["valid_form"], &found["expected"]), (&json!(false), &json!(null)), "{}", row.at);
            assert_ne!(found["verdict"], "ok", "{}", row.at);
        }
        other => panic!("verdict {other} is not known; {}", row.at),
    }
}

/// ISO 3779 asks for no check digit; chassis numbers before model year 1981 are shorter (49 CFR 565, from memory).
#[test]
fn a_car_is_never_stopped_for_its_number() {
    for vin in ["WVWZZZ1JZ3W386752", "AB1234", "1M8GDM9AXKP04278", "1m8gdm9axkp 042788", "1M8GDM9A-XKP042788"] {
        let found = answer("vin", json!({"vin": vin}), vin);
        assert!(found["verdict"] == "ok" || found["verdict"] == "note", "{vin}: {found}");
    }
}

#[test]
fn a_letter_that_no_number_has_is_read_again() {
    for vin in ["1M8GDM9AXKPO42788", "IM8GDM9AXKP042788", "QM8GDM9AXKP042788", "1M8GDM9AXKP04278é", "1M8GDM9AXKP0427888"] {
        let found = answer("vin", json!({"vin": vin}), vin);
        assert_eq!((&found["valid_form"], &found["verdict"]), (&json!(false), &json!("fix")), "{vin}");
    }
    assert_eq!(run("vin", json!({"vin": "  "})).unwrap_err().0, "vin");
}

proptest! {
    #[test]
    fn one_sign_read_wrong_is_found_out_unless_it_has_the_same_value(at in 0usize..17, sign in "[0-9A-HJ-NPR-Z]") {
        let right = "1G4AH59H45G118341";
        let mut wrong = right.to_owned();
        wrong.replace_range(at..=at, &sign);
        let same_value = value_of(sign.chars().next().unwrap()) == value_of(right.chars().nth(at).unwrap());
        let found = read_vin(&wrong);
        // The ninth place is the check digit itself: a letter of its value is still another sign.
        let agrees = found.check_digit == found.expected;
        prop_assert_eq!(agrees, if at == 8 { sign == "4" } else { same_value });
    }

    #[test]
    fn no_text_makes_the_reader_panic(text in "\\PC{0,60}") {
        let _ = read_vin(&text);
    }
}
