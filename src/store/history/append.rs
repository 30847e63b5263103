//! The one door for records: what is written here stays.

use super::{Appended, Ends, EventEnd, Kind, MOST_BYTES, MOST_IN_FORCE, MOST_ON_THEIR_WAY, MOST_SUBMISSIONS};
use super::{NewEventRecord, NewRecord, RecordRow};
use crate::rules::chain::{Hash, Sealed, hex, mark_of};
use crate::rules::graph::Graph;
use crate::rules::standing::in_force;
use crate::store::writer::Writing;
use crate::store::{StoreError, device, row};
use sqlx::SqliteConnection;
use std::collections::{HashMap, HashSet};
use uuid::Uuid;

/// Adds a record at the end of its event's chain; the writer holds the transaction.
///
/// It is looked at here, and not only when the request came in, whether the maker's device is let in and whether the edition that
/// they acted by is in force: a request can be long on its way. A hold is taken all the same: it is on the safe side.
pub async fn append(writing: &mut Writing, new: &NewRecord) -> Result<Appended, StoreError> {
    let outcome = put(writing, new).await;
    if outcome.is_err() {
        writing.forget();
    }
    outcome
}

async fn put(writing: &mut Writing, new: &NewRecord) -> Result<Appended, StoreError> {
    if new.seen.contains(&new.id) {
        return Ok(Appended::Circle);
    }
    let ends = writing.ends(new.event, new.entry, new.id).await?;
    if new.kind == Kind::Submission && ends.submissions >= MOST_SUBMISSIONS {
        return Ok(one(writing, new.id).await?.map_or(Appended::Full, |there| compare(&there, new)));
    }
    if ends.is_awaited && sees_itself(writing, new).await? {
        return Ok(Appended::Circle);
    }
    let sealed = seal(new, &ends);
    // What the gate and the organizer do is never kept out: a driver's sheets are.
    if new.kind == Kind::Submission
        && let Some(refused) = weighs_too_much(writing, new, &ends).await?
    {
        return Ok(one(writing, new.id).await?.map_or(refused, |there| compare(&there, new)));
    }
    let hash = sealed.reckon();
    let ids = Ids {
        id: new.id,
        event: new.event,
        entry: Some(new.entry),
        by: Some((new.maker.link, new.maker.device)),
        wanted: new.edition,
    };
    if insert(writing, &ids, &sealed, &ends.event, hash).await? {
        writing.extend(new, hash);
        return Ok(Appended::New);
    }
    if let Some(there) = one(writing, new.id).await? {
        return Ok(compare(&there, new));
    }
    match device::is_let_in(writing, new.maker.device, new.arrived_at).await? {
        true => Ok(Appended::EditionMoved),
        false => Ok(Appended::NotLetIn),
    }
}

/// Adds a record of the event itself at the end of its chain. Who may do it is asked before.
pub async fn append_to_event(writing: &mut Writing, new: &NewEventRecord) -> Result<Appended, StoreError> {
    let outcome = put_to_event(writing, new).await;
    if outcome.is_err() {
        writing.forget();
    }
    outcome
}

async fn put_to_event(writing: &mut Writing, new: &NewEventRecord) -> Result<Appended, StoreError> {
    let end = writing.event_end(new.event).await?;
    let sealed = seal_of_event(new, &end);
    let hash = sealed.reckon();
    let by = new.maker.as_ref().map(|maker| (maker.link, maker.device));
    let ids = Ids { id: new.id, event: new.event, entry: None, by, wanted: None };
    if insert(writing, &ids, &sealed, &end, hash).await? {
        writing.extend_event(new.event, hash);
        return Ok(Appended::New);
    }
    let there = one(writing, new.id).await?;
    let same = there.is_some_and(|there| there.kind == new.kind.word() && there.body == new.body);
    Ok(if same { Appended::Again } else { Appended::IdTaken })
}

/// The ids of a new record, which lie in columns as bytes and in its hash as text.
struct Ids {
    id: Uuid,
    event: Uuid,
    entry: Option<Uuid>,
    by: Option<(Uuid, Uuid)>,
    /// The edition that must be in force.
    wanted: Option<Uuid>,
}

/// Writes a record, unless it is there, its maker is not let in, or the edition moved on. A hold needs only its device's name.
async fn insert(writing: &mut Writing, ids: &Ids, sealed: &Sealed, end: &EventEnd, hash: Hash) -> Result<bool, StoreError> {
    let blob = |text: &Option<String>| text.as_ref().and_then(|hex| data_encoding::HEXLOWER.decode(hex.as_bytes()).ok());
    let bytes = |id: Option<Uuid>| id.map(|id| id.as_bytes().to_vec());
    let written = sqlx::query(
        "insert into record (id, event_id, entry_id, place, kind, seen, body, number, made_at, arrived_at, maker, maker_salt,
             maker_mark, maker_role, link_id, device_id, counts, form, edition_id, edition_digest, event_digest, entry_digest,
             entry_before, event_before, hash)
         select ?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15, ?16, ?17, 2, ?18, ?19, ?20, ?21, ?22, ?23, ?24
         where (?5 in ('hold', 'opened', 'roster', 'raise') or exists (
             select 1 from device join access_link as link on link.id = device.link_id
             where device.id = ?16 and device.ended_at is null and device.ends_at > ?10 and link.revoked_at is null))
         and (?25 is null or exists (select 1 from event where id = ?2 and edition_id = ?25))
         on conflict (id) do nothing",
    )
    .bind(&ids.id.as_bytes()[..])
    .bind(&ids.event.as_bytes()[..])
    .bind(bytes(ids.entry))
    .bind(end.place + 1)
    .bind(&sealed.kind)
    .bind(serde_json::Value::from(sealed.seen.clone()).to_string())
    .bind(&sealed.body)
    .bind(sealed.number)
    .bind(sealed.made_at)
    .bind(sealed.arrived_at)
    .bind(&sealed.maker)
    .bind(&sealed.maker_salt)
    .bind(blob(&sealed.maker_mark))
    .bind(&sealed.maker_role)
    .bind(bytes(ids.by.map(|(link, _)| link)))
    .bind(bytes(ids.by.map(|(_, device)| device)))
    .bind(sealed.counts)
    .bind(&end.edition.as_bytes()[..])
    .bind(&end.edition_digest[..])
    .bind(&end.digest[..])
    .bind(blob(&sealed.entry_digest))
    .bind(blob(&sealed.entry_before))
    .bind(blob(&sealed.event_before))
    .bind(&hash[..])
    .bind(bytes(ids.wanted))
    .execute(&mut **writing)
    .await?;
    Ok(written.rows_affected() == 1)
}

/// The record as it will be hashed.
fn seal(new: &NewRecord, ends: &Ends) -> Sealed {
    let mut seen: Vec<String> = new.seen.iter().map(Uuid::to_string).collect();
    seen.sort();
    seen.dedup();
    let salt = data_encoding::HEXLOWER.encode(&new.salt);
    Sealed {
        id: new.id.to_string(),
        entry: Some(new.entry.to_string()),
        kind: new.kind.word().into(),
        seen,
        body: new.body.clone(),
        number: (new.kind == Kind::Submission).then_some(ends.submissions + 1),
        made_at: new.made_at.as_millisecond(),
        arrived_at: new.arrived_at.as_millisecond(),
        maker_mark: Some(hex(&mark_of(&salt, &new.maker.name))),
        maker: Some(new.maker.name.clone()),
        maker_salt: Some(salt),
        maker_role: new.maker.role.clone(),
        link: Some(new.maker.link.to_string()),
        device: Some(new.maker.device.to_string()),
        counts: new.counts,
        entry_digest: Some(hex(&ends.entry_digest)),
        entry_before: ends.entry_hash.as_ref().map(hex),
        ..bound(new.event, &ends.event)
    }
}

fn seal_of_event(new: &NewEventRecord, end: &EventEnd) -> Sealed {
    let salt = new.maker.as_ref().map(|_| data_encoding::HEXLOWER.encode(&new.salt));
    let maker = new.maker.as_ref();
    let mark = maker.zip(salt.as_ref()).map(|(maker, salt)| hex(&mark_of(salt, &maker.name)));
    Sealed {
        id: new.id.to_string(),
        kind: new.kind.word().into(),
        body: new.body.clone(),
        made_at: new.made_at.as_millisecond(),
        arrived_at: new.made_at.as_millisecond(),
        maker: maker.map(|maker| maker.name.clone()),
        maker_salt: salt,
        maker_mark: mark,
        maker_role: maker.map_or_else(|| "program".into(), |maker| maker.role.clone()),
        link: maker.map(|maker| maker.link.to_string()),
        device: maker.map(|maker| maker.device.to_string()),
        counts: true,
        ..bound(new.event, end)
    }
}

/// What every record of the event binds at this moment.
fn bound(event: Uuid, end: &EventEnd) -> Sealed {
    Sealed {
        form: 2,
        place: end.place as u64 + 1,
        event: event.to_string(),
        edition: Some(end.edition.to_string()),
        edition_digest: Some(hex(&end.edition_digest)),
        event_digest: Some(hex(&end.digest)),
        event_before: end.hash.as_ref().map(hex),
        ..Sealed::default()
    }
}

async fn one(db: &mut SqliteConnection, id: Uuid) -> Result<Option<RecordRow>, StoreError> {
    Ok(sqlx::query_as("select * from record where id = ?").bind(&id.as_bytes()[..]).fetch_optional(db).await?)
}

/// Whether what is there under the id is what was handed over now.
fn compare(there: &RecordRow, new: &NewRecord) -> Appended {
    let is = |bytes: &Option<Vec<u8>>, id: Uuid| bytes.as_deref() == Some(&id.as_bytes()[..]);
    let same = is(&there.entry_id, new.entry)
        && there.kind == new.kind.word()
        && there.seen == row::ids_to_json(&new.seen)
        && is_same_body(&there.body, &new.body)
        && is(&there.link_id, new.maker.link);
    if same { Appended::Again } else { Appended::IdTaken }
}

/// Whether two bodies say the same. Digests of photos are no word of the maker's: a record from before they were taken down is
/// known again, and so is one whose photos were erased since.
pub fn is_same_body(one: &str, other: &str) -> bool {
    const DIGESTS: &str = "photo_digests";
    if one == other {
        return true;
    }
    if !one.contains(DIGESTS) && !other.contains(DIGESTS) {
        return false;
    }
    let without = |body: &str| {
        let mut body: serde_json::Map<String, serde_json::Value> = serde_json::from_str(body).ok()?;
        body.remove(DIGESTS);
        Some(body)
    };
    without(one).zip(without(other)).is_some_and(|(one, other)| one == other)
}

/// Why a submission is more than its entry may cost everybody who looks at it; `None` where it is not.
async fn weighs_too_much(writing: &mut Writing, new: &NewRecord, ends: &Ends) -> Result<Option<Appended>, StoreError> {
    if ends.sheet_bytes + new.body.len() as u64 > MOST_BYTES {
        return Ok(Some(Appended::TooHeavy));
    }
    if writing.unknown_to(new.entry, &new.seen) > MOST_ON_THEIR_WAY {
        return Ok(Some(Appended::SeesUnknown));
    }
    // Fewer submissions than that cannot be too many in force.
    let may_be_many = ends.submissions as usize >= MOST_IN_FORCE;
    Ok((may_be_many && in_force_with(writing, new).await? > MOST_IN_FORCE).then_some(Appended::TooManyInForce))
}

/// How many submissions of the entry would be in force with the new one.
async fn in_force_with(writing: &mut Writing, new: &NewRecord) -> Result<usize, StoreError> {
    let rows: Vec<(Vec<u8>, String, String)> = sqlx::query_as("select id, kind, seen from record where entry_id = ?")
        .bind(&new.entry.as_bytes()[..])
        .fetch_all(&mut **writing)
        .await?;
    let (mut sheets, mut seen) = (vec![new.id], vec![(new.id, new.seen.clone())]);
    for (id, kind, named) in rows {
        let id = row::id(&id)?;
        if kind == Kind::Submission.word() {
            sheets.push(id);
        }
        // A list that cannot be read names nobody.
        seen.push((id, row::ids_from_json(&named).unwrap_or_default()));
    }
    let graph = Graph::new(seen);
    let places: Vec<usize> = sheets.iter().filter_map(|id| graph.place(id)).collect();
    Ok(in_force(&graph, places).len())
}

/// Whether the new record would be reached from what it has seen.
async fn sees_itself(writing: &mut Writing, new: &NewRecord) -> Result<bool, StoreError> {
    let rows: Vec<(Vec<u8>, String)> = sqlx::query_as("select id, seen from record where entry_id = ?")
        .bind(&new.entry.as_bytes()[..])
        .fetch_all(&mut **writing)
        .await?;
    let mut sees: HashMap<Uuid, Vec<Uuid>> = HashMap::new();
    for (id, seen) in rows {
        // A list that cannot be read names nobody.
        sees.insert(row::id(&id)?, row::ids_from_json(&seen).unwrap_or_default());
    }
    let (mut todo, mut done) = (new.seen.clone(), HashSet::new());
    while let Some(id) = todo.pop() {
        if id == new.id {
            return Ok(true);
        }
        if done.insert(id) {
            todo.extend(sees.get(&id).into_iter().flatten());
        }
    }
    Ok(false)
}
