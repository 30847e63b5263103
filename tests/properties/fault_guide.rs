//! Any guide and any results: what is ruled out stays ruled out, nothing gets lost, and the next test is worth making.

use proptest::prelude::*;
use std::collections::BTreeSet;
use std::fmt::Write;
use witnessmark::acts::set_up::{FAULT_GUIDE, PACKING};
use witnessmark::rules::fault_guide::{Guide, Narrowed, Next, Symptom, narrow};
use witnessmark::rules::fault_guide_file::read;
use witnessmark::rules::packing::Packing;
use witnessmark::rules::words::ItemId;

fn id(text: String) -> ItemId {
    ItemId::parse(&text).expect("an id")
}

/// The file of a guide with one symptom: for each test its minutes, whether it comes first, and for each outcome the causes
/// that it excludes, as bits.
fn file(causes: usize, tests: &[(u32, bool, Vec<u8>)]) -> String {
    let mut text = "[[symptom]]\nid = \"s\"\nask = \"It fails\"\nsystem = \"engine\"\n".to_owned();
    for cause in 0..causes {
        let _ = writeln!(text, "[[symptom.cause]]\nid = \"c{cause}\"\nsay = \"C\"\nsystem = \"fuel\"\nmend = \"M\"");
    }
    for (nth, (minutes, first, outcomes)) in tests.iter().enumerate() {
        let head = format!("id = \"t{nth}\"\ndo = \"Try\"\nminutes = {minutes}\nfirst = {first}\nsource = \"S\"");
        let _ = writeln!(text, "[[symptom.test]]\n{head}\noutcomes = [");
        for (nth, bits) in outcomes.iter().enumerate() {
            let excludes: Vec<String> = (0..causes).filter(|c| bits & (1 << c) != 0).map(|c| format!("\"c{c}\"")).collect();
            let _ = writeln!(text, "  {{ id = \"o{nth}\", say = \"O\", excludes = [{}] }},", excludes.join(", "));
        }
        text.push_str("]\n");
    }
    text
}

/// A guide that can be read: what the reader would refuse is put right, and for each cause a long test tells it from all others.
fn any_guide() -> impl Strategy<Value = Guide> {
    let test = (1u32..=60, prop::bool::weighted(0.15), prop::collection::vec(any::<u8>(), 2..=5));
    (2usize..=6, prop::collection::vec(test, 0..6)).prop_map(|(causes, mut tests)| {
        let all = (1u8 << causes) - 1;
        for (.., outcomes) in &mut tests {
            outcomes.iter_mut().for_each(|bits| *bits = if *bits & all == all { all & !1 } else { *bits & all });
            let always = outcomes.iter().fold(all, |always, bits| always & bits);
            if let Some(last) = outcomes.last_mut() {
                *last &= !always;
            }
        }
        tests.retain(|(.., outcomes)| outcomes.iter().any(|bits| *bits != 0));
        tests.extend((0..causes).map(|cause| (600, false, vec![1 << cause, 0])));
        let text = file(causes, &tests);
        read(&text).unwrap_or_else(|error| panic!("{error}\n{text}"))
    })
}

/// Results, now and then of a test or with an outcome that the guide does not know; tests come more than once.
fn any_results() -> impl Strategy<Value = Vec<(ItemId, ItemId)>> {
    prop::collection::vec((0u8..13, 0u8..6), 0..8)
        .prop_map(|told| told.into_iter().map(|(test, outcome)| (id(format!("t{test}")), id(format!("o{outcome}")))).collect())
}

/// Results with one outcome a test, so that their order may change.
fn once(told: &[(ItemId, ItemId)]) -> Vec<(ItemId, ItemId)> {
    let mut seen = BTreeSet::new();
    told.iter().filter(|(test, _)| seen.insert(test)).cloned().collect()
}

fn left(narrowed: &Narrowed<'_>) -> BTreeSet<ItemId> {
    narrowed.left.iter().map(|cause| cause.id.clone()).collect()
}

/// What a test is expected to exclude, reckoned from the guide a second time.
fn expected(next: &Next<'_>, left: &BTreeSet<ItemId>) -> f64 {
    let hits = |excludes: &[ItemId]| excludes.iter().filter(|id| left.contains(id)).count();
    let sum: usize = next.test.outcomes.iter().map(|outcome| hits(&outcome.excludes)).sum();
    sum as f64 / next.test.outcomes.len() as f64
}

fn symptom(guide: &Guide) -> &Symptom {
    &guide.symptoms()[0]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(192))]

    #[test]
    fn the_order_of_the_results_does_not_matter(
        guide in any_guide(),
        (told, shuffled) in any_results().prop_flat_map(|told| { let told = once(&told); (Just(told.clone()), Just(told).prop_shuffle()) }),
    ) {
        prop_assert_eq!(narrow(symptom(&guide), &told), narrow(symptom(&guide), &shuffled));
    }

    #[test]
    fn a_new_result_brings_no_cause_back_unless_it_replaces_one(guide in any_guide(), told in any_results()) {
        let told = once(&told);
        for more in 1..=told.len() {
            let (before, after) = (narrow(symptom(&guide), &told[..more - 1]), narrow(symptom(&guide), &told[..more]));
            prop_assert!(left(&after).is_subset(&left(&before)));
        }
    }

    #[test]
    fn only_the_last_result_of_a_test_counts(guide in any_guide(), told in any_results()) {
        let mut newest = told.clone();
        newest.reverse();
        prop_assert_eq!(narrow(symptom(&guide), &told), narrow(symptom(&guide), &once(&newest)));
    }

    #[test]
    fn every_cause_is_left_or_excluded_and_every_test_is_made_next_or_silent(guide in any_guide(), told in any_results()) {
        let symptom = symptom(&guide);
        let narrowed = narrow(symptom, &told);
        prop_assert_eq!(narrowed.left.len() + narrowed.excluded.len(), symptom.causes.len());
        for excluded in &narrowed.excluded {
            prop_assert!(!left(&narrowed).contains(&excluded.cause.id) && !excluded.by.is_empty());
            for made in &excluded.by {
                prop_assert!(made.outcome.excludes.contains(&excluded.cause.id));
                prop_assert!(told.contains(&(made.test.id.clone(), made.outcome.id.clone())));
            }
        }
        let tests = narrowed.made.len() + narrowed.next.len() + narrowed.silent.len();
        prop_assert_eq!(tests, symptom.tests.len());
        prop_assert_eq!(narrowed.contradiction, narrowed.left.is_empty());
        let newest: BTreeSet<&ItemId> = told.iter().map(|(test, _)| test).collect();
        prop_assert_eq!(narrowed.made.len() + narrowed.unknown.len(), newest.len());
    }

    #[test]
    fn a_next_test_can_exclude_something_and_its_range_is_kept_whatever_it_shows(guide in any_guide(), told in any_results()) {
        let narrowed = narrow(symptom(&guide), &told);
        for next in &narrowed.next {
            prop_assert!(next.most >= 1 && next.least <= next.most && next.of == narrowed.left.len());
            let mut shown = BTreeSet::new();
            for outcome in &next.test.outcomes {
                let more = [told.clone(), vec![(next.test.id.clone(), outcome.id.clone())]].concat();
                shown.insert(narrowed.left.len() - narrow(symptom(&guide), &more).left.len());
            }
            prop_assert_eq!((shown.first(), shown.last()), (Some(&next.least), Some(&next.most)));
        }
        for silent in &narrowed.silent {
            prop_assert!(silent.outcomes.iter().all(|outcome| outcome.excludes.iter().all(|id| !left(&narrowed).contains(id))));
        }
    }

    #[test]
    fn no_test_is_quicker_and_excludes_more_than_the_best_of_its_rank(guide in any_guide(), told in any_results()) {
        let narrowed = narrow(symptom(&guide), &told);
        let left = left(&narrowed);
        for first in [true, false] {
            let ranked: Vec<_> = narrowed.next.iter().filter(|next| next.test.first == first).collect();
            for other in ranked.iter().skip(1) {
                let dominates = other.test.minutes < ranked[0].test.minutes && expected(other, &left) > expected(ranked[0], &left);
                prop_assert!(!dominates, "{} before {}", ranked[0].test.id, other.test.id);
            }
            for pair in ranked.windows(2) {
                let worth = |next: &Next<'_>| expected(next, &left) / f64::from(next.test.minutes);
                prop_assert!(worth(pair[0]) >= worth(pair[1]) - 1e-12);
            }
        }
        prop_assert!(narrowed.next.is_sorted_by_key(|next| !next.test.first), "tests marked first stand first");
    }

    #[test]
    fn a_contradiction_is_said_and_its_doubtful_results_matter(guide in any_guide(), told in any_results()) {
        let narrowed = narrow(symptom(&guide), &told);
        prop_assert_eq!(narrowed.said().contains("No cause on this list is left"), narrowed.contradiction);
        prop_assert!(narrowed.contradiction || narrowed.doubtful.is_empty());
        for made in &narrowed.doubtful {
            let without: Vec<_> = told.iter().filter(|(test, _)| *test != made.test.id).cloned().collect();
            prop_assert!(!narrow(symptom(&guide), &without).left.is_empty());
        }
    }
}

/// The text with pieces cut out, doubled, swapped for others or for anything at all.
fn mangled(text: &'static str) -> impl Strategy<Value = String> {
    let scraps =
        prop::sample::select(vec!["\"", "[", "]]", "{", "\n", "= -1", "1e999", "nan", "\"\"\"", "\u{0}", "[[symptom]]\n", "é"]);
    let scrap = prop_oneof![3 => scraps.prop_map(str::to_owned), 1 => any::<String>()];
    let change = (any::<prop::sample::Index>(), 0usize..200, scrap, any::<bool>());
    prop::collection::vec(change, 1..5).prop_map(move |changes| {
        changes.into_iter().fold(text.to_owned(), |text, (at, length, scrap, cut)| {
            let characters: Vec<char> = text.chars().collect();
            let at = at.index(characters.len().max(1)).min(characters.len());
            let end = if cut { (at + length).min(characters.len()) } else { at };
            characters[..at].iter().copied().chain(scrap.chars()).chain(characters[end..].iter().copied()).collect()
        })
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(96))]

    #[test]
    fn a_mangled_guide_is_read_or_refused_with_a_line_of_it(text in mangled(FAULT_GUIDE)) {
        match read(&text) {
            Err(error) => prop_assert!((1..=text.lines().count() + 1).contains(&error.line), "{error}"),
            Ok(guide) => for symptom in guide.symptoms() {
                prop_assert_eq!(narrow(symptom, &[]).left.len(), symptom.causes.len());
            }
        }
    }

    #[test]
    fn a_mangled_packing_list_is_read_or_refused_with_a_line_of_it(text in mangled(PACKING)) {
        if let Err(error) = Packing::read(&text) {
            prop_assert!((1..=text.lines().count() + 1).contains(&error.line), "{error}");
        }
    }
}
