//! Forms about the engine: leak-down, compression, noise.

use super::measures::{DISTANCE, PERCENT, PRESSURE, SOUND};
use super::{Blank, Form, Outcome, Rows, Subject};

pub(super) static LEAK_DOWN: Form = Form {
    name: "leak-down",
    title: "Leak-down test",
    subject: Subject::Engine,
    says: "Which cylinder leaks, and which way the air goes.",
    hurts: "An engine with air on a cylinder can turn by itself. Keep hands and tools off it, and the ignition off.",
    caution: "The per cent depend on the tester: compare cylinders of one tester only, each at top dead centre, the engine warm.",
    formula: "Loss = (supply - held) / supply. Over the limit is a fix; five points or more over the middle of its fellows is a note, and so \
              are bubbles in the coolant however little is lost.",
    assumes: "Bands: excellent to 5 %, usable to 12, chase to 20, bad above. Other pages differ by a factor of two, so the limit is the event's.",
    source: "FAA AC 43.13-1B 8-14 (the orifice); a mechanics' study guide, trade pages and a car maker's manual (paths); bands and the five \
             points: common practice.",
    well: "In order",
    headline: true,
    folds: "Two gauges instead of per cent",
    rows: Some(Rows { one: "Cylinder", numbered: true, shown: 4 }),
    example: &[
        ("cylinders.0.percent", "6"),
        ("cylinders.1.percent", "7"),
        ("cylinders.2.percent", "6"),
        ("cylinders.3.percent", "24"),
        ("cylinders.3.heard", "exhaust"),
    ],
    blanks: &[
        Blank::number("cylinders[].percent", "Lost", PERCENT).optional(),
        Blank::choice(
            "cylinders[].heard",
            "Heard or seen",
            &[
                ("intake", "At the intake"),
                ("exhaust", "At the tailpipe"),
                ("crankcase", "At the oil filler"),
                ("coolant", "Bubbles in the coolant"),
                ("neighbour", "At the next plug hole"),
            ],
        )
        .optional(),
        Blank::number("cylinders[].supply_kpa", "Supply gauge", PRESSURE).folded(),
        Blank::number("cylinders[].held_kpa", "Cylinder gauge", PRESSURE).folded(),
        Blank::count("limit_percent", "Limit", "%").help("20 if left empty.").optional(),
    ],
    outcomes: &[
        Outcome::number("worst", "Leaks most: cylinder", ""),
        Outcome::number("spread_percent", "From least to most", "points").decimals(1),
        Outcome::number("cylinders[].cylinder", "Cylinder", ""),
        Outcome::number("cylinders[].percent", "Lost", "%").decimals(1),
        Outcome::text("cylinders[].band", "Band"),
        Outcome::text("cylinders[].path", "The way of the air"),
    ],
};

pub(super) static COMPRESSION: Form = Form {
    name: "compression",
    title: "Compression test",
    subject: Subject::Engine,
    says: "Which cylinder is low, and whether oil tells rings from valves.",
    hurts: "Pull the ignition and the injection before you crank: an open plug hole throws fuel and sparks.",
    caution: "The engine maker's own minimum comes first. Throttle open, engine warm, all plugs out, the same strokes for each.",
    formula: "Lowest over highest. A low cylinder that rises by a tenth or more with a little oil in it: rings. One that does not: valves or \
              gasket. Two neighbours low that do not rise: the gasket between them.",
    assumes: "Cylinders count as neighbours by their numbers, which holds along one bank.",
    source: "75 %: three car makers' manuals (others allow 70); patterns: two car makers' manuals; the tenth: common practice, no source.",
    well: "In order",
    headline: true,
    folds: "Seldom needed",
    rows: Some(Rows { one: "Cylinder", numbered: true, shown: 4 }),
    example: &[
        ("dry_kpa.0", "12.0"),
        ("dry_kpa.1", "11.9"),
        ("dry_kpa.2", "8.0"),
        ("dry_kpa.3", "12.1"),
        ("wet_kpa.0", "12.3"),
        ("wet_kpa.1", "12.2"),
        ("wet_kpa.2", "10.8"),
        ("wet_kpa.3", "12.4"),
    ],
    blanks: &[
        Blank::number("dry_kpa[]", "Dry", PRESSURE),
        Blank::number("wet_kpa[]", "With oil", PRESSURE).optional(),
        Blank::count("limit_percent", "Limit, of the highest", "%").help("75 if left empty.").optional(),
    ],
    outcomes: &[
        Outcome::number("low_over_high_percent", "Lowest over highest", "%").decimals(1),
        Outcome::number("worst", "Lowest: cylinder", ""),
    ],
};

pub(super) static NOISE: Form = Form {
    name: "noise",
    title: "Noise",
    subject: Subject::Engine,
    says: "A meter's reading against a limit, cleared of background and carried to the limit's distance.",
    hurts: "A running engine at speed deafens and burns: ears covered, nobody behind or before the car.",
    caution: "A limit holds only for its own test: a static reading says nothing of a drive-by limit. The event's own meter decides.",
    formula: "Background: less -10 log10(1 - 10^(-d/10)) for a difference of d dB, nothing above 15 dB, refused under 3 dB. Distance: less \
              20 log10 of the ratio of the distances.",
    assumes: "Outdoors, nothing near that throws sound back, and from 2 m on: nearer, a car is no single point of noise.",
    source: "ISO 3744:2010 (background; 15 dB from memory), a sound-meter maker's manual (3 dB), the free-field law; 2 m: common practice.",
    well: "In order",
    headline: true,
    folds: "Seldom needed",
    rows: None,
    example: &[("measured_db", "93"), ("measured_m", "20"), ("limit_db", "92"), ("background_db", "89")],
    blanks: &[
        Blank::number("measured_db", "Measured", SOUND),
        Blank::number("measured_m", "At a distance of", DISTANCE),
        Blank::number("limit_db", "Limit", SOUND),
        Blank::number("limit_m", "Limit's distance", DISTANCE).help("The same if left empty.").optional(),
        Blank::number("background_db", "Background", SOUND).help("The meter with the engine off.").optional(),
    ],
    outcomes: &[
        Outcome::measured("at_limit_db", "At the limit's distance", SOUND),
        Outcome::measured("margin_db", "Margin to the limit", SOUND),
        Outcome::measured("corrected_db", "Without the background", SOUND),
    ],
};
