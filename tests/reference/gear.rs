//! Safety gear: labels and lives as the tables of the reference have them, reckoned with rows made from them.

use crate::table::{Done, Row, every_row, rows};
use jiff::civil::{Date, date};
use proptest::prelude::*;
use serde_json::{Value as Json, json};
use witnessmark::rules::gear::{GearLife, LabelDate, LifeEnds, Policy, PolicyRow, judge_label};
use witnessmark::rules::words::Verdict;
use witnessmark::rules::{sheet_file, worksheet};

fn policy_row(kind: &str, label: &str, source: &str) -> PolicyRow {
    PolicyRow {
        kind: kind.into(),
        label: label.into(),
        also: vec![],
        accepted_until: None,
        refused: None,
        life_months: None,
        life_ends: LifeEnds::Day,
        source: source.into(),
        gathered: None,
    }
}

fn judged(policy: &Policy, kind: &str, label: &str, given: Option<&str>, valid_until: bool, on: Date) -> GearLife {
    judge_label(policy, kind, label, given, valid_until, on).unwrap_or_else(|error| panic!("{label}: {error}"))
}

/// An end date of a list is the last good day; what the list does not name is never ok.
#[test]
fn every_helmet_label_by_both_lists() {
    let check = |row: &Row| {
        let label = row.text("label");
        for column in ["fia_accepted_until", "uk_national_accepted_until"] {
            let mut one = policy_row("helmet", label, row.text("source"));
            let ends: Option<Date> = row.text(column).parse().ok();
            one.accepted_until = ends;
            match row.text(column) {
                "not-a-helmet-approval" => one.refused = Some("it is for the head-restraint posts".into()),
                "not-listed" | "" => {
                    let life = judged(&Policy::default(), "helmet", label, None, false, date(2026, 11, 25));
                    assert_eq!((life.verdict, life.ends), (Verdict::Fix, None), "{column}, {}", row.at);
                    assert!(life.why.contains("ask the inspector"), "{}", life.why);
                    continue;
                }
                "none-set" => {}
                _ => assert!(ends.is_some(), "{column} is no date; {}", row.at),
            }
            let policy = Policy::new(vec![one.clone()]);
            let written = label.to_lowercase().replace([' ', '-', '/'], "");
            let on = |on: Date| judged(&policy, "helmet", &written, None, false, on);
            match ends {
                Some(ends) => {
                    assert_eq!((on(ends).verdict, on(ends).days_left), (Verdict::Note, Some(0)), "{}", row.at);
                    assert_eq!(on(ends.tomorrow().unwrap()).verdict, Verdict::Fix, "{}", row.at);
                    assert_eq!(on(date(ends.year(), 6, 1)).verdict, Verdict::Ok, "{}", row.at);
                }
                None if one.refused.is_some() => {
                    assert_eq!(on(date(2026, 11, 25)).verdict, Verdict::Fix, "{}", row.at);
                    // Nor is it an approval where the sheet's table does not know it.
                    let unknown = judged(&Policy::default(), "helmet", label, None, false, date(2026, 11, 25));
                    assert!(unknown.verdict == Verdict::Fix && unknown.why.contains("no helmet approval"), "{}", row.at);
                }
                None => {
                    assert_eq!((on(date(2026, 11, 25)).verdict, on(date(2026, 11, 25)).ends), (Verdict::Ok, None), "{}", row.at)
                }
            }
        }
        Done::Checked
    };
    every_row("helmets.csv", check, &[]);
}

/// A life of the table: months, to where they run, a date made, and the last good day that follows.
type Life = (u16, LifeEnds, &'static str, Date);

#[test]
fn every_life_of_the_restraints_table() {
    let not_here = [
        ("no life is known: a row of the sheet without one, which the helmets' test covers", 8),
        ("an organizer's own addition to a life: a row of the sheet with other months", 3),
        ("counted from the last service, which the sheet asks for as a date", 3),
    ];
    let check = |row: &Row| {
        let (months, ends, made, last): Life = match row.text("standard") {
            // Two years from making; the older labels give the month.
            "SFI 16.1" | "SFI 16.5" | "SFI 27.1" => (24, LifeEnds::Day, "2024-03", date(2026, 3, 31)),
            "SFI 16.1 (US road-racing body, 2003)" => (24, LifeEnds::Year, "2024-03", date(2026, 12, 31)),
            "FIA 8853/98" | "FIA 8854/98" | "FIA 8853-2016" => (60, LifeEnds::Year, "2021", date(2026, 12, 31)),
            "SFI 38.1" => (60, LifeEnds::Day, "2007-04", date(2012, 4, 30)),
            "FIA 8855-1999, label with month and year" => (60, LifeEnds::Day, "2013-02", date(2018, 2, 28)),
            "FIA 8855-1999, label with year only" => (60, LifeEnds::Day, "2013", date(2018, 12, 31)),
            "FIA 8855-1999, label from 2014" => (60, LifeEnds::Year, "2014", date(2019, 12, 31)),
            "FIA 8855-2021" | "FIA 8862-2009" => (120, LifeEnds::Year, "2015", date(2025, 12, 31)),
            // The five years include the year of making: four more.
            "SFI 3.2A/10" | "SFI 3.2A/15" | "SFI 3.2A/20" => (48, LifeEnds::Year, "2001", date(2005, 12, 31)),
            "SFI 3.2A/1"
            | "SFI 3.2A/3"
            | "SFI 3.2A/5"
            | "SFI 3.3"
            | "UN R16 / FMVSS 209"
            | "FIA 8858-2002 / 8858-2010"
            | "FIA 8856-2000"
            | "FIA 8856-2018" => {
                return Done::NotHere("no life is known: a row of the sheet without one, which the helmets' test covers");
            }
            "FIA harness, New Zealand non-championship"
            | "FIA 8855-1999, UK national events"
            | "US endurance organizer rule 2020" => {
                return Done::NotHere("an organizer's own addition to a life: a row of the sheet with other months");
            }
            "UK national rule K.3" | "FIA 8865-2015 and earlier FIA lists" | "SFI 17.1" => {
                return Done::NotHere("counted from the last service, which the sheet asks for as a date");
            }
            other => panic!("standard {other} is not known; {}", row.at),
        };
        let mut one = policy_row(row.text("item"), row.text("standard"), row.text("source"));
        (one.life_months, one.life_ends) = (Some(months), ends);
        let policy = Policy::new(vec![one]);
        let on =
            |on: Date, given: &str, until: bool| judged(&policy, row.text("item"), row.text("standard"), Some(given), until, on);
        let by_making = on(last, made, false);
        assert_eq!((by_making.ends, by_making.days_left), (Some(last), Some(0)), "{}", row.at);
        assert_ne!(by_making.verdict, Verdict::Fix, "good on its last day; {}", row.at);
        assert_eq!(on(last.tomorrow().unwrap(), made, false).verdict, Verdict::Fix, "{}", row.at);
        // The same text as a last valid day: the label's own end, whatever the life.
        let until = on(LabelDate::parse(made).unwrap().last(), made, true);
        assert_eq!(until.ends, Some(LabelDate::parse(made).unwrap().last()), "{}", row.at);
        // A date that is needed and missing is asked for, never guessed.
        let missing = judge_label(&policy, row.text("item"), row.text("standard"), None, false, last).unwrap();
        assert!(missing.verdict == Verdict::Fix && missing.why.contains("Copy"), "{}", missing.why);
        Done::Checked
    };
    every_row("restraints.csv", check, &not_here);
}

/// SFI notice (head restraints): a label of April to December 2007 is good to the same month of 2012.
#[test]
fn the_last_day_of_a_life_counted_in_months() {
    let mut row = policy_row("head-restraint", "SFI 38.1", "SFI notice effective 2012-01-01");
    row.life_months = Some(60);
    let policy = Policy::new(vec![row]);
    let ends = |made: &str| judged(&policy, "head restraint", "SFI38.1", Some(made), false, date(2010, 1, 1)).ends;
    assert_eq!(ends("2007-12"), Some(date(2012, 12, 31)));
    assert_eq!(ends("12/2007"), Some(date(2012, 12, 31)));
    // To the day where a day is given; 29 February has none five years on.
    assert_eq!(ends("2007-04-17"), Some(date(2012, 4, 17)));
    assert_eq!(ends("2008-02-29"), Some(date(2013, 2, 28)));
}

/// UK historic club notice: belts to FIA 8853/98 are not valid from 2023, whatever their label's year.
#[test]
fn the_earlier_of_two_ends_counts() {
    let mut row = policy_row("harness", "FIA 8853/98", "UK historic club notice");
    (row.life_months, row.life_ends, row.accepted_until) = (Some(60), LifeEnds::Year, Some(date(2022, 12, 31)));
    let policy = Policy::new(vec![row]);
    let ends = |until: &str| judged(&policy, "harness", "FIA 8853-98", Some(until), true, date(2020, 6, 1)).ends;
    assert_eq!((ends("2024"), ends("2021")), (Some(date(2022, 12, 31)), Some(date(2021, 12, 31))));
}

/// What cannot be: arithmetic with the label's own life.
#[test]
fn a_date_read_the_wrong_way_round_is_caught_where_it_can_be() {
    let mut row = policy_row("harness", "SFI 16.1", "label practice on three trade pages");
    row.life_months = Some(24);
    let policy = Policy::new(vec![row]);
    let on = date(2026, 11, 25);
    // A last valid day given as the day of making lies in the future.
    assert!(judge_label(&policy, "harness", "SFI 16.1", Some("2027-05"), false, on).is_err());
    // A belt that would be valid longer than its whole life.
    assert_eq!(judged(&policy, "harness", "SFI 16.1", Some("2029-05"), true, on).verdict, Verdict::Fix);
    assert_eq!(judged(&policy, "harness", "SFI 16.1", Some("2028-05"), true, on).verdict, Verdict::Ok);
    // Only the year made: it may have run out, so it is not simply ok.
    assert_eq!(judged(&policy, "harness", "SFI 16.1", Some("2024"), false, date(2026, 6, 1)).verdict, Verdict::Note);
    assert_eq!(judged(&policy, "harness", "SFI 16.1", Some("2025"), false, date(2026, 6, 1)).verdict, Verdict::Ok);
}

#[test]
fn the_worksheet_takes_a_table_of_its_own() {
    let policy = json!([{"kind": "harness", "label": "FIA 8853-2016", "also": ["8853-2016"], "life_months": 60,
        "life_ends": "year", "source": "trade page of 2017"}]);
    let run = |input: Json| worksheet::run("gear-life", &input.to_string(), &Policy::default());
    let found =
        run(json!({"kind": "harness", "label": "8853 2016", "date": "2026", "date_is": "valid_until", "on": "2026-11-25",
        "policy": policy}))
        .unwrap();
    assert_eq!((found["ends"].as_str(), found["days_left"].as_i64()), (Some("2026-12-31"), Some(36)));
    assert_eq!((found["verdict"].as_str(), found["source"].as_str()), (Some("note"), Some("trade page of 2017")));
    let unknown = run(json!({"kind": "harness", "label": "8853 2016", "on": "2026-11-25"})).unwrap();
    assert_eq!(unknown["verdict"], "fix");
    let error = run(
        json!({"kind": "harness", "label": "x", "on": "2026-11-25", "policy": [{"kind": "harness", "label": "x", "lives": 3}]}),
    );
    assert_eq!(error.unwrap_err().field, "policy[0].lives");
    assert_eq!(
        run(json!({"kind": "harness", "label": "x", "on": "2026-11-25", "date_is": "service"})).unwrap_err().field,
        "date_is"
    );
    assert_eq!(run(json!({"kind": "harness", "label": "x", "on": "2026-11-25", "date": "26"})).unwrap_err().field, "date");
}

proptest! {
    #[test]
    fn no_text_makes_the_reader_of_labels_panic(text in "\\PC{0,40}", near in "[0-9/-]{0,12}") {
        let policy = Policy::new(vec![policy_row("helmet", &text, "none")]);
        for given in [&text, &near] {
            let _ = LabelDate::parse(given);
            let _ = judge_label(&policy, "helmet", &text, Some(given), true, date(2026, 11, 25));
        }
    }

    #[test]
    fn a_later_event_never_finds_gear_longer_good(
        months in 1u16..=240, year in 2000i16..2026, month in 1i8..=12, wait in 0i32..9000, year_end: bool
    ) {
        let mut row = policy_row("seat", "X", "none");
        (row.life_months, row.life_ends) = (Some(months), if year_end { LifeEnds::Year } else { LifeEnds::Day });
        let policy = Policy::new(vec![row]);
        let made = format!("{year}-{month:02}");
        let first = date(2026, 1, 1);
        let later = first.saturating_add(jiff::ToSpan::days(wait));
        let [one, two] = [first, later].map(|on| judged(&policy, "seat", "x", Some(&made), false, on));
        prop_assert_eq!(one.ends, two.ends);
        prop_assert!(one.verdict <= two.verdict);
        prop_assert!(one.ends.unwrap() >= date(year, month, 1).saturating_add(jiff::ToSpan::months(i32::from(months))));
    }
}

/// The table that comes with the program, against the helmets' table: every label known, and good to one of the two lists'
/// days or refused, never longer than a list says.
#[test]
fn the_default_sheet_agrees_with_the_helmets_table() {
    let sheet = sheet_file::read(include_str!("../../src/sheets/club-day.toml")).unwrap();
    for row in rows("helmets.csv") {
        let one = sheet.gear.row("helmet", row.text("label")).unwrap_or_else(|| panic!("not in the default sheet: {}", row.at));
        let listed = ["fia_accepted_until", "uk_national_accepted_until"].map(|column| row.text(column));
        match (one.accepted_until, &one.refused) {
            (Some(until), _) => assert!(listed.contains(&until.to_string().as_str()), "{until}; {}", row.at),
            (None, Some(_)) => assert!(!listed.contains(&"none-set"), "refused; {}", row.at),
            // A car label with a flame test that no list ends.
            (None, None) => {
                assert!(row.text("use") == "car" && row.text("fire_resistant_lining") == "y", "accepted; {}", row.at);
                assert!(listed.iter().all(|cell| !cell.starts_with("20")), "accepted without end; {}", row.at);
            }
        }
    }
}

/// The lives of the default sheet, by the examples of the restraints' table.
#[test]
fn the_default_sheet_counts_lives_as_the_restraints_table_does() {
    let sheet = sheet_file::read(include_str!("../../src/sheets/club-day.toml")).unwrap();
    let lives = [
        ("harness", "SFI 16.1", "2025-03", date(2027, 3, 31)),
        ("harness", "FIA 8853-2016", "2022", date(2027, 12, 31)),
        ("head-restraint", "SFI 38.1", "2022-04", date(2027, 4, 30)),
        ("seat", "FIA 8855-1999", "2022-02", date(2027, 2, 28)),
        ("seat", "FIA 8862-2009", "2017", date(2027, 12, 31)),
        ("suit", "SFI 3.2A/10", "2023", date(2027, 12, 31)),
    ];
    for (kind, label, made, last) in lives {
        let life = judged(&sheet.gear, kind, label, Some(made), false, date(2026, 11, 25));
        assert_eq!((life.ends, life.verdict), (Some(last), Verdict::Ok), "{label} made {made}");
    }
}
