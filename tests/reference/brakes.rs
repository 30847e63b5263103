//! Brake fluid (FMVSS 116, ISO 4925) and disc heat (mechanics, a geometric series).

use crate::table::{Done, Row, answer, assert_near, every_row, figure, run};
use proptest::prelude::*;
use serde_json::{Value as Json, json};
use witnessmark::rules::brake_heat::{Braking, Cooling, heat};

#[test]
fn every_grade_of_fluid() {
    let check = |row: &Row| {
        let grade = row.text("grade");
        let found = answer("brake-fluid", json!({"grade": grade, "flushed": "2026-09-01", "on": "2026-11-25"}), &row.at);
        assert_eq!(figure(&found, "dry_min_c"), row.number("dry_min_c"), "{}", row.at);
        assert_eq!(figure(&found, "wet_min_c"), row.number("wet_min_c"), "{}", row.at);
        assert_near(figure(&found, "dry_min_c") * 1.8 + 32.0, row.number("dry_min_f"), 0.5, &row.at);
        let silicone = row.text("chemistry").starts_with("silicone");
        assert_eq!(found["verdict"], if silicone { "note" } else { "ok" }, "{}", row.at);
        // A maker's better figure is told and raises nothing.
        let made = answer(
            "brake-fluid",
            json!({"grade": grade, "flushed": "2026-09-01", "on": "2026-11-25", "maker_dry_c": 330}),
            &row.at,
        );
        assert_eq!((figure(&made, "dry_min_c"), figure(&made, "maker_dry_c")), (row.number("dry_min_c"), 330.0), "{}", row.at);
        Done::Checked
    };
    every_row("brake_fluid.csv", check, &[]);
}

#[test]
fn a_measured_boiling_point_outranks_the_age() {
    let fluid = |more: Json| {
        let mut input = json!({"grade": "dot 4", "flushed": "2026-03-25", "on": "2026-09-25"});
        input.as_object_mut().unwrap().extend(more.as_object().unwrap().clone());
        answer("brake-fluid", input, "worksheets contract")
    };
    assert_eq!((fluid(json!({}))["age_months"].clone(), fluid(json!({}))["verdict"].clone()), (json!(6), json!("ok")));
    assert_eq!(fluid(json!({"limit_months": 5}))["verdict"], "fix");
    assert_eq!(fluid(json!({"limit_months": 5, "measured_boil_c": 180}))["verdict"], "ok");
    assert_eq!(fluid(json!({"measured_boil_c": 179.9}))["verdict"], "fix");
    assert_eq!(
        run("brake-fluid", json!({"grade": "DOT 4", "flushed": "2026-12-01", "on": "2026-11-25"})).unwrap_err().0,
        "flushed"
    );
    for grade in ["DOT 6", "DOT", "4", "", "DOT 44", "ISO 4925"] {
        assert_eq!(
            run("brake-fluid", json!({"grade": grade, "flushed": "2026-01-01", "on": "2026-11-25"})).unwrap_err().0,
            "grade"
        );
    }
    for grade in ["DOT4", "dot 5,1", "DOT 4 LV", "Super DOT 4", "ISO 4925 Class 5.1", "class 6"] {
        answer("brake-fluid", json!({"grade": grade, "flushed": "2026-01-01", "on": "2026-11-25"}), grade);
    }
}

fn braking(stops: u32, cooling: Option<Cooling>) -> Braking {
    let (mass_kg, from_kmh, to_kmh, front_share, disc_kg) = (1500.0, 200.0, 80.0, 0.7, 8.0);
    Braking { mass_kg, from_kmh, to_kmh, front_share, disc_kg, stops, cooling, start_c: 60.0, air_c: 25.0 }
}

/// By hand: 1500 kg from 200 to 80 km/h is 750 x (55.556² - 22.222²) J = 1944.4 kJ; a disc takes 0.35 of it: 680.6 kJ into
/// 8 kg x 460 J/(kg K) is 184.9 K.
#[test]
fn one_stop_by_hand() {
    let found = heat(&braking(1, None));
    assert_near(found.stop_energy_kj, 1944.444, 0.001, "by hand");
    assert_near(found.rise_c, 184.933, 0.001, "by hand");
    assert_near(found.peak_c, 244.933, 0.001, "by hand");
}

/// The closed form against the stops taken one by one.
#[test]
fn the_closed_form_is_the_series() {
    for (interval_s, per_s) in [(60.0, 0.005), (20.0, 0.0001), (300.0, 0.02), (1.0, 1e-8), (1e5, 10.0)] {
        let mut now = 60.0;
        let rise = heat(&braking(1, None)).rise_c;
        for stops in 1..=200 {
            now += rise;
            let found = heat(&braking(stops, Some(Cooling { interval_s, per_s })));
            assert_near(found.peak_c, now, 1e-7 * now, "series");
            now = 25.0 + (now - 25.0) * (-per_s * interval_s).exp();
        }
    }
    // From a disc as cold as the air the peaks climb to the settled one and never pass it.
    let cold = |stops| heat(&Braking { start_c: 25.0, ..braking(stops, Some(Cooling { interval_s: 60.0, per_s: 0.005 })) });
    assert!(
        (1..300).all(|stops| cold(stops).peak_c <= cold(stops + 1).peak_c && Some(cold(stops).peak_c) <= cold(stops).settled_c)
    );
    let long = heat(&braking(1_000_000, Some(Cooling { interval_s: 60.0, per_s: 0.005 })));
    assert_near(long.peak_c, long.settled_c.unwrap(), 1e-9, "endlessly many stops");
}

#[test]
fn heat_needs_both_cooling_figures_and_a_stop_that_slows() {
    let input = |more: Json| {
        let mut input = json!({"mass_kg": 1400, "from_kmh": 180, "to_kmh": 60, "disc_kg": 9, "stops": 5});
        input.as_object_mut().unwrap().extend(more.as_object().unwrap().clone());
        run("brake-heat", input)
    };
    assert_eq!(input(json!({"interval_s": 60})).unwrap_err().0, "cooling_per_s");
    assert_eq!(input(json!({"cooling_per_s": 0.01})).unwrap_err().0, "interval_s");
    assert_eq!(input(json!({"to_kmh": 181})).unwrap_err().0, "to_kmh");
    assert_eq!(input(json!({"stops": 1.5})).unwrap_err().0, "stops");
    assert!(input(json!({})).unwrap().get("settled_c").is_none());
}

proptest! {
    #[test]
    fn more_weight_more_speed_and_more_stops_are_more_heat(
        mass in 500.0f64..3000.0, from in 60.0f64..300.0, stops in 1u32..100, per_s in 0.0f64..0.1, interval in 0.0f64..600.0
    ) {
        let at = |mass: f64, from: f64, stops: u32| {
            let input = json!({"mass_kg": mass, "from_kmh": from, "to_kmh": 50, "disc_kg": 9, "stops": stops,
                "cooling_per_s": per_s, "interval_s": interval});
            figure(&answer("brake-heat", input, ""), "peak_c")
        };
        let peak = at(mass, from, stops);
        prop_assert!(peak.is_finite() && peak >= 20.0);
        prop_assert!(at(mass + 1.0, from, stops) > peak && at(mass, from + 1.0, stops) > peak);
        prop_assert!(at(mass, from, stops + 1) >= peak - 1e-9 * peak);
    }

    #[test]
    fn a_longer_wait_never_makes_fluid_younger(days in 0i32..3000, more in 0i32..400) {
        let flushed = jiff::civil::date(2018, 1, 31);
        let on = |days: i32| flushed.saturating_add(jiff::ToSpan::days(days)).to_string();
        let age = |days: i32| {
            let input = json!({"grade": "DOT 4", "flushed": flushed.to_string(), "on": on(days)});
            figure(&answer("brake-fluid", input, ""), "age_months")
        };
        prop_assert!(age(days) <= age(days + more));
    }
}
