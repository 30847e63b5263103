//! Forms about wheels: their fasteners, the weight on them, how they stand.

use super::measures::{ANGLE, FORCE, LENGTH, MASS, PERCENT, TORQUE};
use super::{Blank, Form, Outcome, Subject};

pub(super) static FASTENER: Form = Form {
    name: "wheel-fastener",
    title: "Wheel nuts and bolts",
    subject: Subject::Wheels,
    says: "Whether a wheel is tight as the car maker asks, and what that torque does to the thread.",
    hurts: "Wheels come off. Torque them cold, on the ground, on clean threads as the car maker says, and again after the first session.",
    caution: "The car maker's torque always decides. Nothing here asks for more than that.",
    formula: "Clamp load = torque / (K x diameter), over a band of nut factors K: 0.15 to 0.30 dry, 0.10 to 0.20 with oil or \
              anti-seize. Proof load = stress area x proof stress. Thread engagement = turns x pitch, at least one diameter.",
    assumes: "Clean, undamaged threads. Handbooks disagree on K, so the clamp load is a band and never one number; a torque \
              wrench scatters by some per cent more.",
    source: "ISO 898-1, SAE J429, ASME B1.1; nut factors of several handbooks as restated on trade pages; one diameter of \
             engagement: common practice, no source.",
    well: "In order",
    headline: false,
    folds: "Seldom needed",
    rows: None,
    example: &[("thread", "M12x1.5"), ("grade", "10.9"), ("torque_nm", "110"), ("asked_nm", "110"), ("turns", "9")],
    blanks: &[
        Blank::text("thread", "Thread")
            .help("Such as M12x1.5 or 1/2-20.")
            .offers(&["M12x1.25", "M12x1.5", "M14x1.25", "M14x1.5", "7/16-20", "1/2-20", "9/16-18"]),
        Blank::choice(
            "grade",
            "Grade",
            &[
                ("8.8", "8.8"),
                ("10.9", "10.9"),
                ("12.9", "12.9"),
                ("SAE 2", "SAE grade 2"),
                ("SAE 5", "SAE grade 5"),
                ("SAE 8", "SAE grade 8"),
            ],
        )
        .help("Marked on the head."),
        Blank::number("torque_nm", "Torque used", TORQUE),
        Blank::number("asked_nm", "Car maker asks", TORQUE).help("From the handbook. Only this decides.").optional(),
        Blank::count("turns", "Turns to tight", "turns").help("Full turns from the first bite of the thread.").optional(),
        Blank::flag("dry", "Threads", "Dry", "Oil or anti-seize").optional(),
        Blank::count("tolerance_percent", "Tolerance", "%").help("10 if left empty.").folded(),
    ],
    outcomes: &[
        Outcome::measured("clamp_low_kn", "Clamp load, at least", FORCE),
        Outcome::measured("clamp_high_kn", "Clamp load, at most", FORCE),
        Outcome::measured("proof_kn", "Proof load of the thread", FORCE),
        Outcome::number("used_high_percent", "Of the proof load, at most", "%"),
        Outcome::measured("engagement_mm", "Thread that is in", LENGTH).decimals(1),
        Outcome::number("stress_area_mm2", "Stress area", "mm\u{b2}").decimals(1),
    ],
};

pub(super) static CORNERS: Form = Form {
    name: "corner-weights",
    title: "Corner weights",
    subject: Subject::Wheels,
    says: "How the car's weight lies on its four wheels: front, left, and across.",
    hurts: "Nobody goes under a car that stands on scales. Chock it before you let go of it.",
    caution: "No share is right or wrong by itself. Level scales, tyres at their pressures, the driver or ballast in the seat, \
              anti-roll bars disconnected.",
    formula: "Cross = (right front + left rear) / total. Front = (left front + right front) / total. Left = (left front + left \
              rear) / total.",
    assumes: "The four scales stand level with each other.",
    source: "By definition; common practice.",
    well: "Worked out",
    headline: true,
    folds: "Seldom needed",
    rows: None,
    example: &[("lf_kg", "280"), ("rf_kg", "270"), ("lr_kg", "240"), ("rr_kg", "210")],
    blanks: &[
        Blank::number("lf_kg", "Left front", MASS),
        Blank::number("rf_kg", "Right front", MASS),
        Blank::number("lr_kg", "Left rear", MASS),
        Blank::number("rr_kg", "Right rear", MASS),
    ],
    outcomes: &[
        Outcome::measured("cross_percent", "Cross", PERCENT),
        Outcome::measured("front_percent", "Front", PERCENT),
        Outcome::measured("left_percent", "Left", PERCENT),
        Outcome::measured("total_kg", "Total", MASS).decimals(1),
    ],
};

pub(super) static ALIGNMENT: Form = Form {
    name: "alignment",
    title: "Toe and camber",
    subject: Subject::Wheels,
    says: "Toe in millimetres and in degrees, and whether camber is even from side to side.",
    hurts: "Roll the car to measure it; never crawl under one that stands on a jack alone.",
    caution: "The car maker's figures decide. Toe has no limit here, since it is a matter of the car.",
    formula: "Toe angle = asin(toe / length across which it was measured). Difference of camber = the larger less the smaller.",
    assumes: "Toe of one wheel, measured between the front and the rear edge of the rim. Toe in is above nought here, toe out below.",
    source: "Trigonometry; the limit is the event's.",
    well: "Worked out",
    headline: true,
    folds: "Seldom needed",
    rows: None,
    example: &[("toe_mm", "2"), ("across_mm", "430"), ("camber_left_deg", "-2.0"), ("camber_right_deg", "-1.4")],
    blanks: &[
        Blank::number("toe_mm", "Toe as a length", LENGTH).signed().help("Front less rear edge; below 0 for toe out.").optional(),
        Blank::number("across_mm", "Measured across", LENGTH).help("Often the rim's diameter.").optional(),
        Blank::number("toe_deg", "Or toe as an angle", ANGLE).signed().help("One of the two is enough.").optional(),
        Blank::number("camber_left_deg", "Camber left", ANGLE).signed().within("Camber of one axle, if you have it").optional(),
        Blank::number("camber_right_deg", "Camber right", ANGLE).signed().within("Camber of one axle, if you have it").optional(),
        Blank::number("limit_side_to_side_deg", "Limit side to side", ANGLE).help("0.5 if left empty.").folded(),
    ],
    outcomes: &[
        Outcome::measured("toe_deg", "Toe as an angle", ANGLE),
        Outcome::measured("toe_mm", "Toe as a length", LENGTH).decimals(1),
        Outcome::measured("camber_difference_deg", "Camber, side to side", ANGLE),
    ],
};
