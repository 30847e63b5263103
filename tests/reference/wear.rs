//! Pad wear: least squares and prediction limits by NIST StRD Norris (certified) and statsmodels 0.15.0.

use crate::table::{Done, Row, answer, assert_near, every_row, figure, rows, run};
use proptest::prelude::*;
use serde_json::{Value as Json, json};
use witnessmark::rules::line::Line;

fn points(dataset: &str) -> Vec<(f64, f64)> {
    let of_set = rows("linear_fit_data.csv").into_iter().filter(|row| row.text("dataset") == dataset);
    of_set.map(|row| (row.number("x"), row.number("y"))).collect()
}

#[test]
fn every_fit() {
    let check = |row: &Row| {
        let (dataset, quantity, value) = (row.text("dataset"), row.text("quantity"), row.number("value"));
        let data = points(dataset);
        let line = Line::fit(&data).unwrap();
        let found = match quantity {
            "slope" | "slope_published" => line.slope,
            "intercept" | "intercept_published" => line.intercept,
            "se_slope" => line.slope_error(),
            "se_intercept" => line.intercept_error(),
            "residual_sd" => line.residual_sd,
            "residual_ss" => line.residual_sum(),
            "r_squared" => line.r_squared(),
            "f_statistic" => (line.slope / line.slope_error()).powi(2),
            "predict" => line.at(row.number("x0")),
            "prediction_low" => line.prediction(row.number("x0"), row.number("level")).unwrap().0,
            "prediction_high" => line.prediction(row.number("x0"), row.number("level")).unwrap().1,
            crossing => {
                let limit: f64 = crossing.trim_end_matches("_mm").rsplit('_').next().unwrap().parse().unwrap();
                let level = row.number_if("level");
                worksheet_crossing(row, &data, limit, level, value);
                match level {
                    Some(level) => line.lower_limit_meets(limit, level).unwrap(),
                    None => line.meets(limit).unwrap(),
                }
            }
        };
        // "intercept_published" of the encyclopedia has three decimals.
        let within =
            if dataset == "height_mass_women" && quantity.ends_with("published") { 6e-4 } else { 1e-9 * value.abs().max(1.0) };
        assert_near(found, value, within, &row.at);
        Done::Checked
    };
    every_row("linear_fit.csv", check, &[]);
    every_row(
        "linear_fit_data.csv",
        |row| {
            assert!(row.number("x").is_finite());
            Done::Checked
        },
        &[],
    );
}

/// The same crossing through the worksheet, counted from the last reading; its level is 90 %.
fn worksheet_crossing(row: &Row, data: &[(f64, f64)], limit: f64, level: Option<f64>, value: f64) {
    let readings: Vec<Json> = data.iter().map(|(x, y)| json!({"at_min": x, "thickness_mm": y})).collect();
    let found = answer("pad-wear", json!({"readings": readings, "limit_mm": limit}), &row.at);
    let last = data.iter().map(|(x, _)| *x).fold(0.0, f64::max);
    match level {
        None => assert_near(figure(&found, "left_min"), value - last, 1e-9, &row.at),
        Some(0.9) => assert_near(figure(&found, "left_min_cautious"), value - last, 1e-9, &row.at),
        Some(_) => {}
    }
}

fn wear(readings: &[(f64, f64)], more: Json) -> Result<Json, (String, String)> {
    let readings: Vec<Json> = readings.iter().map(|(at, mm)| json!({"at_min": at, "thickness_mm": mm})).collect();
    let mut input = json!({"readings": readings});
    input.as_object_mut().unwrap().extend(more.as_object().unwrap().clone());
    run("pad-wear", input)
}

#[test]
fn two_readings_have_no_cautious_figure_and_say_so() {
    let found = wear(&[(0.0, 10.0), (60.0, 9.0)], json!({})).unwrap();
    assert_near(figure(&found, "rate_mm_per_h"), 1.0, 1e-12, "by hand");
    assert_near(figure(&found, "left_min"), 360.0, 1e-9, "by hand: 6 mm at 1 mm an hour");
    assert_eq!(found["left_min_cautious"], json!(null));
    assert!(found["why"].as_str().unwrap().contains("two readings"), "{found}");
    let worn = wear(&[(0.0, 10.0), (60.0, 2.9)], json!({})).unwrap();
    assert!(worn["why"].as_str().unwrap().contains("two readings"), "{worn}");
}

#[test]
fn pads_do_not_grow() {
    let (field, message) = wear(&[(0.0, 10.0), (40.0, 9.1), (20.0, 9.0)], json!({})).unwrap_err();
    assert_eq!(field, "readings[1].thickness_mm");
    assert!(message.contains("Reading 2") && message.contains("reading 3"), "{message}");
    assert_eq!(wear(&[(0.0, 10.0)], json!({})).unwrap_err().0, "readings");
    assert_eq!(wear(&[(5.0, 10.0), (5.0, 9.0)], json!({})).unwrap_err().0, "readings");
    assert_eq!(wear(&[(0.0, 10.0), (20.0, -1.0)], json!({})).unwrap_err().0, "readings[1].thickness_mm");
    let still = wear(&[(0.0, 10.0), (20.0, 10.0), (40.0, 10.0)], json!({})).unwrap();
    assert_eq!((figure(&still, "rate_mm_per_h"), &still["left_min"]), (0.0, &json!(null)));
}

#[test]
fn the_day_that_is_planned() {
    let pads = [(0.0, 11.0), (20.0, 10.3), (40.0, 9.7), (60.0, 8.9), (80.0, 8.4), (100.0, 7.6), (120.0, 7.1)];
    let found = |planned: f64| wear(&pads, json!({"planned_min": planned})).unwrap()["verdict"].clone();
    // 122.6 min by the line, 113.5 with caution (the rows of pad_front, a session taken as 20 min).
    assert_eq!((found(110.0), found(118.0), found(125.0)), (json!("ok"), json!("note"), json!("fix")));
    assert_eq!(wear(&[(0.0, 4.0), (60.0, 2.9)], json!({})).unwrap()["verdict"], "fix");
}

proptest! {
    #[test]
    fn caution_never_promises_more_than_the_line(
        start in 5.0f64..20.0, falls in prop::collection::vec(0.0f64..1.5, 1..12), limit in 0.0f64..6.0, step in 0.1f64..60.0
    ) {
        let mut thickness = start;
        let mut readings = vec![];
        for (at, fall) in falls.iter().enumerate() {
            readings.push((step * at as f64, thickness));
            thickness = (thickness - fall).max(0.0);
        }
        readings.push((step * falls.len() as f64, thickness));
        let found = wear(&readings, json!({"limit_mm": limit})).unwrap();
        if let Some(cautious) = found["left_min_cautious"].as_f64() {
            prop_assert!((0.0..=figure(&found, "left_min")).contains(&cautious));
        }
        // A lower limit leaves more.
        if let (Some(left), true) = (found["left_min"].as_f64(), limit > 0.5) {
            let lower = wear(&readings, json!({"limit_mm": limit - 0.5})).unwrap();
            prop_assert!(figure(&lower, "left_min") >= left);
            if let Some(cautious) = found["left_min_cautious"].as_f64() {
                prop_assert!(figure(&lower, "left_min_cautious") >= cautious - 1e-9 * cautious.max(1.0));
            }
        }
    }
}
