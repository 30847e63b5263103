//! Taking in the roster from a CSV file: all of it or nothing, each bad line named with its reason.

use super::Refusal;
use super::house::House;
use super::refusal::field;
use super::rights::{Actor, Deed, Whose, require};
use super::submit::settle;
use crate::rules::answer::Trouble;
use crate::rules::names::{self, Met};
use crate::rules::words::CarNumber;
use crate::store::Touch;
use crate::store::entry::{self, Entry};
use crate::store::event::Event;
use crate::store::history::{self, EventKind, NewEventRecord};
use serde_json::json;
use std::collections::BTreeMap;
use uuid::Uuid;

/// The columns, in the order in which the page and the example name them.
pub const COLUMNS: [&str; 5] = ["number", "name", "car", "group", "mail"];
/// The largest roster file, in bytes.
pub const LARGEST: usize = 512 * 1024;
/// The most entries of an event.
pub const MOST_ENTRIES: usize = 1000;

/// Takes in the roster. Gives how many entries were added.
///
/// # Errors
/// [`Refusal::Fields`] with one trouble a bad line, each under the field `line N`; nothing is taken in then.
pub async fn take_roster(house: &House, actor: &Actor, event: Uuid, file: &[u8]) -> Result<usize, Refusal> {
    require(actor, Deed::RunTheEvent, Whose::Event(event))?;
    let known = house.event(event).await?;
    let there = {
        let mut db = house.store.read().await?;
        entry::of_event(&mut db, event).await?
    };
    let rows = read_rows(file).map_err(|trouble| Refusal::Fields(vec![trouble]))?;
    if rows.len() + there.len() > MOST_ENTRIES {
        return Err(Refusal::TooMuch(format!("an event has at most {MOST_ENTRIES} entries")));
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

type Row = BTreeMap<&'static str, String>;
/// A row with its line in the file, or what is wrong with its form.
type NumberedRow = (usize, Result<Row, String>);

/// The rows with their line in the file, columns found by the header's names in any order.
fn read_rows(file: &[u8]) -> Result<Vec<NumberedRow>, Trouble> {
    let wrong = |message: String| field("file", message);
    let file = file.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(file);
    if file.len() > LARGEST {
        return Err(wrong(format!("The file is larger than {} kB.", LARGEST / 1024)));
    }
    let text = std::str::from_utf8(file).map_err(|error| {
        let line = file[..error.valid_up_to()].iter().filter(|byte| **byte == b'\n').count() + 1;
        wrong(format!("Line {line} is not UTF-8. Save the file as CSV UTF-8 and send it again."))
    })?;
    let header = text.lines().next().unwrap_or_default();
    // Spreadsheets of many countries write semicolons.
    let delimiter = if header.matches(';').count() > header.matches(',').count() { b';' } else { b',' };
    let mut reader =
        csv::ReaderBuilder::new().delimiter(delimiter).flexible(true).trim(csv::Trim::All).from_reader(text.as_bytes());
    let header = reader.headers().map_err(|error| wrong(error.to_string()))?.clone();
    let mut columns: Vec<Option<&'static str>> = Vec::new();
    for name in &header {
        let known = COLUMNS.into_iter().find(|column| name.eq_ignore_ascii_case(column));
        if known.is_some() && columns.contains(&known) {
            return Err(wrong(format!("The column {name} is there twice.")));
        }
        columns.push(known);
    }
    if let Some(missing) = ["number", "name", "car", "group"].into_iter().find(|column| !columns.contains(&Some(*column))) {
        return Err(wrong(format!("The first line names the columns ({}); {missing} is missing.", COLUMNS.join(", "))));
    }
    let mut rows = Vec::new();
    for record in reader.records() {
        let record = record.map_err(|error| wrong(format!("The file cannot be read as CSV: {error}.")))?;
        let line = record.position().map_or(0, |at| line_at(text, at.byte()));
        if record.iter().all(str::is_empty) {
            continue;
        }
        if record.len() > columns.len() {
            rows.push((line, Err(format!("This line has {} fields, the first line names {}.", record.len(), columns.len()))));
            continue;
        }
        let row =
            columns.iter().zip(&record).filter_map(|(column, text)| column.map(|column| (column, text.to_owned()))).collect();
        rows.push((line, Ok(row)));
    }
    if rows.is_empty() { Err(wrong("The file has no entries.".into())) } else { Ok(rows) }
}

/// The line on which the row that begins at a byte stands, as an editor counts: the reader stops before line ends.
fn line_at(text: &str, byte: u64) -> usize {
    let begin = usize::try_from(byte).unwrap_or(text.len()).min(text.len());
    let blank = text.as_bytes()[begin..].iter().take_while(|byte| matches!(byte, b'\r' | b'\n')).count();
    text.as_bytes()[..begin + blank].iter().filter(|byte| **byte == b'\n').count() + 1
}

fn read_entry(house: &House, event: &Event, row: &Row, taken: &BTreeMap<CarNumber, String>) -> Result<Entry, Vec<String>> {
    let text = |column: &str| row.get(column).map(String::as_str).unwrap_or_default();
    let mut reasons = Vec::new();
    let number = CarNumber::parse(text("number")).map_err(|error| reasons.push(format!("{error}."))).ok();
    if let Some(why) = number.as_ref().and_then(|number| taken.get(number)) {
        reasons.push(format!("Car number {} {why}.", text("number")));
    }
    let [driver, car] = ["name", "car"].map(|column| {
        names::name(text(column), 60).map_err(|wrong| reasons.push(format!("The {column} {wrong}."))).unwrap_or_default()
    });
    let group = event.groups.iter().find(|group| group.name.eq_ignore_ascii_case(text("group")));
    if group.is_none() {
        let names: Vec<&str> = event.groups.iter().map(|group| group.name.as_str()).collect();
        reasons.push(format!("\"{}\" is not a run group of this event ({}).", text("group"), names.join(", ")));
    }
    let mail = text("mail");
    if mail.chars().count() > 120 || (!mail.is_empty() && !looks_like_mail(mail)) {
        reasons.push(format!("\"{mail}\" is not a mail address."));
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
