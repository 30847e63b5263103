//! The one rule: an entry's standing, computed from its history.
//!
//! The history is a graph. Each record names in `seen` the newest records of the entry that its maker had in front of
//! them; a record's *past* is all that is reached by following `seen`. Nothing here asks what arrived first.
//!
//! * **In force** are the submissions that lie in no other submission's past.
//! * **Cleared**: a clear that counts has in its past every submission in force and every hold and withdrawal; the
//!   submissions in force are complete; and none of their stop and fix findings is open for that clear.
//! * **Flagged**: not cleared, and a hold or withdrawal lies in no counting clear's past, or a submission in force has a
//!   finding that no counting clear closes.
//! * **Pending**: everything else.

use super::words::ItemId;
use std::collections::{BTreeMap, BTreeSet};
use std::fmt;

/// What a record does.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Deed {
    Submission {
        /// Every item of the edition in force that must be answered is answered.
        complete: bool,
        /// The items with a stop or fix finding.
        open: BTreeSet<ItemId>,
    },
    Clear {
        /// Items whose finding the inspector saw put right.
        closes: BTreeSet<ItemId>,
        /// False where its maker had no right to clear, or the device was revoked.
        counts: bool,
    },
    Hold,
    Withdrawal,
}

/// One record of an entry's history, as far as the rule looks at it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Record<Id> {
    pub id: Id,
    pub seen: BTreeSet<Id>,
    pub deed: Deed,
}

/// Where an entry stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Standing {
    Pending,
    Flagged,
    Cleared,
}

impl Standing {
    /// The word, as every page and file writes it.
    pub fn word(self) -> &'static str {
        match self {
            Standing::Pending => "pending",
            Standing::Flagged => "flagged",
            Standing::Cleared => "cleared",
        }
    }
}

impl fmt::Display for Standing {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.word())
    }
}

/// The rule's answer, with what it rests on.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Judgement<Id> {
    pub standing: Standing,
    pub because: Vec<Because<Id>>,
    /// Submissions in force: usually one.
    pub in_force: Vec<Id>,
    /// Items of the submissions in force with a finding that no counting clear closes.
    pub still_open: BTreeSet<ItemId>,
    /// The clear that clears the entry.
    pub cleared_by: Option<Id>,
    /// The newest records: what a page that shows all of this history has seen.
    pub heads: Vec<Id>,
}

/// One reason for a standing.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Because<Id> {
    NothingSent,
    Incomplete(Id),
    OpenFinding(Id, ItemId),
    HoldStands(Id),
    WithdrawalStands(Id),
    /// Submissions that do not know of each other.
    TwoInForce(Vec<Id>),
    ClearDoesNotCount(Id),
    ClearHasNotSeen(Id, Id),
    ClearWaitsFor(Id),
    WaitsForTheGate,
    Cleared(Id),
}

impl<Id: fmt::Display> fmt::Display for Because<Id> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Because::NothingSent => write!(f, "Nothing has been sent."),
            Because::Incomplete(id) => write!(f, "Submission {id} is not complete."),
            Because::OpenFinding(id, item) => write!(f, "The finding on {item} of submission {id} is open."),
            Because::HoldStands(id) => write!(f, "Hold {id} stands: no clear has seen it."),
            Because::WithdrawalStands(id) => write!(f, "Withdrawal {id} stands: no clear has seen it."),
            Because::TwoInForce(ids) => write!(f, "{} submissions that do not know of each other are in force.", ids.len()),
            Because::ClearDoesNotCount(id) => write!(f, "Clear {id} does not count: its maker or device has no right to it."),
            Because::ClearHasNotSeen(id, other) => write!(f, "Clear {id} has not seen {other}."),
            Because::ClearWaitsFor(id) => {
                write!(f, "Clear {id} names a record that has not arrived; it does not count until then.")
            }
            Because::WaitsForTheGate => write!(f, "Waits for the gate."),
            Because::Cleared(id) => write!(f, "Cleared by {id}."),
        }
    }
}

/// A history that cannot be one.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum BadHistory<Id: fmt::Display> {
    #[error("record {0} is there twice with different content")]
    TwoOfOneId(Id),
    #[error("record {0} has seen itself: the history goes in a circle")]
    Circle(Id),
}

/// A history put in order: the records by id, and the past of each.
struct History<Id> {
    records: BTreeMap<Id, Record<Id>>,
    past: BTreeMap<Id, BTreeSet<Id>>,
}

impl<Id: Ord + Clone + fmt::Display> History<Id> {
    fn new(records: impl IntoIterator<Item = Record<Id>>) -> Result<Self, BadHistory<Id>> {
        let mut by_id: BTreeMap<Id, Record<Id>> = BTreeMap::new();
        for record in records {
            if by_id.get(&record.id).is_some_and(|known| *known != record) {
                return Err(BadHistory::TwoOfOneId(record.id));
            }
            by_id.insert(record.id.clone(), record);
        }
        let mut history = History { records: by_id, past: BTreeMap::new() };
        for id in history.oldest_first()? {
            let mut past = BTreeSet::new();
            for seen in history.records.get(&id).into_iter().flat_map(|record| &record.seen) {
                past.insert(seen.clone());
                past.extend(history.past.get(seen).into_iter().flatten().cloned());
            }
            history.past.insert(id, past);
        }
        Ok(history)
    }

    /// The ids so that each comes after all it has seen. A record that never becomes free is in a circle.
    fn oldest_first(&self) -> Result<Vec<Id>, BadHistory<Id>> {
        let mut waits: BTreeMap<&Id, usize> = BTreeMap::new();
        let mut seen_by: BTreeMap<&Id, Vec<&Id>> = BTreeMap::new();
        for (id, record) in &self.records {
            let known = record.seen.iter().filter(|seen| self.records.contains_key(seen));
            waits.insert(id, known.clone().count());
            known.for_each(|seen| seen_by.entry(seen).or_default().push(id));
        }
        let mut free: Vec<&Id> = waits.iter().filter(|(_, count)| **count == 0).map(|(id, _)| *id).collect();
        let mut ordered = Vec::new();
        while let Some(id) = free.pop() {
            ordered.push(id.clone());
            for later in seen_by.get(id).into_iter().flatten() {
                if let Some(count) = waits.get_mut(later) {
                    *count -= 1;
                    if *count == 0 {
                        free.push(later);
                    }
                }
            }
        }
        match waits.into_iter().find(|(_, count)| *count > 0) {
            Some((id, _)) => Err(BadHistory::Circle(id.clone())),
            None => Ok(ordered),
        }
    }

    fn has_seen(&self, id: &Id, other: &Id) -> bool {
        self.past.get(id).is_some_and(|past| past.contains(other))
    }

    /// Whether the record's past holds an id that is not here.
    fn waits(&self, id: &Id) -> bool {
        self.past.get(id).is_some_and(|past| past.iter().any(|seen| !self.records.contains_key(seen)))
    }

    fn ids(&self, which: impl Fn(&Deed) -> bool) -> Vec<&Id> {
        self.records.values().filter(|record| which(&record.deed)).map(|record| &record.id).collect()
    }

    /// The clears that count, each with what it closes.
    fn counting(&self) -> Vec<(&Id, &BTreeSet<ItemId>)> {
        let clears = self.records.values().filter_map(|record| match &record.deed {
            Deed::Clear { closes, counts: true } if !self.waits(&record.id) => Some((&record.id, closes)),
            _ => None,
        });
        clears.collect()
    }
}

/// Applies the rule to an entry's history, in whatever order the records come.
///
/// # Errors
/// [`BadHistory`] where one id has two contents or a record has, over others, seen itself.
///
/// # Example: a clear of the first submission does not clear the second
/// ```
/// use witnessmark::rules::standing::{Deed, Record, Standing, standing};
/// let sent = |id: &'static str, seen: &[&'static str]| Record {
///     id, seen: seen.iter().copied().collect(), deed: Deed::Submission { complete: true, open: Default::default() },
/// };
/// let clear = Record { id: "c", seen: ["s1"].into(), deed: Deed::Clear { closes: Default::default(), counts: true } };
/// assert_eq!(standing([sent("s1", &[]), clear.clone()]).unwrap().standing, Standing::Cleared);
/// assert_eq!(standing([sent("s2", &["s1"]), clear, sent("s1", &[])]).unwrap().standing, Standing::Pending);
/// ```
pub fn standing<Id>(records: impl IntoIterator<Item = Record<Id>>) -> Result<Judgement<Id>, BadHistory<Id>>
where
    Id: Ord + Clone + fmt::Display,
{
    let history = History::new(records)?;
    let submissions = history.ids(|deed| matches!(deed, Deed::Submission { .. }));
    let in_force: Vec<&Id> =
        submissions.iter().filter(|id| !submissions.iter().any(|other| history.has_seen(other, id))).copied().collect();
    let bars = history.ids(|deed| matches!(deed, Deed::Hold | Deed::Withdrawal));
    let counting = history.counting();

    let mut because = Vec::new();
    let (mut still_open, mut findings) = (BTreeSet::new(), Vec::new());
    let mut complete = !in_force.is_empty();
    if in_force.is_empty() {
        because.push(Because::NothingSent);
    }
    if in_force.len() > 1 {
        because.push(Because::TwoInForce(in_force.iter().map(|id| (*id).clone()).collect()));
    }
    for id in &in_force {
        let Some(Deed::Submission { complete: whole, open }) = history.records.get(*id).map(|record| &record.deed) else {
            continue;
        };
        if !whole {
            complete = false;
            because.push(Because::Incomplete((*id).clone()));
        }
        findings.extend(open.iter().map(|item| (*id, item)));
    }
    let closes =
        |(clear, items): &(&Id, &BTreeSet<ItemId>), of: &Id, item: &ItemId| items.contains(item) && history.has_seen(clear, of);
    for (id, item) in &findings {
        if !counting.iter().any(|clear| closes(clear, id, item)) {
            still_open.insert((*item).clone());
            because.push(Because::OpenFinding((*id).clone(), (*item).clone()));
        }
    }
    let standing_bars: Vec<&Id> =
        bars.iter().filter(|bar| !counting.iter().any(|(clear, _)| history.has_seen(clear, bar))).copied().collect();

    let clears_it = |clear: &Id| {
        in_force.iter().chain(&bars).all(|id| history.has_seen(clear, id))
            && findings.iter().all(|(of, item)| {
                counting.iter().any(|by| (by.0 == clear || history.has_seen(clear, by.0)) && closes(by, of, item))
            })
    };
    let cleared_by = counting.iter().map(|(id, _)| *id).filter(|_| complete).filter(|id| clears_it(id)).max().cloned();
    let standing = match &cleared_by {
        Some(id) => {
            because = vec![Because::Cleared(id.clone())];
            Standing::Cleared
        }
        None if !standing_bars.is_empty() || !still_open.is_empty() => Standing::Flagged,
        None => Standing::Pending,
    };
    if standing != Standing::Cleared {
        explain_bars_and_clears(&history, &in_force, &bars, &standing_bars, &mut because);
    }
    if because.is_empty() {
        because.push(Because::WaitsForTheGate);
    }
    Ok(Judgement {
        standing,
        because,
        in_force: in_force.into_iter().cloned().collect(),
        still_open,
        cleared_by,
        heads: history
            .records
            .keys()
            .filter(|id| !history.records.keys().any(|other| history.has_seen(other, id)))
            .cloned()
            .collect(),
    })
}

/// Says which holds stand and why a clear that is there does not clear.
fn explain_bars_and_clears<Id: Ord + Clone + fmt::Display>(
    history: &History<Id>,
    in_force: &[&Id],
    bars: &[&Id],
    standing_bars: &[&Id],
    because: &mut Vec<Because<Id>>,
) {
    for bar in standing_bars {
        because.push(match history.records.get(*bar).map(|record| &record.deed) {
            Some(Deed::Withdrawal) => Because::WithdrawalStands((*bar).clone()),
            _ => Because::HoldStands((*bar).clone()),
        });
    }
    for clear in history.ids(|deed| matches!(deed, Deed::Clear { .. })) {
        let counts = matches!(history.records.get(clear).map(|record| &record.deed), Some(Deed::Clear { counts: true, .. }));
        if !counts {
            because.push(Because::ClearDoesNotCount(clear.clone()));
        } else if history.waits(clear) {
            because.push(Because::ClearWaitsFor(clear.clone()));
        } else if let Some(unseen) = in_force.iter().chain(bars).find(|id| !history.has_seen(clear, id)) {
            because.push(Because::ClearHasNotSeen(clear.clone(), (*unseen).clone()));
        }
    }
}
