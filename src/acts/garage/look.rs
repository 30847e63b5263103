//! A garage as its driver looks at it: what was noted, and what the sheets that were brought to it say.

use super::books::{Book, book};
use crate::acts::Refusal;
use crate::acts::fill_in;
use crate::acts::house::{House, KnownEdition, KnownEvent};
use crate::acts::rights::{Actor, Deed, Whose, require};
use crate::acts::state::{self, EntryState};
use crate::rules::answer::Answers;
use crate::rules::garage::book::{Car, Garage, Line, TrackDay};
use crate::rules::garage::change::Taken;
use crate::rules::garage::log::{self, SheetSent, in_order};
use crate::rules::garage::offers::{Earlier, Offer, offers};
use crate::rules::garage::ready::{Before, Ready, SheetNow, ready};
use crate::rules::judge::{Judged, judge};
use crate::rules::sheet::Sheet;
use crate::rules::units::Units;
use crate::store::history::{self, Kind, Record};
use crate::store::{StoreError, access, club, entry};
use jiff::Timestamp;
use jiff::civil::Date;
use jiff::tz::TimeZone;
use std::collections::BTreeMap;
use std::ops::Deref;
use std::sync::Arc;
use uuid::Uuid;

/// The most sheets that are read for a look: the newest.
const MOST_SHEETS: usize = 40;

/// An entry that was brought to the garage, with its sheet.
pub struct Brought {
    pub known: KnownEvent,
    pub state: EntryState,
    /// What is typed now, over what was sent last.
    pub answers: Answers,
    pub judged: Judged,
    /// How many answers cannot be read.
    pub unread: usize,
    /// Holds and withdrawals that stand, in words.
    pub held: Vec<String>,
}

/// A garage that is kept for the next look as well.
pub struct Kept(Arc<Book>);

impl Deref for Kept {
    type Target = Garage;

    fn deref(&self) -> &Garage {
        &self.0.garage
    }
}

/// A garage with everything that its pages show.
pub struct Looked {
    pub id: Uuid,
    pub garage: Kept,
    pub brought: Vec<Brought>,
    /// The club's newest sheet: its limits and its table of labels go for days that are no event of the club.
    pub newest: Arc<KnownEdition>,
    /// Today where the next event is.
    pub today: Date,
    pub zone: TimeZone,
}

/// Reads a garage for its driver.
pub async fn look(house: &House, actor: &Actor, id: Uuid, units: &Units) -> Result<Looked, Refusal> {
    require(actor, Deed::KeepGarage, Whose::Garage(id))?;
    read(house, id, units).await
}

/// Reads a garage for whoever was let to it already.
pub(super) async fn read(house: &House, id: Uuid, units: &Units) -> Result<Looked, Refusal> {
    let newest = {
        let mut db = house.store.read().await?;
        let newest = club::editions(&mut db).await?.first().map(|edition| edition.id).ok_or(Refusal::NotHere)?;
        house.edition(&mut db, newest).await?
    };
    let book = book(house, id).await?;
    let garage = &book.garage;
    let mut entries: Vec<Uuid> = garage.entries().collect();
    entries.sort_unstable_by(|a, b| b.cmp(a));
    let mut brought = Vec::new();
    for entry in entries.into_iter().take(MOST_SHEETS) {
        match bring(house, entry, garage.brought.get(&entry).copied(), units).await {
            Ok(one) => brought.push(one),
            Err(Refusal::NotHere) => {}
            Err(other) => return Err(other),
        }
    }
    let zone = zone_of(house, &brought);
    let today = house.now().to_zoned_datetime(zone.clone()).date();
    Ok(Looked { id, garage: Kept(book), brought, newest, today, zone })
}

/// A garage has no place of its own: it keeps the time of the event that comes next, or was last.
fn zone_of(house: &House, brought: &[Brought]) -> TimeZone {
    let today = house.now().to_zoned_datetime(TimeZone::UTC).date();
    let next =
        brought.iter().map(|one| &one.known.event).min_by_key(|event| (event.day < today, (event.day - today).get_days().abs()));
    next.and_then(|event| TimeZone::get(&event.zone).ok()).unwrap_or(TimeZone::UTC)
}

/// Since when the link by which a sheet was brought is no good; `None` where it is. One that only ended with its time is good:
/// nobody took it back.
async fn taken_back(house: &House, link: Option<Uuid>) -> Result<Option<Timestamp>, Refusal> {
    let Some(id) = link else { return Ok(Some(Timestamp::MIN)) };
    let mut db = house.store.read().await?;
    Ok(access::link(&mut db, id).await?.map_or(Some(Timestamp::MIN), |link| link.revoked_at))
}

/// The sheet as it was when its link was taken back: what had been sent, and nothing that was typed.
async fn as_it_was(house: &House, entry: Uuid, until: Timestamp, units: &Units) -> Result<Brought, Refusal> {
    let known = house.event_of_entry(entry).await?;
    let (entry, past) = {
        let mut db = house.store.read().await?;
        let there = entry::one(&mut db, entry).await?.ok_or(Refusal::NotHere)?;
        (there, history::of_entry_until(&mut db, entry, until).await?)
    };
    let state = state::of_any(&known, entry, past, units).await?;
    let (answers, judged) = state.shown().map(|sent| (sent.answers.clone(), sent.judged.clone())).unwrap_or_default();
    let held = state.standing_bars().into_iter().map(held).collect();
    Ok(Brought { state, answers, judged, unread: 0, held, known })
}

async fn bring(house: &House, entry: Uuid, link: Option<Uuid>, units: &Units) -> Result<Brought, Refusal> {
    if let Some(until) = taken_back(house, link).await? {
        return as_it_was(house, entry, until, units).await;
    }
    let known = house.event_of_entry(entry).await?;
    let state = state::read(house, &known, entry, units).await?;
    let sent =
        state.shown().map(|sent| sent.answers.iter().map(|(item, answer)| (item.to_string(), answer.to_typed())).collect());
    let draft = fill_in::over(fill_in::draft(house, &known, entry).await?, sent.unwrap_or_default());
    let sheet = &known.edition.sheet;
    let (answers, troubles) = fill_in::read_draft(sheet, &draft, fill_in::today(house, &known));
    let judged = judge(sheet, &answers, known.event.day, units);
    let held = state.standing_bars().into_iter().map(held).collect();
    Ok(Brought { state, answers, judged, unread: troubles.len(), held, known })
}

/// A hold or withdrawal as its driver reads it.
fn held(record: &Record) -> String {
    let did = if record.kind == Kind::Withdrawal { "Clearance taken back" } else { "Held at the gate" };
    format!("{did} by {}: {}", record.maker.name, state::reason(record))
}

impl Looked {
    /// A car of the garage.
    pub fn car(&self, id: Uuid) -> Result<&Car, Refusal> {
        self.garage.car(id).ok_or(Refusal::NotHere)
    }

    /// The sheet that was brought for an entry.
    pub fn sheet_of(&self, entry: Uuid) -> Option<&Brought> {
        self.brought.iter().find(|one| one.state.entry.id == entry)
    }

    /// The lines that the car's sheets hold: readings of what was sent.
    pub fn lines_of_sheets(&self, car: &Car) -> Vec<Line> {
        let sheets = car.days.iter().filter_map(|day| self.sheet_of(day.entry?));
        let sent = sheets.flat_map(|one| one.state.in_force.iter().map(move |sent| (one, sent)));
        sent.flat_map(|(one, sent)| {
            let zone = TimeZone::get(&one.known.event.zone).unwrap_or(TimeZone::UTC);
            let at = sent.arrived_at.to_zoned_datetime(zone);
            log::lines_of(&SheetSent {
                submission: sent.id,
                event: &one.known.event.name,
                taken: Taken { day: at.date(), clock: Some(at.time()) },
                arrived_at: sent.arrived_at,
                answers: &sent.answers,
            })
        })
        .collect()
    }

    /// The sheet that goes for a day: the event's, or the club's newest.
    pub fn sheet_for(&self, day: Option<&TrackDay>) -> &Sheet {
        let of_event = day.and_then(|day| self.sheet_of(day.entry?)).map(|one| &one.known.edition.sheet);
        of_event.unwrap_or(&self.newest.sheet)
    }

    /// How a car stands before a day.
    pub fn ready_for<'a>(&'a self, car: &'a Car, day: &'a TrackDay, units: &'a Units) -> Result<Ready<'a>, Refusal> {
        let sheets = self.lines_of_sheets(car);
        let lines = in_order(car, &sheets);
        let sheet = day.entry.and_then(|entry| self.sheet_of(entry)).map(|one| SheetNow {
            sheet: &one.known.edition.sheet,
            judged: &one.judged,
            unread: one.unread,
            is_sent: one.state.shown().is_some(),
            held: &one.held,
        });
        let policy = &self.sheet_for(Some(day)).gear;
        let before = Before { garage: &self.garage, car, lines: &lines, day, today: self.today, policy, sheet, units };
        // What the garage takes can be planned; that it cannot be means that an older program took more.
        Ok(ready(&before).map_err(|error| StoreError::Unreadable(format!("a garage's jobs: {error}")))?)
    }

    /// What is offered to the sheet of an entry, by item; nothing for an entry that was not brought here.
    pub fn offers_to(&self, entry: Uuid) -> BTreeMap<String, Offer> {
        let (Some((car, _)), Some(this)) = (self.garage.day_of_entry(entry), self.sheet_of(entry)) else {
            return BTreeMap::new();
        };
        let others = car.days.iter().filter(|day| day.entry != Some(entry)).filter_map(|day| self.sheet_of(day.entry?));
        let earlier: Vec<Earlier<'_>> = others
            .filter_map(|one| {
                let sent = one.state.in_force.last()?;
                let zone = TimeZone::get(&one.known.event.zone).unwrap_or(TimeZone::UTC);
                let day = sent.arrived_at.to_zoned_datetime(zone).date();
                let sheet = &one.known.edition.sheet;
                Some(Earlier { event: &one.known.event.name, day, sheet, answers: &sent.answers })
            })
            .collect();
        offers(&self.garage, car.id, &earlier, &this.known.edition.sheet, self.today)
    }
}
