//! The proof, tried on a club's real file: a byte of the database is changed, and `verify` must notice wherever it changes what
//! the history says.
//!
//! The gate tries every 193rd byte; `WITNESSMARK_EVERY_BYTE=1 cargo test --test faults changed_bytes` tries them all.

use crate::club::Club;
use std::io::{Seek, SeekFrom, Write};
use witnessmark::rules::chain::Sealed;
use witnessmark::store::sealed_records;
use witnessmark::verify::{self, Kept};

/// Four cars, sixty holds each, a submission and a clear here and there.
async fn a_long_history() -> Club {
    let club = Club::open().await;
    let holt = club.inspector("R. Holt").await;
    for number in ["7", "12", "27", "114B"] {
        club.driver(number).await.sends(|_| ()).await;
        for nth in 0..60 {
            assert_eq!(holt.holds(number, &format!("Oil at the gearbox, look {nth}.")).await.status(), 303);
        }
        assert_eq!(holt.clears(number).await.status(), 303);
    }
    club
}

/// How a changed byte showed.
#[derive(Debug, Default)]
struct Tried {
    misfits: usize,
    unreadable: usize,
    /// The byte is none of those that a clearance rests on: the history says what it said.
    same: usize,
}

#[tokio::test(flavor = "multi_thread")]
async fn no_byte_of_a_clubs_file_is_changed_unnoticed() {
    let club = a_long_history().await;
    let path = club.database();
    club.close().await;
    let before: Vec<Sealed> = sealed_records(&path).await.expect("the file can be read");
    assert_eq!(before.len(), 4 * 62 + 2, "the event was opened, and its roster taken in");
    let head = before.last().expect("a record").hash.clone();
    let kept = || Kept::nothing().and_head(&head);
    let whole = verify::database(&path, kept()).await.expect("the file can be read");
    assert!(whole.fits, "the file as it was written fits: {}", whole.words);
    let bytes = std::fs::read(&path).expect("the file");
    // The first hundred bytes name the file's format, and whether a journal belongs to it.
    let step = if std::env::var_os("WITNESSMARK_EVERY_BYTE").is_some() { 1 } else { 193 };
    let mut tried = Tried::default();
    for at in (100..bytes.len()).step_by(step) {
        write(&path, at, bytes[at] ^ 0x01);
        match verify::database(&path, kept()).await {
            Err(_) => tried.unreadable += 1,
            Ok(verdict) if verdict.fits => {
                let is_same = sealed_records(&path).await.is_ok_and(|records| records == before);
                assert!(is_same, "byte {at} of {} was changed and nobody noticed: {}", bytes.len(), verdict.words);
                tried.same += 1;
            }
            Ok(_) => tried.misfits += 1,
        }
        write(&path, at, bytes[at]);
    }
    println!("{} bytes: {tried:?}", bytes.len());
    assert!(tried.misfits * step > 100_000, "{tried:?}: the history was among what was changed");
}

fn write(path: &std::path::Path, at: usize, byte: u8) {
    let mut file = std::fs::OpenOptions::new().write(true).open(path).expect("the file");
    file.seek(SeekFrom::Start(at as u64)).and_then(|_| file.write_all(&[byte])).expect("one byte");
}
