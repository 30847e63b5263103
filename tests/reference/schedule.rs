//! When jobs must start: critical paths against published worked examples, and days by hand.
//!
//! Five examples, each with its source beside it. What they print of a step is its place and its slack; what waits for what is
//! as printed, or follows from the numbers of the arrows' ends.

use jiff::civil::{Date, date};
use witnessmark::rules::critical_path::{Hands, Network, NetworkError, Timing};
use witnessmark::rules::schedule::{Haste, Late, Plan, ScheduleError, Supply, Task, plan};
use witnessmark::rules::week::{Week, WeekError};

/// A row as printed: name, span, names of what it waits for.
type Row<'a> = (&'a str, i64, &'a [&'a str]);

fn reckon(rows: &[Row]) -> Timing {
    let place = |name: &&str| rows.iter().position(|row| row.0 == *name).unwrap_or_else(|| panic!("no {name}"));
    let steps: Vec<(i64, Vec<usize>)> = rows.iter().map(|(_, span, after)| (*span, after.iter().map(place).collect())).collect();
    Network::new(&steps).unwrap().reckon(Hands::Many, &[], None)
}

fn chain<'a>(rows: &[Row<'a>], timing: &Timing) -> Vec<&'a str> {
    timing.chain.iter().map(|step| rows[*step].0).collect()
}

/// Every cell of a table of ES, EF, LS, LF and slack.
fn assert_table(timing: &Timing, table: &[[i64; 5]], source: &str) {
    assert_eq!(timing.times.len(), table.len(), "{source}");
    for (step, (times, row)) in timing.times.iter().zip(table).enumerate() {
        let found = [times.early_start, times.early_finish, times.late_start, times.late_finish, times.slack()];
        assert_eq!(found, *row, "row {step} of {source}");
    }
}

/// studylib document 8378728, "Example 1: Draw the network for the events in Table 1", hours: all of its Table 2.
///
/// Read row by row as they come there: A, B, D, E, G, C, F. C waits for A and F for C (Tables 1 and 2 agree), E for D and F.
/// With that no cell contradicts another or the text ("the LF for event F is 11 and its LS is 9").
#[test]
fn a_prototype_and_its_parts() {
    let rows: [Row; 7] = [
        ("A", 6, &[]),
        ("B", 2, &["A"]),
        ("D", 3, &["B"]),
        ("E", 4, &["D", "F"]),
        ("G", 1, &["E"]),
        ("C", 2, &["A"]),
        ("F", 2, &["C"]),
    ];
    let timing = reckon(&rows);
    let table = [
        [0, 6, 0, 6, 0],
        [6, 8, 6, 8, 0],
        [8, 11, 8, 11, 0],
        [11, 15, 11, 15, 0],
        [15, 16, 15, 16, 0],
        [6, 8, 7, 9, 1],
        [8, 10, 9, 11, 1],
    ];
    assert_table(&timing, &table, "studylib 8378728, Table 2");
    assert_eq!(chain(&rows, &timing), ["A", "B", "D", "E", "G"]);
    assert_eq!(timing.end, Some(16));
}

/// An arrow's ends and span, then ES, EF, LS, LF and slack. It waits for the arrows that end where it begins.
fn assert_arrows(table: &[(u8, u8, i64, [i64; 5])], nodes: &[u8], source: &str) {
    let waits = |from: u8| table.iter().enumerate().filter(move |(_, row)| row.1 == from).map(|(at, _)| at).collect();
    let steps: Vec<(i64, Vec<usize>)> = table.iter().map(|(from, _, span, _)| (*span, waits(*from))).collect();
    let timing = Network::new(&steps).unwrap().reckon(Hands::Many, &[], None);
    assert_table(&timing, &table.iter().map(|row| row.3).collect::<Vec<_>>(), source);
    let mut walked = vec![nodes[0]];
    walked.extend(timing.chain.iter().map(|step| table[*step].1));
    assert_eq!(walked, nodes, "{source}");
}

/// B. W. Taylor, Introduction to Management Science, the solutions to chapter 8 (scribd document 47113515, "TaylCh08"): the
/// first two tables on its page 114, whole. The first is problem 5 of the 12th edition's too. 4-5 of the second takes no time.
#[test]
fn two_networks_of_arrows() {
    let first = [
        (1, 2, 7, [0, 7, 2, 9, 2]),
        (1, 3, 10, [0, 10, 0, 10, 0]),
        (2, 4, 6, [7, 13, 9, 15, 2]),
        (3, 4, 5, [10, 15, 10, 15, 0]),
        (3, 5, 4, [10, 14, 14, 18, 4]),
        (4, 5, 3, [15, 18, 15, 18, 0]),
        (5, 6, 2, [18, 20, 18, 20, 0]),
    ];
    assert_arrows(&first, &[1, 3, 4, 5, 6], "TaylCh08, first table");
    let second = [
        (1, 2, 8, [0, 8, 1, 9, 1]),
        (1, 3, 10, [0, 10, 0, 10, 0]),
        (1, 4, 9, [0, 9, 6, 15, 6]),
        (2, 5, 6, [8, 14, 9, 15, 1]),
        (2, 6, 4, [8, 12, 16, 20, 8]),
        (3, 5, 5, [10, 15, 10, 15, 0]),
        (4, 5, 0, [9, 9, 15, 15, 6]),
        (4, 7, 7, [9, 16, 20, 27, 11]),
        (5, 7, 12, [15, 27, 15, 27, 0]),
        (5, 8, 15, [15, 30, 16, 31, 1]),
        (6, 9, 18, [12, 30, 20, 38, 8]),
        (7, 8, 4, [27, 31, 27, 31, 0]),
        (8, 9, 7, [31, 38, 31, 38, 0]),
    ];
    // Its path is cut off after the 1 in what could be read of it: the rest follows from the slacks of 0.
    assert_arrows(&second, &[1, 3, 5, 7, 8, 9], "TaylCh08, second table");
}

/// USAFA CompSci 350, autumn 2019, handout "scheduling": early and late start and slack of sixteen tasks, and the path.
#[test]
fn sixteen_tasks() {
    let rows: [Row; 16] = [
        ("1", 3, &[]),
        ("2", 5, &[]),
        ("3", 5, &["1"]),
        ("4", 4, &[]),
        ("5", 3, &["2"]),
        ("6", 3, &["4"]),
        ("7", 1, &["5"]),
        ("8", 3, &["6"]),
        ("9", 6, &["1"]),
        ("10", 3, &["3"]),
        ("11", 2, &["6"]),
        ("12", 2, &["9", "10"]),
        ("13", 4, &["7", "8"]),
        ("14", 2, &["11", "12"]),
        ("15", 8, &["11", "12"]),
        ("16", 3, &["13", "14"]),
    ];
    let printed = [
        [0, 0, 0],
        [0, 5, 5],
        [3, 3, 0],
        [0, 4, 4],
        [5, 10, 5],
        [4, 8, 4],
        [8, 13, 5],
        [7, 11, 4],
        [3, 5, 2],
        [8, 8, 0],
        [7, 11, 4],
        [11, 11, 0],
        [10, 14, 4],
        [13, 16, 3],
        [13, 13, 0],
        [15, 18, 3],
    ];
    let timing = reckon(&rows);
    let found = timing.times.iter().map(|times| [times.early_start, times.late_start, times.slack()]);
    assert_eq!(found.collect::<Vec<_>>(), printed);
    assert_eq!(chain(&rows, &timing), ["1", "3", "10", "12", "15"]);
}

/// A course module, "Network Construction - Critical Path Method", as it stands in the data set Nemotron-CC-Math-v1: the sums
/// of its five paths, of which A-B-F-I-K-L-N is the longest with 41.
#[test]
fn fourteen_activities_of_a_course() {
    let rows: [Row; 14] = [
        ("A", 2, &[]),
        ("B", 10, &["A"]),
        ("C", 13, &["A"]),
        ("D", 12, &["A"]),
        ("E", 12, &["B"]),
        ("F", 7, &["B"]),
        ("G", 10, &["D"]),
        ("H", 16, &["D"]),
        ("I", 6, &["F"]),
        ("J", 12, &["C", "G"]),
        ("K", 5, &["I"]),
        ("L", 8, &["E", "K"]),
        ("M", 5, &["H"]),
        ("N", 3, &["J", "L", "M"]),
    ];
    let timing = reckon(&rows);
    assert_eq!((timing.end, chain(&rows, &timing).concat()), (Some(41), "ABFIKLN".into()));
    // By hand from the other sums: what lies on one path alone has what that path is shorter by.
    for (name, path) in [("E", 35), ("C", 30), ("G", 39), ("H", 38), ("M", 38)] {
        let step = rows.iter().position(|row| row.0 == name).unwrap();
        assert_eq!(timing.times[step].slack(), 41 - path, "{name}");
    }
}

/// Hillier and Lieberman, Introduction to Operations Research, the Reliable Construction example, weeks. From memory; spans but
/// for H's also as a page of exercises prints them. 44 weeks by A-B-C-E-F-J-L-N.
#[test]
fn a_plant_is_built() {
    let rows: [Row; 14] = [
        ("A", 2, &[]),
        ("B", 4, &["A"]),
        ("C", 10, &["B"]),
        ("D", 6, &["C"]),
        ("E", 4, &["C"]),
        ("F", 5, &["E"]),
        ("G", 7, &["D"]),
        ("H", 9, &["E", "G"]),
        ("I", 7, &["C"]),
        ("J", 8, &["F", "I"]),
        ("K", 4, &["J"]),
        ("L", 5, &["J"]),
        ("M", 2, &["H"]),
        ("N", 6, &["K", "L"]),
    ];
    let timing = reckon(&rows);
    assert_eq!((timing.end, chain(&rows, &timing).concat()), (Some(44), "ABCEFJLN".into()));
    assert_eq!(timing.times.iter().filter(|times| times.slack() == 0).count(), 8);
}

/// Two hours on a working evening, six on a Saturday, Sunday off.
fn evenings() -> Week {
    Week::new([2.0, 2.0, 2.0, 2.0, 2.0, 6.0, 0.0]).unwrap()
}

/// 1 May 2026 is a Friday.
fn may(day: i8) -> Date {
    date(2026, 5, day)
}

fn job(hours: f64, after: &[usize], parts: &[Supply]) -> Task {
    Task { hours, after: after.to_vec(), parts: parts.to_vec() }
}

fn planned(tasks: &[Task], hands: Hands) -> Plan {
    // From a Monday to a Sunday: 16 hours.
    plan(tasks, &evenings(), hands, may(4), may(10)).unwrap()
}

/// By hand: hoses come on Thursday, then 2 h of fitting and 1 h of bleeding, which also waits for 4 h of calipers.
#[test]
fn a_week_with_brakes_by_hand() {
    let tasks = [
        job(4.0, &[], &[]),
        job(2.0, &[], &[Supply::ToOrder { lead_days: 3 }, Supply::Here]),
        job(1.0, &[0, 1], &[Supply::Ordered { here_on: may(6) }]),
    ];
    let plan = planned(&tasks, Hands::One);
    assert!(plan.in_time);
    assert_eq!((plan.needed_hours, plan.available_hours, plan.short_hours), (7.0, 16.0, 0.0));
    // Calipers on Monday and Tuesday, Wednesday idle, hoses on Thursday, bleeding on Friday.
    let days: Vec<_> = plan.turns.iter().map(|turn| (turn.task, turn.start, turn.finish)).collect();
    assert_eq!(days, [(0, may(4), may(5)), (1, may(7), may(7)), (2, may(8), may(8))]);
    assert_eq!((plan.finish, &plan.chain[..], plan.opened_by), (Some(may(8)), &[1, 2][..], Some(0)));
    // Of sixteen hours bleeding must start at 15, hoses at 13, calipers at 11: all on Saturday, whose hours begin after ten.
    // The soonest are 8, 6 and 0.
    let latest: Vec<_> = plan.tasks.iter().map(|task| (task.latest_start, task.slack_hours)).collect();
    assert_eq!(latest, [(may(9), 11.0), (may(9), 7.0), (may(9), 7.0)]);
    let hoses = plan.tasks[1].parts[0];
    assert_eq!((hoses.arrives, hoses.order_by, hoses.haste), (may(7), Some(may(6)), Haste::InTime));
    assert_eq!((plan.tasks[1].parts[1].haste, plan.tasks[2].parts[0].order_by), (Haste::Here, None));
}

#[test]
fn what_is_too_late_by_itself_and_what_only_with_the_rest() {
    // 9 h twice: each fits into 16 h, both do not.
    let plan = planned(&[job(9.0, &[], &[]), job(9.0, &[], &[])], Hands::One);
    assert_eq!((plan.in_time, plan.short_hours, plan.tasks[0].late), (false, 2.0, Late::WithTheRest));
    let plan = planned(&[job(9.0, &[], &[]), job(9.0, &[], &[])], Hands::Many);
    assert_eq!((plan.in_time, plan.short_hours, plan.tasks[0].late), (true, 0.0, Late::No));
    // On Saturday a part comes for 6 h of work, and one more hour waits for that. The day after the event is Monday.
    let late = [job(6.0, &[], &[Supply::ToOrder { lead_days: 5 }]), job(1.0, &[0], &[])];
    let plan = planned(&late, Hands::Many);
    assert_eq!((plan.finish, plan.short_hours), (Some(may(11)), 1.0));
    assert_eq!((plan.tasks[0].late, plan.tasks[1].late), (Late::ByItself, Late::ByItself));
    let part = plan.tasks[0].parts[0];
    assert_eq!((part.order_by, part.haste), (Some(may(3)), Haste::TooLate));
}

#[test]
fn a_job_without_hours_is_done_on_a_day_without_hours_but_not_at_the_event() {
    let today = may(8);
    let on = |day: i8| {
        let tasks = [job(0.0, &[], &[Supply::Ordered { here_on: may(day) }])];
        plan(&tasks, &evenings(), Hands::One, today, may(11)).unwrap()
    };
    // Sunday has no hours; the event is on Monday.
    assert_eq!((on(10).in_time, on(10).finish, on(10).tasks[0].parts[0].haste), (true, Some(may(10)), Haste::LastDay));
    assert_eq!((on(11).in_time, on(11).finish, on(11).tasks[0].late), (false, Some(may(11)), Late::ByItself));
    // Expected before today: any day now.
    assert_eq!((on(1).finish, on(1).tasks[0].parts[0].arrives), (Some(today), today));
}

#[test]
fn nothing_to_do_is_done_and_an_event_that_is_over_is_missed() {
    let none = planned(&[], Hands::One);
    assert_eq!((none.in_time, none.finish, none.chain.len(), none.opened_by), (true, None, 0, None));
    let over = plan(&[job(1.0, &[], &[])], &evenings(), Hands::One, may(4), may(4)).unwrap();
    assert_eq!((over.in_time, over.available_hours, over.short_hours), (false, 0.0, 1.0));
    // On the event's own day nothing is done, nor on the Sunday before: Saturday would have been the day.
    assert_eq!((over.finish, over.tasks[0].latest_start), (Some(may(5)), may(2)));
}

#[test]
fn what_cannot_be_planned_says_why() {
    let refused = |tasks: &[Task]| plan(tasks, &evenings(), Hands::One, may(4), may(10)).unwrap_err();
    let circle = refused(&[job(1.0, &[], &[]), job(1.0, &[2, 0], &[]), job(1.0, &[1], &[]), job(1.0, &[2], &[])]);
    assert_eq!(circle, ScheduleError::Network(NetworkError::Circle { circle: vec![1, 2] }));
    assert_eq!(circle.to_string(), "Jobs wait for each other in a circle: 2, 3.");
    assert_eq!(refused(&[job(1.0, &[0], &[])]), ScheduleError::Network(NetworkError::Circle { circle: vec![0] }));
    assert_eq!(refused(&[job(1.0, &[4], &[])]), ScheduleError::Network(NetworkError::NoSuch { step: 0, after: 4 }));
    for hours in [-0.5, f64::NAN, f64::INFINITY, 10_001.0] {
        assert_eq!(refused(&[job(1.0, &[], &[]), job(hours, &[], &[])]), ScheduleError::Hours { task: 1 }, "{hours}");
    }
    assert_eq!(Week::new([0.0; 7]), Err(WeekError::NoHours));
    assert_eq!(Week::new([0.0, 0.0, 16.1, 0.0, 0.0, 0.0, 1.0]), Err(WeekError::Hours { weekday: 2 }));
}
