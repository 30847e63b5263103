//! The quantities of the forms: the worksheet's unit, and those in which metric and US readers give them.

use super::Measure;
use crate::rules::units::Unit;

/// Lengths that nobody counts in thirty-seconds.
pub const LENGTH: Measure = Measure::of(Unit::Millimetre, Unit::Millimetre, Unit::Inch);
pub const PAD: Measure = Measure::of(Unit::Millimetre, Unit::Millimetre, Unit::ThirtySecondInch);
pub const TORQUE: Measure = Measure::of(Unit::NewtonMetre, Unit::NewtonMetre, Unit::PoundForceFoot);
pub const PRESSURE: Measure = Measure::of(Unit::Kilopascal, Unit::Bar, Unit::Psi);
pub const TEMPERATURE: Measure = Measure::of(Unit::Celsius, Unit::Celsius, Unit::Fahrenheit);
pub const RISE: Measure = Measure { is_difference: true, ..TEMPERATURE };
pub const MASS: Measure = Measure::of(Unit::Kilogram, Unit::Kilogram, Unit::Pound);
pub const SPEED: Measure = Measure::of(Unit::KilometrePerHour, Unit::KilometrePerHour, Unit::MilePerHour);
pub const FORCE: Measure = Measure::of(Unit::Kilonewton, Unit::Kilonewton, Unit::PoundForce);
pub const DISTANCE: Measure = Measure::of(Unit::Metre, Unit::Metre, Unit::Foot);
pub const SOUND: Measure = Measure::same(Unit::DecibelA);
pub const PERCENT: Measure = Measure::same(Unit::Percent);
pub const ANGLE: Measure = Measure::same(Unit::Degree);
