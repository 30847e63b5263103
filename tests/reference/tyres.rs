//! Tyres: date codes (49 CFR 574.5), pressure (CoolProp), markings (UN R30, ISO 4000-1).

use crate::table::{Done, Row, answer, assert_near, every_row, figure, run};
use proptest::prelude::*;
use serde_json::json;
use witnessmark::rules::tyre_service::{load_kg, speed_kmh};
use witnessmark::rules::tyres::DateCode;

const ON: &str = "2026-11-25";

#[test]
fn every_date_code() {
    let check = |row: &Row| {
        let code = row.text("code");
        let found = run("tyre-date", json!({"code": code, "on": ON}));
        match row.text("verdict") {
            "ok" => {
                let found = found.unwrap_or_else(|error| panic!("{error:?}; {}", row.at));
                assert_eq!(found["week"], json!(row.number("week") as u8), "{}", row.at);
                assert_eq!(found["year"], json!(row.number("year") as i16), "{}", row.at);
                assert_eq!(found["made_from"], row.text("first_full_week_sunday"), "{}", row.at);
            }
            "ambiguous-decade" => {
                let found = found.unwrap_or_else(|error| panic!("{error:?}; {}", row.at));
                assert_eq!((&found["verdict"], &found["year"]), (&json!("stop"), &json!(null)), "{}", row.at);
                assert_eq!(found["week"], json!(row.number("week") as u8), "{}", row.at);
            }
            "invalid" | "future" => assert_eq!(found.unwrap_err().0, "code", "{}", row.at),
            other => panic!("verdict {other} is not known; {}", row.at),
        }
        Done::Checked
    };
    every_row("tyre_date_code.csv", check, &[]);
}

/// Forms of writing: common practice on sidewalls, no source.
#[test]
fn a_whole_tyre_number_is_read_for_its_date() {
    for text in [
        "1224",
        "12 24",
        " DOT 1224 ",
        "DOT 4B9R 7UMR 1224",
        "dot-4b9r-7umr-1224",
        "4B9R7UMR1224",
        "DOT4B9R7UMR1224",
        "4B9R 7UMR 12 24",
    ] {
        let code = DateCode::parse(text).unwrap_or_else(|error| panic!("{text}: {error}"));
        assert_eq!((code.week(), code.year()), (Some(12), Some(2024)), "{text}");
    }
    let old = DateCode::parse("DOT W1AT XYZ 439").unwrap();
    assert_eq!((old.week(), old.year(), old.made_from()), (Some(43), None, None));
    for text in
        ["", " ", "-", "DOT", "12", "12245", "DOT 4B9R 7UMR", "4B9R 7UMR 12245", "12O4", "1224!", "１２２４", "\u{0}1224", "ß224"]
    {
        assert!(DateCode::parse(text).is_err(), "{text:?} was read");
    }
}

/// 2023 began on a Sunday and has 53 of them: week 53 of 49 CFR 574.5 begins on its last day.
#[test]
fn week_53_is_read() {
    let found = answer("tyre-date", json!({"code": "5323", "on": ON}), "49 CFR 574.5");
    assert_eq!(found["made_from"], "2023-12-31");
}

/// Age in years of 365.2425 days: arithmetic.
#[test]
fn the_limit_itself_is_still_good_for_a_tyre() {
    let input = |on: &str| json!({"code": "1224", "on": on, "limit_years": 2.0});
    // 730 days are 1.9987 years, 731 are 2.0014.
    assert_eq!(answer("tyre-date", input("2026-03-24"), "arithmetic")["verdict"], "ok");
    assert_eq!(answer("tyre-date", input("2026-03-25"), "arithmetic")["verdict"], "fix");
}

#[test]
fn every_row_of_the_gas_law() {
    let check = |row: &Row| {
        let (cold_c, hot_c) = (row.number("cold_c"), row.number("hot_c"));
        let bar = |column: &str| 100.0 * row.number(column);
        match row.text("kind") {
            "rise" | "hand_check" => {
                // The pressures' four decimals of a bar are about 0.01 K of a hot tyre.
                let (cold, hot) = (bar("cold_gauge_bar"), bar("hot_gauge_ideal_bar"));
                let input = json!({"cold_kpa": cold, "cold_c": cold_c, "hot_kpa": hot, "target_hot_kpa": hot});
                let found = answer("tyre-pressure", input, &row.at);
                assert_near(figure(&found, "hot_c"), hot_c, 0.015, &row.at);
                assert_near(figure(&found, "rise_c"), hot_c - cold_c, 0.015, &row.at);
                assert_near(figure(&found, "set_cold_kpa"), cold, 0.01, &row.at);
            }
            "cold_from_hot_target" | "wet_tyre_upper_bound" => {}
            other => panic!("kind {other} is not known; {}", row.at),
        }
        if row.text("kind") == "rise" {
            // Real air: the cold setting for the real hot pressure is within 20 mbar of the one that makes it.
            let (cold, hot) = (bar("cold_gauge_bar"), bar("hot_gauge_real_bar"));
            assert_near(set_cold(cold_c, hot_c, hot), cold, 2.0, &row.at);
        }
        if row.text("kind") == "cold_from_hot_target" {
            let ideal = row.text("note").split_whitespace().nth(3).unwrap().parse::<f64>().unwrap();
            let found = set_cold(cold_c, hot_c, bar("hot_gauge_real_bar"));
            assert_near(found, 100.0 * ideal, 0.01, &row.at);
            assert_near(found, bar("cold_gauge_bar"), 2.0, &row.at);
        }
        if row.text("kind") == "wet_tyre_upper_bound" {
            // Water makes a tyre rise far more: why the worksheet says that it assumes dry air.
            assert!(bar("hot_gauge_real_bar") > bar("hot_gauge_ideal_bar") + 15.0, "{}", row.at);
        }
        Done::Checked
    };
    every_row("gas_law.csv", check, &[]);
}

/// The cold setting for a target, from a pair of readings that make just this rise.
fn set_cold(cold_c: f64, hot_c: f64, target: f64) -> f64 {
    let hot = (200.0 + 101.325) * (hot_c + 273.15) / (cold_c + 273.15) - 101.325;
    let input = json!({"cold_kpa": 200.0, "cold_c": cold_c, "hot_kpa": hot, "target_hot_kpa": target});
    figure(&answer("tyre-pressure", input, "gas law"), "set_cold_kpa")
}

/// By hand: the same rise of 60 K above the next morning's 10 °C is 70 °C, and 321.325 kPa x 283.15 / 343.15 - 101.325.
#[test]
fn the_same_rise_is_reckoned_above_the_next_cold_temperature() {
    let hot = 301.325 * 353.15 / 293.15 - 101.325;
    let input = json!({"cold_kpa": 200.0, "cold_c": 20.0, "hot_kpa": hot, "target_hot_kpa": 220.0, "next_cold_c": 10.0});
    assert_near(figure(&answer("tyre-pressure", input, "by hand"), "set_cold_kpa"), 163.816, 0.001, "by hand");
}

#[test]
fn a_leak_is_likelier_than_a_tyre_that_cools_on_track() {
    let input = |cold, hot| json!({"cold_kpa": cold, "cold_c": 20.0, "hot_kpa": hot, "target_hot_kpa": 220.0});
    assert_eq!(answer("tyre-pressure", input(200.0, 190.0), "")["verdict"], "note");
    assert_eq!(answer("tyre-pressure", input(150.0, 290.0), "over 150 °C")["verdict"], "note");
    assert_eq!(answer("tyre-pressure", input(180.0, 220.0), "")["verdict"], "ok");
    assert!(run("tyre-pressure", input(1000.0, 0.0)).is_err(), "air below its boiling point was reckoned with");
}

#[test]
fn every_load_index() {
    let check = |row: &Row| {
        let index = row.number("load_index");
        let kg = row.number("kg");
        assert_eq!(load_kg(index as u16).map(f64::from), Some(kg), "{}", row.at);
        let found = answer("tyre-service", json!({"marking": format!("205/55 R16 {index}V"), "axle_load_kg": kg}), &row.at);
        assert_eq!(figure(&found, "load_kg"), kg, "{}", row.at);
        assert_near(figure(&found, "load_margin_percent"), 100.0, 1e-9, &row.at);
        Done::Checked
    };
    every_row("tyre_load_index.csv", check, &[]);
}

/// The table's law of growth: within 2 % of 45 x 10^(index / 80) (the reference's own check).
#[test]
fn the_load_table_has_no_slip_of_the_pen() {
    for index in 50..=150u16 {
        let kg = f64::from(load_kg(index).unwrap());
        assert!((kg / (45.0 * 10f64.powf(f64::from(index) / 80.0)) - 1.0).abs() < 0.02, "index {index}: {kg} kg");
    }
    assert_eq!((load_kg(49), load_kg(151)), (None, None));
}

#[test]
fn every_speed_symbol() {
    let check = |row: &Row| {
        let (symbol, kmh) = (row.text("symbol"), row.number("kmh"));
        let marking = match symbol {
            "ZR" => "245/40ZR18".to_owned(),
            "(Y)" => "245/40 ZR18 (97Y)".to_owned(),
            letter => format!("245/40 R18 97{letter}"),
        };
        let found = answer("tyre-service", json!({"marking": marking}), &row.at);
        assert_eq!(figure(&found, "speed_kmh"), kmh, "{}", row.at);
        assert_eq!(found["over_speed_kmh"], json!(row.text("open_upwards") == "y"), "{}", row.at);
        if symbol == "ZR" {
            assert_eq!(found["load_kg"], json!(null), "{}", row.at);
        }
        Done::Checked
    };
    every_row("tyre_speed_symbol.csv", check, &[]);
    assert!(speed_kmh('H') > speed_kmh('U') && speed_kmh('H') < speed_kmh('V'), "H lies between U and V (UN R30)");
}

#[test]
fn every_tyre_size() {
    let check = |row: &Row| {
        let found = answer("tyre-service", json!({"marking": row.text("size")}), &row.at);
        for column in ["width_mm", "aspect_percent", "rim_in", "diameter_mm"] {
            assert_near(figure(&found, column), row.number(column), 1e-9, &row.at);
        }
        Done::Checked
    };
    every_row("tyre_size.csv", check, &[]);
}

/// Forms of the sidewall: UN R30 annex 3 and US practice, from memory.
#[test]
fn markings_are_read_as_they_are_written() {
    for (marking, load, speed) in [
        ("245/40 R18 97Y", 730, 300),
        ("205/55ZR16 91W", 615, 270),
        ("LT245/75R16 120/116Q", 1400, 160),
        ("LT245/75R16 120/116Q E", 1400, 160),
        ("P215/65R15 95H", 690, 210),
        ("p215/65 r15 95 h", 690, 210),
        ("285/30 ZR 20 (99Y) XL", 775, 300),
        ("195/70R15C 104/102R", 900, 170),
        ("195/65R15 91V M+S", 615, 240),
    ] {
        let found = answer("tyre-service", json!({"marking": marking}), marking);
        assert_eq!((figure(&found, "load_kg"), figure(&found, "speed_kmh")), (f64::from(load), f64::from(speed)), "{marking}");
    }
    for marking in [
        "",
        "R18",
        "245/40",
        "245/40 18",
        "245/40 R18 97Ω",
        "245/40 R18 97I",
        "245/40 R18 300Y",
        "2450/40 R18",
        "31x10.50R15",
        "245/40 R18 97Y nonsense",
        "245/40 R18 97/Y",
    ] {
        assert!(run("tyre-service", json!({"marking": marking})).is_err(), "{marking} was read");
    }
}

#[test]
fn a_tyre_too_weak_or_too_slow_is_a_fix_and_one_that_does_not_say_is_never_ok() {
    let verdict = |input| answer("tyre-service", input, "")["verdict"].clone();
    assert_eq!(verdict(json!({"marking": "245/40 R18 97Y", "axle_load_kg": 1460})), "ok");
    assert_eq!(verdict(json!({"marking": "245/40 R18 97Y", "axle_load_kg": 1461})), "fix");
    assert_eq!(verdict(json!({"marking": "245/40 R18 97H", "top_speed_kmh": 211})), "fix");
    assert_eq!(verdict(json!({"marking": "245/40ZR18", "top_speed_kmh": 250})), "note");
    assert_eq!(verdict(json!({"marking": "245/40ZR18", "axle_load_kg": 900})), "note");
    assert_eq!(verdict(json!({"marking": "245/40 R18", "top_speed_kmh": 150})), "note");
}

proptest! {
    #[test]
    fn no_text_makes_the_readers_of_tyres_panic(text in "\\PC{0,60}", tail in "[0-9A-Z/() -]{0,30}") {
        let on = jiff::civil::date(2026, 11, 25);
        for text in [text.clone(), tail.clone(), format!("{text}{tail}")] {
            if let Ok(code) = DateCode::parse(&text) {
                prop_assert!(code.age_years(on).is_none_or(f64::is_finite));
            }
            let _ = run("tyre-service", json!({"marking": text}));
            let _ = run("tyre-service", json!({"marking": format!("245/40 R18 {text}")}));
        }
    }

    #[test]
    fn a_later_week_is_never_an_older_tyre(week in 1u8..=52, year in 0u8..=25) {
        let code = |week: u8| DateCode::parse(&format!("{week:02}{year:02}")).unwrap();
        let age = |week: u8| code(week).age_years(jiff::civil::date(2026, 11, 25)).unwrap();
        prop_assert!(age(week) > age(week + 1));
    }

    #[test]
    fn a_hotter_tyre_is_set_lower_and_a_higher_target_higher(
        cold in 100.0f64..300.0, rise in 0.0f64..80.0, target in 150.0f64..350.0
    ) {
        let input = |hot: f64, target: f64| json!({"cold_kpa": cold, "cold_c": 20.0, "hot_kpa": hot, "target_hot_kpa": target});
        let set = |hot, target| figure(&answer("tyre-pressure", input(hot, target), ""), "set_cold_kpa");
        prop_assert!(set(cold + rise + 1.0, target) < set(cold + rise, target));
        prop_assert!(set(cold + rise, target + 1.0) > set(cold + rise, target));
        // Set to what it was, it comes back hot to what it was.
        prop_assert!((set(cold + rise, cold + rise) - cold).abs() < 1e-6);
    }
}
