//! The gate's queue: Erlang C by textbook cases and pyworkforce, even checks by Pollaczek-Khinchine, drain times.

use crate::table::{Done, Row, answer, assert_near, every_row, figure, run};
use proptest::prelude::*;
use serde_json::{Value as Json, json};

fn gate(row: &Row) -> Json {
    let check_min = 60.0 / row.number("service_per_hour_each");
    json!({"arrivals_per_h": row.number("arrivals_per_hour"), "check_min": check_min, "lanes": row.number("servers")})
}

#[test]
fn every_queue() {
    let check = |row: &Row| {
        let found = answer("gate-queue", gate(row), &row.at);
        assert_near(figure(&found, "utilisation"), row.number("utilisation"), 5.1e-7, &row.at);
        match row.text("kind") {
            "grid" | "textbook" => {
                // Some cases give rates per hour of what the book has per year: eight figures then.
                let near = |field: &str, column: &str| {
                    let wanted = row.number(column);
                    assert_near(figure(&found, field), wanted, 5.1e-7_f64.max(1e-7 * wanted), &row.at);
                };
                near("p_wait", "p_wait");
                near("mean_wait_min", "mean_wait_min");
                near("mean_queue", "mean_queue");
                // In the system: waiting and being checked.
                let load = row.number("arrivals_per_hour") / row.number("service_per_hour_each");
                assert_near(figure(&found, "mean_queue") + load, row.number("mean_in_system"), 1e-6, &row.at);
            }
            "m_d_1" => assert_near(figure(&found, "mean_wait_even_min"), row.number("mean_wait_min"), 1e-6, &row.at),
            "unstable" => {
                for field in ["p_wait", "mean_wait_min", "mean_queue"] {
                    assert_eq!(found[field], json!(null), "{}", row.at);
                }
                assert!(found["why"].as_str().unwrap().contains("queue grows"), "{}", row.at);
            }
            kind => panic!("kind {kind} is not known; {}", row.at),
        }
        Done::Checked
    };
    every_row("queue.csv", check, &[]);
}

#[test]
fn every_drain_time() {
    let check = |row: &Row| {
        let check_min = row.number("seconds_each") / 60.0;
        let input =
            json!({"arrivals_per_h": 1000, "check_min": check_min, "lanes": row.number("lanes"), "cars": row.number("cars")});
        assert_near(figure(&answer("gate-queue", input, &row.at), "drain_min"), row.number("minutes_to_clear"), 5.1e-5, &row.at);
        Done::Checked
    };
    every_row("queue_drain.csv", check, &[]);
}

/// 100 cars an hour at 1.8 min each are exactly three lanes' work, whatever binary fractions make of it.
#[test]
fn a_full_gate_has_no_long_run() {
    for (arrivals, check, lanes) in
        [(40.0, 1.5, 1), (11.0, 60.0 / 11.0, 1), (100.0, 1.8, 3), (100.0, 0.6, 1), (70.0, 6.0 / 7.0, 1)]
    {
        let found =
            answer("gate-queue", json!({"arrivals_per_h": arrivals, "check_min": check, "lanes": lanes}), "utilisation 1");
        assert_eq!((&found["p_wait"], &found["verdict"]), (&json!(null), &json!("fix")), "{found}");
    }
    assert_eq!(figure(&answer("gate-queue", json!({"arrivals_per_h": 0, "check_min": 2, "lanes": 2}), ""), "p_wait"), 0.0);
    assert_eq!(run("gate-queue", json!({"arrivals_per_h": 10, "check_min": 2, "lanes": 0})).unwrap_err().0, "lanes");
}

proptest! {
    #[test]
    fn more_cars_wait_longer_and_more_lanes_shorter(share in 0.01f64..0.98, check in 0.1f64..30.0, lanes in 1u32..60) {
        let arrivals = share * f64::from(lanes) * 60.0 / check;
        let at = |arrivals: f64, lanes: u32| {
            answer("gate-queue", json!({"arrivals_per_h": arrivals, "check_min": check, "lanes": lanes}), "")
        };
        let found = at(arrivals, lanes);
        let chance = figure(&found, "p_wait");
        prop_assert!((0.0..=1.0).contains(&chance));
        prop_assert!(figure(&at(arrivals * 1.01, lanes), "mean_wait_min") >= figure(&found, "mean_wait_min"));
        prop_assert!(figure(&at(arrivals, lanes + 1), "mean_wait_min") <= figure(&found, "mean_wait_min"));
    }
}
