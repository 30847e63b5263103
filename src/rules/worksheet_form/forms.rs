//! The forms of all worksheets, in the register's order.

use super::{Blank, BlankKind, Form, Measure, Outcome};
use crate::rules::units::Unit;

const MM: Measure = Measure::of(Unit::Millimetre, Unit::Millimetre, Unit::Inch);
const PAD: Measure = Measure::of(Unit::Millimetre, Unit::Millimetre, Unit::ThirtySecondInch);
const TORQUE: Measure = Measure::of(Unit::NewtonMetre, Unit::NewtonMetre, Unit::PoundForceFoot);
const PRESSURE: Measure = Measure::of(Unit::Kilopascal, Unit::Bar, Unit::Psi);
const TEMPERATURE: Measure = Measure::of(Unit::Celsius, Unit::Celsius, Unit::Fahrenheit);
const RISE: Measure = Measure { wire: Unit::Celsius, metric: Unit::Celsius, us: Unit::Fahrenheit, is_difference: true };
const MASS: Measure = Measure::of(Unit::Kilogram, Unit::Kilogram, Unit::Pound);
const SPEED: Measure = Measure::of(Unit::KilometrePerHour, Unit::KilometrePerHour, Unit::MilePerHour);
const FORCE: Measure = Measure::of(Unit::Kilonewton, Unit::Kilonewton, Unit::PoundForce);
const DISTANCE: Measure = Measure::of(Unit::Metre, Unit::Metre, Unit::Foot);

/// The form of a worksheet.
pub fn form(name: &str) -> Option<&'static Form> {
    FORMS.iter().find(|form| form.name == name)
}

/// Every form.
pub static FORMS: &[Form] = &[Form {
    name: "tyre-date",
    title: "Tyre age",
    says: "When a tyre was made, and how old it is on the day.",
    caution: "Age says nothing of how a tyre was kept: cracks, bulges and hard rubber end it sooner.",
    blanks: &[
        Blank {
            path: "code",
            label: "Date code",
            help: "The last four figures of the number on the sidewall, or all of it.",
            kind: BlankKind::Text,
            optional: false,
        },
        Blank { path: "on", label: "On the day", help: "The day of the event.", kind: BlankKind::Date, optional: false },
        Blank {
            path: "limit_years",
            label: "Limit in years",
            help: "6 if left empty.",
            kind: BlankKind::Number(None),
            optional: true,
        },
    ],
    outcomes: &[
        Outcome { path: "week", label: "Week", measure: None, decimals: 0 },
        Outcome { path: "year", label: "Year", measure: None, decimals: 0 },
        Outcome { path: "made_from", label: "Made from (Sunday)", measure: None, decimals: 0 },
        Outcome { path: "age_years", label: "Age in years", measure: None, decimals: 2 },
    ],
}];
