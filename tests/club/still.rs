//! A clock that stands still and ids in a row.

use jiff::Timestamp;
use std::sync::Arc;
use std::sync::atomic::{AtomicI64, AtomicU64, Ordering};
use uuid::Uuid;
use witnessmark::acts::house::Outside;

/// Time that moves only when a test says so, ids and secrets that are the same at every run.
pub struct Still {
    milliseconds: AtomicI64,
    ids: AtomicU64,
}

impl Still {
    /// The event's morning: 2026-05-09, 07:00 in London.
    pub fn new() -> Arc<Still> {
        let morning: Timestamp = "2026-05-09T06:00:00Z".parse().expect("a time");
        Arc::new(Still { milliseconds: AtomicI64::new(morning.as_millisecond()), ids: AtomicU64::new(1) })
    }

    pub fn pass(&self, minutes: i64) {
        self.milliseconds.fetch_add(minutes * 60_000, Ordering::Relaxed);
    }
}

impl Outside for Still {
    fn now(&self) -> Timestamp {
        Timestamp::from_millisecond(self.milliseconds.load(Ordering::Relaxed)).expect("a time")
    }

    fn new_id(&self) -> Uuid {
        let nth = self.ids.fetch_add(1, Ordering::Relaxed);
        uuid::Builder::from_unix_timestamp_millis(self.milliseconds.load(Ordering::Relaxed) as u64, &ten_bytes(nth)).into_uuid()
    }

    fn new_secret(&self) -> [u8; 20] {
        let nth = self.ids.fetch_add(1, Ordering::Relaxed);
        let mut secret = [7; 20];
        secret[..8].copy_from_slice(&nth.to_be_bytes());
        secret
    }
}

fn ten_bytes(nth: u64) -> [u8; 10] {
    let mut bytes = [0; 10];
    bytes[2..].copy_from_slice(&nth.to_be_bytes());
    bytes
}
