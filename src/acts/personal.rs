//! What is held on a driver: given out whole on request, and erased on request or by the club's own term. A record stays, for
//! a clearance must be answered for years later; the name goes, and the chain still verifies.

use super::Refusal;
use super::house::House;
use super::rights::{Actor, Deed, Whose, require};
use crate::store::entry::{self, Entry};
use crate::store::{Touch, access, device, draft, event, history, personal, photo};
use data_encoding::BASE64;
use jiff::Timestamp;
use jiff::tz::TimeZone;
use jiff::{ToSpan, civil::Date};
use serde_json::{Value as Json, json};
use uuid::Uuid;

/// How long the program keeps drivers' names by itself.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Term {
    /// Until an organizer erases them.
    #[default]
    UntilErased,
    /// So many days after the event.
    Days(u32),
}

async fn of_event(house: &House, event: Uuid, entry: Uuid) -> Result<Entry, Refusal> {
    let mut db = house.store.read().await?;
    entry::one(&mut db, entry).await?.filter(|entry| entry.event == event).ok_or(Refusal::NotHere)
}

/// All that is held on the driver of an entry, as JSON; photos as base64 of JPEG files. Secrets are in it no more than in the
/// database: there are only digests, and they are left out.
pub async fn give_out(house: &House, actor: &Actor, event: Uuid, id: Uuid) -> Result<Json, Refusal> {
    require(actor, Deed::AnswerForData, Whose::Entry { event, entry: id })?;
    let entry = of_event(house, event, id).await?;
    let known = house.event(event).await?;
    let mut db = house.store.read().await?;
    let mut links = Vec::new();
    for link in access::links_of_entry(&mut db, id).await? {
        let devices = device::of_link(&mut db, link.id).await?.into_iter().map(|one| {
            json!({ "id": one.id, "kind": one.kind, "let_in_at": one.made_at.to_string(), "until": one.ends_at.to_string(),
                "last_here_at": one.used_at.map(|at| at.to_string()), "ended_at": one.ended_at.map(|at| at.to_string()) })
        });
        links.push(json!({ "id": link.id, "holder": link.holder, "made_at": link.made_at.to_string(),
            "taken_back_at": link.revoked_at.map(|at| at.to_string()), "devices": devices.collect::<Vec<_>>() }));
    }
    let mut photos = Vec::new();
    for photo in photo::ids(&mut db, id).await? {
        let jpeg = photo::jpeg(&mut db, id, photo).await?.unwrap_or_default();
        photos.push(json!({ "id": photo, "jpeg_base64": BASE64.encode(&jpeg) }));
    }
    let typed = serde_json::to_value(draft::of_entry(&mut db, id).await?).unwrap_or_default();
    let records = history::whole_of_entry(&mut db, id).await?.records.into_iter().map(|record| {
        let body: Json = serde_json::from_str(&record.body).unwrap_or(Json::String(record.body));
        json!({ "id": record.id, "kind": record.kind.word(), "number": record.number, "seen": record.seen, "body": body,
            "made_at": record.made_at.to_string(), "arrived_at": record.arrived_at.to_string(),
            "by": record.maker.name, "as": record.maker.role, "device": record.maker.device })
    });
    let records: Vec<Json> = records.collect();
    Ok(json!({
        "event": { "name": known.event.name, "venue": known.event.venue, "day": known.event.day.to_string() },
        "entry": { "id": entry.id, "number": entry.number.as_str(), "driver": entry.driver, "car": entry.car,
            "group": entry.group, "mail": entry.mail, "made_at": entry.made_at.to_string(),
            "erased_at": entry.erased_at.map(|at| at.to_string()) },
        "links": links,
        "typed_and_not_sent": typed,
        "history": records,
        "photos": photos,
    }))
}

/// Erases what is held on the driver of an entry: name, mail, what was typed and not sent, photos, links and devices. What was
/// sent about the car stays, under the number.
pub async fn erase(house: &House, actor: &Actor, event: Uuid, id: Uuid) -> Result<(), Refusal> {
    require(actor, Deed::AnswerForData, Whose::Entry { event, entry: id })?;
    of_event(house, event, id).await?;
    let (now, by) = (house.now(), actor.by());
    house.write_as(actor, Touch::All, move |db| Box::pin(async move { Ok(personal::erase(db, id, by, now).await?) })).await?;
    Ok(house.store.tidy().await?)
}

/// Erases the drivers of every event that is past the club's term. Gives how many there were.
///
/// # Errors
/// What the store says; entries that were erased before it stay so.
pub async fn keep_the_term(house: &House, term: Term) -> Result<usize, Refusal> {
    let Term::Days(days) = term else { return Ok(0) };
    let events = {
        let mut db = house.store.read().await?;
        event::all(&mut db).await?
    };
    let mut erased = 0;
    for event in events.into_iter().filter(|event| is_past(event.day, days, &event.zone, house.now())) {
        let entries = {
            let mut db = house.store.read().await?;
            entry::of_event(&mut db, event.id).await?
        };
        for entry in entries.into_iter().filter(|entry| entry.erased_at.is_none()) {
            let (id, now) = (entry.id, house.now());
            let erase = house.store.write::<_, Refusal, _>(Touch::All, move |db| {
                Box::pin(async move { Ok(personal::erase(db, id, None, now).await?) })
            });
            erase.await?;
            erased += 1;
        }
    }
    if erased > 0 {
        house.store.tidy().await?;
    }
    Ok(erased)
}

fn is_past(day: Date, days: u32, zone: &str, now: Timestamp) -> bool {
    let zone = TimeZone::get(zone).unwrap_or(TimeZone::UTC);
    let today = now.to_zoned_datetime(zone).date();
    day.checked_add(i64::from(days).days()).is_ok_and(|last| today > last)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_term_of_thirty_days_ends_on_the_thirty_first() {
        let day = jiff::civil::date(2026, 5, 9);
        let at = |text: &str| text.parse::<Timestamp>().unwrap();
        assert!(!is_past(day, 30, "Europe/London", at("2026-06-08T22:59:00Z")), "the thirtieth day, by the event's clock");
        assert!(is_past(day, 30, "Europe/London", at("2026-06-08T23:00:00Z")), "midnight there");
    }
}
