//! Days at random: the machine that tries to make the program show a car cleared that is not, or lose what somebody said.
//!
//! From a seed comes a day of a small club: drivers, inspectors, marshals, an organizer who edits the sheet, hostile people, lost
//! answers, phones handed on, a clock that is put back, a server that falls. After every step everything that shows a standing is
//! held against the rule told a second time (`rule.rs`, `judge.rs`). The same seed gives the same day.
//!
//! `cargo test --test days` plays 2,000 days. By name: `WITNESSMARK_DAYS=1000000 cargo test --release --test days -- --nocapture`
//! plays so many, `WITNESSMARK_FROM=7001` begins with another seed, and `WITNESSMARK_SEED=17` plays one and tells it.
//! `WITNESSMARK_CENSUS=1` plays on after a day that failed, and counts at the end which sentence broke on how many days.

mod answers;
#[allow(dead_code, reason = "the faults throw more of these dice")]
#[path = "../faults/dice.rs"]
mod dice;
mod edit;
mod judge;
mod look;
mod play;
mod program;
mod rule;
mod send;
mod sheet;
mod shorten;
mod steps;
mod world;

use play::{Outcome, play};
use program::{Club, file};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use steps::{Day, draw};

/// How many days the gate plays.
const DAYS: u64 = 2000;

fn setting(name: &str) -> Option<u64> {
    std::env::var(name).ok().map(|text| text.parse().unwrap_or_else(|_| panic!("{name}: a whole number, not {text:?}")))
}

/// A folder in memory where there is one: a day's file is written hundreds of times and thrown away.
fn folder() -> tempfile::TempDir {
    let memory = Path::new("/dev/shm");
    let made = if memory.is_dir() { tempfile::tempdir_in(memory) } else { tempfile::tempdir() };
    made.expect("a folder for the days")
}

/// One thread's place to play in.
struct Ground<'c> {
    clubs: &'c [Club],
    file: PathBuf,
}

impl Ground<'_> {
    async fn play(&self, day: &Day) -> Outcome {
        let club = self.clubs.iter().find(|club| club.cars.len() == day.cars).expect("a club of this size");
        let outcome = play(day, club, &self.file).await;
        for ending in ["", "-wal", "-shm"] {
            let mut file = self.file.clone().into_os_string();
            file.push(ending);
            // A day that ended in order has left no journal.
            let _ = std::fs::remove_file(file);
        }
        outcome
    }
}

fn runtime() -> tokio::runtime::Runtime {
    tokio::runtime::Builder::new_current_thread().enable_all().build().expect("a runtime")
}

/// Which sentences broke: on how many days, the first seed, and the sentence as it was then.
#[derive(Default)]
struct Census(BTreeMap<String, (u64, u64, String)>);

impl Census {
    fn count(&mut self, seed: u64, why: &str) {
        let (days, first, sentence) = self.0.entry(shorten::about(why)).or_insert((0, seed, why.to_owned()));
        *days += 1;
        if seed <= *first {
            (*first, *sentence) = (seed, why.to_owned());
        }
    }

    fn told(&self) -> String {
        let mut lines: Vec<&(u64, u64, String)> = self.0.values().collect();
        lines.sort_by_key(|(days, ..)| std::cmp::Reverse(*days));
        lines.iter().map(|(days, seed, sentence)| format!("{days:>7} days, first seed {seed}: {sentence}\n")).collect()
    }
}

/// The story of a day that failed, shortened.
async fn told(ground: &Ground<'_>, day: &Day, outcome: &Outcome) -> String {
    let again = ground.play(day).await;
    let same = again.broken == outcome.broken;
    let (short, end, tried) = shorten::shortened(day, outcome, |day| async move { ground.play(&day).await }).await;
    let end = if tried == 0 { again } else { end };
    let (step, why) = end.broken.clone().unwrap_or_default();
    let once_more = if same { "" } else { "\nPlayed a second time it went another way: the days are not deterministic!" };
    format!(
        "\nThe day of seed {} breaks at step {} of {}{once_more}\nShortened to {} steps in {tried} tries:\n\n{}\n\n\
         After step {}: {why}\n\n\
         Play it whole: WITNESSMARK_SEED={} cargo test --test days -- --nocapture\n",
        day.seed,
        outcome.broken.as_ref().map_or(0, |(step, _)| step + 1),
        day.steps.len(),
        short.steps.len(),
        end.story.join("\n"),
        step + 1,
        day.seed
    )
}

#[test]
fn a_car_is_shown_as_the_rule_says_on_any_day() {
    let began = std::time::Instant::now();
    let place = folder();
    let sheet = file::written(&sheet::first(&mut dice::Dice::new(0)));
    let clubs: Vec<Club> = runtime().block_on(async {
        let mut clubs = Vec::new();
        for cars in 3..=5 {
            clubs.push(Club::found(place.path(), cars, &sheet).await);
        }
        clubs
    });
    if let Some(seed) = setting("WITNESSMARK_SEED") {
        let ground = Ground { clubs: &clubs, file: place.path().join("day.sqlite") };
        let outcome = runtime().block_on(ground.play(&draw(seed)));
        println!("{}", outcome.story.join("\n"));
        assert_eq!(outcome.broken, None, "the day of seed {seed}");
        return;
    }
    let (days, from) = (setting("WITNESSMARK_DAYS").unwrap_or(DAYS), setting("WITNESSMARK_FROM").unwrap_or(1));
    let (next, failed) = (AtomicU64::new(from), AtomicBool::new(false));
    let (sum, failure) = (Mutex::new(Outcome::default()), Mutex::new(None::<(Day, Outcome)>));
    let census = setting("WITNESSMARK_CENSUS").map(|_| Mutex::new(Census::default()));
    let played = AtomicU64::new(0);
    let threads = std::thread::available_parallelism().map_or(1, usize::from);
    std::thread::scope(|scope| {
        for nth in 0..threads {
            let (clubs, place, next, failed, sum, failure, played, census) =
                (&clubs, &place, &next, &failed, &sum, &failure, &played, &census);
            scope.spawn(move || {
                let ground = Ground { clubs, file: place.path().join(format!("day-{nth}.sqlite")) };
                let runtime = runtime();
                while !failed.load(Ordering::Relaxed) {
                    let seed = next.fetch_add(1, Ordering::Relaxed);
                    if seed >= from + days {
                        break;
                    }
                    let day = draw(seed);
                    let outcome = runtime.block_on(ground.play(&day));
                    played.fetch_add(1, Ordering::Relaxed);
                    if let (Some(census), Some((_, why))) = (census, &outcome.broken) {
                        census.lock().expect("no other thread broke off").count(seed, why);
                    } else if outcome.broken.is_some() {
                        failed.store(true, Ordering::Relaxed);
                        let mut failure = failure.lock().expect("no other thread broke off");
                        if failure.as_ref().is_none_or(|(other, _)| other.seed > seed) {
                            *failure = Some((day, outcome));
                        }
                        continue;
                    }
                    let mut sum = sum.lock().expect("no other thread broke off");
                    sum.steps += outcome.steps;
                    sum.requests += outcome.requests;
                    sum.records += outcome.records;
                    sum.cleared += outcome.cleared;
                    sum.checks += outcome.checks;
                    for (what, (count, time)) in outcome.spent {
                        let all = sum.spent.entry(what).or_default();
                        (all.0, all.1) = (all.0 + count, all.1 + time);
                    }
                }
            });
        }
    });
    let sum = sum.into_inner().expect("the sum");
    println!(
        "{} days, {} steps ({} with a cleared car), {} requests, {} records, {} checks in {:.0} s",
        played.load(Ordering::Relaxed),
        sum.steps,
        sum.cleared,
        sum.requests,
        sum.records,
        sum.checks,
        began.elapsed().as_secs_f64()
    );
    if let Some(census) = census {
        let census = census.into_inner().expect("the census");
        for (what, (count, time)) in &sum.spent {
            println!("{count:>9} x {what}, {:.2} ms each", time.as_secs_f64() * 1e3 / *count as f64);
        }
        println!("{}", census.told());
        assert!(census.0.is_empty(), "some days do not hold");
    }
    if let Some((day, outcome)) = failure.into_inner().expect("the failure") {
        let ground = Ground { clubs: &clubs, file: place.path().join("told.sqlite") };
        panic!("{}", runtime().block_on(told(&ground, &day, &outcome)));
    }
}
