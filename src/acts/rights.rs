//! Who may do what: one table, asked by every act before anything else.

use super::Refusal;
use crate::store::access::Link;
use crate::store::device::Device;
use crate::store::history::Maker;
use uuid::Uuid;

/// What a person is here for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Role {
    Organizer,
    Inspector {
        event: Uuid,
    },
    Marshal {
        event: Uuid,
    },
    Driver {
        event: Uuid,
        entry: Uuid,
    },
    /// A driver in the garage: of no event, and of nobody's but their own.
    Garage {
        garage: Uuid,
    },
}

impl Role {
    /// The word in a record and on a page.
    pub fn word(self) -> &'static str {
        match self {
            Role::Organizer => "organizer",
            Role::Inspector { .. } => "inspector",
            Role::Marshal { .. } => "marshal",
            Role::Driver { .. } => "driver",
            Role::Garage { .. } => "garage",
        }
    }

    /// The event a person is of; an organizer is of all, a garage of none.
    pub fn event(self) -> Option<Uuid> {
        match self {
            Role::Organizer | Role::Garage { .. } => None,
            Role::Inspector { event } | Role::Marshal { event } | Role::Driver { event, .. } => Some(event),
        }
    }

    /// The role a link gives; `None` for a link that makes no sense, which lets nobody in.
    pub fn of_link(link: &Link) -> Option<Role> {
        match (link.role.as_str(), link.event, link.entry, link.garage) {
            ("organizer", None, None, None) => Some(Role::Organizer),
            ("inspector", Some(event), None, None) => Some(Role::Inspector { event }),
            ("marshal", Some(event), None, None) => Some(Role::Marshal { event }),
            ("driver", Some(event), Some(entry), None) => Some(Role::Driver { event, entry }),
            ("garage", None, None, Some(garage)) => Some(Role::Garage { garage }),
            _ => None,
        }
    }
}

/// Whether a person's device is still let in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Admission {
    In,
    /// An organizer of a club that asks for a passkey, who has none: they add one before anything else.
    LacksPasskey,
    /// It was ended, its link was revoked, or its time is over. It may do nothing, except that a hold from it still counts.
    Ended,
}

/// A person on a device that came in by a link.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Actor {
    pub role: Role,
    pub name: String,
    pub link: Uuid,
    pub device: Uuid,
    pub admission: Admission,
}

impl Actor {
    /// The person behind a device.
    pub fn on(device: &Device) -> Option<Actor> {
        let role = Role::of_link(&device.link)?;
        let admission = match (device.is_in, device.lacks_passkey) {
            (false, _) => Admission::Ended,
            (true, true) => Admission::LacksPasskey,
            (true, false) => Admission::In,
        };
        Some(Actor { role, name: device.link.holder.clone(), link: device.link.id, device: device.id, admission })
    }

    /// Who does something with a link, for the notes that stay.
    pub fn by(&self) -> crate::store::deed::By {
        Some((self.link, self.device))
    }

    /// The person as a record names them.
    pub fn maker(&self) -> Maker {
        Maker { name: self.name.clone(), role: self.role.word().to_owned(), link: self.link, device: self.device }
    }
}

/// What can be done.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Deed {
    /// Open a page that is for everybody: the front door, the worksheets, what is kept and why.
    LookIn,
    /// Answer the sheet, attach photos, send it.
    FillIn,
    /// See the lane and any entry of the event; clear or hold.
    WorkTheGate,
    /// Ask whether a car may go out.
    WatchTheGrid,
    /// Roster, links, devices, board, withdrawal, cleared list, sheet edition of an event.
    RunTheEvent,
    /// Take away or erase what is held on a driver.
    AnswerForData,
    /// Make events and sheet editions, see who the organizers are.
    RunTheClub,
    /// One's own page, units and devices.
    KeepOneself,
    /// Make, let in anew or end an organizer; set the passphrase, add or remove a passkey. An open session is not enough for it:
    /// the acts ask for [`Proven`](super::proof::Proven).
    ChangeWhoRuns,
    /// Everything in a garage.
    KeepGarage,
}

impl Deed {
    pub const ALL: [Deed; 10] = [
        Deed::LookIn,
        Deed::FillIn,
        Deed::WorkTheGate,
        Deed::WatchTheGrid,
        Deed::RunTheEvent,
        Deed::AnswerForData,
        Deed::RunTheClub,
        Deed::KeepOneself,
        Deed::ChangeWhoRuns,
        Deed::KeepGarage,
    ];
}

/// Whose thing it is done to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Whose {
    Club,
    Event(Uuid),
    Entry { event: Uuid, entry: Uuid },
    Garage(Uuid),
}

/// How far a right reaches.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Reach {
    Nowhere,
    Everywhere,
    /// The event one was let in for, and every entry of it.
    OwnEvent,
    OwnEntry,
    OwnGarage,
}

#[rustfmt::skip]
/// The table: who may do what, and how far it reaches. A stranger may look in and nothing else.
///
/// An organizer clears no car and answers for no driver: who runs the day and who looked at the car are two names in a record.
/// A garage is its driver's alone: the club sees what the driver sends with a sheet.
pub fn reach(deed: Deed, role: Role) -> Reach {
    use Reach::*;
    //                          organizer    inspector    marshal      driver       garage
    let row = match deed {
        Deed::LookIn =>        [Everywhere,  Everywhere,  Everywhere,  Everywhere,  Everywhere],
        Deed::FillIn =>        [Nowhere,     Nowhere,     Nowhere,     OwnEntry,    Nowhere],
        Deed::WorkTheGate =>   [Nowhere,     OwnEvent,    Nowhere,     Nowhere,     Nowhere],
        Deed::WatchTheGrid =>  [Nowhere,     Nowhere,     OwnEvent,    Nowhere,     Nowhere],
        Deed::RunTheEvent =>   [Everywhere,  Nowhere,     Nowhere,     Nowhere,     Nowhere],
        Deed::AnswerForData => [Everywhere,  Nowhere,     Nowhere,     Nowhere,     Nowhere],
        Deed::RunTheClub =>    [Everywhere,  Nowhere,     Nowhere,     Nowhere,     Nowhere],
        Deed::KeepOneself =>   [Everywhere,  Nowhere,     Nowhere,     Nowhere,     Nowhere],
        Deed::ChangeWhoRuns => [Everywhere,  Nowhere,     Nowhere,     Nowhere,     Nowhere],
        Deed::KeepGarage =>    [Nowhere,     Nowhere,     Nowhere,     Nowhere,     OwnGarage],
    };
    match role {
        Role::Organizer => row[0],
        Role::Inspector { .. } => row[1],
        Role::Marshal { .. } => row[2],
        Role::Driver { .. } => row[3],
        Role::Garage { .. } => row[4],
    }
}

/// Whether a person in this role may do this to that.
pub fn may(role: Role, deed: Deed, whose: Whose) -> bool {
    let event_of = match whose {
        Whose::Club | Whose::Garage(_) => None,
        Whose::Event(event) | Whose::Entry { event, .. } => Some(event),
    };
    match (reach(deed, role), role) {
        (Reach::Nowhere, _) => false,
        (Reach::Everywhere, _) => true,
        (Reach::OwnEvent, role) => event_of.is_some() && event_of == role.event(),
        (Reach::OwnEntry, Role::Driver { event, entry }) => whose == Whose::Entry { event, entry },
        (Reach::OwnEntry, _) => false,
        (Reach::OwnGarage, Role::Garage { garage }) => whose == Whose::Garage(garage),
        (Reach::OwnGarage, _) => false,
    }
}

/// Lets the deed pass or refuses it.
///
/// # Errors
/// [`Refusal::WhoAreYou`] for a device that was ended; [`Refusal::NotHere`] for a deed that the table does not allow;
/// [`Refusal::PasskeyFirst`] for who has to add a passkey before it.
pub fn require(actor: &Actor, deed: Deed, whose: Whose) -> Result<(), Refusal> {
    match actor.admission {
        Admission::In => require_even_ended(actor, deed, whose),
        Admission::LacksPasskey if matches!(deed, Deed::KeepOneself | Deed::ChangeWhoRuns) => {
            require_even_ended(actor, deed, whose)
        }
        Admission::LacksPasskey => Err(Refusal::PasskeyFirst),
        Admission::Ended => Err(Refusal::WhoAreYou),
    }
}

/// As [`require`], for the one deed that an ended device may do. Its transaction decides: it takes a hold and refuses a clear.
///
/// # Errors
/// [`Refusal::NotHere`] for a deed that the table does not allow.
pub fn require_even_ended(actor: &Actor, deed: Deed, whose: Whose) -> Result<(), Refusal> {
    if may(actor.role, deed, whose) { Ok(()) } else { Err(Refusal::NotHere) }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn id(n: u128) -> Uuid {
        Uuid::from_u128(n)
    }

    #[test]
    fn an_ended_device_may_do_nothing_that_is_not_asked_for_it_by_name() {
        let role = Role::Inspector { event: id(1) };
        let ended = Actor { role, name: "R. Holt".into(), link: id(2), device: id(3), admission: Admission::Ended };
        let entry = Whose::Entry { event: id(1), entry: id(10) };
        for deed in Deed::ALL {
            assert!(matches!(require(&ended, deed, entry), Err(Refusal::WhoAreYou)), "{deed:?}");
        }
        let lacks = Actor { role: Role::Organizer, admission: Admission::LacksPasskey, ..ended.clone() };
        for deed in Deed::ALL {
            let is_ok = require(&lacks, deed, Whose::Club).is_ok();
            assert_eq!(is_ok, [Deed::KeepOneself, Deed::ChangeWhoRuns].contains(&deed), "{deed:?} without the passkey");
        }
        assert!(require_even_ended(&ended, Deed::WorkTheGate, entry).is_ok());
        let elsewhere = Whose::Entry { event: id(4), entry: id(10) };
        assert!(matches!(require_even_ended(&ended, Deed::WorkTheGate, elsewhere), Err(Refusal::NotHere)), "another event");
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

    #[test]
    fn a_garage_is_its_driver_s_and_nobody_s_of_the_club() {
        let garage = Role::Garage { garage: id(5) };
        assert!(may(garage, Deed::KeepGarage, Whose::Garage(id(5))));
        assert!(!may(garage, Deed::KeepGarage, Whose::Garage(id(6))), "another driver's garage");
        assert!(!may(garage, Deed::FillIn, Whose::Entry { event: id(1), entry: id(5) }), "an entry of the same id");
        for role in [Role::Organizer, Role::Inspector { event: id(1) }, Role::Driver { event: id(1), entry: id(5) }] {
            assert!(!may(role, Deed::KeepGarage, Whose::Garage(id(5))), "{role:?}");
        }
    }

    #[test]
    fn a_marshal_asks_about_the_cars_of_their_event_and_changes_nothing() {
        let marshal = Role::Marshal { event: id(1) };
        assert!(may(marshal, Deed::WatchTheGrid, Whose::Event(id(1))));
        assert!(!may(marshal, Deed::WatchTheGrid, Whose::Event(id(2))), "another event");
        let changes = Deed::ALL.into_iter().filter(|deed| ![Deed::LookIn, Deed::WatchTheGrid].contains(deed));
        changes.for_each(|deed| assert!(!may(marshal, deed, Whose::Event(id(1))), "{deed:?}"));
    }
}
