//! The rule of standing told a second time: sentence by sentence, with sets and loops and no thought for speed.

use super::judge::Said;
use std::collections::{BTreeMap, BTreeSet};
use std::rc::Rc;
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
    Submission(Rc<Said>),
    /// `closes` are the items that it closes of each submission, by the edition in force.
    Clear {
        closes: BTreeMap<Uuid, BTreeSet<String>>,
        by_hand: BTreeSet<String>,
        counts: bool,
    },
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
    /// What a new clear has to tick by hand: all that is asked; or, where a clear has seen everything and the car is not cleared
    /// all the same, what the sheet asks more.
    pub by_hand: BTreeSet<String>,
    pub in_force: Vec<Uuid>,
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

/// A clear that counts.
struct Clear<'r> {
    id: Uuid,
    closes: &'r BTreeMap<Uuid, BTreeSet<String>>,
    by_hand: &'r BTreeSet<String>,
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
            Deed::Submission(said) => Some((record.id, said.as_ref())),
            _ => None,
        })
        .collect();
    let in_force: Vec<(Uuid, &Said)> =
        submissions.iter().copied().filter(|(id, _)| !submissions.iter().any(|(other, _)| past[other].contains(id))).collect();

    // A clear counts where its maker had the right, no id of its past is unknown, and it stands in no circle.
    let is_here = |id: &Uuid| records.iter().any(|record| record.id == *id);
    let counting: Vec<Clear<'_>> = records
        .iter()
        .filter_map(|record| match &record.deed {
            Deed::Clear { closes, by_hand, counts: true } if !in_circle(record.id) && past[&record.id].iter().all(is_here) => {
                Some(Clear { id: record.id, closes, by_hand })
            }
            _ => None,
        })
        .collect();
    let of_kind =
        |wanted: &Deed| records.iter().filter(|record| record.deed == *wanted).map(|record| record.id).collect::<Vec<_>>();
    let (holds, withdrawals) = (of_kind(&Deed::Hold), of_kind(&Deed::Withdrawal));
    let bars: Vec<Uuid> = holds.iter().chain(&withdrawals).copied().collect();
    let asked: BTreeSet<String> = in_force.iter().flat_map(|(_, said)| said.by_hand.iter().cloned()).collect();

    // A clear closes an item where that holds for every submission in force that its maker had seen.
    let closes = |clear: &Clear<'_>, of: Uuid, item: &String| {
        let seen = &past[&clear.id];
        let mut seen_in_force = in_force.iter().filter(|(id, _)| seen.contains(id));
        seen.contains(&of) && seen_in_force.all(|(id, _)| clear.closes.get(id).is_some_and(|items| items.contains(item)))
    };
    let has_seen_all = |clear: &Clear<'_>| {
        let seen = &past[&clear.id];
        in_force.iter().all(|(id, _)| seen.contains(id)) && bars.iter().all(|bar| seen.contains(bar))
    };
    let ticked_by = |clears: &mut dyn Iterator<Item = &Clear<'_>>, withdrawn: &[Uuid]| -> BTreeSet<String> {
        let helps = clears.filter(|by| withdrawn.iter().all(|withdrawal| past[&by.id].contains(withdrawal)));
        helps.flat_map(|by| by.by_hand.iter().cloned()).collect()
    };
    let is_cleared = counting.iter().any(|clear| {
        let seen = &past[&clear.id];
        let with_it = || counting.iter().filter(|by| by.id == clear.id || seen.contains(&by.id));
        let withdrawn: Vec<Uuid> = withdrawals.iter().copied().filter(|id| seen.contains(id)).collect();
        let mut ticked = ticked_by(&mut with_it().filter(|by| by.id != clear.id), &withdrawn);
        ticked.extend(clear.by_hand.iter().cloned());
        let is_settled = |(id, said): &(Uuid, &Said)| {
            said.complete && said.open().iter().all(|item| with_it().any(|by| closes(by, *id, item)))
        };
        !in_force.is_empty() && has_seen_all(clear) && in_force.iter().all(is_settled) && asked.is_subset(&ticked)
    });

    let standing_bar = bars.iter().find(|bar| !counting.iter().any(|clear| past[&clear.id].contains(bar)));
    let is_open = |id: Uuid, item: &String| !counting.iter().any(|clear| closes(clear, id, item));
    let open: BTreeSet<String> =
        in_force.iter().flat_map(|(id, said)| said.open().into_iter().filter(move |item| is_open(*id, item))).collect();
    let ticked = ticked_by(&mut counting.iter(), &withdrawals);
    let by_hand = if !is_cleared && counting.iter().any(has_seen_all) {
        asked.difference(&ticked).cloned().collect()
    } else {
        asked.clone()
    };
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
    let heads = records.iter().map(|record| record.id).filter(unseen).collect();
    Judged { standing, because, by_hand, in_force: in_force.iter().map(|(id, _)| *id).collect(), open, heads }
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
