//! Spot checks: the hypergeometric law, by scipy 1.17.1 and the usual table of samples.

use crate::table::{Done, Row, answer, assert_near, every_row, figure, run};
use proptest::prelude::*;
use serde_json::json;
use witnessmark::rules::sampling::spot_check;

#[test]
fn every_sample() {
    let check = |row: &Row| {
        let (cars, bad, confidence) = (row.number("lot_N"), row.number("bad_D"), row.number("confidence"));
        let found = answer("spot-check", json!({"cars": cars, "confidence": confidence, "tolerated_bad": bad - 1.0}), &row.at);
        assert_eq!(figure(&found, "sample"), row.number("sample_n"), "{}", row.at);
        assert_near(figure(&found, "chance_missed"), row.number("miss_probability_at_n"), 5.1e-7, &row.at);
        Done::Checked
    };
    every_row("sampling.csv", check, &[]);
}

#[test]
fn every_anchor() {
    let not_here =
        [("the rule of three, an approximation: the worksheet reckons exactly", 8), ("the constant of the rule of three", 3)];
    let check = |row: &Row| {
        match row.text("anchor") {
            "infinite_lot_sample_size" => {
                // A lot so large that drawing changes nothing: at most one car fewer than the endless lot's 22/29/59/299.
                let (bad_share, n) = (row.number("bad_fraction"), row.number("n"));
                let lot = 100_000.0;
                let input = json!({"cars": lot, "confidence": row.number("confidence"), "tolerated_bad": lot * bad_share - 1.0});
                let found = answer("spot-check", input, &row.at);
                assert!((n - 1.0..=n).contains(&figure(&found, "sample")), "{found}; {}", row.at);
                if figure(&found, "sample") == n {
                    assert_near(figure(&found, "chance_missed"), row.number("exact"), 2e-4, &row.at);
                }
            }
            "finite_lot_approximation" => {
                // "N 100, D 5; table value remembered 45"
                let figures: Vec<u32> =
                    row.text("note").split(|c: char| !c.is_ascii_digit()).filter_map(|part| part.parse().ok()).collect();
                assert_eq!(
                    spot_check(figures[0], row.number("confidence"), figures[1] - 1).sample,
                    row.number("n") as u32,
                    "{}",
                    row.at
                );
            }
            "rule_of_three" => return Done::NotHere("the rule of three, an approximation: the worksheet reckons exactly"),
            "rule_of_three_constant" => return Done::NotHere("the constant of the rule of three"),
            other => panic!("anchor {other} is not known; {}", row.at),
        }
        Done::Checked
    };
    every_row("sampling_anchors.csv", check, &not_here);
}

#[test]
fn the_ends_of_the_range() {
    let sample = |cars, confidence: f64, bad| {
        figure(&answer("spot-check", json!({"cars": cars, "confidence": confidence, "tolerated_bad": bad}), ""), "sample")
    };
    assert_eq!(sample(40, 1.0, 0), 40.0, "to be certain of none, look at all");
    assert_eq!(sample(40, 1.0, 3), 37.0, "to be certain of three, look at all but three");
    assert_eq!(sample(40, 0.95, 40), 0.0, "all may be bad");
    assert_eq!(run("spot-check", json!({"cars": 40, "confidence": 95, "tolerated_bad": 1})).unwrap_err().0, "confidence");
    assert_eq!(run("spot-check", json!({"cars": 0, "tolerated_bad": 1})).unwrap_err().0, "cars");
    assert_eq!(run("spot-check", json!({"cars": 10, "tolerated_bad": 1.5})).unwrap_err().0, "tolerated_bad");
}

proptest! {
    #[test]
    fn a_sample_is_the_smallest_that_will_do(cars in 1u32..400, confidence in 0.01f64..0.999, tolerated in 0u32..420) {
        let found = spot_check(cars, confidence, tolerated);
        prop_assert!(found.sample <= cars && (0.0..=1.0).contains(&found.chance_missed));
        prop_assert!(found.chance_missed <= (1.0 - confidence) * (1.0 + 1e-8));
        // By the other form of the law, a product over the bad cars: one car fewer would not do.
        if let Some(fewer) = found.sample.checked_sub(1) {
            let drawn = |i: u32| f64::from((cars - fewer).saturating_sub(i)) / f64::from(cars - i);
            let missed: f64 = (0..=tolerated).map(drawn).product();
            prop_assert!(missed > (1.0 - confidence) * (1.0 - 1e-8));
        }
        prop_assert!(spot_check(cars, confidence, tolerated + 1).sample <= found.sample);
        prop_assert!(spot_check(cars, (confidence + 0.0005).min(0.9999), tolerated).sample >= found.sample);
    }
}
