//! What holds of every garage, whatever is noted in it and in whatever order.

use jiff::Timestamp;
use jiff::civil::{Date, Time, date};
use proptest::prelude::*;
use std::collections::BTreeMap;
use uuid::Uuid;
use witnessmark::rules::answer::{Answers, Typed, from_json};
use witnessmark::rules::car_system::CarSystem;
use witnessmark::rules::garage::book::{Garage, Logged};
use witnessmark::rules::garage::change::{Change, JobCard, Noted, PartState, Readings, Taken};
use witnessmark::rules::garage::csv;
use witnessmark::rules::garage::kinds::{Fluid, GearKind, ReadingKind};
use witnessmark::rules::garage::log::{days_later, in_order, minutes_until};
use witnessmark::rules::garage::offers::{Earlier, offers};
use witnessmark::rules::garage::ready::work;
use witnessmark::rules::garage::wear::series;
use witnessmark::rules::sheet::{Kind, Sheet};
use witnessmark::rules::sheet_file;

const TODAY: Date = date(2026, 5, 9);

/// A handful of ids, so that changes meet: cars, jobs, lines, days alike.
fn some_id() -> impl Strategy<Value = Uuid> {
    (1u128..6).prop_map(Uuid::from_u128)
}

fn some_day() -> impl Strategy<Value = Date> {
    (-400i64..30).prop_map(|days| days_later(TODAY, days))
}

fn taken() -> impl Strategy<Value = Taken> {
    (some_day(), prop::option::of((0i8..24, 0i8..60)))
        .prop_map(|(day, clock)| Taken { day, clock: clock.map(|(hour, minute)| Time::constant(hour, minute, 0, 0)) })
}

fn readings() -> impl Strategy<Value = Readings> {
    let kind = prop::sample::select(ReadingKind::ALL.to_vec());
    (kind, prop::collection::vec((0usize..16, 0.0f64..1.0), 1..5), any::<bool>()).prop_map(|(what, figures, fresh)| {
        let (places, (low, high)) = (what.per().places(), what.possible());
        // Two decimals, as a gauge has them.
        let figure = |share: f64| ((low + (high - low) * share) * 100.0).round() / 100.0;
        let at = figures.into_iter().map(|(nth, share)| (places[nth % places.len()].token(), figure(share).clamp(low, high)));
        Readings { what, unit: what.unit().token().into(), at: at.collect(), fresh, note: String::new(), from: String::new() }
    })
}

fn card() -> impl Strategy<Value = JobCard> {
    (0.0f64..12.0, any::<bool>(), prop::collection::vec(some_id(), 0..3)).prop_map(|(hours, must, after)| JobCard {
        title: "A job".into(),
        system: CarSystem::Brakes,
        found: String::new(),
        cause: "worn".into(),
        next_test: String::new(),
        hours,
        must,
        after,
        symptom: None,
        item: None,
    })
}

fn change() -> impl Strategy<Value = Change> {
    let text = "[a-c]{0,3}";
    prop_oneof![
        some_id().prop_map(|car| Change::Car { car, name: "A car".into() }),
        some_id().prop_map(|car| Change::CarGone { car }),
        (some_id(), taken(), readings()).prop_map(|(car, taken, readings)| Change::Readings { car, taken, readings }),
        (some_id(), taken(), 1.0f64..200.0).prop_map(|(car, taken, minutes)| {
            let minutes = minutes.round();
            Change::Track { car, taken, minutes, sessions: 1, note: String::new() }
        }),
        (some_id(), taken()).prop_map(|(car, taken)| {
            Change::Changed { car, taken, fluid: Fluid::BrakeFluid, grade: String::new(), note: String::new() }
        }),
        some_id().prop_map(|line| Change::Struck { line }),
        (some_id(), some_id(), some_day(), prop::option::of(some_id())).prop_map(|(track_day, car, day, entry)| {
            Change::Day { track_day, car, name: "A day".into(), day, sessions: 6, session_min: 20.0, entry }
        }),
        some_id().prop_map(|track_day| Change::DayGone { track_day }),
        (some_id(), some_id(), card()).prop_map(|(job, car, card)| Change::Job { job, car, card }),
        (some_id(), some_id(), text, any::<bool>()).prop_map(|(job, step, say, done)| Change::Step { job, step, say, done }),
        (some_id(), some_id(), 0u16..40).prop_map(|(job, part, lead_days)| {
            Change::Part { job, part, name: "A part".into(), price_cents: Some(u64::MAX), lead_days, is: PartState::ToOrder }
        }),
        (some_id(), some_id()).prop_map(|(job, part)| Change::PartGone { job, part }),
        (some_id(), text).prop_map(|(job, test)| Change::Tried { job, test, outcome: "a".into(), said: "a".into() }),
        some_id().prop_map(|job| Change::Done { job, what: "a".into(), shown_by: "b".into() }),
        some_id().prop_map(|job| Change::Reopened { job, why: "again".into() }),
        (some_id(), some_id()).prop_map(|(of, photo)| Change::Photo { of, photo }),
        (some_id(), text, any::<bool>()).prop_map(|(track_day, thing, packed)| Change::Packed { track_day, thing, packed }),
        some_id().prop_map(|gear| Change::GearGone { gear }),
    ]
}

fn noted(changes: Vec<Change>) -> Vec<Noted> {
    let one = |(nth, change): (usize, Change)| Noted {
        // Lines have ids of their own, which strikes and photos then name.
        id: Uuid::from_u128(nth as u128),
        at: Timestamp::from_second(nth as i64).expect("a time"),
        change,
    };
    changes.into_iter().enumerate().map(one).collect()
}

/// Notes as the program does: only what the garage takes.
fn only_what_is_taken(changes: Vec<Change>) -> Vec<Noted> {
    let mut kept: Vec<Noted> = Vec::new();
    for new in noted(changes) {
        if Garage::of(&kept).takes(&new.change).is_ok() {
            kept.push(new);
        }
    }
    kept
}

proptest! {
    #[test]
    fn whatever_was_noted_a_garage_comes_of_it_and_can_be_looked_at(changes in prop::collection::vec(change(), 0..60)) {
        let garage = Garage::of(&noted(changes));
        for car in &garage.cars {
            let lines = in_order(car, &[]);
            for kind in ReadingKind::ALL {
                let _ = series(&lines, kind, TODAY).iter().map(|one| one.forecast(3.0)).collect::<Vec<_>>();
            }
            for job in &car.jobs {
                let _ = (job.money(), job.guesses(), job.suspects_again(), job.money_to_spend());
            }
        }
    }

    #[test]
    fn jobs_that_were_taken_can_always_be_planned(changes in prop::collection::vec(change(), 0..60)) {
        let garage = Garage::of(&only_what_is_taken(changes));
        for car in &garage.cars {
            let planned = work(&garage, car, TODAY, days_later(TODAY, 20));
            prop_assert!(planned.is_ok(), "{planned:?}");
        }
    }

    #[test]
    fn what_is_about_a_thing_that_is_not_here_is_refused_and_changes_nothing(
        changes in prop::collection::vec(change(), 0..30), stray in change()
    ) {
        let kept = only_what_is_taken(changes);
        let before = Garage::of(&kept);
        let names_one = |id: Uuid| before.car(id).is_some() || before.job(id).is_some();
        let is_stray = stray.car().is_some_and(|car| !names_one(car)) && !matches!(stray, Change::Car { .. });
        if is_stray || stray.job().is_some_and(|job| before.job(job).is_none()) {
            prop_assert!(before.takes(&stray).is_err(), "{stray:?}");
        }
        if is_stray {
            let mut with = kept;
            with.push(Noted { id: Uuid::from_u128(999), at: Timestamp::UNIX_EPOCH, change: stray });
            let after = Garage::of(&with);
            prop_assert_eq!((after.cars, after.gear), (before.cars, before.gear));
        }
    }

    #[test]
    fn a_line_that_is_struck_counts_nowhere(lines in prop::collection::vec((taken(), 1.0f64..200.0), 1..20), which in any::<prop::sample::Index>()) {
        let car = Uuid::from_u128(1);
        let track = |(taken, minutes): (Taken, f64)| Change::Track { car, taken, minutes, sessions: 1, note: String::new() };
        let mut changes = vec![Change::Car { car, name: "A car".into() }];
        let nth = which.index(lines.len());
        let left: f64 = lines.iter().enumerate().filter(|(at, _)| *at != nth).map(|(_, (_, minutes))| minutes).sum();
        changes.extend(lines.into_iter().map(track));
        changes.push(Change::Struck { line: Uuid::from_u128(nth as u128 + 1) });
        let garage = Garage::of(&noted(changes));
        let all = minutes_until(&in_order(&garage.cars[0], &[]), (Date::MAX, Time::MAX));
        prop_assert!((all - left).abs() < 1e-6, "{all} min count, {left} were driven");
    }

    #[test]
    fn the_order_of_noting_does_not_matter_to_the_log_and_minutes_only_add_up(
        lines in prop::collection::vec((0i64..400, 1.0f64..200.0), 1..20), seed in any::<u64>()
    ) {
        let car = Uuid::from_u128(1);
        let mut days: BTreeMap<i64, f64> = lines.into_iter().collect();
        let track = |(days, minutes): (&i64, &f64)| {
            let taken = Taken { day: days_later(TODAY, -days), clock: None };
            Change::Track { car, taken, minutes: *minutes, sessions: 1, note: String::new() }
        };
        let log = |changes: Vec<Change>| {
            let all = [vec![Change::Car { car, name: "A car".into() }], changes].concat();
            let garage = Garage::of(&noted(all));
            let lines = in_order(&garage.cars[0], &[]).into_iter().map(|line| (line.when(), line.what.clone())).collect::<Vec<_>>();
            let sums: Vec<f64> = lines.iter().map(|(when, _)| minutes_until(&in_order(&garage.cars[0], &[]), *when)).collect();
            (lines, sums)
        };
        let forth: Vec<Change> = days.iter().map(track).collect();
        let mut mixed = forth.clone();
        mixed.rotate_left((seed % forth.len() as u64) as usize);
        let (first, sums) = log(forth);
        prop_assert_eq!(&first, &log(mixed).0);
        prop_assert!(sums.windows(2).all(|pair| pair[0] <= pair[1]), "minutes never go back: {sums:?}");
        days.clear();
    }

    #[test]
    fn a_log_that_goes_out_as_a_table_comes_in_as_it_was(changes in prop::collection::vec(change(), 0..40)) {
        let car = Uuid::from_u128(1);
        let garage = Garage::of(&only_what_is_taken([vec![Change::Car { car, name: "A car".into() }], changes].concat()));
        let car = garage.car(car).expect("the car");
        let lines = in_order(car, &[]);
        // Two readings of one place at one time cannot be told apart in a table: it is refused, with the line.
        let mut seen = std::collections::BTreeSet::new();
        let rows: Vec<[String; 8]> = lines.iter().flat_map(|line| csv::rows(line)).collect();
        let apart = rows.iter().filter(|row| !row[4].is_empty() && row[2] != "track-time")
            .all(|row| seen.insert([row[0].clone(), row[1].clone(), row[2].clone(), row[3].clone(), row[5].clone(), row[6].clone()]));
        let text = witnessmark::output::csv::table(&csv::COLUMNS, rows.clone());
        match csv::read(&text, car.id, TODAY, &[]) {
            Err(troubles) => prop_assert!(!apart || troubles.iter().all(|trouble| trouble.message.contains("still to come")), "{troubles:?}\n{text}"),
            Ok(read) => {
                let read: Vec<Change> = read.new.into_iter().map(|(change, _)| change).collect();
                let back = Garage::of(&noted([vec![Change::Car { car: car.id, name: "A car".into() }], read].concat()));
                let mut again: Vec<[String; 8]> = in_order(&back.cars[0], &[]).iter().flat_map(|line| csv::rows(line)).collect();
                let mut rows = rows;
                rows.sort();
                again.sort();
                prop_assert_eq!(rows, again);
            }
        }
    }

    #[test]
    fn any_text_taken_for_a_table_is_read_or_told_by_its_line(text in "(day,what,value\n)?([a-z0-9;,\"'=.\u{0}\n-]{0,200})") {
        match csv::read(&text, Uuid::from_u128(1), TODAY, &[]) {
            Ok(_) => {}
            Err(troubles) => prop_assert!(troubles.iter().all(|trouble| trouble.field.contains("line"))),
        }
    }
}

fn sheet() -> Sheet {
    sheet_file::read(witnessmark::acts::set_up::CLUB_DAY).expect("the default sheet")
}

/// Answers of a sound car to the default sheet.
fn sound(sheet: &Sheet) -> Answers {
    let given = witnessmark::demo::sound_answers(sheet, TODAY);
    let read = |item: &witnessmark::rules::sheet::Item| {
        Some((item.id.clone(), from_json(item, given.get(item.id.as_str())?, TODAY).ok()??))
    };
    sheet.items().filter_map(read).collect()
}

#[test]
fn answers_of_last_time_are_offered_with_their_day_and_readings_as_readings() {
    let (sheet, car) = (sheet(), Uuid::from_u128(1));
    let answers = sound(&sheet);
    let garage = Garage::of(&noted(vec![Change::Car { car, name: "A car".into() }]));
    let earlier = [Earlier { event: "Spring day", day: TODAY, answers: &answers }];
    let offered = offers(&garage, car, &earlier, &sheet, days_later(TODAY, 30));
    let wanted = answers.keys().filter(|id| sheet.item(id.as_str()).is_some_and(|item| !matches!(item.kind, Kind::Photo { .. })));
    for id in wanted {
        let offer = offered.get(id.as_str()).unwrap_or_else(|| panic!("{id} is offered"));
        assert_eq!((offer.from.as_str(), offer.day), ("Spring day", TODAY), "{id}");
        assert!(offer.typed.keys().all(|name| name != "note" && name != "photo" && !name.starts_with("w.")), "{id}: {offer:?}");
    }
    for (id, is_reading) in
        [("pad-front", true), ("tread-depth", true), ("lug-torque", true), ("torque-asked", false), ("disc-minimum", false)]
    {
        assert_eq!(offered[id].is_reading, is_reading, "{id}");
    }
}

#[test]
fn of_a_fact_and_an_answer_the_newer_is_offered_and_gear_goes_to_its_label() {
    let (sheet, car) = (sheet(), Uuid::from_u128(1));
    let answers = sound(&sheet);
    let fact = |grade: &str| Change::Facts {
        car,
        facts: BTreeMap::from([("fluid-grade".into(), Typed::from([(String::new(), grade.into())]))]),
    };
    let helmet = Change::Gear {
        gear: Uuid::from_u128(7),
        what: GearKind::Helmet,
        name: "The white one".into(),
        label: "SA2020".into(),
        date: "2021-03".into(),
        valid_until: false,
    };
    let at = |day: Date| day.at(12, 0, 0, 0).to_zoned_datetime(jiff::tz::TimeZone::UTC).expect("a day").timestamp();
    let on = |day: Date, grade: &str| {
        let mut all = noted(vec![Change::Car { car, name: "A car".into() }, fact(grade), helmet.clone()]);
        all.iter_mut().for_each(|one| one.at = at(day));
        let earlier = [Earlier { event: "Spring day", day: TODAY, answers: &answers }];
        offers(&Garage::of(&all), car, &earlier, &sheet, days_later(TODAY, 60))
    };
    let later = on(days_later(TODAY, 10), "dot51");
    assert_eq!((later["fluid-grade"].typed[""].as_str(), later["fluid-grade"].from.as_str()), ("dot51", "your garage"));
    let before = on(days_later(TODAY, -10), "dot51");
    assert_eq!(before["fluid-grade"].from, "Spring day", "what was answered since is newer");
    assert_eq!(
        on(days_later(TODAY, 10), "castor")["fluid-grade"].from,
        "Spring day",
        "what this sheet cannot read is not offered"
    );
    let label = sheet.items().find(|item| matches!(&item.kind, Kind::Label(rule) if rule.gear == "helmet")).expect("a helmet");
    let offer = &later[label.id.as_str()];
    assert_eq!(
        (offer.typed[""].as_str(), offer.typed["date"].as_str(), offer.from.as_str()),
        ("SA2020", "2021-03", "The white one")
    );
}

#[test]
fn a_sheet_that_was_sent_is_read_into_the_log() {
    let sheet = sheet();
    let answers = sound(&sheet);
    let taken = Taken { day: TODAY, clock: None };
    let sent = witnessmark::rules::garage::log::SheetSent {
        submission: Uuid::from_u128(5),
        event: "Spring day",
        taken,
        arrived_at: Timestamp::UNIX_EPOCH,
        answers: &answers,
    };
    let lines = witnessmark::rules::garage::log::lines_of(&sent);
    let kinds =
        |kind: ReadingKind| lines.iter().filter(|line| matches!(&line.what, Logged::Readings(one) if one.what == kind)).count();
    assert_eq!(
        (kinds(ReadingKind::Pad), kinds(ReadingKind::Tread), kinds(ReadingKind::WheelTorque)),
        (2, 1, 1),
        "front and rear pads, tread, torque"
    );
    assert!(lines.iter().any(|line| matches!(line.what, Logged::Changed { fluid: Fluid::BrakeFluid, .. })), "the fluid's day");
    let ids: std::collections::BTreeSet<Uuid> = lines.iter().map(|line| line.id).collect();
    assert_eq!(ids.len(), lines.len(), "each line has an id of its own, the same at every look");
}
