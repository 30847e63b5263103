//! What a garage does not take, and says so: too long, too much, no number, no day; nothing is lost and nothing is half kept.

use crate::club::{Club, Keeper, job};
use crate::garage_tables::HEAD;
use reqwest::StatusCode;
use uuid::Uuid;
use witnessmark::rules::garage::book::Garage;
use witnessmark::rules::garage::change::{Change, JobCard, Noted};
use witnessmark::rules::garage::fold::NotTaken;
use witnessmark::rules::garage::kinds::GearKind;

/// The fields of a form with one changed.
fn with<'f>(form: &[(&'f str, &'f str)], name: &'f str, text: &'f str) -> Vec<(&'f str, &'f str)> {
    let others = form.iter().copied().filter(|(key, _)| *key != name);
    others.chain([(name, text)]).collect()
}

/// Sends a form with one field wrong: the page comes again with words at that field and everything that was typed.
async fn is_told(keeper: &Keeper<'_>, path: &str, form: &[(&str, &str)], name: &str, text: &str) {
    let what = format!("{path} with {name} = {:?}", text.chars().take(30).collect::<String>());
    let before = keeper.kinds().await;
    let answer = keeper.posts(path, &keeper.club.new_id(), &with(form, name, text)).await;
    assert_eq!(answer.status(), StatusCode::UNPROCESSABLE_ENTITY, "{what}");
    let page = answer.page().await;
    assert!(page.has("[role=alert]"), "{what}: {}", page.text());
    let at_field = format!("label:has([name='{name}'][aria-invalid]) .trouble, fieldset:has([name='{name}']) .trouble");
    assert!(page.first(&at_field).len() > 8, "{what}: {}", page.text());
    for (field, typed) in form.iter().filter(|(field, _)| *field != name) {
        let kept = page.value_of(&format!("input[name='{field}']:not([type=radio]):not([type=checkbox])"));
        let is_there = kept == *typed || page.raw(&format!("textarea[name='{field}']")) == *typed;
        let is_chosen =
            page.has(&format!("[name='{field}'][value='{typed}'][checked], [name='{field}'] [value='{typed}'][selected]"));
        assert!(is_there || is_chosen, "{what}: {field} is lost");
    }
    assert_eq!(keeper.kinds().await, before, "{what}: nothing is noted");
}

#[tokio::test]
async fn what_cannot_be_is_told_at_its_field_and_nothing_typed_is_lost() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let keeper = ines.opens_a_garage().await;
    let work = keeper.has_to("Find the oil leak").await;
    let car = format!("/cars/{}", keeper.car);
    let no_number = ["1e308", "NaN", "inf", "-1", "1.2.3", "0x10", "99999999999999999999999999", "\u{661}"];
    let no_day = ["9999-12-31", "2026-02-30", "1989-12-31", "28.3.2026", "", "+002026-05-09", "20260509"];
    let long = |count: usize| "x".repeat(count);
    let (x61, x81, x121, x201, x301, x401) = (long(61), long(81), long(121), long(201), long(301), long(401));
    let day = "2026-05-09";

    let path = format!("{car}/jobs");
    let form = with(&job("A job"), "found", "On the floor");
    for (name, text) in [
        ("title", ""),
        ("title", &x81),
        ("title", "two\nlines"),
        ("system", "warp"),
        ("system", ""),
        ("found", &x301),
        ("cause", &x121),
        ("next_test", &x121),
        ("hours", ""),
        ("hours", "401"),
        ("symptom", "warp"),
    ] {
        is_told(&keeper, &path, &form, name, text).await;
    }
    for text in no_number {
        is_told(&keeper, &path, &form, "hours", text).await;
    }
    let path = format!("{car}/readings/pad");
    let form = [("day", day), ("clock", "09:30"), ("lf", "9"), ("rf", "8.5"), ("unit", "mm"), ("note", "thin end")];
    for text in no_number.into_iter().chain(["26"]) {
        is_told(&keeper, &path, &form, "lf", text).await;
    }
    for text in no_day {
        is_told(&keeper, &path, &form, "day", text).await;
    }
    for text in ["25:00", "7pm", "14:60", "14:30:00 "] {
        is_told(&keeper, &path, &form, "clock", text).await;
    }
    is_told(&keeper, &path, &form, "note", &x201).await;
    is_told(&keeper, &path, &[("day", day), ("unit", "mm")], "lf", "").await;

    let (path, form) = (format!("{car}/track"), [("day", day), ("sessions", "5"), ("minutes", "100"), ("note", "wet")]);
    for (name, text) in [
        ("sessions", "61"),
        ("sessions", "-1"),
        ("sessions", "1.5"),
        ("sessions", ""),
        ("minutes", "0"),
        ("minutes", "1441"),
        ("minutes", "NaN"),
        ("day", "9999-12-31"),
    ] {
        is_told(&keeper, &path, &form, name, text).await;
    }
    let (path, form) = (format!("{car}/fluids"), [("day", day), ("fluid", "coolant"), ("grade", "G12")]);
    for (name, text) in [("fluid", "beer"), ("fluid", ""), ("grade", x61.as_str()), ("day", "tomorrow")] {
        is_told(&keeper, &path, &form, name, text).await;
    }
    let form = [("what", "helmet"), ("name", "The white one"), ("label", "SA2020"), ("date", "2020-03"), ("date-is", "made")];
    for (name, text) in [
        ("what", "warp"),
        ("name", ""),
        ("name", &x61),
        ("label", &x61),
        ("date", "9999-99"),
        ("date", "soon"),
        ("date-is", "perhaps"),
    ] {
        is_told(&keeper, "/gear", &form, name, text).await;
    }
    for text in ["", &x61, "two\nlines"] {
        is_told(&keeper, "/cars", &[], "name", text).await;
    }
    let (path, form) = (format!("{car}/facts"), [("name", "Red one"), ("mass", "1200"), ("wheel-thread", "M12x1.5")]);
    for (name, text) in [
        ("name", ""),
        ("mass", "1e308"),
        ("mass", "NaN"),
        ("mass", "5"),
        ("roof", "glass"),
        ("wheel-thread", &x81),
        ("tyre-date.lf", "9999"),
        ("tyre-date.lf", "0130"),
    ] {
        is_told(&keeper, &path, &form, name, text).await;
    }
    let (path, form) =
        (format!("{car}/days"), [("name", "Hill"), ("day", "2026-06-01"), ("sessions", "4"), ("session_min", "15")]);
    for (name, text) in [
        ("name", ""),
        ("name", &x81),
        ("day", "9999-12-31"),
        ("day", "1999-01-01"),
        ("sessions", "0"),
        ("sessions", "61"),
        ("session_min", "NaN"),
        ("session_min", "0"),
        ("session_min", "1e308"),
    ] {
        is_told(&keeper, &path, &form, name, text).await;
    }
    let form = [("monday", "2"), ("sunday", "4"), ("currency", "EUR")];
    for (name, text) in [("monday", "17"), ("monday", "NaN"), ("monday", "-1"), ("currency", "EUROS"), ("currency", "E\u{7}")] {
        is_told(&keeper, "/hours", &form, name, text).await;
    }
    let (path, form) =
        (format!("/jobs/{work}/parts"), [("name", "A seal"), ("lead", "5"), ("price", "12.50"), ("is", "ordered")]);
    for (name, text) in [
        ("name", ""),
        ("name", &x81),
        ("lead", "-1"),
        ("lead", "366"),
        ("lead", "1.5"),
        ("lead", "99999999"),
        ("price", "1e308"),
        ("price", "0.001"),
        ("price", "-1"),
        ("price", "NaN"),
        ("is", "stolen"),
        ("here_on", "9999-12-31"),
        ("here_on", "soon"),
    ] {
        is_told(&keeper, &path, &form, name, text).await;
    }
    let (path, form) = (format!("/jobs/{work}/done"), [("what", "New seal."), ("shown_by", "Dry.")]);
    for (name, text) in [("what", ""), ("what", &x401), ("shown_by", ""), ("shown_by", &x201)] {
        is_told(&keeper, &path, &form, name, text).await;
    }
    for unknown in ["/cars/{car}/readings/warp", "/cars/{car}/readings/PAD"] {
        let answer = keeper.posts(&unknown.replace("{car}", &keeper.car), &club.new_id(), &[("lf", "9")]).await;
        assert_eq!(answer.status(), StatusCode::NOT_FOUND, "{unknown}");
    }
    // Nought below nought is nought.
    let nought = keeper.notes_of_car("/jobs", &with(&job("A look"), "hours", "-0")).await;
    let page = keeper.looks(&format!("/jobs/{nought}")).await.text().await;
    assert!(!page.contains("-0 h"), "no hours are less than none");
    for id in ["", "27", "8c1f5b0e-3b7a-4e0c-9d55-0b7f2f1a6c11", "00000000-0000-0000-0000-000000000000"] {
        let answer = keeper.posts("/gear", id, &[("what", "suit"), ("name", "Blue")]).await;
        assert_eq!(answer.status(), StatusCode::UNPROCESSABLE_ENTITY, "an id that no page makes: {id:?}");
    }
}

#[tokio::test]
async fn jobs_that_would_wait_for_each_other_are_refused_in_words() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let keeper = ines.opens_a_garage().await;
    let first = keeper.has_to("Engine out").await;
    let waits_for = |other: &str| format!("after.{other}");
    let name = waits_for(&first);
    let second = keeper.notes_of_car("/jobs", &with(&job("Clutch"), &name, "1")).await;
    for after in [&second, &first] {
        let name = waits_for(after);
        let refused = keeper.posts(&format!("/jobs/{first}/card"), &club.new_id(), &with(&job("Engine out"), &name, "1")).await;
        assert_eq!(refused.status(), StatusCode::CONFLICT);
        let page = refused.page().await;
        assert!(page.first("[role=alert]").contains("in a circle"), "{}", page.text());
        assert_eq!(page.value_of("input[name=hours]"), "1.5", "what was typed is still there");
    }
    assert_eq!(keeper.looks("").await.status(), StatusCode::OK);
}

/// Two phones at one garage: each asks for a half of the circle, and both halves would shut the driver out of the list.
#[tokio::test(flavor = "multi_thread")]
async fn of_two_phones_that_close_a_circle_at_once_one_is_told() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let keeper = ines.opens_a_garage().await;
    for round in 0..10 {
        let (one, other) = (keeper.has_to(&format!("Engine {round}")).await, keeper.has_to(&format!("Clutch {round}")).await);
        let waits = async |job_id: &str, other: &str| {
            let name = format!("after.{other}");
            let form = with(&job("A half"), &name, "1");
            keeper.posts(&format!("/jobs/{job_id}/card"), &club.new_id(), &form).await.status()
        };
        let (first, second) = tokio::join!(waits(&one, &other), waits(&other, &one));
        let mut both = [first, second];
        both.sort();
        assert_eq!(both, [StatusCode::SEE_OTHER, StatusCode::CONFLICT]);
    }
    assert_eq!(keeper.looks_at_car("/jobs").await.status(), StatusCode::OK);
}

/// A garage of ten years, put there at once.
async fn with_changes(keeper: &Keeper<'_>, count: usize) {
    let body = format!(
        "{{\"kind\":\"track\",\"car\":\"{}\",\"taken\":{{\"day\":\"2026-05-01\"}},\"minutes\":20.0,\"sessions\":1,\"note\":\"\"}}",
        keeper.car
    );
    let sql = "with recursive nth(n) as (select 1 union all select n + 1 from nth where n < ?1)
        insert into garage_change (id, garage_id, place, body, made_at)
        select randomblob(16), id, (select max(place) from garage_change) + n, ?2, 0 from garage, nth";
    let count = i64::try_from(count).expect("a count");
    let put =
        keeper.club.house.store.write::<(), witnessmark::store::StoreError, _>(witnessmark::store::Touch::Nothing, move |db| {
            Box::pin(async move {
                sqlx::query(sql).bind(count).bind(body).execute(&mut **db).await?;
                Ok(())
            })
        });
    put.await.expect("they are put there");
}

#[tokio::test]
async fn a_garage_of_twenty_thousand_notes_is_full_and_says_so() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let keeper = ines.opens_a_garage().await;
    with_changes(&keeper, 20_000 - 3 - 5_000).await;
    let rows: String = (0..5_000).map(|nth| format!("2026-05-01,,track-time,,{},min,,{nth}\n", nth % 1400 + 1)).collect();
    let path = format!("/cars/{}/log/import", keeper.car);
    let taken = keeper.posts(&path, &club.new_id(), &[("text", &format!("{HEAD}{rows}"))]).await;
    assert_eq!(taken.status(), StatusCode::SEE_OTHER);
    let full = keeper.posts("/gear", &club.new_id(), &[("what", "suit"), ("name", "Blue")]).await;
    assert!(full.status().is_client_error(), "{}", full.status());
    assert!(full.page().await.text().contains("20,000 notes"), "it says why");
    let long = keeper.posts(&path, &club.new_id(), &[("text", &format!("{HEAD}2026-05-02,,track-time,,20,min,,\n"))]).await;
    assert!(long.status().is_client_error());
    for page in ["", "/keep/garage.json", &format!("/cars/{}", keeper.car), &format!("/cars/{}/log", keeper.car)] {
        assert_eq!(keeper.looks(page).await.status(), StatusCode::OK, "{page} is still there");
    }
}

fn noted(change: Change, nth: u128) -> Noted {
    Noted { id: Uuid::from_u128(nth), at: jiff::Timestamp::UNIX_EPOCH, change }
}

fn card(title: &str) -> JobCard {
    let text = String::new;
    let system = witnessmark::rules::car_system::CarSystem::ALL[0];
    let (after, symptom, item) = (vec![], None, None);
    JobCard {
        title: title.into(),
        system,
        found: text(),
        cause: text(),
        next_test: text(),
        hours: 1.0,
        must: true,
        after,
        symptom,
        item,
    }
}

#[test]
fn jobs_that_are_reopened_count_with_those_that_are_open() {
    let car = Uuid::from_u128(1);
    let mut garage = Garage::of(&[noted(Change::Car { car, name: "Red one".into() }, 1)]);
    let mut take = |change: Change, nth: u128| garage.takes(&change).map(|()| garage.add(&noted(change, nth)));
    for nth in 1000..1200 {
        let job = Uuid::from_u128(nth);
        take(Change::Job { job, car, card: card("A job") }, nth).expect("200 jobs");
        take(Change::Done { job, what: "x".into(), shown_by: "y".into() }, nth + 10_000).expect("done");
    }
    for nth in 2000..2200 {
        take(Change::Job { job: Uuid::from_u128(nth), car, card: card("Another") }, nth).expect("200 more");
    }
    let reopened = take(Change::Reopened { job: Uuid::from_u128(1000), why: "It drips.".into() }, 5000);
    assert_eq!(reopened, Err(NotTaken::TooMany("200 open jobs on a car")), "more cannot be planned");
}

#[test]
fn a_label_of_the_last_piece_of_gear_can_still_be_put_right() {
    let gear = |nth: u128, label: &str| Change::Gear {
        gear: Uuid::from_u128(nth),
        what: GearKind::Helmet,
        name: "A helmet".into(),
        label: label.into(),
        date: String::new(),
        valid_until: false,
    };
    let garage = Garage::of(&(0..60).map(|nth| noted(gear(nth, "SA2015"), nth)).collect::<Vec<_>>());
    assert_eq!(garage.takes(&gear(7, "SA2020")), Ok(()));
    assert_eq!(garage.takes(&gear(60, "SA2020")), Err(NotTaken::TooMany("60 pieces of gear")));
}
