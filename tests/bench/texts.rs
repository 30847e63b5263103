//! Every text that the program reads, at its limit and as unkindly written as it can be: `cargo bench --bench texts`.
//!
//! A row is a text of the largest size that is taken, the time to read it, the same at half the size, and the most memory that was
//! taken at once. Twice the text in twice the time is a ratio of 2; beyond about 3 it grows worse than the text does.

use std::alloc::{GlobalAlloc, Layout, System};
use std::hint::black_box;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::{Duration, Instant};
use uuid::Uuid;
use witnessmark::acts::set_up::{CLUB_DAY, FAULT_GUIDE};
use witnessmark::output::calendar::{Due, calendar};
use witnessmark::rules::garage::book::{Line, Logged};
use witnessmark::rules::garage::change::Taken;
use witnessmark::rules::garage::csv as garage_csv;
use witnessmark::rules::pass::Pass;
use witnessmark::rules::{fault_guide_file, roster_csv, sheet_file};

/// Counts what is taken of the memory.
struct Counted;

static NOW: AtomicUsize = AtomicUsize::new(0);
static MOST: AtomicUsize = AtomicUsize::new(0);

fn taken(size: usize) {
    let now = NOW.fetch_add(size, Ordering::Relaxed) + size;
    MOST.fetch_max(now, Ordering::Relaxed);
}

// SAFETY: every call is handed on to the system's allocator as it came; only sizes are counted beside it.
unsafe impl GlobalAlloc for Counted {
    unsafe fn alloc(&self, layout: Layout) -> *mut u8 {
        taken(layout.size());
        // SAFETY: the caller keeps the contract of `alloc`.
        unsafe { System.alloc(layout) }
    }

    unsafe fn dealloc(&self, at: *mut u8, layout: Layout) {
        NOW.fetch_sub(layout.size(), Ordering::Relaxed);
        // SAFETY: the caller keeps the contract of `dealloc`.
        unsafe { System.dealloc(at, layout) }
    }
}

#[global_allocator]
static MEMORY: Counted = Counted;

/// The middle of three times, and the most memory that one of them took beyond what was there.
fn measure(read: &dyn Fn(&str), text: &str) -> (Duration, usize) {
    let mut times = Vec::new();
    let before = NOW.load(Ordering::Relaxed);
    MOST.store(before, Ordering::Relaxed);
    for _ in 0..3 {
        let began = Instant::now();
        read(black_box(text));
        times.push(began.elapsed());
    }
    times.sort();
    (times[1], MOST.load(Ordering::Relaxed) - before)
}

fn row(name: &str, largest: usize, write: impl Fn(usize) -> String, read: impl Fn(&str)) {
    let (half, whole) = (write(largest / 2), write(largest));
    let (half_time, _) = measure(&read, &half);
    let (time, memory) = measure(&read, &whole);
    let ratio = time.as_secs_f64() / half_time.as_secs_f64().max(1e-9);
    println!(
        "{name:<44} {:>8} {:>9.2} {ratio:>7.1} {:>9.1}",
        whole.len(),
        time.as_secs_f64() * 1e3,
        memory as f64 / 1024.0 / 1024.0
    );
}

/// A piece written over and over, up to so many bytes.
fn full(head: &str, piece: impl Fn(usize) -> String, tail: &str, bytes: usize) -> String {
    let mut text = head.to_owned();
    for nth in 0.. {
        let next = piece(nth);
        if text.len() + next.len() + tail.len() > bytes {
            break;
        }
        text.push_str(&next);
    }
    text + tail
}

fn same(piece: &'static str) -> impl Fn(usize) -> String {
    move |_| piece.to_owned()
}

fn rosters() {
    let head = "number,name,car,group,mail\n";
    let car = "31,Ada Brandt,Alder,A,\n";
    let read = |text: &str| drop(black_box(roster_csv::read(text.as_bytes())));
    let most = roster_csv::LARGEST;
    row("roster: a car, then lines of commas", most, |n| full(&format!("{head}{car}"), same(",,,,\n"), "", n), read);
    row("roster: cars", most, |n| full(head, same(car), "", n), read);
    row(
        "roster: a thousand wrong lines, long cells",
        most,
        |n| {
            let long = "x".repeat(n / 1010);
            full(head, |_| format!("{long}\n"), "", n)
        },
        read,
    );
    row("roster: one line of commas", most, |n| full(&format!("{head}{car}"), same(","), "\n", n), read);
    row("roster: a first line of columns", most, |n| full("number,name,car,group", same(",x"), "\n31,a,b,A\n", n), read);
    row("roster: one open quote", most, |n| full(&format!("{head}\""), same("x\n"), "", n), read);
    row("roster: empty lines between cars", most, |n| full(head, same("31,Ada,Alder,A,\n\n\n\n\n\n\n\n"), "", n), read);
}

fn tomls(name: &str, most: usize, whole: &str, read: &dyn Fn(&str)) {
    let of = |what: &str| format!("{name}: {what}");
    row(&of("the program's own"), whole.len(), |n| whole.get(..n).unwrap_or(whole).to_owned(), read);
    row(&of("one long dotted key"), most, |n| full("a", same(".a"), " = 1\n", n), read);
    row(&of("one long dotted header"), most, |n| full("[a", same(".a"), "]\nb = 1\n", n), read);
    row(&of("brackets in brackets"), most, |n| full("a = ", same("["), "", n), read);
    row(&of("tables in tables"), most, |n| full("a = ", same("{a="), "", n), read);
    row(&of("keys that nobody asks for"), most, |n| full("", |nth| format!("k{nth} = 1\n"), "", n), read);
    row(&of("dotted keys of one table"), most, |n| full("", |nth| format!("a.k{nth} = 1\n"), "", n), read);
    row(&of("headers"), most, |n| full("", |nth| format!("[a.t{nth}]\n"), "", n), read);
    row(&of("headers of four parts"), most, |n| full("", |nth| format!("[a.b.c.t{nth}]\n"), "", n), read);
    row(&of("tables of a list"), most, |n| full("", same("[[area]]\n[[area.item]]\n"), "", n), read);
    row(&of("a list of numbers"), most, |n| full("a = [", same("1,"), "]\n", n), read);
    row(&of("one long text"), most, |n| full("a = \"", same("\\u0041"), "\"\n", n), read);
    row(&of("the same key again"), most, |n| full("", same("a = 1\n"), "", n), read);
}

fn sheets() {
    let read = |text: &str| drop(black_box(sheet_file::read(text)));
    tomls("sheet", sheet_file::LARGEST, CLUB_DAY, &read);
    let head = "name = \"A\"\nabout = \"B\"\n[[area]]\nid = \"a\"\nname = \"A\"\n";
    let item = |nth: usize| {
        format!(
            "[[area.item]]\nid = \"i{nth}\"\nname = \"N\"\nask = \"Q?\"\ncheck = \"C\"\nkind = \"text\"\nlongest = 10\n\
             source = \"common practice, no source\"\n"
        )
    };
    row("sheet: as many items as fit", sheet_file::LARGEST, |n| full(head, item, "", n), read);
    let area = |nth: usize| format!("[[area]]\nid = \"a{nth}\"\nname = \"A\"\n{}", item(nth).replace("id = \"i", "id = \"j"));
    row("sheet: as many areas as fit", sheet_file::LARGEST, |n| full(head, area, "", n), read);
    let gear = |nth: usize| format!("[[gear]]\nkind = \"k{nth}\"\nlabel = \"L{nth}\"\nsource = \"s\"\n");
    row("sheet: as many labels as fit", sheet_file::LARGEST, |n| full("name = \"A\"\nabout = \"B\"\n", gear, "", n), read);
}

fn guides() {
    let read = |text: &str| drop(black_box(fault_guide_file::read(text)));
    tomls("guide", fault_guide_file::LARGEST, FAULT_GUIDE, &read);
    let smallest = fault_guide_file::SMALLEST;
    let symptom = |nth: usize| smallest.replacen("id = \"pulls\"", &format!("id = \"p{nth}\""), 1);
    row("guide: as many symptoms as fit", fault_guide_file::LARGEST, |n| full("", symptom, "", n), read);
}

fn tables() {
    let head = "day,time,what,place,value,unit,new,note\n";
    let today = jiff::civil::date(2026, 5, 9);
    let line = |nth: u128| {
        let taken = Taken { day: jiff::civil::date(2026, 5, 1), clock: None };
        let what = Logged::Track { minutes: (nth % 1400 + 1) as f64, sessions: 1, note: String::new() };
        let noted_at = jiff::Timestamp::UNIX_EPOCH;
        Line { id: Uuid::from_u128(nth), taken, noted_at, what, photos: vec![], struck: false }
    };
    let log: Vec<Line> = (0..20_000).map(line).collect();
    let log: Vec<&Line> = log.iter().collect();
    let read = |text: &str| drop(black_box(garage_csv::read(text, Uuid::nil(), today, &log)));
    let most = 400_000;
    row(
        "garage table: lines that are new",
        most,
        |n| full(head, |nth| format!("2026-05-01,,track-time,,{},min,,n{nth}\n", nth % 1400 + 1), "", n),
        read,
    );
    row("garage table: lines that are there", most, |n| full(head, same("2026-05-01,,track-time,,20,min,,\n"), "", n), read);
    row("garage table: lines of commas", most, |n| full(head, same(",,,,,,,\n"), "", n), read);
    row("garage table: wrong lines", most, |n| full(head, same("x\n"), "", n), read);
    row("garage table: one place again and again", most, |n| full(head, same("2026-05-01,,pad,lf,9,mm,,\n"), "", n), read);
    row("garage table: a first line of columns", most, |n| full("day,what,value", same(",x"), "\n2026-05-01,pad,9\n", n), read);
    row("garage table: wide lines", most, |n| full(head, |_| format!("{}\n", ",".repeat(4000)), "", n), read);
    row("garage table: one open quote", most, |n| full(&format!("{head}\""), same("x\n"), "", n), read);
}

fn the_rest() {
    let pass = |text: &str| drop(black_box(Pass::read(text)));
    // An address of more than this is refused by the server before anybody reads it.
    row("pass: letters", 64 * 1024, |n| "A".repeat(n), pass);
    let due = |text: &str| {
        let due = |nth: u128| Due {
            uid: Uuid::from_u128(nth),
            day: jiff::civil::date(2026, 5, 4),
            title: text.chars().take(200).collect(),
            notes: text.chars().take(300).collect(),
        };
        let dues: Vec<Due> = (0..text.len() as u128 / 500).map(due).collect();
        drop(black_box(calendar("Garage", &dues, jiff::Timestamp::UNIX_EPOCH)));
    };
    // A garage's calendar has a thousand days at most.
    row("calendar: a thousand days with long words", 500_000, |n| "ab;,".chars().cycle().take(n).collect(), due);
}

fn main() {
    println!("{:<44} {:>8} {:>9} {:>7} {:>9}", "", "bytes", "ms", "ratio", "MB");
    rosters();
    sheets();
    guides();
    tables();
    the_rest();
    println!("ratio: the time against that of half the text; 2 is linear. Aim: 200 ms at most, and no ratio that grows.");
}
