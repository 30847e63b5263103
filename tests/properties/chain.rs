//! The proof: a history of a few hundred records, and every single byte of it changed, one at a time.

use witnessmark::rules::chain::{Chain, Sealed, digest, hex, mark_of, verify};

/// A history of two events with a few cars each, as the store would have it.
fn history(count: u64) -> Vec<Sealed> {
    let mut records: Vec<Sealed> = Vec::new();
    for event in ["0198c0de-0000-7000-8000-00000000000a", "0198c0de-0000-7000-8000-00000000000b"] {
        for place in 1..=count / 2 {
            let entry = format!("0198c0de-0000-7000-8000-0000000e{:02}{}", place % 7, &event[34..]);
            let before = |record: &&Sealed| record.entry == entry;
            let salt = hex(&digest(place.to_string().as_bytes()))[..40].to_owned();
            let kind = ["submission", "clear", "hold", "withdrawal"][(place % 4) as usize];
            let name = format!("Inspector \u{d6}zil {}", place % 5);
            let mut record = Sealed {
                place,
                id: format!("0198c0de-0000-7000-8000-{place:010}{}", &event[34..]),
                event: event.into(),
                seen: records.iter().rev().find(before).map(|record| record.id.clone()).into_iter().collect(),
                kind: kind.into(),
                body: format!("{{\"reason\":\"coolant drops, place {place}\",\"items\":[]}}"),
                number: (kind == "submission").then_some(place as u32),
                made_at: 1_778_306_400_000 + place as i64,
                arrived_at: 1_778_306_400_900 + place as i64,
                maker_mark: hex(&mark_of(&salt, &name)),
                maker: Some(name),
                maker_salt: Some(salt),
                maker_role: "inspector".into(),
                link: "0198c0de-0000-7000-8000-0000000000aa".into(),
                device: "0198c0de-0000-7000-8000-0000000000dd".into(),
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
    for record in &mut records {
        (record.maker, record.maker_salt) = (None, None);
    }
    assert!(verify(records.clone()).is_ok(), "the names are gone, the records stay");
    records[3].maker = Some("Somebody Else".into());
    records[3].maker_salt = Some("00".repeat(20));
    assert_eq!(verify(records).unwrap_err().place, 4);
}
