//! Filling in the sheet: what a driver types is kept as typed, and judged at once.

use super::Refusal;
use super::house::{House, KnownEvent};
use super::refusal::ItemTroubles;
use super::rights::{Actor, Deed, Whose, require};
use super::two_devices::{Marks, Met, meet};
use crate::rules::answer::{self, Answers, Typed};
use crate::rules::answer_fields::only_its_own;
use crate::rules::edition::{QUESTION, is_typed_for, question};
use crate::rules::judge::Judged;
use crate::rules::sheet::Sheet;
use crate::store::Touch;
use crate::store::draft::{self, Draft};
use jiff::civil::Date;
use jiff::tz::TimeZone;
use sqlx::SqliteConnection;
use uuid::Uuid;

/// The longest text of one field that is kept, in bytes: more than any answer may have, so that what is too long is still
/// there to be shortened.
pub const FIELD_LONGEST: usize = 16 * 1024;

/// The most bytes that what is typed and not sent may take of an entry: three times what the longest sheet takes that is sent.
pub const DRAFT_MOST: usize = 256 * 1024;

/// A draft read and judged.
pub struct Filled {
    pub draft: Draft,
    pub answers: Answers,
    pub troubles: ItemTroubles,
    pub judged: Judged,
}

/// Today on the event's own clock: the last day on which anything can have been done.
pub fn today(house: &House, event: &KnownEvent) -> Date {
    let zone = TimeZone::get(&event.event.zone).unwrap_or(TimeZone::UTC);
    house.now().to_zoned_datetime(zone).date()
}

/// Keeps what was typed for some items, whatever stood there.
///
/// What cannot be read is kept too: nothing that a person typed is lost. Items that the sheet does not have are refused, fields
/// that an item does not have are left out.
pub async fn keep(house: &House, actor: &Actor, entry: Uuid, typed: Draft) -> Result<(), Refusal> {
    keep_page(house, actor, entry, Typing { typed, was: Marks::default(), sent: Draft::new() }).await.map(drop)
}

/// What a page sends.
pub struct Typing {
    pub typed: Draft,
    /// What stood there when the page was made.
    pub was: Marks,
    /// What was sent last: it stands where nothing is typed.
    pub sent: Draft,
}

/// Keeps what was typed on a page, as far as no other device went ahead of it. Gives what came of it.
pub async fn keep_page(house: &House, actor: &Actor, entry: Uuid, page: Typing) -> Result<Met, Refusal> {
    let known = house.event_of_entry(entry).await?;
    require(actor, Deed::FillIn, Whose::Entry { event: known.event.id, entry })?;
    let Typing { typed, was, sent } = page;
    if let Some(unknown) = typed.keys().find(|item| known.edition.sheet.item(item).is_none()) {
        return Err(Refusal::NotNow(format!("This sheet has no item called {unknown}.")));
    }
    if typed.values().flatten().any(|(name, text)| text.len() > FIELD_LONGEST || name.len() > 60) {
        return Err(Refusal::TooMuch(format!("a field holds at most {FIELD_LONGEST} bytes")));
    }
    let typed = own_fields(&known.edition.sheet, typed);
    let now = house.now();
    house
        .write_as(actor, Touch::Nothing, move |db| {
            Box::pin(async move {
                // Looked at where it is written: between a look outside and the writing another device may have been.
                let there = draft::of_entry(db, entry).await?;
                let stands = over(for_sheet(&known.edition.sheet, there.clone()), sent);
                let met = meet(&stands, &was, marked(&known.edition.sheet, typed));
                has_room(&there, &met.kept)?;
                draft::keep(db, entry, &met.kept, now).await?;
                Ok(met)
            })
        })
        .await
}

/// Without fields that the items do not have.
fn own_fields(sheet: &Sheet, typed: Draft) -> Draft {
    let own = |(id, typed): (String, Typed)| match sheet.item(&id) {
        Some(item) => (id, only_its_own(item, typed)),
        None => (id, typed),
    };
    typed.into_iter().map(own).collect()
}

/// Refuses what would take more room than there is. What makes a draft smaller is always taken.
fn has_room(there: &Draft, new: &Draft) -> Result<(), Refusal> {
    let bytes_of = |typed: &Typed| typed.iter().map(|(name, text)| name.len() + text.len()).sum::<usize>();
    let before: usize = there.values().map(bytes_of).sum();
    let gone: usize = there.iter().filter(|(item, _)| new.contains_key(*item)).map(|(_, typed)| bytes_of(typed)).sum();
    let after = before - gone + new.values().map(bytes_of).sum::<usize>();
    if after > DRAFT_MOST && after > before {
        let most = DRAFT_MOST / 1024;
        return Err(Refusal::TooMuch(format!("what is typed on a sheet takes at most {most} kB together; shorten the notes")));
    }
    Ok(())
}

/// Has what was sent last stand as typed, where nothing else is: what is sent must be what the page showed.
pub async fn let_stand(house: &House, actor: &Actor, entry: Uuid, sent: Draft) -> Result<(), Refusal> {
    let now = house.now();
    let known = house.event_of_entry(entry).await?;
    let sent = marked(&known.edition.sheet, sent);
    house
        .write_as(actor, Touch::Nothing, move |db| {
            Box::pin(async move { Ok(draft::keep_where_nothing_is(db, entry, &sent, now).await?) })
        })
        .await
}

/// What is typed, over what was sent last.
pub fn over(mut draft: Draft, sent: Draft) -> Draft {
    for (item, typed) in sent {
        draft.entry(item).or_insert(typed);
    }
    draft
}

/// What is typed for an entry and not yet sent, as far as it was typed for what the sheet asks now.
pub async fn draft(house: &House, known: &KnownEvent, entry: Uuid) -> Result<Draft, Refusal> {
    let mut db = house.store.read().await?;
    Ok(for_sheet(&known.edition.sheet, draft::of_entry(&mut db, entry).await?))
}

/// A draft without what was typed for a question that the sheet asks otherwise now: "no" to the old one may be "yes" to the new.
pub(super) fn for_sheet(sheet: &Sheet, mut draft: Draft) -> Draft {
    draft.retain(|id, typed| sheet.item(id).is_none_or(|item| is_typed_for(item, typed)));
    draft
}

/// A draft that says for each item which question it was typed for. A page says so itself: it may be older than the sheet.
fn marked(sheet: &Sheet, mut draft: Draft) -> Draft {
    for (id, typed) in &mut draft {
        if let Some(item) = sheet.item(id) {
            typed.entry(QUESTION.to_owned()).or_insert_with(|| question(item));
        }
    }
    draft
}

/// Says of everything typed for an event that has no mark yet that it was typed for this sheet's questions: before another comes.
pub(super) async fn mark_all(db: &mut SqliteConnection, event: Uuid, sheet: &Sheet) -> Result<(), Refusal> {
    for item in sheet.items() {
        draft::mark(db, event, item.id.as_str(), &question(item)).await?;
    }
    Ok(())
}

/// The answers of a draft that can be read, and the troubles of those that cannot.
pub fn read_draft(sheet: &Sheet, draft: &Draft, today: Date) -> (Answers, ItemTroubles) {
    let (mut answers, mut troubles) = (Answers::new(), ItemTroubles::new());
    for item in sheet.items() {
        let Some(typed) = draft.get(item.id.as_str()) else { continue };
        match answer::from_typed(item, typed, today) {
            Ok(Some(answer)) => drop(answers.insert(item.id.clone(), answer)),
            Ok(None) => {}
            Err(found) => drop(troubles.insert(item.id.to_string(), found)),
        }
    }
    (answers, troubles)
}
