//! A club on the morning of its event, made through the program's own acts: who is honest, who is not, and their cookies.

use crate::machine::Machine;
use serde_json::{Map, Value as Json};
use std::path::Path;
use std::sync::Arc;
use uuid::Uuid;
use witnessmark::acts::House;
use witnessmark::acts::enter::{Caller, enter};
use witnessmark::acts::hand_out::{Drivers, Use, to_drivers, to_inspector};
use witnessmark::acts::house::Outside;
use witnessmark::acts::open_event::{EventForm, open_event};
use witnessmark::acts::set_up::{CLUB_DAY, set_up_for};
use witnessmark::acts::take_roster::take_roster;
use witnessmark::rules::sheet_file;

/// Honest drivers; one more is hostile.
pub const DRIVERS: usize = 20;
pub const ORGANIZER: &str = "M. Ashdown";

/// A new record's own id.
pub fn new_id() -> Uuid {
    Machine.new_id()
}

/// Somebody with a device that is in.
#[derive(Clone)]
pub struct Person {
    /// The value of the device's cookie.
    pub cookie: String,
    /// The entry of a driver; the event of anybody else.
    pub of: Uuid,
}

pub struct Club {
    pub event: Uuid,
    pub edition: Uuid,
    pub answers: Map<String, Json>,
    pub organizer: Person,
    pub inspectors: Vec<Person>,
    pub drivers: Vec<Person>,
    /// One driver's link in hostile hands.
    pub hostile: Person,
}

impl Club {
    /// Makes the club in a new file; no server has it open yet.
    pub async fn make(file: &Path) -> Club {
        let house = House::open(file, Arc::new(Machine)).await.expect("a database");
        let first = set_up_for(&house, "Seven Fells Motor Club", ORGANIZER, Use::Often).await.expect("a set-up").expect("a link");
        let organizer = enter(&house, &first.secret, Caller::default()).await.expect("the organizer comes in");
        let edition = {
            let mut db = house.store.read().await.expect("a connection");
            witnessmark::store::club::editions(&mut db).await.expect("editions")[0].id
        };
        let form = EventForm {
            name: "Spring day".into(),
            venue: "Dunmere Ring".into(),
            // Today: links and devices end with their event.
            day: house.now().to_string()[..10].to_owned(),
            zone: "UTC".into(),
            groups: "A 08:50\nB 09:20".into(),
            edition: edition.to_string(),
        };
        let event = open_event(&house, &organizer.actor, &form).await.expect("an event");
        let rows: String = (1..=DRIVERS + 1).map(|n| format!("{n},Driver {n},Alder 200 GT,A,\n")).collect();
        let roster = format!("number,name,car,group,mail\n{rows}");
        take_roster(&house, &organizer.actor, event, roster.into_bytes()).await.expect("a roster");
        let sheet = sheet_file::read(CLUB_DAY).expect("the default sheet");
        let answers = witnessmark::demo::sound_answers(&sheet, house.event(event).await.expect("the event").event.day);
        let mut inspectors = Vec::new();
        for name in ["R. Holt", "S. Vane"] {
            let link = to_inspector(&house, &organizer.actor, event, name).await.expect("an inspector's link");
            let entered = enter(&house, &link.secret, Caller::default()).await.expect("the inspector comes in");
            inspectors.push(Person { cookie: entered.cookie, of: event });
        }
        let mut drivers = Vec::new();
        for (entry, link) in to_drivers(&house, &organizer.actor, event, Drivers::WithoutLink).await.expect("links") {
            let entered = enter(&house, &link.secret, Caller::default()).await.expect("a driver comes in");
            drivers.push(Person { cookie: entered.cookie, of: entry.id });
        }
        let hostile = drivers.pop().expect("one driver more");
        house.close().await;
        let organizer = Person { cookie: organizer.cookie, of: event };
        Club { event, edition, answers, organizer, inspectors, drivers, hostile }
    }
}
