//! Signing off at the gate: clear or hold, by a named inspector who says what they had in front of them.

use super::Refusal;
use super::closing::{self, Closing, closing_of};
use super::gate_photo::MOST_OF_ONE;
use super::house::{House, KnownEvent};
use super::meanwhile;
use super::refusal::field;
use super::rights::{Actor, Deed, Whose, require_even_ended};
use super::state::{self, EntryState, Sent, WordBody};
use super::submit::{MOST_SEEN, check_id, new_record, settle};
use crate::rules::answer::{Answer, Trouble, Typed, from_typed};
use crate::rules::judge::Finding;
use crate::rules::sheet::Item;
use crate::rules::standing::{Because, Standing};
use crate::rules::units::Units;
use crate::rules::words::{ItemId, Place, has_control};
use crate::store::history::{self, Appended, Kind, NewRecord};
use crate::store::{Touch, Writing, device, entry, event, photo};
use jiff::Timestamp;
use jiff::civil::Date;
use std::collections::{BTreeMap, BTreeSet};
use uuid::Uuid;

/// The longest reason, in characters.
pub const REASON_LONGEST: usize = 400;
/// The longest sentence on what was seen of one item, in characters.
pub const SEEN_LONGEST: usize = 200;

/// A sign-off as the inspector's device hands it over.
#[derive(Clone, Debug, Default)]
pub struct SignOff {
    pub id: Uuid,
    /// The link of the person who signed, as their page said it; a page of an older program says none.
    pub maker_link: Option<Uuid>,
    pub clear: bool,
    /// The edition by which the inspector's page was made; a hold needs none.
    pub edition: Option<Uuid>,
    pub seen: Vec<Uuid>,
    pub made_at: Option<Timestamp>,
    /// Why the car is held; may be empty for a clear.
    pub reason: String,
    /// Items whose finding was seen put right.
    pub closes: BTreeSet<String>,
    /// What the inspector measured of such an item, as it was typed.
    pub readings: BTreeMap<String, Typed>,
    /// What the inspector saw of such an item, in a sentence.
    pub seen_as: BTreeMap<String, String>,
    /// Items checked by hand on this page.
    pub by_hand: BTreeSet<String>,
    /// Photos taken at the gate, which must have arrived before.
    pub photos: BTreeSet<Uuid>,
}

/// Clears or holds a car.
///
/// A hold is always taken, from a device that was ended too. A clear is taken only where the rule then says *cleared*: one whose
/// maker had not seen all there is, whose page was made by another edition, or that leaves a finding or a check open, is refused
/// with the reason and nothing is recorded. A sign-off that says another maker than `actor` is refused.
///
/// # Errors
/// [`Refusal::NotTheMaker`], [`Refusal::WentOn`], [`Refusal::NotNow`] or [`Refusal::Fields`], each with what to do;
/// [`Refusal::DeviceEnded`] for a clear from a device that is not let in.
pub async fn sign_off(house: &House, actor: &Actor, entry_id: Uuid, given: SignOff) -> Result<Appended, Refusal> {
    let known = house.event_of_entry(entry_id).await?;
    require_even_ended(actor, Deed::WorkTheGate, Whose::Entry { event: known.event.id, entry: entry_id })?;
    check_id(given.id)?;
    check_words(&given)?;
    let kind = if given.clear { Kind::Clear } else { Kind::Hold };
    let body = WordBody {
        reason: given.reason.trim().to_owned(),
        items: given.closes.clone(),
        by_hand: given.by_hand.clone(),
        photos: given.photos.clone(),
        photo_digests: digests_of(house, entry_id, &given.photos).await?,
        ..closed_with(&known, &given)
    };
    let body = serde_json::to_string(&body).map_err(|error| Refusal::NotNow(error.to_string()))?;
    let mut record = new_record(house, actor, (&known, entry_id), (given.id, kind), given.seen.clone(), body, given.made_at);
    record.edition = given.clear.then_some(known.edition.id);
    let touch = Touch::Entry { event: known.event.id, entry: entry_id };
    let (event, edition) = (known.event.id, given.edition);
    let written = house
        .store
        .write::<_, Refusal, _>(touch, move |db| Box::pin(async move { put(db, &known, &given, &record).await }))
        .await;
    match written {
        Err(Refusal::WentOn(mut happened)) => {
            // A raise is the event's own record. It may have come after the event was read above.
            happened.extend(meanwhile::raised_since(&house.event(event).await?, edition));
            happened.sort_by_key(|one| std::cmp::Reverse(one.place));
            Err(Refusal::WentOn(happened))
        }
        other => other,
    }
}

/// When a sign-off arrived; `None` where it is not here.
///
/// # Errors
/// [`Refusal::Store`] where the history cannot be read.
pub async fn recorded_at(house: &House, entry: Uuid, id: Uuid) -> Result<Option<Timestamp>, Refusal> {
    Ok(history::arrived_at(&mut *house.store.read().await?, entry, id).await?)
}

/// The readings and sentences that a clear closes findings with. What cannot be read is looked at again, and refused, where it is
/// known what is open.
fn closed_with(known: &KnownEvent, given: &SignOff) -> WordBody {
    let mut body = WordBody::default();
    for item in given.closes.iter().filter(|_| given.clear) {
        if let Some(sentence) = given.seen_as.get(item).map(|text| text.trim()).filter(|text| !text.is_empty()) {
            body.seen_as.insert(item.clone(), sentence.to_owned());
        }
        if let Ok(Some(reading)) = reading_of(known, given, item) {
            body.readings.insert(item.clone(), reading.to_json());
        }
    }
    body
}

/// What the inspector measured of an item.
fn reading_of(known: &KnownEvent, given: &SignOff, item: &str) -> Result<Option<Answer>, Vec<Trouble>> {
    match (known.edition.sheet.item(item), given.readings.get(item)) {
        // A tyre code's own day is held against the event's day by the judge.
        (Some(item), Some(typed)) => from_typed(item, typed, Date::MAX),
        _ => Ok(None),
    }
}

/// A photo that is not here has none; the transaction refuses it.
async fn digests_of(house: &House, entry: Uuid, photos: &BTreeSet<Uuid>) -> Result<BTreeMap<Uuid, String>, Refusal> {
    if photos.is_empty() {
        return Ok(BTreeMap::new());
    }
    let mut digests = photo::digests(&mut *house.store.read().await?, entry).await?;
    digests.retain(|photo, _| photos.contains(photo));
    Ok(digests)
}

fn check_words(given: &SignOff) -> Result<(), Refusal> {
    let mut troubles = Vec::new();
    let length = given.reason.trim().chars().count();
    if !given.clear && length == 0 {
        troubles.push(field("reason", "Say why the car is held: the driver reads it and must know what to mend."));
    }
    if length > REASON_LONGEST {
        troubles.push(field("reason", format!("At most {REASON_LONGEST} characters; this has {length}.")));
    }
    if has_control(&given.reason) {
        troubles.push(field("reason", "There is a control character in this text; type it again."));
    }
    if given.seen.len() > MOST_SEEN || given.seen.contains(&given.id) {
        troubles.push(field("seen", "What this sign-off says it has seen cannot be. Open the car again."));
    }
    for (item, sentence) in &given.seen_as {
        if sentence.trim().chars().count() > SEEN_LONGEST || has_control(sentence) {
            let words = format!("Say what you saw in one line of at most {SEEN_LONGEST} characters.");
            troubles.push(field(&format!("seen-{item}"), words));
        }
    }
    if given.photos.len() > MOST_OF_ONE {
        troubles.push(field("photos", format!("At most {MOST_OF_ONE} photos.")));
    }
    if troubles.is_empty() { Ok(()) } else { Err(Refusal::Fields(troubles)) }
}

/// Inside the transaction: neither the history nor the sheet can go on between the look and the record.
async fn put(db: &mut Writing, known: &KnownEvent, given: &SignOff, record: &NewRecord) -> Result<Appended, Refusal> {
    // A phone goes from hand to hand: what one person signed on it is never another's.
    if given.maker_link.is_some_and(|link| link != record.maker.link) {
        return Err(Refusal::NotTheMaker);
    }
    let past = history::of_entry(db, record.entry).await?;
    for id in &given.photos {
        if photo::entry_of(db, *id).await? != Some(record.entry) {
            return Err(Refusal::Fields(vec![field("photos", "A photo of this sign-off is not here: add it again.")]));
        }
    }
    let there_already = past.records.iter().any(|there| there.id == record.id);
    if given.clear && !there_already {
        // Before anything is said of the car: a device that was ended learns nothing of it.
        if !device::is_let_in(db, record.maker.device, record.arrived_at).await? {
            return Err(Refusal::DeviceEnded);
        }
        if event::edition_of(db, known.event.id).await? != Some(known.edition.id) || given.edition != Some(known.edition.id) {
            return Err(Refusal::WentOn(meanwhile::beyond(db, past.records, &given.seen).await?));
        }
        let entry = entry::one(db, record.entry).await?.ok_or(Refusal::NotHere)?;
        let before = state::of_any(known, entry, past, &Units::METRIC).await?;
        if !before.judgement.heads.iter().all(|head| given.seen.contains(head)) {
            return Err(Refusal::WentOn(meanwhile::beyond(db, before.records, &given.seen).await?));
        }
        may_clear(known, &before, given)?;
    }
    let outcome = match settle(history::append(db, record).await?) {
        Err(Refusal::Stale) => return Err(Refusal::WentOn(Vec::new())),
        settled => settled?,
    };
    if given.clear && outcome == Appended::New {
        // The rule has the last word. Were it not to say "cleared" here, the check above would have a hole.
        let entry = entry::one(db, record.entry).await?.ok_or(Refusal::NotHere)?;
        let past = history::of_entry(db, record.entry).await?;
        let after = state::of_any(known, entry, past, &Units::METRIC).await?;
        if after.standing() != Standing::Cleared {
            return Err(not_cleared(&after));
        }
    }
    Ok(outcome)
}

/// Why a clear that has seen all there is does not clear.
fn not_cleared(after: &EntryState) -> Refusal {
    if after.unreadable().is_some() {
        return cannot_be_read();
    }
    let waits = after.judgement.because.iter().any(|because| matches!(because, Because::ClearWaitsFor(_)));
    if !waits {
        return Refusal::WentOn(Vec::new());
    }
    Refusal::NotNow(
        "This car's history rests on a record that has not arrived here, from a phone without signal say. It cannot be cleared \
         until that record is here; it can be held."
            .into(),
    )
}

fn cannot_be_read() -> Refusal {
    Refusal::NotNow(
        "Something of this car's history cannot be read, so it cannot be cleared; it can be held. Tell the organizer: \
         a new entry for the car is the way out."
            .into(),
    )
}

fn may_clear(known: &KnownEvent, before: &EntryState, given: &SignOff) -> Result<(), Refusal> {
    if before.unreadable().is_some() {
        return Err(cannot_be_read());
    }
    if before.in_force.is_empty() {
        return Err(Refusal::NotNow("Nothing has been sent for this car yet: there is nothing to clear.".into()));
    }
    if let Some(incomplete) = before.in_force.iter().find(|sent| !sent.judged.is_complete()) {
        let count = incomplete.judged.missing.len();
        return Err(Refusal::NotNow(format!(
            "{count} of the items that this edition asks for are not answered: the driver has to send again."
        )));
    }
    let mut troubles = open_troubles(known, before, given);
    for item in by_hand(known, before).into_iter().filter(|item| !given.by_hand.contains(item.id.as_str())) {
        let check = item.by_hand.as_deref().unwrap_or(&item.name);
        troubles.push(field(&format!("by-hand-{}", item.id), format!("Not checked by hand yet: {check}.")));
    }
    troubles.dedup();
    if troubles.is_empty() { Ok(()) } else { Err(Refusal::Fields(troubles)) }
}

/// What is still wanted to close the open findings.
fn open_troubles(known: &KnownEvent, before: &EntryState, given: &SignOff) -> Vec<Trouble> {
    let mut by_item: BTreeMap<&ItemId, Vec<&Finding>> = BTreeMap::new();
    for finding in before.open_findings() {
        by_item.entry(&finding.item).or_default().push(finding);
    }
    let mut troubles = Vec::new();
    for (item, open) in by_item {
        if !given.closes.contains(item.as_str()) {
            troubles.extend(open.iter().map(|finding| field(&format!("closes-{item}"), format!("Still open: {}", finding.why))));
            continue;
        }
        let says = given.seen_as.get(item.as_str()).is_some_and(|text| !text.trim().is_empty());
        match closing_of(known, item, &open) {
            Closing::ByTick => {}
            Closing::BySentence if !says => {
                troubles
                    .push(field(&format!("seen-{item}"), "Say in a sentence what you saw: this edition does not ask it alike."));
            }
            Closing::ByReading(places) => {
                troubles.extend(reading_troubles(known, &before.in_force, given, item, &places, says));
            }
            Closing::BySentence => {}
        }
    }
    troubles
}

/// What is wrong with an inspector's own reading: it is judged like any other. A sentence may stand in its place, never beside one
/// that is still beyond the limit.
fn reading_troubles(
    known: &KnownEvent,
    in_force: &[Sent],
    given: &SignOff,
    id: &ItemId,
    places: &[Place],
    says: bool,
) -> Vec<Trouble> {
    let at = |place: &str| format!("reading-{id}{}{place}", if place.is_empty() { "" } else { "." });
    let reading = match reading_of(known, given, id.as_str()) {
        Ok(reading) => reading,
        Err(troubles) => {
            return troubles.into_iter().map(|trouble| Trouble { field: at(&trouble.field), ..trouble }).collect();
        }
    };
    let (Some(item), Some(reading)) = (known.edition.sheet.item(id.as_str()), reading) else {
        let words = "Measure it yourself and give the reading, or say in a sentence what you saw.";
        let first = places.first().map(|place| place.token()).unwrap_or_default();
        return if says { Vec::new() } else { vec![field(&at(&first), words)] };
    };
    let mut still: Vec<Finding> =
        in_force.iter().flat_map(|sent| closing::still_found(known, item, &reading, &sent.answers)).collect();
    still.dedup();
    still.iter().map(|finding| field(&at(&finding.place.token()), format!("Still: {}", finding.why))).collect()
}

/// What the inspector checks by hand on this car now.
pub fn by_hand<'s>(known: &'s KnownEvent, state: &EntryState) -> Vec<&'s Item> {
    let now = state.by_hand_now();
    known.edition.sheet.items().filter(|item| now.contains(&item.id)).collect()
}
