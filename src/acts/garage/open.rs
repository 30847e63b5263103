//! Opening a garage from a sheet, and bringing a sheet to a garage: who does it holds both.

use super::books::book;
use super::note::{Noting, id_made_of, note};
use crate::acts::Refusal;
use crate::acts::enter::{self, Caller, Entered};
use crate::acts::hand_out::{self, HandedOut, Use};
use crate::acts::house::House;
use crate::acts::rights::{Actor, Deed, Role, Whose, require};
use crate::acts::submit::check_id;
use crate::rules::garage::change::{Change, Noted};
use crate::store::Touch;
use crate::store::access::{self, Link};
use crate::store::device::NewDevice;
use crate::store::entry::{self, Entry};
use crate::store::{garage, garage_ends};
use jiff::civil::Date;
use sha2::{Digest, Sha256};
use uuid::Uuid;

/// Sessions of a track day and minutes a session where nobody has said: common practice, no source.
pub const SESSIONS: u16 = 6;
pub const SESSION_MIN: f64 = 20.0;

/// The most garages that are ever opened from the sheet of one link.
const MOST_GARAGES: i64 = 2;
const NO_MORE: &str = "Two garages were opened from this sheet already, and there are no more than two. Open the one that you have: \
    by its link, or on a device that is in it; then come back here and bring this sheet to it. If it was not you who opened them, \
    tell the organizer, who can give you a new link and end what was opened with the old one.";

/// A garage just opened: this device is in it, and the link opens it elsewhere. The link is shown once.
pub struct Opened {
    pub garage: Uuid,
    pub entered: Entered,
    pub secret: String,
}

async fn entry_of(house: &House, actor: &Actor, id: Uuid) -> Result<(Entry, String, Date), Refusal> {
    let known = house.event_of_entry(id).await?;
    require(actor, Deed::FillIn, Whose::Entry { event: known.event.id, entry: id })?;
    let mut db = house.store.read().await?;
    let entry = entry::one(&mut db, id).await?.ok_or(Refusal::NotHere)?;
    Ok((entry, known.event.name.clone(), known.event.day))
}

/// Opens a garage under an id that the page made, with the entry's car in it, and lets this device in.
///
/// # Errors
/// [`Refusal::IdTaken`] where the page's garage was opened already; [`Refusal::NotNow`] where this link has opened two.
pub async fn open(house: &House, driver: &Actor, entry: Uuid, id: Uuid, caller: &Caller) -> Result<Opened, Refusal> {
    check_id(id)?;
    let (entry, event, day) = entry_of(house, driver, entry).await?;
    let (HandedOut { link, secret }, digest) =
        hand_out::make(house, Role::Garage { garage: id }, &entry.driver, Use::Often, None)?;
    let seconds = enter::stay(house, Role::Garage { garage: id }).await?;
    // A door of its own: this browser may have used another link here before.
    let caller = Caller { door: None, ..caller.clone() };
    let (device, cookie) = enter::new_device(house, (&link, digest), &caller, seconds)?;
    let now = house.now();
    let first = first_changes((None, house.new_id()), driver.link, &entry, &event, day);
    let (link_made, by) = (link.clone(), (driver.link, driver.device));
    let came_in = house
        .write_as(driver, Touch::Access, move |db| {
            Box::pin(async move {
                garage::add(db, id, now)
                    .await
                    .map_err(|error| if error.is_taken() { Refusal::IdTaken } else { Refusal::from(error) })?;
                if garage_ends::made_by(db, by.0).await? >= MOST_GARAGES {
                    return Err(Refusal::NotNow(NO_MORE.into()));
                }
                access::add_link(db, &link_made, digest, Some(by)).await?;
                for (change_id, change) in first {
                    garage::note(db, id, &Noted { id: change_id, at: now, change }).await?;
                }
                enter::let_in(db, &device, None).await
            })
        })
        .await?;
    Ok(Opened { garage: id, entered: enter::entered(came_in, link, cookie, seconds)?, secret })
}

/// The car, where it is new, its day, and by which link the sheet was brought. A new car has the id that the page made: brought twice, it is one car.
fn first_changes((car, new): (Option<Uuid>, Uuid), link: Uuid, entry: &Entry, event: &str, day: Date) -> Vec<Noting> {
    let id = car.unwrap_or(new);
    let mut changes = Vec::new();
    if car.is_none() {
        changes.push((new, Change::Car { car: id, name: entry.car.clone() }));
    }
    let day = Change::Day {
        // The entry's own id: brought twice, it is the same day.
        track_day: entry.id,
        car: id,
        name: event.to_owned(),
        day,
        sessions: SESSIONS,
        session_min: SESSION_MIN,
        entry: Some(entry.id),
    };
    changes.push((id_made_of(&[new.as_bytes(), b"day"]), day));
    changes.push((id_made_of(&[new.as_bytes(), b"brought"]), Change::Brought { entry: entry.id, link }));
    changes
}

/// Brings an entry to a car of a garage; to a new car, under the id that the page made, where none is named.
pub async fn bring(
    house: &House,
    (driver, keeper): (&Actor, &Actor),
    entry: Uuid,
    new: Uuid,
    car: Option<Uuid>,
) -> Result<(), Refusal> {
    check_id(new)?;
    let (entry, event, day) = entry_of(house, driver, entry).await?;
    let Role::Garage { garage } = keeper.role else { return Err(Refusal::NotHere) };
    require(keeper, Deed::KeepGarage, Whose::Garage(garage))?;
    let there = &book(house, garage).await?.garage;
    // Sent before, the page's new car is there.
    let car = car.or_else(|| there.car(new).map(|car| car.id));
    let is_there = there.day_of_entry(entry.id).is_some_and(|(of, _)| Some(of.id) == car);
    if is_there && there.brought.get(&entry.id) == Some(&driver.link) {
        return Ok(());
    }
    // Two taps meet the same book, and are one; brought on to another car, and back, it is anew each time.
    let anew = |car: Uuid| id_made_of(&[new.as_bytes(), car.as_bytes(), &there.changes.to_le_bytes()]);
    let id = car.map_or(new, anew);
    note(house, keeper, garage, first_changes((car, id), driver.link, &entry, &event, day)).await
}

/// Lets the garage's browser in to a sheet that was brought to it, by the link that brought it: as long as that link is good, who
/// keeps the garage is its driver. The same browser gets the same way in however often it asks, and is out of it once it is out of
/// the garage.
///
/// # Errors
/// [`Refusal::NotNow`] where the sheet was not brought here, or its link has ended or was taken back.
pub async fn to_sheet(house: &House, keeper: &Actor, entry: Uuid, caller: &Caller) -> Result<Entered, Refusal> {
    let Role::Garage { garage } = keeper.role else { return Err(Refusal::NotHere) };
    require(keeper, Deed::KeepGarage, Whose::Garage(garage))?;
    let by = book(house, garage).await?.garage.brought.get(&entry).copied();
    let found = match by {
        Some(link) => access::link(&mut *house.store.read().await?, link).await?,
        None => None,
    };
    let is_good = |link: &Link| link.entry == Some(entry) && link.lets_in(house.now());
    let ended = "The link of this sheet has ended or was made anew: open the one that the club sent you.";
    let link = found.filter(is_good).ok_or_else(|| Refusal::NotNow(ended.into()))?;
    let role = Role::of_link(&link).ok_or(Refusal::NotHere)?;
    let seconds = enter::stay(house, role).await?;
    let by = (&link, Sha256::digest(link.id.as_bytes()).into());
    let (device, cookie) = enter::next_device(house, by, caller, seconds).await?;
    let device = NewDevice { through: Some(keeper.device), ..device };
    let came_in =
        house.write_as(keeper, Touch::Nothing, move |db| Box::pin(async move { enter::let_in(db, &device, None).await })).await?;
    enter::entered(came_in, link, cookie, seconds)
}
