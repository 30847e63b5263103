//! What must hold for any history, any answers, any sheet, and for the house itself.

mod answers;
mod chain;
mod fault_guide;
mod garage;
mod house;
mod schedule;
mod standing;
