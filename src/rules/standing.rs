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

/// A set of records by their place in the history.
#[derive(Clone, Debug, Default)]
struct Places(Vec<u64>);

impl Places {
    fn insert(&mut self, place: usize) {
        if self.0.len() <= place / 64 {
            self.0.resize(place / 64 + 1, 0);
        }
        self.0[place / 64] |= 1 << (place % 64);
    }

    fn has(&self, place: usize) -> bool {
        self.0.get(place / 64).is_some_and(|word| word & (1 << (place % 64)) != 0)
    }

    fn add(&mut self, other: &Places) {
        if self.0.len() < other.0.len() {
            self.0.resize(other.0.len(), 0);
        }
        self.0.iter_mut().zip(&other.0).for_each(|(word, more)| *word |= more);
    }
}

/// A history put in order: the records by id, and the past of each.
struct History<Id> {
    records: Vec<Record<Id>>,
    past: Vec<Places>,
    /// Whether a record's past names an id that is not here.
    waits: Vec<bool>,
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
        let place_of: BTreeMap<Id, usize> = by_id.keys().cloned().zip(0..).collect();
        let records: Vec<Record<Id>> = by_id.into_values().collect();
        let seen: Vec<Vec<Option<usize>>> =
            records.iter().map(|record| record.seen.iter().map(|id| place_of.get(id).copied()).collect()).collect();
        let mut past = vec![Places::default(); records.len()];
        let mut waits = vec![false; records.len()];
        for place in oldest_first(&seen).map_err(|place| BadHistory::Circle(records[place].id.clone()))? {
            let mut all = Places::default();
            for other in &seen[place] {
                match other {
                    Some(other) => {
                        all.insert(*other);
                        all.add(&past[*other]);
                        waits[place] |= waits[*other];
                    }
                    None => waits[place] = true,
                }
            }
            past[place] = all;
        }
        Ok(History { records, past, waits })
    }

    fn id(&self, place: usize) -> Id {
        self.records[place].id.clone()
    }

    fn has_seen(&self, place: usize, other: usize) -> bool {
        self.past[place].has(other)
    }

    fn places(&self, which: impl Fn(&Deed) -> bool) -> Vec<usize> {
        (0..self.records.len()).filter(|place| which(&self.records[*place].deed)).collect()
    }

    /// All that any of these has seen.
    fn seen_by(&self, places: impl IntoIterator<Item = usize>) -> Places {
        let mut all = Places::default();
        places.into_iter().for_each(|place| all.add(&self.past[place]));
        all
    }

    /// The clears that count, each with what it closes.
    fn counting(&self) -> Vec<(usize, &BTreeSet<ItemId>)> {
        let clears = self.records.iter().enumerate().filter_map(|(place, record)| match &record.deed {
            Deed::Clear { closes, counts: true } if !self.waits[place] => Some((place, closes)),
            _ => None,
        });
        clears.collect()
    }
}

/// The places so that each comes after all it has seen; the error is a place in a circle, which never becomes free.
fn oldest_first(seen: &[Vec<Option<usize>>]) -> Result<Vec<usize>, usize> {
    let mut waits = vec![0usize; seen.len()];
    let mut seen_by: Vec<Vec<usize>> = vec![Vec::new(); seen.len()];
    for (place, others) in seen.iter().enumerate() {
        for other in others.iter().flatten() {
            waits[place] += 1;
            seen_by[*other].push(place);
        }
    }
    let mut free: Vec<usize> = (0..seen.len()).filter(|place| waits[*place] == 0).collect();
    let mut ordered = Vec::with_capacity(seen.len());
    while let Some(place) = free.pop() {
        ordered.push(place);
        for later in &seen_by[place] {
            waits[*later] -= 1;
            if waits[*later] == 0 {
                free.push(*later);
            }
        }
    }
    waits.iter().position(|count| *count > 0).map_or(Ok(ordered), Err)
}

/// Applies the rule to an entry's history, in whatever order the records come.
///
/// Takes time and memory with the square of the history's length, divided by 64: ten thousand records take about 13 MB.
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
    let submissions = history.places(|deed| matches!(deed, Deed::Submission { .. }));
    let older = history.seen_by(submissions.iter().copied());
    let in_force: Vec<usize> = submissions.into_iter().filter(|place| !older.has(*place)).collect();
    let bars = history.places(|deed| matches!(deed, Deed::Hold | Deed::Withdrawal));
    let counting = history.counting();
    let answered = history.seen_by(counting.iter().map(|(clear, _)| *clear));
    let standing_bars: Vec<usize> = bars.iter().copied().filter(|bar| !answered.has(*bar)).collect();

    let mut because = Vec::new();
    let (mut still_open, mut findings) = (BTreeSet::new(), Vec::new());
    let mut complete = !in_force.is_empty();
    match in_force.as_slice() {
        [] => because.push(Because::NothingSent),
        [_] => {}
        several => because.push(Because::TwoInForce(several.iter().map(|place| history.id(*place)).collect())),
    }
    for place in &in_force {
        let Deed::Submission { complete: whole, open } = &history.records[*place].deed else { continue };
        if !whole {
            complete = false;
            because.push(Because::Incomplete(history.id(*place)));
        }
        findings.extend(open.iter().map(|item| (*place, item)));
    }
    let closes = |(clear, items): &(usize, &BTreeSet<ItemId>), of: usize, item: &ItemId| {
        items.contains(item) && history.has_seen(*clear, of)
    };
    for (place, item) in &findings {
        if !counting.iter().any(|clear| closes(clear, *place, item)) {
            still_open.insert((*item).clone());
            because.push(Because::OpenFinding(history.id(*place), (*item).clone()));
        }
    }
    let clears_it = |clear: usize| {
        in_force.iter().chain(&bars).all(|place| history.has_seen(clear, *place))
            && findings.iter().all(|(of, item)| {
                counting.iter().any(|by| (by.0 == clear || history.has_seen(clear, by.0)) && closes(by, *of, item))
            })
    };
    // Places follow the ids: of several clears that clear it, the one with the greatest id is named.
    let cleared_by = counting.iter().map(|(clear, _)| *clear).rev().find(|clear| complete && clears_it(*clear));
    let standing = match cleared_by {
        Some(clear) => {
            because = vec![Because::Cleared(history.id(clear))];
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
    let not_newest = history.seen_by(0..history.records.len());
    Ok(Judgement {
        standing,
        because,
        in_force: in_force.into_iter().map(|place| history.id(place)).collect(),
        still_open,
        cleared_by: cleared_by.map(|place| history.id(place)),
        heads: (0..history.records.len()).filter(|place| !not_newest.has(*place)).map(|place| history.id(place)).collect(),
    })
}

/// Says which holds stand and why a clear that is there does not clear.
fn explain_bars_and_clears<Id: Ord + Clone + fmt::Display>(
    history: &History<Id>,
    in_force: &[usize],
    bars: &[usize],
    standing_bars: &[usize],
    because: &mut Vec<Because<Id>>,
) {
    for bar in standing_bars {
        because.push(match history.records[*bar].deed {
            Deed::Withdrawal => Because::WithdrawalStands(history.id(*bar)),
            _ => Because::HoldStands(history.id(*bar)),
        });
    }
    for clear in history.places(|deed| matches!(deed, Deed::Clear { .. })) {
        let counts = matches!(history.records[clear].deed, Deed::Clear { counts: true, .. });
        if !counts {
            because.push(Because::ClearDoesNotCount(history.id(clear)));
        } else if history.waits[clear] {
            because.push(Because::ClearWaitsFor(history.id(clear)));
        } else if let Some(unseen) = in_force.iter().chain(bars).find(|place| !history.has_seen(clear, **place)) {
            because.push(Because::ClearHasNotSeen(history.id(clear), history.id(*unseen)));
        }
    }
}
