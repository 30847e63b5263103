//! The seal of a pass: RFC 8032, section 7.1, and signatures that must be refused.

use crate::table::{Done, Row, every_row};
use data_encoding::HEXLOWER;
use witnessmark::rules::pass::{Pass, PassError, fits, public_key, sign};

fn bytes(row: &Row, column: &str) -> Vec<u8> {
    HEXLOWER.decode(row.text(column).as_bytes()).unwrap_or_else(|_| panic!("no hexadecimal in {column} at {}", row.at))
}

#[test]
fn every_ed25519_row() {
    let check = |row: &Row| {
        let (message, signature) = (bytes(row, "message_hex"), bytes(row, "signature_hex"));
        let public: [u8; 32] = bytes(row, "public_hex").try_into().expect("32 bytes");
        let is_valid = row.text("verdict") == "valid";
        let signature_fits = <[u8; 64]>::try_from(signature.clone()).is_ok_and(|signature| fits(&public, &message, &signature));
        assert_eq!(signature_fits, is_valid, "{}", row.at);
        if is_valid && !row.text("secret_hex").is_empty() {
            let secret: [u8; 32] = bytes(row, "secret_hex").try_into().expect("32 bytes");
            assert_eq!(public_key(&secret), public, "{}", row.at);
            assert_eq!(sign(&secret, &message).to_vec(), signature, "{}", row.at);
        }
        Done::Checked
    };
    every_row("ed25519.csv", check, &[]);
}

fn pass() -> Pass {
    Pass {
        event: [1; 16],
        entry: [2; 16],
        clear: [3; 16],
        made_min: 29_638_440,
        until_min: 29_639_460,
        number: "114B".into(),
        group: "Novices".into(),
    }
}

/// Every letter of a pass, changed one at a time to every other letter.
#[test]
fn a_pass_with_any_letter_changed_is_refused() {
    let key = [42; 32];
    let text = pass().seal(&key);
    assert_eq!(Pass::open(&text, &public_key(&key)), Ok(pass()));
    let mut tried = 0;
    for at in 0..text.len() {
        for letter in "ABCDEFGHIJKLMNOPQRSTUVWXYZ234567".chars().filter(|letter| !text[at..].starts_with(*letter)) {
            let mut altered = text.clone();
            altered.replace_range(at..=at, &letter.to_string());
            let opened = Pass::open(&altered, &public_key(&key));
            assert!(matches!(opened, Err(PassError::Forged | PassError::NotAPass)), "letter {at} as {letter}: {opened:?}");
            tried += 1;
        }
    }
    assert!(tried > 6000, "{tried}");
    for cut in 0..text.len() {
        assert!(Pass::open(&text[..cut], &public_key(&key)).is_err(), "cut to {cut} letters");
    }
    assert_eq!(Pass::open(&text, &public_key(&[43; 32])), Err(PassError::Forged), "another event's key");
}
