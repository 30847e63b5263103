//! Deeds of access: who let whom in as what, chained for the whole club. Deeds stay.

use super::log::{self, Security};
use super::{StoreError, row};
use crate::rules::chain::{Baseline, ChainedDeed, Claim, DeviceClaim, ErasedEntry, LinkClaim, Who, hex, holder_mark};
use jiff::Timestamp;
use sqlx::{AssertSqlSafe, FromRow, SqliteConnection};
use uuid::Uuid;

/// What was done with a link or a device.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Done {
    Made,
    MadeAnew,
    /// It let a device in.
    Used,
    /// It let a device in that had been in before.
    LetInAgain,
    /// Its holder needs it no more.
    Spent,
    DeviceEnded,
    TakenBack,
    /// Its holder's name was erased.
    Erased,
    /// What there was when the chain began.
    Baseline,
}

impl Done {
    /// The word in the column and on the page.
    pub fn word(self) -> &'static str {
        match self {
            Done::Made => "made",
            Done::MadeAnew => "made anew",
            Done::Used => "used",
            Done::LetInAgain => "let in again",
            Done::Spent => "spent",
            Done::DeviceEnded => "device ended",
            Done::TakenBack => "taken back",
            Done::Erased => "erased",
            Done::Baseline => "baseline",
        }
    }
}

/// Who does it: their link and their device; `None` for the program, or whoever runs the server.
pub type By = Option<(Uuid, Uuid)>;

/// A deed to note: what, about which links and devices. Their rows are read as they are when it is noted.
#[derive(Clone, Debug, Default)]
pub(super) struct About {
    pub links: Vec<Uuid>,
    pub devices: Vec<Uuid>,
    /// An entry whose driver was erased.
    pub erased: Option<ErasedEntry>,
    pub baseline: Option<Baseline>,
}

impl About {
    pub fn link(link: Uuid) -> About {
        About { links: vec![link], ..About::default() }
    }

    /// A device and the link that it came in by.
    pub fn device(link: Uuid, device: Uuid) -> About {
        About { links: vec![link], devices: vec![device], ..About::default() }
    }
}

/// Notes a deed at the end of the chain, in the transaction that does it.
pub(super) async fn note(db: &mut SqliteConnection, what: Done, about: About, by: By, at: Timestamp) -> Result<(), StoreError> {
    let mut claim = Claim {
        what: what.word().into(),
        at: at.as_millisecond(),
        by: by.map(|(link, device)| Who { link: link.to_string(), device: device.to_string() }),
        link: None,
        links: Vec::new(),
        devices: Vec::new(),
        erased: about.erased,
        baseline: about.baseline,
    };
    for id in &about.links {
        claim.links.extend(link_claims(db, Some(*id)).await?);
    }
    for id in &about.devices {
        claim.devices.extend(device_claims(db, Some(*id)).await?);
    }
    // A deed stands beside the one link that it is about; one of many links stands by itself.
    let link = about.links.first().filter(|_| about.links.len() == 1);
    claim.link = link.map(Uuid::to_string);
    write(db, &claim, link.copied(), by).await?;
    // Told before the commit: one that fails is followed by its own line.
    log::tell(Security::Link { what: what.word(), link: link.copied(), by });
    Ok(())
}

pub(super) async fn write(db: &mut SqliteConnection, claim: &Claim, link: Option<Uuid>, by: By) -> Result<(), StoreError> {
    let last: Option<(i64, Option<Vec<u8>>)> =
        sqlx::query_as("select id, hash from access_deed order by id desc limit 1").fetch_optional(&mut *db).await?;
    let (place, before) = last.map_or((1, None), |(place, hash)| (place + 1, hash));
    let says = serde_json::to_string(claim).map_err(|error| StoreError::Unreadable(format!("a deed of access: {error}")))?;
    let deed = ChainedDeed { place, says, before: before.as_deref().map(|hash| data_encoding::HEXLOWER.encode(hash)) };
    sqlx::query(
        "insert into access_deed (id, link_id, what, by_link_id, by_device_id, at, says, before, hash)
         values (?, ?, ?, ?, ?, ?, ?, ?, ?)",
    )
    .bind(place)
    .bind(link.map(|link| link.as_bytes().to_vec()))
    .bind(&claim.what)
    .bind(by.map(|(link, _)| link.as_bytes().to_vec()))
    .bind(by.map(|(_, device)| device.as_bytes().to_vec()))
    .bind(claim.at)
    .bind(&deed.says)
    .bind(before)
    .bind(&deed.reckon()[..])
    .execute(db)
    .await?;
    Ok(())
}

fn text(id: &[u8]) -> Result<String, StoreError> {
    Ok(row::id(id)?.to_string())
}

/// A link's row as far as a deed claims it.
#[derive(FromRow)]
pub struct LinkRow {
    id: Vec<u8>,
    digest: Vec<u8>,
    role: String,
    event_id: Option<Vec<u8>>,
    entry_id: Option<Vec<u8>>,
    garage_id: Option<Vec<u8>>,
    pub(super) holder: String,
    holder_salt: Option<String>,
    made_at: i64,
    once: bool,
    ends_at: Option<i64>,
    spent_at: Option<i64>,
    revoked_at: Option<i64>,
}

impl LinkRow {
    pub fn claim(&self) -> Result<LinkClaim, StoreError> {
        let maybe = |id: &Option<Vec<u8>>| id.as_deref().map(text).transpose();
        Ok(LinkClaim {
            id: text(&self.id)?,
            role: self.role.clone(),
            event: maybe(&self.event_id)?,
            entry: maybe(&self.entry_id)?,
            garage: maybe(&self.garage_id)?,
            holder: self.holder_salt.as_deref().map(|salt| hex(&holder_mark(salt, &self.holder))),
            secret: data_encoding::HEXLOWER.encode(&self.digest),
            made_at: self.made_at,
            once: self.once,
            ends_at: self.ends_at,
            spent_at: self.spent_at,
            revoked_at: self.revoked_at,
        })
    }
}

/// A device's row as far as a deed claims it.
#[derive(FromRow)]
pub struct DeviceRow {
    id: Vec<u8>,
    digest: Vec<u8>,
    link_id: Vec<u8>,
    made_at: i64,
    ends_at: i64,
    ended_at: Option<i64>,
}

impl DeviceRow {
    pub fn claim(&self) -> Result<DeviceClaim, StoreError> {
        Ok(DeviceClaim {
            id: text(&self.id)?,
            link: text(&self.link_id)?,
            secret: data_encoding::HEXLOWER.encode(&self.digest),
            made_at: self.made_at,
            ends_at: self.ends_at,
            ended_at: self.ended_at,
        })
    }
}

const BY_ID: &str = "?1 is null or id = ?1";

fn bytes(id: Option<Uuid>) -> Option<Vec<u8>> {
    id.map(|id| id.as_bytes().to_vec())
}

/// What is to be claimed of one link, or of all.
pub(super) async fn link_claims(db: &mut SqliteConnection, id: Option<Uuid>) -> Result<Vec<LinkClaim>, StoreError> {
    let sql = format!("select * from access_link where {BY_ID} order by id");
    let rows: Vec<LinkRow> = sqlx::query_as(AssertSqlSafe(sql)).bind(bytes(id)).fetch_all(db).await?;
    rows.iter().map(LinkRow::claim).collect()
}

/// What is to be claimed of one device, or of all.
pub(super) async fn device_claims(db: &mut SqliteConnection, id: Option<Uuid>) -> Result<Vec<DeviceClaim>, StoreError> {
    let sql = format!("select * from device where {BY_ID} order by id");
    let rows: Vec<DeviceRow> = sqlx::query_as(AssertSqlSafe(sql)).bind(bytes(id)).fetch_all(db).await?;
    rows.iter().map(DeviceRow::claim).collect()
}

/// A deed as a page shows it.
#[derive(Clone, Debug)]
pub struct Noted {
    pub link: Uuid,
    pub what: String,
    /// The name of who did it; `None` for whoever runs the server.
    pub by: Option<String>,
    pub at: Timestamp,
}

/// What was done with the links of inspectors and marshals of an event, the newest first.
pub async fn notes_of_event(db: &mut SqliteConnection, event: Uuid) -> Result<Vec<Noted>, StoreError> {
    let rows: Vec<(Vec<u8>, String, Option<String>, i64)> = sqlx::query_as(
        "select deed.link_id, deed.what, maker.holder, deed.at from access_deed as deed
         join access_link as link on link.id = deed.link_id left join access_link as maker on maker.id = deed.by_link_id
         where link.event_id = ? and link.entry_id is null order by deed.id desc",
    )
    .bind(&event.as_bytes()[..])
    .fetch_all(db)
    .await?;
    let noted = |(link, what, by, at): (Vec<u8>, String, Option<String>, i64)| {
        Ok(Noted { link: row::id(&link)?, what, by, at: row::time(at)? })
    };
    rows.into_iter().map(noted).collect()
}

/// A deed about an organizer's link, as the organizers' page shows it.
#[derive(Clone, Debug)]
pub struct NotedOfOrganizer {
    /// Whose link it is about.
    pub holder: String,
    pub what: String,
    /// The name of who did it; `None` for whoever runs the server.
    pub by: Option<String>,
    /// The kind of machine it was done from; empty where it is not known.
    pub from: String,
    pub at: Timestamp,
}

#[derive(FromRow)]
struct OfOrganizerRow {
    holder: String,
    what: String,
    by: Option<String>,
    kind: String,
    at: i64,
}

/// What was done with organizers' links and devices, the newest first, up to so many.
pub async fn notes_of_organizers(db: &mut SqliteConnection, most: u32) -> Result<Vec<NotedOfOrganizer>, StoreError> {
    let rows: Vec<OfOrganizerRow> = sqlx::query_as(
        "select link.holder, deed.what, maker.holder as by, coalesce(device.kind, '') as kind, deed.at from access_deed as deed
         join access_link as link on link.id = deed.link_id left join access_link as maker on maker.id = deed.by_link_id
         left join device on device.id = deed.by_device_id
         where link.role = 'organizer' order by deed.id desc limit ?",
    )
    .bind(most)
    .fetch_all(db)
    .await?;
    let noted = |row: OfOrganizerRow| {
        Ok(NotedOfOrganizer { holder: row.holder, what: row.what, by: row.by, from: row.kind, at: row::time(row.at)? })
    };
    rows.into_iter().map(noted).collect()
}
