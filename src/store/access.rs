//! Links: who was let in as what. A link's secret lies here as a digest only. Whatever is done with a link is noted with it.

use super::deed::{self, About, By, Done};
use super::{StoreError, row};
use jiff::Timestamp;
use sqlx::{FromRow, SqliteConnection};
use subtle::ConstantTimeEq;
use uuid::Uuid;

/// A secret's SHA-256: all that is kept of it.
pub type Digest = [u8; 32];

/// How much of a digest the database is asked for. The rest is compared here, in constant time: how long an index takes to
/// find a secret says nothing that would help to guess it.
const ASKED: usize = 6;

/// A person let in for something, by a link.
#[derive(Clone, Debug)]
pub struct Link {
    pub id: Uuid,
    pub role: String,
    pub event: Option<Uuid>,
    pub entry: Option<Uuid>,
    pub garage: Option<Uuid>,
    pub holder: String,
    /// Goes into the commitment to the holder's name; `None` once the name was erased.
    pub holder_salt: Option<String>,
    pub made_at: Timestamp,
    pub revoked_at: Option<Timestamp>,
    /// The secret lets one device in and is spent then.
    pub once: bool,
    /// Until when the secret lets anybody in.
    pub ends_at: Option<Timestamp>,
    pub spent_at: Option<Timestamp>,
}

impl Link {
    /// Whether the secret still lets somebody in.
    pub fn lets_in(&self, now: Timestamp) -> bool {
        let ended = self.ends_at.is_some_and(|end| end <= now);
        self.revoked_at.is_none() && !ended && !(self.once && self.spent_at.is_some())
    }
}

#[derive(FromRow)]
pub(super) struct LinkRow {
    id: Vec<u8>,
    role: String,
    event_id: Option<Vec<u8>>,
    entry_id: Option<Vec<u8>>,
    garage_id: Option<Vec<u8>>,
    holder: String,
    holder_salt: Option<String>,
    made_at: i64,
    revoked_at: Option<i64>,
    once: bool,
    ends_at: Option<i64>,
    spent_at: Option<i64>,
}

impl LinkRow {
    pub(super) fn link(self) -> Result<Link, StoreError> {
        Ok(Link {
            id: row::id(&self.id)?,
            role: self.role,
            event: self.event_id.as_deref().map(row::id).transpose()?,
            entry: self.entry_id.as_deref().map(row::id).transpose()?,
            garage: self.garage_id.as_deref().map(row::id).transpose()?,
            holder: self.holder,
            holder_salt: self.holder_salt,
            made_at: row::time(self.made_at)?,
            revoked_at: self.revoked_at.map(row::time).transpose()?,
            once: self.once,
            ends_at: self.ends_at.map(row::time).transpose()?,
            spent_at: self.spent_at.map(row::time).transpose()?,
        })
    }
}

fn links(rows: Vec<LinkRow>) -> Result<Vec<Link>, StoreError> {
    rows.into_iter().map(LinkRow::link).collect()
}

/// The first and the last digest that begin like this one.
pub(super) fn span(digest: &Digest) -> (Vec<u8>, Vec<u8>) {
    let begin = &digest[..ASKED];
    ([begin, &[0; 26]].concat(), [begin, &[0xFF; 26]].concat())
}

/// Whether a stored digest is this one, in constant time.
pub(super) fn is_same(stored: &[u8], digest: &Digest) -> bool {
    stored.ct_eq(digest).into()
}

/// Keeps a new link by its secret's digest.
pub async fn add_link(db: &mut SqliteConnection, link: &Link, digest: Digest, by: By) -> Result<(), StoreError> {
    sqlx::query(
        "insert into access_link (id, digest, role, event_id, entry_id, garage_id, holder, holder_salt, made_at, once, ends_at)
         values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
    )
    .bind(&link.id.as_bytes()[..])
    .bind(&digest[..])
    .bind(&link.role)
    .bind(link.event.as_ref().map(|id| id.as_bytes().to_vec()))
    .bind(link.entry.as_ref().map(|id| id.as_bytes().to_vec()))
    .bind(link.garage.as_ref().map(|id| id.as_bytes().to_vec()))
    .bind(&link.holder)
    .bind(&link.holder_salt)
    .bind(link.made_at.as_millisecond())
    .bind(link.once)
    .bind(link.ends_at.map(Timestamp::as_millisecond))
    .execute(&mut *db)
    .await?;
    deed::note(db, Done::Made, About::link(link.id), by, link.made_at).await
}

/// A new secret for a link.
#[derive(Clone, Copy, Debug)]
pub struct Renewal {
    pub link: Uuid,
    pub digest: Digest,
    pub once: bool,
    pub ends_at: Option<Timestamp>,
}

/// Gives a link a new secret: the old one lets nobody in any more, devices that came in stay.
pub async fn renew_link(db: &mut SqliteConnection, new: &Renewal, by: By, at: Timestamp) -> Result<bool, StoreError> {
    let done = sqlx::query(
        "update access_link set digest = ?, once = ?, ends_at = ?, spent_at = null where id = ? and revoked_at is null",
    )
    .bind(&new.digest[..])
    .bind(new.once)
    .bind(new.ends_at.map(Timestamp::as_millisecond))
    .bind(&new.link.as_bytes()[..])
    .execute(&mut *db)
    .await?;
    if done.rows_affected() == 0 {
        return Ok(false);
    }
    deed::note(db, Done::MadeAnew, About::link(new.link), by, at).await?;
    Ok(true)
}

/// The link with this secret, good or not.
pub async fn link_by_digest(db: &mut SqliteConnection, digest: Digest) -> Result<Option<Link>, StoreError> {
    #[derive(FromRow)]
    struct Row {
        digest: Vec<u8>,
        #[sqlx(flatten)]
        link: LinkRow,
    }
    let (from, to) = span(&digest);
    let rows: Vec<Row> =
        sqlx::query_as("select * from access_link where digest between ? and ?").bind(from).bind(to).fetch_all(db).await?;
    rows.into_iter().find(|row| is_same(&row.digest, &digest)).map(|row| row.link.link()).transpose()
}

/// One link.
pub async fn link(db: &mut SqliteConnection, id: Uuid) -> Result<Option<Link>, StoreError> {
    let row: Option<LinkRow> =
        sqlx::query_as("select * from access_link where id = ?").bind(&id.as_bytes()[..]).fetch_optional(db).await?;
    row.map(LinkRow::link).transpose()
}

/// Marks a one-time link as used; the deed is noted with the device that it lets in. `false` where it was used, renewed or taken
/// back in the meantime.
pub async fn spend_link(db: &mut SqliteConnection, link: Uuid, digest: Digest, at: Timestamp) -> Result<bool, StoreError> {
    let done = sqlx::query(
        "update access_link set spent_at = ?1 where id = ?2 and digest = ?3 and revoked_at is null and spent_at is null
         and (ends_at is null or ends_at > ?1)",
    )
    .bind(at.as_millisecond())
    .bind(&link.as_bytes()[..])
    .bind(&digest[..])
    .execute(db)
    .await?;
    Ok(done.rows_affected() == 1)
}

/// Spends a link whose holder needs it no more.
pub async fn spend(db: &mut SqliteConnection, link: Uuid, by: By, at: Timestamp) -> Result<(), StoreError> {
    let done = sqlx::query(
        "update access_link set once = 1, spent_at = coalesce(spent_at, ?) where id = ? and (once = 0 or spent_at is null)",
    )
    .bind(at.as_millisecond())
    .bind(&link.as_bytes()[..])
    .execute(&mut *db)
    .await?;
    match done.rows_affected() {
        0 => Ok(()),
        _ => deed::note(db, Done::Spent, About::link(link), by, at).await,
    }
}

/// The links of an event, newest first.
pub async fn links_of_event(db: &mut SqliteConnection, event: Uuid) -> Result<Vec<Link>, StoreError> {
    let rows = sqlx::query_as("select * from access_link where event_id = ? order by id desc");
    links(rows.bind(&event.as_bytes()[..]).fetch_all(db).await?)
}

/// The links of an entry, newest first, taken back or not.
pub async fn links_of_entry(db: &mut SqliteConnection, entry: Uuid) -> Result<Vec<Link>, StoreError> {
    let rows = sqlx::query_as("select * from access_link where entry_id = ? order by id desc");
    links(rows.bind(&entry.as_bytes()[..]).fetch_all(db).await?)
}

/// The club's organizers, in the order in which they were let in.
pub async fn organizers(db: &mut SqliteConnection) -> Result<Vec<Link>, StoreError> {
    let rows = sqlx::query_as("select * from access_link where role = 'organizer' order by id");
    links(rows.fetch_all(db).await?)
}

/// Takes back the links of an entry that are still good. Gives how many there were.
pub async fn revoke_links_of_entry(db: &mut SqliteConnection, entry: Uuid, by: By, at: Timestamp) -> Result<usize, StoreError> {
    let sql = "update access_link set revoked_at = ? where entry_id = ? and revoked_at is null returning id";
    let revoked: Vec<Vec<u8>> =
        sqlx::query_scalar(sql).bind(at.as_millisecond()).bind(&entry.as_bytes()[..]).fetch_all(&mut *db).await?;
    for link in &revoked {
        deed::note(db, Done::TakenBack, About::link(row::id(link)?), by, at).await?;
    }
    Ok(revoked.len())
}

/// Takes back one link; `event` is its event, `None` for an organizer's.
pub async fn revoke_link(
    db: &mut SqliteConnection,
    event: Option<Uuid>,
    link: Uuid,
    by: By,
    at: Timestamp,
) -> Result<bool, StoreError> {
    // A garage's link has no event either, and is its driver's: nobody of the club takes it back.
    let done = sqlx::query(
        "update access_link set revoked_at = ? where id = ? and event_id is ? and garage_id is null and revoked_at is null",
    )
    .bind(at.as_millisecond())
    .bind(&link.as_bytes()[..])
    .bind(event.map(|event| event.as_bytes().to_vec()))
    .execute(&mut *db)
    .await?;
    if done.rows_affected() == 0 {
        return Ok(false);
    }
    deed::note(db, Done::TakenBack, About::link(link), by, at).await?;
    Ok(true)
}
