//! The one rule, for arbitrary histories, hostile ones among them, and against the rule told a second time.

use proptest::prelude::*;
use std::collections::{BTreeMap, BTreeSet};
use witnessmark::rules::standing::{BadHistory, Deed, Record, Standing, standing};
use witnessmark::rules::words::ItemId;

type Rec = Record<u8>;

fn item(nth: u8) -> ItemId {
    ItemId::parse(&format!("item-{nth}")).expect("an id")
}

fn items(bits: u8) -> BTreeSet<ItemId> {
    (0..3).filter(|nth| bits & (1 << nth) != 0).map(item).collect()
}

/// A deed of any kind; clears are common, or no history would ever be cleared.
fn any_deed() -> impl Strategy<Value = Deed> {
    prop_oneof![
        3 => (prop::bool::weighted(0.85), prop_oneof![3 => Just(0u8), 2 => 0u8..8]).prop_map(|(complete, open)| Deed::Submission { complete, open: items(open) }),
        4 => (0u8..8, prop::bool::weighted(0.85)).prop_map(|(closes, counts)| Deed::Clear { closes: items(closes), counts }),
        1 => Just(Deed::Hold),
        1 => Just(Deed::Withdrawal),
    ]
}

/// A history without a circle: each record sees some of those before it, now and then an id that is not here. Ids are
/// shuffled, so that nothing can lean on their order.
fn any_history() -> impl Strategy<Value = Vec<Rec>> {
    (1usize..9)
        .prop_flat_map(|count| {
            let ids = Just((0..count as u8).collect::<Vec<u8>>()).prop_shuffle();
            let deeds = prop::collection::vec(any_deed(), count);
            // Mostly a person sees the newest; sometimes any subset of what went before.
            let seen = prop::collection::vec((prop::bool::weighted(0.6), any::<u8>(), prop::bool::weighted(0.06)), count);
            (ids, deeds, seen)
        })
        .prop_map(|(ids, deeds, seen)| {
            let build = |(nth, (deed, (newest, bits, unknown))): (usize, (Deed, (bool, u8, bool)))| {
                let mut sees: BTreeSet<u8> = match newest {
                    true => nth.checked_sub(1).map(|before| ids[before]).into_iter().collect(),
                    false => (0..nth).filter(|before| bits & (1 << before) != 0).map(|before| ids[before]).collect(),
                };
                if unknown {
                    sees.insert(200);
                }
                Record { id: ids[nth], seen: sees, deed }
            };
            deeds.into_iter().zip(seen).enumerate().map(build).collect()
        })
}

/// The past of a record, as product.md says it: all that is reached by `seen`.
fn past(records: &[Rec], id: u8) -> BTreeSet<u8> {
    let mut past = BTreeSet::new();
    let mut todo = vec![id];
    while let Some(id) = todo.pop() {
        for seen in records.iter().filter(|record| record.id == id).flat_map(|record| &record.seen) {
            if past.insert(*seen) {
                todo.push(*seen);
            }
        }
    }
    past
}

/// The rule told a second time, sentence by sentence, with no thought for speed.
fn told_again(records: &[Rec]) -> Standing {
    let ids: BTreeSet<u8> = records.iter().map(|record| record.id).collect();
    let pasts: BTreeMap<u8, BTreeSet<u8>> = ids.iter().map(|id| (*id, past(records, *id))).collect();
    let submissions: Vec<&Rec> = records.iter().filter(|record| matches!(record.deed, Deed::Submission { .. })).collect();
    let in_force: Vec<&Rec> =
        submissions.iter().copied().filter(|s| !submissions.iter().any(|other| pasts[&other.id].contains(&s.id))).collect();
    let bars: Vec<u8> =
        records.iter().filter(|r| matches!(r.deed, Deed::Hold | Deed::Withdrawal)).map(|record| record.id).collect();
    let counting: Vec<(&Rec, &BTreeSet<ItemId>)> = records
        .iter()
        .filter_map(|record| match &record.deed {
            Deed::Clear { closes, counts: true } if pasts[&record.id].is_subset(&ids) => Some((record, closes)),
            _ => None,
        })
        .collect();
    let closed_by =
        |clear: &(&Rec, &BTreeSet<ItemId>), s: u8, item: &ItemId| pasts[&clear.0.id].contains(&s) && clear.1.contains(item);
    let open_items = |s: &Rec| match &s.deed {
        Deed::Submission { open, .. } => open.clone(),
        _ => BTreeSet::new(),
    };
    let whole = |s: &Rec| matches!(s.deed, Deed::Submission { complete: true, .. });
    let cleared = counting.iter().any(|(clear, _)| {
        let past = &pasts[&clear.id];
        !in_force.is_empty()
            && in_force.iter().all(|s| past.contains(&s.id) && whole(s))
            && bars.iter().all(|bar| past.contains(bar))
            && in_force.iter().all(|s| {
                open_items(s).iter().all(|item| {
                    counting
                        .iter()
                        .filter(|by| by.0.id == clear.id || past.contains(&by.0.id))
                        .any(|by| closed_by(by, s.id, item))
                })
            })
    });
    if cleared {
        return Standing::Cleared;
    }
    let bar_stands = bars.iter().any(|bar| !counting.iter().any(|(clear, _)| pasts[&clear.id].contains(bar)));
    let open = in_force.iter().any(|s| open_items(s).iter().any(|item| !counting.iter().any(|by| closed_by(by, s.id, item))));
    if bar_stands || open { Standing::Flagged } else { Standing::Pending }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 4000, ..ProptestConfig::default() })]

    #[test]
    fn the_rule_agrees_with_the_rule_told_again(history in any_history()) {
        prop_assert_eq!(standing(history.clone()).expect("no circle").standing, told_again(&history), "{:?}", history);
    }

    #[test]
    fn the_order_of_arrival_does_not_matter((history, shuffled) in any_history().prop_flat_map(|h| (Just(h.clone()), Just(h).prop_shuffle()))) {
        prop_assert_eq!(standing(history).expect("no circle"), standing(shuffled).expect("no circle"));
    }

    #[test]
    fn sending_twice_changes_nothing(history in any_history(), again in any::<prop::sample::Index>()) {
        let mut twice = history.clone();
        twice.push(history[again.index(history.len())].clone());
        prop_assert_eq!(standing(history).expect("no circle"), standing(twice).expect("no circle"));
    }

    #[test]
    fn one_id_with_two_contents_is_refused(history in any_history(), which in any::<prop::sample::Index>()) {
        let mut other = history[which.index(history.len())].clone();
        other.seen.insert(201);
        let id = other.id;
        let mut forged = history;
        forged.push(other);
        prop_assert_eq!(standing(forged), Err(BadHistory::TwoOfOneId(id)));
    }

    #[test]
    fn a_new_submission_is_never_cleared_by_an_older_clear(history in any_history(), open in 0u8..8) {
        let before = standing(history.clone()).expect("no circle");
        let mut sent_again = history;
        // It has seen all there is: it alone is in force, and no clear there can have seen it.
        sent_again.push(Record { id: 100, seen: before.heads.into_iter().collect(), deed: Deed::Submission { complete: true, open: items(open) } });
        prop_assert_ne!(standing(sent_again).expect("no circle").standing, Standing::Cleared);
    }

    #[test]
    fn a_submission_that_no_clear_has_seen_is_never_cleared_whatever_it_has_seen(history in any_history(), bits in any::<u8>()) {
        let mut sent = history.clone();
        let seen = history.iter().filter(|record| bits & (1 << (record.id % 8)) != 0).map(|record| record.id).collect();
        sent.push(Record { id: 100, seen, deed: Deed::Submission { complete: true, open: BTreeSet::new() } });
        prop_assert_ne!(standing(sent).expect("no circle").standing, Standing::Cleared);
    }

    #[test]
    fn no_hold_is_lost(history in any_history(), bits in any::<u8>(), taken_back in any::<bool>()) {
        let mut held = history.clone();
        let seen = history.iter().filter(|record| bits & (1 << (record.id % 8)) != 0).map(|record| record.id).collect();
        held.push(Record { id: 100, seen, deed: if taken_back { Deed::Withdrawal } else { Deed::Hold } });
        prop_assert_eq!(standing(held).expect("no circle").standing, Standing::Flagged, "nobody who cleared had seen it");
    }

    #[test]
    fn never_cleared_with_a_finding_that_nobody_closed(history in any_history()) {
        let judged = standing(history.clone()).expect("no circle");
        if judged.standing == Standing::Cleared {
            prop_assert!(judged.still_open.is_empty());
            prop_assert!(!judged.in_force.is_empty());
            let clear = judged.cleared_by.expect("a clear");
            let past = past(&history, clear);
            for record in &history {
                match &record.deed {
                    Deed::Hold | Deed::Withdrawal => prop_assert!(past.contains(&record.id), "hold {} was not seen", record.id),
                    Deed::Submission { complete, .. } if judged.in_force.contains(&record.id) => {
                        prop_assert!(*complete && past.contains(&record.id), "submission {} was not seen whole", record.id);
                    }
                    _ => {}
                }
            }
        }
    }

    #[test]
    fn a_clear_without_right_changes_nothing_for_the_better(history in any_history(), closes in 0u8..8) {
        let before = standing(history.clone()).expect("no circle");
        let mut tried = history;
        tried.push(Record { id: 100, seen: before.heads.iter().copied().collect(), deed: Deed::Clear { closes: items(closes), counts: false } });
        prop_assert_eq!(standing(tried).expect("no circle").standing, before.standing);
    }

    #[test]
    fn a_clear_that_waits_for_a_record_does_not_count_until_it_arrives(history in any_history()) {
        let before = standing(history.clone()).expect("no circle");
        let mut waiting = history.clone();
        let mut seen: BTreeSet<u8> = before.heads.iter().copied().collect();
        seen.insert(150);
        waiting.push(Record { id: 100, seen, deed: Deed::Clear { closes: items(7), counts: true } });
        prop_assert_eq!(standing(waiting).expect("no circle").standing, before.standing);
    }

    #[test]
    fn a_circle_is_an_error_and_not_a_standing(history in any_history(), pick in any::<prop::sample::Index>()) {
        let mut circle = history;
        let last = circle.len() - 1;
        let first = pick.index(circle.len());
        let (a, b) = (circle[first].id, circle[last].id);
        circle[first].seen.insert(b);
        circle[last].seen.insert(a);
        let answer = standing(circle);
        prop_assert!(matches!(answer, Err(BadHistory::Circle(_))), "{answer:?}");
    }
}

/// The histories are worth trying only if all three standings come up.
#[test]
fn the_histories_that_are_tried_hold_all_three_standings() {
    use proptest::strategy::ValueTree;
    use proptest::test_runner::TestRunner;
    let mut runner = TestRunner::deterministic();
    let mut count: BTreeMap<Standing, usize> = BTreeMap::new();
    for _ in 0..2000 {
        let history = any_history().new_tree(&mut runner).expect("a history").current();
        *count.entry(standing(history).expect("no circle").standing).or_default() += 1;
    }
    for wanted in [Standing::Pending, Standing::Flagged, Standing::Cleared] {
        assert!(count.get(&wanted).copied().unwrap_or_default() > 100, "{wanted}: {count:?}");
    }
}

/// A long season: ten thousand records in a row are judged in a moment.
#[test]
fn a_very_long_history_is_still_judged() {
    let sent = |nth: u32| Record {
        id: nth,
        seen: nth.checked_sub(1).into_iter().collect(),
        deed: Deed::Submission { complete: true, open: BTreeSet::new() },
    };
    let judged = standing((0..10_000).map(sent)).expect("no circle");
    assert_eq!(judged.in_force, vec![9_999]);
}
