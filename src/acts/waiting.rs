//! What waits at the gate. The order is the chain's place: a clock that was put right in between lets nobody jump the queue.

use super::state::EntryState;
use crate::store::history::{Kind, Record};
use jiff::Timestamp;
use std::collections::{HashMap, HashSet};
use uuid::Uuid;

/// A submission that waits for the gate.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Waiting {
    /// Its place in the event's chain: who waits longest is told by it.
    pub place: i64,
    /// When it arrived, to be shown.
    pub since: Timestamp,
}

/// The first complete submission in force that no sign-off has seen.
pub fn waiting(state: &EntryState) -> Option<Waiting> {
    let seen = seen_at_the_gate(&state.records);
    let waits = |record: &&Record| {
        let sent = state.in_force.iter().find(|sent| sent.id == record.id);
        sent.is_some_and(|sent| sent.judged.is_complete()) && !seen.contains(&record.id)
    };
    let first = state.records.iter().filter(waits).min_by_key(|record| record.place)?;
    Some(Waiting { place: first.place, since: first.arrived_at })
}

/// Every record that a clear or a hold has seen, over others too.
fn seen_at_the_gate(records: &[Record]) -> HashSet<Uuid> {
    let by_id: HashMap<Uuid, &Record> = records.iter().map(|record| (record.id, record)).collect();
    let at_the_gate = records.iter().filter(|record| matches!(record.kind, Kind::Clear | Kind::Hold));
    let mut todo: Vec<Uuid> = at_the_gate.flat_map(|record| record.seen.iter().copied()).collect();
    let mut seen = HashSet::new();
    while let Some(id) = todo.pop() {
        if seen.insert(id) {
            todo.extend(by_id.get(&id).into_iter().flat_map(|record| record.seen.iter().copied()));
        }
    }
    seen
}
