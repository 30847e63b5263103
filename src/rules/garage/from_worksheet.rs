//! Readings of a worksheet that belong in a car's log.

use super::change::Readings;
use super::kinds::ReadingKind;
use super::log::readings_of;
use crate::rules::units::Unit;
use crate::rules::words::{Per, Place};
use serde_json::{Map, Value as Json};

/// Where a worksheet's readings are of: it does not say itself.
pub fn asks_place(worksheet: &str) -> Option<Per> {
    match worksheet {
        "tyre-pressure" => Some(Per::Corner),
        "alignment" => Some(Per::Axle),
        _ => None,
    }
}

/// Whether anything of a worksheet belongs in a log.
pub fn keeps(worksheet: &str) -> bool {
    matches!(worksheet, "leak-down" | "compression" | "tyre-pressure" | "corner-weights" | "alignment" | "brake-fluid")
}

/// Figures of one kind in one unit, by place.
type OfKind = (ReadingKind, Unit, Vec<(Place, f64)>);

/// The readings in a worksheet's input and outcome, taken at a place where it asks for one. Empty where there are none.
///
/// # Example: a compression test's cylinders
/// ```
/// use serde_json::{Map, json};
/// use witnessmark::rules::garage::from_worksheet::readings;
/// let input = json!({ "dry_kpa": [1200.0, 1180.0] });
/// let kept = readings("compression", input.as_object().unwrap(), &Map::new(), None);
/// assert_eq!(kept[0].at["2"], 1180.0);
/// ```
pub fn readings(worksheet: &str, input: &Map<String, Json>, output: &Map<String, Json>, place: Option<Place>) -> Vec<Readings> {
    let number = |of: &Map<String, Json>, field: &str| of.get(field).and_then(Json::as_f64);
    let list = |of: &Map<String, Json>, field: &str| of.get(field).and_then(Json::as_array).cloned().unwrap_or_default();
    let cylinders = |figures: Vec<Option<f64>>| -> Vec<(Place, f64)> {
        (1u8..=16).zip(figures).filter_map(|(nth, figure)| Some((Place::Cylinder(nth), figure?))).collect()
    };
    let corners =
        [("lf_kg", Place::FrontLeft), ("rf_kg", Place::FrontRight), ("lr_kg", Place::RearLeft), ("rr_kg", Place::RearRight)];
    let mut kept: Vec<OfKind> = Vec::new();
    match worksheet {
        "leak-down" => {
            let figures = list(output, "cylinders").iter().map(|one| one["percent"].as_f64()).collect();
            kept.push((ReadingKind::LeakDown, Unit::Percent, cylinders(figures)));
        }
        "compression" => {
            let figures = list(input, "dry_kpa").iter().map(Json::as_f64).collect();
            kept.push((ReadingKind::Compression, Unit::Kilopascal, cylinders(figures)));
        }
        "corner-weights" => {
            let figures = corners.into_iter().filter_map(|(field, place)| Some((place, number(input, field)?)));
            kept.push((ReadingKind::CornerWeight, Unit::Kilogram, figures.collect()));
        }
        "tyre-pressure" => {
            for (field, kind) in [("cold_kpa", ReadingKind::PressureCold), ("hot_kpa", ReadingKind::PressureHot)] {
                kept.push((kind, Unit::Kilopascal, place.zip(number(input, field)).into_iter().collect()));
            }
        }
        "alignment" => {
            kept.push((ReadingKind::Toe, Unit::Degree, place.zip(number(output, "toe_deg")).into_iter().collect()));
            let sides = match place {
                Some(Place::RearAxle) => [Place::RearLeft, Place::RearRight],
                _ => [Place::FrontLeft, Place::FrontRight],
            };
            let cambers = ["camber_left_deg", "camber_right_deg"].map(|field| number(input, field));
            let cambers = sides.into_iter().zip(cambers).filter_map(|(side, camber)| Some((side, camber?)));
            kept.push((ReadingKind::Camber, Unit::Degree, cambers.filter(|_| place.is_some()).collect()));
        }
        "brake-fluid" => {
            let boil = number(input, "measured_boil_c").map(|celsius| (Place::Whole, celsius));
            kept.push((ReadingKind::FluidBoil, Unit::Celsius, boil.into_iter().collect()));
        }
        _ => {}
    }
    let from = format!("worksheet {worksheet}");
    let some = kept.into_iter().filter(|(_, _, figures)| !figures.is_empty());
    some.map(|(kind, unit, figures)| Readings { from: from.clone(), ..readings_of(kind, unit, figures.into_iter()) }).collect()
}
