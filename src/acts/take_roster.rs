//! Taking in the roster from a CSV file: all of it or nothing, each bad line named with its reason.

use super::Refusal;
use super::house::House;
use super::long_text::read_apart;
use super::refusal::field;
use super::rights::{Actor, Deed, Whose, require};
use super::submit::settle;
use crate::rules::names::{self, Met};
use crate::rules::roster_csv::{self, NoRows, Row};
use crate::rules::words::CarNumber;
use crate::store::Touch;
use crate::store::entry::{self, Entry};
use crate::store::event::Event;
use crate::store::history::{self, EventKind, NewEventRecord};
use serde_json::json;
use std::collections::BTreeMap;
use uuid::Uuid;

pub use crate::rules::roster_csv::COLUMNS;

/// The most entries of an event.
pub const MOST_ENTRIES: usize = roster_csv::MOST_ROWS;
/// The most characters of a cell that a message repeats.
const REPEATED: usize = 60;

/// Takes in the roster. Gives how many entries were added.
///
/// # Errors
/// [`Refusal::Fields`] with one trouble a bad line, each under the field `line N`; nothing is taken in then.
pub async fn take_roster(house: &House, actor: &Actor, event: Uuid, file: Vec<u8>) -> Result<usize, Refusal> {
    require(actor, Deed::RunTheEvent, Whose::Event(event))?;
    let known = house.event(event).await?;
    let there = {
        let mut db = house.store.read().await?;
        entry::of_event(&mut db, event).await?
    };
    let rows = read_apart(move || roster_csv::read(&file)).await?.map_err(|no| match no {
        NoRows::Trouble(trouble) => Refusal::Fields(vec![trouble]),
        NoRows::TooMany => too_many(),
    })?;
    if rows.len() + there.len() > MOST_ENTRIES {
        return Err(too_many());
    }
    let drivers: Vec<String> = there.iter().map(|entry| entry.driver.clone()).collect();
    let mut taken: BTreeMap<CarNumber, String> =
        there.into_iter().map(|entry| (entry.number, "is on the roster already".to_owned())).collect();
    let (mut entries, mut troubles) = (Vec::new(), Vec::new());
    let mut met = Met::default();
    drivers.iter().for_each(|driver| drop(met.meet(driver)));
    for (line, row) in rows {
        match row.map_err(|reason| vec![reason]).and_then(|row| read_entry(house, &known.event, &row, &taken)) {
            Ok(entry) => {
                if let Some(other) = met.meet(&entry.driver) {
                    let words = format!("{} looks like {other}: write it so that nobody takes one for the other.", entry.driver);
                    troubles.push(field(&format!("line {line}"), words));
                }
                taken.insert(entry.number.clone(), format!("is on line {line} too"));
                entries.push(entry);
            }
            Err(reasons) => troubles.push(field(&format!("line {line}"), reasons.join(" "))),
        }
    }
    if !troubles.is_empty() {
        return Err(Refusal::Fields(troubles));
    }
    let count = entries.len();
    let salted: Vec<(Entry, [u8; 20])> = entries.into_iter().map(|entry| (entry, house.new_secret())).collect();
    let mut roster = NewEventRecord {
        id: house.new_id(),
        event,
        kind: EventKind::Roster,
        body: String::new(),
        made_at: house.now(),
        maker: Some(actor.maker()),
        salt: house.new_secret(),
    };
    house
        .write_as(actor, Touch::Event(event), move |db| {
            Box::pin(async move {
                let mut listed = Vec::with_capacity(salted.len());
                for (new, salt) in &salted {
                    listed.push(json!({ "id": new.id, "digest": entry::add(db, new, *salt).await? }));
                }
                roster.body = json!({ "entries": listed }).to_string();
                settle(history::append_to_event(db, &roster).await?)
            })
        })
        .await
        .map_err(|refusal| match refusal {
            // Another organizer took a number of ours in between: nothing of this file was kept.
            Refusal::Store(error) if error.is_taken() => {
                Refusal::NotNow("The roster changed while this file was read; nothing was taken in. Send it again.".into())
            }
            other => other,
        })?;
    Ok(count)
}

fn too_many() -> Refusal {
    Refusal::TooMuch(format!("an event has at most {MOST_ENTRIES} entries; nothing of this file was taken in"))
}

/// The beginning of a text that a message repeats.
fn begin(text: &str) -> String {
    text.chars().take(REPEATED).collect()
}

fn read_entry(house: &House, event: &Event, row: &Row, taken: &BTreeMap<CarNumber, String>) -> Result<Entry, Vec<String>> {
    let text = |column: &str| row.get(column).map(String::as_str).unwrap_or_default();
    let mut reasons = Vec::new();
    let number = CarNumber::parse(text("number")).map_err(|error| reasons.push(format!("{error}."))).ok();
    if let Some(why) = number.as_ref().and_then(|number| taken.get(number)) {
        reasons.push(format!("Car number {number} {why}.", number = begin(text("number"))));
    }
    let [driver, car] = ["name", "car"].map(|column| {
        names::name(text(column), 60).map_err(|wrong| reasons.push(format!("The {column} {wrong}."))).unwrap_or_default()
    });
    let group = event.groups.iter().find(|group| group.name.eq_ignore_ascii_case(text("group")));
    if group.is_none() {
        let names: Vec<&str> = event.groups.iter().map(|group| group.name.as_str()).collect();
        reasons.push(format!("\"{}\" is not a run group of this event ({}).", begin(text("group")), names.join(", ")));
    }
    let mail = text("mail");
    if mail.chars().count() > 120 || (!mail.is_empty() && !looks_like_mail(mail)) {
        reasons.push(format!("\"{}\" is not a mail address.", begin(mail)));
    }
    let (Some(number), Some(group), true) = (number, group, reasons.is_empty()) else { return Err(reasons) };
    Ok(Entry {
        id: house.new_id(),
        event: event.id,
        number,
        driver,
        car,
        group: group.name.clone(),
        mail: mail.to_owned(),
        made_at: house.now(),
        erased_at: None,
    })
}

fn looks_like_mail(text: &str) -> bool {
    let whole =
        text.split_once('@').is_some_and(|(left, right)| !left.is_empty() && right.contains('.') && !right.ends_with('.'));
    whole && text.matches('@').count() == 1 && !text.chars().any(|c| c.is_whitespace() || c.is_control())
}
