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

/// When the event of these passes ends, in minutes since 1970-01-01 UTC.
const ENDS: u32 = 29_639_460;

fn pass() -> Pass {
    Pass {
        event: [1; 16],
        entry: [2; 16],
        clear: [3; 16],
        made_min: 29_638_440,
        until_min: 29_639_460,
        place: 94,
        number: "114B".into(),
        group: "Novices".into(),
    }
}

/// What the first bytes of a pass are, up to its number and group: the form, event, entry, clear, two times.
fn bytes_of_the_first_form() -> Vec<u8> {
    let mut bytes = [vec![1], vec![1; 16], vec![2; 16], vec![3; 16]].concat();
    bytes.extend([29_638_440_u32, 29_639_460].iter().flat_map(|minutes| minutes.to_be_bytes()));
    bytes.extend(b"\x04114B\x07Novices");
    bytes
}

fn sealed(key: &[u8; 32], bytes: &[u8]) -> String {
    let signature = sign(key, &[&b"witnessmark pass 1"[..], bytes].concat());
    data_encoding::BASE32_NOPAD.encode(&[bytes, &signature].concat())
}

/// One of them may be on a windscreen when the program is updated.
#[test]
fn a_pass_of_the_first_form_is_read_and_is_older_than_any_list() {
    let key = [42; 32];
    let text = sealed(&key, &bytes_of_the_first_form());
    assert_eq!(Pass::open(&text, &public_key(&key), ENDS), Ok(Pass { place: 0, ..pass() }));
    assert_eq!(Pass::open(&text, &public_key(&[43; 32]), ENDS), Err(PassError::Forged), "another event's key");
}

#[test]
fn a_pass_of_a_form_that_is_none_is_no_pass() {
    for form in (0..=255).filter(|form| *form != 1 && *form != 2) {
        let bytes = [vec![form], bytes_of_the_first_form()[1..].to_vec()].concat();
        assert_eq!(Pass::read(&sealed(&[42; 32], &bytes)), Err(PassError::NotAPass), "{form}");
    }
}

/// One that was "valid until 10136" is a pass of four billion minutes: whoever has the key could sign it.
#[test]
fn a_pass_that_would_outlive_its_event_is_refused_however_it_is_sealed() {
    let key = [42; 32];
    for until_min in [ENDS + 1, ENDS + 24 * 60, u32::MAX] {
        let text = Pass { until_min, ..pass() }.seal(&key);
        assert_eq!(Pass::open(&text, &public_key(&key), ENDS), Err(PassError::TooLong), "{until_min}");
        assert_eq!(Pass::open(&text, &public_key(&[43; 32]), ENDS), Err(PassError::Forged), "{until_min}, another key");
    }
    let first_form = [&bytes_of_the_first_form()[..53], &u32::MAX.to_be_bytes(), &bytes_of_the_first_form()[57..]].concat();
    assert_eq!(Pass::open(&sealed(&key, &first_form), &public_key(&key), ENDS), Err(PassError::TooLong), "the first form");
}

/// Four bytes more than a pass of the first form: the code stays nearly as coarse, to be read through a windscreen.
#[test]
fn a_pass_with_a_long_group_is_short() {
    let longest = Pass { number: "9999Z".into(), group: "N".repeat(40), ..pass() };
    let text = longest.seal(&[42; 32]);
    assert_eq!(text.len(), (61 + 6 + 41 + 64_usize).div_ceil(5) * 8 - 4, "61 bytes of head, number, group, signature in base32");
    assert_eq!(Pass::read(&text), Ok(longest));
}

/// Every letter of a pass, changed one at a time to every other letter.
#[test]
fn a_pass_with_any_letter_changed_is_refused() {
    let key = [42; 32];
    let text = pass().seal(&key);
    assert_eq!(Pass::open(&text, &public_key(&key), ENDS), Ok(pass()));
    let mut tried = 0;
    for at in 0..text.len() {
        for letter in "ABCDEFGHIJKLMNOPQRSTUVWXYZ234567".chars().filter(|letter| !text[at..].starts_with(*letter)) {
            let mut altered = text.clone();
            altered.replace_range(at..=at, &letter.to_string());
            let opened = Pass::open(&altered, &public_key(&key), ENDS);
            assert!(matches!(opened, Err(PassError::Forged | PassError::NotAPass)), "letter {at} as {letter}: {opened:?}");
            tried += 1;
        }
    }
    assert!(tried > 6000, "{tried}");
    for cut in 0..text.len() {
        assert!(Pass::open(&text[..cut], &public_key(&key), ENDS).is_err(), "cut to {cut} letters");
    }
    assert_eq!(Pass::open(&text, &public_key(&[43; 32]), ENDS), Err(PassError::Forged), "another event's key");
}
