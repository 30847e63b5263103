//! Forms about the driver's gear: the line over the helmet, the life of a label.

use super::measures::LENGTH;
use super::{Blank, Form, Outcome, Subject};

pub(super) static HELMET_LINE: Form = Form {
    name: "helmet-line",
    title: "Helmet under the line",
    subject: Subject::Gear,
    says: "In an open car: how far the helmet is below the straight edge from the main hoop to the front support.",
    hurts: "Measure with the car standing level and the engine off, the driver belted in, helmet on, sitting as when driving.",
    caution: "The room asked differs by organizer: the event's rules decide. A hoop that was not made for this car is for its maker to judge.",
    formula: "Clearance = (height of the line above the helmet) x cos(slope of the line): the distance at right angles to the line.",
    assumes: "All three points from one origin, in a side view: along the car and up. 51 mm is 2 in.",
    source: "Geometry; the straight edge and its room: common practice, no source.",
    well: "In order",
    headline: true,
    folds: "Seldom needed",
    rows: None,
    example: &[
        ("hoop.x_mm", "0"),
        ("hoop.z_mm", "1200"),
        ("front.x_mm", "1200"),
        ("front.z_mm", "900"),
        ("helmet.x_mm", "400"),
        ("helmet.z_mm", "1025"),
    ],
    blanks: &[
        Blank::number("hoop.x_mm", "Hoop, along", LENGTH).help("Its top, from any one point.").signed(),
        Blank::number("hoop.z_mm", "Hoop, up", LENGTH).help("From the same point.").signed(),
        Blank::number("helmet.x_mm", "Helmet, along", LENGTH).help("Its top.").signed(),
        Blank::number("helmet.z_mm", "Helmet, up", LENGTH).signed(),
        Blank::number("front.x_mm", "Front support, along", LENGTH).signed(),
        Blank::number("front.z_mm", "Front support, up", LENGTH).signed(),
        Blank::number("limit_mm", "Room asked", LENGTH).help("51 mm (2 in) if left empty.").optional(),
    ],
    outcomes: &[Outcome::measured("clearance_mm", "Room under the line", LENGTH)],
};

pub(super) static LIFE: Form = Form {
    name: "gear-life",
    title: "Life of safety gear",
    subject: Subject::Gear,
    says: "Whether a label is accepted, and until when the gear is good.",
    hurts: "",
    caution: "The table is the one a new club starts with; the event's own decides. Gear that was in a crash, is cut or is frayed is done, \
              whatever its label says.",
    formula: "The end is the earlier of the label's last accepted day and the end of its life: so many months from the date made, or the \
              last valid day on the label. The gear is still good on that day; within 60 days of it is a note.",
    assumes: "An unknown label is never in order: ask the inspector. Made-on taken for valid-until is an error of the whole life.",
    source: "The row of the table that it was judged by, shown with the outcome.",
    well: "In order",
    headline: true,
    folds: "Seldom needed",
    rows: None,
    example: &[("kind", "harness"), ("label", "SFI 16.1"), ("date", "2025-03"), ("date_is", "made"), ("on", "2026-11-25")],
    blanks: &[
        Blank::choice(
            "kind",
            "What it is",
            &[
                ("helmet", "Helmet"),
                ("harness", "Harness"),
                ("head-restraint", "Head restraint"),
                ("seat", "Seat"),
                ("window-net", "Window net"),
                ("suit", "Suit"),
                ("gloves", "Gloves"),
                ("clothing", "Shoes, underwear, balaclava"),
                ("extinguisher", "Extinguisher"),
            ],
        ),
        Blank::text("label", "What the label says").help("Such as Snell SA2020, FIA 8859-2015, SFI 16.1."),
        Blank::text("date", "Date on the label").help("Year, 2026-03 or 2026-03-28. Leave empty if it has none.").optional(),
        Blank::choice("date_is", "That date is", &[("made", "the day it was made"), ("valid_until", "the last day it is valid")])
            .help("The day made, if not chosen.")
            .optional(),
        Blank::date("on", "Day of the event"),
    ],
    outcomes: &[
        Outcome::text("ends", "Good until"),
        Outcome::number("days_left", "Days left on the day", "days"),
        Outcome::text("rule", "Rule"),
    ],
};
