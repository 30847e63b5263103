//! Number contrast: WCAG 2.2, checked with wcag-contrast-ratio 0.9 and published pairs.

use crate::table::{Done, Row, answer, assert_near, every_row, figure, run};
use proptest::prelude::*;
use serde_json::json;
use witnessmark::rules::numbers::Colour;

#[test]
fn every_contrast() {
    let check = |row: &Row| {
        let (number, background) = (row.text("foreground"), row.text("background"));
        for (column, colour) in [("foreground_luminance", number), ("background_luminance", background)] {
            assert_near(Colour::parse(colour).unwrap().luminance(), row.number(column), 5e-7, &row.at);
        }
        for (one, other) in [(number, background), (background, number)] {
            let found = answer("number-contrast", json!({"number": one, "background": other}), &row.at);
            assert_near(figure(&found, "ratio"), row.number("ratio"), 5.001e-5, &row.at);
            assert_eq!(found["verdict"] == "ok", row.text("aa_normal") == "y", "{}", row.at);
        }
        for (column, limit) in [("aa_large_or_graphics", 3.0), ("aaa_normal", 7.0)] {
            let found =
                answer("number-contrast", json!({"number": number, "background": background, "limit_ratio": limit}), &row.at);
            assert_eq!(found["verdict"] == "ok", row.text(column) == "y", "{column}; {}", row.at);
        }
        Done::Checked
    };
    every_row("contrast.csv", check, &[]);
}

#[test]
fn a_small_number_is_a_fix_however_black() {
    let verdict = |height: f64| {
        answer("number-contrast", json!({"number": "#000000", "background": "#FFFFFF", "height_mm": height}), "")["verdict"]
            .clone()
    };
    assert_eq!((verdict(200.0), verdict(199.9)), (json!("ok"), json!("fix")));
    for colour in ["", "black", "#fff", "#12345g", "123456", "#1234567", "#ééé", "#-12345", "#+12345"] {
        assert_eq!(
            run("number-contrast", json!({"number": colour, "background": "#ffffff"})).unwrap_err().0,
            "number",
            "{colour}"
        );
    }
}

proptest! {
    #[test]
    fn a_ratio_lies_between_1_and_21(one in 0u32..0x0100_0000, other in 0u32..0x0100_0000) {
        let input = json!({"number": format!("#{one:06x}"), "background": format!("#{other:06X}")});
        let ratio = figure(&answer("number-contrast", input, ""), "ratio");
        prop_assert!((1.0..=21.0 + 1e-9).contains(&ratio));
    }
}
