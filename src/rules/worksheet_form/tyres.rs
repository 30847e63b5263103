//! Forms about tyres: how old they are, how far to pump them up, what they carry.

use super::measures::{LENGTH, MASS, PERCENT, PRESSURE as GAUGE, RISE, SPEED, TEMPERATURE};
use super::{Blank, Form, Outcome, Subject};

pub(super) static DATE: Form = Form {
    name: "tyre-date",
    title: "Tyre age",
    subject: Subject::Wheels,
    says: "When a tyre was made, and how old it is on the day.",
    hurts: "",
    caution: "Age says nothing of how a tyre was kept. Cracks, bulges, cords and hard rubber end it sooner; the event's limit counts.",
    formula: "The last four figures of the tyre number are week and year. Week 01 is the first full week of the year, Sunday to \
              Saturday. Age = days from the Sunday of that week to the day of the event, divided by 365.2425.",
    assumes: "Three figures mean that the tyre was made before 2000. The limit is the event's: no law on the age of car tyres was found.",
    source: "49 CFR 574.5 (date code); NHTSA interpretation 12375 of 1996 (three figures).",
    well: "In order",
    headline: true,
    folds: "Seldom needed",
    rows: None,
    example: &[("code", "1224"), ("on", "2026-11-25")],
    blanks: &[
        Blank::text("code", "Date code").help("The last four figures of the number on the sidewall, or all of it."),
        Blank::date("on", "Day of the event"),
        Blank::count("limit_years", "Limit", "years").help("6 if left empty.").optional(),
    ],
    outcomes: &[
        Outcome::number("age_years", "Age on the day", "years").decimals(1),
        Outcome::text("made_from", "Made in the week from"),
        Outcome::number("week", "Week", ""),
        Outcome::number("year", "Year", ""),
    ],
};

pub(super) static PRESSURE: Form = Form {
    name: "tyre-pressure",
    title: "Tyre pressure, cold and hot",
    subject: Subject::Wheels,
    says: "What to set cold so that the tyre arrives at the hot pressure you want.",
    hurts: "Tyres and brakes are hot after a session: take hold of the valve cap, not of the wheel.",
    caution: "Never set a tyre below the car maker's least pressure. Water in a tyre makes it rise far more than dry air does.",
    formula: "p2 / p1 = T2 / T1 with absolute pressures (gauge + air pressure of the day) and kelvin. The two readings give the hot \
              temperature; the same rise above the next cold temperature gives the cold setting.",
    assumes: "Dry air, a tyre of fixed volume, and a next run that warms it as much. Within 0.31 % of real air.",
    source: "Ideal gas law at fixed volume, checked against CoolProp 8.0.0.",
    well: "Worked out",
    headline: true,
    folds: "Seldom needed",
    rows: None,
    example: &[("cold_kpa", "2.0"), ("cold_c", "20"), ("hot_kpa", "2.6"), ("target_hot_kpa", "2.4"), ("next_cold_c", "12")],
    blanks: &[
        Blank::number("cold_kpa", "Cold pressure", GAUGE).help("As set before the run."),
        Blank::number("cold_c", "Temperature then", TEMPERATURE).signed().help("Of the tyre when it was set cold."),
        Blank::number("hot_kpa", "Hot pressure", GAUGE).help("Read at once after the run."),
        Blank::number("target_hot_kpa", "Wanted hot", GAUGE),
        Blank::number("next_cold_c", "Next cold temperature", TEMPERATURE).signed().help("As before if left empty.").optional(),
        Blank::number("ambient_kpa", "Air pressure of the day", GAUGE).help("Sea level if left empty.").folded(),
    ],
    outcomes: &[
        Outcome::measured("set_cold_kpa", "Set cold", GAUGE),
        Outcome::measured("hot_c", "Air in the tyre when hot", TEMPERATURE),
        Outcome::measured("rise_c", "It rose by", RISE),
    ],
};

pub(super) static SERVICE: Form = Form {
    name: "tyre-service",
    title: "What a tyre carries",
    subject: Subject::Wheels,
    says: "What the marking on the sidewall means, and whether it fits the axle's load and the car's top speed.",
    hurts: "",
    caution: "The tables hold at the tyre maker's pressure. Above 210 to 270 km/h, by its symbol, a tyre carries less than \
              here: ask its maker.",
    formula: "Diameter = rim x 25.4 + 2 x width x height / 100. Two tyres share an axle: load margin = (2 x load of one - axle load) / \
              axle load. Speed margin = speed of the symbol - top speed.",
    assumes: "Evenly loaded, at the maker's pressure. Of two load indices (single and twin wheels) the first counts. ZR without a \
              symbol means over 240 km/h and says nothing of load.",
    source: "UN R30 annexes 4 and 5, ISO 4000-1; indices below 61 and above 126 and symbols B to K from memory of the standards.",
    well: "In order",
    headline: true,
    folds: "Seldom needed",
    rows: None,
    example: &[("marking", "245/40 R18 97Y"), ("axle_load_kg", "1100"), ("top_speed_kmh", "250")],
    blanks: &[
        Blank::text("marking", "Marking on the sidewall").help("Size, load index and speed symbol, such as 245/40 R18 97Y."),
        Blank::number("axle_load_kg", "Load on the heavier axle", MASS)
            .help("From the papers, or two corner weights.")
            .optional(),
        Blank::number("top_speed_kmh", "Top speed on this track", SPEED).optional(),
    ],
    outcomes: &[
        Outcome::measured("load_kg", "One tyre carries", MASS),
        Outcome::measured("speed_kmh", "Made for up to", SPEED),
        Outcome::measured("load_margin_percent", "Margin of load", PERCENT),
        Outcome::measured("speed_margin_kmh", "Margin of speed", SPEED),
        Outcome::measured("diameter_mm", "Outer diameter", LENGTH),
        Outcome::measured("width_mm", "Width", LENGTH),
        Outcome::number("aspect_percent", "Height of the sidewall", "% of width"),
        Outcome::number("rim_in", "Rim", "in"),
        Outcome::flag("over_speed_kmh", "Beyond that speed", "yes, ask the tyre maker how far", ""),
    ],
};
