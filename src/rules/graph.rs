//! The graph of an entry's records: what each record has seen, directly and through others.
//!
//! Any graph is taken. Records that have, through others, seen themselves (a circle) have not seen *each other*: every `seen`
//! that points inside the circle says nothing. A record that names an unknown id waits for it.

use fixedbitset::FixedBitSet;
use petgraph::algo::kosaraju_scc;
use petgraph::graph::{DiGraph, NodeIndex};
use std::collections::BTreeSet;

/// Records by their place in the order of their ids, with the past of each.
///
/// # Example: two records that name each other have not seen each other
/// ```
/// use witnessmark::rules::graph::Graph;
/// let graph = Graph::new([("a", vec!["b"]), ("b", vec!["a"]), ("c", vec!["a", "b"])]);
/// let (a, b, c) = (graph.place("a").unwrap(), graph.place("b").unwrap(), graph.place("c").unwrap());
/// assert!(!graph.has_seen(a, b) && !graph.has_seen(b, a), "inside the circle");
/// assert!(graph.has_seen(c, a) && graph.has_seen(c, b), "from outside");
/// assert!(graph.is_in_circle(a) && !graph.is_in_circle(c));
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct Graph<Id> {
    ids: Vec<Id>,
    past: Vec<FixedBitSet>,
    waits: FixedBitSet,
    in_circle: FixedBitSet,
}

impl<Id: Ord + Clone> Graph<Id> {
    /// Builds the graph from each record's id and the ids it names as seen. Of two records with one id the last counts.
    ///
    /// Takes time and memory with the square of the number of records, divided by 64: ten thousand take about 13 MB.
    pub fn new<Seen: IntoIterator<Item = Id>>(records: impl IntoIterator<Item = (Id, Seen)>) -> Graph<Id> {
        let mut records: Vec<(Id, Vec<Id>)> = records.into_iter().map(|(id, seen)| (id, seen.into_iter().collect())).collect();
        // The last one first, and the sort keeps the order of equals: of two with one id the first of them stays.
        records.reverse();
        records.sort_by(|(one, _), (other, _)| one.cmp(other));
        records.dedup_by(|(later, _), (kept, _)| later == kept);
        let (ids, named): (Vec<Id>, Vec<Vec<Id>>) = records.into_iter().unzip();
        let mut waits = FixedBitSet::with_capacity(ids.len());
        let mut seen: Vec<Vec<usize>> = Vec::with_capacity(ids.len());
        for (place, named) in named.into_iter().enumerate() {
            let mut places = FixedBitSet::with_capacity(ids.len());
            for id in named {
                match ids.binary_search(&id) {
                    Ok(other) => places.insert(other),
                    Err(_) => waits.insert(place),
                }
            }
            seen.push(places.ones().collect());
        }
        let (past, waits, in_circle) = pasts(&seen, waits);
        Graph { ids, past, waits, in_circle }
    }

    /// The place of a record.
    pub fn place<Q: Ord + ?Sized>(&self, id: &Q) -> Option<usize>
    where
        Id: std::borrow::Borrow<Q>,
    {
        self.ids.binary_search_by(|known| known.borrow().cmp(id)).ok()
    }

    /// The id of the record at a place.
    pub fn id(&self, place: usize) -> Id {
        self.ids[place].clone()
    }

    /// How many records there are.
    pub fn len(&self) -> usize {
        self.ids.len()
    }

    /// Whether there is no record.
    pub fn is_empty(&self) -> bool {
        self.ids.is_empty()
    }

    /// Whether one record has another in its past.
    pub fn has_seen(&self, place: usize, other: usize) -> bool {
        self.past[place].contains(other)
    }

    /// Whether a record's past names an id that is not here.
    pub fn waits(&self, place: usize) -> bool {
        self.waits.contains(place)
    }

    /// Whether a record has, through others, seen itself.
    pub fn is_in_circle(&self, place: usize) -> bool {
        self.in_circle.contains(place)
    }

    /// Everything that any of these records has seen.
    pub fn seen_by(&self, places: impl IntoIterator<Item = usize>) -> FixedBitSet {
        let mut all = FixedBitSet::with_capacity(self.len());
        places.into_iter().for_each(|place| all.union_with(&self.past[place]));
        all
    }

    /// Those of these records that none of them has seen.
    pub fn newest(&self, places: impl IntoIterator<Item = usize> + Clone) -> Vec<usize> {
        let older = self.seen_by(places.clone());
        places.into_iter().filter(|place| !older.contains(*place)).collect()
    }
}

/// The past of each place, and which places wait or stand in a circle. Circles are taken apart first; what is left has an order.
fn pasts(seen: &[Vec<usize>], mut waits: FixedBitSet) -> (Vec<FixedBitSet>, FixedBitSet, FixedBitSet) {
    let mut graph: DiGraph<(), ()> = DiGraph::with_capacity(seen.len(), seen.len());
    seen.iter().for_each(|_| _ = graph.add_node(()));
    for (place, others) in seen.iter().enumerate() {
        others.iter().for_each(|other| _ = graph.add_edge(NodeIndex::new(place), NodeIndex::new(*other), ()));
    }
    let mut past = vec![FixedBitSet::with_capacity(seen.len()); seen.len()];
    let mut in_circle = FixedBitSet::with_capacity(seen.len());
    // Each group comes after all that it points at.
    for group in kosaraju_scc(&graph) {
        let group: BTreeSet<usize> = group.into_iter().map(NodeIndex::index).collect();
        for place in &group {
            let mut all = FixedBitSet::with_capacity(seen.len());
            for other in seen[*place].iter().filter(|other| !group.contains(other)) {
                all.insert(*other);
                all.union_with(&past[*other]);
                if waits.contains(*other) {
                    waits.insert(*place);
                }
            }
            past[*place] = all;
            if group.len() > 1 || seen[*place].contains(place) {
                in_circle.insert(*place);
            }
        }
    }
    (past, waits, in_circle)
}
