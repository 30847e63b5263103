//! A record's row, and what is made of it.

use super::{ERASED, EventKind, EventRecord, Kind, Maker, Record};
use crate::rules::chain::Sealed;
use crate::store::{StoreError, row};
use sqlx::FromRow;
use uuid::Uuid;

#[derive(FromRow)]
pub struct Row {
    pub(super) id: Vec<u8>,
    event_id: Vec<u8>,
    pub(super) entry_id: Option<Vec<u8>>,
    place: i64,
    pub(super) kind: String,
    pub(super) seen: String,
    pub(super) body: String,
    number: Option<u32>,
    made_at: i64,
    arrived_at: i64,
    maker: Option<String>,
    maker_salt: Option<String>,
    maker_mark: Option<Vec<u8>>,
    maker_role: String,
    pub(super) link_id: Option<Vec<u8>>,
    device_id: Option<Vec<u8>>,
    counts: bool,
    form: u8,
    edition_id: Option<Vec<u8>>,
    edition_digest: Option<Vec<u8>>,
    event_digest: Option<Vec<u8>>,
    entry_digest: Option<Vec<u8>>,
    entry_before: Option<Vec<u8>>,
    event_before: Option<Vec<u8>>,
    hash: Vec<u8>,
}

fn hex(bytes: &[u8]) -> String {
    data_encoding::HEXLOWER.encode(bytes)
}

fn there<T>(value: Option<T>, what: &str) -> Result<T, StoreError> {
    value.ok_or_else(|| StoreError::Unreadable(format!("{what} is missing")))
}

impl Row {
    fn maker(maker: Option<String>, role: String, link: &[u8], device: &[u8]) -> Result<Maker, StoreError> {
        Ok(Maker { name: maker.unwrap_or_else(|| ERASED.into()), role, link: row::id(link)?, device: row::id(device)? })
    }

    pub(super) fn record(self) -> Result<Record, StoreError> {
        let (link, device) = (there(self.link_id, "the maker's link")?, there(self.device_id, "the maker's device")?);
        Ok(Record {
            place: self.place,
            form: self.form,
            edition: self.edition_id.as_deref().map(row::id).transpose()?,
            edition_digest: self.edition_digest.as_deref().map(hex),
            id: row::id(&self.id)?,
            entry: row::id(&there(self.entry_id, "the entry")?)?,
            kind: Kind::parse(&self.kind).ok_or_else(|| StoreError::Unreadable(format!("the kind {}", self.kind)))?,
            seen: row::ids_from_json(&self.seen)?,
            body: self.body,
            number: self.number,
            made_at: row::time(self.made_at)?,
            arrived_at: row::time(self.arrived_at)?,
            maker: Row::maker(self.maker, self.maker_role, &link, &device)?,
            counts: self.counts,
        })
    }

    pub(super) fn event_record(self) -> Result<EventRecord, StoreError> {
        let maker = match (&self.link_id, &self.device_id) {
            (Some(link), Some(device)) => Some(Row::maker(self.maker, self.maker_role, link, device)?),
            _ => None,
        };
        Ok(EventRecord {
            place: self.place,
            id: row::id(&self.id)?,
            kind: EventKind::parse(&self.kind).ok_or_else(|| StoreError::Unreadable(format!("the kind {}", self.kind)))?,
            body: self.body,
            made_at: row::time(self.made_at)?,
            arrived_at: row::time(self.arrived_at)?,
            maker,
            edition: row::id(&there(self.edition_id, "the edition")?)?,
            edition_digest: hex(&there(self.edition_digest, "the edition's digest")?),
            event_digest: hex(&there(self.event_digest, "the event's digest")?),
        })
    }

    pub fn sealed(self) -> Result<Sealed, StoreError> {
        let id = |bytes: &Vec<u8>| row::id(bytes).map(|id| id.to_string());
        let maybe_id = |bytes: &Option<Vec<u8>>| bytes.as_ref().map(id).transpose();
        Ok(Sealed {
            form: self.form,
            place: u64::try_from(self.place).map_err(|_| StoreError::Unreadable("a place".into()))?,
            id: id(&self.id)?,
            event: id(&self.event_id)?,
            entry: maybe_id(&self.entry_id)?,
            kind: self.kind,
            seen: row::ids_from_json(&self.seen)?.iter().map(Uuid::to_string).collect(),
            body: self.body,
            number: self.number,
            made_at: self.made_at,
            arrived_at: self.arrived_at,
            maker: self.maker,
            maker_salt: self.maker_salt,
            maker_mark: self.maker_mark.as_deref().map(hex),
            maker_role: self.maker_role,
            link: maybe_id(&self.link_id)?,
            device: maybe_id(&self.device_id)?,
            counts: self.counts,
            edition: maybe_id(&self.edition_id)?,
            edition_digest: self.edition_digest.as_deref().map(hex),
            event_digest: self.event_digest.as_deref().map(hex),
            entry_digest: self.entry_digest.as_deref().map(hex),
            entry_before: self.entry_before.as_deref().map(hex),
            event_before: self.event_before.as_deref().map(hex),
            hash: hex(&self.hash),
        })
    }
}
