//! A failing day made short: steps are taken out as long as the same sentence is still broken.

use super::play::Outcome;
use super::steps::Day;

/// What a broken sentence is about, whichever car and record it names.
pub fn about(sentence: &str) -> String {
    let words = sentence.split_whitespace().filter(|word| !word.contains(|c: char| c.is_ascii_digit()) && word.len() > 2);
    words.take(7).collect::<Vec<_>>().join(" ")
}

/// The shortest day found that breaks the same sentence, and how many days were tried.
pub async fn shortened<F: Future<Output = Outcome>>(
    day: &Day,
    first: &Outcome,
    mut play: impl FnMut(Day) -> F,
) -> (Day, Outcome, usize) {
    let Some((at, why)) = &first.broken else { return (day.clone(), first.clone(), 0) };
    let wanted = about(why);
    let mut best = (Day { steps: day.steps[..(at + 1).min(day.steps.len())].to_vec(), ..day.clone() }, first.clone());
    let mut tried = 0;
    let mut size = best.0.steps.len().div_ceil(2);
    while size > 0 && tried < 600 {
        let (mut from, before) = (0, best.0.steps.len());
        while from < best.0.steps.len() && tried < 600 {
            let mut fewer = best.0.clone();
            fewer.steps.drain(from..(from + size).min(fewer.steps.len()));
            tried += 1;
            let outcome = play(fewer.clone()).await;
            if outcome.broken.as_ref().is_some_and(|(_, why)| about(why) == wanted) {
                best = (fewer, outcome);
            } else {
                from += size;
            }
        }
        // The last size is gone through until nothing more can be taken out.
        size = if size == 1 && best.0.steps.len() < before { 1 } else { size / 2 };
    }
    (best.0, best.1, tried)
}
