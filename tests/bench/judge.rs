//! How many whole submissions one core judges in a second: `cargo bench --bench judge`.

use serde_json::{Map, Value as Json};
use std::hint::black_box;
use std::time::{Duration, Instant};
use witnessmark::acts::set_up::CLUB_DAY;
use witnessmark::acts::state::read_answers;
use witnessmark::demo::sound_answers;
use witnessmark::rules::judge::judge;
use witnessmark::rules::sheet_file;
use witnessmark::rules::units::Units;

const ROUNDS: usize = 7;
const SPAN: Duration = Duration::from_secs(1);

fn rate(mut once: impl FnMut()) -> f64 {
    let began = Instant::now();
    let mut count = 0u32;
    while began.elapsed() < SPAN {
        for _ in 0..50 {
            once();
        }
        count += 50;
    }
    f64::from(count) / began.elapsed().as_secs_f64()
}

fn main() {
    let sheet = sheet_file::read(CLUB_DAY).expect("the default sheet");
    let on = jiff::civil::date(2026, 5, 9);
    let given = sound_answers(&sheet, on);
    let text = Json::Object(given.clone()).to_string();
    let answers = read_answers(&sheet, &given);
    assert!(judge(&sheet, &answers, on, &Units::METRIC).is_complete(), "the whole sheet is answered");
    println!("{} items, {} answers, {} bytes of JSON; one core", sheet.items().count(), answers.len(), text.len());
    let (mut judged, mut whole) = (Vec::new(), Vec::new());
    for _ in 0..ROUNDS {
        judged.push(rate(|| drop(black_box(judge(&sheet, black_box(&answers), on, &Units::METRIC)))));
        whole.push(rate(|| {
            let given: Map<String, Json> = serde_json::from_str(black_box(&text)).expect("JSON");
            drop(black_box(judge(&sheet, &read_answers(&sheet, &given), on, &Units::METRIC)));
        }));
    }
    for (name, mut figures) in [("judged", judged), ("read from JSON and judged", whole)] {
        figures.sort_by(f64::total_cmp);
        println!(
            "  {name:<28} {:>9.0} a second   (lowest {:.0}, highest {:.0})",
            figures[ROUNDS / 2],
            figures[0],
            figures[ROUNDS - 1]
        );
    }
    println!("  aim: at least 20000 whole submissions a second");
}
