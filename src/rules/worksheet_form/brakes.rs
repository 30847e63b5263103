//! Forms about brakes: the fluid, the pads, the heat in a disc.

use super::measures::{MASS, PAD, RISE, SPEED, TEMPERATURE};
use super::{Blank, Form, Outcome, Rows, Subject};

/// The grades that the worksheet knows, by their own names.
const GRADES: &[(&str, &str)] = &[
    ("DOT 3", "DOT 3"),
    ("DOT 4", "DOT 4 (also LV, Super, +)"),
    ("DOT 5.1", "DOT 5.1"),
    ("DOT 5", "DOT 5 (silicone)"),
    ("ISO 4925 class 3", "ISO 4925 class 3"),
    ("ISO 4925 class 4", "ISO 4925 class 4"),
    ("ISO 4925 class 5-1", "ISO 4925 class 5-1"),
    ("ISO 4925 class 6", "ISO 4925 class 6"),
    ("ISO 4925 class 7", "ISO 4925 class 7"),
];

pub(super) static FLUID: Form = Form {
    name: "brake-fluid",
    title: "Brake fluid",
    subject: Subject::Brakes,
    says: "Whether the fluid is fresh enough, or boils high enough.",
    hurts: "Brake fluid eats paint and eyes. Work on brakes is for people who know it; a pedal that goes soft ends the day.",
    caution: "Fluid that boils leaves no pedal. The car maker's instructions and the event's rules decide.",
    formula: "Age in whole calendar months, from the day it was flushed to the day of the event. A measured boiling point outranks the \
              age: at its limit or above the age is only told, below it the fluid is to be changed however fresh.",
    assumes: "Dry and wet are the least that the grade may have when new and with 3.7 % of water. A maker's better figure is told and \
              raises nothing.",
    source: "49 CFR 571.116 (FMVSS 116) for DOT grades; ISO 4925:2020 table 1, from memory, for classes; the limits are the event's.",
    well: "In order",
    headline: false,
    folds: "Seldom needed",
    rows: None,
    example: &[("grade", "DOT 4"), ("flushed", "2026-03-20"), ("on", "2026-11-25"), ("measured_boil_c", "205")],
    blanks: &[
        Blank::choice("grade", "Grade", GRADES).help("On the bottle or the reservoir's cap."),
        Blank::date("flushed", "Flushed on"),
        Blank::date("on", "Day of the event"),
        Blank::number("measured_boil_c", "Measured boiling point", TEMPERATURE)
            .help("With a tester that boils a drop. It counts more than age.")
            .optional(),
        Blank::count("limit_months", "Limit of age", "months").help("6 if left empty.").folded(),
        Blank::number("limit_boil_c", "Limit of boiling", TEMPERATURE).help("180 °C (356 °F) if left empty.").folded(),
        Blank::number("maker_dry_c", "Maker's dry figure", TEMPERATURE).help("Told, never counted.").folded(),
        Blank::number("maker_wet_c", "Maker's wet figure", TEMPERATURE).help("Told, never counted.").folded(),
    ],
    outcomes: &[
        Outcome::number("age_months", "Age on the day", "months"),
        Outcome::measured("dry_min_c", "New, this grade boils at least at", TEMPERATURE),
        Outcome::measured("wet_min_c", "With 3.7 % of water, at least at", TEMPERATURE),
    ],
};

pub(super) static PADS: Form = Form {
    name: "pad-wear",
    title: "Brake pads: how long they last",
    subject: Subject::Brakes,
    says: "How many minutes on track are left in a pad, and how many with caution.",
    hurts: "A jacked car stands on stands, never on the jack alone. Let the brakes cool before you reach for them.",
    caution: "Pads do not wear evenly, and another compound, track or driver wears them otherwise. Measure both pads of a caliper, \
              and again before each day.",
    formula: "A straight line through the readings by least squares. About = where the line meets the limit; with caution = where the \
              lower 90 % prediction limit does, so that nineteen pads in twenty would still be at the limit or above.",
    assumes: "Even wear per minute on track, readings that scatter as readings do. Two readings make a line and say nothing of scatter: \
              no cautious figure. The limit is the event's.",
    source: "Simple linear regression, checked against NIST StRD Norris and statsmodels 0.15.0.",
    well: "In order",
    headline: true,
    folds: "Seldom needed",
    rows: Some(Rows { one: "Reading", numbered: false, shown: 4 }),
    example: &[
        ("readings.0.at_min", "0"),
        ("readings.0.thickness_mm", "11.0"),
        ("readings.1.at_min", "40"),
        ("readings.1.thickness_mm", "9.5"),
        ("readings.2.at_min", "80"),
        ("readings.2.thickness_mm", "8.7"),
        ("readings.3.at_min", "120"),
        ("readings.3.thickness_mm", "7.0"),
        ("planned_min", "90"),
    ],
    blanks: &[
        Blank::count("readings[].at_min", "Minutes on track", "min"),
        Blank::number("readings[].thickness_mm", "Pad left", PAD),
        Blank::count("planned_min", "Planned on track", "min").help("How long you mean to drive on these pads.").optional(),
        Blank::number("limit_mm", "Limit", PAD).help("3 mm (3.8/32 in) if left empty.").optional(),
    ],
    outcomes: &[
        Outcome::number("left_min_cautious", "Left with caution", "min"),
        Outcome::number("left_min", "Left by the line", "min"),
        Outcome::measured("rate_mm_per_h", "Wear in an hour on track", PAD).decimals(1),
    ],
};

pub(super) static HEAT: Form = Form {
    name: "brake-heat",
    title: "Heat in a brake disc",
    subject: Subject::Brakes,
    says: "How hot a front disc gets by stop after stop.",
    hurts: "Discs burn skin long after a session. Do not touch them, and do not pull the handbrake onto hot drums.",
    caution: "An upper bound for comparing cars and discs, not a temperature to rely on. Fade, cracks and a soft pedal are found by looking \
              and driving.",
    formula: "Energy of a stop = m (v1\u{b2} - v2\u{b2}) / 2. Two discs share the front's part: rise = energy x front share / 2 / (disc \
              mass x 460 J/(kg K)). Between stops the disc cools as T = air + (T0 - air) e^(-b t); the peaks are a geometric series.",
    assumes: "All the heat stays in cast-iron discs during a stop; air drag, tyres and cooling while braking are left out. Over 600 °C is a \
              note: common practice, no source.",
    source: "Mechanics; the sum of a geometric series; 460 J/(kg K): the usual handbook figure of cast iron near room temperature.",
    well: "Worked out",
    headline: true,
    folds: "Seldom needed",
    rows: None,
    example: &[
        ("mass_kg", "1400"),
        ("from_kmh", "180"),
        ("to_kmh", "80"),
        ("disc_kg", "9"),
        ("stops", "8"),
        ("interval_s", "60"),
        ("cooling_per_s", "0.006"),
    ],
    blanks: &[
        Blank::number("mass_kg", "Car with driver", MASS),
        Blank::number("disc_kg", "One front disc", MASS).help("Weighed, or from the parts list."),
        Blank::number("from_kmh", "Braked from", SPEED),
        Blank::number("to_kmh", "Down to", SPEED),
        Blank::count("stops", "Stops", "stops").help("1 if left empty.").optional(),
        Blank::count("interval_s", "Time between stops", "s").within("Cooling between stops, both or neither").optional(),
        Blank::count("cooling_per_s", "Cooling", "per s")
            .help("The share of the heat above the air lost each second: 0.005 to 0.01 is usual.")
            .within("Cooling between stops, both or neither")
            .optional(),
        Blank::count("front_share", "Front share of the braking", "of 1").help("0.7 if left empty.").folded(),
        Blank::number("start_c", "Disc at the start", TEMPERATURE).signed().help("20 °C (68 °F) if left empty.").folded(),
        Blank::number("air_c", "Air", TEMPERATURE).signed().help("20 °C (68 °F) if left empty.").folded(),
    ],
    outcomes: &[
        Outcome::measured("peak_c", "Peak after the last stop", TEMPERATURE),
        Outcome::measured("rise_c", "One stop heats it by", RISE),
        Outcome::measured("settled_c", "Settles in the end at", TEMPERATURE),
        Outcome::number("stop_energy_kj", "Energy of one stop, whole car", "kJ"),
    ],
};
