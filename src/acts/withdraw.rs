//! Taking a clearance back, after an incident say.

use super::Refusal;
use super::house::House;
use super::refusal::field;
use super::rights::{Actor, Deed, Whose, require};
use super::sign_off::REASON_LONGEST;
use super::state::WordBody;
use super::submit::{MOST_SEEN, check_id, new_record, settle};
use crate::rules::words::has_control;
use crate::store::Touch;
use crate::store::history::{self, Appended, Kind};
use jiff::Timestamp;
use uuid::Uuid;

/// A withdrawal as the organizer hands it over.
#[derive(Clone, Debug)]
pub struct Withdrawal {
    pub id: Uuid,
    pub seen: Vec<Uuid>,
    pub made_at: Option<Timestamp>,
    pub reason: String,
}

/// The reason as it is kept.
pub(super) fn check_reason(typed: &str) -> Result<String, Refusal> {
    let reason = typed.trim();
    let length = reason.chars().count();
    if length == 0 || length > REASON_LONGEST || has_control(reason) {
        return Err(Refusal::Fields(vec![field(
            "reason",
            format!("Say why, in 1 to {REASON_LONGEST} characters: the driver and the inspector read it."),
        )]));
    }
    Ok(reason.to_owned())
}

/// Takes a car's clearance back. A withdrawal is taken even from a stale page: it is on the safe side.
///
/// # Errors
/// [`Refusal::Fields`] without a reason; [`Refusal::NotNow`] where the car was never cleared.
pub async fn withdraw(house: &House, actor: &Actor, entry: Uuid, given: Withdrawal) -> Result<Appended, Refusal> {
    let known = house.event_of_entry(entry).await?;
    require(actor, Deed::RunTheEvent, Whose::Entry { event: known.event.id, entry })?;
    check_id(given.id)?;
    let reason = check_reason(&given.reason)?;
    if given.seen.len() > MOST_SEEN || given.seen.contains(&given.id) {
        return Err(Refusal::Fields(vec![field("seen", "What this withdrawal says it has seen cannot be. Open the car again.")]));
    }
    let body =
        serde_json::to_string(&WordBody { reason, ..WordBody::default() }).map_err(|error| Refusal::NotNow(error.to_string()))?;
    let record = new_record(house, actor, (&known, entry), (given.id, Kind::Withdrawal), given.seen, body, given.made_at);
    house
        .write_as(actor, Touch::Entry { event: known.event.id, entry }, move |db| {
            Box::pin(async move {
                let records = history::of_entry(db, entry).await?.records;
                if !records.iter().any(|record| record.kind == Kind::Clear) {
                    return Err(Refusal::NotNow("This car was never cleared: there is nothing to take back.".into()));
                }
                settle(history::append(db, &record).await?)
            })
        })
        .await
}
