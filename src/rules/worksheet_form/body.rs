//! Forms about the body and the papers: the car's numbers, its chassis number.

use super::measures::LENGTH;
use super::{Blank, Form, Outcome, Subject};

pub(super) static NUMBERS: Form = Form {
    name: "number-contrast",
    title: "Numbers on the car",
    subject: Subject::Body,
    says: "Whether the car's number stands out from what is behind it, and is tall enough.",
    hurts: "",
    caution: "Colours on paint look otherwise in shade and rain. In doubt, look from 50 m.",
    formula: "Contrast = (lighter + 0.05) / (darker + 0.05) of the relative luminances, 1 to 21.",
    assumes: "The ratio stands in for the rule books' \u{201c}adequate contrast\u{201d}, which has no figure; 4.5 is the web's figure for text. The \
              height is the event's.",
    source: "WCAG 2.2, relative luminance and contrast ratio (1.4.3).",
    well: "In order",
    headline: true,
    folds: "Seldom needed",
    rows: None,
    example: &[("number", "#ffff00"), ("background", "#003300"), ("height_mm", "230")],
    blanks: &[
        Blank::text("number", "Colour of the number").colour("#000000"),
        Blank::text("background", "Colour behind it").colour("#ffffff"),
        Blank::number("height_mm", "Height of the figures", LENGTH).optional(),
        Blank::count("limit_ratio", "Least contrast", "to 1").help("4.5 if left empty.").folded(),
        Blank::number("limit_height_mm", "Least height", LENGTH).help("200 mm (7.9 in) if left empty.").folded(),
    ],
    outcomes: &[Outcome::number("ratio", "Contrast", "to 1").decimals(2)],
};

pub(super) static VIN: Form = Form {
    name: "vin",
    title: "Chassis number",
    subject: Subject::Body,
    says: "Whether a chassis number has the form of a VIN, and whether its check digit agrees.",
    hurts: "",
    caution: "A wrong check digit is a note only: many markets do not require one, and cars before model year 1981 may have fewer signs.",
    formula: "Each sign has a value and each place a weight. The sum of the products, divided by 11, leaves the check digit in the ninth \
              place; 10 is written X.",
    assumes: "Blanks and hyphens are passed over, small letters count as capitals. I, O and Q are in no VIN.",
    source: "49 CFR 565.15, ISO 3779.",
    well: "In order",
    headline: false,
    folds: "Seldom needed",
    rows: None,
    example: &[("vin", "1G4AH59H45G118341")],
    blanks: &[Blank::text("vin", "Chassis number").help("Seventeen signs, from the car itself and not only from its papers.")],
    outcomes: &[
        Outcome::flag("valid_form", "Form", "seventeen signs of a VIN", "not of a VIN"),
        Outcome::text("check_digit", "Check digit on the car"),
        Outcome::text("expected", "Check digit by the sum"),
    ],
};
