//! The log as a table: what is written is read back, and what cannot be read is told by its line.
//!
//! A table does not carry: the grade of a fluid apart from its note, photos, how many sessions, where a reading came from, seconds.

use crate::notebook::{CAR, at, minute, on, readings};
use jiff::ToSpan;
use jiff::civil::{Date, Time, date};
use proptest::prelude::*;
use uuid::Uuid;
use witnessmark::output::csv::table;
use witnessmark::rules::answer::Trouble;
use witnessmark::rules::garage::book::{Line, Logged};
use witnessmark::rules::garage::change::{Change, Readings, Taken};
use witnessmark::rules::garage::csv::{COLUMNS, MOST_LINES, rows};
use witnessmark::rules::garage::kinds::{Fluid, ReadingKind};
use witnessmark::rules::units::Unit;
use witnessmark::rules::words::Place;

const TODAY: Date = date(2026, 11, 1);

/// A table read for a car whose log is empty.
fn read(text: &str, car: Uuid, today: Date) -> Result<Vec<Change>, Vec<Trouble>> {
    let read = witnessmark::rules::garage::csv::read(text, car, today, &[])?;
    Ok(read.new.into_iter().map(|(change, _)| change).collect())
}

fn written(lines: &[Line]) -> String {
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer.write_record(COLUMNS).expect("a header");
    lines.iter().flat_map(rows).for_each(|row| writer.write_record(row).expect("a row"));
    String::from_utf8(writer.into_inner().expect("bytes")).expect("text")
}

fn line(nth: usize, taken: Taken, what: Logged) -> Line {
    Line { id: Uuid::from_u128(nth as u128), taken, noted_at: minute(nth), what, photos: vec![], struck: false }
}

/// What a table gives back of a line.
fn expected(line: &Line) -> Change {
    let (car, taken) = (CAR, line.taken);
    match line.what.clone() {
        Logged::Readings(readings) => Change::Readings { car, taken, readings: Readings { from: "a file".into(), ..readings } },
        Logged::Track { minutes, note, .. } => Change::Track { car, taken, minutes, sessions: 0, note },
        Logged::Changed { fluid, grade, note } => {
            let note = if note.is_empty() || grade.is_empty() { grade + &note } else { format!("{grade}; {note}") };
            Change::Changed { car, taken, fluid, grade: String::new(), note }
        }
    }
}

fn taken_of(change: &Change) -> Taken {
    match change {
        Change::Readings { taken, .. } | Change::Track { taken, .. } | Change::Changed { taken, .. } => *taken,
        other => panic!("a table made {other:?}"),
    }
}

fn any_readings() -> impl Strategy<Value = Logged> {
    let parts = (prop::sample::select(&ReadingKind::ALL[..]), any::<prop::sample::Index>(), any::<bool>(), any_note());
    (parts, prop::collection::btree_map(0usize..16, 0.0f64..1.0, 1..5)).prop_map(|((kind, unit, fresh, note), at)| {
        let (units, places) = (kind.unit().siblings(), kind.per().places());
        let unit = units[unit.index(units.len())];
        let (low, high) = kind.possible();
        // What is typed has few decimals, what comes from a worksheet has as many as there are.
        let value = |share: f64| if share < 0.5 { share } else { (share * 200.0).round() / 200.0 };
        let figure = |share: f64| kind.unit().convert(low + value(share) * (high - low), unit);
        let at: Vec<(Place, f64)> = at.iter().map(|(nth, share)| (places[nth % places.len()], figure(*share))).collect();
        Logged::Readings(Readings { note, ..readings(kind, unit, &at, fresh) })
    })
}

fn any_note() -> impl Strategy<Value = String> {
    let near = prop::sample::select(vec![
        "",
        "bedded in",
        "inner pad; \"thin\" end",
        "0,5 mm, or so",
        "=1+1",
        "-3",
        "\u{1F697} r\u{f6}d",
    ]);
    prop_oneof![near.prop_map(str::to_owned), "[a-z,;\" ]{0,40}".prop_map(|note| note.trim().to_owned())]
}

fn any_logged() -> impl Strategy<Value = Logged> {
    let minutes = prop_oneof![1.0f64..1440.0, (1u32..=1440).prop_map(f64::from)];
    prop_oneof![
        4 => any_readings(),
        1 => (minutes, any_note(), 0u16..9).prop_map(|(minutes, note, sessions)| Logged::Track {minutes, sessions, note }),
        1 => (prop::sample::select(&Fluid::ALL[..]), prop::sample::select(vec!["", "DOT 4"]), any_note())
            .prop_map(|(fluid, grade, note)| Logged::Changed {fluid, grade: grade.into(), note }),
    ]
}

fn any_lines() -> impl Strategy<Value = Vec<Line>> {
    let clock = prop::option::of((0i8..24, 0i8..60).prop_map(|(hour, minute)| Time::constant(hour, minute, 0, 0)));
    // Each on a day of its own: what is read at one time is one reading.
    prop::collection::vec((any_logged(), clock), 1..12).prop_map(|all| {
        let one = |(nth, (what, clock)): (usize, (Logged, Option<Time>))| {
            line(nth, Taken { day: date(2026, 1, 1) + (nth as i64).days(), clock }, what)
        };
        all.into_iter().enumerate().map(one).collect()
    })
}

fn any_table() -> impl Strategy<Value = String> {
    let cell = prop::sample::select(vec![
        "",
        "2026-05-09",
        "2026-13-40",
        "14:30",
        "25:00",
        "pad",
        "PAD",
        "track-time",
        "brake-fluid",
        "fluid-boil",
        "lf",
        "rr",
        "xx",
        "3,5",
        "5/32",
        "8.25",
        "-1",
        "1e9",
        "99999",
        "mm",
        "1/32 in",
        "furlong",
        "yes",
        "perhaps",
        "\"",
        "\"two\nlines\"",
        "\u{0}",
    ]);
    let row = prop::collection::vec(cell, 0..10);
    let separator = prop::sample::select(vec![",", ";", "\t"]);
    let head = prop_oneof![8 => Just(COLUMNS.join(",")), 1 => Just(COLUMNS.join(";")), 1 => any::<String>()];
    (head, prop::collection::vec((row, separator), 0..8)).prop_map(|(head, rows)| {
        let rows = rows.into_iter().map(|(row, separator)| row.join(separator));
        std::iter::once(head).chain(rows).collect::<Vec<_>>().join("\n")
    })
}

proptest! {
    #![proptest_config(ProptestConfig {cases: 600, ..ProptestConfig::default() })]

    #[test]
    fn a_log_written_as_a_table_is_read_back_as_it_was(lines in any_lines()) {
        let mut wanted: Vec<Change> = lines.iter().map(expected).collect();
        wanted.sort_by_key(taken_of);
        for text in [written(&lines), table(&COLUMNS, lines.iter().flat_map(rows)).replace("'=1+1", "=1+1")] {
            let mut found = read(&text, CAR, TODAY).map_err(|troubles| TestCaseError::fail(format!("{troubles:?} of {text}")))?;
            found.sort_by_key(taken_of);
            prop_assert_eq!(&found, &wanted, "of {}", text);
        }
    }

    #[test]
    fn any_text_is_read_or_refused_and_each_trouble_names_its_line(text in prop_oneof![3 => any_table(), 1 => any::<String>()]) {
        if let Err(troubles) = read(&text, CAR, TODAY) {
            prop_assert!((1..=20).contains(&troubles.len()));
            let last = text.lines().count().max(1);
            for trouble in troubles {
                let named = trouble.field.strip_prefix("line ").map(|nth| nth.parse::<usize>().expect("a number"));
                prop_assert!(named.map_or(trouble.field == "the first line", |nth| (2..=last).contains(&nth)), "{trouble:?} of {text:?}");
                prop_assert!(trouble.message.ends_with(['.']) && trouble.message.len() > 8, "{trouble:?}");
            }
        }
    }
}

const HEAD: &str = "day,time,what,place,value,unit,new,note\n";

fn first_trouble(text: &str) -> (String, String) {
    let troubles = read(&format!("{HEAD}{text}"), CAR, TODAY).expect_err("a trouble");
    (troubles[0].field.clone(), troubles[0].message.clone())
}

#[test]
fn a_trouble_names_the_line_that_an_editor_shows() {
    assert_eq!(first_trouble("2026-05-09,,pad,xx,8.0,mm,,").0, "line 2");
    // A blank line is a line, and a note may run over two.
    assert_eq!(first_trouble("\n2026-05-09,,pad,xx,8.0,mm,,").0, "line 3");
    assert_eq!(first_trouble("2026-05-09,,pad,lf,8.0,mm,,\"inner\npad\"\n2026-05-09,,pad,xx,8.0,mm,,").0, "line 4");
}

#[test]
fn a_word_for_new_that_is_not_known_is_told_and_not_taken_for_no() {
    for (word, fresh) in [("yes", true), ("Y", true), ("true", true), ("no", false), ("", false), ("0", false)] {
        let read = read(&format!("{HEAD}2026-05-09,,pad,lf,11.0,mm,{word},"), CAR, TODAY).expect("a reading");
        assert!(
            matches!(&read[0], Change::Readings {readings, .. } if readings.fresh == fresh),
            "\"{word}\" is read as {read:?}"
        );
    }
    let (line, message) = first_trouble("2026-05-09,,pad,lf,11.0,mm,perhaps,");
    assert_eq!((line.as_str(), message.as_str()), ("line 2", "\"perhaps\" is neither yes nor no: whether the part is new."));
}

#[test]
fn a_table_of_a_country_with_decimal_commas_is_read_even_under_blank_lines() {
    for before in ["", "\n", "\u{feff}", "\u{feff}\r\n"] {
        let text = format!("{before}day;what;place;value\r\n2026-05-09;pad;lf;8,25\r\n");
        let read = read(&text, CAR, TODAY).unwrap_or_else(|troubles| panic!("{text:?}: {troubles:?}"));
        assert!(matches!(&read[0], Change::Readings {readings, .. } if readings.at["lf"] == 8.25), "{read:?}");
    }
}

#[test]
fn the_cells_of_one_time_and_kind_are_one_set_and_a_place_read_twice_is_told() {
    let four = "2026-05-09,07:30,pad,lf,8.0,mm,,\n2026-05-09,07:30,pad,rf,8.1,mm,,\n2026-05-09,18:00,pad,lf,7.0,mm,,\n";
    let sets = read(&format!("{HEAD}{four}"), CAR, TODAY).expect("two sets");
    assert_eq!(sets.iter().map(taken_of).collect::<Vec<_>>(), [at(date(2026, 5, 9), 7, 30), at(date(2026, 5, 9), 18, 0)]);
    let (line, message) = first_trouble(&format!("{four}2026-05-09,07:30,pad,lf,8.2,mm,,"));
    assert!(line == "line 5" && message.contains("read twice at one time"), "{line}: {message}");
}

#[test]
fn a_file_too_long_and_a_day_to_come_are_refused_whole() {
    let row = "2026-05-09,,track-time,,20,min,,\n";
    assert_eq!(read(&format!("{HEAD}{}", row.repeat(MOST_LINES)), CAR, TODAY).map(|all| all.len()), Ok(MOST_LINES));
    let (line, message) = first_trouble(&row.repeat(MOST_LINES + 1));
    assert_eq!((line.as_str(), message.contains("5,000")), ("line 5002", true));
    let (line, message) = first_trouble(&format!("{row}2026-11-03,,track-time,,20,min,,"));
    assert_eq!((line.as_str(), message.as_str()), ("line 3", "2026-11-03 is still to come."));
    assert_eq!(first_trouble("2026-05-09,,toe,front,0.5,mm,,").1, "Toe is not read in \"mm\".");
    assert_eq!(first_trouble("2026-05-09,,pad,lf,80,mm,,").1, "80.0 mm cannot be: this lies between 0.0 and 25.0 mm.");
}

#[test]
fn a_line_without_a_reading_leaves_no_row() {
    let nothing = Logged::Readings(readings(ReadingKind::Pad, Unit::Millimetre, &[], false));
    assert!(rows(&line(0, on(TODAY), nothing)).is_empty());
}
