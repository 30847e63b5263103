//! Raising an event to another edition of the sheet: a record of the event's chain that tells what it moved.

use super::house::House;
use super::long_text::read_apart;
use super::preview::{self, Moved};
use super::refusal::field;
use super::rights::{Actor, Deed, Whose, require};
use super::{Refusal, fill_in};
use crate::rules::sheet_file;
use crate::store::club::{self, Edition};
use crate::store::history::{self, Appended, EventKind, EventRecord, NewEventRecord};
use crate::store::{StoreError, Touch, event};
use jiff::Timestamp;
use serde::{Deserialize, Serialize};
use sqlx::SqliteConnection;
use uuid::Uuid;

/// Adds a sheet file as the club's next edition. Gives its id.
///
/// # Errors
/// [`Refusal::Fields`] with the line and key of what is wrong in the file.
pub async fn add_edition(house: &House, actor: &Actor, file: &str) -> Result<Uuid, Refusal> {
    require(actor, Deed::RunTheClub, Whose::Club)?;
    let text = file.to_owned();
    let name = read_apart(move || sheet_file::read(&text).map(|sheet| sheet.name)).await?;
    let name = name.map_err(|error| Refusal::Fields(vec![field("file", error.to_string())]))?;
    let id = house.new_id();
    let edition = Edition { id, number: 0, name, file: file.to_owned(), made_at: house.now(), made_by: actor.name.clone() };
    house.write_as(actor, Touch::Nothing, move |db| Box::pin(async move { Ok(club::add_edition(db, &edition).await?) })).await?;
    Ok(id)
}

/// A raise as the organizer hands it over.
#[derive(Clone, Debug)]
pub struct Raise {
    pub id: Uuid,
    pub edition: Uuid,
    /// [`preview::Preview::digest`] of what the organizer's page showed.
    pub shown: String,
}

/// What a raise's record says.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct RaiseBody {
    pub from: Uuid,
    pub from_number: u32,
    pub to: Uuid,
    pub to_number: u32,
    /// What it moved, entry by entry.
    pub moved: Vec<Moved>,
}

/// A raise as it stands in the event's chain.
#[derive(Clone, Debug)]
pub struct Raised {
    pub id: Uuid,
    pub place: i64,
    pub at: Timestamp,
    pub by: String,
    /// `None` where its words cannot be read.
    pub body: Option<RaiseBody>,
}

/// The raises of an event, the oldest first.
pub(super) async fn raises(db: &mut SqliteConnection, event: Uuid) -> Result<Vec<Raised>, StoreError> {
    let raised = |record: EventRecord| Raised {
        id: record.id,
        place: record.place,
        at: record.arrived_at,
        by: record.maker.map_or_else(|| "the program".into(), |maker| maker.name),
        body: serde_json::from_str(&record.body).ok(),
    };
    let records = history::event_records(db, event).await?.into_iter();
    Ok(records.filter(|record| record.kind == EventKind::Raise).map(raised).collect())
}

/// Raises the event to the edition. Every entry is judged by it from now on.
///
/// What it moves is worked out once more in the transaction: where that is not what the organizer's page showed, nothing is raised.
///
/// # Errors
/// [`Refusal::Stale`] where the page showed something else; [`Refusal::NotHere`] for an edition that is not there.
pub async fn raise_edition(house: &House, actor: &Actor, event_id: Uuid, raise: Raise) -> Result<Appended, Refusal> {
    require(actor, Deed::RunTheEvent, Whose::Event(event_id))?;
    super::submit::check_id(raise.id)?;
    let now = house.event(event_id).await?;
    let then = {
        let mut db = house.store.read().await?;
        now.judged_by(house.edition(&mut db, raise.edition).await?)
    };
    let record = NewEventRecord {
        id: raise.id,
        event: event_id,
        kind: EventKind::Raise,
        body: String::new(),
        made_at: house.now(),
        maker: Some(actor.maker()),
        salt: house.new_secret(),
    };
    house
        .write_as(actor, Touch::Event(event_id), move |db| {
            Box::pin(async move {
                if history::has_record(db, raise.id).await? {
                    return Ok(Appended::Again);
                }
                if then.edition.id == now.edition.id {
                    let words = format!("This event is judged by edition {} already.", now.edition.number);
                    return Err(Refusal::NotNow(words));
                }
                if event::edition_of(db, event_id).await? != Some(now.edition.id) {
                    return Err(Refusal::Stale);
                }
                let seen = preview::read(db, &now, &then).await?;
                if seen.digest() != raise.shown {
                    return Err(Refusal::Stale);
                }
                let body = RaiseBody {
                    from: now.edition.id,
                    from_number: now.edition.number,
                    to: then.edition.id,
                    to_number: then.edition.number,
                    moved: seen.moved(),
                };
                let body = serde_json::to_string(&body).map_err(|error| Refusal::NotNow(error.to_string()))?;
                fill_in::mark_all(db, event_id, &now.edition.sheet).await?;
                event::set_edition(db, event_id, then.edition.id).await?;
                super::submit::settle(history::append_to_event(db, &NewEventRecord { body, ..record }).await?)
            })
        })
        .await
}
