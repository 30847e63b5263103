//! Who may do what: one table, asked by every act before anything else.

use super::Refusal;
use crate::store::access::{Device, Link};
use crate::store::history::Maker;
use uuid::Uuid;

/// What a person is here for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Role {
    Organizer,
    Inspector { event: Uuid },
    Driver { event: Uuid, entry: Uuid },
}

impl Role {
    /// The word in a record and on a page.
    pub fn word(self) -> &'static str {
        match self {
            Role::Organizer => "organizer",
            Role::Inspector { .. } => "inspector",
            Role::Driver { .. } => "driver",
        }
    }

    /// The role a link gives; `None` for a link that makes no sense, which lets nobody in.
    pub fn of_link(link: &Link) -> Option<Role> {
        match (link.role.as_str(), link.event, link.entry) {
            ("organizer", None, None) => Some(Role::Organizer),
            ("inspector", Some(event), None) => Some(Role::Inspector { event }),
            ("driver", Some(event), Some(entry)) => Some(Role::Driver { event, entry }),
            _ => None,
        }
    }
}

/// A person on a device, let in by a link.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Actor {
    pub role: Role,
    pub name: String,
    pub link: Uuid,
    pub device: Uuid,
}

impl Actor {
    /// The person behind a device.
    pub fn on(device: &Device) -> Option<Actor> {
        let role = Role::of_link(&device.link)?;
        Some(Actor { role, name: device.link.holder.clone(), link: device.link.id, device: device.id })
    }

    /// The person as a record names them.
    pub fn maker(&self) -> Maker {
        Maker { name: self.name.clone(), role: self.role.word().to_owned(), link: self.link, device: self.device }
    }
}

/// What can be done.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Deed {
    /// Answer the sheet, attach photos, send it.
    FillIn,
    /// See the lane and any entry of the event; clear or hold.
    WorkTheGate,
    /// See one entry with its history and photos.
    SeeEntry,
    /// Roster, links, board, withdrawal, cleared list, sheet edition of an event.
    RunTheEvent,
    /// Make events and sheet editions.
    RunTheClub,
}

/// Whose thing it is done to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Whose {
    Club,
    Event(Uuid),
    Entry { event: Uuid, entry: Uuid },
}

/// The table.
pub fn may(role: Role, deed: Deed, whose: Whose) -> bool {
    let event_of = |whose| match whose {
        Whose::Club => None,
        Whose::Event(event) | Whose::Entry { event, .. } => Some(event),
    };
    match (role, deed) {
        (Role::Organizer, Deed::RunTheClub | Deed::RunTheEvent | Deed::SeeEntry) => true,
        (Role::Organizer, Deed::FillIn | Deed::WorkTheGate) => false,
        (Role::Inspector { event }, Deed::WorkTheGate | Deed::SeeEntry) => event_of(whose) == Some(event),
        (Role::Inspector { .. }, _) => false,
        (Role::Driver { event, entry }, Deed::FillIn | Deed::SeeEntry) => whose == Whose::Entry { event, entry },
        (Role::Driver { .. }, _) => false,
    }
}

/// Lets the deed pass or refuses it as something that is not there.
pub fn require(actor: &Actor, deed: Deed, whose: Whose) -> Result<(), Refusal> {
    if may(actor.role, deed, whose) { Ok(()) } else { Err(Refusal::NotHere) }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn id(n: u128) -> Uuid {
        Uuid::from_u128(n)
    }

    #[test]
    fn a_driver_reaches_their_own_entry_and_nothing_else() {
        let driver = Role::Driver { event: id(1), entry: id(10) };
        assert!(may(driver, Deed::FillIn, Whose::Entry { event: id(1), entry: id(10) }));
        assert!(!may(driver, Deed::FillIn, Whose::Entry { event: id(1), entry: id(11) }), "another driver's entry");
        assert!(!may(driver, Deed::FillIn, Whose::Entry { event: id(2), entry: id(10) }), "the entry under another event");
        assert!(!may(driver, Deed::WorkTheGate, Whose::Event(id(1))), "the gate");
    }

    #[test]
    fn an_inspector_works_the_gate_of_their_event_and_cannot_run_it() {
        let inspector = Role::Inspector { event: id(1) };
        assert!(may(inspector, Deed::WorkTheGate, Whose::Entry { event: id(1), entry: id(10) }));
        assert!(!may(inspector, Deed::WorkTheGate, Whose::Entry { event: id(2), entry: id(10) }), "another event's car");
        assert!(!may(inspector, Deed::RunTheEvent, Whose::Event(id(1))), "taking a clearance back is the organizer's");
        assert!(!may(inspector, Deed::FillIn, Whose::Entry { event: id(1), entry: id(10) }), "answering for the driver");
    }

    #[test]
    fn an_organizer_runs_everything_but_clears_no_car() {
        assert!(may(Role::Organizer, Deed::RunTheClub, Whose::Club));
        assert!(!may(Role::Organizer, Deed::WorkTheGate, Whose::Event(id(1))));
    }
}
