//! A siege: each attack in turn, beside the honest day of one event. The day goes on: no honest request is refused, nobody
//! waits, memory stays small, every record that was taken is there and the file verifies afterwards.
//!
//! `cargo test --test siege` tries each attack for a short time; `tests/siege/run [minutes]` harder, in a release build.

mod attacks;
mod club;
mod honest;
#[path = "../bench/machine.rs"]
mod machine;
#[path = "../faults/server.rs"]
#[expect(dead_code, reason = "the siege needs a part of it")]
mod server;

use attacks::{ATTACKS, Field};
use club::Club;
use honest::Ledger;
use server::{Server, program};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::{Duration, Instant};
use tokio_util::sync::CancellationToken;
use uuid::Uuid;

/// What the server may hold in memory, in MiB.
const MOST_MEMORY_MIB: u64 = 250;
/// How long the slowest of a hundred honest answers may take in a release build on a quiet machine.
const LONGEST: Duration = Duration::from_secs(1);
/// The same without optimisation, on a machine that builds and tests meanwhile: what takes longer has stopped the day.
const LONGEST_UNOPTIMISED: Duration = Duration::from_secs(8);

/// How hard: one is the gate's, for each minute asked for two more.
fn times() -> usize {
    let minutes = std::env::var("WITNESSMARK_SIEGE_MINUTES").ok().and_then(|minutes| minutes.parse::<usize>().ok());
    minutes.map_or(1, |minutes| 1 + 2 * minutes)
}

/// The memory that a process holds now, in MiB; `None` where the system has no `/proc`.
fn memory_mib(process: u32) -> Option<u64> {
    let status = std::fs::read_to_string(format!("/proc/{process}/status")).ok()?;
    let line = status.lines().find_map(|line| line.strip_prefix("VmRSS:"))?;
    line.split_whitespace().next()?.parse::<u64>().ok().map(|kib| kib / 1024)
}

/// Notes the most memory that was held, until `end`.
fn watch_memory(process: u32, end: CancellationToken) -> Arc<AtomicU64> {
    let most = Arc::new(AtomicU64::new(0));
    let noted = most.clone();
    tokio::spawn(async move {
        while end.run_until_cancelled(tokio::time::sleep(Duration::from_millis(50))).await.is_some() {
            noted.fetch_max(memory_mib(process).unwrap_or_default(), Ordering::Relaxed);
        }
    });
    most
}

/// The records of a file.
async fn records_of(database: &std::path::Path) -> Vec<Uuid> {
    let url = format!("sqlite://{}?mode=ro", database.display());
    let pool = sqlx::SqlitePool::connect(&url).await.expect("the file");
    let ids: Vec<Vec<u8>> = sqlx::query_scalar("select id from record").fetch_all(&pool).await.expect("the records");
    pool.close().await;
    ids.iter().map(|id| Uuid::from_slice(id).expect("an id")).collect()
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_honest_day_goes_on_beside_every_attack() {
    let folder = tempfile::TempDir::new().expect("a folder");
    let database = folder.path().join("club.sqlite");
    let club = Arc::new(Club::make(&database).await);
    let server = Server::start(&database);
    let (ledger, end) = (Arc::new(Ledger::default()), CancellationToken::new());
    let most = watch_memory(server.process_id(), end.clone());
    let day = honest::set_to_work(&server.base, &club, &ledger, &end);
    let field = Field::new(&server.base, &club);
    // The first look at anything is dearer: caches are filled, files are packed.
    tokio::time::sleep(Duration::from_secs(5)).await;
    let first = ledger.share();
    most.store(0, Ordering::Relaxed);
    tokio::time::sleep(Duration::from_secs(8)).await;
    let quiet = ledger.share();
    println!(
        "{:<34} {:>6} {:>8} {:>8} {:>8} {:>7}  the attacker was told",
        "beside", "honest", "middle", "p99", "took", "memory"
    );
    println!(
        "{:<34} {:>6} {:>8.0?} {:>8.0?} {:>8} {:>4} MiB",
        "nothing",
        quiet.answers,
        quiet.middle,
        quiet.p99,
        "",
        most.load(Ordering::Relaxed)
    );
    let longest = if cfg!(debug_assertions) { LONGEST_UNOPTIMISED } else { LONGEST };
    let mut wrong: Vec<String> = first.refused.into_iter().chain(quiet.refused).collect();
    for name in ATTACKS {
        most.store(0, Ordering::Relaxed);
        let begun = Instant::now();
        let said = field.attack(name, times()).await;
        // What was begun in the attack's last moment is answered in the next, and a few answers say nothing of a hundred.
        let took = begun.elapsed();
        tokio::time::sleep(Duration::from_secs(8).saturating_sub(took).max(Duration::from_secs(2))).await;
        let share = ledger.share();
        let memory = most.load(Ordering::Relaxed);
        println!(
            "{name:<34} {:>6} {:>8.0?} {:>8.0?} {:>8.1?} {memory:>4} MiB  {said:?}",
            share.answers, share.middle, share.p99, took
        );
        wrong.extend(share.refused.into_iter().map(|what| format!("beside \"{name}\": {what}")));
        if share.p99 > longest {
            wrong.push(format!("beside \"{name}\" one honest answer of a hundred took {:.1?}", share.p99));
        }
        if memory > MOST_MEMORY_MIB {
            wrong.push(format!("beside \"{name}\" the server held {memory} MiB"));
        }
        let broken: usize = said.iter().filter(|(status, _)| **status >= 500 && **status != 503).map(|(_, count)| count).sum();
        if broken > 0 {
            wrong.push(format!("\"{name}\" broke something: {said:?}"));
        }
    }
    end.cancel();
    for hand in day {
        hand.await.expect("an honest day ends in order");
    }
    server.kill();
    let there = records_of(&database).await;
    let lost = ledger.taken().into_iter().filter(|id| !there.contains(id)).count();
    assert_eq!(lost, 0, "records that were answered as taken are not in the file");
    let verified = program().arg("verify").arg("--database").arg(&database).output().expect("verify");
    assert!(verified.status.success(), "the file verifies: {}", String::from_utf8_lossy(&verified.stdout));
    assert!(wrong.is_empty(), "{} things went wrong:\n{}", wrong.len(), wrong.join("\n"));
}
