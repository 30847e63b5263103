//! Making an event: name, place, day, time zone, run groups, sheet edition.

use super::Refusal;
use super::house::House;
use super::refusal::field;
use super::rights::{Actor, Deed, Whose, require};
use super::submit::settle;
use crate::rules::answer::Trouble;
use crate::rules::names::{self, NotAName};
use crate::store::event::{self, Event, RunGroup};
use crate::store::history::{self, EventKind, NewEventRecord};
use crate::store::{Touch, club};
use jiff::civil::{Date, Time};
use jiff::tz::TimeZone;
use std::collections::BTreeMap;
use uuid::Uuid;

/// The most run groups of an event.
const MOST_GROUPS: usize = 12;

/// An event as the form has it.
#[derive(Clone, Debug, Default)]
pub struct EventForm {
    pub name: String,
    pub venue: String,
    pub day: String,
    pub zone: String,
    /// One group a line: its name and the time of its first session, "A 08:50".
    pub groups: String,
    pub edition: String,
}

/// Makes an event.
///
/// # Errors
/// [`Refusal::Fields`] names every field that cannot be used.
pub async fn open_event(house: &House, actor: &Actor, form: &EventForm) -> Result<Uuid, Refusal> {
    require(actor, Deed::RunTheClub, Whose::Club)?;
    let mut troubles = Vec::new();
    let name = short_text(&form.name, "name", "Give the event a name", &mut troubles);
    let venue = short_text(&form.venue, "venue", "Say where it is", &mut troubles);
    let day = form.day.trim().parse::<Date>().ok().filter(|day| (2000..=2100).contains(&day.year()));
    if day.is_none() {
        troubles.push(field("day", "Give the day as year-month-day, such as 2026-05-09."));
    }
    let zone = form.zone.trim();
    if TimeZone::get(zone).is_err() {
        troubles.push(field("zone", "Name a time zone by region and city, such as Europe/London or America/New_York."));
    }
    let groups = read_groups(&form.groups).unwrap_or_else(|trouble| {
        troubles.push(trouble);
        Vec::new()
    });
    let edition = {
        let mut db = house.store.read().await?;
        let wanted = Uuid::parse_str(form.edition.trim()).ok();
        club::editions(&mut db).await?.into_iter().find(|edition| Some(edition.id) == wanted)
    };
    if edition.is_none() {
        troubles.push(field("edition", "Choose the sheet edition that this event is judged by."));
    }
    let (Some(day), Some(edition), true) = (day, edition, troubles.is_empty()) else { return Err(Refusal::Fields(troubles)) };
    let (id, made_at) = (house.new_id(), house.now());
    let event = Event { id, name, venue, day, zone: zone.to_owned(), edition: edition.id, made_at, groups };
    let opened = NewEventRecord {
        id: house.new_id(),
        event: id,
        kind: EventKind::Opened,
        body: "{}".into(),
        made_at,
        maker: Some(actor.maker()),
        salt: house.new_secret(),
    };
    house
        .write_as(actor, Touch::Event(id), move |db| {
            Box::pin(async move {
                event::add(db, &event).await?;
                settle(history::append_to_event(db, &opened).await?)
            })
        })
        .await?;
    Ok(id)
}

fn short_text(text: &str, name: &str, wanted: &str, troubles: &mut Vec<Trouble>) -> String {
    names::name(text, 80).unwrap_or_else(|wrong| {
        let words = match wrong {
            NotAName::Length(_) => format!("{wanted}, up to 80 characters."),
            hidden => format!("This {hidden}."),
        };
        troubles.push(field(name, words));
        String::new()
    })
}

fn read_groups(text: &str) -> Result<Vec<RunGroup>, Trouble> {
    let wrong = |message: String| field("groups", message);
    let mut groups: BTreeMap<String, Time> = BTreeMap::new();
    for (nth, line) in text.lines().map(str::trim).enumerate().filter(|(_, line)| !line.is_empty()) {
        let nth = nth + 1;
        let (name, clock) = line.rsplit_once(char::is_whitespace).ok_or_else(|| {
            wrong(format!("Line {nth}: write the group's name and the time of its first session, such as A 08:50."))
        })?;
        let name = names::name(name, 20).map_err(|bad| wrong(format!("Line {nth}: the group's name {bad}.")))?;
        let clock: Time = (clock.len() <= 5)
            .then(|| format!("{clock:0>5}"))
            .and_then(|clock| clock.parse().ok())
            .ok_or_else(|| wrong(format!("Line {nth}: {clock} is no time of day; write 08:50.")))?;
        if groups.insert(name.clone(), clock).is_some() {
            return Err(wrong(format!("Line {nth}: group {name} is there twice.")));
        }
    }
    match groups.len() {
        0 => Err(wrong("Name at least one run group, one a line, such as A 08:50.".into())),
        count if count > MOST_GROUPS => Err(wrong(format!("At most {MOST_GROUPS} run groups; these are {count}."))),
        _ => Ok(groups.into_iter().map(|(name, first_session)| RunGroup { name, first_session }).collect()),
    }
}
