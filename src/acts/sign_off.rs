//! Signing off at the gate: clear or hold, by a named inspector who says what they had in front of them.

use super::Refusal;
use super::gate_photo::MOST_OF_ONE;
use super::house::{House, KnownEvent};
use super::refusal::field;
use super::rights::{Actor, Deed, Whose, require};
use super::state::{self, EntryState, WordBody};
use super::submit::{MOST_SEEN, check_id, new_record, settle};
use crate::rules::answer::is_asked;
use crate::rules::sheet::Item;
use crate::rules::standing::{Because, Standing};
use crate::rules::units::Units;
use crate::rules::words::has_control;
use crate::store::history::{self, Appended, Kind, NewRecord};
use crate::store::{Touch, Writing, entry, photo};
use jiff::Timestamp;
use std::collections::{BTreeMap, BTreeSet};
use uuid::Uuid;

/// The longest reason, in characters.
pub const REASON_LONGEST: usize = 400;

/// A sign-off as the inspector's device hands it over.
#[derive(Clone, Debug)]
pub struct SignOff {
    pub id: Uuid,
    pub clear: bool,
    pub seen: Vec<Uuid>,
    pub made_at: Option<Timestamp>,
    /// Why the car is held; may be empty for a clear.
    pub reason: String,
    /// Items whose finding was seen put right.
    pub closes: BTreeSet<String>,
    /// Items checked by hand on this page.
    pub by_hand: BTreeSet<String>,
    /// Photos taken at the gate, which must have arrived before.
    pub photos: BTreeSet<Uuid>,
}

/// Clears or holds a car.
///
/// A hold is always taken. A clear is taken only where the rule then says *cleared*: one whose maker had not seen all
/// there is, or that leaves a finding or a check open, is refused with the reason and nothing is recorded.
///
/// # Errors
/// [`Refusal::Stale`], [`Refusal::NotNow`] or [`Refusal::Fields`], each with what to do.
pub async fn sign_off(house: &House, actor: &Actor, entry_id: Uuid, given: SignOff) -> Result<Appended, Refusal> {
    let known = house.event_of_entry(entry_id).await?;
    require(actor, Deed::WorkTheGate, Whose::Entry { event: known.event.id, entry: entry_id })?;
    check_id(given.id)?;
    check_words(&given)?;
    let kind = if given.clear { Kind::Clear } else { Kind::Hold };
    let body = WordBody {
        reason: given.reason.trim().to_owned(),
        items: given.closes.clone(),
        by_hand: given.by_hand.clone(),
        photos: given.photos.clone(),
        photo_digests: digests_of(house, entry_id, &given.photos).await?,
    };
    let body = serde_json::to_string(&body).map_err(|error| Refusal::NotNow(error.to_string()))?;
    let record = new_record(house, actor, (known.event.id, entry_id), (given.id, kind), given.seen.clone(), body, given.made_at);
    let touch = Touch::Entry { event: known.event.id, entry: entry_id };
    house.store.write::<_, Refusal, _>(touch, move |db| Box::pin(async move { put(db, &known, &given, &record).await })).await
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
    if given.photos.len() > MOST_OF_ONE {
        troubles.push(field("photos", format!("At most {MOST_OF_ONE} photos.")));
    }
    if troubles.is_empty() { Ok(()) } else { Err(Refusal::Fields(troubles)) }
}

/// Inside the transaction: the history cannot go on between the look and the record.
async fn put(db: &mut Writing, known: &KnownEvent, given: &SignOff, record: &NewRecord) -> Result<Appended, Refusal> {
    let records = history::of_entry(db, record.entry).await?.records;
    for id in &given.photos {
        if photo::entry_of(db, *id).await? != Some(record.entry) {
            return Err(Refusal::Fields(vec![field("photos", "A photo of this sign-off is not here: add it again.")]));
        }
    }
    let there_already = records.iter().any(|there| there.id == record.id);
    if given.clear && !there_already {
        let entry = entry::one(db, record.entry).await?.ok_or(Refusal::NotHere)?;
        let before = state::of(known, entry, records, &Units::METRIC)?;
        may_clear(known, &before, given)?;
    }
    let outcome = settle(history::append(db, record).await?)?;
    if given.clear && outcome == Appended::New {
        // The rule has the last word. Were it not to say "cleared" here, the check above would have a hole.
        let entry = entry::one(db, record.entry).await?.ok_or(Refusal::NotHere)?;
        let after = state::of(known, entry, history::of_entry(db, record.entry).await?.records, &Units::METRIC)?;
        if after.standing() != Standing::Cleared {
            return Err(not_cleared(&after));
        }
    }
    Ok(outcome)
}

/// Why a clear that has seen all there is does not clear.
fn not_cleared(after: &EntryState) -> Refusal {
    let waits = after.judgement.because.iter().any(|because| matches!(because, Because::ClearWaitsFor(_)));
    if !waits {
        return Refusal::Stale;
    }
    Refusal::NotNow(
        "This car's history rests on a record that has not arrived here, from a phone without signal say. It cannot be cleared \
         until that record is here; it can be held."
            .into(),
    )
}

fn may_clear(known: &KnownEvent, before: &EntryState, given: &SignOff) -> Result<(), Refusal> {
    let seen: BTreeSet<Uuid> = given.seen.iter().copied().collect();
    if !before.judgement.heads.iter().all(|head| seen.contains(head)) {
        return Err(Refusal::Stale);
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
    let mut troubles = Vec::new();
    for finding in before.open_findings() {
        if !given.closes.contains(finding.item.as_str()) {
            troubles.push(field(&format!("closes-{}", finding.item), format!("Still open: {}", finding.why)));
        }
    }
    for item in by_hand(known, before).into_iter().filter(|item| !given.by_hand.contains(item.id.as_str())) {
        let check = item.by_hand.as_deref().unwrap_or(&item.name);
        troubles.push(field(&format!("by-hand-{}", item.id), format!("Not checked by hand yet: {check}.")));
    }
    troubles.dedup();
    if troubles.is_empty() { Ok(()) } else { Err(Refusal::Fields(troubles)) }
}

/// What the inspector checks by hand on this car: the sheet's items that any submission in force is asked.
pub fn by_hand<'s>(known: &'s KnownEvent, state: &EntryState) -> Vec<&'s Item> {
    let sheet = &known.edition.sheet;
    let asked = |item: &&Item| state.in_force.iter().any(|sent| is_asked(sheet, item, &sent.answers));
    sheet.items().filter(|item| item.by_hand.is_some()).filter(asked).collect()
}
