//! The systems of a car: where a fault lies, what a job is on, which tools it wants.

use serde::{Deserialize, Serialize};
use std::fmt;

/// A system of the car, or what its driver wears.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum CarSystem {
    Brakes,
    Wheels,
    Steering,
    Engine,
    Cooling,
    Fuel,
    Electrics,
    Drive,
    Exhaust,
    Body,
    Cabin,
    Gear,
}

impl CarSystem {
    /// All of them, in the order in which a list of jobs names them.
    pub const ALL: [CarSystem; 12] = [
        CarSystem::Brakes,
        CarSystem::Wheels,
        CarSystem::Steering,
        CarSystem::Engine,
        CarSystem::Cooling,
        CarSystem::Fuel,
        CarSystem::Electrics,
        CarSystem::Drive,
        CarSystem::Exhaust,
        CarSystem::Body,
        CarSystem::Cabin,
        CarSystem::Gear,
    ];

    /// The word in a file or a form.
    pub fn token(self) -> &'static str {
        match self {
            CarSystem::Brakes => "brakes",
            CarSystem::Wheels => "wheels",
            CarSystem::Steering => "steering",
            CarSystem::Engine => "engine",
            CarSystem::Cooling => "cooling",
            CarSystem::Fuel => "fuel",
            CarSystem::Electrics => "electrics",
            CarSystem::Drive => "drive",
            CarSystem::Exhaust => "exhaust",
            CarSystem::Body => "body",
            CarSystem::Cabin => "cabin",
            CarSystem::Gear => "gear",
        }
    }

    /// The name on a page.
    pub fn name(self) -> &'static str {
        match self {
            CarSystem::Brakes => "Brakes",
            CarSystem::Wheels => "Wheels and tyres",
            CarSystem::Steering => "Steering and suspension",
            CarSystem::Engine => "Engine",
            CarSystem::Cooling => "Cooling",
            CarSystem::Fuel => "Fuel",
            CarSystem::Electrics => "Battery, ignition and lamps",
            CarSystem::Drive => "Clutch, gearbox and drive",
            CarSystem::Exhaust => "Exhaust",
            CarSystem::Body => "Body and numbers",
            CarSystem::Cabin => "Cabin and belts",
            CarSystem::Gear => "Driver's gear",
        }
    }

    /// Reads the word of a file or a form.
    ///
    /// # Example: every system is read back
    /// ```
    /// use witnessmark::rules::car_system::CarSystem;
    /// assert!(CarSystem::ALL.into_iter().all(|system| CarSystem::parse(system.token()) == Some(system)));
    /// assert_eq!(CarSystem::parse("wings"), None);
    /// ```
    pub fn parse(token: &str) -> Option<CarSystem> {
        CarSystem::ALL.into_iter().find(|system| system.token() == token)
    }
}

impl fmt::Display for CarSystem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}
