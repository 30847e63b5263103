//! What every fuzz target asks of every parser: it comes to an end, its words say something, its figures are figures.

pub mod figures;
pub mod worksheets;

use cpu_time::ThreadTime;
use jiff::civil::{Date, date};
use serde_json::Value as Json;
use std::sync::LazyLock;
use std::time::Duration;
use witnessmark::acts::set_up::CLUB_DAY;
use witnessmark::rules::sheet::Sheet;
use witnessmark::rules::sheet_file;

/// The day of the event in every target.
pub const DAY: Date = date(2026, 5, 9);

/// The most processor time that one input may take; the instrumented build is some ten times slower than the real one.
const MOST: Duration = Duration::from_secs(1);

/// The sheet that a new club starts with.
pub static SHEET: LazyLock<Sheet> = LazyLock::new(|| sheet_file::read(CLUB_DAY).expect("the default sheet can be read"));

/// Does the work and fails if it took too long.
pub fn timely<T>(work: impl FnOnce() -> T) -> T {
    let begun = ThreadTime::now();
    let done = work();
    let took = begun.elapsed();
    assert!(took < MOST, "one input took {took:?} of processor time");
    done
}

/// Fails for words that say nothing. `input` is what a person wrote: what they wrote themselves may come back to them.
pub fn says_something(words: &str, input: &str) {
    assert!(!words.trim().is_empty(), "a sentence is empty");
    let is_no_figure = |word: &str| matches!(word, "NaN" | "inf");
    // What stands in backquotes is a word that the reader of TOML wants to see.
    let own: String = words.split('`').step_by(2).collect();
    let found = own.split(|c: char| !c.is_alphanumeric()).find(|word| is_no_figure(word));
    if let Some(word) = found {
        let written = input.to_ascii_lowercase();
        assert!(written.contains(&word.to_ascii_lowercase()), "a sentence has {word} for a figure: {words}");
    }
}

/// Fails for a result with an empty text, or with nothing where a figure should be: JSON writes null for NaN and infinity.
///
/// `may_lack` says whether a field of this name may be null in this result.
pub fn is_sound(json: &Json, input: &str, may_lack: &impl Fn(&str) -> bool) {
    sound_at(json, "", input, may_lack);
}

fn sound_at(json: &Json, name: &str, input: &str, may_lack: &impl Fn(&str) -> bool) {
    match json {
        Json::Null => assert!(may_lack(name), "\"{name}\" is null for {input}"),
        Json::Bool(_) => {}
        Json::Number(number) => assert!(number.as_f64().is_some_and(f64::is_finite), "\"{name}\" is {number} for {input}"),
        Json::String(text) => says_something(text, input),
        Json::Array(list) => list.iter().for_each(|inner| sound_at(inner, name, input, may_lack)),
        Json::Object(object) => object.iter().for_each(|(name, inner)| sound_at(inner, name, input, may_lack)),
    }
}

/// The input with what JSON writes as `\u0041` written out, so that what a person wrote can be found in it.
pub fn written_out(input: &str) -> String {
    match serde_json::from_str::<Json>(input) {
        Ok(json) => format!("{input}{json}"),
        Err(_) => input.to_owned(),
    }
}
