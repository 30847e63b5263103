//! Chance that is the same at every run: a failing story can be told again.

use uuid::Uuid;

/// Steele, Lea and Flood's SplitMix64 ("Fast splittable pseudorandom number generators", 2014; from memory).
#[derive(Clone)]
pub struct Dice(u64);

impl Dice {
    pub fn new(seed: u64) -> Dice {
        Dice(seed)
    }

    /// Other dice, for somebody who throws at the same time.
    pub fn hand_over(&mut self) -> Dice {
        Dice(self.throw())
    }

    pub fn throw(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        mixed ^ (mixed >> 31)
    }

    /// From `low` to `high`, both possible.
    pub fn between(&mut self, low: u64, high: u64) -> u64 {
        low + self.throw() % (high - low + 1)
    }

    /// True once in so many throws.
    pub fn once_in(&mut self, count: u64) -> bool {
        self.throw().is_multiple_of(count)
    }

    /// An id as a device makes it, UUIDv7.
    pub fn id(&mut self) -> Uuid {
        let mut bytes = [0; 10];
        bytes[..8].copy_from_slice(&self.throw().to_be_bytes());
        bytes[8..].copy_from_slice(&self.throw().to_be_bytes()[..2]);
        // 2026-05-09 06:00 UTC and up to a day more: the order of ids says nothing of the order of records.
        uuid::Builder::from_unix_timestamp_millis(1_778_306_400_000 + self.between(0, 86_400_000), &bytes).into_uuid()
    }
}
