//! What a car's log can hold: kinds of readings with their places, units and possible figures; fluids; gear.

use crate::rules::units::Unit;
use crate::rules::words::Per;
use serde::{Deserialize, Serialize};

/// A kind of reading that is taken over time.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ReadingKind {
    Pad,
    Tread,
    Disc,
    WheelTorque,
    LeakDown,
    Compression,
    PressureCold,
    PressureHot,
    FluidBoil,
    Toe,
    Camber,
    CornerWeight,
}

/// What uses a thing up.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum WornBy {
    /// Minutes on track.
    Track,
    /// Days, driven or not.
    Days,
}

impl ReadingKind {
    /// All kinds, those that wear first.
    pub const ALL: [ReadingKind; 12] = [
        ReadingKind::Pad,
        ReadingKind::Tread,
        ReadingKind::Disc,
        ReadingKind::FluidBoil,
        ReadingKind::LeakDown,
        ReadingKind::Compression,
        ReadingKind::WheelTorque,
        ReadingKind::PressureCold,
        ReadingKind::PressureHot,
        ReadingKind::Toe,
        ReadingKind::Camber,
        ReadingKind::CornerWeight,
    ];

    /// The word in a file, a form or an address.
    pub fn token(self) -> &'static str {
        self.row().0
    }

    /// The name on a page.
    pub fn name(self) -> &'static str {
        self.row().1
    }

    /// The unit the log compares in; the driver may type in its siblings.
    pub fn unit(self) -> Unit {
        self.row().2
    }

    /// Where it is read.
    pub fn per(self) -> Per {
        self.row().3
    }

    /// What the figure can be at all, in [`ReadingKind::unit`]: outside it is a slip of the pen.
    pub fn possible(self) -> (f64, f64) {
        self.row().4
    }

    #[rustfmt::skip]
    fn row(self) -> (&'static str, &'static str, Unit, Per, (f64, f64)) {
        match self {
            ReadingKind::Pad =>          ("pad", "Brake pad", Unit::Millimetre, Per::Corner, (0.0, 25.0)),
            ReadingKind::Tread =>        ("tread", "Tyre tread", Unit::Millimetre, Per::Corner, (0.0, 15.0)),
            ReadingKind::Disc =>         ("disc", "Brake disc", Unit::Millimetre, Per::Corner, (2.0, 50.0)),
            ReadingKind::FluidBoil =>    ("fluid-boil", "Brake fluid boiling point", Unit::Celsius, Per::Car, (80.0, 400.0)),
            ReadingKind::LeakDown =>     ("leak-down", "Leak-down", Unit::Percent, Per::Cylinder, (0.0, 100.0)),
            ReadingKind::Compression =>  ("compression", "Compression", Unit::Kilopascal, Per::Cylinder, (0.0, 4000.0)),
            ReadingKind::WheelTorque =>  ("wheel-torque", "Wheel torque", Unit::NewtonMetre, Per::Corner, (0.0, 1000.0)),
            ReadingKind::PressureCold => ("pressure-cold", "Tyre pressure, cold", Unit::Kilopascal, Per::Corner, (50.0, 500.0)),
            ReadingKind::PressureHot =>  ("pressure-hot", "Tyre pressure, hot", Unit::Kilopascal, Per::Corner, (50.0, 600.0)),
            ReadingKind::Toe =>          ("toe", "Toe", Unit::Degree, Per::Axle, (-5.0, 5.0)),
            ReadingKind::Camber =>       ("camber", "Camber", Unit::Degree, Per::Corner, (-10.0, 10.0)),
            ReadingKind::CornerWeight => ("corner-weight", "Corner weight", Unit::Kilogram, Per::Corner, (20.0, 2000.0)),
        }
    }

    /// What uses it up, and the limit it is held against where the sheet has none, in [`ReadingKind::unit`].
    ///
    /// Source: pads 3 mm, common practice, no source; tread 1.6 mm, 49 CFR 570.9 has 2/32 in, Council Directive 89/459/EEC 1.6 mm
    /// (both from memory); brake fluid 180 °C, the default of the worksheet `brake-fluid`. A disc has the figure cast into it.
    pub fn wears(self) -> Option<(WornBy, Option<f64>)> {
        match self {
            ReadingKind::Pad => Some((WornBy::Track, Some(3.0))),
            ReadingKind::Tread => Some((WornBy::Track, Some(1.6))),
            ReadingKind::Disc => Some((WornBy::Track, None)),
            ReadingKind::FluidBoil => Some((WornBy::Days, Some(180.0))),
            _ => None,
        }
    }

    /// Items of a tech sheet whose readings are of this kind.
    pub fn items(self) -> &'static [&'static str] {
        match self {
            ReadingKind::Pad => &["pad-front", "pad-rear"],
            ReadingKind::Tread => &["tread-depth"],
            ReadingKind::Disc => &["disc-front"],
            ReadingKind::WheelTorque => &["lug-torque"],
            _ => &[],
        }
    }

    /// How it is read, in one line.
    pub fn check(self) -> &'static str {
        match self {
            ReadingKind::Pad => "Friction material only, the thinner pad of each wheel, at its thin end. Brakes cold.",
            ReadingKind::Tread => "Depth gauge in the main grooves, where it is lowest.",
            ReadingKind::Disc => "Micrometer in the worn track, not at the rusty lip. Brakes cold.",
            ReadingKind::FluidBoil => {
                "With a boiling-point tester, from the tank. Brake fluid eats paint and stings: gloves, and a rag."
            }
            ReadingKind::LeakDown => {
                "Warm engine, the cylinder at top dead centre, in gear or held: the crank can turn when air goes in."
            }
            ReadingKind::Compression => "Warm engine, throttle wide open, ignition and fuel off, the same number of turns each.",
            ReadingKind::WheelTorque => "On the ground, wheels cold. The car maker's torque decides.",
            ReadingKind::PressureCold => "Before driving, in the shade, all four with one gauge.",
            ReadingKind::PressureHot => "Straight after a session, before they cool. Discs and exhaust are hot.",
            ReadingKind::Toe => "In degrees, the whole axle; toe-in above nought, toe-out below.",
            ReadingKind::Camber => "In degrees, leaning in at the top below nought.",
            ReadingKind::CornerWeight => "Level scales, driver's weight in the seat, tank as you start a session.",
        }
    }

    /// Reads the word of a file or a form.
    ///
    /// # Example: every kind is read back
    /// ```
    /// use witnessmark::rules::garage::kinds::ReadingKind;
    /// assert!(ReadingKind::ALL.into_iter().all(|kind| ReadingKind::parse(kind.token()) == Some(kind)));
    /// ```
    pub fn parse(token: &str) -> Option<ReadingKind> {
        ReadingKind::ALL.into_iter().find(|kind| kind.token() == token)
    }
}

/// What is filled in and ages.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Fluid {
    BrakeFluid,
    EngineOil,
    Coolant,
    GearOil,
}

impl Fluid {
    pub const ALL: [Fluid; 4] = [Fluid::BrakeFluid, Fluid::EngineOil, Fluid::Coolant, Fluid::GearOil];

    /// The word in a file or a form.
    pub fn token(self) -> &'static str {
        match self {
            Fluid::BrakeFluid => "brake-fluid",
            Fluid::EngineOil => "engine-oil",
            Fluid::Coolant => "coolant",
            Fluid::GearOil => "gear-oil",
        }
    }

    /// The name on a page.
    pub fn name(self) -> &'static str {
        match self {
            Fluid::BrakeFluid => "Brake fluid",
            Fluid::EngineOil => "Engine oil and filter",
            Fluid::Coolant => "Coolant",
            Fluid::GearOil => "Gearbox and final drive oil",
        }
    }

    /// Reads the word of a file or a form.
    pub fn parse(token: &str) -> Option<Fluid> {
        Fluid::ALL.into_iter().find(|fluid| fluid.token() == token)
    }
}

/// What a driver wears or is held by.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum GearKind {
    Helmet,
    Harness,
    HeadRestraint,
    Suit,
    Other,
}

impl GearKind {
    pub const ALL: [GearKind; 5] =
        [GearKind::Helmet, GearKind::Harness, GearKind::HeadRestraint, GearKind::Suit, GearKind::Other];

    /// The word in a file or a form, and what a sheet's table of labels calls it.
    pub fn token(self) -> &'static str {
        match self {
            GearKind::Helmet => "helmet",
            GearKind::Harness => "harness",
            GearKind::HeadRestraint => "head-restraint",
            GearKind::Suit => "suit",
            GearKind::Other => "other",
        }
    }

    /// The name on a page.
    pub fn name(self) -> &'static str {
        match self {
            GearKind::Helmet => "Helmet",
            GearKind::Harness => "Harness",
            GearKind::HeadRestraint => "Head restraint",
            GearKind::Suit => "Suit",
            GearKind::Other => "Other gear",
        }
    }

    /// Reads the word of a file or a form.
    pub fn parse(token: &str) -> Option<GearKind> {
        GearKind::ALL.into_iter().find(|kind| kind.token() == token)
    }
}

/// What is fixed about a car: the name of a sheet's item that asks for it, how it is asked, and an example.
#[derive(Clone, Copy, Debug)]
pub struct Fixed {
    pub item: &'static str,
    pub say: &'static str,
    pub help: &'static str,
    pub asks: Asks,
}

/// What kind of figure or word it is.
#[derive(Clone, Copy, Debug)]
pub enum Asks {
    Text,
    /// In this unit, within these figures.
    Number(Unit, (f64, f64)),
    Choice(&'static [(&'static str, &'static str)]),
    /// The date code of each tyre.
    TyreCodes,
}

/// What is asked once of a car and offered to every form whose sheet has an item of the name. What no sheet asks for (mass,
/// grades of oil) is kept for the worksheets and the driver.
pub const FIXED: [Fixed; 12] = [
    Fixed {
        item: "roof",
        say: "Roof",
        help: "A soft top or lift-off top counts as open.",
        asks: Asks::Choice(&[("closed", "Fixed roof"), ("open", "Open")]),
    },
    Fixed {
        item: "brake-kind",
        say: "Kind of brakes",
        help: "",
        asks: Asks::Choice(&[
            ("discs", "Discs front and rear"),
            ("rear-drums", "Discs in front, drums at the rear"),
            ("drums", "Drums front and rear"),
        ]),
    },
    Fixed {
        item: "restraint",
        say: "Belts",
        help: "What holds you on track.",
        asks: Asks::Choice(&[
            ("road", "The car's own three-point belt"),
            ("harness", "Harness of five or six straps"),
            ("harness-head", "The same, with a head restraint"),
            ("four-strap", "Harness of four straps"),
        ]),
    },
    Fixed {
        item: "torque-asked",
        say: "Wheel torque asked",
        help: "From the car maker's handbook.",
        asks: Asks::Number(Unit::NewtonMetre, (45.0, 800.0)),
    },
    Fixed { item: "wheel-thread", say: "Wheel studs or bolts", help: "Such as M12x1.5.", asks: Asks::Text },
    Fixed { item: "tyre-marking", say: "Tyre marking", help: "Such as 225/45 R17 91W. Front, then rear.", asks: Asks::Text },
    Fixed { item: "tyre-date", say: "Tyre date codes", help: "The last four figures after DOT.", asks: Asks::TyreCodes },
    Fixed {
        item: "disc-minimum",
        say: "Least thickness of the front discs",
        help: "Cast into the disc, often after MIN TH.",
        asks: Asks::Number(Unit::Millimetre, (3.0, 45.0)),
    },
    Fixed {
        item: "fluid-grade",
        say: "Brake fluid",
        help: "",
        asks: Asks::Choice(&[
            ("dot4", "DOT 4"),
            ("dot51", "DOT 5.1"),
            ("racing", "Racing fluid that mixes with DOT 4"),
            ("dot3", "DOT 3"),
            ("dot5", "DOT 5, silicone"),
        ]),
    },
    Fixed { item: "oil-grade", say: "Engine oil", help: "Grade, and how much with the filter.", asks: Asks::Text },
    Fixed { item: "coolant-kind", say: "Coolant", help: "Kind and mix.", asks: Asks::Text },
    Fixed {
        item: "mass",
        say: "Mass with driver",
        help: "For brake heat and tyre load.",
        asks: Asks::Number(Unit::Kilogram, (200.0, 4000.0)),
    },
];

/// The unit in which a fixed figure is asked; none for a word, a choice or what is not asked at all.
///
/// # A torque is asked in newton metres
/// ```
/// use witnessmark::rules::{garage::kinds::unit_asked, units::Unit};
/// assert_eq!(unit_asked("torque-asked"), Some(Unit::NewtonMetre));
/// assert_eq!(unit_asked("roof"), None);
/// ```
pub fn unit_asked(item: &str) -> Option<Unit> {
    FIXED.iter().find(|fixed| fixed.item == item).and_then(|fixed| match fixed.asks {
        Asks::Number(unit, _) => Some(unit),
        _ => None,
    })
}
