//! The worksheets against published figures: every row of the reference tables that a worksheet answers, with its source.

mod brakes;
mod calendar;
mod engine;
mod fasteners;
mod garage;
mod garage_story;
mod gear;
mod input;
mod noise;
#[path = "../properties/notebook.rs"]
mod notebook;
mod numbers;
mod pass;
mod queue;
mod sampling;
mod schedule;
mod table;
mod tyres;
mod vin;
mod wear;
mod weights;

/// Tables that belong to other tests or feed the sheet, and why.
const NOT_WORKSHEETS: [(&str, &str); 6] = [
    ("sha256.csv", "vectors for the digests of the history"),
    ("helmet_rules.csv", "rules of age, mass and accessories: what an inspector looks at, no label"),
    ("inspection_practice.csv", "what the default sheet asks"),
    ("inspection_anchors.csv", "what the default sheet cites"),
    ("sampling_code_letters.csv", "ISO 2859-1 letters: spot-check draws by the hypergeometric law instead"),
    ("tyre_tread_limits.csv", "limits of the sheet's tread item"),
];

/// Tables that the tests of this folder read.
const READ_HERE: [&str; 19] = [
    "brake_fluid.csv",
    "compression_leakdown.csv",
    "contrast.csv",
    "ed25519.csv",
    "fasteners.csv",
    "gas_law.csv",
    "helmets.csv",
    "linear_fit.csv",
    "linear_fit_data.csv",
    "noise.csv",
    "queue.csv",
    "queue_drain.csv",
    "restraints.csv",
    "sampling.csv",
    "sampling_anchors.csv",
    "tyre_date_code.csv",
    "tyre_load_index.csv",
    "tyre_size.csv",
    "tyre_speed_symbol.csv",
];

#[test]
fn no_reference_table_is_passed_over() {
    let known: Vec<&str> = NOT_WORKSHEETS.iter().map(|(file, _)| *file).chain(READ_HERE).chain(["vin.csv"]).collect();
    for entry in std::fs::read_dir(table::folder()).unwrap() {
        let name = entry.unwrap().file_name().into_string().unwrap();
        assert!(!name.ends_with(".csv") || known.contains(&name.as_str()), "{name} is neither read nor left out for a reason");
    }
}
