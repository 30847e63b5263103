//! How many whole submissions one core judges in a second: `cargo bench --bench judge`.

use serde_json::{Map, Value as Json};
use std::hint::black_box;
use std::time::{Duration, Instant};
use witnessmark::acts::set_up::CLUB_DAY;
use witnessmark::demo::sound_answers;
use witnessmark::rules::edition::{self, Given};
use witnessmark::rules::judge::judge;
use witnessmark::rules::sheet_file;
use witnessmark::rules::units::Units;

const ROUNDS: usize = 7;

fn rate(span: Duration, mut once: impl FnMut()) -> f64 {
    let began = Instant::now();
    let mut count = 0u32;
    while began.elapsed() < span {
        for _ in 0..50 {
            once();
        }
        count += 50;
    }
    f64::from(count) / began.elapsed().as_secs_f64()
}

fn main() {
    // Cargo says so where it measures; otherwise this is a trial that shows that it works.
    let measured = std::env::args().any(|word| word == "--bench");
    let span = if measured { Duration::from_secs(1) } else { Duration::from_millis(10) };
    let sheet = sheet_file::read(CLUB_DAY).expect("the default sheet");
    let on = jiff::civil::date(2026, 5, 9);
    let given = sound_answers(&sheet, on);
    let text = Json::Object(given.clone()).to_string();
    let answers = edition::read(&sheet, Given::ToThis, &given);
    assert!(judge(&sheet, &answers, on, &Units::METRIC).is_complete(), "the whole sheet is answered");
    println!("{} items, {} answers, {} bytes of JSON; one core", sheet.items().count(), answers.len(), text.len());
    let parse = || serde_json::from_str::<Map<String, Json>>(black_box(&text)).expect("JSON");
    let (mut judged, mut read, mut whole) = (Vec::new(), Vec::new(), Vec::new());
    for _ in 0..ROUNDS {
        judged.push(rate(span, || drop(black_box(judge(&sheet, black_box(&answers), on, &Units::METRIC)))));
        read.push(rate(span, || drop(black_box(edition::read(&sheet, Given::ToThis, &parse())))));
        whole.push(rate(span, || {
            drop(black_box(judge(&sheet, &edition::read(&sheet, Given::ToThis, &parse()), on, &Units::METRIC)))
        }));
    }
    println!("{:<28} {:>9} {:>8}   lowest, highest", "", "a second", "CPU µs");
    for (name, mut figures) in [("judged", judged), ("read from JSON", read), ("read from JSON and judged", whole)] {
        figures.sort_by(f64::total_cmp);
        let middle = figures[ROUNDS / 2];
        println!("{name:<28} {middle:>9.0} {:>8.1}   {:.0}, {:.0}", 1e6 / middle, figures[0], figures[ROUNDS - 1]);
    }
    println!("aim: at least 20000 whole submissions a second, read and judged");
}
