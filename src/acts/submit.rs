//! Sending a submission: an immutable, numbered set of answers.

use super::Refusal;
use super::fill_in::{self, read_draft, today};
use super::house::{House, KnownEdition, KnownEvent};
use super::refusal::{ItemTroubles, field};
use super::rights::{Actor, Deed, Whose, require};
use super::state::SubmissionBody;
use crate::rules::answer::{self, Answers};
use crate::rules::judge::judge;
use crate::rules::sheet::Item;
use crate::rules::units::Units;
use crate::store::history::{self, Appended, Kind, MOST_BYTES, MOST_IN_FORCE, MOST_SUBMISSIONS, NewRecord};
use crate::store::{Touch, photo};
use jiff::Timestamp;
use serde_json::{Map, Value as Json};
use std::collections::BTreeMap;
use uuid::Uuid;

/// How far a device's clock may be ahead of ours, in seconds, before its time is not believed.
pub const CLOCK_AHEAD_S: i64 = 15 * 60;
/// How long before its arrival a record may have been made, in seconds: 30 days without signal.
pub const LONGEST_ON_ITS_WAY_S: i64 = 30 * 24 * 3600;
/// The most records that one may name as seen: all submissions of a history may be forks of each other, and the gate adds
/// its own.
pub const MOST_SEEN: usize = MOST_SUBMISSIONS as usize + 100;

/// The most bytes that a sheet takes beside its answers.
const SHEET_BYTES: usize = 16 * 1024;
/// The most bytes that an answer takes on the average over the sheet. A reading at four corners takes 70, one that was worked out
/// some 500; a few have long notes, and never all of them.
const ITEM_BYTES: usize = 1024;

/// A submission as the driver's device hands it over.
#[derive(Clone, Debug)]
pub struct Submission {
    /// Made on the device: sending twice changes nothing.
    pub id: Uuid,
    /// The newest records that the driver had in front of them.
    pub seen: Vec<Uuid>,
    /// The edition the answers were given to.
    pub edition: Uuid,
    /// The time on the device.
    pub made_at: Option<Timestamp>,
    /// The answers, or nothing where the draft kept here is to be sent.
    pub answers: Option<Map<String, Json>>,
}

/// Sends a submission. Gives whether it is new or was here already.
///
/// # Errors
/// [`Refusal::EditionRaised`] where the sheet moved on; [`Refusal::Answers`] and [`Refusal::NotComplete`] name the items.
pub async fn submit(house: &House, actor: &Actor, entry: Uuid, given: Submission) -> Result<Appended, Refusal> {
    let known = house.event_of_entry(entry).await?;
    require(actor, Deed::FillIn, Whose::Entry { event: known.event.id, entry })?;
    check_id(given.id)?;
    if given.seen.len() > MOST_SEEN || given.seen.contains(&given.id) {
        return Err(Refusal::Fields(vec![field(
            "seen",
            "What this submission says it has seen cannot be. Open the page again.",
        )]));
    }
    if given.edition != known.edition.id {
        return late(house, &known, entry, &given).await;
    }
    let answers = match &given.answers {
        Some(answers) => read_given(&known, answers, house)?,
        None => read_kept(house, &known, entry).await?,
    };
    let photo_digests = photos_are_here(house, entry, &answers).await?;
    let judged = judge(&known.edition.sheet, &answers, known.event.day, &Units::METRIC);
    if !judged.is_complete() {
        return Err(Refusal::NotComplete(judged.missing.into_iter().map(|(item, _)| item.to_string()).collect()));
    }
    let body = body_of(&known, &answers, photo_digests)?;
    is_of_a_size(&known, &answers, &body)?;
    let (id, seen, made_at) = (given.id, given.seen.clone(), given.made_at);
    let mut record = new_record(house, actor, (&known, entry), (id, Kind::Submission), seen, body, made_at);
    record.edition = Some(given.edition);
    match house.store.append(Touch::Entry { event: known.event.id, entry }, record).await? {
        // The sheet was raised while this one was read.
        Appended::EditionMoved => late(house, &house.event_of_entry(entry).await?, entry, &given).await,
        outcome => settle(outcome),
    }
}

type PhotoDigests = BTreeMap<Uuid, String>;

fn body_of(known: &KnownEvent, answers: &Answers, photo_digests: PhotoDigests) -> Result<String, Refusal> {
    let body = SubmissionBody {
        edition: known.edition.id,
        photo_digests,
        answers: answers.iter().map(|(item, answer)| (item.to_string(), answer.to_json())).collect(),
    };
    serde_json::to_string(&body).map_err(|error| Refusal::NotNow(error.to_string()))
}

/// Refuses a sheet that is longer than its questions can need, at its longest answer.
fn is_of_a_size(known: &KnownEvent, answers: &Answers, body: &str) -> Result<(), Refusal> {
    let most = SHEET_BYTES + ITEM_BYTES * known.edition.sheet.items().count();
    if body.len() <= most {
        return Ok(());
    }
    let longest = answers.iter().max_by_key(|(_, answer)| answer.to_json().to_string().len());
    let Some((item, answer)) = longest else { return Err(Refusal::TooMuch("this sheet".into())) };
    let at = if answer.note.is_some() { "note" } else { "" };
    let words = format!(
        "The answers take {} kB together; a sheet takes at most {} kB. This is the longest: say it in fewer words.",
        body.len().div_ceil(1024),
        most / 1024
    );
    Err(Refusal::Answers(ItemTroubles::from([(item.to_string(), vec![field(at, words)])])))
}

/// The sheet moved on. A submission that arrived before it did is answered as it was then; any other is told what changed.
async fn late(house: &House, known: &KnownEvent, entry: Uuid, given: &Submission) -> Result<Appended, Refusal> {
    let (there, old) = {
        let mut db = house.store.read().await?;
        let there = history::body(&mut db, entry, given.id).await?;
        (there, house.edition(&mut db, given.edition).await?)
    };
    if let (Some(there), Some(answers)) = (&there, &given.answers) {
        let then = known.judged_by(old.clone());
        let body = read_given(&then, answers, house).and_then(|answers| body_of(&then, &answers, PhotoDigests::new()));
        let same = body.is_ok_and(|body| history::is_same_body(&body, there));
        return if same { Ok(Appended::Again) } else { Err(Refusal::IdTaken) };
    }
    if there.is_some() {
        // The page's form carries no answers: its id alone says that it was sent before.
        return Ok(Appended::Again);
    }
    Err(edition_raised(known, &old))
}

/// A photo that nobody took is no answer. Gives the digests of those that were.
async fn photos_are_here(house: &House, entry: Uuid, answers: &Answers) -> Result<PhotoDigests, Refusal> {
    if answers.values().all(|answer| answer.photos.is_empty()) {
        return Ok(PhotoDigests::new());
    }
    let mut here = {
        let mut db = house.store.read().await?;
        photo::digests(&mut db, entry).await?
    };
    let mut troubles = ItemTroubles::new();
    for (item, answer) in answers {
        if let Some(gone) = answer.photos.iter().find(|id| !here.keys().any(|photo| photo.to_string() == **id)) {
            troubles.insert(item.to_string(), vec![field("photo", format!("The photo {gone} is not here: add it again."))]);
        }
    }
    here.retain(|photo, _| answers.values().any(|answer| answer.photos.contains(&photo.to_string())));
    if troubles.is_empty() { Ok(here) } else { Err(Refusal::Answers(troubles)) }
}

/// What an append's outcome means to the maker.
pub(super) fn settle(outcome: Appended) -> Result<Appended, Refusal> {
    match outcome {
        Appended::New | Appended::Again => Ok(outcome),
        Appended::NotLetIn => Err(Refusal::WhoAreYou),
        Appended::IdTaken => Err(Refusal::IdTaken),
        Appended::EditionMoved => Err(Refusal::Stale),
        Appended::Circle => {
            let words = "What this says it has seen leads back to itself. Open the page again.";
            Err(Refusal::Fields(vec![field("seen", words)]))
        }
        Appended::Full => Err(Refusal::TooMuch("this car's history is full; ask the organizer for a new entry".into())),
        Appended::TooHeavy => {
            let most = MOST_BYTES / 1024 / 1024;
            Err(Refusal::TooMuch(format!("the sheets of this car take more than {most} MB; ask the organizer for a new entry")))
        }
        Appended::SeesUnknown => {
            let words = "More of what this says it has seen is not here than can be on its way. Open the page again.";
            Err(Refusal::Fields(vec![field("seen", words)]))
        }
        Appended::TooManyInForce => Err(Refusal::NotNow(format!(
            "More than {MOST_IN_FORCE} sheets of this car do not know of each other. Open the page again and send from there."
        ))),
    }
}

/// Ids carry the time they were made: only UUIDv7 is taken.
pub(super) fn check_id(id: Uuid) -> Result<(), Refusal> {
    if id.get_version_num() == 7 {
        return Ok(());
    }
    Err(Refusal::Fields(vec![field(
        "id",
        "The record's id is not a UUID of version 7, as devices make them. Open the page again.",
    )]))
}

pub(super) fn new_record(
    house: &House,
    actor: &Actor,
    (known, entry): (&KnownEvent, Uuid),
    (id, kind): (Uuid, Kind),
    seen: Vec<Uuid>,
    body: String,
    made_at: Option<Timestamp>,
) -> NewRecord {
    let arrived_at = house.now();
    let made_at = made_at.filter(|made| is_believed(*made, arrived_at, known.event.made_at)).unwrap_or(arrived_at);
    NewRecord {
        id,
        event: known.event.id,
        entry,
        kind,
        seen,
        body,
        made_at,
        arrived_at,
        maker: actor.maker(),
        salt: house.new_secret(),
        counts: true,
        edition: None,
    }
}

/// Whether a device's clock can be right. One that runs ahead or is years behind would date the record falsely: then the time of
/// arrival stands for both.
fn is_believed(made: Timestamp, arrived: Timestamp, event_made: Timestamp) -> bool {
    let on_its_way = arrived.as_second() - made.as_second();
    (-CLOCK_AHEAD_S..=LONGEST_ON_ITS_WAY_S).contains(&on_its_way) && made >= event_made
}

fn read_given(known: &KnownEvent, given: &Map<String, Json>, house: &House) -> Result<Answers, Refusal> {
    let (mut answers, mut troubles) = (Answers::new(), ItemTroubles::new());
    let today = today(house, known);
    for (id, json) in given {
        let Some(item) = known.edition.sheet.item(id) else {
            let message = "This sheet has no such item.".to_owned();
            troubles.entry(id.clone()).or_default().push(answer::Trouble { field: String::new(), message });
            continue;
        };
        match answer::from_json(item, json, today) {
            Ok(Some(answer)) => drop(answers.insert(item.id.clone(), answer)),
            Ok(None) => {}
            Err(trouble) => troubles.entry(id.clone()).or_default().push(trouble),
        }
    }
    if troubles.is_empty() { Ok(answers) } else { Err(Refusal::Answers(troubles)) }
}

async fn read_kept(house: &House, known: &KnownEvent, entry: Uuid) -> Result<Answers, Refusal> {
    let draft = fill_in::draft(house, known, entry).await?;
    let (answers, troubles) = read_draft(&known.edition.sheet, &draft, today(house, known));
    if troubles.is_empty() { Ok(answers) } else { Err(Refusal::Answers(troubles)) }
}

/// What the driver is told when the sheet moved on: both numbers, and the items that are new or asked otherwise.
fn edition_raised(known: &KnownEvent, old: &KnownEdition) -> Refusal {
    let is_new = |item: &&Item| {
        old.sheet
            .item(item.id.as_str())
            .is_none_or(|before| before.ask != item.ask || format!("{:?}", before.kind) != format!("{:?}", item.kind))
    };
    let changed = known.edition.sheet.items().filter(is_new).map(|item| item.name.clone()).collect();
    Refusal::EditionRaised { from: old.number, to: known.edition.number, changed }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn time(text: &str) -> Timestamp {
        text.parse().expect("a time")
    }

    #[test]
    fn a_devices_time_is_believed_only_where_its_clock_can_be_right() {
        let (arrived, event_made) = (time("2026-05-09T08:00:00Z"), time("2026-03-01T12:00:00Z"));
        let rows = [
            ("2026-05-09T08:15:00Z", true, "15 minutes ahead"),
            ("2026-05-09T08:15:01Z", false, "more than 15 minutes ahead"),
            ("2026-04-09T08:00:00Z", true, "30 days on its way"),
            ("2026-04-09T07:59:59Z", false, "more than 30 days on its way"),
            ("2020-05-09T08:00:00Z", false, "years behind"),
        ];
        for (made, believed, what) in rows {
            assert_eq!(is_believed(time(made), arrived, event_made), believed, "{what}");
        }
        let yesterday = time("2026-05-08T08:00:00Z");
        assert!(is_believed(yesterday, arrived, yesterday), "made together with the event");
        assert!(!is_believed(time("2026-05-08T07:59:59Z"), arrived, yesterday), "before there was the event");
    }
}
