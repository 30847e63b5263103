//! `witnessmark standing`: the one rule from a terminal, by its contract (the history of one entry as JSON).

use crate::tools::{command, rubbish};
use serde_json::{Value as Json, json};

fn submission(id: &str, seen: &[&str], complete: bool, open: &[&str]) -> Json {
    json!({ "id": id, "seen": seen, "kind": "submission", "complete": complete, "open": open })
}

fn sent(id: &str, seen: &[&str]) -> Json {
    submission(id, seen, true, &[])
}

fn clear(id: &str, seen: &[&str]) -> Json {
    json!({ "id": id, "seen": seen, "kind": "clear", "closes": [] })
}

fn word(kind: &str, id: &str, seen: &[&str]) -> Json {
    json!({ "id": id, "seen": seen, "kind": kind })
}

fn standing(records: &[Json]) -> crate::tools::Said {
    command(&["standing"], json!({ "records": records }).to_string().as_bytes())
}

/// Where the records put the entry; the same told backwards and told twice.
fn stands(what: &str, records: &[Json]) -> String {
    let said = standing(records).answer(what);
    let because = said["because"].as_array().cloned().unwrap_or_default();
    assert!(
        !because.is_empty() && because.iter().all(|why| why.as_str().is_some_and(|why| why.ends_with('.'))),
        "{what}: {said}"
    );
    let backwards: Vec<Json> = records.iter().rev().cloned().collect();
    let twice: Vec<Json> = records.iter().chain(records).cloned().collect();
    for (how, other) in [("backwards", backwards), ("twice", twice)] {
        assert_eq!(standing(&other).answer(what)["standing"], said["standing"], "{what}, told {how}");
    }
    said["standing"].as_str().unwrap_or_default().to_owned()
}

#[test]
fn each_clause_of_the_rule() {
    let open = |id: &str, seen: &[&str], items: &[&str]| submission(id, seen, true, items);
    let closing = |id: &str, seen: &[&str], items: &[&str]| json!({ "id": id, "seen": seen, "kind": "clear", "closes": items });
    let void = |id: &str, seen: &[&str]| json!({ "id": id, "seen": seen, "kind": "clear", "counts": false });
    for (what, wanted, records) in [
        ("nothing", "pending", vec![]),
        ("a hold and nothing else", "flagged", vec![word("hold", "h", &[])]),
        ("sent", "pending", vec![sent("s", &[])]),
        ("incomplete", "pending", vec![submission("s", &[], false, &[])]),
        ("incomplete and cleared", "pending", vec![submission("s", &[], false, &[]), clear("c", &["s"])]),
        ("a finding", "flagged", vec![open("s", &[], &["pad-front"])]),
        ("cleared", "cleared", vec![sent("s", &[]), clear("c", &["s"])]),
        ("a clear that had seen nothing", "pending", vec![sent("s", &[]), clear("c", &[])]),
        ("a clear of the submission before", "pending", vec![sent("s", &[]), clear("c", &["s"]), sent("t", &["s"])]),
        (
            "the same, though the driver had seen the clear",
            "pending",
            vec![sent("s", &[]), clear("c", &["s"]), sent("t", &["c"])],
        ),
        (
            "a finding that the clear closes",
            "cleared",
            vec![open("s", &[], &["pad-front"]), closing("c", &["s"], &["pad-front"])],
        ),
        (
            "a finding that it does not",
            "flagged",
            vec![open("s", &[], &["pad-front", "mirrors"]), closing("c", &["s"], &["mirrors"])],
        ),
        (
            "a finding closed by an earlier clear in this one's past",
            "cleared",
            vec![
                open("s", &[], &["pad-front"]),
                closing("c", &["s"], &["pad-front"]),
                word("hold", "h", &["c"]),
                clear("d", &["h"]),
            ],
        ),
        (
            "a finding sent again is open again",
            "flagged",
            vec![open("s", &[], &["pad-front"]), closing("c", &["s"], &["pad-front"]), open("t", &["c"], &["pad-front"])],
        ),
        ("a hold that the clear had seen", "cleared", vec![sent("s", &[]), word("hold", "h", &["s"]), clear("c", &["h"])]),
        ("a hold that it had not", "flagged", vec![sent("s", &[]), word("hold", "h", &["s"]), clear("c", &["s"])]),
        ("taken back", "flagged", vec![sent("s", &[]), clear("c", &["s"]), word("withdrawal", "w", &["c"])]),
        (
            "cleared again",
            "cleared",
            vec![sent("s", &[]), clear("c", &["s"]), word("withdrawal", "w", &["c"]), clear("d", &["w"])],
        ),
        ("two in force, one seen", "pending", vec![sent("s", &[]), sent("t", &[]), clear("c", &["s"])]),
        ("two in force, both seen", "cleared", vec![sent("s", &[]), sent("t", &[]), clear("c", &["s", "t"])]),
        ("the worse of two", "flagged", vec![sent("s", &[]), open("t", &[], &["mirrors"])]),
        ("until one has seen both", "pending", vec![sent("s", &[]), open("t", &[], &["mirrors"]), sent("u", &["s", "t"])]),
        ("a clear without the right", "pending", vec![sent("s", &[]), void("c", &["s"])]),
        (
            "a clear without the right lifts no hold",
            "flagged",
            vec![sent("s", &[]), word("hold", "h", &["s"]), void("c", &["h"])],
        ),
        ("a clear that rests on what is not here", "pending", vec![sent("s", &[]), clear("c", &["s", "missing"])]),
        ("a submission that rests on what is not here counts", "flagged", vec![open("s", &["missing"], &["mirrors"])]),
        (
            "a hold that rests on what is not here counts",
            "flagged",
            vec![sent("s", &[]), clear("c", &["s"]), word("hold", "h", &["x"])],
        ),
        ("a clear over such a submission", "pending", vec![sent("s", &["missing"]), clear("c", &["s"])]),
        ("a record that names itself", "pending", vec![sent("s", &["s"])]),
        ("and a clear that has seen it", "cleared", vec![sent("s", &["s"]), clear("c", &["s"])]),
        ("two submissions that name each other", "pending", vec![sent("s", &["t"]), sent("t", &["s"])]),
        ("a clear that has seen one of them", "pending", vec![sent("s", &["t"]), sent("t", &["s"]), clear("c", &["s"])]),
        ("a clear that has seen both", "cleared", vec![sent("s", &["t"]), sent("t", &["s"]), clear("c", &["s", "t"])]),
        ("a clear in a circle", "pending", vec![sent("s", &[]), clear("c", &["s", "d"]), clear("d", &["c"])]),
        (
            "two holds that name each other",
            "flagged",
            vec![sent("s", &[]), word("hold", "h", &["s", "i"]), word("hold", "i", &["h"])],
        ),
        ("two clears, one too old", "cleared", vec![sent("s", &[]), clear("c", &["s"]), clear("d", &["s"])]),
    ] {
        assert_eq!(stands(what, &records), wanted, "{what}");
    }
}

/// What the edition in force asks an inspector to check by hand, and what clears carry of it.
#[test]
fn each_clause_on_hand_checks() {
    let clear = |id: &str, seen: &[&str], ticked: &[&str]| json!({ "id": id, "seen": seen, "kind": "clear", "closes": [], "by_hand": ticked });
    let both = ["belts", "wheels"];
    for (what, wanted, records) in [
        ("all ticked", "cleared", vec![sent("s", &[]), clear("c", &["s"], &both)]),
        ("one left out", "pending", vec![sent("s", &[]), clear("c", &["s"], &["belts"])]),
        (
            "the other made up for later",
            "cleared",
            vec![sent("s", &[]), clear("c", &["s"], &["belts"]), clear("d", &["c"], &["wheels"])],
        ),
        (
            "two clears that know nothing of each other",
            "pending",
            vec![sent("s", &[]), clear("c", &["s"], &["belts"]), clear("d", &["s"], &["wheels"])],
        ),
        (
            "after a hold what it concerns",
            "cleared",
            vec![sent("s", &[]), clear("c", &["s"], &both), word("hold", "h", &["c"]), clear("d", &["h"], &[])],
        ),
        (
            "after a withdrawal everything",
            "pending",
            vec![sent("s", &[]), clear("c", &["s"], &both), word("withdrawal", "w", &["c"]), clear("d", &["w"], &["belts"])],
        ),
        (
            "after a withdrawal everything, and it was done",
            "cleared",
            vec![sent("s", &[]), clear("c", &["s"], &both), word("withdrawal", "w", &["c"]), clear("d", &["w"], &both)],
        ),
    ] {
        let asked = json!({ "records": records, "by_hand": both });
        let said = command(&["standing"], asked.to_string().as_bytes()).answer(what);
        assert_eq!(said["standing"], wanted, "{what}: {said}");
    }
    let lacks = json!({ "records": [sent("s", &[]), clear("c", &["s"], &["belts"])], "by_hand": both });
    let said = command(&["standing"], lacks.to_string().as_bytes()).answer("one left out");
    assert_eq!(said["because"], json!(["Clear c lacks checks by hand: wheels."]));
}

#[test]
fn a_history_that_cannot_be_one_is_refused() {
    let twice = [sent("s", &[]), submission("s", &[], true, &["mirrors"])];
    assert!(standing(&twice).refusal("one id, two contents").1.contains('s'));
    let chain: Vec<Json> = (0..5000)
        .map(|n| {
            sent(
                &format!("r{n}"),
                if n == 0 { vec![] } else { vec![format!("r{}", n - 1)] }
                    .iter()
                    .map(String::as_str)
                    .collect::<Vec<_>>()
                    .as_slice(),
            )
        })
        .collect();
    assert_eq!(standing(&chain).answer("five thousand in a row")["standing"], "pending", "a long history needs no deep stack");
}

#[test]
fn a_record_that_cannot_be_one_is_named() {
    let with = |key: &str, value: Json| {
        let mut record = sent("s", &[]);
        record[key] = value;
        record
    };
    let without = |key: &str| {
        let mut record = sent("s", &[]);
        record.as_object_mut().expect("an object").remove(key);
        record
    };
    for (what, record, field) in [
        ("no id", without("id"), "records[0].id"),
        ("no seen", without("seen"), "records[0].seen"),
        ("no kind", without("kind"), "records[0].kind"),
        ("no complete", without("complete"), "records[0].complete"),
        ("no open", without("open"), "records[0].open"),
        ("an id that is a number", with("id", json!(7)), "records[0].id"),
        ("an empty id", with("id", json!("")), "records[0].id"),
        ("seen that is a text", with("seen", json!("r")), "records[0].seen"),
        ("seen of numbers", with("seen", json!([1])), "records[0].seen"),
        ("a kind that is none", with("kind", json!("release")), "records[0].kind"),
        ("complete that is a word", with("complete", json!("yes")), "records[0].complete"),
        ("open that is no item", with("open", json!(["Not an item"])), "records[0].open"),
        ("a field that is none", with("colour", json!("red")), "records[0].colour"),
        ("closes in a submission", with("closes", json!([])), "records[0].closes"),
        ("a record that is a list", json!([]), "records[0]"),
        ("a clear that counts a little", json!({ "id": "c", "seen": [], "kind": "clear", "counts": 0.5 }), "records[0].counts"),
        ("a hold that closes", json!({ "id": "h", "seen": [], "kind": "hold", "closes": ["mirrors"] }), "records[0].closes"),
    ] {
        assert_eq!(standing(&[record]).refusal(what).0, field, "{what}");
    }
    for (what, input) in
        [("records in an object", json!({ "records": {} })), ("a field too many", json!({ "records": [], "now": true }))]
    {
        command(&["standing"], input.to_string().as_bytes()).refusal(what);
    }
    let twice = br#"{"records": [{"id": "s", "id": "t", "seen": [], "kind": "hold"}]}"#;
    command(&["standing"], twice).refusal("two ids in one record");
    for (what, input) in rubbish() {
        command(&["standing"], &input).refusal(what);
    }
}
