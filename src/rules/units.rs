//! Units: what a reading is given in, what it is kept in, and how it is written for a reader.
//!
//! Every figure in the program carries its unit. A reading is kept exactly as its maker gave it (number and unit);
//! comparing happens in the quantity's base unit, writing in the unit the reader chose.
//!
//! Source of the factors: NIST Special Publication 811 (2008), appendix B: 1 in = 25.4 mm and 1 lb = 0.453 592 37 kg
//! (exact), 1 lbf = 4.448 221 615 260 5 N (exact by definition), 1 bar = 100 kPa, 1 mile = 1.609 344 km (exact).

use std::fmt;

/// What kind of thing is measured. Two units can be compared only within one quantity.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Quantity {
    Length,
    Torque,
    Pressure,
    Temperature,
    Mass,
    Speed,
    Sound,
    Angle,
    Share,
    Count,
    Distance,
    Force,
}

/// A unit a reading may be given in.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Unit {
    Millimetre,
    /// Thirty-seconds of an inch, the scale of a US tread or pad gauge.
    ThirtySecondInch,
    NewtonMetre,
    PoundForceFoot,
    Kilopascal,
    Bar,
    Psi,
    Celsius,
    Fahrenheit,
    Kilogram,
    Pound,
    KilometrePerHour,
    MilePerHour,
    DecibelA,
    Degree,
    Percent,
    Turns,
    /// Inches, for lengths that nobody counts in thirty-seconds.
    Inch,
    Metre,
    Foot,
    Kilonewton,
    PoundForce,
}

const LBF_IN_KN: f64 = 4.448_221_615_260_5e-3;
const LBF_FT_IN_NM: f64 = LBF_IN_KN * 1000.0 * 0.3048;
const PSI_IN_KPA: f64 = 6.894_757_293_168_36;

impl Unit {
    /// Every unit, in the order in which a choice of units lists them.
    pub const ALL: [Unit; 22] = [
        Unit::Millimetre,
        Unit::ThirtySecondInch,
        Unit::NewtonMetre,
        Unit::PoundForceFoot,
        Unit::Kilopascal,
        Unit::Bar,
        Unit::Psi,
        Unit::Celsius,
        Unit::Fahrenheit,
        Unit::Kilogram,
        Unit::Pound,
        Unit::KilometrePerHour,
        Unit::MilePerHour,
        Unit::DecibelA,
        Unit::Degree,
        Unit::Percent,
        Unit::Turns,
        Unit::Inch,
        Unit::Metre,
        Unit::Foot,
        Unit::Kilonewton,
        Unit::PoundForce,
    ];

    /// The quantity the unit measures.
    pub fn quantity(self) -> Quantity {
        match self {
            Unit::Millimetre | Unit::ThirtySecondInch | Unit::Inch => Quantity::Length,
            Unit::NewtonMetre | Unit::PoundForceFoot => Quantity::Torque,
            Unit::Kilopascal | Unit::Bar | Unit::Psi => Quantity::Pressure,
            Unit::Celsius | Unit::Fahrenheit => Quantity::Temperature,
            Unit::Kilogram | Unit::Pound => Quantity::Mass,
            Unit::KilometrePerHour | Unit::MilePerHour => Quantity::Speed,
            Unit::DecibelA => Quantity::Sound,
            Unit::Degree => Quantity::Angle,
            Unit::Percent => Quantity::Share,
            Unit::Turns => Quantity::Count,
            Unit::Metre | Unit::Foot => Quantity::Distance,
            Unit::Kilonewton | Unit::PoundForce => Quantity::Force,
        }
    }

    /// The unit as it stands on a wire: in a sheet file, an answers file, a form.
    pub fn token(self) -> &'static str {
        match self {
            Unit::Millimetre => "mm",
            Unit::ThirtySecondInch => "1/32 in",
            Unit::NewtonMetre => "N.m",
            Unit::PoundForceFoot => "lbf.ft",
            Unit::Kilopascal => "kPa",
            Unit::Bar => "bar",
            Unit::Psi => "psi",
            Unit::Celsius => "C",
            Unit::Fahrenheit => "F",
            Unit::Kilogram => "kg",
            Unit::Pound => "lb",
            Unit::KilometrePerHour => "km/h",
            Unit::MilePerHour => "mph",
            Unit::DecibelA => "dB(A)",
            Unit::Degree => "deg",
            Unit::Percent => "%",
            Unit::Turns => "turns",
            Unit::Inch => "in",
            Unit::Metre => "m",
            Unit::Foot => "ft",
            Unit::Kilonewton => "kN",
            Unit::PoundForce => "lbf",
        }
    }

    /// The unit as a person reads it.
    pub fn symbol(self) -> &'static str {
        match self {
            Unit::NewtonMetre => "N·m",
            Unit::PoundForceFoot => "lbf·ft",
            Unit::Celsius => "°C",
            Unit::Fahrenheit => "°F",
            Unit::Degree => "°",
            other => other.token(),
        }
    }

    /// Reads a unit by its token or symbol.
    ///
    /// # Example: what a driver's form and a sheet file may both say
    /// ```
    /// use witnessmark::rules::units::Unit;
    /// assert_eq!(Unit::parse("N·m"), Some(Unit::NewtonMetre));
    /// assert_eq!(Unit::parse("lbf.ft"), Some(Unit::PoundForceFoot));
    /// assert_eq!(Unit::parse("furlong"), None);
    /// ```
    pub fn parse(text: &str) -> Option<Unit> {
        Unit::ALL.into_iter().find(|unit| unit.token() == text || unit.symbol() == text)
    }

    /// The units of the same quantity, the quantity's base unit first.
    pub fn siblings(self) -> Vec<Unit> {
        Unit::ALL.into_iter().filter(|unit| unit.quantity() == self.quantity()).collect()
    }

    /// The units in which a thing of at most `most` of this unit is given: short lengths in mm or thirty-seconds of an
    /// inch, long ones in mm or inches.
    pub fn choices(self, most: f64) -> Vec<Unit> {
        let not_used = if self.is_long(most) { Unit::ThirtySecondInch } else { Unit::Inch };
        self.siblings().into_iter().filter(|unit| *unit != not_used).collect()
    }

    fn is_long(self, most: f64) -> bool {
        self.quantity() == Quantity::Length && self.convert(most, Unit::Millimetre) > 40.0
    }

    /// This value in the quantity's base unit (mm, N·m, kPa, °C, kg, km/h).
    fn base_of(self, value: f64) -> f64 {
        match self {
            Unit::ThirtySecondInch => value * 25.4 / 32.0,
            Unit::Inch => value * 25.4,
            Unit::Foot => value * 0.3048,
            Unit::PoundForce => value * LBF_IN_KN,
            Unit::PoundForceFoot => value * LBF_FT_IN_NM,
            Unit::Bar => value * 100.0,
            Unit::Psi => value * PSI_IN_KPA,
            Unit::Fahrenheit => (value - 32.0) / 1.8,
            Unit::Pound => value * 0.453_592_37,
            Unit::MilePerHour => value * 1.609_344,
            _ => value,
        }
    }

    fn of_base(self, base: f64) -> f64 {
        match self {
            Unit::ThirtySecondInch => base * 32.0 / 25.4,
            Unit::Inch => base / 25.4,
            Unit::Foot => base / 0.3048,
            Unit::PoundForce => base / LBF_IN_KN,
            Unit::PoundForceFoot => base / LBF_FT_IN_NM,
            Unit::Bar => base / 100.0,
            Unit::Psi => base / PSI_IN_KPA,
            Unit::Fahrenheit => base * 1.8 + 32.0,
            Unit::Pound => base / 0.453_592_37,
            Unit::MilePerHour => base / 1.609_344,
            _ => base,
        }
    }

    /// Converts a value of this unit into another of the same quantity; the same unit gives the same bits back.
    ///
    /// # Example: 80 lbf·ft is 108.5 N·m (NIST SP 811)
    /// ```
    /// use witnessmark::rules::units::Unit;
    /// let nm = Unit::PoundForceFoot.convert(80.0, Unit::NewtonMetre);
    /// assert!((nm - 108.465).abs() < 1e-3);
    /// ```
    pub fn convert(self, value: f64, other: Unit) -> f64 {
        debug_assert_eq!(self.quantity(), other.quantity(), "a length is not a torque");
        if self == other { value } else { other.of_base(self.base_of(value)) }
    }

    /// Decimals that the trade writes for this unit.
    fn decimals(self) -> usize {
        match self {
            Unit::Millimetre | Unit::Psi | Unit::DecibelA | Unit::Degree | Unit::Turns | Unit::ThirtySecondInch => 1,
            Unit::Bar | Unit::Inch => 2,
            Unit::Kilonewton => 1,
            Unit::Metre | Unit::Foot => 1,
            _ => 0,
        }
    }

    /// The figure alone, with as many decimals as the trade writes and up to two more where they say something.
    ///
    /// A reading just short of its limit must not be rounded onto it: 2.96 mm is written 2.96, not 3.0.
    pub fn figure(self, value: f64) -> String {
        let least = self.decimals();
        for decimals in least..least + 2 {
            let scale = 10f64.powi(decimals as i32);
            if ((value * scale).round() / scale - value).abs() < 0.004 / scale.max(1.0) {
                let whole = (value * scale).round();
                if whole.abs() < 1e15 {
                    // Whole numbers are written much faster than decimal ones, and these decimals are exact.
                    let (sign, whole, scale) = (if whole < 0.0 { "-" } else { "" }, whole.abs() as u64, scale as u64);
                    return match decimals {
                        0 => format!("{sign}{whole}"),
                        _ => format!("{sign}{}.{:0decimals$}", whole / scale, whole % scale),
                    };
                }
                return format!("{value:.decimals$}");
            }
        }
        format!("{value:.*}", least + 2)
    }

    /// Figure and unit, as a sentence wants them.
    ///
    /// # Example: a pad, and one that only just falls short
    /// ```
    /// use witnessmark::rules::units::Unit;
    /// assert_eq!(Unit::Millimetre.say(3.0), "3.0 mm");
    /// assert_eq!(Unit::Millimetre.say(2.96), "2.96 mm");
    /// ```
    pub fn say(self, value: f64) -> String {
        match self {
            Unit::ThirtySecondInch => format!("{}/32 in", self.figure(value)),
            Unit::Degree => format!("{}\u{b0}", self.figure(value)),
            _ => format!("{} {}", self.figure(value), self.symbol()),
        }
    }
}

impl fmt::Display for Unit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.symbol())
    }
}

/// The units a reader chose, one for each quantity that has a choice.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Units {
    pub length: Unit,
    pub torque: Unit,
    pub pressure: Unit,
    pub temperature: Unit,
    pub mass: Unit,
    pub speed: Unit,
}

impl Units {
    pub const METRIC: Units = Units {
        length: Unit::Millimetre,
        torque: Unit::NewtonMetre,
        pressure: Unit::Bar,
        temperature: Unit::Celsius,
        mass: Unit::Kilogram,
        speed: Unit::KilometrePerHour,
    };
    pub const US: Units = Units {
        length: Unit::ThirtySecondInch,
        torque: Unit::PoundForceFoot,
        pressure: Unit::Psi,
        temperature: Unit::Fahrenheit,
        mass: Unit::Pound,
        speed: Unit::MilePerHour,
    };

    /// The reader's unit for a thing of at most `most` of the unit `given`; that unit where there is no choice.
    ///
    /// # Example: a pad is read in thirty-seconds of an inch, a car's number in inches
    /// ```
    /// use witnessmark::rules::units::{Unit, Units};
    /// assert_eq!(Units::US.for_unit(Unit::Millimetre, 25.0), Unit::ThirtySecondInch);
    /// assert_eq!(Units::US.for_unit(Unit::Millimetre, 500.0), Unit::Inch);
    /// ```
    pub fn for_unit(&self, given: Unit, most: f64) -> Unit {
        match given.quantity() {
            Quantity::Length if self.length != Unit::Millimetre && given.is_long(most) => Unit::Inch,
            Quantity::Length => self.length,
            Quantity::Torque => self.torque,
            Quantity::Pressure => self.pressure,
            Quantity::Temperature => self.temperature,
            Quantity::Mass => self.mass,
            Quantity::Speed => self.speed,
            _ => given,
        }
    }

    /// Takes one choice over; a unit without a choice changes nothing.
    pub fn choose(&mut self, unit: Unit) {
        match unit.quantity() {
            Quantity::Length if unit != Unit::Inch => self.length = unit,
            Quantity::Torque => self.torque = unit,
            Quantity::Pressure => self.pressure = unit,
            Quantity::Temperature => self.temperature = unit,
            Quantity::Mass => self.mass = unit,
            Quantity::Speed => self.speed = unit,
            _ => {}
        }
    }

    /// The choices as one short text (a cookie keeps it), and back: unknown parts change nothing.
    pub fn tokens(&self) -> String {
        [self.length, self.torque, self.pressure, self.temperature, self.mass, self.speed]
            .map(|unit| unit.token().replace(' ', "_"))
            .join("|")
    }

    /// Reads what [`Units::tokens`] wrote; anything it does not know leaves the metric choice.
    pub fn from_tokens(text: &str) -> Units {
        let mut units = Units::METRIC;
        for part in text.split('|').take(8) {
            if let Some(unit) = Unit::parse(&part.replace('_', " ")) {
                units.choose(unit);
            }
        }
        units
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn a_reading_converted_there_and_back_is_the_same_reading(value in -1e6f64..1e6, a in 0usize..22, b in 0usize..3) {
            let a = Unit::ALL[a];
            let b = a.siblings()[b % a.siblings().len()];
            let back = b.convert(a.convert(value, b), a);
            prop_assert!((back - value).abs() <= 1e-9 * value.abs().max(100.0), "{value} {a} came back as {back}");
        }
    }

    #[test]
    fn a_reading_short_of_its_limit_is_never_written_as_the_limit() {
        assert_eq!(Unit::Millimetre.say(2.99), "2.99 mm");
        assert_eq!(Unit::NewtonMetre.say(98.6), "98.6 N·m");
        assert_eq!(Unit::Bar.say(2.2), "2.20 bar");
        assert_eq!(Unit::ThirtySecondInch.say(3.0), "3.0/32 in");
    }

    #[test]
    fn a_readers_choice_survives_the_cookie() {
        let mut units = Units::US;
        units.choose(Unit::Bar);
        assert_eq!(Units::from_tokens(&units.tokens()), units);
        assert_eq!(Units::from_tokens("nonsense|\u{1F697}"), Units::METRIC);
    }
}
