//! Pages kept as bytes while nothing changes: plain and packed, answered from memory.

use super::assets::{pack, takes_gzip};
use axum::body::Bytes;
use axum::http::{HeaderMap, header};
use axum::response::{IntoResponse, Response};
use flate2::Compression;
use std::collections::HashMap;
use std::sync::{Mutex, PoisonError};
use uuid::Uuid;

#[derive(Clone)]
pub(super) struct KeptPage {
    version: u64,
    plain: Bytes,
    packed: Bytes,
}

impl KeptPage {
    pub(super) fn new(version: u64, html: String) -> KeptPage {
        let packed = pack(html.as_bytes(), Compression::fast()).into();
        KeptPage { version, plain: html.into(), packed }
    }

    pub(super) fn respond(&self, headers: &HeaderMap) -> Response {
        let kind = (header::CONTENT_TYPE, "text/html; charset=utf-8");
        let keep = [kind, (header::CACHE_CONTROL, "no-store"), (header::VARY, "accept-encoding")];
        if takes_gzip(headers) {
            (keep, [(header::CONTENT_ENCODING, "gzip")], self.packed.clone()).into_response()
        } else {
            (keep, self.plain.clone()).into_response()
        }
    }
}

/// The most pages that are kept: one or two for each event that somebody watches.
const MOST: usize = 32;

/// Kept pages by event.
#[derive(Default)]
pub(super) struct KeptPages(Mutex<HashMap<Uuid, KeptPage>>);

impl KeptPages {
    /// The page of this event if it is still of this version.
    pub(super) fn get(&self, event: Uuid, version: u64) -> Option<KeptPage> {
        let kept = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        kept.get(&event).filter(|page| page.version == version).cloned()
    }

    pub(super) fn put(&self, event: Uuid, page: KeptPage) {
        let mut kept = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if kept.len() >= MOST {
            kept.clear();
        }
        kept.insert(event, page);
    }
}
