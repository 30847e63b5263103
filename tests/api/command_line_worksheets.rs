//! `witnessmark worksheet NAME`: every worksheet answers, and names the field of an input that cannot be used.
//! The figures themselves are held against published ones in `tests/reference`.

use crate::tools::{Said, command, rubbish};
use serde_json::{Map, Value as Json, json};

/// A worksheet by its contract.
struct Worksheet {
    name: &'static str,
    /// An input that can be used, with every field there is.
    input: &'static str,
    /// The fields that may be left out.
    extra: &'static [&'static str],
    /// The least that comes out, beside `verdict` and `why`.
    gives: &'static [&'static str],
}

const WORKSHEETS: [Worksheet; 18] = [
    Worksheet {
        name: "tyre-date",
        input: r#"{"code": "1224", "on": "2026-05-09", "limit_years": 6}"#,
        extra: &["limit_years"],
        gives: &["week", "year", "made_from", "age_years", "verdict", "why"],
    },
    Worksheet {
        name: "tyre-pressure",
        input: r#"{"cold_kpa": 200, "cold_c": 15, "hot_kpa": 245, "target_hot_kpa": 240, "next_cold_c": 20,
            "ambient_kpa": 101.325}"#,
        extra: &["next_cold_c", "ambient_kpa"],
        gives: &["hot_c", "rise_c", "set_cold_kpa", "verdict", "why"],
    },
    Worksheet {
        name: "tyre-service",
        input: r#"{"marking": "245/40 R18 97Y", "axle_load_kg": 800, "top_speed_kmh": 250}"#,
        extra: &["axle_load_kg", "top_speed_kmh"],
        gives: &[
            "width_mm",
            "aspect_percent",
            "rim_in",
            "diameter_mm",
            "load_kg",
            "speed_kmh",
            "load_margin_percent",
            "speed_margin_kmh",
            "verdict",
            "why",
        ],
    },
    Worksheet {
        name: "brake-fluid",
        input: r#"{"grade": "DOT 4", "flushed": "2026-03-01", "on": "2026-05-09", "limit_months": 6, "measured_boil_c": 220,
            "limit_boil_c": 180}"#,
        extra: &["limit_months", "measured_boil_c", "limit_boil_c"],
        gives: &["age_months", "dry_min_c", "wet_min_c", "verdict", "why"],
    },
    Worksheet {
        name: "pad-wear",
        input: r#"{"readings": [{"at_min": 0, "thickness_mm": 10}, {"at_min": 60, "thickness_mm": 9},
            {"at_min": 120, "thickness_mm": 8.1}], "limit_mm": 3, "planned_min": 80}"#,
        extra: &["limit_mm", "planned_min"],
        gives: &["rate_mm_per_h", "left_min", "left_min_cautious", "verdict", "why"],
    },
    Worksheet {
        name: "wheel-fastener",
        input: r#"{"thread": "M12x1.5", "grade": "10.9", "torque_nm": 110, "asked_nm": 110, "tolerance_percent": 10, "turns": 8,
            "dry": true}"#,
        extra: &["asked_nm", "tolerance_percent", "turns", "dry"],
        gives: &[
            "stress_area_mm2",
            "clamp_low_kn",
            "clamp_high_kn",
            "proof_kn",
            "used_high_percent",
            "engagement_mm",
            "verdict",
            "why",
        ],
    },
    Worksheet {
        name: "leak-down",
        input: r#"{"cylinders": [{"percent": 5}, {"percent": 6}, {"supply_kpa": 700, "held_kpa": 560, "heard": ["intake"]},
            {"percent": 5}], "limit_percent": 20}"#,
        extra: &["limit_percent"],
        gives: &["cylinders", "spread_percent", "worst", "verdict", "why"],
    },
    Worksheet {
        name: "compression",
        input: r#"{"dry_kpa": [1200, 1190, 1210, 1180], "wet_kpa": [1250, 1240, 1260, 1230], "limit_percent": 75}"#,
        extra: &["wet_kpa", "limit_percent"],
        gives: &["low_over_high_percent", "worst", "reading", "verdict", "why"],
    },
    Worksheet {
        name: "noise",
        input: r#"{"measured_db": 95, "measured_m": 10, "limit_db": 98, "limit_m": 15, "background_db": 60}"#,
        extra: &["limit_m", "background_db"],
        gives: &["corrected_db", "at_limit_db", "margin_db", "verdict", "why"],
    },
    Worksheet {
        name: "number-contrast",
        input: r##"{"number": "#000000", "background": "#ffffff", "height_mm": 250, "limit_ratio": 4.5,
            "limit_height_mm": 200}"##,
        extra: &["height_mm", "limit_ratio", "limit_height_mm"],
        gives: &["ratio", "verdict", "why"],
    },
    Worksheet {
        name: "helmet-line",
        input: r#"{"hoop": {"x_mm": 0, "z_mm": 1200}, "front": {"x_mm": 1500, "z_mm": 900}, "helmet": {"x_mm": 300, "z_mm": 1050},
            "limit_mm": 51}"#,
        extra: &["limit_mm"],
        gives: &["clearance_mm", "verdict", "why"],
    },
    Worksheet {
        name: "gear-life",
        input: r#"{"kind": "helmet", "label": "SA2015", "on": "2026-05-09"}"#,
        extra: &[],
        gives: &["ends", "days_left", "rule", "source", "verdict", "why"],
    },
    Worksheet {
        name: "vin",
        input: r#"{"vin": "1M8GDM9AXKP042788"}"#,
        extra: &[],
        gives: &["valid_form", "check_digit", "expected", "verdict", "why"],
    },
    Worksheet {
        name: "spot-check",
        input: r#"{"cars": 100, "confidence": 0.95, "tolerated_bad": 5}"#,
        extra: &["confidence"],
        gives: &["sample", "chance_missed"],
    },
    Worksheet {
        name: "gate-queue",
        input: r#"{"arrivals_per_h": 60, "check_min": 3, "lanes": 4, "cars": 100}"#,
        extra: &["cars"],
        gives: &["utilisation", "p_wait", "mean_wait_min", "mean_queue", "drain_min"],
    },
    Worksheet {
        name: "brake-heat",
        input: r#"{"mass_kg": 1300, "from_kmh": 180, "to_kmh": 70, "front_share": 0.7, "disc_kg": 8, "stops": 5, "interval_s": 20,
            "cooling_per_s": 0.01, "start_c": 100, "air_c": 20}"#,
        // With a single stop neither interval nor cooling is asked for.
        extra: &["front_share", "start_c", "air_c", "stops"],
        gives: &["stop_energy_kj", "rise_c", "peak_c", "settled_c", "verdict", "why"],
    },
    Worksheet {
        name: "corner-weights",
        input: r#"{"lf_kg": 320, "rf_kg": 310, "lr_kg": 290, "rr_kg": 300}"#,
        extra: &[],
        gives: &["total_kg", "front_percent", "left_percent", "cross_percent"],
    },
    Worksheet {
        name: "alignment",
        input: r#"{"toe_mm": 2, "across_mm": 430, "camber_left_deg": -1.5, "camber_right_deg": -1.2,
            "limit_side_to_side_deg": 0.5}"#,
        extra: &["camber_left_deg", "camber_right_deg", "limit_side_to_side_deg"],
        gives: &["toe_mm", "toe_deg", "camber_difference_deg", "verdict", "why"],
    },
];

impl Worksheet {
    fn fields(&self) -> Map<String, Json> {
        serde_json::from_str(self.input).expect("JSON")
    }

    fn with(&self, field: &str, value: Json) -> Json {
        let mut fields = self.fields();
        fields.insert(field.to_owned(), value);
        Json::Object(fields)
    }

    fn without(&self, field: &str) -> Json {
        let mut fields = self.fields();
        fields.remove(field);
        Json::Object(fields)
    }

    /// Whether the input can be used without this field.
    fn can_miss(&self, field: &str) -> bool {
        // Nothing is known of brake-heat's two where its stops are many: the program says which of them it wants.
        self.extra.contains(&field) || (self.name == "brake-heat" && ["interval_s", "cooling_per_s"].contains(&field))
    }
}

fn run(name: &str, input: &Json) -> Said {
    command(&["worksheet", name], input.to_string().as_bytes())
}

#[test]
fn the_list_names_every_worksheet_a_line_each() {
    let said = command(&["worksheet", "--list"], b"");
    assert_eq!(said.code, Some(0));
    let mut listed: Vec<&str> = said.out.lines().collect();
    let mut wanted: Vec<&str> = WORKSHEETS.iter().map(|worksheet| worksheet.name).collect();
    listed.sort_unstable();
    wanted.sort_unstable();
    assert_eq!(listed, wanted);
}

#[test]
fn every_worksheet_answers_with_all_that_its_contract_names() {
    for worksheet in &WORKSHEETS {
        let name = worksheet.name;
        let answer = run(name, &Json::Object(worksheet.fields())).answer(name);
        for field in worksheet.gives {
            assert!(answer.get(field).is_some_and(|value| !value.is_null()), "{name} gives {field}: {answer}");
        }
        if let Some(verdict) = answer.get("verdict") {
            assert!(["ok", "note", "fix", "stop"].map(Json::from).contains(verdict), "{name}: {verdict}");
            let why = answer["why"].as_str().unwrap_or_default();
            assert!(why.ends_with('.') && why.len() > 10, "{name} says why in a sentence: \"{why}\"");
        }
        let mut least = worksheet.fields();
        least.retain(|field, _| !worksheet.can_miss(field));
        run(name, &Json::Object(least)).answer(&format!("{name} without what may be left out"));
    }
}

#[test]
fn a_field_that_is_missing_is_named() {
    for worksheet in &WORKSHEETS {
        let name = worksheet.name;
        for field in worksheet.fields().keys().filter(|field| !worksheet.can_miss(field)) {
            let (named, _) = run(name, &worksheet.without(field)).refusal(&format!("{name} without {field}"));
            // Toe is given as toe_mm with across_mm or as toe_deg: either may be the one that is asked for.
            assert!(named == *field || (name == "alignment" && named.starts_with("toe")), "{name} without {field} names {named}");
        }
    }
}

#[test]
fn a_field_of_the_wrong_kind_is_named() {
    for worksheet in &WORKSHEETS {
        let name = worksheet.name;
        for (field, good) in worksheet.fields() {
            for wrong in [json!({}), json!(null)] {
                let (named, _) = run(name, &worksheet.with(&field, wrong.clone())).refusal(&format!("{name}, {field}: {wrong}"));
                assert!(named == field || named.starts_with(&format!("{field}.")), "{name}, {field}: {wrong} names {named}");
            }
            if good.is_number() {
                let (named, _) = run(name, &worksheet.with(&field, json!(-1e12))).refusal(&format!("{name}, {field}: -1e12"));
                assert_eq!(named, field, "{name}, {field}: -1e12");
                let beyond = worksheet.with(&field, json!("X")).to_string().replacen("\"X\"", "1e999", 1);
                let (named, _) = command(&["worksheet", name], beyond.as_bytes()).refusal(&format!("{name}, {field}: 1e999"));
                assert_eq!(named, field, "{name}, {field}: 1e999");
            }
        }
        let unknown = run(name, &worksheet.with("certainly_unknown", json!(1)));
        assert_eq!(unknown.refusal(name).0, "certainly_unknown", "{name}");
    }
}

#[test]
fn a_field_that_comes_twice_is_named() {
    for worksheet in &WORKSHEETS {
        for (field, good) in worksheet.fields() {
            let all = Json::Object(worksheet.fields()).to_string();
            let twice = format!("{},\"{field}\":{good}}}", &all[..all.len() - 1]);
            let (named, _) = command(&["worksheet", worksheet.name], twice.as_bytes()).refusal(&format!("{field} twice"));
            assert_eq!(named, field, "{} with {field} twice", worksheet.name);
        }
    }
}

#[test]
fn no_worksheet_can_use_rubbish() {
    for Worksheet { name, .. } in &WORKSHEETS {
        for (what, input) in rubbish() {
            command(&["worksheet", name], &input).refusal(&format!("{name}: {what}"));
        }
    }
}

#[test]
fn a_worksheet_that_is_none_is_refused() {
    for name in ["tyres", "TYRE-DATE", "", "../vin", "tyre-date "] {
        assert_eq!(command(&["worksheet", name], b"{}").refusal(name).0, "worksheet", "\"{name}\"");
    }
}
