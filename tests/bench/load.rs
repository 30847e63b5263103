//! How much the server carries, beside what the machine itself can: `cargo bench --bench load`.
//!
//! Two questions, each measured in rounds that alternate with the machine's own limit, so that a machine whose speed drifts
//! is fair to both. The server is the program itself in a process of its own; so is the one that knows only bytes. The
//! generator shares the processors with them: compare within a run, not between machines.
//!
//! * Submissions a second at 64 connections: whole default sheets as JSON, each durable before its answer. Beside it the same
//!   record inserted through sqlx by one loop, 32 a transaction, with no web, no rules and no session in front; the same
//!   sheets judged and sent back with one answer missing; and SQLite alone, 32 rows a statement.
//! * The board of 500 entries, unchanged, a second at 64 connections. Beside it the very same packed bytes from memory.
//!
//! `-- --rounds 3 --seconds 2` makes it shorter. Without `--bench` (as `cargo test --benches` runs it) it is a short trial
//! that only shows that it works.

#[path = "load/client.rs"]
mod client;
#[path = "load/club.rs"]
mod club;
#[path = "machine.rs"]
mod machine;
#[path = "load/process.rs"]
mod process;
#[path = "load/raw.rs"]
mod raw;
#[path = "load/table.rs"]
mod table;

use client::{Asks, InTurn, Line, Load, drive};
use club::Club;
use process::Process;
use std::time::Duration;
use table::Measure;

const CONNECTIONS: usize = 64;

struct Plan {
    entries: usize,
    rounds: usize,
    span: Duration,
}

impl Plan {
    fn read(mut words: impl Iterator<Item = String>) -> Plan {
        let mut plan = Plan { entries: 64, rounds: 1, span: Duration::from_millis(200) };
        while let Some(word) = words.next() {
            match word.as_str() {
                // Cargo says so where it measures.
                "--bench" => plan = Plan { entries: 500, rounds: 5, span: Duration::from_secs(3) },
                "--rounds" => plan.rounds = words.next().and_then(|count| count.parse().ok()).expect("--rounds 5"),
                "--seconds" => {
                    let seconds = words.next().and_then(|count| count.parse().ok()).expect("--seconds 3");
                    plan.span = Duration::from_secs_f64(seconds);
                }
                _ => {}
            }
        }
        plan
    }
}

fn main() {
    let mut words: Vec<String> = std::env::args().skip(1).collect();
    if words.first().is_some_and(|word| word == process::SERVE_BYTES) {
        return process::serve_bytes(&words[1]);
    }
    // Cargo's own word comes last; what is asked for stands over it.
    words.sort_by_key(|word| word != "--bench");
    let plan = Plan::read(words.into_iter());
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().expect("a runtime");
    runtime.block_on(measure(&plan));
}

async fn measure(plan: &Plan) {
    let club = Club::make(plan.entries).await;
    println!(
        "{} entries, {CONNECTIONS} connections, {} rounds of {:.1} s; one submission is {} bytes of JSON, its record {} bytes",
        club.drivers.len(),
        plan.rounds,
        plan.span.as_secs_f64(),
        club.bytes_sent(),
        club.bytes_kept(),
    );
    if let Some(load) = process::load_average() {
        println!("load of the machine before it began: {load} (others at work make every figure here worthless)");
    }
    let seer = Process::serve(&club.copy("board"));
    let (first_look, board) = club.look(seer.address).await;
    let memory = Process::bytes(&club.keep_bytes(&board));
    let mut sent = Measure::new("submissions, durable before the answer");
    let mut judged = Measure::new("  judged and sent back, one answer missing");
    let mut grouped = Measure::new("  raw: the same insert, 32 a transaction");
    let mut inside = Measure::new("  SQLite alone: 32 rows a statement");
    let mut shown = Measure::new("the board, unchanged");
    let mut bytes = Measure::new("  the same bytes from memory");
    // The first round warms up.
    for round in 0..=plan.rounds {
        let file = club.copy("sent");
        let server = Process::serve(&file);
        let load = server.load(|| drive(server.address, club.senders(CONNECTIONS, true), plan.span)).await;
        assert_eq!(load.refused, 0, "every submission is taken");
        let back = server.load(|| drive(server.address, club.senders(CONNECTIONS, false), plan.span / 2)).await;
        assert_eq!(back.answered, 0, "none without an answer is taken");
        drop(server);
        assert_eq!(raw::count(&file).await, club.records + load.answered, "what was answered is there, once each, after a kill");
        let raw = raw::grouped(&club.copy("raw"), plan.span).await;
        let alone = raw::inside(&club.copy("raw"), plan.span / 2).await;
        let see = seer.load(|| drive(seer.address, in_turn(&club.board_requests(seer.address)), plan.span)).await;
        let hold = memory.load(|| drive(memory.address, in_turn(&club.board_requests(memory.address)), plan.span)).await;
        assert_eq!((see.refused, hold.refused), (0, 0), "every board is served");
        if round > 0 {
            sent.add(&load);
            judged.add(&Load { answered: back.refused, ..back });
            grouped.add(&raw);
            inside.add(&alone);
            shown.add(&see);
            bytes.add(&hold);
        }
    }
    let changed = after_changes(&club, &seer).await;
    table::print(&[&sent, &judged, &grouped, &inside, &shown, &bytes]);
    println!();
    println!("submissions / raw inserts        {} (aim: at least 0.50)", sent.ratio(&grouped));
    println!("board / the same bytes           {} (aim: at least 0.50)", shown.ratio(&bytes));
    println!("the board is {} bytes packed; its first look after a start took {:.0} ms,", board.len(), first_look * 1000.0);
    println!("a look after a change {:.1} ms (the middle of 40)", changed * 1000.0);
}

fn in_turn(requests: &[Vec<u8>]) -> Vec<InTurn> {
    (0..CONNECTIONS).map(|nth| InTurn::from(requests, nth * 4)).collect()
}

/// The middle time of a look at the board after a single submission, in seconds: one row is judged anew, the page made anew.
async fn after_changes(club: &Club, seer: &Process) -> f64 {
    let (mut line, mut senders, mut times) = (Line::open(seer.address).await, club.senders(1, true), Vec::new());
    for _ in 0..40 {
        assert!(line.ask(senders[0].next()).await, "one submission is taken");
        times.push(club.look(seer.address).await.0);
    }
    table::middle(&mut times)
}
