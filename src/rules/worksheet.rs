//! The register of worksheets: a name, its fields, and the function that answers.
//!
//! A worksheet turns raw readings into an answer with a verdict. Adding one is one line in [`WORKSHEETS`]; formula,
//! assumptions, ranges and source stand in the file of its subject.

use super::gear::{self, Policy};
use super::worksheet_input::{Fields, InputError};
use super::{
    brake_heat, brakes, chassis_number, engine, fasteners, noise, numbers, openness, queue, sampling, tyre_pressure,
    tyre_service, tyres, wear, weights,
};
use serde::Serialize;
use serde_json::Value as Json;

/// One worksheet.
struct Worksheet {
    name: &'static str,
    /// Every field that the input may have.
    fields: &'static [&'static str],
    /// Whether its verdict judges the readings. Where nothing is right or wrong by itself, the verdict is always ok and says
    /// nothing.
    judges: bool,
    answer: fn(&Fields, &Policy) -> Result<Json, InputError>,
}

/// Fits a worksheet that needs no table of gear.
macro_rules! plain {
    ($answer:path) => {
        |input, _| write($answer(input))
    };
}

const WORKSHEETS: &[Worksheet] = &[
    Worksheet { name: "tyre-date", fields: &["code", "on", "limit_years"], judges: true, answer: plain!(tyres::tyre_date) },
    Worksheet {
        name: "tyre-pressure",
        fields: &["cold_kpa", "cold_c", "hot_kpa", "target_hot_kpa", "next_cold_c", "ambient_kpa"],
        judges: true,
        answer: plain!(tyre_pressure::tyre_pressure),
    },
    Worksheet {
        name: "tyre-service",
        fields: &["marking", "axle_load_kg", "top_speed_kmh"],
        judges: true,
        answer: plain!(tyre_service::tyre_service),
    },
    Worksheet {
        name: "brake-fluid",
        fields: &["grade", "flushed", "on", "limit_months", "measured_boil_c", "limit_boil_c", "maker_dry_c", "maker_wet_c"],
        judges: true,
        answer: plain!(brakes::brake_fluid),
    },
    Worksheet {
        name: "pad-wear",
        fields: &["readings", "limit_mm", "planned_min"],
        judges: true,
        answer: plain!(wear::pad_wear),
    },
    Worksheet {
        name: "wheel-fastener",
        fields: &["thread", "grade", "torque_nm", "asked_nm", "tolerance_percent", "turns", "dry"],
        judges: true,
        answer: plain!(fasteners::wheel_fastener),
    },
    Worksheet {
        name: "leak-down",
        fields: &["cylinders", "limit_percent"],
        judges: true,
        answer: plain!(engine::leak_down_worksheet),
    },
    Worksheet {
        name: "compression",
        fields: &["dry_kpa", "wet_kpa", "limit_percent"],
        judges: true,
        answer: plain!(engine::compression_worksheet),
    },
    Worksheet {
        name: "noise",
        fields: &["measured_db", "measured_m", "limit_db", "limit_m", "background_db"],
        judges: true,
        answer: plain!(noise::noise),
    },
    Worksheet {
        name: "number-contrast",
        fields: &["number", "background", "height_mm", "limit_ratio", "limit_height_mm"],
        judges: true,
        answer: plain!(numbers::number_contrast),
    },
    Worksheet {
        name: "helmet-line",
        fields: &["hoop", "front", "helmet", "limit_mm"],
        judges: true,
        answer: plain!(openness::helmet_line),
    },
    Worksheet {
        name: "gear-life",
        fields: &["kind", "label", "date", "date_is", "on", "policy"],
        judges: true,
        answer: |input, policy| write(gear::gear_life(input, policy)),
    },
    Worksheet { name: "vin", fields: &["vin"], judges: true, answer: plain!(chassis_number::vin) },
    Worksheet {
        name: "spot-check",
        fields: &["cars", "confidence", "tolerated_bad"],
        judges: false,
        answer: plain!(sampling::spot_check_worksheet),
    },
    Worksheet {
        name: "gate-queue",
        fields: &["arrivals_per_h", "check_min", "lanes", "cars"],
        judges: true,
        answer: plain!(queue::gate_queue),
    },
    Worksheet {
        name: "brake-heat",
        fields: &[
            "mass_kg",
            "from_kmh",
            "to_kmh",
            "front_share",
            "disc_kg",
            "stops",
            "interval_s",
            "cooling_per_s",
            "start_c",
            "air_c",
        ],
        judges: true,
        answer: plain!(brake_heat::brake_heat),
    },
    Worksheet {
        name: "corner-weights",
        fields: &["lf_kg", "rf_kg", "lr_kg", "rr_kg"],
        judges: false,
        answer: plain!(weights::corner_weights_worksheet),
    },
    Worksheet {
        name: "alignment",
        fields: &["toe_mm", "across_mm", "toe_deg", "camber_left_deg", "camber_right_deg", "limit_side_to_side_deg"],
        judges: true,
        answer: plain!(weights::alignment),
    },
];

/// The names, in the order of the list.
pub fn list() -> Vec<&'static str> {
    WORKSHEETS.iter().map(|worksheet| worksheet.name).collect()
}

/// The fields that a worksheet's input may have; none for a name not in [`list`].
pub fn fields(name: &str) -> &'static [&'static str] {
    WORKSHEETS.iter().find(|worksheet| worksheet.name == name).map_or(&[], |worksheet| worksheet.fields)
}

/// Whether a worksheet's verdict judges the readings; `false` for a name not in [`list`].
pub fn judges(name: &str) -> bool {
    WORKSHEETS.iter().any(|worksheet| worksheet.name == name && worksheet.judges)
}

/// Runs a worksheet on one JSON object; `default_policy` is the gear table where the input brings none.
///
/// # Errors
/// [`InputError`] with the field that cannot be used; with the field `worksheet` for a name not in [`list`]. Any text
/// whatever is answered or refused, never a panic, and no figure of an answer is NaN or infinite.
///
/// # Example: one reading, one answer
/// ```
/// use witnessmark::rules::{gear::Policy, worksheet};
/// let answer = worksheet::run("tyre-date", r#"{"code": "1224", "on": "2026-11-25"}"#, &Policy::default()).unwrap();
/// assert_eq!(answer["made_from"], "2024-03-24");
/// let error = worksheet::run("tyre-date", r#"{"code": "0024", "on": "2026-11-25"}"#, &Policy::default()).unwrap_err();
/// assert_eq!(error.field, "code");
/// ```
pub fn run(name: &str, input: &str, default_policy: &Policy) -> Result<Json, InputError> {
    let found = WORKSHEETS.iter().find(|worksheet| worksheet.name == name);
    let worksheet = found
        .ok_or_else(|| InputError::at("worksheet", format!("There is no such worksheet; there are {}.", list().join(", "))))?;
    (worksheet.answer)(&Fields::read(input, worksheet.fields)?, default_policy)
}

fn write<T: Serialize>(answer: Result<T, InputError>) -> Result<Json, InputError> {
    // Maps with text keys and plain figures always serialise; should that ever change, it is an error and no panic.
    serde_json::to_value(answer?).map_err(|error| InputError::at("input", error.to_string()))
}
