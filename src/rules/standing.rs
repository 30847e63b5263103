//! The one rule: an entry's standing, computed from its history.
//!
//! The history is a graph ([`super::graph`]). Each record names in `seen` the newest records of the entry that its maker had in
//! front of them; a record's *past* is all that is reached by following `seen`. Nothing here asks what arrived first.
//!
//! * **In force** are the submissions that lie in no other submission's past.
//! * **A clear counts** where its maker had the right to it, its past names no unknown id, and it stands in no circle.
//! * **Cleared**: a clear that counts has in its past every submission in force and every hold and withdrawal; the
//!   submissions in force are complete; none of their stop and fix findings is open for that clear; and the hand checks that the
//!   edition in force asks were ticked in it, or in clears of its past that count and have seen every withdrawal it has seen.
//! * **Flagged**: not cleared, and a hold or withdrawal lies in no counting clear's past, or a submission in force has a
//!   finding that no counting clear closes.
//! * **Pending**: everything else.

use super::graph::Graph;
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
        /// Hand checks that the inspector ticked.
        by_hand: BTreeSet<ItemId>,
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
    /// Hand checks that a new clear, having seen all there is, would still have to carry.
    pub by_hand_left: BTreeSet<ItemId>,
    /// Whether a counting clear has seen every submission in force, hold and withdrawal.
    pub is_seen_whole: bool,
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
    ClearInCircle(Id),
    /// Hand checks that a clear, with those before it, does not carry.
    NotByHand(Id, BTreeSet<ItemId>),
    /// Something in the history cannot be read; the sentence says what.
    Unreadable(String),
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
            Because::ClearInCircle(id) => {
                write!(f, "Clear {id} does not count: through others it names itself as seen.")
            }
            Because::NotByHand(id, items) => {
                let items: Vec<&str> = items.iter().map(ItemId::as_str).collect();
                write!(f, "Clear {id} lacks checks by hand: {}.", items.join(", "))
            }
            Because::Unreadable(what) => write!(f, "Something of this entry cannot be read: {what}."),
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
}

/// Applies the rule to an entry's history, in whatever order the records come. `by_hand` are the hand checks that the edition in
/// force asks of this car.
///
/// # Errors
/// [`BadHistory`] where one id has two contents.
///
/// # Example: a clear of the first submission does not clear the second
/// ```
/// use witnessmark::rules::standing::{Deed, Record, Standing, standing};
/// let sent = |id: &'static str, seen: &[&'static str]| Record {
///     id, seen: seen.iter().copied().collect(), deed: Deed::Submission { complete: true, open: Default::default() },
/// };
/// let deed = Deed::Clear { closes: Default::default(), by_hand: Default::default(), counts: true };
/// let clear = Record { id: "c", seen: ["s1"].into(), deed };
/// let asked = Default::default();
/// assert_eq!(standing([sent("s1", &[]), clear.clone()], &asked).unwrap().standing, Standing::Cleared);
/// assert_eq!(standing([sent("s2", &["s1"]), clear, sent("s1", &[])], &asked).unwrap().standing, Standing::Pending);
/// ```
pub fn standing<Id>(
    records: impl IntoIterator<Item = Record<Id>>,
    by_hand: &BTreeSet<ItemId>,
) -> Result<Judgement<Id>, BadHistory<Id>>
where
    Id: Ord + Clone + fmt::Display,
{
    let mut by_id: BTreeMap<Id, Record<Id>> = BTreeMap::new();
    for record in records {
        if by_id.get(&record.id).is_some_and(|known| *known != record) {
            return Err(BadHistory::TwoOfOneId(record.id));
        }
        by_id.insert(record.id.clone(), record);
    }
    let graph = Graph::new(by_id.values().map(|record| (record.id.clone(), record.seen.iter().cloned())));
    let deeds: Vec<Deed> = by_id.into_values().map(|record| record.deed).collect();
    Ok(standing_in(&graph, &deeds, by_hand))
}

/// The submissions in force: those that lie in no other submission's past. `submissions` are their places.
pub fn in_force<Id: Ord + Clone>(graph: &Graph<Id>, submissions: impl IntoIterator<Item = usize> + Clone) -> Vec<usize> {
    graph.newest(submissions)
}

/// Applies the rule to a graph and what each record at its places does.
pub fn standing_in<Id: Ord + Clone>(graph: &Graph<Id>, deeds: &[Deed], by_hand: &BTreeSet<ItemId>) -> Judgement<Id> {
    let history = History::new(graph, deeds);
    let findings = history.findings();
    let still_open: BTreeSet<ItemId> = findings
        .iter()
        .filter(|(of, item)| !history.counting.iter().any(|clear| clear.closes(graph, *of, item)))
        .map(|(_, item)| (*item).clone())
        .collect();
    let complete = !history.in_force.is_empty()
        && history.in_force.iter().all(|place| matches!(deeds[*place], Deed::Submission { complete: true, .. }));
    // Places follow the ids: of several clears that clear it, the one with the greatest id is named.
    let clears = |clear: &&Counting<'_>| complete && history.clears(clear, &findings) && history.lacks(clear, by_hand).is_empty();
    let cleared_by = history.counting.iter().rev().find(clears).map(|clear| graph.id(clear.place));
    let standing = match &cleared_by {
        Some(_) => Standing::Cleared,
        None if !history.standing_bars.is_empty() || !still_open.is_empty() => Standing::Flagged,
        None => Standing::Pending,
    };
    let because = match &cleared_by {
        Some(clear) => vec![Because::Cleared(clear.clone())],
        None => history.why_not(&findings, &still_open, by_hand),
    };
    let ids = |places: &[usize]| places.iter().map(|place| graph.id(*place)).collect();
    Judgement {
        standing,
        because,
        in_force: ids(&history.in_force),
        still_open,
        by_hand_left: history.left_to_check(by_hand),
        is_seen_whole: history.counting.iter().any(|clear| history.has_seen_all(clear)),
        cleared_by,
        heads: ids(&graph.newest(0..graph.len())),
    }
}

impl<Id> Judgement<Id> {
    /// The same where something of the history cannot be read: never cleared, and it says so.
    pub fn with_unreadable(mut self, what: impl IntoIterator<Item = String>) -> Judgement<Id> {
        let unreadable: Vec<Because<Id>> = what.into_iter().map(Because::Unreadable).collect();
        if unreadable.is_empty() {
            return self;
        }
        if self.standing == Standing::Cleared {
            self.because.clear();
        }
        (self.standing, self.cleared_by) = (Standing::Flagged, None);
        self.because.splice(0..0, unreadable);
        self
    }
}

/// A clear that counts.
struct Counting<'d> {
    place: usize,
    closes: &'d BTreeSet<ItemId>,
    by_hand: &'d BTreeSet<ItemId>,
}

impl Counting<'_> {
    /// Whether it closes a finding of a submission: it has seen the submission and names the item.
    fn closes<Id: Ord + Clone>(&self, graph: &Graph<Id>, submission: usize, item: &ItemId) -> bool {
        self.closes.contains(item) && graph.has_seen(self.place, submission)
    }
}

/// The history with what the rule asks of it, by place.
struct History<'d, Id> {
    graph: &'d Graph<Id>,
    deeds: &'d [Deed],
    in_force: Vec<usize>,
    /// Holds and withdrawals.
    bars: Vec<usize>,
    /// Those that no counting clear has seen.
    standing_bars: Vec<usize>,
    counting: Vec<Counting<'d>>,
}

impl<'d, Id: Ord + Clone> History<'d, Id> {
    fn new(graph: &'d Graph<Id>, deeds: &'d [Deed]) -> Self {
        let places =
            |which: fn(&Deed) -> bool| -> Vec<usize> { (0..deeds.len()).filter(|place| which(&deeds[*place])).collect() };
        let counts = |place: usize| match &deeds[place] {
            Deed::Clear { closes, by_hand, counts: true } if !graph.waits(place) && !graph.is_in_circle(place) => {
                Some(Counting { place, closes, by_hand })
            }
            _ => None,
        };
        let counting: Vec<Counting<'d>> = (0..deeds.len()).filter_map(counts).collect();
        let bars = places(|deed| matches!(deed, Deed::Hold | Deed::Withdrawal));
        let answered = graph.seen_by(counting.iter().map(|clear| clear.place));
        History {
            in_force: in_force(graph, places(|deed| matches!(deed, Deed::Submission { .. }))),
            standing_bars: bars.iter().copied().filter(|bar| !answered.contains(*bar)).collect(),
            bars,
            counting,
            graph,
            deeds,
        }
    }

    /// The stop and fix findings of the submissions in force, each with its submission's place.
    fn findings(&self) -> Vec<(usize, &'d ItemId)> {
        let of = |place: &usize| match &self.deeds[*place] {
            Deed::Submission { open, .. } => open.iter().map(|item| (*place, item)).collect(),
            _ => Vec::new(),
        };
        self.in_force.iter().flat_map(of).collect()
    }

    /// Whether a clear has seen all there is, and none of the findings is open for it.
    fn clears(&self, clear: &Counting<'_>, findings: &[(usize, &ItemId)]) -> bool {
        let in_its_past = |by: &&Counting<'_>| by.place == clear.place || self.graph.has_seen(clear.place, by.place);
        self.has_seen_all(clear)
            && findings
                .iter()
                .all(|(of, item)| self.counting.iter().filter(in_its_past).any(|by| by.closes(self.graph, *of, item)))
    }

    fn has_seen_all(&self, clear: &Counting<'_>) -> bool {
        self.in_force.iter().chain(&self.bars).all(|place| self.graph.has_seen(clear.place, *place))
    }

    /// The hand checks that are asked and that a clear, with those of its past, does not carry. A withdrawal has everything looked
    /// at again: a clear from before it helps nobody after it.
    fn lacks(&self, clear: &Counting<'_>, asked: &BTreeSet<ItemId>) -> BTreeSet<ItemId> {
        let withdrawals: Vec<usize> = self.withdrawals().filter(|place| self.graph.has_seen(clear.place, *place)).collect();
        let helps = |by: &&Counting<'_>| {
            by.place == clear.place
                || (self.graph.has_seen(clear.place, by.place)
                    && withdrawals.iter().all(|withdrawal| self.graph.has_seen(by.place, *withdrawal)))
        };
        let ticked: BTreeSet<&ItemId> = self.counting.iter().filter(helps).flat_map(|by| by.by_hand).collect();
        asked.iter().filter(|item| !ticked.contains(item)).cloned().collect()
    }

    /// The hand checks that a clear would have to carry whose maker has seen all there is.
    fn left_to_check(&self, asked: &BTreeSet<ItemId>) -> BTreeSet<ItemId> {
        let helps = |by: &&Counting<'_>| self.withdrawals().all(|withdrawal| self.graph.has_seen(by.place, withdrawal));
        let ticked: BTreeSet<&ItemId> = self.counting.iter().filter(helps).flat_map(|by| by.by_hand).collect();
        asked.iter().filter(|item| !ticked.contains(item)).cloned().collect()
    }

    fn withdrawals(&self) -> impl Iterator<Item = usize> {
        self.bars.iter().copied().filter(|place| self.deeds[*place] == Deed::Withdrawal)
    }

    /// Every reason why the entry is not cleared.
    fn why_not(
        &self,
        findings: &[(usize, &ItemId)],
        still_open: &BTreeSet<ItemId>,
        asked: &BTreeSet<ItemId>,
    ) -> Vec<Because<Id>> {
        let mut because = Vec::new();
        let id = |place: usize| self.graph.id(place);
        match self.in_force.as_slice() {
            [] => because.push(Because::NothingSent),
            [_] => {}
            several => because.push(Because::TwoInForce(several.iter().map(|place| id(*place)).collect())),
        }
        let incomplete = |place: &&usize| matches!(self.deeds[**place], Deed::Submission { complete: false, .. });
        because.extend(self.in_force.iter().filter(incomplete).map(|place| Because::Incomplete(id(*place))));
        let open = findings.iter().filter(|(_, item)| still_open.contains(item));
        because.extend(open.map(|(of, item)| Because::OpenFinding(id(*of), (*item).clone())));
        because.extend(self.standing_bars.iter().map(|bar| match self.deeds[*bar] {
            Deed::Withdrawal => Because::WithdrawalStands(id(*bar)),
            _ => Because::HoldStands(id(*bar)),
        }));
        let clears = (0..self.deeds.len()).filter(|place| matches!(self.deeds[*place], Deed::Clear { .. }));
        because.extend(clears.filter_map(|clear| self.why_not_by(clear, asked)));
        if because.is_empty() {
            because.push(Because::WaitsForTheGate);
        }
        because
    }

    /// Why a clear that is there does not clear, as far as it is the clear's own lack.
    fn why_not_by(&self, clear: usize, asked: &BTreeSet<ItemId>) -> Option<Because<Id>> {
        let id = self.graph.id(clear);
        if matches!(self.deeds[clear], Deed::Clear { counts: false, .. }) {
            return Some(Because::ClearDoesNotCount(id));
        }
        if self.graph.is_in_circle(clear) {
            return Some(Because::ClearInCircle(id));
        }
        if self.graph.waits(clear) {
            return Some(Because::ClearWaitsFor(id));
        }
        if let Some(unseen) = self.in_force.iter().chain(&self.bars).find(|place| !self.graph.has_seen(clear, **place)) {
            return Some(Because::ClearHasNotSeen(id, self.graph.id(*unseen)));
        }
        let lacks = self.lacks(self.counting.iter().find(|one| one.place == clear)?, asked);
        (!lacks.is_empty()).then_some(Because::NotByHand(id, lacks))
    }
}
