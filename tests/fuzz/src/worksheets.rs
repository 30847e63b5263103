//! One worksheet on one input, and what its answer must be.

use crate::{is_sound, says_something, timely};
use serde_json::Value as Json;
use std::sync::LazyLock;
use witnessmark::rules::gear::Policy;
use witnessmark::rules::worksheet;
use witnessmark::terminal::default_policy;

static POLICY: LazyLock<Policy> = LazyLock::new(default_policy);

/// Runs the worksheet and fails for anything but a sound answer or a refusal in words. `written` is the input with
/// its escapes written out.
pub fn check(name: &str, input: &str, written: &str) {
    match timely(|| worksheet::run(name, input, &POLICY)) {
        Err(error) => says_something(&error.message, written),
        Ok(answer) => {
            let has_verdict = ["ok", "note", "fix", "stop"].iter().any(|word| answer["verdict"] == **word);
            assert!(has_verdict && answer["why"].is_string(), "{name} says nothing: {answer}");
            is_sound(&answer, written, &|field| may_lack(name, field, &answer));
        }
    }
}

/// Where a worksheet's contract has null. Anywhere else null is a figure that was none.
fn may_lack(name: &str, field: &str, answer: &Json) -> bool {
    let is_null = |other: &str| answer[other].is_null();
    match (name, field) {
        // Three figures tell neither year nor age, and the week only if there is such a week.
        ("tyre-date", "week" | "year" | "made_from" | "age_years") => answer["verdict"] == "stop",
        ("tyre-service", "load_kg" | "speed_kmh") => true,
        // Thicknesses of no more than rounding make a rate that never gets anywhere.
        ("pad-wear", "left_min") => answer["rate_mm_per_h"].as_f64().is_some_and(|rate| rate < 1e-9),
        ("pad-wear", "left_min_cautious") => {
            is_null("left_min") || answer["why"].as_str().is_some_and(|why| why.contains("two readings"))
        }
        ("leak-down", "path") => true,
        ("gate-queue", "p_wait" | "mean_wait_min" | "mean_wait_even_min" | "mean_queue") => {
            answer["utilisation"].as_f64().is_some_and(|utilisation| utilisation >= 1.0 - 1e-12)
        }
        ("gear-life", "ends" | "days_left") => is_null("ends") && is_null("days_left"),
        ("vin", "check_digit" | "expected") => answer["valid_form"] == false,
        ("alignment", "toe_mm") => true,
        _ => false,
    }
}
