//! Inputs for worksheets from a fuzzer's bytes: the right fields, mostly of the right kind, with any figures.

use libfuzzer_sys::arbitrary::{Result, Unstructured};
use serde_json::{Map, Value as Json, json};
use witnessmark::rules::worksheet;

/// Figures at which formulas turn: noughts, ends of ranges, neighbours that ought to be equal and are not.
const TURNS: [f64; 20] = [
    0.0,
    -0.0,
    1.0,
    3.0,
    20.0,
    60.0,
    100.0,
    101.325,
    1000.0,
    1e6,
    0.1,
    0.3,
    0.9,
    1e-9,
    1e-12,
    5e-324,
    f64::MIN_POSITIVE,
    f64::EPSILON,
    0.999_999_999_999_999_9,
    f64::MAX,
];

const TEXTS: [(&str, &[&str]); 11] = [
    ("code", &["1224", "5320", "5300", "0100", "031", "000", "DOT 4B9R 7UMR 5120"]),
    ("marking", &["245/40 R18 97Y", "205/55ZR16", "LT245/75R16 120/116Q", "285/30 ZR20 (99Y) XL", "145/80 R13"]),
    ("thread", &["M12x1.5", "M14", "1/2-20", "7/16-20 UNF", "M42x4.5", "1 5/8-6", "M4x0.7"]),
    ("grade", &["8.8", "10.9", "12.9", "SAE 2", "SAE 5", "SAE 8", "DOT 4", "DOT 5", "DOT 5.1", "ISO 4925 class 6"]),
    ("kind", &["helmet", "harness", "head-restraint", "seat", "suit"]),
    ("label", &["Snell SA2020", "SA2015", "FIA 8859-2015", "FIA 8853-2016", "SFI 16.1", "FIA 8858-2010"]),
    ("date", &["2026", "2026-03", "03/2026", "2026-03-28", "1950", "2100-12-31", "2024-02-29"]),
    ("date_is", &["made", "valid_until"]),
    ("vin", &["1M8GDM9AXKP042788", "11111111111111111", "1g4ah59h45g 118341"]),
    ("number", &["#000000", "#777777", "#ffffff", "#0B0b0b"]),
    ("background", &["#ffffff", "#777777", "#000000"]),
];

/// An input of this worksheet.
pub fn input(name: &str, bytes: &mut Unstructured<'_>) -> Result<Json> {
    let mut object = Map::new();
    for field in worksheet::fields(name) {
        // Mostly there: an input without its fields is refused and shows nothing.
        if bytes.ratio(5, 6)? {
            object.insert((*field).to_owned(), value(field, bytes)?);
        }
    }
    Ok(Json::Object(object))
}

fn value(field: &str, bytes: &mut Unstructured<'_>) -> Result<Json> {
    if bytes.ratio(1, 40)? {
        return Ok(bytes.choose(&[json!(null), json!(true), json!([]), json!({}), json!("x"), json!(-1e308)])?.clone());
    }
    if let Some((_, texts)) = TEXTS.iter().find(|(name, _)| *name == field) {
        return Ok(if bytes.ratio(1, 20)? { json!(bytes.arbitrary::<&str>()?) } else { json!(bytes.choose(texts)?) });
    }
    Ok(match field {
        "on" | "flushed" | "accepted_until" => day(bytes)?,
        "dry" => json!(bytes.arbitrary::<bool>()?),
        "dry_kpa" | "wet_kpa" => json!(figures(bytes)?),
        "readings" => {
            let mut thickness = 12.0;
            let mut readings = Vec::new();
            for at in 0..bytes.int_in_range(1..=9u8)? {
                // Mostly a pad that wears: one that grows is refused at once.
                thickness =
                    if bytes.ratio(1, 8)? { figure(bytes)? } else { thickness - f64::from(bytes.arbitrary::<u8>()?) / 200.0 };
                let at = if bytes.ratio(1, 4)? { figure(bytes)? } else { f64::from(at) * 20.0 };
                readings.push(json!({ "at_min": at, "thickness_mm": thickness }));
            }
            json!(readings)
        }
        "cylinders" => {
            let mut cylinders = Vec::new();
            for _ in 0..bytes.int_in_range(1..=5u8)? {
                cylinders.push(match bytes.arbitrary::<bool>()? {
                    true => json!({ "percent": figure(bytes)?, "heard": bytes.choose(&["intake", "exhaust", "coolant"])? }),
                    false => json!({ "supply_kpa": figure(bytes)?, "held_kpa": figure(bytes)? }),
                });
            }
            json!(cylinders)
        }
        "hoop" | "front" | "helmet" => json!({ "x_mm": figure(bytes)?, "z_mm": figure(bytes)? }),
        "policy" => {
            let mut row = Map::from_iter([("kind".to_owned(), json!("helmet")), ("label".to_owned(), json!("Snell SA2020"))]);
            if bytes.arbitrary()? {
                row.insert("life_months".to_owned(), json!(bytes.int_in_range(0..=241u16)?));
                row.insert("life_ends".to_owned(), json!(bytes.choose(&["day", "year"])?));
            }
            if bytes.arbitrary()? {
                row.insert("accepted_until".to_owned(), day(bytes)?);
            }
            json!([row])
        }
        "cars" | "lanes" | "tolerated_bad" | "stops" | "limit_months" => {
            json!(bytes.arbitrary::<u32>()? >> bytes.int_in_range(0..=31u8)?)
        }
        _ => json!(figure(bytes)?),
    })
}

fn day(bytes: &mut Unstructured<'_>) -> Result<Json> {
    let (year, month, day) = (bytes.int_in_range(1950..=2100u16)?, bytes.int_in_range(1..=12u8)?, bytes.int_in_range(1..=31u8)?);
    Ok(json!(format!("{year}-{month:02}-{day:02}")))
}

fn figures(bytes: &mut Unstructured<'_>) -> Result<Vec<f64>> {
    (0..bytes.int_in_range(1..=8u8)?).map(|_| figure(bytes)).collect()
}

/// Any finite figure: a likely one, one at which formulas turn, one beside it, or any at all.
fn figure(bytes: &mut Unstructured<'_>) -> Result<f64> {
    let figure = match bytes.int_in_range(0..=7u8)? {
        0..=3 => f64::from(bytes.arbitrary::<u16>()?) / *bytes.choose(&[1.0, 10.0, 100.0, 65_536.0])?,
        4 => *bytes.choose(&TURNS)?,
        5 => bytes.choose(&TURNS)?.next_up(),
        6 => -f64::from(bytes.arbitrary::<i16>()?),
        _ => f64::from_bits(bytes.arbitrary()?),
    };
    Ok(if figure.is_finite() { figure } else { 0.0 })
}
