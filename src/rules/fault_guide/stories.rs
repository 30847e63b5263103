//! The default guide at work, and what its reader refuses.

use super::*;
use crate::rules::fault_guide_file::{SMALLEST, read};
use std::collections::BTreeSet;
use std::sync::LazyLock;

static GUIDE: LazyLock<Guide> =
    LazyLock::new(|| read(include_str!("../../sheets/fault-guide.toml")).unwrap_or_else(|error| panic!("{error}")));

/// "test: outcome" pairs, as somebody tells them.
fn tried(told: &[&str]) -> Vec<(ItemId, ItemId)> {
    let id = |text: &str| ItemId::parse(text).expect("an id");
    told.iter().map(|pair| pair.split_once(": ").map(|(test, outcome)| (id(test), id(outcome))).expect("a pair")).collect()
}

fn symptom(id: &str) -> &'static Symptom {
    GUIDE.symptom(id).unwrap_or_else(|| panic!("the default guide has {id}"))
}

/// Narrowed by results that the default guide must know.
fn after(id: &str, told: &[&str]) -> Narrowed<'static> {
    let narrowed = narrow(symptom(id), &tried(told));
    assert_eq!(narrowed.unknown, [], "{id}: results that the guide does not know");
    narrowed
}

fn left(narrowed: &Narrowed<'static>) -> Vec<&'static str> {
    narrowed.left.iter().map(|cause| cause.id.as_str()).collect()
}

fn next(narrowed: &Narrowed<'static>) -> Vec<&'static str> {
    narrowed.next.iter().map(|next| next.test.id.as_str()).collect()
}

#[test]
fn the_default_guide_has_the_symptoms_that_a_paddock_knows() {
    let ids: Vec<&str> = GUIDE.symptoms().iter().map(|symptom| symptom.id.as_str()).collect();
    let wanted = "breaks-up lamp-flashes oil-drips runs-hot brakes-pull pedal-soft fumes vibration smoke hot-start";
    assert_eq!(ids.join(" "), wanted);
    for symptom in GUIDE.symptoms() {
        assert!((4..=8).contains(&symptom.causes.len()), "{}: {} causes", symptom.id, symptom.causes.len());
        assert!((5..=10).contains(&symptom.tests.len()), "{}: {} tests", symptom.id, symptom.tests.len());
        assert!(symptom.caution.is_some(), "{}: what must not be driven or touched", symptom.id);
    }
}

/// The reader asks that some test tells each two causes apart; this asks that the tests together can get to each cause alone.
#[test]
fn every_cause_can_end_up_as_the_only_one_left() {
    for symptom in GUIDE.symptoms() {
        for cause in &symptom.causes {
            // Every set of causes that results which spare this one can leave.
            let mut reached = BTreeSet::from([symptom.causes.iter().map(|cause| &cause.id).collect::<BTreeSet<_>>()]);
            for test in &symptom.tests {
                for outcome in test.outcomes.iter().filter(|outcome| !outcome.excludes.contains(&cause.id)) {
                    let without = |left: &BTreeSet<&'static ItemId>| -> BTreeSet<&'static ItemId> {
                        left.iter().copied().filter(|id| !outcome.excludes.contains(id)).collect()
                    };
                    reached.extend(reached.iter().map(without).collect::<Vec<_>>());
                }
            }
            assert!(reached.contains(&BTreeSet::from([&cause.id])), "{}: {} is never left alone", symptom.id, cause.id);
        }
    }
}

#[test]
fn the_guide_never_says_that_a_car_is_fit_to_go() {
    let data = include_str!("../../sheets/fault-guide.toml").to_lowercase();
    for word in ["safe", "fault-free", "nothing wrong", "roadworthy", "good to go", "proven", "guarantee", "—"] {
        assert!(!data.contains(word), "the guide says \"{word}\"");
    }
    for symptom in GUIDE.symptoms() {
        for test in &symptom.tests {
            for outcome in &test.outcomes {
                let said = narrow(symptom, &[(test.id.clone(), outcome.id.clone())]).said();
                assert!(!said.contains("safe"), "{said}");
                assert!(!said.replace("not proven", "").contains("proven"), "{said}");
            }
        }
    }
}

/// Carbon monoxide, fuel, loose wheels, brake fluid: what kills is not ruled out in passing.
#[test]
fn what_kills_is_excluded_by_its_own_test_only() {
    for (id, cause, own) in
        [("vibration", "loose-wheel", "nuts"), ("fumes", "fuel-leak", "fuel-look"), ("pedal-soft", "leak", "look")]
    {
        for test in symptom(id).tests.iter().filter(|test| test.id.as_str() != own) {
            let excludes = |outcome: &Outcome| outcome.excludes.iter().any(|excluded| excluded.as_str() == cause);
            assert!(!test.outcomes.iter().any(excludes), "{id}: {} excludes {cause}", test.id);
        }
    }
}

#[test]
fn a_shake_begins_at_the_wheel_nuts_although_a_question_would_be_quicker() {
    let start = after("vibration", &[]);
    assert_eq!(next(&start)[..2], ["nuts", "when"]);
    assert!(start.next[1].test.minutes < start.next[0].test.minutes);
    let nuts = after("vibration", &["nuts: clicked"]);
    assert!(!left(&nuts).contains(&"loose-wheel"));
    assert_eq!(next(&nuts)[0], "when");
}

#[test]
fn a_shake_under_braking_comes_down_to_the_disc() {
    let asked = after("vibration", &["nuts: clicked", "when: brake"]);
    assert_eq!(left(&asked), ["tyre", "disc", "bearing"]);
    let felt = after("vibration", &["nuts: clicked", "when: brake", "bearing-feel: smooth", "tyre-look: round"]);
    assert_eq!(left(&felt), ["disc"]);
    assert!(felt.said().contains("not proven"), "{}", felt.said());
    // It can still be disproved.
    assert_eq!(next(&felt), ["joint-look", "mount-look", "rim-dial", "disc-measure", "balance"]);
    assert_eq!(felt.next[3].range(), "excludes 0 to 1 of 1");
    assert!(felt.silent.is_empty());
}

#[test]
fn bubbles_in_the_coolant_leave_the_head_gasket_and_nothing_else() {
    let narrowed = after("runs-hot", &["leak-down: bubbles"]);
    assert_eq!(left(&narrowed), ["head-gasket"]);
    let fan = narrowed.excluded.iter().find(|excluded| excluded.cause.id.as_str() == "fan").expect("the fan is excluded");
    assert_eq!(fan.by.len(), 1);
    assert_eq!((fan.by[0].test.id.as_str(), fan.by[0].outcome.say.as_str()), ("leak-down", "Bubbles in the coolant tank"));
}

#[test]
fn a_chemical_test_that_stays_blue_rules_nothing_out() {
    assert_eq!(after("runs-hot", &["gas-test: stays"]).left.len(), symptom("runs-hot").causes.len());
}

#[test]
fn a_pedal_that_is_long_after_kerbs_points_at_knock_back_but_a_leak_is_looked_for() {
    let asked = after("pedal-soft", &["when: kerbs"]);
    assert_eq!(left(&asked), ["knock-back", "leak"]);
    let looked = after("pedal-soft", &["when: kerbs", "look: dry"]);
    assert_eq!(left(&looked), ["knock-back"]);
}

#[test]
fn fumes_begin_with_a_look_for_fuel_before_the_engine_runs() {
    assert_eq!(next(&after("fumes", &[]))[0], "fuel-look");
    assert_eq!(next(&after("fumes", &["which-smell: exhaust"]))[0], "fuel-look");
    assert_eq!(left(&after("fumes", &["fuel-look: wet"])), ["fuel-leak"]);
}

#[test]
fn a_misfire_that_moves_with_its_coil_is_the_coil() {
    assert_eq!(left(&after("lamp-flashes", &["swap-coil: moves"])), ["coil"]);
    let on = after("lamp-flashes", &["codes: one", "swap-coil: stays"]);
    assert_eq!(left(&on), ["plug", "injector", "inlet-leak", "sealing"]);
}

#[test]
fn a_caliper_is_told_from_a_hose_at_the_bleed_screw() {
    let hot = &["look: dry", "rock: firm", "tyre-pressures: alike", "disc-heat: apart"];
    assert_eq!(left(&after("brakes-pull", hot)), ["caliper", "hose", "pads-fouled", "pads-unlike"]);
    assert_eq!(left(&after("brakes-pull", &["spin: lets-go"])), ["hose"]);
    assert_eq!(left(&after("brakes-pull", &["spin: held"])), ["caliper"]);
}

#[test]
fn two_results_that_exclude_everything_are_called_a_contradiction() {
    let narrowed = after("runs-hot", &["leak-down: bubbles", "gas-test: stays", "when: level-only"]);
    assert!(!narrowed.contradiction);
    let narrowed = after("lamp-flashes", &["swap-coil: moves", "plugs: white", "codes: one"]);
    assert!(narrowed.contradiction);
    assert_eq!(left(&narrowed), [""; 0]);
    assert!(narrowed.next.is_empty());
    assert!(narrowed.said().starts_with("No cause on this list is left. Either a test misled, or"), "{}", narrowed.said());
    // Only the swap excludes plug, injector and others, only the plugs exclude the coil: these two are made again.
    let doubtful: Vec<&str> = narrowed.doubtful.iter().map(|made| made.test.id.as_str()).collect();
    assert_eq!(doubtful, ["swap-coil", "plugs"]);
}

#[test]
fn a_test_made_again_replaces_its_first_result() {
    let narrowed = after("lamp-flashes", &["swap-coil: moves", "swap-coil: stays"]);
    assert_eq!(narrowed.excluded.len(), 1);
    assert_eq!(narrowed.made.len(), 1);
}

#[test]
fn results_that_the_guide_does_not_know_any_more_are_named_and_count_for_nothing() {
    let told = tried(&["swap-coil: moves", "swap-coil: taken-out", "crystal-ball: coil"]);
    let narrowed = narrow(symptom("lamp-flashes"), &told);
    assert_eq!(narrowed.excluded, []);
    assert_eq!(narrowed.unknown, tried(&["crystal-ball: coil", "swap-coil: taken-out"]));
    assert!(next(&narrowed).contains(&"swap-coil"), "it is offered again");
}

/// What the reader says of the smallest guide with one thing changed.
#[test]
fn the_reader_names_the_line_and_what_is_wrong() {
    let cases = [
        ("minutes = 5", "minutes = 0", "line 22, test \"gauge\", key `minutes`: must be a whole number from 1 to 600"),
        ("minutes = 5", "minutes = 5\nprice = 3", "line 23, test \"gauge\", key `price`: is not a key that belongs here"),
        ("[\"pressures\"]", "[\"wind\"]", "line 25, outcome \"even\", key `excludes`: no cause of \"pulls\" has the id \"wind\""),
        (
            "[\"pressures\"]",
            "[\"pressures\", \"alignment\"]",
            "line 25, outcome \"even\", key `excludes`: it excludes every cause: nothing would be left",
        ),
        (
            "[\"pressures\"]",
            "[]",
            "line 20, test \"gauge\", key `outcomes`: no outcome excludes anything: the test tells nothing",
        ),
        (
            "again\", excludes = []",
            "again\"",
            "line 26, outcome \"uneven\", key `excludes`: is missing: write [] where it excludes nothing",
        ),
        (
            "id = \"alignment\"",
            "id = \"pressures\"",
            "line 14, symptom \"pulls\", cause 2, key `id`: another cause here has the id \"pressures\"",
        ),
        ("system = \"steering\"", "system = \"wings\"", "line 16, cause \"alignment\", key `system`: must be one of brakes, "),
    ];
    for (old, new, wanted) in cases {
        let said = read(&SMALLEST.replace(old, new)).expect_err(new).to_string();
        assert!(said.contains(wanted), "{said}\nwanted: {wanted}");
    }
    assert!(read("").unwrap_err().to_string().contains("a guide has 1 to 60 symptoms"));
    assert!(read(&" ".repeat(600 * 1024)).is_err());
}
