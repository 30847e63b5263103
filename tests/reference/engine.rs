//! Leak-down and compression: car makers' manuals, an aviation circular, trade pages.

use crate::table::{Done, Row, answer, assert_near, every_row, figure, run};
use proptest::prelude::*;
use serde_json::json;
use witnessmark::rules::engine::{Heard, band, leak_percent};

#[test]
fn every_row_of_compression_and_leak_down() {
    let not_here = [
        ("another page's band: the worksheet has one set, and says that others differ", 3),
        ("the tester's orifice: why cylinders of two testers are not compared", 2),
        ("another rule than the default limit: given as limit_percent", 2),
        ("an absolute least pressure: a limit of the sheet", 1),
        ("how the test is made, said in words", 1),
    ];
    let check = |row: &Row| {
        let name = row.text("name");
        match row.text("kind") {
            "leakdown_band" if ["excellent", "usable", "chase", "bad"].contains(&name) => {
                // "bad" begins above 20, where "chase" ends.
                let low = row.number("low") + if name == "bad" { 0.01 } else { 0.0 };
                assert_eq!((band(low), band(row.number("high"))), (name, name), "{}", row.at);
            }
            "leakdown_band" => {
                return Done::NotHere("another page's band: the worksheet has one set, and says that others differ");
            }
            "leakdown_rule" if name == "aircraft_old_limit" => {
                // 60 of 80 psi is a loss of a quarter.
                assert_near(leak_percent(80.0, 60.0), 25.0, 1e-12, &row.at);
            }
            "leakdown_rule" => return Done::NotHere("the tester's orifice: why cylinders of two testers are not compared"),
            "leakdown_location" => {
                let (heard, word) = match name {
                    "throttle body or air filter" => (Heard::Intake, "intake"),
                    "tailpipe" => (Heard::Exhaust, "exhaust"),
                    "oil filler, dipstick or breather" => (Heard::Crankcase, "crankcase"),
                    "bubbles in the coolant" => (Heard::Coolant, "coolant"),
                    "neighbouring plug hole" => (Heard::Neighbour, "neighbour"),
                    other => panic!("place {other} is not known; {}", row.at),
                };
                let input = json!({"cylinders": [{"percent": 30, "heard": word}, {"percent": 5}]});
                let found = answer("leak-down", input, &row.at);
                assert_eq!(found["cylinders"][0]["path"], heard.path(), "{}", row.at);
                // Trade pages say inlet, the worksheet says intake; else the words are the same.
                let part = row.text("meaning").replace("inlet", "intake");
                assert!(
                    heard.path().starts_with(part.split(" or ").next().unwrap().trim_end_matches(" between cylinders")),
                    "{}",
                    row.at
                );
            }
            "leakdown_formula" => assert_near(leak_percent(100.0, 92.0), 8.0, 1e-12, &row.at),
            "compression_spread" if name == "lowest_over_highest" => {
                let limit = row.number("low");
                let verdict = |low: f64| answer("compression", json!({"dry_kpa": [1000, low]}), &row.at)["verdict"].clone();
                assert_eq!((verdict(10.0 * limit), verdict(10.0 * limit - 0.1)), (json!("ok"), json!("fix")), "{}", row.at);
            }
            "compression_spread" if name == "lowest_absolute" => {
                return Done::NotHere("an absolute least pressure: a limit of the sheet");
            }
            "compression_spread" => return Done::NotHere("another rule than the default limit: given as limit_percent"),
            "compression_example" => {
                let input = json!({"dry_kpa": [1035, row.number("low")], "limit_percent": 70});
                let found = answer("compression", input, &row.at);
                assert_near(figure(&found, "low_over_high_percent"), 70.0, 0.06, &row.at);
                assert_eq!(found["verdict"], "ok", "{}", row.at);
            }
            "compression_pattern" => {
                let (dry, wet, word) = match row.text("meaning") {
                    "rings" => ([1200, 800, 1190, 1210], [1230, 1100, 1220, 1240], "rings"),
                    "valves" => ([1200, 800, 1190, 1210], [1230, 810, 1220, 1240], "valves"),
                    _ => ([1200, 800, 790, 1210], [1230, 810, 800, 1240], "gasket between cylinders 2 and 3"),
                };
                let found = answer("compression", json!({"dry_kpa": dry, "wet_kpa": wet}), &row.at);
                assert!(found["reading"].as_str().unwrap().contains(word), "{found}; {}", row.at);
            }
            "compression_method" => return Done::NotHere("how the test is made, said in words"),
            kind => panic!("kind {kind} is not known; {}", row.at),
        }
        Done::Checked
    };
    every_row("compression_leakdown.csv", check, &not_here);
}

#[test]
fn a_cylinder_that_stands_out_is_named_below_the_limit() {
    let found = answer(
        "leak-down",
        json!({"cylinders": [{"percent": 4}, {"percent": 5}, {"percent": 13, "heard": ["exhaust", "intake"]}, {"percent": 6}]}),
        "",
    );
    assert_eq!((&found["worst"], &found["verdict"], &found["spread_percent"]), (&json!(3), &json!("note"), &json!(9.0)));
    assert!(found["why"].as_str().unwrap().starts_with("Cylinder 3 leaks 13 %"), "{found}");
    let over = answer("leak-down", json!({"cylinders": [{"supply_kpa": 690, "held_kpa": 500}, {"percent": 5}]}), "");
    assert_eq!((&over["worst"], &over["verdict"], &over["cylinders"][0]["band"]), (&json!(1), &json!("fix"), &json!("bad")));
    let at_limit = answer("leak-down", json!({"cylinders": [{"percent": 20}, {"percent": 19}]}), "the limit itself is within it");
    assert_eq!(at_limit["verdict"], "ok");
    let gasket = answer("leak-down", json!({"cylinders": [{"percent": 4, "heard": "coolant"}, {"percent": 5}]}), "");
    assert_eq!(gasket["verdict"], "note");
}

#[test]
fn readings_that_cannot_be_are_named() {
    let leak = |cylinder| run("leak-down", json!({"cylinders": [{"percent": 4}, cylinder]})).unwrap_err().0;
    assert_eq!(leak(json!({})), "cylinders[1].percent");
    assert_eq!(leak(json!({"percent": 101})), "cylinders[1].percent");
    assert_eq!(leak(json!({"supply_kpa": 500})), "cylinders[1].held_kpa");
    assert_eq!(leak(json!({"supply_kpa": 500, "held_kpa": 510})), "cylinders[1].held_kpa");
    assert_eq!(leak(json!({"percent": 5, "supply_kpa": 500, "held_kpa": 410})), "cylinders[1].percent");
    assert_eq!(leak(json!({"percent": 5, "heard": ["radio"]})), "cylinders[1].heard");
    assert_eq!(run("leak-down", json!({"cylinders": []})).unwrap_err().0, "cylinders");
    assert_eq!(run("compression", json!({"dry_kpa": []})).unwrap_err().0, "dry_kpa");
    assert_eq!(run("compression", json!({"dry_kpa": [0, 0]})).unwrap_err().0, "dry_kpa");
    assert_eq!(run("compression", json!({"dry_kpa": [900, -1]})).unwrap_err().0, "dry_kpa[1]");
    assert_eq!(run("compression", json!({"dry_kpa": [900, 800], "wet_kpa": [900]})).unwrap_err().0, "wet_kpa");
}

proptest! {
    #[test]
    fn the_worst_is_the_worst(
        percents in prop::collection::vec(0.0f64..100.0, 1..16), kpa in prop::collection::vec(1.0f64..2000.0, 1..16)
    ) {
        let cylinders: Vec<_> = percents.iter().map(|percent| json!({"percent": percent})).collect();
        let found = answer("leak-down", json!({"cylinders": cylinders}), "");
        let worst = figure(&found, "worst") as usize - 1;
        prop_assert!(percents.iter().all(|percent| *percent <= percents[worst]));
        prop_assert_eq!(found["verdict"] == "fix", percents[worst] > 20.0);
        let found = answer("compression", json!({"dry_kpa": kpa, "wet_kpa": kpa}), "");
        let worst = figure(&found, "worst") as usize - 1;
        prop_assert!(kpa.iter().all(|one| *one >= kpa[worst]));
        let share = figure(&found, "low_over_high_percent");
        prop_assert!((0.0..=100.0 + 1e-9).contains(&share));
    }
}
