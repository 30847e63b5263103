//! The one rule, for arbitrary histories, hostile ones among them, and against the rule told a second time.

use proptest::prelude::*;
use std::collections::{BTreeMap, BTreeSet};
use witnessmark::rules::standing::{BadHistory, Deed, Judgement, Record, Standing, standing};
use witnessmark::rules::words::ItemId;

type Rec = Record<u8>;

fn item(nth: u8) -> ItemId {
    ItemId::parse(&format!("item-{nth}")).expect("an id")
}

fn items(bits: u8) -> BTreeSet<ItemId> {
    (0..3).filter(|nth| bits & (1 << nth) != 0).map(item).collect()
}

/// The hand checks that histories are judged with.
fn asked() -> impl Strategy<Value = u8> {
    prop_oneof![3 => Just(0u8), 2 => 0u8..8]
}

/// A deed of any kind; clears are common, or no history would ever be cleared.
fn any_deed() -> impl Strategy<Value = Deed> {
    prop_oneof![
        3 => (prop::bool::weighted(0.85), prop_oneof![3 => Just(0u8), 2 => 0u8..8]).prop_map(|(complete, open)| Deed::Submission { complete, open: items(open) }),
        4 => (0u8..8, prop_oneof![3 => Just(7u8), 2 => 0u8..8], prop::bool::weighted(0.85))
            .prop_map(|(closes, ticked, counts)| Deed::Clear { closes: items(closes), by_hand: items(ticked), counts }),
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

/// Any graph at all: each record names any others, itself among them, and now and then an id that is not here.
fn any_graph() -> impl Strategy<Value = Vec<Rec>> {
    (1usize..8)
        .prop_flat_map(|count| prop::collection::vec((any_deed(), any::<u8>(), any::<u8>(), prop::bool::weighted(0.06)), count))
        .prop_map(|records| {
            let count = records.len() as u8;
            let build = |(nth, (deed, one, other, unknown)): (usize, (Deed, u8, u8, bool))| {
                // Both masks together name few: a graph where all name all is one circle and little else.
                let mut seen: BTreeSet<u8> = (0..count).filter(|id| one & other & (1 << id) != 0).collect();
                if unknown {
                    seen.insert(200);
                }
                Record { id: nth as u8, seen, deed }
            };
            records.into_iter().enumerate().map(build).collect()
        })
}

/// All that is reached from a record by these pairs of "names as seen".
fn reached(named: &BTreeSet<(u8, u8)>, from: u8) -> BTreeSet<u8> {
    let mut reached = BTreeSet::new();
    let mut todo = vec![from];
    while let Some(id) = todo.pop() {
        for (_, seen) in named.iter().filter(|(one, _)| *one == id) {
            if reached.insert(*seen) {
                todo.push(*seen);
            }
        }
    }
    reached
}

/// The past of each record and those that have, through others, seen themselves. A name that points inside a circle says nothing.
fn pasts(records: &[Rec]) -> (BTreeMap<u8, BTreeSet<u8>>, BTreeSet<u8>) {
    let named: BTreeSet<(u8, u8)> = records.iter().flat_map(|record| record.seen.iter().map(|seen| (record.id, *seen))).collect();
    let one_circle = |a: u8, b: u8| reached(&named, a).contains(&b) && reached(&named, b).contains(&a);
    let says: BTreeSet<(u8, u8)> = named.iter().copied().filter(|(a, b)| !one_circle(*a, *b)).collect();
    let pasts = records.iter().map(|record| (record.id, reached(&says, record.id))).collect();
    (pasts, records.iter().map(|record| record.id).filter(|id| one_circle(*id, *id)).collect())
}

fn past(records: &[Rec], id: u8) -> BTreeSet<u8> {
    pasts(records).0.remove(&id).unwrap_or_default()
}

/// The rule told a second time, sentence by sentence, with no thought for speed.
fn told_again(records: &[Rec], asked: &BTreeSet<ItemId>) -> Standing {
    let ids: BTreeSet<u8> = records.iter().map(|record| record.id).collect();
    let (pasts, in_circle) = pasts(records);
    let submissions: Vec<&Rec> = records.iter().filter(|record| matches!(record.deed, Deed::Submission { .. })).collect();
    let in_force: Vec<&Rec> =
        submissions.iter().copied().filter(|s| !submissions.iter().any(|other| pasts[&other.id].contains(&s.id))).collect();
    let of = |which: fn(&Deed) -> bool| -> Vec<u8> {
        records.iter().filter(|record| which(&record.deed)).map(|record| record.id).collect()
    };
    let (bars, withdrawals) =
        (of(|deed| matches!(deed, Deed::Hold | Deed::Withdrawal)), of(|deed| matches!(deed, Deed::Withdrawal)));
    let counting: Vec<(&Rec, &BTreeSet<ItemId>, &BTreeSet<ItemId>)> = records
        .iter()
        .filter_map(|record| match &record.deed {
            Deed::Clear { closes, by_hand, counts: true }
                if pasts[&record.id].is_subset(&ids) && !in_circle.contains(&record.id) =>
            {
                Some((record, closes, by_hand))
            }
            _ => None,
        })
        .collect();
    let closed_by = |clear: &(&Rec, &BTreeSet<ItemId>, &BTreeSet<ItemId>), s: u8, item: &ItemId| {
        pasts[&clear.0.id].contains(&s) && clear.1.contains(item)
    };
    let open_items = |s: &Rec| match &s.deed {
        Deed::Submission { open, .. } => open.clone(),
        _ => BTreeSet::new(),
    };
    let whole = |s: &Rec| matches!(s.deed, Deed::Submission { complete: true, .. });
    let cleared = counting.iter().any(|(clear, ..)| {
        let past = &pasts[&clear.id];
        let so_far: Vec<_> = counting.iter().filter(|by| by.0.id == clear.id || past.contains(&by.0.id)).collect();
        let withdrawn: Vec<u8> = withdrawals.iter().copied().filter(|id| past.contains(id)).collect();
        let ticked: BTreeSet<ItemId> = so_far
            .iter()
            .filter(|by| withdrawn.iter().all(|id| pasts[&by.0.id].contains(id)))
            .flat_map(|by| by.2.iter().cloned())
            .collect();
        !in_force.is_empty()
            && in_force.iter().all(|s| past.contains(&s.id) && whole(s))
            && bars.iter().all(|bar| past.contains(bar))
            && in_force.iter().all(|s| open_items(s).iter().all(|item| so_far.iter().any(|by| closed_by(by, s.id, item))))
            && asked.is_subset(&ticked)
    });
    if cleared {
        return Standing::Cleared;
    }
    let bar_stands = bars.iter().any(|bar| !counting.iter().any(|(clear, ..)| pasts[&clear.id].contains(bar)));
    let open = in_force.iter().any(|s| open_items(s).iter().any(|item| !counting.iter().any(|by| closed_by(by, s.id, item))));
    if bar_stands || open { Standing::Flagged } else { Standing::Pending }
}

/// The rule's judgement where nothing is asked by hand.
fn judge(history: impl IntoIterator<Item = Rec>) -> Judgement<u8> {
    standing(history, &BTreeSet::new()).expect("each id once")
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 4000, ..ProptestConfig::default() })]

    #[test]
    fn the_rule_agrees_with_the_rule_told_again(history in any_history(), by_hand in asked()) {
        let by_hand = items(by_hand);
        let judged = standing(history.clone(), &by_hand).expect("each id once");
        prop_assert_eq!(judged.standing, told_again(&history, &by_hand), "{:?}", history);
    }

    #[test]
    fn any_graph_has_a_standing_and_both_tellings_agree_on_it(graph in any_graph(), by_hand in asked()) {
        let by_hand = items(by_hand);
        let judged = standing(graph.clone(), &by_hand).expect("each id once");
        prop_assert_eq!(judged.standing, told_again(&graph, &by_hand), "{:?}", graph);
        prop_assert!(!judged.because.is_empty());
    }

    #[test]
    fn the_order_of_arrival_does_not_matter((graph, shuffled) in any_graph().prop_flat_map(|h| (Just(h.clone()), Just(h).prop_shuffle())), by_hand in asked()) {
        let by_hand = items(by_hand);
        prop_assert_eq!(standing(graph, &by_hand).expect("each id once"), standing(shuffled, &by_hand).expect("each id once"));
    }

    #[test]
    fn nobody_clears_a_car_out_of_a_circle(graph in any_graph()) {
        let judged = judge(graph.clone());
        if let Some(clear) = judged.cleared_by {
            prop_assert!(!pasts(&graph).1.contains(&clear), "clear {clear} names itself through others");
        }
    }

    /// Two holds that name each other stand, until a clear outside has seen both: a car that was hit can be cleared again.
    #[test]
    fn a_circle_waits_on_the_safe_side_and_ends_with_a_clear_that_has_seen_it(history in any_history(), open in 0u8..8) {
        let before = judge(history.clone());
        let seen: BTreeSet<u8> = before.heads.into_iter().collect();
        let mut hit = history;
        let naming = |other: u8| seen.iter().copied().chain([other]).collect::<BTreeSet<u8>>();
        hit.push(Record { id: 100, seen: naming(101), deed: Deed::Submission { complete: true, open: items(open) } });
        hit.push(Record { id: 101, seen: naming(100), deed: Deed::Hold });
        prop_assert_eq!(judge(hit.clone()).standing, Standing::Flagged, "the hold stands");
        // A device that shows the car as it is names the newest records; those of the circle are among them.
        let heads: BTreeSet<u8> = judge(hit.clone()).heads.into_iter().collect();
        prop_assert!(heads.contains(&100) && heads.contains(&101), "{heads:?}");
        if !hit.iter().any(|record| record.seen.contains(&200)) {
            hit.push(Record { id: 102, seen: heads, deed: Deed::Clear { closes: items(7), by_hand: items(7), counts: true } });
            prop_assert_eq!(judge(hit).standing, Standing::Cleared, "an inspector has seen all of it");
        }
    }

    #[test]
    fn no_car_is_cleared_without_each_hand_check_of_the_edition_in_force(graph in any_graph(), by_hand in 1u8..8) {
        let by_hand = items(by_hand);
        let judged = standing(graph.clone(), &by_hand).expect("each id once");
        if let Some(clear) = judged.cleared_by {
            let past = past(&graph, clear);
            let mut ticked: BTreeSet<ItemId> = BTreeSet::new();
            for record in graph.iter().filter(|record| record.id == clear || past.contains(&record.id)) {
                if let Deed::Clear { by_hand, counts: true, .. } = &record.deed {
                    ticked.extend(by_hand.iter().cloned());
                }
            }
            prop_assert!(by_hand.is_subset(&ticked), "asked {by_hand:?}, ticked {ticked:?}");
        }
    }

    #[test]
    fn what_is_left_to_check_by_hand_is_what_a_new_clear_needs(history in any_history(), by_hand in asked()) {
        let by_hand = items(by_hand);
        let before = standing(history.clone(), &by_hand).expect("each id once");
        let mut cleared = history.clone();
        let deed = Deed::Clear { closes: items(7), by_hand: before.by_hand_left.clone(), counts: true };
        cleared.push(Record { id: 100, seen: before.heads.iter().copied().collect(), deed });
        let whole = before.in_force.iter().all(|id| history.iter().any(|record| {
            record.id == *id && matches!(record.deed, Deed::Submission { complete: true, .. })
        }));
        if whole && !before.in_force.is_empty() && !history.iter().any(|record| record.seen.contains(&200)) {
            prop_assert_eq!(standing(cleared, &by_hand).expect("each id once").standing, Standing::Cleared);
        }
    }

    #[test]
    fn sending_twice_changes_nothing(history in any_history(), again in any::<prop::sample::Index>()) {
        let mut twice = history.clone();
        twice.push(history[again.index(history.len())].clone());
        prop_assert_eq!(judge(history), judge(twice));
    }

    #[test]
    fn one_id_with_two_contents_is_refused(history in any_history(), which in any::<prop::sample::Index>()) {
        let mut other = history[which.index(history.len())].clone();
        other.seen.insert(201);
        let id = other.id;
        let mut forged = history;
        forged.push(other);
        prop_assert_eq!(standing(forged, &BTreeSet::new()), Err(BadHistory::TwoOfOneId(id)));
    }

    #[test]
    fn a_new_submission_is_never_cleared_by_an_older_clear(history in any_history(), open in 0u8..8) {
        let before = judge(history.clone());
        let mut sent_again = history;
        // It has seen all there is: it alone is in force, and no clear there can have seen it.
        sent_again.push(Record { id: 100, seen: before.heads.into_iter().collect(), deed: Deed::Submission { complete: true, open: items(open) } });
        prop_assert_ne!(judge(sent_again).standing, Standing::Cleared);
    }

    #[test]
    fn a_submission_that_no_clear_has_seen_is_never_cleared_whatever_it_has_seen(history in any_history(), bits in any::<u8>()) {
        let mut sent = history.clone();
        let seen = history.iter().filter(|record| bits & (1 << (record.id % 8)) != 0).map(|record| record.id).collect();
        sent.push(Record { id: 100, seen, deed: Deed::Submission { complete: true, open: BTreeSet::new() } });
        prop_assert_ne!(judge(sent).standing, Standing::Cleared);
    }

    #[test]
    fn no_hold_is_lost(history in any_history(), bits in any::<u8>(), taken_back in any::<bool>()) {
        let mut held = history.clone();
        let seen = history.iter().filter(|record| bits & (1 << (record.id % 8)) != 0).map(|record| record.id).collect();
        held.push(Record { id: 100, seen, deed: if taken_back { Deed::Withdrawal } else { Deed::Hold } });
        prop_assert_eq!(judge(held).standing, Standing::Flagged, "nobody who cleared had seen it");
    }

    #[test]
    fn never_cleared_with_a_finding_that_nobody_closed(history in any_history()) {
        let judged = judge(history.clone());
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
        let before = judge(history.clone());
        let mut tried = history;
        tried.push(Record { id: 100, seen: before.heads.iter().copied().collect(), deed: Deed::Clear { closes: items(closes), by_hand: items(7), counts: false } });
        prop_assert_eq!(judge(tried).standing, before.standing);
    }

    #[test]
    fn a_clear_that_waits_for_a_record_does_not_count_until_it_arrives(history in any_history()) {
        let before = judge(history.clone());
        let mut waiting = history.clone();
        let mut seen: BTreeSet<u8> = before.heads.iter().copied().collect();
        seen.insert(150);
        waiting.push(Record { id: 100, seen, deed: Deed::Clear { closes: items(7), by_hand: items(7), counts: true } });
        prop_assert_eq!(judge(waiting).standing, before.standing);
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
        *count.entry(judge(history).standing).or_default() += 1;
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
    let judged = standing((0..10_000).map(sent), &BTreeSet::new()).expect("each id once");
    assert_eq!(judged.in_force, vec![9_999]);
}
