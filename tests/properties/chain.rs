//! The proof: a history of a few hundred records, and every single byte of it changed, one at a time.

use witnessmark::rules::chain::{BoundEdition, Chain, Sealed, digest, hex, mark_of, verify};

/// A history of two events with a few cars each, as the store would have it. The first half of each event is of the form of
/// before, the rest binds what it rests on; every ninth record of that rest is the event's own.
fn history(count: u64) -> Vec<Sealed> {
    let mut records: Vec<Sealed> = Vec::new();
    for event in ["0198c0de-0000-7000-8000-00000000000a", "0198c0de-0000-7000-8000-00000000000b"] {
        for place in 1..=count / 2 {
            let is_second = place > count / 4;
            let of_event = is_second && place % 9 == 0;
            let entry = (!of_event).then(|| format!("0198c0de-0000-7000-8000-0000000e{:02}{}", place % 7, &event[34..]));
            let before = |record: &&Sealed| entry.is_some() && record.entry == entry;
            let digest_of = |what: &str| is_second.then(|| hex(&digest(what.as_bytes())));
            let salt = hex(&digest(place.to_string().as_bytes()))[..40].to_owned();
            let kind = ["submission", "clear", "hold", "withdrawal"][(place % 4) as usize];
            let kind = if of_event { "raise" } else { kind };
            let name = format!("Inspector \u{d6}zil {}", place % 5);
            let mut record = Sealed {
                form: if is_second { 2 } else { 1 },
                place,
                id: format!("0198c0de-0000-7000-8000-{place:010}{}", &event[34..]),
                event: event.into(),
                seen: records.iter().rev().find(before).map(|record| record.id.clone()).into_iter().collect(),
                kind: kind.into(),
                body: format!("{{\"reason\":\"coolant drops, place {place}\",\"items\":[]}}"),
                number: (kind == "submission").then_some(place as u32),
                made_at: 1_778_306_400_000 + place as i64,
                arrived_at: 1_778_306_400_900 + place as i64,
                maker_mark: Some(hex(&mark_of(&salt, &name))),
                maker: Some(name),
                maker_salt: Some(salt),
                maker_role: if place % 2 == 0 { "driver" } else { "inspector" }.into(),
                link: Some("0198c0de-0000-7000-8000-0000000000aa".into()),
                device: Some("0198c0de-0000-7000-8000-0000000000dd".into()),
                edition: is_second.then(|| "0198c0de-0000-7000-8000-0000000000ed".into()),
                edition_digest: digest_of("edition"),
                event_digest: digest_of("event"),
                entry_digest: digest_of("entry").filter(|_| !of_event),
                counts: true,
                entry_before: records.iter().rev().find(before).map(|record| record.hash.clone()),
                event_before: records.last().filter(|last| last.event == event).map(|last| last.hash.clone()),
                entry,
                hash: String::new(),
            };
            record.hash = hex(&record.reckon());
            records.push(record);
        }
    }
    records
}

#[test]
fn a_history_as_it_was_written_fits_to_its_heads() {
    let records = history(300);
    let heads = verify(records.clone()).expect("it fits");
    assert_eq!(heads.iter().map(|head| head.records).collect::<Vec<_>>(), [150, 150]);
    assert_eq!(heads[1].hash, records[299].hash);
}

#[test]
fn every_single_byte_that_is_changed_shows_at_its_record() {
    let records = history(300);
    let mut chain = Chain::default();
    let (mut tried, mut unreadable) = (0u32, 0u32);
    for record in &records {
        let line = serde_json::to_vec(record).expect("JSON");
        for at in 0..line.len() {
            for flip in [0x01u8, 0x20] {
                let mut changed = line.clone();
                changed[at] ^= flip;
                tried += 1;
                let Ok(read) = serde_json::from_slice::<Sealed>(&changed) else {
                    unreadable += 1;
                    continue;
                };
                if read == *record {
                    continue;
                }
                let fits = chain.fits(&read);
                assert!(fits.is_err(), "byte {at} of record {} was changed and nobody noticed", record.id);
            }
        }
        chain.push(record.clone()).expect("the record as it was written fits");
    }
    assert!(tried > 300_000 && unreadable < tried / 3 * 2, "{tried} tried, {unreadable} could not be read at all");
}

#[test]
fn a_record_taken_out_put_in_or_moved_shows() {
    let records = history(60);
    for at in 0..records.len() {
        let is_last_of_event = at + 1 == records.len() || records[at + 1].event != records[at].event;
        let mut without = records.clone();
        without.remove(at);
        // The end cut off shows only to who holds the head.
        assert_eq!(verify(without).is_ok(), is_last_of_event, "record {at} taken out");
        let mut twice = records.clone();
        twice.insert(at, records[at].clone());
        assert!(verify(twice).is_err(), "record {at} put in twice");
        if at > 0 && records[at - 1].event == records[at].event {
            let mut moved = records.clone();
            moved.swap(at - 1, at);
            assert!(verify(moved).is_err(), "record {at} moved");
        }
    }
}

#[test]
fn an_erased_name_leaves_the_chain_whole_and_a_false_one_does_not() {
    let mut records = history(20);
    for record in records.iter_mut().filter(|record| record.maker_role == "driver") {
        (record.maker, record.maker_salt) = (None, None);
    }
    assert!(verify(records.clone()).is_ok(), "the drivers' names are gone, the records stay");
    records[3].maker = Some("Somebody Else".into());
    records[3].maker_salt = Some("00".repeat(20));
    assert_eq!(verify(records).unwrap_err().place, 4);
}

#[test]
fn an_inspectors_name_cannot_be_erased() {
    let mut records = history(20);
    assert_eq!(records[2].maker_role, "inspector");
    (records[2].maker, records[2].maker_salt) = (None, None);
    assert_eq!(verify(records).unwrap_err().why, "its maker's name was erased, and only a driver's may be");
}

/// An export of a release before: a record sealed then, whose hash was computed outside of this program (Python's hashlib over
/// the text that `src/rules/chain/sealed.rs` writes down), verifies as it did.
#[test]
fn a_record_that_was_exported_before_verifies_by_the_rule_of_its_time() {
    let line = [
        r#"{"place":1,"id":"r1","event":"e1","entry":"n1","kind":"hold","seen":["a","b"],"#,
        r#""body":"{\"reason\":\"Oil.\"}","number":null,"#,
        r#""made_at":1,"arrived_at":2,"maker":"R. Holt","maker_salt":"00ff","maker_mark":"MARK","#,
        r#""maker_role":"inspector","link":"l1","device":"d1","counts":true,"#,
        r#""entry_before":null,"event_before":null,"hash":"HASH"}"#,
    ]
    .concat();
    let line = line
        .replace("MARK", "db4de9802d126bd78b268ce1b04eda829ffc391d0c8ab43c59e9dd3a9c9f3c83")
        .replace("HASH", "87621004790335b1718cc97eba5d5c996db5715378dd7e38f7c4233cf52e1948");
    let record: Sealed = serde_json::from_str(&line).expect("a line of before");
    assert_eq!(record.form, 1);
    assert_eq!(serde_json::to_string(&record).expect("JSON"), line, "and is exported as it was");
    assert!(verify([record.clone()]).is_ok());
    let weaker = Sealed { place: 2, id: "r2".into(), ..record };
    assert!(verify([weaker]).is_err());
}

/// As above for a record of now: the edition's digest and the hash were computed with Python's hashlib.
#[test]
fn a_record_of_now_has_the_hash_that_another_program_computes() {
    let edition = BoundEdition { number: 2, name: "Club day", file: "[sheet]\n", made_at: 5, made_by: "M. Ashdown" };
    assert_eq!(hex(&edition.digest()), "64cf3a5d0337701a549aa65392d6615952940a4d0b88d6f04fbf07b383d9507c");
    let line = [
        r#"{"form":2,"place":1,"id":"r1","event":"e1","entry":null,"kind":"raise","seen":[],"body":"{}","number":null,"#,
        r#""made_at":1,"arrived_at":1,"maker":"R. Holt","maker_salt":"00ff","#,
        r#""maker_mark":"db4de9802d126bd78b268ce1b04eda829ffc391d0c8ab43c59e9dd3a9c9f3c83","#,
        r#""maker_role":"organizer","link":"l1","device":"d1","counts":true,"edition":"s2","edition_digest":"DIGEST","#,
        r#""event_digest":"aa","entry_before":null,"event_before":null,"hash":"HASH"}"#,
    ]
    .concat();
    let hash = "e66bf603cfc244a6b8b7fb62902bf75996a8246550d8585e50133d4c43af83d0";
    let line = line.replace("DIGEST", &hex(&edition.digest())).replace("HASH", hash);
    let record: Sealed = serde_json::from_str(&line).expect("a line");
    assert_eq!(serde_json::to_string(&record).expect("JSON"), line);
    assert_eq!(hex(&record.reckon()), hash);
    assert!(verify([record]).is_ok());
}

#[test]
fn after_a_record_of_the_stronger_form_none_of_before_is_taken() {
    let mut records = history(40);
    records.truncate(20);
    let last = records.last_mut().expect("a record");
    (last.form, last.edition, last.edition_digest, last.event_digest, last.entry_digest) = (1, None, None, None, None);
    last.hash = hex(&last.reckon());
    let error = verify(records).unwrap_err();
    assert!(error.why.contains("rule of before"), "{error}");
}
