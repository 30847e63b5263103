//! How much the server carries, beside what the machine itself can: `cargo bench --bench load`.
//!
//! Two questions, each measured in rounds that alternate with the machine's own limit, so that a machine whose speed
//! drifts is fair to both. The generator shares the processors with the server.
//!
//! * Submissions a second at 64 connections: whole default sheets as JSON, each durable before its answer. Beside it the same
//!   record inserted through sqlx by one loop, 32 a transaction, with no web, no rules and no session in front.
//! * The board of 500 entries, unchanged, a second at 64 connections. Beside it the very same packed bytes from memory.

#[path = "load/client.rs"]
mod client;
#[path = "load/club.rs"]
mod club;
#[path = "load/raw.rs"]
mod raw;

use client::{Load, drive};
use std::time::Duration;

const CONNECTIONS: usize = 64;
const ROUNDS: usize = 5;
const SPAN: Duration = Duration::from_secs(3);

/// The middle of some figures.
fn median(figures: &mut [f64]) -> f64 {
    figures.sort_by(f64::total_cmp);
    figures[figures.len() / 2]
}

fn row(name: &str, figures: &mut [f64], unit: &str) -> f64 {
    let middle = median(figures);
    println!("  {name:<44} {middle:>9.0} {unit}   (lowest {:.0}, highest {:.0})", figures[0], figures[figures.len() - 1]);
    middle
}

fn main() {
    let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build().expect("a runtime");
    runtime.block_on(async {
        let club = club::Club::open(500).await;
        println!("{} entries, {CONNECTIONS} connections, {ROUNDS} rounds of {} s", club.drivers.len(), SPAN.as_secs());
        println!("one submission: {} bytes of JSON\n", club.body_bytes());
        submissions(&club).await;
        board(&club).await;
        club.close().await;
    });
}

async fn submissions(club: &club::Club) {
    let (mut served, mut inserted, mut slowest) = (Vec::new(), Vec::new(), Vec::new());
    let before = club.records().await;
    let mut answered = 0;
    for round in 0..=ROUNDS {
        let load: Load = drive(club.address, CONNECTIONS, SPAN, |nth, turn| club.submission(nth, turn)).await;
        let raw = raw::inserts(&club.folder, SPAN, &club.record_body()).await;
        answered += load.answered;
        assert_eq!(load.refused, 0, "every submission is taken");
        // The first round warms up.
        if round > 0 {
            served.push(load.answered as f64 / load.seconds);
            slowest.push(load.slowest_of_100.as_secs_f64() * 1000.0);
            inserted.push(raw);
        }
    }
    assert_eq!(club.records().await - before, answered, "what was answered is there, once each");
    println!("submissions, durable before each answer");
    let served = row("the server", &mut served, "a second");
    let inserted = row("raw inserts of the same record, 32 at a time", &mut inserted, "a second");
    row("99 of 100 are answered within", &mut slowest, "ms      ");
    println!("  ratio {:.2} (aim: at least 0.50)\n", served / inserted);
}

async fn board(club: &club::Club) {
    let (mut served, mut memory) = (Vec::new(), Vec::new());
    let bytes = club.board_bytes().await;
    let other = club::serve_bytes(bytes.clone()).await;
    for round in 0..=ROUNDS {
        let load = drive(club.address, CONNECTIONS, SPAN, |_, _| club.board_request()).await;
        let from_memory = drive(other, CONNECTIONS, SPAN, |_, _| club.board_request()).await;
        assert_eq!(load.refused + from_memory.refused, 0, "every board is served");
        if round > 0 {
            served.push(load.answered as f64 / load.seconds);
            memory.push(from_memory.answered as f64 / from_memory.seconds);
        }
    }
    println!("the board of {} entries, unchanged ({} bytes packed)", club.drivers.len(), bytes.len());
    let served = row("the server", &mut served, "a second");
    let memory = row("the same bytes from memory", &mut memory, "a second");
    println!("  ratio {:.2} (aim: at least 0.50)", served / memory);
}
