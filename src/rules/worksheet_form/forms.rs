//! The forms of all worksheets, in the register's order.

use super::{Form, body, brakes, engine, gate, gear, tyres, wheels};

/// Every form.
pub static FORMS: [&Form; 18] = [
    &tyres::DATE,
    &tyres::PRESSURE,
    &tyres::SERVICE,
    &brakes::FLUID,
    &brakes::PADS,
    &wheels::FASTENER,
    &engine::LEAK_DOWN,
    &engine::COMPRESSION,
    &engine::NOISE,
    &body::NUMBERS,
    &gear::HELMET_LINE,
    &gear::LIFE,
    &body::VIN,
    &gate::SPOT_CHECK,
    &gate::QUEUE,
    &brakes::HEAT,
    &wheels::CORNERS,
    &wheels::ALIGNMENT,
];

/// The form of a worksheet.
pub fn form(name: &str) -> Option<&'static Form> {
    FORMS.into_iter().find(|form| form.name == name)
}
