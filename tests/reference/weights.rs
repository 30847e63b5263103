//! Corner weights, alignment and the helmet line: definitions and trigonometry, worked by hand.

use crate::table::{answer, assert_near, figure, run};
use proptest::prelude::*;
use serde_json::json;

/// By hand: shares of 1000 kg.
#[test]
fn cross_is_right_front_and_left_rear() {
    let found = answer("corner-weights", json!({"lf_kg": 300, "rf_kg": 260, "lr_kg": 250, "rr_kg": 190}), "by hand");
    let shares = ["total_kg", "front_percent", "left_percent", "cross_percent"].map(|field| figure(&found, field));
    assert_eq!(shares, [1000.0, 56.0, 55.0, 51.0]);
}

/// By hand: a 3-4-5 triangle.
#[test]
fn toe_is_the_arc_sine() {
    let found = answer("alignment", json!({"toe_mm": 300, "across_mm": 500}), "3-4-5 triangle");
    assert_near(figure(&found, "toe_deg"), 36.869_897_645_844_02, 1e-12, "asin 0.6");
    let back = answer("alignment", json!({"toe_deg": 36.869_897_645_844_02, "across_mm": 500}), "3-4-5 triangle");
    assert_near(figure(&back, "toe_mm"), 300.0, 1e-9, "500 sin");
    assert_eq!(answer("alignment", json!({"toe_deg": -0.1}), "no length across")["toe_mm"], json!(null));
}

#[test]
fn camber_is_held_side_against_side() {
    let verdict = |left: f64, right: f64| {
        answer("alignment", json!({"toe_deg": 0.1, "camber_left_deg": left, "camber_right_deg": right}), "")["verdict"].clone()
    };
    assert_eq!(
        (verdict(-2.0, -1.5), verdict(-1.1, -1.6), verdict(-2.0, -1.49), verdict(1.0, -1.0)),
        (json!("ok"), json!("ok"), json!("fix"), json!("fix"))
    );
    let error = |input| run("alignment", input).unwrap_err().0;
    assert_eq!(error(json!({})), "toe_mm");
    assert_eq!(error(json!({"toe_mm": 2})), "across_mm");
    assert_eq!(error(json!({"toe_mm": 500, "across_mm": 430})), "toe_mm");
    assert_eq!(error(json!({"toe_mm": 2, "across_mm": 430, "toe_deg": 0.2})), "toe_deg");
    assert_eq!(error(json!({"toe_deg": 0.2, "camber_left_deg": -1})), "camber_right_deg");
}

/// By hand: a line that falls 3 for every 4; 100 mm under it is 80 mm at right angles.
#[test]
fn the_helmet_line_by_hand() {
    let (hoop, front) = (json!({"x_mm": 0, "z_mm": 1200}), json!({"x_mm": 1600, "z_mm": 0}));
    let input = |x: f64, z: f64| json!({"hoop": hoop, "front": front, "helmet": {"x_mm": x, "z_mm": z}});
    let found = |x: f64, z: f64| answer("helmet-line", input(x, z), "3-4-5 triangle");
    assert_near(figure(&found(400.0, 800.0), "clearance_mm"), 80.0, 1e-9, "3-4-5 triangle");
    assert_eq!(found(400.0, 800.0)["verdict"], "ok");
    assert_near(figure(&found(400.0, 1000.0), "clearance_mm"), -80.0, 1e-9, "above the line");
    assert_eq!(found(400.0, 1000.0)["verdict"], "fix");
    // 63.75 mm under the line are just 51 at right angles.
    assert_eq!((&found(400.0, 836.25)["verdict"], &found(400.0, 836.3)["verdict"]), (&json!("ok"), &json!("fix")));
    assert_eq!(run("helmet-line", input(1601.0, 0.0)).unwrap_err().0, "helmet");
    assert_eq!(run("helmet-line", input(-1.0, 0.0)).unwrap_err().0, "helmet");
    let upright = json!({"hoop": {"x_mm": 0, "z_mm": 1200}, "front": {"x_mm": 0, "z_mm": 0}, "helmet": {"x_mm": 0, "z_mm": 600}});
    assert_eq!(run("helmet-line", upright).unwrap_err().0, "front");
    let missing = json!({"hoop": {"x_mm": 0}, "front": {"x_mm": 0, "z_mm": 0}, "helmet": {"x_mm": 0, "z_mm": 600}});
    assert_eq!(run("helmet-line", missing).unwrap_err().0, "hoop.z_mm");
}

proptest! {
    #[test]
    fn shares_are_shares(lf in 1.0f64..1500.0, rf in 1.0f64..1500.0, lr in 1.0f64..1500.0, rr in 1.0f64..1500.0) {
        let found = answer("corner-weights", json!({"lf_kg": lf, "rf_kg": rf, "lr_kg": lr, "rr_kg": rr}), "");
        let mirrored = answer("corner-weights", json!({"lf_kg": rf, "rf_kg": lf, "lr_kg": rr, "rr_kg": lr}), "");
        for field in ["front_percent", "left_percent", "cross_percent"] {
            prop_assert!((0.0..=100.0).contains(&figure(&found, field)));
        }
        // The mirrored car: same front, the other side, the other diagonal.
        prop_assert!((figure(&found, "front_percent") - figure(&mirrored, "front_percent")).abs() < 1e-9);
        prop_assert!((figure(&found, "left_percent") + figure(&mirrored, "left_percent") - 100.0).abs() < 1e-9);
        prop_assert!((figure(&found, "cross_percent") + figure(&mirrored, "cross_percent") - 100.0).abs() < 1e-9);
    }

    #[test]
    fn toe_there_and_back(mm in -80.0f64..80.0, across in 300.0f64..700.0) {
        let degrees = figure(&answer("alignment", json!({"toe_mm": mm, "across_mm": across}), ""), "toe_deg");
        let back = figure(&answer("alignment", json!({"toe_deg": degrees, "across_mm": across}), ""), "toe_mm");
        prop_assert!((back - mm).abs() < 1e-9);
    }

    #[test]
    fn a_lower_helmet_has_more_room(x in 0.0f64..1200.0, z in 300.0f64..1500.0, front in 500.0f64..1400.0) {
        let at = |z: f64, turned: bool| {
            let (hoop, front) = (json!({"x_mm": 0, "z_mm": 1200}), json!({"x_mm": 1200, "z_mm": front}));
            let (hoop, front) = if turned { (front, hoop) } else { (hoop, front) };
            let input = json!({"hoop": hoop, "front": front, "helmet": {"x_mm": x, "z_mm": z}});
            figure(&answer("helmet-line", input, ""), "clearance_mm")
        };
        prop_assert!(at(z - 1.0, false) > at(z, false));
        prop_assert!((at(z, false) - at(z, true)).abs() < 1e-9);
    }
}
