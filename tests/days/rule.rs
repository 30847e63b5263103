//! The rule of standing told a second time: sentence by sentence, with sets and loops and no thought for speed.

use super::judge::Said;
use std::collections::{BTreeMap, BTreeSet};
use uuid::Uuid;

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Standing {
    Pending,
    Flagged,
    Cleared,
}

impl Standing {
    pub fn word(self) -> &'static str {
        ["pending", "flagged", "cleared"][self as usize]
    }
}

#[derive(Clone, Debug, PartialEq)]
pub enum Deed {
    Submission(Said),
    Clear { closes: BTreeSet<String>, by_hand: BTreeSet<String>, counts: bool },
    Hold,
    Withdrawal,
}

#[derive(Clone, Debug)]
pub struct Record {
    pub id: Uuid,
    pub seen: BTreeSet<Uuid>,
    pub deed: Deed,
}

/// A car's standing, with what the days want to know of it besides.
#[derive(Clone, Debug)]
pub struct Judged {
    pub standing: Standing,
    /// One plain sentence on why it is no better.
    pub because: String,
    /// What an inspector has to tick by hand.
    pub by_hand: BTreeSet<String>,
    /// Findings of the submissions in force that no counting clear has closed.
    pub open: BTreeSet<String>,
    /// Records that nobody has seen.
    pub heads: BTreeSet<Uuid>,
}

/// Everything reached by following `seen`, as far as it is here, over whatever circles.
fn reached(records: &[Record], from: Uuid) -> BTreeSet<Uuid> {
    let mut reached = BTreeSet::new();
    let mut todo = vec![from];
    while let Some(id) = todo.pop() {
        for seen in records.iter().filter(|record| record.id == id).flat_map(|record| &record.seen) {
            if reached.insert(*seen) {
                todo.push(*seen);
            }
        }
    }
    reached
}

/// Whether a new record of this id would, over others, have seen itself.
pub fn closes_a_circle(records: &[Record], id: Uuid, seen: &BTreeSet<Uuid>) -> bool {
    seen.contains(&id) || seen.iter().any(|seen| reached(records, *seen).contains(&id))
}

/// The rule.
pub fn judge(records: &[Record]) -> Judged {
    // Records that have, over others, seen themselves have not seen each other: what points inside a circle says nothing.
    let over: BTreeMap<Uuid, BTreeSet<Uuid>> = records.iter().map(|record| (record.id, reached(records, record.id))).collect();
    let in_circle = |id: Uuid| over[&id].contains(&id);
    let in_one_circle = |a: Uuid, b: Uuid| over[&a].contains(&b) && over.get(&b).is_some_and(|back| back.contains(&a));
    let straight: Vec<Record> = records
        .iter()
        .map(|record| Record {
            seen: record.seen.iter().copied().filter(|seen| !in_one_circle(record.id, *seen)).collect(),
            ..record.clone()
        })
        .collect();
    let past: BTreeMap<Uuid, BTreeSet<Uuid>> = straight.iter().map(|record| (record.id, reached(&straight, record.id))).collect();

    // In force are the submissions that no other submission has seen.
    let submissions: Vec<(Uuid, &Said)> = records
        .iter()
        .filter_map(|record| match &record.deed {
            Deed::Submission(said) => Some((record.id, said)),
            _ => None,
        })
        .collect();
    let in_force: Vec<(Uuid, &Said)> =
        submissions.iter().copied().filter(|(id, _)| !submissions.iter().any(|(other, _)| past[other].contains(id))).collect();

    // A clear counts where its maker had the right, no id of its past is unknown, and it stands in no circle.
    let is_here = |id: &Uuid| records.iter().any(|record| record.id == *id);
    let counting: Vec<(Uuid, &BTreeSet<String>, &BTreeSet<String>)> = records
        .iter()
        .filter_map(|record| match &record.deed {
            Deed::Clear { closes, by_hand, counts: true } if !in_circle(record.id) && past[&record.id].iter().all(is_here) => {
                Some((record.id, closes, by_hand))
            }
            _ => None,
        })
        .collect();
    let of_kind =
        |wanted: &Deed| records.iter().filter(|record| record.deed == *wanted).map(|record| record.id).collect::<Vec<_>>();
    let (holds, withdrawals) = (of_kind(&Deed::Hold), of_kind(&Deed::Withdrawal));
    let bars: Vec<Uuid> = holds.iter().chain(&withdrawals).copied().collect();
    let asked: BTreeSet<String> = in_force.iter().flat_map(|(_, said)| said.by_hand.iter().cloned()).collect();

    let closes = |clear: &(Uuid, &BTreeSet<String>, &BTreeSet<String>), of: Uuid, item: &String| {
        past[&clear.0].contains(&of) && clear.1.contains(item)
    };
    let clears = |clear: &(Uuid, &BTreeSet<String>, &BTreeSet<String>)| {
        let seen = &past[&clear.0];
        let with_it: Vec<_> = counting.iter().filter(|by| by.0 == clear.0 || seen.contains(&by.0)).collect();
        let withdrawn: Vec<&Uuid> = withdrawals.iter().filter(|id| seen.contains(id)).collect();
        let ticked: BTreeSet<&String> = with_it
            .iter()
            .filter(|by| withdrawn.iter().all(|withdrawal| past[&by.0].contains(withdrawal)))
            .flat_map(|by| by.2)
            .collect();
        !in_force.is_empty()
            && in_force.iter().all(|(id, said)| {
                seen.contains(id) && said.complete && said.open.iter().all(|item| with_it.iter().any(|by| closes(by, *id, item)))
            })
            && bars.iter().all(|bar| seen.contains(bar))
            && asked.iter().all(|item| ticked.contains(item))
    };
    let is_cleared = counting.iter().any(clears);

    let standing_bar = bars.iter().find(|bar| !counting.iter().any(|clear| past[&clear.0].contains(bar)));
    let is_open = |id: Uuid, item: &String| !counting.iter().any(|clear| closes(clear, id, item));
    let open: BTreeSet<String> =
        in_force.iter().flat_map(|(id, said)| said.open.iter().filter(move |item| is_open(*id, item)).cloned()).collect();
    let (standing, because) = if is_cleared {
        (Standing::Cleared, "a clear has seen everything".to_owned())
    } else if let Some(bar) = standing_bar {
        let what = if withdrawals.contains(bar) { "withdrawal" } else { "hold" };
        (Standing::Flagged, format!("{what} {} stands", short(*bar)))
    } else if let Some(item) = open.first() {
        (Standing::Flagged, format!("the finding on {item} is open"))
    } else {
        (Standing::Pending, pending_because(&in_force, &asked))
    };
    let unseen = |id: &Uuid| !past.values().any(|past| past.contains(id));
    Judged { standing, because, by_hand: asked, open, heads: records.iter().map(|record| record.id).filter(unseen).collect() }
}

fn pending_because(in_force: &[(Uuid, &Said)], asked: &BTreeSet<String>) -> String {
    if in_force.is_empty() {
        return "nothing was sent".into();
    }
    if in_force.iter().any(|(_, said)| !said.complete) {
        return "what was sent is not complete".into();
    }
    let asked = asked.iter().map(String::as_str).collect::<Vec<_>>().join(", ");
    format!("no clear has seen it all with every hand check that is asked ({asked})")
}

/// The end of an id, enough to tell two records of a day apart.
pub fn short(id: Uuid) -> String {
    let text = id.simple().to_string();
    text[text.len() - 6..].to_owned()
}
