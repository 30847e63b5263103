//! What must hold for any history, any answers, any sheet, and for the house itself.

mod answers;
mod chain;
mod editions;
mod fault_guide;
mod garage;
mod garage_csv;
mod garage_offers;
mod garage_sheets;
mod garage_takes;
mod house;
mod notebook;
mod schedule;
mod sheet_files;
mod standing;
mod supply;
