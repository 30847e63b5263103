//! What a person does, one file a deed: may this person? then the rule, then the record, in one transaction.

pub mod account;
pub mod add_photo;
pub mod board;
pub mod closing;
pub mod enter;
pub mod fill_in;
pub mod garage;
pub mod gate_photo;
pub mod hand_out;
pub mod house;
pub mod let_out;
pub mod meanwhile;
pub mod open_event;
pub mod pass;
pub mod passkey;
pub mod personal;
pub mod phones;
pub mod preview;
pub mod raise_edition;
pub mod refusal;
pub mod rights;
pub mod set_up;
pub mod sign_off;
pub mod state;
pub mod submit;
pub mod take_roster;
pub mod two_devices;
pub mod webauthn;
pub mod whole_gate;
pub mod withdraw;

pub use house::House;
pub use refusal::Refusal;
pub use rights::Actor;
